"""The joint fit on simulated measurements of a known neck: figures, their uncertainties, and single frets.

All that the fit holds as a prior is drawn from it (tests.fit.simulated_neck): then, and only then, the predicted
covariance must be that of the spread.
"""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.fit.simulated_neck import BASS, FRETS, FRONT, LATERAL, TREBLE, Sim, simulate
from vision.curves.from_fit import curve_under_string, difference_u_mm, roll_along_neck
from vision.curves.relief import gap_to_chord_mm
from vision.fit.camera import view_angle_deg
from vision.fit.joint import JointFit
from vision.fit.neck_model import fret_points, width_mm

Array = NDArray[np.float64]

_SIMULATIONS = 60


@dataclass(frozen=True)
class Figures:
    """Error and claim of relief (bass, treble) and twist, claim of the difference of the two reliefs."""

    relief_error_mm: Array
    relief_u_mm: Array
    twist_error_deg: float
    twist_u_deg: float
    difference_u_mm: float


def figures(sim: Sim, fit: JointFit) -> Figures:
    model = sim.model
    seen = np.ones(FRETS, dtype=bool)
    truth = sim.theta.copy()
    truth[model.fret_error] = truth[model.fret_roll] = 0.0
    errors, claims, at = [], [], []
    for lateral in (-LATERAL, LATERAL):
        curve = curve_under_string(model, fit, np.full(FRETS, lateral), seen, 1.0)
        true_gap = gap_to_chord_mm(
            model.z_mm, fret_points(model, truth, np.arange(FRETS), np.full(FRETS, lateral))[0][:, 1]
        )
        errors.append(curve.relief_mm - true_gap[np.argmax(np.abs(true_gap))])
        claims.append(curve.relief_u_mm)
        at.append(curve.relief_at_fret)
    roll = roll_along_neck(model, fit, 1.0)
    across = (np.full(FRETS, -LATERAL), np.full(FRETS, LATERAL))
    return Figures(
        np.array(errors), np.array(claims), float(roll.roll_deg[-1] - _twist_deg(sim, truth)),
        float(roll.roll_u_deg[-1]), difference_u_mm(model, fit, across, (at[0], at[1]), 1.0),
    )


def _twist_deg(sim: Sim, truth: Array) -> float:
    """By the definition: from the top under one outer string to that under the other, fret 1 and the last."""
    rolls = []
    for fret in (0, FRETS - 1):
        x_mm = sim.strings[[0, -1], 0 if fret == 0 else 1]
        lateral = 2.0 * x_mm / width_mm(sim.model, truth, sim.model.z_mm[fret])
        tops = fret_points(sim.model, truth, np.full(2, fret), lateral)[0]
        rolls.append(float(np.degrees((tops[1, 1] - tops[0, 1]) / (tops[1, 0] - tops[0, 0]))))
    return rolls[1] - rolls[0]


@pytest.fixture(scope="module")
def many() -> list[Figures]:
    drawn = (simulate(seed) for seed in range(_SIMULATIONS))
    return [figures(sim, sim.fit()) for sim in drawn]


def test_predicted_uncertainty_of_relief_is_that_of_the_spread(many: list[Figures]) -> None:
    error = np.array([f.relief_error_mm for f in many])
    claim = np.sqrt(np.mean([f.relief_u_mm**2 for f in many], axis=0))
    for ratio in np.sqrt(np.mean(error**2, axis=0)) / claim:
        assert 0.75 < ratio < 1.35
    assert np.abs(error.mean(axis=0)).max() < 3.0 * claim.max() / np.sqrt(_SIMULATIONS)
    inside = np.mean(np.abs(error) < 2.0 * np.array([f.relief_u_mm for f in many]))
    assert 0.86 <= inside <= 1.0


def test_predicted_uncertainty_of_twist_is_that_of_the_spread(many: list[Figures]) -> None:
    error = np.array([f.twist_error_deg for f in many])
    claim = np.sqrt(np.mean([f.twist_u_deg**2 for f in many]))
    assert 0.75 < np.sqrt(np.mean(error**2)) / claim < 1.35
    assert abs(error.mean()) < 3.0 * claim / np.sqrt(_SIMULATIONS)


def test_predicted_uncertainty_of_the_difference_is_that_of_the_spread(many: list[Figures]) -> None:
    """Errors of depth are common to both sides: their difference is far sharper than either."""
    error = np.array([f.relief_error_mm for f in many])
    difference, claim = error[:, 0] - error[:, 1], np.array([f.difference_u_mm for f in many])
    assert 0.75 < np.sqrt(np.mean(difference**2)) / np.sqrt(np.mean(claim**2)) < 1.35
    assert np.mean(claim) < 0.7 * np.mean([f.relief_u_mm for f in many])


def test_without_photographs_only_what_was_believed_before_is_left() -> None:
    sim = replace(simulate(1), photos=())
    fit = sim.fit()
    neck = sim.model.unknowns
    np.testing.assert_allclose(fit.theta, sim.model.mean, rtol=0, atol=1e-9)
    np.testing.assert_allclose(fit.covariance[neck:, neck:], sim.string_covariance, rtol=0, atol=1e-9)
    np.testing.assert_allclose(fit.covariance[:neck, neck:], 0.0, rtol=0, atol=1e-12)
    scale = sim.model.prior_scale
    claimed = scale @ fit.covariance[:neck, :neck] @ scale.T
    # Student-t: errors of single frets, believed smaller in the middle
    assert 0.9 < np.sqrt(np.diag(claimed).min()) < 0.95
    gaussian = np.ones(neck, dtype=bool)
    gaussian[sim.model.fret_error] = gaussian[sim.model.fret_roll] = False
    np.testing.assert_allclose(claimed[np.ix_(gaussian, gaussian)], np.eye(gaussian.sum()), rtol=0, atol=1e-9)


def test_perfect_measurements_give_the_neck_back() -> None:
    sim = simulate(1, still=True)
    fit = sim.fit()
    found = figures(sim, fit)
    assert fit.converged
    np.testing.assert_allclose(found.relief_error_mm, 0.0, rtol=0, atol=0.005)
    assert found.twist_error_deg == pytest.approx(0.0, rel=0, abs=0.006)
    assert 0.002 < found.relief_u_mm.min() <= found.relief_u_mm.max() < 0.05
    assert 0.003 < found.twist_u_deg < 0.1
    for residual in fit.fret_residual:
        assert np.abs(residual).max() < 0.3
    for camera, (elevation, *_) in zip(fit.cameras, (BASS, TREBLE, FRONT), strict=True):
        assert view_angle_deg(camera, np.array([0.0, 0.0, 250.0])) == pytest.approx(elevation, rel=0, abs=0.2)


def test_residuals_are_of_the_size_that_was_claimed() -> None:
    sim = simulate(2)
    fit = sim.fit()
    for residual in fit.fret_residual:
        assert 0.7 < np.sqrt(np.mean(residual**2)) < 1.15
    for few in (np.concatenate(fit.string_residual), np.concatenate(fit.end_residual)):
        assert 0.25 < np.sqrt(np.mean(few**2)) < 1.3  # fewer points, hardly more than unknowns


@pytest.mark.parametrize("seed", [4, 20, 24])
def test_a_high_fret_shows_and_leaves_the_relief_alone(seed: int) -> None:
    """Seeds 20 and 24 start so far off that a solver which trusts no outlier from the start stops on its way."""
    even, uneven = simulate(seed), simulate(seed, high=(10, 0.15))
    before, after = even.fit(), uneven.fit()
    assert before.converged
    assert after.converged
    seen = np.ones(FRETS, dtype=bool)
    for lateral in (-LATERAL, LATERAL):
        line = np.full(FRETS, lateral)
        curves = [curve_under_string(even.model, fit, line, seen, 1.0) for fit in (before, after)]
        raised = curves[1].deviation_mm - curves[0].deviation_mm
        # The prior on single-fret errors keeps back up to a third of a lone high fret.
        assert 0.10 < raised[10] < 0.17
        np.testing.assert_allclose(np.delete(raised, 10), 0.0, rtol=0, atol=0.015)
        assert curves[1].relief_mm - curves[0].relief_mm == pytest.approx(0.0, rel=0, abs=0.02)
        assert curves[1].deviation_mm[10] > 4.0 * curves[1].deviation_u_mm[10]


def test_without_the_front_the_relief_is_poorly_known_and_the_rest_is_not() -> None:
    three, two = simulate(5), simulate(5, (BASS, TREBLE))
    with_front, without = figures(three, three.fit()), figures(two, two.fit())
    assert 0.04 < without.relief_u_mm.min() <= without.relief_u_mm.max() < 0.2
    assert without.relief_u_mm.min() > 2.5 * with_front.relief_u_mm.max()
    assert without.twist_u_deg < 1.5 * with_front.twist_u_deg
    assert without.difference_u_mm < 2.0 * with_front.difference_u_mm
    assert np.abs(without.relief_error_mm).max() < 3.0 * without.relief_u_mm.max()


def test_one_photograph_tells_less_than_two() -> None:
    one, two = simulate(6, (BASS,)), simulate(6, (BASS, TREBLE))
    fits = one.fit(), two.fit()
    alone, both = figures(one, fits[0]), figures(two, fits[1])
    assert 0.05 < alone.relief_u_mm.min() <= alone.relief_u_mm.max() < 0.4
    assert alone.relief_u_mm.min() > 1.1 * both.relief_u_mm.max()
    assert alone.twist_u_deg > 1.1 * both.twist_u_deg
    # At one and the same fret: reliefs at different frets share less.
    across = (np.full(FRETS, -LATERAL), np.full(FRETS, LATERAL))
    difference = [difference_u_mm(one.model, fit, across, (8, 8), 1.0) for fit in fits]
    assert difference[0] > 1.05 * difference[1]


def test_wild_points_do_not_bend_the_neck() -> None:
    """One point in twenty, mistaken by 0.6 px, moves the relief by less than its uncertainty."""
    sim = simulate(7)
    rng = np.random.default_rng(70)
    photos = []
    for photo in sim.photos:
        count = len(photo.frets.fret)
        wild = 0.6 * (rng.random(count) < 0.05) * rng.choice([-1.0, 1.0], count)
        moved = photo.frets.point_px + wild[:, None] * photo.frets.normal
        photos.append(replace(photo, frets=replace(photo.frets, point_px=moved)))
    spoiled = replace(sim, photos=tuple(photos))
    clean, robust = figures(sim, sim.fit()), figures(sim, spoiled.fit())
    change = robust.relief_error_mm - clean.relief_error_mm
    assert 1e-5 < np.abs(change).max() < 0.5 * clean.relief_u_mm.max()
