"""Ends of frets found on a drawn neck whose ends are known."""

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from tests.neck_models import camera_beyond_nut, flat_neck, middle_of_picture_px
from vision.fit.camera import CameraModel
from vision.fit.neck_model import NeckModel, width_mm
from vision.trace.blur import Blur
from vision.trace.ends import EndFit, find_ends
from vision.trace.strip import LightCrop

Array = NDArray[np.float64]

_BEVEL, _HEIGHT_MM, _HALF_CROWN_MM = 0.6, 1.05, 1.2
_LOW_PX, _FRONT_PX = (760, 900), (340, 1560)  # width, height
_SUPER = 3
_SIGMA_PX = 1.2


def _picture(
    model: NeckModel, theta: Array, camera: CameraModel, shift_mm: Callable[[Array, float], Array],
    seed: int,
) -> LightCrop:
    """Rays through every sub-pixel meet the crowns (cut by their bevels), then the board, then the ground."""
    half_px = 0.5 - 0.5 / _SUPER
    width, height = (round(2 * c) + 1 for c in camera.centre_px)
    x = np.arange(width * _SUPER) / _SUPER - half_px - camera.centre_px[0]
    y = np.arange(height * _SUPER) / _SUPER - half_px - camera.centre_px[1]
    across, down = np.meshgrid(x / camera.focal_px, y / camera.focal_px)
    rays = np.stack([across, down, np.ones_like(across)], axis=-1) @ camera.rotation
    origin = camera.position_mm
    light = np.full(rays.shape[:2], 0.16)  # ground
    at_board = -(_HEIGHT_MM + origin[1]) / rays[..., 1]
    board_x, board_z = (origin[i] + at_board * rays[..., i] for i in (0, 2))
    side = np.where(board_x < 0, -1.0, 1.0)
    bass, treble = (_half(model, theta, board_z, sign, shift_mm) for sign in (-1.0, 1.0))
    half = np.where(side < 0, bass, treble)
    on_board = np.abs(board_x) < half + 0.3
    light[on_board] = 0.07
    done = np.zeros(light.shape, dtype=bool)
    for k in np.argsort(np.abs(model.z_mm - origin[2])):  # nearest first
        z = model.z_mm[k]
        # Crown y = -h ((Z - z) / w)^2 met by origin + t ray: a quadratic in t.
        oz, oy = origin[2] - z, origin[1]
        curve = _HEIGHT_MM / _HALF_CROWN_MM**2
        a = curve * rays[..., 2] ** 2
        b = 2 * curve * oz * rays[..., 2] + rays[..., 1]
        c = curve * oz**2 + oy
        root = b**2 - 4 * a * c
        t = (-b - np.sqrt(np.maximum(root, 0.0))) / np.maximum(2 * a, 1e-12)
        meet = origin + t[..., None] * rays
        foot = np.array([_half(model, theta, np.array([z]), s, shift_mm)[0] for s in (-1.0, 1.0)])
        reach = np.where(meet[..., 0] < 0, foot[0], foot[1]) - (meet[..., 1] + _HEIGHT_MM) * _BEVEL
        hit = (root > 0) & (meet[..., 1] > -_HEIGHT_MM) & (np.abs(meet[..., 0]) < reach) & ~done
        light[hit] = 0.42 + 0.12 * (meet[..., 2][hit] - z)
        done |= hit
    pixels = light.reshape(height, _SUPER, width, _SUPER).mean(axis=(1, 3))
    pixels = gaussian_filter(pixels, np.sqrt(_SIGMA_PX**2 - 1 / 12))
    pixels += np.random.default_rng(seed).normal(0.0, 0.006, pixels.shape)
    return LightCrop(pixels.astype(np.float32), np.zeros(2))


def _half(
    model: NeckModel, theta: Array, z_mm: Array, sign: float, shift_mm: Callable[[Array, float], Array]
) -> Array:
    half: Array = width_mm(model, theta, z_mm) / 2.0 + shift_mm(z_mm, sign)
    return half


def _shift(z_mm: Array, sign: float) -> Array:
    """How far the feet lie beyond the model's: unlike on the two sides, changing along the neck."""
    return 0.15 * sign + 0.4 + 0.0006 * (z_mm - 180.0)


def _found(
    elevation_deg: float, distance_mm: float, focal_px: float, size_px: tuple[int, int]
) -> tuple[NeckModel, EndFit]:
    model, theta = flat_neck(12)
    camera = camera_beyond_nut(elevation_deg, distance_mm, focal_px, middle_of_picture_px(*size_px))
    crop = _picture(model, theta, camera, _shift, 7)
    blur = Blur(np.log(0.01), 0.0, float(np.log(_SIGMA_PX)), 0.0)
    return model, find_ends(crop, camera, model, theta, blur, elevation_deg > 30.0)


@pytest.fixture(scope="module")
def low() -> tuple[NeckModel, EndFit]:
    return _found(9.0, 1000.0, 7500.0, _LOW_PX)


@pytest.fixture(scope="module")
def front() -> tuple[NeckModel, EndFit]:
    return _found(70.0, 900.0, 4500.0, _FRONT_PX)


@pytest.mark.parametrize("view", ["low", "front"])
def test_ends_follow_the_truth(view: str, request: pytest.FixtureRequest) -> None:
    model, found = request.getfixturevalue(view)
    truth = np.column_stack([_shift(model.z_mm, s) for s in (-1.0, 1.0)]) - 0.5 * _BEVEL * _HEIGHT_MM
    error = found.offset_mm - truth
    usable = np.isfinite(found.offset_u_mm)
    assert usable.mean() > 0.8
    place = (model.z_mm - model.z_mm.mean()) / 200.0
    for side in (0, 1):
        use = usable[:, side]
        slope, level = np.polyfit(place[use], error[use, side], 1)
        assert level == pytest.approx(0.0, rel=0, abs=0.05)
        assert slope == pytest.approx(0.0, rel=0, abs=0.03)
        np.testing.assert_allclose(error[use, side], 0.0, rtol=0.0, atol=0.09)


def test_bevel_and_board_edge_are_recovered_along_the_neck(low: tuple[NeckModel, EndFit]) -> None:
    _, found = low
    np.testing.assert_allclose(found.bevel, _BEVEL, rtol=0.0, atol=0.1)
    np.testing.assert_allclose(found.edge_mm, 0.3, rtol=0.0, atol=0.12)


def test_nothing_usable_where_the_picture_is_even() -> None:
    model, theta = flat_neck(12)
    camera = camera_beyond_nut(9.0, 1000.0, 7500.0, middle_of_picture_px(*_LOW_PX))
    light = np.random.default_rng(3).normal(0.2, 0.006, _LOW_PX[::-1]).astype(np.float32)
    crop = LightCrop(light, np.zeros(2))
    blur = Blur(np.log(0.01), 0.0, float(np.log(_SIGMA_PX)), 0.0)
    found = find_ends(crop, camera, model, theta, blur, False)
    assert np.isnan(found.offset_u_mm).all()
