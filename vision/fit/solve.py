"""Robust least squares by a trust region of scipy.optimize.minimize ("trust-exact": More and Sorensen 1983).

It asks for cost, gradient and Hessian; given is the Hessian of Gauss and Newton with every residual weighted as the
loss weighs it there (iteratively reweighted least squares, Holland and Welsch 1977). The curvature of the loss, which
Triggs et al. (1999) add, vanishes for all outliers: far from the solution, where all data look like some, steps then
are wild guesses, and twice as many were needed. scipy.optimize.least_squares finds the same minima but takes two to
three times as long: for every step it wants the singular values of the whole Jacobian. Normal equations keep fewer
digits; priors on the unknowns bound their condition.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import OptimizeResult, minimize

Array = NDArray[np.float64]
Evaluate = Callable[[Array], tuple[Array, Array]]
"""x (n,) to residuals (m,) and Jacobian (m, n)."""
Loss = Callable[[Array], Array]
"""Squared residuals z (m,) to rho, rho' (2, m); more rows, as scipy's convention has, are not read."""

_FIRST_RADIUS = 100.0  # in units of the scale: the first steps are as long as they like
_LEAST_STEP = 1e-7  # in units of the scale: the gain of a shorter step cannot be told from rounding
_ROUNDING = 1e-12  # of the cost, likewise


@dataclass(frozen=True, eq=False)
class Minimum:
    """x (n,), half the summed loss there, and whether it settled before the evaluations ran out."""

    x: Array
    cost: float
    converged: bool


def minimise(
    evaluate: Evaluate, start: Array, loss: Loss, scale: Array, *, most_evaluations: int, least_gain: float
) -> Minimum:
    """Minimum of half the summed loss. scale (n,) : how far each unknown may usually move.

    least_gain : of the cost, relative; a step that gains less is the last one.

    Raises
    ------
    ValueError : residuals are not finite at the start.
    """
    search = _Search(evaluate, start, loss, scale, most_evaluations, least_gain)
    if not np.isfinite(search.best.cost):
        raise ValueError(f"start={start!r} has residuals that are not finite")
    if not search.settled:
        minimize(
            lambda at: search.place(at).cost,
            search.best.at,
            method="trust-exact",
            jac=lambda at: search.place(at).gradient,
            hess=lambda at: search.place(at).hessian,
            callback=search.after_step,
            options={"initial_trust_radius": _FIRST_RADIUS, "gtol": 0.0, "eta": 0.0},
        )
    return Minimum(scale * search.best.at, search.best.cost, search.settled)


@dataclass(frozen=True, eq=False)
class _Place:
    """Quadratic model of the cost around a place `at` (n,), all in units of the scale."""

    at: Array
    cost: float
    gradient: Array
    hessian: Array

    def is_lowest(self) -> bool:
        """The best step would gain nothing that rounding leaves visible; asked for more, the library warns."""
        return bool(0.5 * self.gradient @ np.linalg.solve(self.hessian, self.gradient) <= _ROUNDING * self.cost)


class _Search:
    """Evaluates every place once, keeps the best, and says when to stop."""

    def __init__(
        self, evaluate: Evaluate, start: Array, loss: Loss, scale: Array, most_evaluations: int, least_gain: float
    ) -> None:
        self._evaluate, self._loss, self._scale = evaluate, loss, scale
        self._left, self._least_gain = most_evaluations - 1, least_gain
        self.best = self._tried = self._model(start / scale)
        self.settled = self.best.is_lowest()

    def place(self, at: Array) -> _Place:
        if not np.array_equal(at, self._tried.at):
            self._tried = self._model(at.copy())
            self._left -= 1
        return self._tried

    def after_step(self, intermediate_result: OptimizeResult) -> None:
        """Called after every step, taken or refused; the name of the argument is what scipy looks for."""
        gain = self.best.cost - self._tried.cost
        self.settled = bool(np.linalg.norm(self._tried.at - self.best.at) < _LEAST_STEP)
        if np.array_equal(intermediate_result.x, self._tried.at):
            self.best = self._tried
            self.settled = self.settled or gain < self._least_gain * self.best.cost or self.best.is_lowest()
        if self.settled or self._left <= 0:
            raise StopIteration

    def _model(self, at: Array) -> _Place:
        residual, jacobian = self._evaluate(self._scale * at)
        rho = self._loss(residual**2)
        cost = 0.5 * float(np.sum(rho[0]))
        if not np.isfinite(cost):  # such a step is refused; what the model would be there does not matter
            return _Place(at, np.inf, np.zeros(len(at)), np.eye(len(at)))
        root = np.sqrt(rho[1])
        scaled = jacobian * root[:, None]
        scaled *= self._scale
        return _Place(at, cost, scaled.T @ (residual * root), scaled.T @ scaled)
