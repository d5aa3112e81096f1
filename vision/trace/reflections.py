"""What reflections that slide over the crowns do to one lane more than to another, taken out of the tops of a low view.

A lamp in the room stands in another direction from every fret, so its reflection slides over the crowns, a tenth of a
millimetre or two along a neck. Lanes that show the bright reflection follow it, lanes that show the crown's dark edge
do not, and the difference looks like a twist. Fitted once more with the slide as an unknown, the lanes drift less
against one another. Only that is taken over: what all lanes have in common the slide cannot be told from a bow by.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.trace.lane_scene import LaneGeometry
from vision.trace.profile import ProfileFit, fit_profiles

Array = NDArray[np.float64]

_ITERATIONS = 20
_LEAST_FRETS = 6  # of a lane, to tell its drift


def without_sliding(
    profile: ProfileFit, signals: Array, weights: Array, geometry: LaneGeometry, seen: NDArray[np.bool_]
) -> ProfileFit:
    """The profile with every lane's drift against the others as it is where reflections may turn along the neck.

    signals, weights : (lanes, rows) as in fit_profiles.  seen : (lanes, N) near to far, which tops are used.
    """
    judged = [lane for lane, own in enumerate(seen) if np.count_nonzero(own) >= _LEAST_FRETS]
    if not judged:
        return profile
    turning = fit_profiles(
        signals, weights, geometry, profile.blur, shift_mm=profile.shift_mm, iterations=_ITERATIONS, turning=True
    )
    change = turning.shift_mm - profile.shift_mm
    drift = np.array([np.polyfit(geometry.place[seen[lane]], change[lane, seen[lane]], 1)[0] for lane in judged])
    shift = profile.shift_mm.copy()
    shift[judged] += (drift - drift.mean())[:, None] * geometry.place
    return replace(profile, shift_mm=shift, turn_rad=turning.turn_rad)
