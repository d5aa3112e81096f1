"""Uncertainties as reported, against the Guide (JCGM 100:2008) and Monte Carlo propagation (JCGM 101:2008).

Where the law of propagation is used elsewhere it is checked there, by the same means: pickups' resistance and turns
of the rod in tests/inspection, the covariance of the joint fit in tests/fit/test_joint.py by repeated simulation.
"""

import numpy as np
import pytest
from scipy.stats import norm

from app.inspection.pickups import Coil, JackReading, coil_resistance
from app.wording import COVERAGE_95
from tests.inspection.necks import neck
from tests.neck_models import NUT_WIDTH_MM, WIDTH_AT_12_MM, fit_of, flat_neck
from vision.curves.from_fit import curve_under_string, difference_u_mm, roll_along_neck
from vision.curves.relief import gap_to_chord_mm
from vision.fit.neck_model import CURVATURE, CURVATURE_SLOPE, TWIST, WIDTH_12, WIDTH_NUT, NeckModel
from vision.results import Array

FRETS = 22


def test_coverage_factor_of_95_per_cent() -> None:
    # JCGM 100:2008, 6.3.3 and table G.1: 1.96 for a normal distribution.
    assert pytest.approx(float(norm.ppf(0.975)), rel=0, abs=5e-5) == COVERAGE_95


def test_a_stated_tolerance_is_rectangular() -> None:
    # JCGM 100:2008, 4.3.7: u = a / sqrt(3). Its example: a = 0.40e-6, u = 0.23e-6 for 16.52e-6 per kelvin, copper.
    # The same tolerance of a control of 250 kilohm, felt by a coil in parallel as (R / (P - R))^2.
    coil = coil_resistance(JackReading(10_000.0, 0.0, 250e3, 0.40 / 16.52, temperature_u_c=0.0))
    assert isinstance(coil, Coil)
    assert coil.from_pot_ohm == pytest.approx(250e3 * 0.23 / 16.52 * (10.0 / 240.0) ** 2, rel=0, abs=0.03)
    assert coil.u_ohm == coil.from_pot_ohm


@pytest.mark.parametrize(("difference_u_mm", "mean_u_mm"), [(0.0, 0.1), (0.1 * 2.0**0.5, 0.1 / 2.0**0.5)])
def test_mean_of_two_sides_that_share_all_or_nothing(difference_u_mm: float, mean_u_mm: float) -> None:
    # JCGM 100:2008, 5.2.2: what is fully correlated adds linearly (its example: ten resistors compared with one
    # standard, sum 10 u), what is independent by the root of squares.
    facts = neck(u_mm=0.1, difference_u_mm=difference_u_mm)
    assert facts.mean_relief_u_mm == pytest.approx(mean_u_mm, rel=0, abs=1e-9)


def test_reported_curves_are_propagated_as_monte_carlo_does() -> None:
    """JCGM 101 as the judge of JCGM 100, 5.1.2: draws of all unknowns, with a covariance that ties them together."""
    rng = np.random.default_rng(12)
    model, theta = flat_neck(FRETS)
    theta[model.middle] = np.linalg.lstsq(
        model.middle_modes_mm, -0.3 * 4.0 * model.twist_share * (1.0 - model.twist_share), rcond=None
    )[0]
    size = 0.1 * model.sd
    mix = np.linalg.qr(rng.normal(0.0, 1.0, (model.unknowns, model.unknowns)))[0]
    root = size[:, None] * mix * rng.uniform(0.2, 1.5, model.unknowns)
    lateral = (np.full(FRETS, -0.85), np.full(FRETS, 0.85))
    fit, seen = fit_of(model, theta, root @ root.T), np.ones(FRETS, dtype=bool)
    claimed = [curve_under_string(model, fit, line, seen, 1.0) for line in lateral]

    draws = theta + rng.normal(0.0, 1.0, (4000, model.unknowns)) @ root.T
    gaps = np.stack([_smooth_gaps(model, draws, line) for line in lateral], axis=1)
    for side, curve in enumerate(claimed):
        found = gaps[:, side].std(axis=0)
        np.testing.assert_allclose(np.sqrt(np.diag(curve.gap_cov_mm2)), found, rtol=0, atol=0.07 * found.max())
        assert found.max() > 0.01
    at = (claimed[0].relief_at_fret, claimed[1].relief_at_fret)
    apart = gaps[:, 0, at[0] - 1] - gaps[:, 1, at[1] - 1]
    claim = difference_u_mm(model, fit, lateral, at, 1.0)
    assert claim == pytest.approx(float(apart.std()), rel=0, abs=0.07 * claim)
    roll = np.degrees(draws[:, TWIST])
    claim_deg = float(roll_along_neck(model, fit, 1.0).roll_u_deg[-1])
    assert claim_deg == pytest.approx(float(roll.std()), rel=0, abs=0.07 * claim_deg)


def _smooth_gaps(model: NeckModel, draws: Array, lateral: Array) -> Array:
    """Gaps (draws, N) of necks without errors of single frets: the model's definition, written for many at once."""
    share = 2.0 * model.z_mm / model.scale_length_mm
    x = lateral * (draws[:, [WIDTH_NUT]] * (1.0 - share) + draws[:, [WIDTH_12]] * share) / 2.0
    roll = draws[:, [TWIST]] * model.twist_share + draws[:, model.roll] @ model.roll_modes.T
    bend = draws[:, [CURVATURE]] + draws[:, [CURVATURE_SLOPE]] * (model.twist_share - 0.5)
    heights = draws[:, model.middle] @ model.middle_modes_mm.T + x * roll - bend * x**2 / 2.0
    return np.array([gap_to_chord_mm(model.z_mm, height) for height in heights])


def test_deviations_are_propagated_as_monte_carlo_does() -> None:
    rng = np.random.default_rng(13)
    model, theta = flat_neck(FRETS)
    errors = slice(model.fret_error.start, model.fret_roll.stop)
    root = np.zeros((model.unknowns, model.unknowns))
    root[errors, errors] = 0.3 * model.sd[errors, None] * rng.normal(0.0, 1.0, (2 * FRETS, 2 * FRETS))
    lateral, seen = np.full(FRETS, 0.85), np.ones(FRETS, dtype=bool)
    curve = curve_under_string(model, fit_of(model, theta, root @ root.T), lateral, seen, 1.0)
    drawn = rng.normal(0.0, 1.0, (20_000, model.unknowns)) @ root.T
    width_mm = NUT_WIDTH_MM + (WIDTH_AT_12_MM - NUT_WIDTH_MM) * 2.0 * model.z_mm / model.scale_length_mm
    half_mm = 0.85 * width_mm / 2.0
    deviation = drawn[:, model.fret_error] + half_mm * drawn[:, model.fret_roll]
    found = deviation.std(axis=0)
    np.testing.assert_allclose(curve.deviation_u_mm, found, rtol=0, atol=0.03 * found.max())
    unseen = curve_under_string(model, fit_of(model, theta, root @ root.T), lateral, ~seen, 1.0)
    assert np.isinf(unseen.deviation_u_mm).all()
