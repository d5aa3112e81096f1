"""Pinhole camera with one radial term, its projection and exact derivatives.

Frames: the neck frame is X to the treble side, Y up from the board, Z from nut to bridge (mm); the camera frame
is x right, y down, z forward (mm). Pixel centres lie at integers. Distortion as OpenCV writes it with k1 only:
x_d = x (1 + k1 r^2) for normalised x, y (Brown 1966/1971; checked against cv2.projectPoints in the tests).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CAMERA_PARAMETERS = 10
"""Order of a camera's step vector: rotation (3, rad, left-multiplied), translation (3, mm), log focal,
k1, principal point (2, px)."""


@dataclass(frozen=True, eq=False)
class CameraModel:
    """rotation (3, 3) and translation (3,) take neck points to the camera frame: p = R P + t."""

    rotation: Array
    translation_mm: Array
    focal_px: float
    k1: float
    centre_px: Array  # (2,)

    @property
    def position_mm(self) -> Array:
        """Optical centre in the neck frame."""
        position: Array = -self.rotation.T @ self.translation_mm
        return position

    def stepped(self, step: Array) -> "CameraModel":
        """The camera after a step in the order of CAMERA_PARAMETERS."""
        turn = rotation_matrix(step[:3])
        return replace(
            self,
            rotation=turn @ self.rotation,
            translation_mm=self.translation_mm + step[3:6],
            focal_px=float(self.focal_px * np.exp(step[6])),
            k1=float(self.k1 + step[7]),
            centre_px=self.centre_px + step[8:10],
        )


def project(points_mm: Array, camera: CameraModel) -> tuple[Array, Array]:
    """Image points (n, 2) px and depths (n,) mm of neck points (n, 3)."""
    seen = points_mm @ camera.rotation.T + camera.translation_mm
    flat, radius2 = _flattened(seen)
    return camera.centre_px + camera.focal_px * flat * (1.0 + camera.k1 * radius2), seen[:, 2]


def project_moving(points_mm: Array, motion_mm: Array, camera: CameraModel) -> tuple[Array, Array]:
    """Image points (n, 2) and how they move when the neck points move by motion_mm (n, 3) per unit."""
    seen = points_mm @ camera.rotation.T + camera.translation_mm
    motion = motion_mm @ camera.rotation.T
    flat, radius2 = _flattened(seen)
    by_motion = (motion[:, :2] - flat * motion[:, 2:]) / seen[:, 2:]
    stretch = 1.0 + camera.k1 * radius2
    stretching = 2.0 * camera.k1 * np.sum(flat * by_motion, axis=1, keepdims=True)
    image = camera.centre_px + camera.focal_px * flat * stretch
    return image, np.asarray(camera.focal_px * (by_motion * stretch + flat * stretching))


def project_with_derivatives(points_mm: Array, camera: CameraModel) -> tuple[Array, Array, Array]:
    """Image points (n, 2), d image / d camera step (n, 2, 10) at step 0, d image / d neck point (n, 2, 3)."""
    turned = points_mm @ camera.rotation.T
    seen = turned + camera.translation_mm
    depth = seen[:, 2:3]
    flat, radius2 = _flattened(seen)
    stretch = 1.0 + camera.k1 * radius2
    image = camera.centre_px + camera.focal_px * flat * stretch
    # d image / d flat = f (stretch I + 2 k1 flat flat^T)
    to_flat = camera.focal_px * (
        stretch[:, :, None] * np.eye(2) + 2.0 * camera.k1 * flat[:, :, None] * flat[:, None, :]
    )
    flat_to_seen = np.zeros((len(seen), 2, 3))
    flat_to_seen[:, 0, 0] = flat_to_seen[:, 1, 1] = 1.0 / depth[:, 0]
    flat_to_seen[:, :, 2] = -flat / depth
    to_seen = to_flat @ flat_to_seen
    by_camera = np.zeros((len(seen), 2, CAMERA_PARAMETERS))
    # A left turn w moves R P by w x R P = -[R P]_x w.
    by_camera[:, :, :3] = -to_seen @ cross_matrices(turned)
    by_camera[:, :, 3:6] = to_seen
    by_camera[:, :, 6] = image - camera.centre_px
    by_camera[:, :, 7] = camera.focal_px * flat * radius2
    by_camera[:, 0, 8] = by_camera[:, 1, 9] = 1.0
    return image, by_camera, to_seen @ camera.rotation


def _flattened(seen: Array) -> tuple[Array, Array]:
    """Normalised x, y (n, 2) of points in the camera frame (n, 3), and their squared distance from the axis (n, 1)."""
    flat = seen[:, :2] / seen[:, 2:]
    return flat, flat[:, :1] ** 2 + flat[:, 1:] ** 2


def rotation_matrix(vector: Array) -> Array:
    """Rodrigues' formula: rotation by |vector| rad about vector."""
    angle = float(np.linalg.norm(vector))
    if angle < 1e-12:
        return np.asarray(np.eye(3) + cross_matrices(np.asarray(vector, dtype=np.float64)[None])[0])
    axis = cross_matrices(np.asarray(vector, dtype=np.float64)[None] / angle)[0]
    turn: Array = np.eye(3) + np.sin(angle) * axis + (1.0 - np.cos(angle)) * axis @ axis
    return turn


def view_angle_deg(camera: CameraModel, point_mm: Array) -> float:
    """Elevation of the line of sight above the board at a point: 0 along the board, 90 from the front."""
    sight = camera.position_mm - point_mm
    return float(np.degrees(np.arcsin(sight[1] / np.linalg.norm(sight))))


def cross_matrices(vectors: Array) -> Array:
    """(n, 3) -> (n, 3, 3) with M u = v x u."""
    x, y, z = vectors.T
    zero = np.zeros_like(x)
    rows: Array = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=-1).reshape(-1, 3, 3)
    return rows
