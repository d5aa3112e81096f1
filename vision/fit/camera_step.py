"""Steps of a camera in a fit: when the focal length grows the camera draws back, so that the neck keeps its size.

Focal length and distance nearly make up for each other (a neck seen from afar through a long lens looks as from
nearby through a short one, but for its perspective). In plain steps that valley is curved, t_z ~ f, and a solver that
thinks in straight lines creeps along it by hundreds of steps; in these it is straight.
"""

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CAMERA_PARAMETERS, CameraModel

Array = NDArray[np.float64]

_SHIFT_Z, _LOG_FOCAL = 5, 6


def depth_of(camera: CameraModel, point_mm: Array) -> float:
    """Depth of a neck point in front of the camera, mm."""
    return float((camera.rotation @ point_mm + camera.translation_mm)[2])


def camera_after(camera: CameraModel, step: Array, kept_mm: float) -> CameraModel:
    """The camera after a step (CAMERA_PARAMETERS,); what lies kept_mm deep keeps its size in the picture."""
    plain = np.array(step, dtype=np.float64)
    plain[_SHIFT_Z] += kept_mm * np.expm1(step[_LOG_FOCAL])
    return camera.stepped(plain)


def by_step(by_camera: Array, step: Array, kept_mm: float) -> Array:
    """Derivatives (..., CAMERA_PARAMETERS) at the camera after the step, turned into derivatives by the step.

    A turn composes with the turn already made: d (turn of w + dw) is the left Jacobian of SO(3) times dw.
    """
    chain = np.eye(CAMERA_PARAMETERS)
    chain[:3, :3] = _left_jacobian(step[:3])
    chain[_SHIFT_Z, _LOG_FOCAL] = kept_mm * np.exp(step[_LOG_FOCAL])
    return np.asarray(by_camera @ chain)


def _left_jacobian(w: Array) -> Array:
    """d (turn of w + dw, composed on the left) / dw: I + (1 - cos t)/t^2 [w] + (t - sin t)/t^3 [w]^2, t = |w|."""
    x, y, z = w
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    angle = float(np.linalg.norm(w))
    one, two = 0.5, 1.0 / 6.0  # the limit; below this angle the formula is lost in rounding
    if angle > 1e-3:
        one, two = (1.0 - np.cos(angle)) / angle**2, (angle - np.sin(angle)) / angle**3
    jacobian: Array = np.eye(3) + one * cross + two * cross @ cross
    return jacobian
