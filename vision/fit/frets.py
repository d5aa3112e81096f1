"""Where frets stand: the ruler of known divisions along the neck, and what of it a photograph keeps."""

import math

import numpy as np

from vision.results import Array


def fret_positions_mm(scale_length_mm: float, frets: int) -> Array:
    """Distance of frets 1..N from the nut, Z_k = L (1 - 2^(-k/12)) (twelve-tone equal temperament).

    Returns
    -------
    (N,) mm, rising.

    Raises
    ------
    ValueError : scale_length_mm is not a positive finite number, or frets is not a whole number above zero.
    """
    number = isinstance(scale_length_mm, (int, float)) and math.isfinite(scale_length_mm)
    if not number or scale_length_mm <= 0.0:
        raise ValueError(f"scale_length_mm={scale_length_mm!r} must be a positive number")
    if isinstance(frets, bool) or not isinstance(frets, (int, np.integer)) or frets < 1:
        raise ValueError(f"frets={frets!r} must be a whole number of at least 1")
    return np.asarray(scale_length_mm * -np.expm1(-np.arange(1, frets + 1) * (math.log(2.0) / 12.0)))
