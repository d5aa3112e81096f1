"""Do two photographs show the same neck? Fitted each alone and both together, and the single frets compared.

Cameras, widths and strings are free enough to reconcile low views of two necks: no residual stands out. What cannot
be reconciled is the neck itself. Two views of one neck cost about as much together as alone, since the same curve
and the same uneven frets serve both (the negative log of a generalised likelihood ratio, with the priors); views of
two necks cost more together, and their single frets are not alike.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.fit.joint import JointFit, fit_jointly
from vision.fit.neck_model import NeckModel
from vision.fit.observations import PhotoData
from vision.fit.string_prior import string_prior

Array = NDArray[np.float64]

_OUT_MM = 20.0  # an outer string stands about that far from the middle


@dataclass(frozen=True)
class Agreement:
    """excess_cost: cost of one neck for both photographs beyond that of a neck each (half a chi-square).

    alike: correlation, over all frets under both outer strings, of their heights in the one and in the other.
    """

    excess_cost: float
    alike: float


def agreement(model: NeckModel, pair: tuple[PhotoData, PhotoData], near: JointFit, radius_mm: Array) -> Agreement:
    """Compare two views along the strings.

    near : a fit of the same neck, where the solver starts.  radius_mm : (S,) of the strings, side -1 first.
    """
    mean, covariance = string_prior(model, model.mean, radius_mm)
    one, other, both = (
        fit_jointly(model, photos, near.theta, near.strings, mean, covariance)
        for photos in ((pair[0],), (pair[1],), pair)
    )
    alike = np.corrcoef(_single_frets(model, one.theta), _single_frets(model, other.theta))[0, 1]
    return Agreement(both.cost - one.cost - other.cost, float(alike))


def _single_frets(model: NeckModel, theta: Array) -> Array:
    """(2 N,) mm of every fret above the smooth neck under the outer strings."""
    middle, roll = theta[model.fret_error], theta[model.fret_roll]
    return np.concatenate([middle - _OUT_MM * roll, middle + _OUT_MM * roll])
