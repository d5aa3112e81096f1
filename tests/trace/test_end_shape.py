"""Shape of the line of fret ends from the front: true shifts come back, a crooked board edge does not matter."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import expit

from tests.neck_models import flat_neck, middle_of_picture_px
from vision.fit.camera import CameraModel, project, project_with_derivatives
from vision.fit.neck_model import NeckModel, fret_points
from vision.trace.end_shape import end_shape_mm
from vision.trace.strip import LightCrop

Array = NDArray[np.float64]

_WIDTH_PX, _HEIGHT_PX = 420, 900
_FRETS = 16


def _setting() -> tuple[CameraModel, NeckModel, Array]:
    """A camera that looks straight down on a flat neck."""
    model, theta = flat_neck(_FRETS)
    position = np.array([0.0, 900.0, 0.5 * float(model.z_mm[0] + model.z_mm[-1])])
    rotation = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
    centre_px = middle_of_picture_px(_WIDTH_PX, _HEIGHT_PX)
    return CameraModel(rotation, -rotation @ position, 2000.0, 0.0, centre_px), model, theta


def _found(shift_mm: Array, edge_mm: Array, side: int, seed: int = 4, crown: float = 0.45) -> Array | None:
    """Frets of light `crown` end at shift_mm beyond the model's end; the board's edge lies edge_mm beyond that."""
    camera, model, theta = _setting()
    y, x = np.mgrid[:_HEIGHT_PX, :_WIDTH_PX].astype(np.float64)
    # The camera looks straight down on the flat board: pixels to mm by one scale.
    scale = 900.0 / 2000.0
    across = (x - camera.centre_px[0]) * scale
    along = (y - camera.centre_px[1]) * scale + camera.position_mm[2]
    sign = -1.0 if side == 0 else 1.0
    half = 0.5 * (theta[0] + (theta[1] - theta[0]) * along / 323.85)
    beyond = np.interp(along, model.z_mm, shift_mm)
    edge = np.interp(along, model.z_mm, edge_mm)
    outwards = sign * across - half

    def covered(mm: Array) -> Array:
        return np.asarray(expit(mm / 0.15))

    background = 0.3 + 0.15 * np.sin(along / 30.0)  # something uneven behind the guitar
    board = covered(edge - outwards)
    light = 0.08 * board + background * (1.0 - board)
    for z in model.z_mm:
        fret = covered(1.1 - np.abs(along - z)) * covered(beyond - outwards)
        light = light * (1.0 - fret) + crown * fret
    light = light + np.random.default_rng(seed).normal(0.0, 0.004, light.shape)
    ends, _ = fret_points(model, theta, np.arange(_FRETS), np.full(_FRETS, sign))
    image, _, by_point = project_with_derivatives(ends, camera)
    np.testing.assert_allclose(image, project(ends, camera)[0], rtol=0, atol=1e-9)
    basis = np.stack([by_point[:, :, 0] * sign, by_point[:, :, 2]], axis=-1)
    crop = LightCrop(light.astype(np.float32), np.zeros(2))
    return end_shape_mm(crop, camera, model, theta, side, image, basis)


def _bow(model_frets: int, lean: float, bend: float) -> Array:
    t = np.linspace(-1.0, 1.0, model_frets)
    return np.asarray(lean * t + bend * (1.0 - t**2))


@pytest.mark.parametrize("side", [0, 1])
@pytest.mark.parametrize(("lean", "bend"), [(0.0, 0.0), (0.15, 0.0), (-0.1, 0.08)])
def test_shifts_come_back_but_for_a_constant(side: int, lean: float, bend: float) -> None:
    true = _bow(_FRETS, lean, bend)
    found = _found(true, np.full(_FRETS, 0.35), side)
    assert found is not None
    assert np.median(found) == pytest.approx(0.0, rel=0, abs=1e-12)
    error = found - true
    assert np.std(error) < 0.03
    assert np.polyfit(np.linspace(-1.0, 1.0, _FRETS), error, 2)[:2] == pytest.approx([0.0, 0.0], rel=0, abs=0.035)


def test_a_crooked_edge_of_the_board_does_not_bend_it() -> None:
    """The edge moves by 0.3 mm in the middle of the neck; the frets do not."""
    found = _found(np.zeros(_FRETS), 0.35 + _bow(_FRETS, 0.0, 0.3), 1)
    assert found is not None
    assert np.abs(found).max() < 0.05


def test_frets_that_do_not_differ_from_the_board_give_nothing() -> None:
    assert _found(np.zeros(_FRETS), np.full(_FRETS, 0.35), 0, crown=0.08) is None
