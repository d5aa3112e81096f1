"""Strings as straight lines in space: points on them, and where along them a point of the picture lies."""

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CameraModel, project_moving
from vision.fit.neck_model import NeckModel

Array = NDArray[np.float64]


def string_points(model: NeckModel, lines: Array, share: Array) -> Array:
    """Points (n, 3) on string lines (n, 4); share 0 at fret 1, 1 at the last fret."""
    x = lines[:, 0] * (1 - share) + lines[:, 1] * share
    y = lines[:, 2] * (1 - share) + lines[:, 3] * share
    z = model.z_mm[0] * (1 - share) + model.z_mm[-1] * share
    return np.column_stack([x, y, z])


def share_along(lines: Array, model: NeckModel, camera: CameraModel, seen_px: Array) -> Array:
    """Share along each string whose image is nearest to the seen point (two Newton steps on the projection)."""
    share = np.full(len(lines), 0.5)
    span = np.column_stack(
        [
            lines[:, 1] - lines[:, 0],
            lines[:, 3] - lines[:, 2],
            np.full(len(lines), model.z_mm[-1] - model.z_mm[0]),
        ]
    )
    for _ in range(6):
        image, motion = project_moving(string_points(model, lines, share), span, camera)
        step = np.sum((seen_px - image) * motion, axis=1) / np.sum(motion**2, axis=1)
        share = np.clip(share + np.clip(step, -0.5, 0.5), -0.6, 1.8)
    return share
