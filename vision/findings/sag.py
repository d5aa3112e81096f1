"""How far a tuned string hangs when the guitar lies level, and its tension.

Frets are measured against the straight chord of fret tops, so a hanging string changes none of those gaps and
no figure is corrected for it. The fit takes strings for straight lines where they help to fix the cameras; that
they hang moves the relief by less than 0.001 mm and the twist by less than 0.001 degrees, far below what is
claimed (tests/fit/test_string_sag.py holds this against the curves here). Sag would matter in a height of string
over fret, which is not measured.

A string of mass mu per length under tension T hangs y(z) = mu g z (L - z) / (2 T), and by Mersenne
f = sqrt(T / mu) / (2 L), so mass and tension drop out: y(z) = g z (L - z) / (8 L^2 f^2), at most
g / (32 f^2).
The low string at 82.41 Hz hangs 45 micrometres, between frets 1 and 22 it hangs 20.
"""

import math

import numpy as np

from vision.fit.frets import fret_positions_mm
from vision.results import Array

GRAVITY_MM_S2 = 9806.65  # standard gravity, ISO 80000-3
STEEL_DENSITY_KG_M3 = 7850.0  # plain strings; a wound string is about 10 % off the solid cylinder


def full_sag_mm(frequency_hz: float) -> float:
    """Largest sag of an open string lying level, g / (32 f^2).

    Raises
    ------
    ValueError : frequency_hz is not a positive finite number.
    """
    _check_positive("frequency_hz", frequency_hz)
    return GRAVITY_MM_S2 / (32.0 * frequency_hz**2)


def string_sag_gap_mm(frequency_hz: float, scale_length_mm: float, frets: int) -> Array:
    """How far the string hangs below the straight line through its points over fret 1 and the last fret.

    Parameters
    ----------
    frequency_hz : pitch of the open string.
    scale_length_mm, frets : of the neck; see `fret_positions_mm`.

    Returns
    -------
    (N,) mm over frets 1..N, positive downwards, zero at both ends. The same for an open string and for one
    held down at both ends, as long as the tension is that of the tuned string.

    Raises
    ------
    ValueError : an argument is not positive.
    """
    _check_positive("frequency_hz", frequency_hz)
    z = fret_positions_mm(scale_length_mm, frets)
    sag = GRAVITY_MM_S2 * (z - z[0]) * (z[-1] - z) / (8.0 * scale_length_mm**2 * frequency_hz**2)
    return np.asarray(sag)


def string_tension_n(
    frequency_hz: float,
    scale_length_mm: float,
    diameter_mm: float,
    density_kg_m3: float = STEEL_DENSITY_KG_M3,
) -> float:
    """Tension of a plain string by Mersenne's law, T = mu (2 L f)^2, in newtons.

    Raises
    ------
    ValueError : an argument is not a positive finite number.
    """
    for name, value in (
        ("frequency_hz", frequency_hz),
        ("scale_length_mm", scale_length_mm),
        ("diameter_mm", diameter_mm),
        ("density_kg_m3", density_kg_m3),
    ):
        _check_positive(name, value)
    mass_kg_m = density_kg_m3 * math.pi * (diameter_mm * 1e-3) ** 2 / 4.0
    return mass_kg_m * (2.0 * scale_length_mm * 1e-3 * frequency_hz) ** 2


def _check_positive(name: str, value: float) -> None:
    if not isinstance(value, (int, float)) or not math.isfinite(value) or value <= 0.0:
        raise ValueError(f"{name}={value!r} must be a positive number")
