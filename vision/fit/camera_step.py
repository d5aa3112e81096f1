"""Steps of a camera in a fit: it turns about the neck's middle, and draws back when the focal length grows.

Changes that nearly make up for each other make a flat valley: focal length and distance (a neck seen from afar through
a long lens looks as from nearby through a short one, but for its perspective), tilt and place. In plain steps these
valleys are curved (t_z ~ f; a turn about the nut swings the neck out of the picture on an arc), and a solver that
thinks in straight lines creeps along them by hundreds of steps; in these the neck's middle keeps its place and size.
"""

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CAMERA_PARAMETERS, CameraModel, cross_matrices, rotation_matrix

Array = NDArray[np.float64]

_TURN, _SHIFT, _SHIFT_Z, _LOG_FOCAL = slice(0, 3), slice(3, 6), 5, 6


def camera_after(camera: CameraModel, step: Array, pivot_mm: Array) -> CameraModel:
    """The camera after a step (CAMERA_PARAMETERS,). pivot_mm (3,) : neck point that turn and focal length leave alone.

    Its place in the camera frame moves by the step's translation alone, and its depth grows with the focal length.
    """
    pivot = camera.rotation @ pivot_mm
    plain = np.array(step, dtype=np.float64)
    plain[_SHIFT] += pivot - rotation_matrix(step[_TURN]) @ pivot
    plain[_SHIFT_Z] += (pivot + camera.translation_mm)[2] * np.expm1(step[_LOG_FOCAL])
    return camera.stepped(plain)


def step_chain(camera: CameraModel, step: Array, pivot_mm: Array) -> Array:
    """(CAMERA_PARAMETERS, CAMERA_PARAMETERS): derivatives (..., CAMERA_PARAMETERS) at the camera after the step,
    times this, are derivatives by the step.

    camera : before the step. A turn composes with the turn already made: d (turn of w + dw) is the left Jacobian of
    SO(3) times dw.
    """
    pivot = camera.rotation @ pivot_mm
    chain = np.eye(CAMERA_PARAMETERS)
    chain[_TURN, _TURN] = _left_jacobian(step[_TURN])
    chain[_SHIFT, _TURN] = cross_matrices((rotation_matrix(step[_TURN]) @ pivot)[None])[0] @ chain[_TURN, _TURN]
    chain[_SHIFT_Z, _LOG_FOCAL] = (pivot + camera.translation_mm)[2] * np.exp(step[_LOG_FOCAL])
    return chain


def _left_jacobian(w: Array) -> Array:
    """d (turn of w + dw, composed on the left) / dw: I + (1 - cos t)/t^2 [w] + (t - sin t)/t^3 [w]^2, t = |w|."""
    cross, angle = cross_matrices(w[None])[0], float(np.linalg.norm(w))
    one, two = 0.5, 1.0 / 6.0  # the limit; below this angle the formula is lost in rounding
    if angle > 1e-3:
        one, two = (1.0 - np.cos(angle)) / angle**2, (angle - np.sin(angle)) / angle**3
    jacobian: Array = np.eye(3) + one * cross + two * cross @ cross
    return jacobian
