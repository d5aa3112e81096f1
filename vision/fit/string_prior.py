"""Where strings usually run over a neck and how thick they are, before the photographs are read.

All figures are common practice of the trade: strings evenly spaced, the outer ones about 0.86 of the half-width
out, their underside 0.3 to 0.9 mm (first fret) and 1.3 to 3.3 mm (last fret) above the chord of the fret tops.
"""

import numpy as np
from numpy.typing import NDArray

from vision.fit.neck_model import NeckModel, width_mm

Array = NDArray[np.float64]

_OUTER_SHARE = 0.85
_GUITAR_RADIUS_MM = (0.127, 0.165, 0.215, 0.33, 0.43, 0.55)  # from the highest string
_BASS_RADIUS_MM = (0.57, 0.83, 1.05, 1.32, 1.65)
_FIRST_MM, _FIRST_U_MM = 0.6, 0.3  # underside above the chord at the first fret: slot of the nut and a little rise
_LAST_MM, _LAST_U_MM = 2.3, 1.0  # and at the last fret, from low action to high
BASS_SCALE_FROM_MM = 720.0
"""Scale lengths from here on are those of bass guitars."""


def usual_string_count(scale_length_mm: float) -> int:
    """Six strings on a guitar, four on a bass guitar."""
    return 4 if scale_length_mm >= BASS_SCALE_FROM_MM else 6


def string_radii_mm(scale_length_mm: float, strings: int) -> Array:
    """Usual radii, lowest string first."""
    table = _BASS_RADIUS_MM if scale_length_mm >= BASS_SCALE_FROM_MM else _GUITAR_RADIUS_MM
    rank = np.arange(strings, dtype=np.float64)
    return np.interp(rank, np.arange(len(table)), table)[::-1].copy()


def string_prior(model: NeckModel, theta: Array, radius_mm: Array) -> tuple[Array, Array]:
    """Mean and standard uncertainty (S, 4) in the order of vision.fit.observations.STRING_UNKNOWNS, side -1 first.

    radius_mm : (S,) of the strings: lines are their axes.
    """
    strings = len(radius_mm)
    width = width_mm(model, theta, model.z_mm[[0, -1]])
    lateral = np.linspace(-1.0, 1.0, strings)[:, None] * 0.5 * _OUTER_SHARE * width[None, :]
    arch = -0.5 * lateral**2 / 260.0
    mean = np.hstack([lateral, arch + radius_mm[:, None] + np.array([_FIRST_MM, _LAST_MM])])
    u = np.hstack([np.full((strings, 2), 0.03) * width, np.tile([_FIRST_U_MM, _LAST_U_MM], (strings, 1))])
    return mean, u


def centre_offset_u_mm(radius_mm: Array) -> Array:
    """How far a string's apparent centre may be off, the same way along it: one-sided light, edges like the board."""
    offset: Array = 0.03 + 0.1 * radius_mm
    return offset
