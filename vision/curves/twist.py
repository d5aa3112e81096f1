"""Roll of each fret from its tops under the outer strings, and twist between the first and the last."""

import numpy as np

from vision.results import Array


def roll_deg(height_bass_mm: Array, height_treble_mm: Array, spacing_mm: Array | float) -> Array:
    """Angle of the line from the bass-side top to the treble-side top, positive with the treble side higher.

    Parameters
    ----------
    height_bass_mm, height_treble_mm : (N,) heights of the fret tops under the outer strings.
    spacing_mm : distance between those two tops across the neck, (N,) or one for all; above zero.

    Returns
    -------
    (N,) degrees, NaN where a height is NaN.

    Raises
    ------
    ValueError : the two sides differ in shape, or a spacing is not positive.
    """
    bass, treble = np.asarray(height_bass_mm, np.float64), np.asarray(height_treble_mm, np.float64)
    spacing = np.asarray(spacing_mm, np.float64)
    if bass.ndim != 1 or bass.shape != treble.shape:
        raise ValueError(f"height_bass_mm {bass.shape} and height_treble_mm {treble.shape} must both be (N,)")
    if spacing.shape not in ((), bass.shape) or not np.all(spacing > 0.0):
        raise ValueError(f"spacing_mm={spacing_mm!r} must be positive, one figure or one a fret")
    return np.asarray(np.degrees(np.arctan2(treble - bass, spacing)))


def twist_deg(roll: Array) -> float:
    """Roll of the last fret minus roll of fret 1. A roll common to all frets is the camera's, not the neck's.

    Parameters
    ----------
    roll : (N,) degrees, N >= 2.

    Raises
    ------
    ValueError : not (N,), fewer than two frets, or an end is not finite.
    """
    angles = np.asarray(roll, np.float64)
    if angles.ndim != 1 or angles.size < 2:
        raise ValueError(f"roll must be (N,) with N >= 2, got shape {angles.shape}")
    if not np.isfinite(angles[[0, -1]]).all():
        raise ValueError(f"roll must be finite at both ends, got {angles[0]!r} and {angles[-1]!r}")
    return float(angles[-1] - angles[0])
