"""Ends of the frets to sub-pixel: where each crown stops against whatever is beside the neck.

The width of the neck in the picture is what tells depth, so the ends are located with the care given to the
tops: one template per side for the crown running out into its bevel, shared by all frets of a photograph, a
level and slope of the background for each fret, the photograph's own blur, and one shift per fret. A constant
error (where exactly the bevel ends) is one unknown of the joint fit.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from vision.fit.camera import CameraModel, project
from vision.fit.neck_model import NeckModel, fret_points, width_mm
from vision.trace.blur import Blur, line_spread
from vision.trace.strip import LightCrop

Array = NDArray[np.float64]

_INSIDE_MM, _OUTSIDE_MM = 3.2, 1.6
_STEP_PX = 0.5
_KNOTS_MM = np.array([0.0, 0.25, 0.5, 0.8, 1.2, 1.8, 2.6, 3.6])
_DEPTHS_MM = (0.15, 0.3, 0.45, 0.6)  # below the top, where the crown of a low view is lit
_ACROSS_MM = (-0.6, -0.2, 0.2, 0.6)  # along the neck, on the crown of a front view


@dataclass(frozen=True, eq=False)
class EndFit:
    """offset_mm, offset_u_mm : (N, 2) found minus predicted end, positive outwards; NaN u where not usable."""

    offset_mm: Array
    offset_u_mm: Array


def find_ends(
    crop: LightCrop, camera: CameraModel, model: NeckModel, theta: Array, blur: Blur, front: bool,
    *, iterations: int = 6,
) -> EndFit:
    """Locate both ends of every fret near where the model has them."""
    offset = np.zeros((model.frets, 2))
    sigma = np.full((model.frets, 2), np.nan)
    for side in (0, 1):
        profiles = _profiles(crop, camera, model, theta, front, side)
        offset[:, side], sigma[:, side] = _fit_side(*profiles, blur, iterations)
    return EndFit(offset, sigma)


def _profiles(
    crop: LightCrop, camera: CameraModel, model: NeckModel, theta: Array, front: bool, side: int
) -> tuple[list[Array], list[Array], Array, Array]:
    """Light along each fret across its end: samples, distance outwards (mm), px per mm, depth (m)."""
    sign = -1.0 if side == 0 else 1.0
    frets = np.arange(model.frets)
    ends, _ = fret_points(model, theta, frets, np.full(model.frets, sign))
    half = width_mm(model, theta, model.z_mm) / 2.0
    here, depth = project(ends, camera)
    inner, _ = fret_points(model, theta, frets, sign * (1.0 - 1.0 / half))
    per_mm = np.hypot(*(project(inner, camera)[0] - here).T)
    shifts = [np.array([0.0, 0.0, a]) for a in _ACROSS_MM] if front else [np.array([0.0, -d, 0.0]) for d in _DEPTHS_MM]
    light, place = [], []
    for k in frets:
        outwards = np.arange(-_INSIDE_MM, _OUTSIDE_MM, _STEP_PX / per_mm[k])
        line, _ = fret_points(model, theta, np.full(len(outwards), k), sign * (1.0 + outwards / half[k]))
        rows = np.stack([project(line + shift, camera)[0] for shift in shifts])
        light.append(np.asarray(crop.sample(rows).mean(axis=0), dtype=np.float64))
        place.append(outwards)
    return light, place, per_mm, depth / 1000.0


def _fit_side(
    light: list[Array], place: list[Array], per_mm: Array, depth_m: Array, blur: Blur, iterations: int
) -> tuple[Array, Array]:
    frets = len(light)
    knots = np.concatenate([[0.0] * 3, _KNOTS_MM, [_KNOTS_MM[-1]] * 3])
    size = len(knots) - 4
    template_size = 2 * size
    along = np.linspace(-1.0, 1.0, frets)
    disc = blur.disc_px(depth_m)
    operators, fine = [], []
    for k in range(frets):
        grid = np.arange(place[k][0] - 1.2, place[k][-1] + 1.2, 0.25 / per_mm[k])
        offset = (grid[None, :] - place[k][:, None]) * per_mm[k]
        spread = line_spread(offset, np.full((len(place[k]), 1), disc[k]), float(np.exp(blur.log_sigma)), blur.sharpening)
        operators.append(spread / spread.sum(axis=1, keepdims=True))
        fine.append(grid)
    shift = np.zeros(frets)
    unknowns = template_size + 3 * frets
    coefficient = np.zeros(template_size + 2 * frets)
    target = np.concatenate(light)
    rows = np.cumsum([0] + [len(p) for p in place])
    level = float(np.median(target))
    penalty = np.zeros((unknowns, unknowns))
    bend = np.diff(np.eye(size), 2, axis=0)
    block = np.arange(size)
    smooth = bend.T @ bend
    penalty[np.ix_(block, block)] = (0.02 * level) ** 2 * 0 + smooth * 0.02 + 0.001 * np.eye(size)
    penalty[np.ix_(block + size, block + size)] = smooth * 0.3 + 0.1 * np.eye(size)
    covariance = np.eye(frets)
    weight = np.ones(len(target))
    for iteration in range(iterations):
        jacobian = np.zeros((len(target), unknowns))
        for k in range(frets):
            depth = shift[k] - fine[k]  # inside the fret: positive
            inside = depth > 0
            cell = np.clip(depth * per_mm[k] / 0.25 + 0.5, 0.0, 1.0)  # soft edge cell
            spline = BSpline.design_matrix(np.clip(depth, 0.0, knots[-1] - 1e-9), knots, 3).toarray()
            part = slice(rows[k], rows[k + 1])
            covered = spline * cell[:, None]
            jacobian[part, :size] = operators[k] @ covered
            jacobian[part, size:template_size] = along[k] * jacobian[part, :size]
            bare = 1.0 - cell
            jacobian[part, template_size + 2 * k] = operators[k] @ bare
            jacobian[part, template_size + 2 * k + 1] = operators[k] @ (bare * np.clip(fine[k] - shift[k], 0.0, None))
            if iteration > 0:
                own = coefficient[:size] + along[k] * coefficient[size:template_size]
                slope = BSpline(knots, own, 3).derivative()(np.clip(depth, 0.0, knots[-1] - 1e-9)) * inside
                jump = own[0] - coefficient[template_size + 2 * k]
                edge = np.zeros(len(fine[k]))
                nearest = int(np.clip(np.searchsorted(fine[k], shift[k]), 1, len(edge) - 1))
                edge[nearest] = jump / (0.25 / per_mm[k])
                beyond = -coefficient[template_size + 2 * k + 1] * bare
                jacobian[part, template_size + 2 * frets + k] = operators[k] @ (slope * cell + edge + beyond)
        linear = unknowns - frets
        if iteration == 0:
            system = jacobian[:, :linear].T @ jacobian[:, :linear] + penalty[:linear, :linear] + 1e-6 * np.eye(linear)
            coefficient = np.linalg.solve(system, jacobian[:, :linear].T @ target)
            continue
        residual = target - jacobian[:, :linear] @ coefficient
        sigma = 1.4826 * float(np.median(np.abs(residual))) + 1e-5
        weight = 1.0 / (1.0 + (residual / (3.0 * sigma)) ** 2) / sigma**2
        system = jacobian.T @ (jacobian * weight[:, None]) + (penalty + 1e-6 * np.eye(unknowns)) / sigma**2
        gradient = jacobian.T @ (weight * residual)
        gradient[:linear] -= penalty[:linear, :linear] @ coefficient / sigma**2
        index = np.arange(linear, unknowns)
        system[index, index] += 1.0 / 0.5**2
        gradient[index] -= shift / 0.5**2
        step = np.linalg.solve(system, gradient)
        coefficient = coefficient + step[:linear]
        shift = shift + np.clip(step[linear:], -0.25, 0.25)
        covariance = np.linalg.inv(system)[linear:, linear:]
    return shift, np.sqrt(np.diag(covariance))
