"""Fret tops to sub-pixel: predict the brightness along the neck from one model and compare.

What a lane would show without blur is drawn by vision.trace.lane_scene, blurred by vision.trace.blur and compared
with the photograph in linear light. Unknown are the template (cubic B-splines, linear), one shift per fret and lane,
and the blur, which all lanes share. A change of the template that amounts to a shift is held near zero: it could not
be told from frets that drift, and would tilt one lane against another (a false twist). On demand one more unknown is
shared: how reflections turn along the neck (vision.trace.reflections).
Gauss-Newton with Cauchy weights; inlays and dirt are outvoted rather than modelled.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from vision.trace.blur import Blur, blur_matrix
from vision.trace.lane_scene import LaneBasis, LaneGeometry, LaneScene

Array = NDArray[np.float64]

_CLIPPED = 0.96  # linear light above which the sensor may have been saturated
_DRIFT_MM = 0.008  # how far the template may drift over the range of the covariate
_SHIFT_U_MM = 0.3  # of a fret's top from where the model has it, before the picture is read
_PRIOR_BLUR = np.array([0.7, 0.4, 0.3, 0.5])
_ALIKE = 1000.0  # how much more alike the lanes' templates change along the neck than they change
# The same two where reflections turn: that takes up what differs most, and would trade with a change of the templates.
_TURNING_DRIFT_MM, _TURNING_ALIKE = 0.001, 10_000.0
# Half of what the direction of a lamp overhead changes from the middle of a neck to its end: 0.05 rad if it hangs two
# metres above the neck, 0.1 rad at one.
_USUAL_TURN_RAD, _TURN_U_RAD = 0.07, 0.05
_USUAL_SIGMA_PX, _USUAL_SHARPENING = 0.9, 0.6  # of cameras; the two trade against each other
_MOST_STEP = np.array([0.4, 0.2, 0.25, 0.3, 0.05])  # of the blur and of the turn


@dataclass(frozen=True)
class ProfileFit:
    """Result of fit_profiles; frets ordered from near to far.

    shift_mm : (lanes, N) top found minus top predicted, in mm of fret height (positive = higher / farther).
    shift_u_mm : (lanes, N).  similarity : (lanes, N) correlation of picture and model around each fret.
    contrast : (lanes, N) standard deviation of the model there, NaN where nothing is seen.
    residual : (lanes,) robust rms in units of linear light.  blur : as fitted.  model : (lanes, rows).
    turn_rad : of reflections (see LaneScene), 0 unless fitted.
    """

    shift_mm: Array
    shift_u_mm: Array
    similarity: Array
    residual: Array
    blur: Blur
    model: Array
    contrast: Array
    turn_rad: float


class _Lane:
    """Working state of one lane; lives only inside fit_profiles."""

    def __init__(self, signal: Array, weight: Array, shift: Array) -> None:
        self.signal, self.weight, self.shift = signal, weight, shift
        self.coefficient = np.zeros(0)
        self.scale = 0.0
        self.covariance: Array | None = None
        self.model = signal


def fit_profiles(
    signals: Array,
    weights: Array,
    geometry: LaneGeometry,
    blur: Blur,
    *,
    shift_mm: Array | None = None,
    iterations: int = 6,
    fit_blur: bool = True,
    turning: bool = False,
) -> ProfileFit:
    """Fit template, fret shifts and the shared blur to lane signals.

    Parameters
    ----------
    signals, weights : (lanes, rows) linear light and its relative weight (0 where masked), near row first.
    geometry : see LaneGeometry.  blur : start.  shift_mm : (lanes, N) start, zeros by default.
    turning : fit how reflections turn along the neck as well, with the blur.

    Raises
    ------
    ValueError : shapes disagree.
    """
    signals = np.atleast_2d(np.asarray(signals, dtype=np.float64))
    weights = np.atleast_2d(np.asarray(weights, dtype=np.float64))
    frets = len(geometry.top_row)
    if signals.shape != weights.shape or signals.shape[1] != len(geometry.depth_m):
        raise ValueError(f"signals {signals.shape} and weights {weights.shape} must be (lanes, rows)")
    start = np.zeros((len(signals), frets)) if shift_mm is None else np.array(shift_mm, dtype=np.float64)
    basis = LaneBasis(signals.shape[1], geometry)
    lanes = [
        _Lane(s[basis.low : basis.high], w[basis.low : basis.high], d)
        for s, w, d in zip(signals, weights, start, strict=True)
    ]
    usual = blur.vector()
    usual[2:] = np.log(_USUAL_SIGMA_PX), _USUAL_SHARPENING
    operator = _operator(basis, geometry, blur)
    turn_rad = 0.0
    shared_u = np.append(_PRIOR_BLUR, _TURN_U_RAD) if turning else _PRIOR_BLUR
    shared = len(shared_u)
    for iteration in range(iterations):
        last = iteration == iterations - 1
        steps = _blur_steps(basis, geometry, blur) if fit_blur and not last else []
        reduced_h = np.diag(1.0 / shared_u**2)
        reduced_g = np.append(usual - blur.vector(), _USUAL_TURN_RAD - turn_rad)[:shared] / shared_u**2
        back = []
        scene = LaneScene(np.array([lane.shift for lane in lanes]), basis, geometry, turn_rad)
        designs = _by_lane(operator @ scene.design, len(lanes))
        if iteration == 0:
            _first_templates(lanes, basis, designs)
        jacobians = _jacobians(lanes, scene, designs, operator, steps, turning)
        for lane, jacobian in zip(lanes, jacobians, strict=True):
            system, gradient = _normal_equations(lane, basis, jacobian, turning)
            own = basis.total + frets
            solved = np.linalg.solve(
                system[:own, :own], np.column_stack([gradient[:own], system[:own, own:]])
            )
            if steps:
                coupling = system[:own, own:]
                reduced_h = reduced_h + system[own:, own:] - coupling.T @ solved[:, 1:]
                reduced_g = reduced_g + gradient[own:] - coupling.T @ solved[:, 0]
            back.append(solved)
            if last:
                lane.covariance = np.asarray(
                    np.linalg.inv(system[:own, :own])[basis.total :, basis.total :], dtype=np.float64
                )
        move = np.zeros(shared)
        if steps:
            move = np.clip(np.linalg.solve(reduced_h, reduced_g), -_MOST_STEP[:shared], _MOST_STEP[:shared])
            blur = blur.with_vector(blur.vector() + move[:4])
            turn_rad += float(move[4:].sum())
            operator = _operator(basis, geometry, blur)
        for lane, solved in zip(lanes, back, strict=True):
            change = solved[:, 0] - (solved[:, 1:] @ move if steps else 0.0)
            lane.coefficient = lane.coefficient + change[: basis.total]
            lane.shift = lane.shift + np.clip(change[basis.total :], -0.15, 0.15)
        basis.common_change = _common_change(lanes, basis)
    return _collect(lanes, basis, geometry, blur, turn_rad, signals.shape[1])


def _common_change(lanes: list[_Lane], basis: LaneBasis) -> Array:
    """How the template changes with the covariate in the median lane."""
    changes = [lane.coefficient[basis.size : 2 * basis.size] for lane in lanes]
    return np.asarray(np.median(changes, axis=0))


def _operator(basis: LaneBasis, geometry: LaneGeometry, blur: Blur) -> sparse.csr_matrix:
    return blur_matrix(basis.rows, basis.fine_rows, geometry.px_per_row, basis.depth_m, blur)


def _blur_steps(basis: LaneBasis, geometry: LaneGeometry, blur: Blur) -> list[tuple[sparse.csr_matrix, float]]:
    steps = []
    for index, step in enumerate((0.05, 0.02, 0.05, 0.05)):
        vector = blur.vector()
        vector[index] += step
        steps.append((_operator(basis, geometry, blur.with_vector(vector)), step))
    return steps


def _first_templates(lanes: list[_Lane], basis: LaneBasis, designs: Array) -> None:
    for lane, design in zip(lanes, designs, strict=True):
        weighted = design * lane.weight[:, None]
        lane.scale = float(np.sqrt((design[:, : basis.size] ** 2).sum(axis=0).max()))
        system = weighted.T @ design + basis.penalty * (1e-3 * lane.scale) ** 2
        lane.coefficient = np.linalg.solve(system, weighted.T @ lane.signal)


def _jacobians(
    lanes: list[_Lane],
    scene: LaneScene,
    designs: Array,
    operator: sparse.csr_matrix,
    steps: list[tuple[sparse.csr_matrix, float]],
    turning: bool,
) -> Array:
    """Derivatives (lanes, rows, unknowns) by template and shifts, with steps by blur and turn; sets the models."""
    templates = np.array([lane.coefficient for lane in lanes])
    motions = _by_lane(operator @ scene.motion(templates), len(lanes)) * scene.geometry.rows_per_mm
    models = np.matmul(designs, templates[:, :, None])
    for lane, model in zip(lanes, models, strict=True):
        lane.model = model[:, 0]
    columns = [designs, motions]
    if steps:
        sharp = scene.light(templates)
        columns += [((moved @ sharp).T[:, :, None] - models) / step for moved, step in steps]
        if turning:
            columns.append((operator @ scene.by_turn(templates)).T[:, :, None])
    return np.concatenate(columns, axis=2)


def _by_lane(matrix: sparse.csr_matrix, lanes: int) -> Array:
    """(rows, lanes * n) as (lanes, rows, n)."""
    dense = matrix.toarray()
    return np.asarray(dense.reshape(len(dense), lanes, -1).transpose(1, 0, 2))


def _normal_equations(lane: _Lane, basis: LaneBasis, jacobian: Array, turning: bool) -> tuple[Array, Array]:
    """Of one lane; jacobian (rows, unknowns) is weighted in place."""
    penalty = basis.penalty * (1e-3 * lane.scale) ** 2
    residual = lane.signal - lane.model
    saturated = (lane.signal > _CLIPPED) & (lane.model > 0.97 * _CLIPPED)
    weight = lane.weight * ~saturated
    used = weight > 0
    sigma = 1.4826 * float(np.median(np.abs(residual[used]))) + 1e-6 if np.any(used) else 1.0
    weight = weight / (1.0 + (residual / (3.0 * sigma)) ** 2) / sigma**2
    # The product of a matrix with its own transpose takes half the work of one with another matrix.
    root = np.sqrt(weight)
    jacobian *= root[:, None]
    system = jacobian.T @ jacobian
    gradient = jacobian.T @ (root * residual)
    total, frets, size = basis.total, len(lane.shift), basis.size
    drift_mm, alike_share = (_TURNING_DRIFT_MM, _TURNING_ALIKE) if turning else (_DRIFT_MM, _ALIKE)
    # Equivalent shift of the covariate's template: projection on the template's own slope.
    template = lane.coefficient[:size]
    drift = basis.shift_form @ template
    drift /= max(float(template @ basis.slope_form @ template), 1e-12) * drift_mm
    changing = slice(size, 2 * size)
    system[changing, changing] += np.outer(drift, drift)
    gradient[changing] -= drift * float(drift @ lane.coefficient[changing])
    system[:total, :total] += penalty / sigma**2
    gradient[:total] -= penalty @ lane.coefficient / sigma**2
    alike = alike_share * penalty[changing, changing] / sigma**2
    system[changing, changing] += alike
    gradient[changing] -= alike @ (lane.coefficient[changing] - basis.common_change)
    index = np.arange(total, total + frets)
    system[index, index] += 1.0 / _SHIFT_U_MM**2
    gradient[index] -= lane.shift / _SHIFT_U_MM**2
    return system, gradient


def _collect(
    lanes: list[_Lane], basis: LaneBasis, geometry: LaneGeometry, blur: Blur, turn_rad: float, rows: int
) -> ProfileFit:
    frets = len(geometry.top_row)
    similarity = np.full((len(lanes), frets), np.nan)
    contrast = np.full((len(lanes), frets), np.nan)
    model = np.full((len(lanes), rows), np.nan)
    residual = np.zeros(len(lanes))
    # From the front the anchor is the crown's far foot: the whole crown lies before it.
    below, above = (geometry.crown_mm, 0.5) if geometry.tangent is None else (1.2, 1.2)
    for index, lane in enumerate(lanes):
        model[index, basis.low : basis.high] = lane.model
        difference = (lane.signal - lane.model)[lane.weight > 0]
        residual[index] = 1.4826 * float(np.median(np.abs(difference))) if len(difference) else np.nan
    for fret in range(frets):
        place = (basis.rows - geometry.top_row[fret]) / geometry.rows_per_mm[fret]
        around = np.flatnonzero((place > -below) & (place < above))
        for index, lane in enumerate(lanes):
            near = around[lane.weight[around] > 0]
            if len(near) >= 4:
                similarity[index, fret] = _correlation(lane.signal[near], lane.model[near])
                contrast[index, fret] = np.std(lane.model[near])
    sigma = np.array([np.sqrt(np.diag(lane.covariance)) for lane in lanes if lane.covariance is not None])
    return ProfileFit(
        shift_mm=np.array([lane.shift for lane in lanes]),
        shift_u_mm=sigma,
        similarity=similarity,
        residual=residual,
        blur=blur,
        model=model,
        contrast=contrast,
        turn_rad=turn_rad,
    )


def _correlation(first: Array, second: Array) -> float:
    a, b = first - first.mean(), second - second.mean()
    norm = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / norm if norm > 0 else 0.0
