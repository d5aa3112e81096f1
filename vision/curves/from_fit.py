"""From the fitted neck to what is reported: gap curves, single-fret deviations, roll and twist, with covariance.

Everything reported is a smooth function of the unknowns of the joint fit; uncertainties are propagated through
its derivative (JCGM 100, 5.1.2). The smooth curve is the neck without the errors of single frets; those are the
deviations. The span is always fret 1 to the last fret.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.curves.relief import gap_to_chord_mm, relief_from_gap, relief_u_mm
from vision.fit.joint import JointFit
from vision.fit.neck_model import TWIST, NeckModel, fret_points, width_mm

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CurveUnderString:
    """One side: smooth gap below the chord and deviation of each fret top from it; (N,) mm with covariance."""

    gap_mm: Array
    gap_cov_mm2: Array  # (N, N)
    deviation_mm: Array
    deviation_u_mm: Array
    relief_mm: float
    relief_u_mm: float
    relief_at_fret: int


@dataclass(frozen=True, eq=False)
class RollAlongNeck:
    """(N,) smooth roll of each fret against fret 1, degrees, side +1 (X > 0) higher positive, and its standard
    uncertainty."""

    roll_deg: Array
    roll_u_deg: Array


def lateral_of_string(model: NeckModel, theta: Array, line: Array) -> Array:
    """(N,) lateral fraction under a string; line as in vision.fit.observations.STRING_UNKNOWNS."""
    x = line[0] + (line[1] - line[0]) * model.twist_share
    return np.asarray(np.clip(2.0 * x / width_mm(model, theta, model.z_mm), -1.2, 1.2))


def curve_under_string(
    model: NeckModel, fit: JointFit, lateral: Array, seen: NDArray[np.bool_], inflation: float
) -> CurveUnderString:
    """Gap curve and deviations under a line at lateral fractions (N,).

    seen : (N,) frets with data; others get a deviation uncertainty of infinity.
    inflation : factor on uncertainties from how well the photographs agree with the model.
    """
    frets = np.arange(model.frets)
    smooth = _smooth_only(model, fit.theta)
    points, derivative = fret_points(model, smooth, frets, lateral)
    height, by_theta = points[:, 1], derivative[:, 1, :].copy()
    by_error = by_theta[:, model.fret_error.start :].copy()
    by_theta[:, model.fret_error.start :] = 0.0
    gap = gap_to_chord_mm(model.z_mm, height)
    neck = fit.covariance[: model.unknowns, : model.unknowns] * inflation**2
    slope = _gap_by_height(model) @ by_theta
    covariance = slope @ neck @ slope.T
    relief, at = relief_from_gap(gap)
    deviation = by_error @ fit.theta[model.fret_error.start :]
    errors = neck[model.fret_error.start :, model.fret_error.start :]
    deviation_u = np.sqrt(np.einsum("ij,jk,ik->i", by_error, errors, by_error))
    return CurveUnderString(
        gap,
        covariance,
        deviation,
        np.where(seen, deviation_u, np.inf),
        relief,
        relief_u_mm(gap, covariance),
        at,
    )


def difference_u_mm(
    model: NeckModel, fit: JointFit, lateral: tuple[Array, Array], at: tuple[int, int], inflation: float
) -> float:
    """Standard uncertainty of side -1 relief minus side +1 relief; far below either one's, depth errors cancel.

    lateral : (N,) fractions under either string.  at : the fret of either relief, from 1.  inflation : as above.
    """
    frets = np.arange(model.frets)
    smooth = _smooth_only(model, fit.theta)
    by_height = _gap_by_height(model)
    rows = []
    for side in (0, 1):
        by_theta = fret_points(model, smooth, frets, lateral[side])[1][:, 1, :].copy()
        by_theta[:, model.fret_error.start :] = 0.0
        rows.append((by_height @ by_theta)[at[side] - 1])
    slope = rows[0] - rows[1]
    variance = slope @ fit.covariance[: model.unknowns, : model.unknowns] @ slope
    return float(np.sqrt(variance) * inflation)


def roll_along_neck(model: NeckModel, fit: JointFit, inflation: float) -> RollAlongNeck:
    """Smooth roll of every fret against fret 1. inflation : as above."""
    roll = fit.theta[TWIST] * model.twist_share + model.roll_modes @ fit.theta[model.roll]
    slope = np.zeros((model.frets, model.unknowns))
    slope[:, TWIST] = model.twist_share
    slope[:, model.roll] = model.roll_modes
    covariance = slope @ fit.covariance[: model.unknowns, : model.unknowns] @ slope.T
    return RollAlongNeck(
        np.degrees(roll - roll[0]), np.degrees(np.sqrt(np.clip(np.diag(covariance), 0.0, None))) * inflation
    )


def _gap_by_height(model: NeckModel) -> Array:
    """(N, N) matrix from heights to gaps below their chord."""
    return np.array([gap_to_chord_mm(model.z_mm, unit) for unit in np.eye(model.frets)]).T


def _smooth_only(model: NeckModel, theta: Array) -> Array:
    smooth = theta.copy()
    smooth[model.fret_error] = 0.0
    smooth[model.fret_roll] = 0.0
    return smooth
