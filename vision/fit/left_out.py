"""Does a group of data agree with all others? What the fit would predict for it, had it never seen it.

From the solution alone, without another fit (deletion diagnostics of linear regression: Cook and Weisberg 1982, ch. 2):
with rows J of the group, its weights W and the covariance C of the fit, J C J' = G becomes G (I - W G)^-1 when the
group is left out, and the residuals e become (I - G W)^-1 e.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def misfit_when_left_out(
    jacobian: Array, residual: Array, weight: Array, covariance: Array, own: int, own_u: float, own_weight: float
) -> float:
    """Squared distance of a group's data from what all other data predict, in units of what both are unsure of.

    For k data that are what they are believed to be it is distributed as chi-square of k degrees at most.

    jacobian (k, n), residual (k,) : in units of the data's own uncertainty.  weight (k,) : as the loss weighs them.
    covariance (n, n) : of the unknowns with the group in the fit.
    own : column of an unknown that no other data tell of.  own_u : its prior uncertainty.
    own_weight : of its prior in the fit; the group may have pulled it far from where it is believed.
    """
    count = len(residual)
    inside = jacobian @ covariance @ jacobian.T
    solved = np.linalg.solve(np.eye(count) - inside * weight, np.column_stack([inside, residual]))
    outside, predicted = solved[:, :-1], solved[:, -1]
    alone = np.outer(jacobian[:, own], jacobian[:, own]) * own_u**2
    unsure = np.eye(count) + outside + alone * (1.0 - 1.0 / own_weight)
    return float(predicted @ np.linalg.solve(unsure, predicted))
