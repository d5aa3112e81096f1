"""The first camera from located fret ends: found again from rough places, and never an absurd lens."""

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.neck_models import camera_beyond_nut, flat_neck, middle_of_picture_px
from vision.fit.camera import CameraModel, project, view_angle_deg
from vision.fit.neck_model import fret_points, middle_of
from vision.fit.start import camera_prior, start_camera

Array = NDArray[np.float64]

FRETS, WIDTH_PX, HEIGHT_PX = 22, 3024, 4032
DIAGONAL_PX = float(np.hypot(WIDTH_PX, HEIGHT_PX))
MODEL, THETA = flat_neck(FRETS)


def _low() -> CameraModel:
    return camera_beyond_nut(8.0, 1150.0, 9000.0, middle_of_picture_px(WIDTH_PX, HEIGHT_PX), sideways_mm=-15.0)


def _front() -> CameraModel:
    return camera_beyond_nut(75.0, 1000.0, 5500.0, middle_of_picture_px(WIDTH_PX, HEIGHT_PX))


def _located(camera: CameraModel, noise_px: float, seed: int) -> Array:
    """(N, 2, 2) fret ends as a camera shows them, roughly located."""
    frets = np.arange(FRETS)
    ends = [project(fret_points(MODEL, THETA, frets, np.full(FRETS, s))[0], camera)[0] for s in (-1.0, 1.0)]
    return np.stack(ends, axis=1) + np.random.default_rng(seed).normal(0.0, noise_px, (FRETS, 2, 2))


@pytest.mark.parametrize("truth", [_low(), _front()])
@pytest.mark.parametrize("known", [True, False])
def test_a_camera_is_found_from_rough_places(truth: CameraModel, known: bool) -> None:
    prior, _ = camera_prior(WIDTH_PX, HEIGHT_PX, truth.focal_px if known else None, 0.04)
    camera, rms_px = start_camera(prior, known, DIAGONAL_PX, _located(truth, 1.0, 3), MODEL, THETA)
    assert rms_px == pytest.approx(np.sqrt(2.0), rel=0, abs=0.3)
    assert view_angle_deg(camera, middle_of(MODEL)) == pytest.approx(
        view_angle_deg(truth, middle_of(MODEL)), rel=0, abs=0.5 if known else 4.0
    )
    away = float(np.linalg.norm(camera.position_mm - truth.position_mm))
    assert away < (15.0 if known else 0.25 * float(np.linalg.norm(truth.position_mm)))
    assert abs(np.log(camera.focal_px / truth.focal_px)) < (1e-9 if known else 0.25)


def test_a_front_located_askew_is_not_seen_by_an_absurd_lens() -> None:
    """Ends bent towards one side as a blurred picture may give them; explained best by a lens right over the board."""
    truth = _front()
    bent = _located(truth, 1.0, 4)
    bent[:, 1, 0] += 60.0 * np.linspace(-1.0, 1.0, FRETS) ** 2
    prior, _ = camera_prior(WIDTH_PX, HEIGHT_PX, None, 0.04)
    camera, _ = start_camera(prior, False, DIAGONAL_PX, bent, MODEL, THETA)
    assert 0.2 < camera.focal_px / truth.focal_px < 5.0
    assert np.linalg.norm(camera.position_mm - middle_of(MODEL)) > 250.0


def test_misshapen_ends_are_misuse() -> None:
    prior, _ = camera_prior(WIDTH_PX, HEIGHT_PX, None, 0.04)
    with pytest.raises(ValueError, match="fret_ends_px="):
        start_camera(prior, False, DIAGONAL_PX, np.zeros((FRETS - 1, 2, 2)), MODEL, THETA)
