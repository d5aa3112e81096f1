"""The robust solver: known minima, agreement with scipy.optimize.least_squares, and when it stops."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares

from vision.fit.solve import Minimum, minimise

Array = NDArray[np.float64]

_TIME = np.linspace(0.0, 3.0, 40)
_TRUTH = np.array([2.0, 0.8, 5.0, 0.3])
_SCALE = np.array([1.0, 0.5, 1.0, 0.2])
_START = np.array([1.5, 0.5, 4.7, 0.0])


def _wave(x: Array) -> Array:
    return np.asarray(x[0] * np.exp(-x[1] * _TIME) * np.cos(x[2] * _TIME) + x[3])


def _evaluate(x: Array, seen: Array) -> tuple[Array, Array]:
    fade = np.exp(-x[1] * _TIME)
    cosine, sine = np.cos(x[2] * _TIME), np.sin(x[2] * _TIME)
    by = [fade * cosine, -x[0] * _TIME * fade * cosine, -x[0] * _TIME * fade * sine, np.ones_like(_TIME)]
    return (_wave(x) - seen) / 0.05, np.column_stack(by) / 0.05


def _cauchy(z: Array) -> Array:
    return np.stack([np.log1p(z), 1.0 / (1.0 + z), -1.0 / (1.0 + z) ** 2])


def _squares(z: Array) -> Array:
    return np.stack([z, np.ones_like(z), np.zeros_like(z)])


def _seen() -> Array:
    seen = _wave(_TRUTH) + np.random.default_rng(4).normal(0.0, 0.05, len(_TIME))
    seen[::9] += 1.0
    return np.asarray(seen)


def _found(start: Array, most_evaluations: int = 100) -> Minimum:
    seen = _seen()
    return minimise(
        lambda x: _evaluate(x, seen), start, _cauchy, _SCALE, most_evaluations=most_evaluations, least_gain=1e-12
    )


@pytest.mark.parametrize("start", [[1.5, 0.5, 4.7, 0.0], [3.0, 1.2, 5.3, -0.5], [1.0, 0.1, 4.0, 1.0]])
def test_it_finds_the_minimum_of_least_squares(start: list[float]) -> None:
    seen = _seen()
    usual = least_squares(
        lambda x: _evaluate(x, seen)[0],
        start,
        jac=lambda x: _evaluate(x, seen)[1],
        loss=_cauchy,
        x_scale=_SCALE,
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-12,
    )
    found = _found(np.array(start))
    assert found.converged
    assert found.cost == pytest.approx(usual.cost, rel=0, abs=1e-8)
    np.testing.assert_allclose(found.x, usual.x, rtol=0, atol=1e-6)


def test_outliers_do_not_pull_it() -> None:
    np.testing.assert_allclose(_found(_START).x, _TRUTH, rtol=0, atol=0.1)


@pytest.mark.parametrize("noise", [0.0, 1.0])
def test_a_linear_problem_ends_at_the_solution_of_its_normal_equations(noise: float) -> None:
    rng = np.random.default_rng(1)
    matrix, truth = rng.normal(size=(30, 5)), np.array([3.0, -2.0, 0.5, 100.0, 0.0])
    seen = matrix @ truth + noise * rng.normal(size=30)
    solution = np.linalg.lstsq(matrix, seen, rcond=None)[0]
    for start in (np.zeros(5), solution):  # at the solution already, too
        found = minimise(
            lambda x: (matrix @ x - seen, matrix), start, _squares, np.ones(5), most_evaluations=20, least_gain=1e-9
        )
        assert found.converged
        np.testing.assert_allclose(found.x, solution, rtol=0, atol=1e-9)


def test_places_without_residuals_are_stepped_around() -> None:
    def evaluate(x: Array) -> tuple[Array, Array]:
        """log x = 2 takes its first full step, from x = 40, below zero, where there is no logarithm."""
        return (np.log(x) - 2.0, np.diag(1.0 / x)) if x > 0 else (np.full(1, np.nan), np.full((1, 1), np.nan))

    found = minimise(evaluate, np.array([40.0]), _squares, np.ones(1), most_evaluations=50, least_gain=1e-9)
    assert found.converged
    np.testing.assert_allclose(found.x, np.exp(2.0), rtol=0, atol=7e-6)


def test_no_place_is_evaluated_twice_nor_more_than_allowed() -> None:
    seen, places = _seen(), []

    def evaluate(x: Array) -> tuple[Array, Array]:
        places.append(tuple(x))
        return _evaluate(x, seen)

    found = minimise(evaluate, np.array([4.0, 2.0, 5.6, -1.0]), _cauchy, _SCALE, most_evaluations=5, least_gain=1e-12)
    assert not found.converged
    assert len(places) == len(set(places)) == 5
    costs = [0.5 * _cauchy(_evaluate(np.array(place), seen)[0] ** 2)[0].sum() for place in places]
    assert found.cost == pytest.approx(min(costs), rel=0, abs=1e-9)


def test_a_start_without_residuals_is_misuse() -> None:
    with pytest.raises(ValueError, match="start="):
        _found(np.array([np.nan, 0.5, 4.7, 0.0]))
