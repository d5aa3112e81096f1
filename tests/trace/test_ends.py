"""Ends of frets found on a drawn neck whose ends are known."""

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.neck_models import camera_beyond_nut, flat_neck, middle_of_picture_px
from tests.trace.drawn_neck_ends import BEVEL, FOOT_TO_EDGE_MM, GRAIN, HEIGHT_MM, SIGMA_PX, draw_neck
from vision.fit.neck_model import NeckModel
from vision.trace.blur import Blur
from vision.trace.ends import EndFit, find_ends
from vision.trace.strip import LightCrop

Array = NDArray[np.float64]

_LOW_PX, _FRONT_PX = (760, 900), (340, 1560)  # width, height
_BLUR = Blur(np.log(0.01), 0.0, float(np.log(SIGMA_PX)), 0.0)


def _shift(z_mm: Array, sign: float) -> Array:
    """How far the feet lie beyond the model's: unlike on the two sides, changing along the neck."""
    return 0.15 * sign + 0.4 + 0.0006 * (z_mm - 180.0)


def _found(
    elevation_deg: float, distance_mm: float, focal_px: float, size_px: tuple[int, int]
) -> tuple[NeckModel, EndFit]:
    model, theta = flat_neck(12)
    camera = camera_beyond_nut(elevation_deg, distance_mm, focal_px, middle_of_picture_px(*size_px))
    crop = draw_neck(model, theta, camera, 7, _shift)
    return model, find_ends(crop, camera, model, theta, _BLUR, elevation_deg > 30.0)


@pytest.fixture(scope="module")
def low() -> tuple[NeckModel, EndFit]:
    return _found(9.0, 1000.0, 7500.0, _LOW_PX)


@pytest.fixture(scope="module")
def front() -> tuple[NeckModel, EndFit]:
    return _found(70.0, 900.0, 4500.0, _FRONT_PX)


@pytest.mark.parametrize("view", ["low", "front"])
def test_ends_follow_the_truth(view: str, request: pytest.FixtureRequest) -> None:
    model, found = request.getfixturevalue(view)
    truth = np.column_stack([_shift(model.z_mm, s) for s in (-1.0, 1.0)]) - 0.5 * BEVEL * HEIGHT_MM
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
    np.testing.assert_allclose(found.bevel, BEVEL, rtol=0.0, atol=0.1)
    np.testing.assert_allclose(found.edge_mm, FOOT_TO_EDGE_MM, rtol=0.0, atol=0.12)


def test_nothing_usable_where_the_picture_is_even() -> None:
    model, theta = flat_neck(12)
    camera = camera_beyond_nut(9.0, 1000.0, 7500.0, middle_of_picture_px(*_LOW_PX))
    light = np.random.default_rng(3).normal(0.2, GRAIN, _LOW_PX[::-1]).astype(np.float32)
    crop = LightCrop(light, np.zeros(2))
    found = find_ends(crop, camera, model, theta, _BLUR, False)
    assert np.isnan(found.offset_u_mm).all()
