"""What is reported from a fitted neck: where the strings run, roll fret by fret, and wider claims where told to."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.neck_models import NUT_WIDTH_MM, WIDTH_AT_12_MM, fit_of, flat_neck
from vision.curves.from_fit import curve_under_string, difference_u_mm, lateral_of_string, roll_along_neck
from vision.fit.neck_model import CURVATURE, CURVATURE_SLOPE, TWIST, fret_points

Array = NDArray[np.float64]

FRETS = 22
SEEN = np.ones(FRETS, dtype=bool)


def test_a_strings_place_is_its_share_of_the_half_width() -> None:
    model, theta = flat_neck(FRETS)
    line = np.array([-17.0, -25.0, 1.0, 3.0])  # X at fret 1 and at the last fret, then Y
    half_mm = (NUT_WIDTH_MM + (WIDTH_AT_12_MM - NUT_WIDTH_MM) * model.z_mm / (0.5 * model.scale_length_mm)) / 2.0
    x_mm = np.interp(model.z_mm, model.z_mm[[0, -1]], [-17.0, -25.0])
    lateral = lateral_of_string(model, theta, line)
    np.testing.assert_allclose(lateral, x_mm / half_mm, rtol=0, atol=1e-12)
    assert -1.0 < lateral.min() < lateral.max() < -0.7
    beyond = lateral_of_string(model, theta, np.array([30.0, 45.0, 1.0, 3.0]))  # no string runs beside the board
    np.testing.assert_allclose(beyond, 1.2, rtol=0, atol=1e-12)


def test_roll_of_every_fret_is_that_of_its_ends() -> None:
    model, theta = flat_neck(FRETS)
    uneven = 0.003 * np.sin(np.pi * model.twist_share)
    theta[model.roll] = np.linalg.lstsq(model.roll_modes, uneven, rcond=None)[0]
    theta[TWIST] = 0.01
    left, right = (fret_points(model, theta, np.arange(FRETS), np.full(FRETS, s))[0] for s in (-1.0, 1.0))
    expected = np.degrees(np.arctan((right[:, 1] - left[:, 1]) / (right[:, 0] - left[:, 0])))
    found = roll_along_neck(model, fit_of(model, theta), 1.0).roll_deg
    np.testing.assert_allclose(found, expected - expected[0], rtol=0, atol=1e-4)
    assert found[FRETS // 2] > found[-1] / 2.0 + 0.1  # the uneven part shows


def test_roll_is_taken_where_the_strings_run() -> None:
    """Strings that leave the middle of an arched board run down its flank: there both tops of a fret stand aslant."""
    model, theta = flat_neck(FRETS)
    theta[[CURVATURE, CURVATURE_SLOPE]] = 1.0 / 250.0, 0.0008
    theta[TWIST] = 0.004
    strings = np.array([[-17.0, -23.0, 1.0, 2.0], [17.5, 26.0, 1.0, 2.0]])
    fit = replace(fit_of(model, theta), strings=strings)
    tops = [
        fret_points(model, theta, np.arange(FRETS), lateral_of_string(model, theta, line))[0] for line in strings
    ]
    expected = np.degrees((tops[1][:, 1] - tops[0][:, 1]) / (tops[1][:, 0] - tops[0][:, 0]))
    found = roll_along_neck(model, fit, 1.0).roll_deg
    np.testing.assert_allclose(found, expected - expected[0], rtol=0, atol=1e-9)
    assert found[-1] < np.degrees(theta[TWIST]) - 0.2


def test_what_is_unsure_of_the_strings_is_unsure_of_the_roll() -> None:
    """Claims against the spread of rolls from neck and strings drawn as the fit believes them."""
    model, theta = flat_neck(FRETS)
    theta[CURVATURE] = 1.0 / 250.0
    strings = np.array([[-17.0, -23.0, 1.0, 2.0], [18.0, 25.0, 1.0, 2.0]])
    believed = fit_of(model, theta)
    u = np.zeros(len(believed.covariance))
    u[[TWIST, CURVATURE, CURVATURE_SLOPE]] = 0.0004, 0.0006, 0.0004
    u[model.unknowns :] = np.tile([0.15, 0.25, 0.3, 0.3], 2)
    fit = replace(believed, strings=strings, covariance=np.diag(u**2))
    rng = np.random.default_rng(23)
    rolls = []
    for draw in u * rng.normal(size=(4000, len(u))):
        moved = strings + draw[model.unknowns :].reshape(2, 4)
        rolls.append(roll_along_neck(model, replace(fit, theta=theta + draw[: model.unknowns], strings=moved), 1.0))
    spread = np.std([roll.roll_deg for roll in rolls], axis=0)
    claimed = roll_along_neck(model, fit, 1.0).roll_u_deg
    np.testing.assert_allclose(claimed, spread, rtol=0, atol=0.05 * float(spread.max()))
    assert claimed[-1] > 1.2 * np.degrees(u[TWIST])
    assert claimed[0] == pytest.approx(0.0, rel=0, abs=1e-12)


@pytest.mark.parametrize("inflation", [1.0, 1.5])
def test_claims_widen_by_the_factor_they_are_told(inflation: float) -> None:
    model, theta = flat_neck(FRETS)
    theta[model.middle] = np.linalg.lstsq(
        model.middle_modes_mm, -0.3 * 4.0 * model.twist_share * (1.0 - model.twist_share), rcond=None
    )[0]
    fit = fit_of(model, theta, np.diag((0.1 * model.sd) ** 2))
    lateral = (np.full(FRETS, -0.85), np.full(FRETS, 0.85))

    def claims(factor: float) -> Array:
        curve = curve_under_string(model, fit, lateral[0], SEEN, factor)
        roll = roll_along_neck(model, fit, factor)
        u_mm = np.sqrt(np.diag(curve.gap_cov_mm2))
        apart = difference_u_mm(model, fit, lateral, (8, 9), factor)
        return np.concatenate([u_mm, curve.deviation_u_mm, roll.roll_u_deg, [apart]])

    plain = claims(1.0)
    assert plain[1:21].min() > 1e-3
    np.testing.assert_allclose(claims(inflation), inflation * plain, rtol=0, atol=1e-9)


def test_the_difference_is_taken_at_the_fret_of_either_relief() -> None:
    """A neck known but for its fret-to-fret curve: the farther apart the two frets, the less they share."""
    model, theta = flat_neck(FRETS)
    covariance = np.zeros((model.unknowns, model.unknowns))
    covariance[model.middle, model.middle] = np.eye(model.middle_modes_mm.shape[1]) * 0.1**2
    fit = fit_of(model, theta, covariance)
    lateral = (np.full(FRETS, -0.85), np.full(FRETS, 0.85))
    gaps = model.middle_modes_mm - np.outer(1.0 - model.twist_share, model.middle_modes_mm[0])
    for at in ((8, 8), (8, 9), (5, 14)):
        expected = 0.1 * float(np.linalg.norm(gaps[at[0] - 1] - gaps[at[1] - 1]))
        assert difference_u_mm(model, fit, lateral, at, 1.0) == pytest.approx(expected, rel=0, abs=1e-6)
