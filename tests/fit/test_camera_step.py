"""Steps of a camera in a fit: what stays as large as it was, and derivatives against differences."""

import numpy as np
import pytest
from numpy.typing import NDArray

from vision.fit.camera import CAMERA_PARAMETERS, CameraModel, project, project_with_derivatives, rotation_matrix
from vision.fit.camera_step import camera_after, step_chain

Array = NDArray[np.float64]

_MIDDLE_MM = np.array([0.0, 0.0, 250.0])


def _camera() -> CameraModel:
    rotation = rotation_matrix(np.array([0.4, -2.6, 0.3]))
    return CameraModel(rotation, np.array([25.0, -40.0, 1300.0]), 8600.0, 0.04, np.array([1511.5, 2020.25]))


def _depth_mm(camera: CameraModel) -> float:
    return float(project(_MIDDLE_MM[None], camera)[1][0])


def test_a_turn_leaves_the_middle_where_it_is_seen() -> None:
    camera = _camera()
    step = np.array([0.3, -0.2, 0.4, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    moved = camera_after(camera, step, _MIDDLE_MM)
    np.testing.assert_allclose(moved.rotation, rotation_matrix(step[:3]) @ camera.rotation, rtol=0, atol=1e-12)
    before, after = (project(_MIDDLE_MM[None], each)[0] for each in (camera, moved))
    np.testing.assert_allclose(after, before, rtol=0, atol=1e-6)
    assert _depth_mm(moved) == pytest.approx(_depth_mm(camera), rel=0, abs=1e-9)
    shifted = camera_after(camera, step + np.eye(CAMERA_PARAMETERS)[4] * 7.0, _MIDDLE_MM)
    np.testing.assert_allclose(shifted.translation_mm - moved.translation_mm, [0.0, 7.0, 0.0], rtol=0, atol=1e-9)


@pytest.mark.parametrize("longer", [-0.7, 0.7])
def test_a_longer_lens_from_farther_away_shows_the_middle_as_large(longer: float) -> None:
    camera = CameraModel(rotation_matrix(np.array([1.2, 0.0, 0.0])), np.zeros(3), 4000.0, 0.0, np.zeros(2))
    camera = CameraModel(camera.rotation, np.array([0.0, 0.0, 900.0]) - camera.rotation @ _MIDDLE_MM,
                         camera.focal_px, camera.k1, camera.centre_px)
    step = np.zeros(CAMERA_PARAMETERS)
    step[6] = longer
    moved = camera_after(camera, step, _MIDDLE_MM)
    assert moved.focal_px == pytest.approx(4000.0 * np.exp(longer), rel=0, abs=1e-6)
    assert _depth_mm(moved) == pytest.approx(900.0 * np.exp(longer), rel=0, abs=1e-6)
    across = _MIDDLE_MM + np.array([[-25.0, 0.0, 0.0], [25.0, 0.0, 0.0]])
    before, after = (project(across, each)[0] for each in (camera, moved))
    np.testing.assert_allclose(after, before, rtol=0, atol=1e-6)
    ends = _MIDDLE_MM + np.array([[0.0, 0.0, -200.0], [0.0, 0.0, 200.0]])
    before, after = (project(ends, each)[0] for each in (camera, moved))
    assert np.abs(after - before).max() > 20.0  # the perspective is another one


@pytest.mark.parametrize("turn", [1e-5, 0.05, 0.8])
def test_derivatives_by_the_step_are_those_of_differences(turn: float) -> None:
    camera = _camera()
    points = np.random.default_rng(2).uniform([-30.0, -2.0, 30.0], [30.0, 2.0, 480.0], (12, 3))
    step = np.array([0.6 * turn, -0.64 * turn, 0.48 * turn, 3.0, -4.0, 20.0, 0.3, 0.01, 2.0, -1.0])
    _, by_camera, _ = project_with_derivatives(points, camera_after(camera, step, _MIDDLE_MM))
    found = by_camera @ step_chain(camera, step, _MIDDLE_MM)
    for parameter, size in enumerate([1e-5] * 3 + [1e-3] * 3 + [1e-5, 1e-4, 1e-3, 1e-3]):
        change = np.zeros(CAMERA_PARAMETERS)
        change[parameter] = size
        ahead, behind = (project(points, camera_after(camera, step + s * change, _MIDDLE_MM))[0] for s in (1.0, -1.0))
        numeric = (ahead - behind) / (2.0 * size)
        assert np.abs(numeric).max() > 0.1
        np.testing.assert_allclose(found[:, :, parameter], numeric, rtol=0, atol=3e-6 * np.abs(numeric).max())
