"""A neck model and a fit of chosen unknowns and covariance, for tests of what is reported from a fit."""

import numpy as np
from numpy.typing import NDArray

from vision.fit.joint import JointFit
from vision.fit.neck_model import CURVATURE, NeckModel, WidthPrior, build_neck_model

Array = NDArray[np.float64]

FRETS, STRINGS = 22, 2


def made_up_model(scale_length_mm: float = 647.7) -> tuple[NeckModel, Array]:
    """A model and the unknowns of a straight neck with a flat board."""
    model = build_neck_model(scale_length_mm, FRETS, WidthPrior(42.2, 0.8, 51.8, 0.9))
    theta = model.mean.copy()
    theta[CURVATURE] = 0.0
    return model, theta


def fit_of(model: NeckModel, theta: Array, covariance: Array | None = None) -> JointFit:
    """A fit that found theta; covariance (unknowns, unknowns) of the neck, none if not given."""
    size = model.unknowns + 4 * STRINGS
    whole = np.zeros((size, size))
    if covariance is not None:
        whole[: model.unknowns, : model.unknowns] = covariance
    return JointFit(theta, np.zeros((STRINGS, 4)), (), (), whole, (), (), (), 0.0, True)
