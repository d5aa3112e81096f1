"""A straight line through points of the picture."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def line_through(points: Array) -> tuple[Array, Array]:
    """Total least squares line through points (n, 2): unit direction and a point on it."""
    origin = points.mean(axis=0)
    _, _, axes = np.linalg.svd(points - origin, full_matrices=False)
    return axes[0], origin
