"""Where the fit of the fret profiles starts: how blurred the photograph is, and which edge is the fret's top.

All lanes together are fitted from several blurs. A crown may show as a bright reflection between two dark flanks: then
the reflection's edge, with the blur sharpened beyond belief, explains the picture almost as a fret's top would, and a
fit started there stays there; from the front it may be started beside the crowns altogether. So it is also started
from either side, and the better explanation is kept.
"""

import numpy as np
from numpy.typing import NDArray

from vision.trace.blur import Blur
from vision.trace.lane_scene import LaneGeometry
from vision.trace.lanes import combine_lanes
from vision.trace.profile import ProfileFit, fit_profiles

Array = NDArray[np.float64]

_STARTS = 3
_ITERATIONS = 5
# How far beside, mm, and the share of the residual below which the other place is believed.
_LOW_BESIDE = 0.35, 0.75  # of height: from a reflection's edge to the crown's top
_FRONT_BESIDE = 1.5, 0.6  # along the neck, more than half a crown: either flank explains it about as well
_MOST_SPREAD_MM = 0.45  # of the blur, a good third of a crown's half width: beyond it crown and board merge


def first_profile(signals: Array, weights: Array, geometry: LaneGeometry, known: Blur | None) -> ProfileFit:
    """Fit of the mean of the inner lanes, one lane: blur and shifts to start all lanes from.

    signals, weights : (LANES, rows) as in fit_profiles.  known : the blur, where it was measured otherwise.
    """
    combined, weight = combine_lanes(signals, weights)
    guesses = _likely_blurs(combined, weight, geometry) if known is None else [known]

    def best_from(shift_mm: float) -> ProfileFit:
        shift = np.full((1, len(geometry.top_row)), shift_mm)
        fits = [
            fit_profiles(
                combined, weight, geometry, guess, shift_mm=shift, iterations=_ITERATIONS, fit_blur=known is None
            )
            for guess in guesses
        ]
        return min(fits, key=_misfit)

    beside_mm, share = _FRONT_BESIDE if geometry.tangent is None else _LOW_BESIDE
    start = best_from(0.0)
    if geometry.tangent is None and _spread_mm(start.blur, geometry) > _MOST_SPREAD_MM:
        return start
    other = min((best_from(side * beside_mm) for side in (-1.0, 1.0)), key=_misfit)
    return other if _misfit(other) < share * _misfit(start) else start


def _spread_mm(blur: Blur, geometry: LaneGeometry) -> float:
    """Of the blur at the median fret, mm along the neck."""
    g = geometry
    return float(np.median(blur.spread_mm(g.top_row, g.rows_per_mm, g.depth_m, g.px_per_row)))


def _misfit(fit: ProfileFit) -> float:
    return float(fit.residual[0])


def _likely_blurs(signal: Array, weight: Array, geometry: LaneGeometry) -> list[Blur]:
    """Best of a coarse grid of defocus laws (amount, and where along the neck it is sharp), best first.

    Defocus and sharpening trade against each other: more than one start is needed to find the better valley.
    """
    row = np.clip(geometry.top_row[[0, -1]].astype(int), 0, len(geometry.depth_m) - 1)
    inverse = 1.0 / geometry.depth_m[row]
    span = max(abs(float(inverse[0] - inverse[1])), 1e-3)
    tried: list[tuple[float, Blur]] = []
    for discs in (1.0, 3.0, 8.0):
        for place in (0.0, 0.33, 0.67, 1.0):
            focus = float(inverse[0] * (1 - place) + inverse[1] * place)
            blur = Blur(float(np.log(discs / span)), focus, float(np.log(0.9)), 0.6)
            fit = fit_profiles(signal, weight, geometry, blur, iterations=2, fit_blur=False)
            tried.append((_misfit(fit), blur))
    tried.sort(key=lambda pair: pair[0])
    return [blur for _, blur in tried[:_STARTS]]
