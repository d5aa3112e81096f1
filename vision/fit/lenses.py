"""What is known of the lenses beside the pictures: how far each is from its prior, and which views share one."""

import itertools

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CAMERA_PARAMETERS, CameraModel
from vision.fit.observations import PhotoData

Array = NDArray[np.float64]

_SAME_FOCAL_U = 0.004  # focusing from 1 m to 2 m changes the focal length by about half of that
_SAME_LENS_SHARE = 0.2  # of what one lens may differ from the ideal one, between two pictures taken with it


def step_from_prior(camera: CameraModel, prior: CameraModel) -> Array:
    """Step (10,) from the prior camera to the camera, where the prior says anything (pose is free)."""
    gap = np.zeros(CAMERA_PARAMETERS)
    gap[6] = np.log(camera.focal_px / prior.focal_px)
    gap[7] = camera.k1 - prior.k1
    gap[8:10] = camera.centre_px - prior.centre_px
    return gap


def lens_pairs(photos: tuple[PhotoData, ...]) -> list[tuple[int, int]]:
    """Low views of one size with one stated focal length: most likely one lens, used twice within a minute."""
    low = [i for i, photo in enumerate(photos) if photo.frets.direction_mm[2] == 0.0]
    return [
        (i, j)
        for i, j in itertools.pairwise(low)
        if photos[i].camera_prior.focal_px == photos[j].camera_prior.focal_px
        and np.array_equal(photos[i].camera_prior.centre_px, photos[j].camera_prior.centre_px)
    ]


def same_lens_u(camera_u: Array) -> Array:
    """(4,) how far log focal length, k1 and principal point may differ between two pictures taken with one lens.

    camera_u (10,) : of the camera's prior.
    """
    return np.concatenate([[_SAME_FOCAL_U], _SAME_LENS_SHARE * camera_u[7:10]])
