"""Relief as the trade means it: gaps below the straight chord from the first fret top to the last."""

import numpy as np

from vision.results import Array

_DRAWS, _SEED = 500, 4


def gap_to_chord_mm(z_mm: Array, height_mm: Array) -> Array:
    """How far each point lies below the chord from the first to the last point.

    The end chord is what a string held down at both ends shows. A least-squares line through the same curve
    would give a figure about an eighth larger.

    Parameters
    ----------
    z_mm : (N,) positions along the neck, strictly rising, N >= 2.
    height_mm : (N,) heights above the board's plane; NaN where unknown, but not at the ends.

    Returns
    -------
    (N,) gaps, positive below the chord (forward bow), exactly zero at both ends.

    Raises
    ------
    ValueError : shapes differ, fewer than two points, positions do not rise, an end is not finite.
    """
    z, height = np.asarray(z_mm, dtype=np.float64), np.asarray(height_mm, dtype=np.float64)
    if z.ndim != 1 or z.shape != height.shape or z.size < 2:
        raise ValueError(f"z_mm {z.shape} and height_mm {height.shape} must both be (N,) with N >= 2")
    if not np.all(np.isfinite(z)) or np.any(np.diff(z) <= 0.0):
        raise ValueError(f"z_mm={z!r} must be finite and strictly rising")
    if not np.isfinite(height[[0, -1]]).all():
        raise ValueError(f"height_mm must be finite at both ends, got {height[0]!r} and {height[-1]!r}")
    t = (z - z[0]) / (z[-1] - z[0])
    gap = height[0] * (1.0 - t) + height[-1] * t - height
    gap[[0, -1]] = 0.0
    return np.asarray(gap)


def relief_from_gap(gap_mm: Array) -> tuple[float, int]:
    """The gap of largest size, with its sign, and the fret where it lies.

    Parameters
    ----------
    gap_mm : (N,) gaps of frets 1..N; NaN where unknown.

    Returns
    -------
    relief_mm, fret : fret counted from 1; the lower one where two are equal.

    Raises
    ------
    ValueError : gap_mm is not (N,) or holds no finite figure.
    """
    gap = np.asarray(gap_mm, dtype=np.float64)
    if gap.ndim != 1 or not np.isfinite(gap).any():
        raise ValueError(f"gap_mm={gap!r} must be (N,) with at least one finite figure")
    at = int(np.nanargmax(np.abs(gap)))
    return float(gap[at]), at + 1


def relief_u_mm(gap_mm: Array, gap_cov_mm2: Array) -> float:
    """Standard uncertainty of the relief: of the largest gap, wherever along the neck it lies.

    On an S or a nearly straight neck the largest gap may lie in another place, with the other sign, within the
    uncertainty of the curve; the uncertainty at the fret where it was found would say nothing of that. Propagated
    by 500 seeded draws of the curve (JCGM 101, Monte Carlo propagation), never below the value at that fret, and so
    wide that 1.96 of it cover 95 % of the draws: the other lobe of an S, where that is likely at all.

    Parameters
    ----------
    gap_mm : (N,) gaps, finite.  gap_cov_mm2 : (N, N) their covariance.

    Raises
    ------
    ValueError : shapes do not agree or a figure is not finite.
    """
    gap, covariance = np.asarray(gap_mm, dtype=np.float64), np.asarray(gap_cov_mm2, dtype=np.float64)
    if gap.ndim != 1 or covariance.shape != (gap.size, gap.size):
        raise ValueError(f"gap_cov_mm2 {covariance.shape} must be square in the size of gap_mm {gap.shape}")
    if not np.isfinite(gap).all() or not np.isfinite(covariance).all():
        raise ValueError(f"gap_mm={gap!r} and gap_cov_mm2 must be finite")
    relief, at = relief_from_gap(gap)
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    curves = gap + np.random.default_rng(_SEED).standard_normal((_DRAWS, gap.size)) @ root.T
    reliefs = curves[np.arange(_DRAWS), np.argmax(np.abs(curves), axis=1)]
    at_fret = float(np.sqrt(max(covariance[at - 1, at - 1], 0.0)))
    away = np.abs(reliefs - relief)
    return max(at_fret, float(np.sqrt(np.mean(away**2))), float(np.quantile(away, 0.95)) / 1.96)
