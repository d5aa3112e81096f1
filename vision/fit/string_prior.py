"""Where strings usually run over a neck and how thick they are, before the photographs are read.

All figures are common practice of the trade: strings evenly spaced, the outer ones about 0.86 of the half-width
out, their underside about 0.6 mm above the chord of the fret tops at the first fret and 2.0 mm (thinnest) to 2.6 mm
(thickest) at the last. A guitar is set up low or high as a whole: what is unsure of the heights is mostly common to all
strings, and so says little more for six strings than for one.
"""

import numpy as np
from numpy.typing import NDArray

from vision.fit.neck_model import NeckModel, width_mm

Array = NDArray[np.float64]

_OUTER_SHARE = 0.85
_GUITAR_RADIUS_MM = (0.127, 0.165, 0.215, 0.33, 0.43, 0.55)  # from the highest string
_BASS_RADIUS_MM = (0.57, 0.83, 1.05, 1.32, 1.65)
_FIRST_MM, _LAST_MM = 0.6, 2.3  # underside above the chord at the first and the last fret
_THICKER_MM = 0.3  # more at the last fret for the thickest, less for the thinnest
_COMMON_U_MM, _OWN_U_MM = (0.25, 0.8), (0.15, 0.4)
_LATERAL_U = 0.03  # of the width
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
    """Mean (S, 4) and covariance (4 S, 4 S) in the order of vision.fit.observations.STRING_UNKNOWNS, side -1 first.

    radius_mm : (S,) of the strings: lines are their axes.
    """
    strings = len(radius_mm)
    width = width_mm(model, theta, model.z_mm[[0, -1]])
    rank = np.linspace(-1.0, 1.0, strings)
    lateral = rank[:, None] * 0.5 * _OUTER_SHARE * width[None, :]
    arch = -0.5 * lateral**2 / 260.0
    thicker = rank if radius_mm[-1] > radius_mm[0] else -rank
    under = np.column_stack([np.full(strings, _FIRST_MM), _LAST_MM + _THICKER_MM * thicker])
    mean = np.hstack([lateral, arch + radius_mm[:, None] + under])
    covariance = np.zeros((strings, 4, strings, 4))
    every = np.arange(strings)
    for end in (0, 1):
        covariance[every, end, every, end] = (_LATERAL_U * width[end]) ** 2
        covariance[:, 2 + end, :, 2 + end] = _COMMON_U_MM[end] ** 2
        covariance[every, 2 + end, every, 2 + end] += _OWN_U_MM[end] ** 2
    return mean, covariance.reshape(4 * strings, 4 * strings)


def centre_offset_u_mm(radius_mm: Array) -> Array:
    """How far a string's apparent centre may be off, the same way along it: one-sided light, edges like the board."""
    offset: Array = 0.03 + 0.1 * radius_mm
    return offset
