"""Models of plain necks, cameras that look at them and fits that found them, for tests of single steps."""

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CameraModel
from vision.fit.joint import JointFit
from vision.fit.neck_model import CURVATURE, EDGE_OUT_MM, NeckModel, WidthPrior, build_neck_model

Array = NDArray[np.float64]

NUT_WIDTH_MM, WIDTH_AT_12_MM = 42.0, 52.0  # between fret ends


def flat_neck(frets: int, scale_length_mm: float = 647.7) -> tuple[NeckModel, Array]:
    """A model, and the unknowns of a straight neck with a flat board."""
    outside_mm = 2.0 * EDGE_OUT_MM
    board = WidthPrior(NUT_WIDTH_MM + outside_mm, 0.5, WIDTH_AT_12_MM + outside_mm, 0.5)
    model = build_neck_model(scale_length_mm, frets, board)
    theta = model.mean.copy()
    theta[CURVATURE] = 0.0
    return model, theta


def fit_of(model: NeckModel, theta: Array, covariance: Array | None = None) -> JointFit:
    """A fit that found theta; covariance (unknowns, unknowns) of the neck, none if not given."""
    strings = np.zeros((2, 4))
    whole = np.zeros((model.unknowns + strings.size,) * 2)
    if covariance is not None:
        whole[: model.unknowns, : model.unknowns] = covariance
    return JointFit(theta, strings, (), (), whole, (), (), (), (), (), 0.0, True)


def camera_beyond_nut(
    elevation_deg: float,
    distance_mm: float,
    focal_px: float,
    centre_px: Array,
    *,
    middle_mm: float = 180.0,
    sideways_mm: float = 0.0,
    k1: float = 0.0,
) -> CameraModel:
    """Looks at the middle of the fretted part, middle_mm from the nut, from beyond the nut; treble on the left."""
    up = np.radians(elevation_deg)
    middle = np.array([0.0, 0.0, middle_mm])
    position = middle + np.array([sideways_mm, distance_mm * np.sin(up), -distance_mm * np.cos(up)])
    forward = (middle - position) / np.linalg.norm(middle - position)
    right = np.cross(forward, np.array([0.0, 1.0, 0.0]))
    right /= np.linalg.norm(right)
    rotation = np.array([right, np.cross(forward, right), forward])
    return CameraModel(rotation, -rotation @ position, focal_px, k1, centre_px)


def middle_of_picture_px(width_px: int, height_px: int) -> Array:
    """(x, y) of the middle, pixel centres at integers."""
    return np.array([(width_px - 1) / 2, (height_px - 1) / 2])
