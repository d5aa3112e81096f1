"""What a group of data looks like to a fit that never saw it, against fits that indeed did not."""

from dataclasses import replace

import numpy as np
import pytest

from tests.fit.simulated_neck import STRINGS, Sim, simulate, without_strings
from vision.fit.contradictions import without_contradictions
from vision.fit.joint import JointFit
from vision.fit.left_out import misfit_when_left_out
from vision.fit.observations import PhotoData

_FRONT = 2
_SIMULATIONS = 20


def test_it_is_what_a_fit_without_the_group_says() -> None:
    """Linear data with a prior, weights of a robust loss, and one unknown that the group alone tells of."""
    rng = np.random.default_rng(1)
    unknowns, own, own_u, own_weight = 6, 5, 0.4, 0.3
    jacobian, value = rng.normal(0.0, 1.0, (30, unknowns)), rng.normal(0.0, 1.0, 30)
    group = np.arange(3)
    jacobian[3:, own] = 0.0
    weight = rng.uniform(0.5, 1.0, 30)
    prior = np.diag(np.r_[np.full(5, 0.1), own_weight / own_u**2])

    def solved(rows: np.ndarray, prior: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        normal = prior + jacobian[rows].T @ (jacobian[rows] * weight[rows, None])
        return np.linalg.solve(normal, jacobian[rows].T @ (weight[rows] * value[rows])), np.linalg.inv(normal)

    every = np.arange(30)
    best, covariance = solved(every, prior)
    misfit = misfit_when_left_out(
        jacobian[group], jacobian[group] @ best - value[group], weight[group], covariance, own, own_u, own_weight
    )
    believed = prior.copy()
    believed[own, own] = 1.0 / own_u**2
    without, unsure = solved(every[3:], believed)
    apart = jacobian[group] @ without - value[group]
    expected = apart @ np.linalg.solve(np.eye(3) + jacobian[group] @ unsure @ jacobian[group].T, apart)
    assert misfit == pytest.approx(expected, rel=0, abs=1e-9)
    assert misfit > 0.1


def test_strings_that_are_what_they_are_believed_to_be_misfit_as_chance_has_it() -> None:
    """Three points of a string: chi-square of three degrees at most; a string's shape has hardly more than two."""
    fits = [simulate(seed).fit() for seed in range(_SIMULATIONS)]
    misfit = np.concatenate([own for fit in fits for own in fit.string_misfit])
    assert len(misfit) == _SIMULATIONS * 3 * STRINGS
    assert 2.2 < misfit.mean() < 3.2
    assert 4.5 < np.quantile(misfit, 0.9) < 6.8  # 4.6 and 6.25 by two and by three degrees of freedom


def _string_beside(sim: Sim, photo: int, string: int, off_mm: float) -> Sim:
    """One string of one photograph followed beside where it is, all along it."""
    data = sim.photos[photo]
    own = data.strings.string == string
    per_mm = data.camera.focal_px / float(np.linalg.norm(data.camera.position_mm - [0.0, 0.0, 250.0]))
    moved = data.strings.point_px + (own * off_mm * per_mm)[:, None] * data.strings.normal
    photos = list(sim.photos)
    photos[photo] = replace(data, strings=replace(data.strings, point_px=moved))
    return replace(sim, photos=tuple(photos))


def _fit_again(sim: Sim, photos: tuple[PhotoData, ...]) -> JointFit:
    return replace(sim, photos=photos).fit()


@pytest.mark.parametrize(("photo", "string", "off_mm"), [(_FRONT, 5, 0.5), (_FRONT, 2, -0.6), (0, 5, 0.9), (1, 0, 1.2)])
def test_a_string_mistaken_for_its_shadow_is_dropped_and_no_other(photo: int, string: int, off_mm: float) -> None:
    sim = simulate(3)
    wrong = _string_beside(sim, photo, string, off_mm)
    fit = wrong.fit()
    rms = np.sqrt(np.mean(fit.string_residual[photo][wrong.photos[photo].strings.string == string] ** 2))
    assert fit.string_misfit[photo][string] == np.nanmax(np.array(fit.string_misfit))
    assert fit.string_misfit[photo][string] > 3.0 * rms**2  # that residuals alone would hide
    kept = without_contradictions(wrong.photos, fit)
    for place, (before, after) in enumerate(zip(wrong.photos, kept, strict=True)):
        gone = set(before.strings.string.tolist()) - set(after.strings.string.tolist())
        assert gone == ({string} if place == photo else set())
    again = _fit_again(sim, kept)
    assert np.isnan(again.string_misfit[photo][string])
    width = slice(0, 2)
    clean = sim.fit().theta[width]
    assert np.abs(again.theta[width] - clean).max() < np.abs(fit.theta[width] - clean).max()


def test_without_contradictions_all_photographs_stay_as_they_are() -> None:
    sim = simulate(1, still=True)
    fit = sim.fit()
    assert np.nanmax(np.array(fit.string_misfit)) < 0.1
    for before, after in zip(sim.photos, without_contradictions(sim.photos, fit), strict=True):
        np.testing.assert_array_equal(after.strings.point_px, before.strings.point_px)
        np.testing.assert_array_equal(after.edges.point_px, before.edges.point_px)


def test_photographs_without_any_string_pass() -> None:
    sim = simulate(2)
    bare = tuple(without_strings(photo) for photo in sim.photos)
    fit = _fit_again(sim, bare)
    assert np.isnan(np.array(fit.string_misfit)).all()
    assert len(without_contradictions(bare, fit)) == len(bare)
