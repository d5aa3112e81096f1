"""The trust region against scipy's, which takes singular values where this one takes Cholesky factors."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares

from vision.fit.trust_region import Minimum, minimise

Array = NDArray[np.float64]

_TIME = np.linspace(0.0, 3.0, 40)
_TRUTH = np.array([2.0, 0.8, 5.0, 0.3])
_SCALE = np.array([1.0, 0.5, 1.0, 0.2])


def _wave(x: Array) -> Array:
    return np.asarray(x[0] * np.exp(-x[1] * _TIME) * np.cos(x[2] * _TIME) + x[3])


def _evaluate(x: Array, seen: Array) -> tuple[Array, Array]:
    fade = np.exp(-x[1] * _TIME)
    cosine, sine = np.cos(x[2] * _TIME), np.sin(x[2] * _TIME)
    by = [fade * cosine, -x[0] * _TIME * fade * cosine, -x[0] * _TIME * fade * sine, np.ones_like(_TIME)]
    return (_wave(x) - seen) / 0.05, np.column_stack(by) / 0.05


def _cauchy(z: Array) -> Array:
    return np.stack([np.log1p(z), 1.0 / (1.0 + z), -1.0 / (1.0 + z) ** 2])


def _seen() -> Array:
    seen = _wave(_TRUTH) + np.random.default_rng(4).normal(0.0, 0.05, len(_TIME))
    seen[::9] += 1.0
    return np.asarray(seen)


def _found(start: Array, most_evaluations: int = 100) -> Minimum:
    seen = _seen()
    return minimise(
        lambda x: _evaluate(x, seen),
        start,
        _cauchy,
        _SCALE,
        most_evaluations=most_evaluations,
        least_gain=1e-12,
        least_step=1e-12,
        least_gradient=1e-12,
    )


@pytest.mark.parametrize("start", [[1.5, 0.5, 4.7, 0.0], [4.0, 2.0, 5.6, -1.0], [1.0, 0.1, 4.0, 1.0]])
def test_it_takes_the_steps_of_scipy(start: list[float]) -> None:
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
    assert found.cost == pytest.approx(usual.cost, rel=1e-9)
    np.testing.assert_allclose(found.x, usual.x, atol=1e-6)


def test_outliers_do_not_pull_it() -> None:
    np.testing.assert_allclose(_found(np.array([1.5, 0.5, 4.7, 0.0])).x, _TRUTH, atol=0.1)


def test_it_says_when_evaluations_ran_out() -> None:
    assert not _found(np.array([4.0, 2.0, 5.6, -1.0]), most_evaluations=3).converged


def test_a_start_without_residuals_is_misuse() -> None:
    with pytest.raises(ValueError, match="start="):
        _found(np.array([np.nan, 0.5, 4.7, 0.0]))
