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
from vision.fit.neck_model import CURVATURE, CURVATURE_SLOPE, TWIST, NeckModel, fret_points, width_mm
from vision.fit.observations import STRING_UNKNOWNS

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
    """Smooth roll of every fret against fret 1, from its top under one outer string to its top under the other.

    Strings seldom run over the very middle, and on an arched board the line from x_1 to x_2 rolls by
    - curvature (x_1 + x_2) / 2 as they leave it. inflation : as above.
    """
    share, outer = model.twist_share, (0, len(fit.strings) - 1)
    middle_mm = sum(fit.strings[s, 0] * (1.0 - share) + fit.strings[s, 1] * share for s in outer) / 2.0
    curvature = fit.theta[CURVATURE] + fit.theta[CURVATURE_SLOPE] * (share - 0.5)
    roll = fit.theta[TWIST] * share + model.roll_modes @ fit.theta[model.roll] - curvature * middle_mm
    slope = np.zeros((model.frets, len(fit.covariance)))
    slope[:, TWIST] = share
    slope[:, model.roll] = model.roll_modes
    slope[:, CURVATURE] = -middle_mm
    slope[:, CURVATURE_SLOPE] = -middle_mm * (share - 0.5)
    for string in outer:
        first = model.unknowns + STRING_UNKNOWNS * string
        slope[:, first] = -curvature * (1.0 - share) / 2.0
        slope[:, first + 1] = -curvature * share / 2.0
    slope -= slope[0]
    variance = np.einsum("ki,ij,kj->k", slope, fit.covariance, slope)
    return RollAlongNeck(np.degrees(roll - roll[0]), np.degrees(np.sqrt(np.clip(variance, 0.0, None))) * inflation)


def _gap_by_height(model: NeckModel) -> Array:
    """(N, N) matrix from heights to gaps below their chord."""
    return np.array([gap_to_chord_mm(model.z_mm, unit) for unit in np.eye(model.frets)]).T


def _smooth_only(model: NeckModel, theta: Array) -> Array:
    smooth = theta.copy()
    smooth[model.fret_error] = 0.0
    smooth[model.fret_roll] = 0.0
    return smooth
