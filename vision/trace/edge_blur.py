"""The blur of a photograph read off the edges of the board: straight steps of light, at every depth of the neck.

Crowns mirror the room, so a sharp crown and a blurred one can be drawn alike by changing what they mirror. The edge
of the board against what lies beyond is one step between two even tones (ISO 12233 measures blur from such an edge):
its rise tells defocus, lens and in-camera sharpening apart, gap by gap between the frets.

Unknown are the four numbers of the blur and, for every gap, the place of the edge and the lights on both sides (level
and slope). Gauss-Newton with the lights projected out (Golub and Pereyra 1973) and the places eliminated.
"""

import numpy as np
from numpy.typing import NDArray

from vision.trace.blur import Blur
from vision.trace.edge_steps import EdgeSteps, misfit_of_step, step_residual, strongest_step

Array = NDArray[np.float64]

_WITHIN_MM = 1.5
_LEAST_STEP = 0.3  # of the strong steps of the photograph
_LEAST_GAPS = 8
_MOST_MISFIT = 0.08  # of the step
_OUTLIER = 2.5
_CORRELATED = 4.0  # samples share blur and interpolation
_USUAL = np.array([np.log(0.9), 0.6])  # spread and sharpening of cameras, which trade against each other
_USUAL_U = np.array([2.0, 2.0, 0.5, 0.6])
_STEPS = np.array([0.02, 0.01, 0.02, 0.02])
_MOST_STEP = np.array([0.7, 0.3, 0.3, 0.4])
_TRIAL_PASSES, _PASSES, _LAST_PASSES = 2, 3, 8
_LIKELY_STARTS = 3
_DISCS, _FOCUS_PLACES = (0.5, 2.0, 5.0), (0.0, 0.5, 1.0)


def blur_from_edges(steps: EdgeSteps, near: Blur | None = None) -> Blur | None:
    """Blur of the photograph, None where fewer than eight gaps show a clean step. near : from an earlier pass."""
    place, height = strongest_step(steps.light, _WITHIN_MM)
    strong = height > _LEAST_STEP * np.percentile(height, 90)
    if np.count_nonzero(strong) < _LEAST_GAPS:
        return None
    steps, place = steps.some(strong), place[strong]
    inverse = 1.0 / steps.depth_m
    span = max(float(np.ptp(inverse)), 1e-3)
    starts = _starts(float(inverse.min()), span) if near is None else [near.vector()]
    fits = [_fit(steps, start, place, span, _TRIAL_PASSES) for start in starts]
    likely = sorted(fits, key=_misfit)[:_LIKELY_STARTS]
    vector, place, misfit = min((_fit(steps, fit[0], fit[1], span, _PASSES) for fit in likely), key=_misfit)
    clean = misfit < _OUTLIER * float(np.median(misfit))
    vector, _, misfit = _fit(steps.some(clean), vector, place[clean], span, _LAST_PASSES)
    if np.count_nonzero(clean) < _LEAST_GAPS or float(np.median(misfit)) > _MOST_MISFIT:
        return None
    return Blur(*(float(v) for v in vector))


def _starts(nearest: float, span: float) -> list[Array]:
    """Little to much defocus, sharp near, between or far: defocus and spread trade against each other."""
    return [
        np.array([np.log(discs / span), nearest + focus * span, *_USUAL])
        for discs in _DISCS
        for focus in _FOCUS_PLACES
    ]


def _misfit(fit: tuple[Array, Array, Array]) -> float:
    return float(np.median(fit[2]))


def _fit(steps: EdgeSteps, start: Array, place: Array, span: float, passes: int) -> tuple[Array, Array, Array]:
    """Blur vector, places, rms misfit of every gap relative to its step."""
    vector, place = start.copy(), place.copy()
    unit = np.array([1.0, span, 1.0, 1.0])
    usual = np.r_[start[:2], _USUAL]
    misfit = np.ones(len(place))
    for turn in range(passes + 1):
        residual, height = step_residual(steps, vector, place)
        misfit = misfit_of_step(residual, height, steps, place)
        if turn == passes:
            break
        middle = float(np.median(misfit))
        weight = 1.0 / (height**2 + 1e-8) / (1.0 + (misfit / middle) ** 2) / (_CORRELATED * middle**2)
        by_place = (step_residual(steps, vector, place + 0.01)[0] - residual) / 0.01
        by_blur = np.stack(
            [
                (step_residual(steps, vector + move, place)[0] - residual) / move.sum()
                for move in np.diag(_STEPS * unit)
            ],
            axis=-1,
        )
        own = np.sum(by_place**2, axis=1) + 1e-9
        cross = np.einsum("gm,gmk->gk", by_place, by_blur)
        right = np.sum(by_place * residual, axis=1)
        normal = np.einsum("g,gmk,gml->kl", weight, by_blur, by_blur)
        normal -= np.einsum("g,gk,gl->kl", weight / own, cross, cross)
        normal += np.diag(1.0 / (_USUAL_U * unit) ** 2)
        gradient = np.einsum("g,gmk,gm->k", weight, by_blur, residual)
        gradient -= np.einsum("g,gk,g->k", weight / own, cross, right)
        gradient += (vector - usual) / (_USUAL_U * unit) ** 2
        step = np.clip(-np.linalg.solve(normal, gradient), -_MOST_STEP * unit, _MOST_STEP * unit)
        vector = vector + step
        vector[2:] = np.clip(vector[2:], [np.log(0.3), -0.5], [np.log(4.0), 3.0])
        place = place + np.clip(-(right + cross @ step) / own, -0.1, 0.1)
    return vector, place, misfit
