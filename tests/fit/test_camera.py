"""The camera against OpenCV's, against published figures and against finite differences."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from vision.fit.camera import (
    CAMERA_PARAMETERS,
    CameraModel,
    project,
    project_moving,
    project_with_derivatives,
    rotation_matrix,
    view_angle_deg,
)

Array = NDArray[np.float64]

_STEPS = np.array([1e-5] * 3 + [1e-3] * 3 + [1e-5, 1e-4, 1e-3, 1e-3])


def _camera(k1: float = 0.04) -> CameraModel:
    rotation = rotation_matrix(np.array([0.4, -2.6, 0.3]))
    return CameraModel(rotation, np.array([25.0, -40.0, 1300.0]), 8600.0, k1, np.array([1511.5, 2020.25]))


def _points(seed: int) -> Array:
    rng = np.random.default_rng(seed)
    return rng.uniform([-30.0, -2.0, 30.0], [30.0, 2.0, 480.0], (40, 3))


def _as_opencv(points_mm: Array, camera: CameraModel) -> Array:
    turn, _ = cv2.Rodrigues(camera.rotation)
    matrix = np.diag([camera.focal_px, camera.focal_px, 1.0])
    matrix[:2, 2] = camera.centre_px
    bent = np.array([camera.k1, 0.0, 0.0, 0.0])
    image, _ = cv2.projectPoints(points_mm, turn, camera.translation_mm, matrix, bent)
    return np.asarray(image[:, 0, :], dtype=np.float64)


@pytest.mark.parametrize("k1", [-0.2, 0.0, 0.3])
def test_projection_is_that_of_opencv(k1: float) -> None:
    camera, points = _camera(k1), _points(1)
    image, depth = project(points, camera)
    np.testing.assert_allclose(image, _as_opencv(points, camera), rtol=0, atol=1e-6)
    assert depth.min() > 800.0
    assert np.ptp(image, axis=0).min() > 100.0  # the points spread over the picture


def test_published_distortion() -> None:
    # As OpenCV's documentation writes it, K = diag(1000, 1000, 1), point (0.1, 0.2, 1), k1 = 0.1: (100.5, 201.0).
    camera = CameraModel(np.eye(3), np.zeros(3), 1000.0, 0.1, np.zeros(2))
    image, depth = project(np.array([[0.1, 0.2, 1.0]]), camera)
    np.testing.assert_allclose(image, [[100.5, 201.0]], rtol=0, atol=1e-9)
    assert depth[0] == pytest.approx(1.0, rel=0, abs=1e-12)


@pytest.mark.parametrize(("height", "bow_px"), [(200.0 / 3000.0, 1.0), (0.0, 0.0)])
def test_plumb_line(height: float, bow_px: float) -> None:
    # Devernay and Faugeras, Machine Vision and Applications 13(1), 2001; Brown 1971 [memory]: a straight line at
    # normalised height h bows over a half-chord a by k1 h a^2 f. k1 0.02, h 200/3000, a 1500/3000, f 3000: 1.000 px
    # [worked]; a line through the middle stays straight.
    camera = CameraModel(np.eye(3), np.zeros(3), 3000.0, 0.02, np.zeros(2))
    line = np.column_stack([[-0.5, 0.0, 0.5], np.full(3, height), np.ones(3)])
    image, _ = project(line, camera)
    assert image[[0, 2], 1].mean() - image[1, 1] == pytest.approx(bow_px, rel=0, abs=1e-9)


@pytest.mark.parametrize("parameter", range(CAMERA_PARAMETERS))
def test_derivative_by_every_camera_parameter(parameter: int) -> None:
    camera, points = _camera(), _points(2)
    image, by_camera, _ = project_with_derivatives(points, camera)
    np.testing.assert_allclose(image, project(points, camera)[0], rtol=0, atol=1e-9)
    assert by_camera.shape == (len(points), 2, CAMERA_PARAMETERS)
    step = np.zeros(CAMERA_PARAMETERS)
    step[parameter] = _STEPS[parameter]
    ahead, behind = (project(points, camera.stepped(sign * step))[0] for sign in (1.0, -1.0))
    numeric = (ahead - behind) / (2.0 * _STEPS[parameter])
    size = np.abs(numeric).max()
    assert size > 0.1
    np.testing.assert_allclose(by_camera[:, :, parameter], numeric, rtol=0, atol=2e-6 * size)


@pytest.mark.parametrize("axis", range(3))
def test_derivative_by_the_point(axis: int) -> None:
    camera, points = _camera(), _points(3)
    _, _, by_point = project_with_derivatives(points, camera)
    step = np.zeros(3)
    step[axis] = 1e-3
    numeric = (project(points + step, camera)[0] - project(points - step, camera)[0]) / 2e-3
    np.testing.assert_allclose(by_point[:, :, axis], numeric, rtol=0, atol=1e-6 * np.abs(numeric).max())


def test_points_in_motion() -> None:
    camera, points, motion = _camera(), _points(3), _points(5)
    image, moving = project_moving(points, motion, camera)
    expected, _, by_point = project_with_derivatives(points, camera)
    np.testing.assert_allclose(image, expected, rtol=0, atol=1e-9)
    np.testing.assert_allclose(moving, np.einsum("nij,nj->ni", by_point, motion), rtol=0, atol=1e-9)


def test_turns_are_those_of_rodrigues() -> None:
    for vector in np.random.default_rng(4).normal(0.0, 1.0, (8, 3)):
        np.testing.assert_allclose(rotation_matrix(vector), cv2.Rodrigues(vector)[0], rtol=0, atol=1e-12)
    np.testing.assert_allclose(rotation_matrix(np.zeros(3)), np.eye(3), rtol=0, atol=0)
    tiny = np.array([2e-13, 0.0, -1e-13])
    np.testing.assert_allclose(rotation_matrix(tiny), cv2.Rodrigues(tiny)[0], rtol=0, atol=1e-15)


def test_a_step_moves_as_its_order_says() -> None:
    camera = _camera()
    step = np.array([0.02, -0.01, 0.03, 1.0, 2.0, -3.0, 0.05, 0.01, 4.0, -5.0])
    moved = camera.stepped(step)
    np.testing.assert_allclose(
        moved.rotation, rotation_matrix(step[:3]) @ camera.rotation, rtol=0, atol=1e-14
    )
    np.testing.assert_allclose(moved.rotation @ moved.rotation.T, np.eye(3), rtol=0, atol=1e-12)
    np.testing.assert_allclose(moved.translation_mm, [26.0, -38.0, 1297.0], rtol=0, atol=1e-12)
    assert moved.focal_px == pytest.approx(8600.0 * np.exp(0.05), rel=0, abs=1e-9)
    assert moved.k1 == pytest.approx(0.05, rel=0, abs=1e-15)
    np.testing.assert_allclose(moved.centre_px, [1515.5, 2015.25], rtol=0, atol=1e-12)


def test_optical_centre_is_where_sight_lines_meet() -> None:
    camera = _camera(0.0)
    position = camera.position_mm
    np.testing.assert_allclose(
        camera.rotation @ position + camera.translation_mm, np.zeros(3), rtol=0, atol=1e-9
    )
    point = np.array([[12.0, 1.0, 300.0]])
    halfway = position + 0.5 * (point - position)
    np.testing.assert_allclose(project(halfway, camera)[0], project(point, camera)[0], rtol=0, atol=1e-8)


@pytest.mark.parametrize("angle", [-3.0, 0.0, 8.0, 45.0, 90.0])
def test_view_angle_is_the_elevation_above_the_board(angle: float) -> None:
    up = np.radians(angle)
    aim = np.array([3.0, 0.5, 240.0])
    azimuth = np.array([np.sin(0.3), 0.0, -np.cos(0.3)])
    position = aim + 900.0 * (np.cos(up) * azimuth + np.sin(up) * np.array([0.0, 1.0, 0.0]))
    rotation = rotation_matrix(np.array([0.1, 0.7, -0.4]))  # where it looks does not matter
    camera = CameraModel(rotation, -rotation @ position, 3000.0, 0.0, np.zeros(2))
    assert view_angle_deg(camera, aim) == pytest.approx(angle, rel=0, abs=2e-6)
