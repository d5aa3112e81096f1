"""Robust least squares in a trust region, by Cholesky factors of the normal matrix.

Steps, radius and stopping are those of scipy.optimize.least_squares (method "trf", exact; More 1977, Lecture Notes in
Mathematics 630). That takes the singular values of the whole Jacobian for every step, which with some hundred unknowns
is most of the time of a fit. Normal equations keep fewer digits; priors on the unknowns bound their condition.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, solve_triangular

Array = NDArray[np.float64]
Evaluate = Callable[[Array], tuple[Array, Array]]
"""x (n,) to residuals (m,) and Jacobian (m, n)."""
Loss = Callable[[Array], Array]
"""Squared residuals z (m,) to rho, rho', rho'' (3, m)."""

_LEAST_CURVATURE = np.finfo(np.float64).eps
_RADIUS_TOLERANCE, _MOST_RADIUS_STEPS = 0.01, 10
_POOR, _GOOD = 0.25, 0.75  # shares of the predicted reduction below and above which the radius changes
_AT_BOUND = 0.95


@dataclass(frozen=True, eq=False)
class Minimum:
    """x (n,), half the summed loss there, and whether it settled before the evaluations ran out."""

    x: Array
    cost: float
    converged: bool


def minimise(
    evaluate: Evaluate,
    start: Array,
    loss: Loss,
    scale: Array,
    *,
    most_evaluations: int,
    least_gain: float,
    least_step: float,
    least_gradient: float,
) -> Minimum:
    """Minimum of half the summed loss. scale (n,) : how far each unknown may usually move.

    least_gain : of the cost, relative.  least_step : of |x|, relative.  least_gradient : largest component.

    Raises
    ------
    ValueError : residuals are not finite at the start.
    """
    x = start
    local = _Local(*evaluate(x), loss, scale)
    if not np.isfinite(local.cost):
        raise ValueError(f"start={start!r} has residuals that are not finite")
    radius = float(np.linalg.norm(x / scale)) or 1.0
    damping, evaluations = 0.0, 1
    while evaluations < most_evaluations:
        if np.abs(local.gradient / scale).max() < least_gradient:
            return Minimum(x, local.cost, True)
        better, settled = None, False
        while better is None and not settled and evaluations < most_evaluations:
            step, damping = local.step(radius, damping)
            tried = _Local(*evaluate(x + scale * step), loss, scale)
            evaluations += 1
            gain = local.cost - tried.cost if np.isfinite(tried.cost) else -np.inf
            length = float(np.linalg.norm(step))
            expected = local.expected_gain(step)
            share = gain / expected if expected > 0 else 0.0
            moved = float(np.linalg.norm(scale * step))
            settled = gain < least_gain * local.cost and share > _POOR
            settled = settled or moved < least_step * (least_step + float(np.linalg.norm(x)))
            better = tried if gain > 0 else None
            if not settled:
                before, radius = radius, _next_radius(radius, share, length)
                damping *= before / radius
        if better is not None:
            x, local = x + scale * step, better
        if settled:
            return Minimum(x, local.cost, True)
    return Minimum(x, local.cost, False)


def _next_radius(radius: float, share: float, length: float) -> float:
    if share < _POOR:
        return 0.25 * length
    return 2.0 * radius if share > _GOOD and length > _AT_BOUND * radius else radius


class _Local:
    """Quadratic model of the cost around one place, in units of the scale (Triggs et al. 1999 for the loss)."""

    def __init__(self, residual: Array, jacobian: Array, loss: Loss, scale: Array) -> None:
        rho = loss(residual**2)
        self.cost = 0.5 * float(np.sum(rho[0]))
        curvature = np.sqrt(np.maximum(rho[1] + 2.0 * rho[2] * residual**2, _LEAST_CURVATURE))
        self._scaled = jacobian * curvature[:, None]
        self._scaled *= scale
        self.gradient = self._scaled.T @ (residual * rho[1] / curvature)
        self._normal: Array | None = None

    def expected_gain(self, step: Array) -> float:
        return -0.5 * float(np.sum((self._scaled @ step) ** 2)) - float(self.gradient @ step)

    def step(self, radius: float, damping: float) -> tuple[Array, float]:
        """Best step within the radius, and its damping; damping : that of the step before, to begin with."""
        step, change = self._damped(0.0)
        length = float(np.linalg.norm(step))
        if length <= radius:
            return step, 0.0
        low, high = (radius - length) / change, float(np.linalg.norm(self.gradient)) / radius
        for _ in range(_MOST_RADIUS_STEPS):
            if not low <= damping <= high:
                damping = max(0.001 * high, (low * high) ** 0.5)
            step, change = self._damped(damping)
            length = float(np.linalg.norm(step))
            if length < radius:
                high = damping
            low = max(low, damping - (length - radius) / change)
            damping -= length / radius * (length - radius) / change
            if abs(length - radius) < _RADIUS_TOLERANCE * radius:
                break
        step = self._damped(damping)[0]
        return step * (radius / float(np.linalg.norm(step))), damping

    def _damped(self, damping: float) -> tuple[Array, float]:
        """Step for a damping, and how its length changes with the damping."""
        if self._normal is None:
            self._normal = np.asfortranarray(self._scaled.T @ self._scaled)
        damped = self._normal.copy(order="F")
        damped[np.diag_indices_from(damped)] += damping
        factor = cho_factor(damped, lower=True, overwrite_a=True, check_finite=False)
        step = -cho_solve(factor, self.gradient, check_finite=False)
        half = solve_triangular(factor[0], step, lower=True, check_finite=False)
        return step, -float(half @ half) / float(np.linalg.norm(step))
