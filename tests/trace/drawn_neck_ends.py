"""A drawn neck whose ends of frets and edges of the board are known, for the tests that find them.

Crowns are parabolas cut by their bevels, the board is a flat plate with straight-cut sides, beyond it is the ground.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from vision.fit.camera import CameraModel
from vision.fit.neck_model import NeckModel, width_mm
from vision.trace.strip import LightCrop

Array = NDArray[np.float64]
Along = Callable[[Array, float], Array]
"""Lengths (mm) at distances from the nut (mm) on the side of the sign given."""

BEVEL, HEIGHT_MM, FOOT_TO_EDGE_MM = 0.6, 1.05, 0.3
SIGMA_PX, GRAIN = 1.2, 0.006
BOARD, GROUND = 0.07, 0.16
_HALF_CROWN_MM = 1.2
_SUPER = 3
_REACH_MM = 14.0  # along the neck, within which a crown hides the board in the views of these tests


def draw_neck(
    model: NeckModel,
    theta: Array,
    camera: CameraModel,
    seed: int,
    feet_mm: Along,
    *,
    edge_mm: Along | None = None,
    ground: Callable[[Array], Array] | None = None,
) -> LightCrop:
    """Rays through every sub-pixel meet the crowns, then the board, then the ground.

    feet_mm : how far the feet of the crowns lie beyond the model's ends of the frets.  edge_mm : how far the board's
    edge does, FOOT_TO_EDGE_MM beyond the feet if None.  ground : its light at distances from the nut (mm).
    """
    half_px = 0.5 - 0.5 / _SUPER
    width, height = (round(2 * c) + 1 for c in camera.centre_px)
    x = np.arange(width * _SUPER) / _SUPER - half_px - camera.centre_px[0]
    y = np.arange(height * _SUPER) / _SUPER - half_px - camera.centre_px[1]
    across, down = np.meshgrid(x / camera.focal_px, y / camera.focal_px)
    rays = np.stack([across, down, np.ones_like(across)], axis=-1) @ camera.rotation
    origin = camera.position_mm
    at_board = -(HEIGHT_MM + origin[1]) / rays[..., 1]
    board_x, board_z = (origin[i] + at_board * rays[..., i] for i in (0, 2))
    light = np.full(rays.shape[:2], GROUND) if ground is None else ground(board_z)
    bass, treble = (_edge(model, theta, board_z, sign, feet_mm, edge_mm) for sign in (-1.0, 1.0))
    light[np.abs(board_x) < np.where(board_x < 0, bass, treble)] = BOARD
    done = np.zeros(light.shape, dtype=bool)
    for k in np.argsort(np.abs(model.z_mm - origin[2])):  # nearest first
        z = model.z_mm[k]
        near = np.nonzero(np.abs(board_z - z) < _REACH_MM)
        seen = rays[near]
        # Crown y = -h ((Z - z) / w)^2 met by origin + t ray: a quadratic in t.
        oz, oy = origin[2] - z, origin[1]
        curve = HEIGHT_MM / _HALF_CROWN_MM**2
        a = curve * seen[:, 2] ** 2
        b = 2 * curve * oz * seen[:, 2] + seen[:, 1]
        c = curve * oz**2 + oy
        root = b**2 - 4 * a * c
        t = (-b - np.sqrt(np.maximum(root, 0.0))) / np.maximum(2 * a, 1e-12)
        meet = origin + t[:, None] * seen
        foot = [_half(model, theta, np.array([z]))[0] + feet_mm(np.array([z]), s)[0] for s in (-1.0, 1.0)]
        reach = np.where(meet[:, 0] < 0, foot[0], foot[1]) - (meet[:, 1] + HEIGHT_MM) * BEVEL
        hit = (root > 0) & (meet[:, 1] > -HEIGHT_MM) & (np.abs(meet[:, 0]) < reach) & ~done[near]
        at = near[0][hit], near[1][hit]
        light[at] = 0.42 + 0.12 * (meet[hit, 2] - z)
        done[at] = True
    pixels = light.reshape(height, _SUPER, width, _SUPER).mean(axis=(1, 3))
    pixels = gaussian_filter(pixels, np.sqrt(SIGMA_PX**2 - 1 / 12))
    pixels += np.random.default_rng(seed).normal(0.0, GRAIN, pixels.shape)
    return LightCrop(pixels.astype(np.float32), np.zeros(2))


def _half(model: NeckModel, theta: Array, z_mm: Array) -> Array:
    half: Array = width_mm(model, theta, z_mm) / 2.0
    return half


def _edge(
    model: NeckModel, theta: Array, z_mm: Array, sign: float, feet_mm: Along, edge_mm: Along | None
) -> Array:
    beyond = feet_mm(z_mm, sign) + FOOT_TO_EDGE_MM if edge_mm is None else edge_mm(z_mm, sign)
    return _half(model, theta, z_mm) + beyond
