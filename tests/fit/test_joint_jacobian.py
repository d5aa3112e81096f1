"""The joint fit's derivatives against differences of its residuals: every unknown, every kind of data."""

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.fit.simulated_neck import Sim, simulate, without_strings
from vision.fit.camera import CAMERA_PARAMETERS
from vision.fit.joint import _Problem

Array = NDArray[np.float64]

_CAMERA_UNIT = np.array([0.02] * 3 + [1.0, 1.0, 5.0] + [0.01, 0.005, 3.0, 3.0])
_TRACING_UNIT_MM = 0.05


def _problem(sim: Sim, *, strings: bool) -> tuple[_Problem, Array, Array]:
    """The problem, the true unknowns of a simulation without noise, and a sensible size of each."""
    photos = sim.photos if strings else tuple(without_strings(photo) for photo in sim.photos)
    problem = _Problem(sim.model, photos, sim.string_mean, sim.string_mean, sim.string_covariance)
    unit = [sim.model.sd, np.sqrt(np.diag(sim.string_covariance))]
    for photo in photos:
        unit += [_CAMERA_UNIT, np.full(photo.unknowns - CAMERA_PARAMETERS, _TRACING_UNIT_MM)]
    truth = np.zeros(problem.size)
    truth[: sim.model.unknowns] = sim.theta
    truth[sim.model.unknowns :][: sim.string_mean.size] = sim.string_mean.ravel()
    return problem, truth, np.concatenate(unit)


@pytest.mark.parametrize(
    ("away", "strings"),
    [
        (0.0, True),
        (0.3, False),  # where along a string a point lies is taken as found: exact only on the string
    ],
)
def test_derivatives_are_those_of_the_residuals(away: float, strings: bool) -> None:
    problem, truth, unit = _problem(simulate(3, still=True), strings=strings)
    x = truth + away * unit * np.random.default_rng(31).normal(0.0, 1.0, len(truth))
    _, jacobian, _ = problem.evaluate(x)
    points = sum(
        len(p.frets.fret) + len(p.ends.fret) + len(p.edges.gap) + len(p.strings.string) for p in problem.photos
    )
    assert jacobian.shape == (problem.size + 4 + points, problem.size)  # priors, one pair of lenses, data
    numeric = np.zeros_like(jacobian)
    for unknown in range(problem.size):
        step = np.zeros(problem.size)
        step[unknown] = 1e-3 * unit[unknown]
        ahead, behind = (problem.evaluate(x + sign * step)[0] for sign in (1.0, -1.0))
        numeric[:, unknown] = (ahead - behind) / (2.0 * step[unknown])
    size = np.abs(numeric * unit).max(axis=0)
    assert size.min() > 0.1
    np.testing.assert_allclose(jacobian * unit / size, numeric * unit / size, rtol=0, atol=1e-6)
