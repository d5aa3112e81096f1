"""Edges of the board to sub-pixel, as a ruler of the neck's width beside the ends of its frets.

Between any two frets the edge of the board is one step of light. Its place is fitted gap by gap with the blur of the
photograph; the places of one side must lie on one straight line, since the neck tapers evenly. Gaps that do not (a
shadow, a rounded edge that catches a lamp, the body behind) are left out, and a side whose places scatter or follow a
bow is left out as a whole: it follows something else. So is a side seen far across the neck, where a rounded edge is
its own horizon.
"""

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CameraModel, project_with_derivatives
from vision.fit.neck_model import NeckModel, edge_place, edge_points, width_mm
from vision.fit.observations import EdgeData
from vision.trace.blur import Blur
from vision.trace.edge_steps import EdgeSteps, misfit_of_step, step_residual, strongest_step

Array = NDArray[np.float64]

_WITHIN_MM = 1.0
_LEAST_STEP = 0.3  # of the strong steps of the photograph
_MOST_MISFIT = 0.06  # of the step
_PASSES = 8
_NEAR_LINE_MM = 0.06
_LEAST_GAPS = 8
_LEAST_SPAN = 0.5  # of the neck
_MOST_BEND_MM, _MOST_SCATTER_MM = 0.06, 0.04
_OWN_U_MM = 0.03  # of single gaps: grain, dirt, binding
_FLOOR_PX = 0.08
_MOST_ACROSS = 0.25  # tangent of the sight's lean across the neck
_MOST_OFF_MM = 0.45  # farther from where the fret ends put it, it is another edge
_FRONT_OFFSET_U_MM, _LOW_OFFSET_U_MM = 0.06, 0.15  # a low view sees the rounding from another side than the front
_DRIFT_U_MM, _BEND_U_MM = 0.025, 0.015


def edge_data(
    steps: EdgeSteps, blur: Blur, camera: CameraModel, model: NeckModel, theta: Array, front: bool
) -> EdgeData:
    """Points of the board's edges for the joint fit; none for a side that shows no straight edge."""
    place, height = strongest_step(steps.light, _WITHIN_MM)
    vector = blur.vector()
    for _ in range(_PASSES):
        residual, _ = step_residual(steps, vector, place)
        slope = (step_residual(steps, vector, place + 0.01)[0] - residual) / 0.01
        move = -np.sum(slope * residual, axis=1) / (np.sum(slope**2, axis=1) + 1e-9)
        place = place + np.clip(move, -0.1, 0.1)
    residual, fitted = step_residual(steps, vector, place)
    good = misfit_of_step(residual, fitted, steps, place) < _MOST_MISFIT
    good &= height > _LEAST_STEP * np.percentile(height, 90)
    along = edge_place(model, steps.gap, steps.share)
    half = float(width_mm(model, theta, model.z_mm).mean()) / 2.0
    bend, scatter = np.zeros(2), np.zeros(2)
    for side, outwards_sign in enumerate((-1.0, 1.0)):
        across = (camera.position_mm[0] - outwards_sign * half) / camera.position_mm[1]
        own = (steps.side == side) & (abs(across) < _MOST_ACROSS)
        # A rounded edge is dark or bright against what lies beyond: its two contrasts stand at different places.
        brighter = good & own & (fitted > 0)
        darker = good & own & (fitted < 0)
        seen = brighter if brighter.sum() > darker.sum() else darker
        on_line, bend[side], scatter[side] = _on_one_line(along, place, seen)
        good[steps.side == side] = on_line[steps.side == side]
    some = steps.some(good)
    sign = np.where(some.side == 0, -1.0, 1.0)
    points = edge_points(model, theta, some.gap, some.share, some.side)[0]
    image, _, by_point = project_with_derivatives(points, camera)
    outwards = by_point[:, :, 0] * sign[:, None]
    step = edge_points(model, theta, some.gap, np.minimum(some.share + 0.02, 1.0), some.side)[0] - points
    direction = np.einsum("nij,nj->ni", by_point, step)
    direction /= np.hypot(*direction.T)[:, None]
    normal = np.column_stack([-direction[:, 1], direction[:, 0]])
    per_mm = np.abs(np.sum(outwards * normal, axis=1))
    return EdgeData(
        some.gap,
        some.share,
        some.side,
        image + place[good][:, None] * outwards,
        normal,
        np.hypot(_OWN_U_MM * per_mm, _FLOOR_PX),
        _FRONT_OFFSET_U_MM if front else _LOW_OFFSET_U_MM,
        np.hypot(_DRIFT_U_MM, scatter),
        np.hypot(_BEND_U_MM, bend),
    )


def _on_one_line(
    along: Array, place: Array, good: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], float, float]:
    """Those on the line most of them lie on, its bend and their scatter (mm); none where that is no straight edge."""
    none = np.zeros(len(place), dtype=np.bool_)
    if np.count_nonzero(good) < _LEAST_GAPS:
        return none, 0.0, 0.0
    x, y = along[good], place[good]
    one, other = np.triu_indices(len(x), len(x) // 4)
    slope = (y[other] - y[one]) / (x[other] - x[one])
    start = y[one] - slope * x[one]
    away = np.abs(y[None, :] - start[:, None] - slope[:, None] * x[None, :])
    best = int(np.argmax(np.sum(np.exp(-0.5 * (away / _NEAR_LINE_MM) ** 2), axis=1)))
    near = good & (np.abs(place - start[best] - slope[best] * along) < 2.0 * _NEAR_LINE_MM)
    for _ in range(3):
        if np.count_nonzero(near) < _LEAST_GAPS:
            return none, 0.0, 0.0
        line = np.polyfit(along[near], place[near], 1)
        near = good & (np.abs(place - np.polyval(line, along)) < 2.0 * _NEAR_LINE_MM)
    if np.count_nonzero(near) < _LEAST_GAPS or np.ptp(along[near]) < 2.0 * _LEAST_SPAN:
        return none, 0.0, 0.0
    curve = np.polyfit(along[near], place[near], 2)
    scatter = float(np.std(place[near] - np.polyval(curve, along[near])))
    bend = float(curve[0])
    straight = abs(bend) < _MOST_BEND_MM and scatter < _MOST_SCATTER_MM
    straight = straight and abs(float(np.median(place[near]))) < _MOST_OFF_MM
    return (near if straight else none), bend, scatter
