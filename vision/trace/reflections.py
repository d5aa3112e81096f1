"""What reflections that slide over the crowns do to one lane more than to another, taken out of the tops of a low view.

A lamp in the room stands in another direction from every fret, so its reflection slides over the crowns, a tenth of a
millimetre or two along a neck. Lanes that show the bright reflection follow it, lanes that show the crown's dark edge
do not, and the difference looks like a twist. So the lanes are fitted once more, with the slide as an unknown and with
bright rows believed less: what a crown mirrors also grows and fades along the neck, in proportion to its light, while
its edge and its foot stand still and are dark. And they are fitted without red light: wood is dark then, also the
wood that crowns mirror. Taken over is only how the lanes then drift against one another: what all lanes have in common
the slide cannot be told from a bow by.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from vision.trace.lane_scene import LaneGeometry
from vision.trace.profile import ProfileFit, fit_profiles

Array = NDArray[np.float64]

_ITERATIONS = 4, 5  # without and with the slide; more would follow a dim lane wherever its noise leads
_LEAST_FRETS = 6  # of a lane, to tell its drift
# Weights fall with this power of the light. Errors in proportion to the light would ask for the second; those of
# reflections grow faster. Light below this share of the lane's median is not told apart.
_POWER, _DARKEST_SHARE = 4.0, 0.4
_SMOOTHED_ROWS = 3  # so that the weights do not follow the noise


def without_sliding(
    profile: ProfileFit, signals: Array, weights: Array, geometry: LaneGeometry, seen: NDArray[np.bool_]
) -> ProfileFit:
    """The profile with every lane's drift against the others as it is where reflections may turn along the neck.

    signals, weights : (lanes, rows) as in fit_profiles, but in the light in which wood is dark (NeckLight).
    seen : (lanes, N) near to far, which tops are used.
    """
    judged = [lane for lane, own in enumerate(seen) if np.count_nonzero(own) >= _LEAST_FRETS]
    if not judged:
        return profile
    dark = weights * believed_of_light(signals)
    still = fit_profiles(signals, dark, geometry, profile.blur, iterations=_ITERATIONS[0])
    turning = fit_profiles(
        signals, dark, geometry, still.blur, shift_mm=still.shift_mm, iterations=_ITERATIONS[1], turning=True
    )
    change = turning.shift_mm - profile.shift_mm
    drift = np.array([np.polyfit(geometry.place[seen[lane]], change[lane, seen[lane]], 1)[0] for lane in judged])
    shift = profile.shift_mm.copy()
    shift[judged] += (drift - drift.mean())[:, None] * geometry.place
    return replace(profile, shift_mm=shift, turn_rad=turning.turn_rad)


def believed_of_light(signals: Array) -> Array:
    """(lanes, rows) weights of linear light, 1 at every lane's median."""
    usual = np.median(signals, axis=1, keepdims=True) + 1e-6
    level = uniform_filter1d(signals, _SMOOTHED_ROWS, axis=1) / usual
    weight: Array = ((1.0 + _DARKEST_SHARE) / (np.maximum(level, 0.0) + _DARKEST_SHARE)) ** _POWER
    return weight
