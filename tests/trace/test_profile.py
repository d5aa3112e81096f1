"""Fret tops found in drawn lanes: crowns that hide one another, defocus that grows, inlays, saturation."""

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.trace.drawn_lanes import (
    APERTURE_PX_M,
    BEFORE_MM,
    DOTTED,
    FOCUS_M,
    FRETS,
    LANES,
    NOISE,
    SIGMA_PX,
    Lanes,
    draw,
    usual_start,
    z_mm_of_frets,
)
from vision.trace.profile import ProfileFit, fit_profiles

Array = NDArray[np.float64]


def _fit(lanes: Lanes, weight: Array | None = None) -> ProfileFit:
    weights = np.ones_like(lanes.signal) if weight is None else weight
    return fit_profiles(lanes.signal, weights, lanes.geometry, usual_start(), iterations=8)


def _error(found: ProfileFit, lanes: Lanes) -> tuple[Array, Array]:
    """Found minus true tops (lanes, N) without each lane's drift and constant; and those (2, lanes).

    A constant is nobody's height and the chord takes out a drift.
    """
    off = found.shift_mm - lanes.truth_mm
    line = np.polyfit(lanes.geometry.place, off.T, 1)
    return off - line[0][:, None] * lanes.geometry.place - line[1][:, None], line


@pytest.fixture(scope="module")
def plain() -> list[tuple[Lanes, ProfileFit]]:
    drawn = [draw(seed) for seed in (11, 12, 13)]
    return [(lanes, _fit(lanes)) for lanes in drawn]


def test_tops_are_found_without_bias_and_with_little_scatter(plain: list[tuple[Lanes, ProfileFit]]) -> None:
    for lanes, found in plain:
        error, line = _error(found, lanes)
        assert lanes.truth_mm.std() > 0.05  # what there was to find
        assert 0.0005 < error.std() < 0.010
        assert np.abs(error).max() < 0.030
        # A bend common to all lanes is what would be read as relief.
        bend = np.polyfit(lanes.geometry.place, error.T, 2)[0]
        assert abs(bend.mean()) < 0.012
        assert bend.std() < 0.012
        # A drift that differs from lane to lane would be read as twist.
        assert np.abs(line[0]).max() < 0.045
        assert line[0].std() < 0.025


def test_claimed_uncertainty_is_that_of_the_scatter(plain: list[tuple[Lanes, ProfileFit]]) -> None:
    ratio = np.concatenate([_error(found, lanes)[0] / found.shift_u_mm for lanes, found in plain])
    assert 0.3 < ratio.std() < 2.5
    for _, found in plain:
        assert found.shift_u_mm.shape == (LANES, FRETS)
        assert 0.001 < np.median(found.shift_u_mm) < 0.02


def test_blur_is_recovered_from_a_wrong_start(plain: list[tuple[Lanes, ProfileFit]]) -> None:
    depth_m = (z_mm_of_frets()[[0, -1]] + BEFORE_MM) / 1000.0
    truth = APERTURE_PX_M * np.abs(1.0 / depth_m - 1.0 / FOCUS_M)
    for _, found in plain:
        # Lens and a small disc can stand in for each other: the whole width is what counts.
        width = np.hypot(found.blur.disc_px(depth_m) / 2.0, np.exp(found.blur.log_sigma))
        np.testing.assert_allclose(width, np.hypot(truth / 2.0, SIGMA_PX), rtol=0, atol=0.25)


def test_model_follows_the_picture(plain: list[tuple[Lanes, ProfileFit]]) -> None:
    for lanes, found in plain:
        assert found.similarity.min() > 0.95
        assert 0.5 * NOISE < found.residual.min() <= found.residual.max() < 4.0 * NOISE
        seen = np.isfinite(found.model)
        assert seen.mean() > 0.9
        rest = (found.model - lanes.signal)[seen]
        assert abs(rest.mean()) < 0.002


def test_a_high_fret_stands_out_and_leaves_the_others(plain: list[tuple[Lanes, ProfileFit]]) -> None:
    """Most of 0.15 mm is seen; some is lost, since a taller crown is not the common one moved up."""
    lanes = draw(11, high=(8, 0.15))
    found = _fit(lanes)
    error, _ = _error(found, lanes)
    assert -0.075 < error[:, 8].mean() < 0.03
    others = np.delete(np.arange(FRETS), 8)
    assert error[:, others].std() < 0.012
    assert np.abs(error[:, others].mean(axis=0)).max() < 0.02


def test_inlays_are_outvoted(plain: list[tuple[Lanes, ProfileFit]]) -> None:
    lanes = draw(11, inlays=(5, 7, 9))
    assert np.abs(lanes.signal - plain[0][0].signal).max() > 0.15  # they can be seen
    error, _ = _error(_fit(lanes), lanes)
    dotted = np.array(DOTTED)
    assert error[dotted].std() < 0.02
    assert np.median(np.abs(error[dotted])) < 0.008
    assert np.delete(error, dotted, axis=0).std() < 0.010


def test_saturated_crowns_are_still_found() -> None:
    lanes = draw(11, shine=2.5)
    assert 0.01 < np.mean(lanes.signal == 1.0) < 0.3
    error, _ = _error(_fit(lanes), lanes)
    assert 0.0005 < error.std() < 0.015
    assert abs(np.polyfit(lanes.geometry.place, error.T, 2)[0].mean()) < 0.015


def test_a_hidden_fret_is_not_claimed(plain: list[tuple[Lanes, ProfileFit]]) -> None:
    lanes, whole = plain[0]
    weight = np.ones_like(lanes.signal)
    top = int(lanes.geometry.top_row[6])
    weight[:, top - 14 : top + 9] = 0.0
    found = _fit(lanes, weight)
    assert np.isnan(found.similarity[:, 6]).all()
    assert found.shift_u_mm[:, 6].min() > 5.0 * np.median(whole.shift_u_mm)
    others = np.delete(np.arange(FRETS), [5, 6, 7])
    assert _error(found, lanes)[0][:, others].std() < 0.015


def test_nothing_given_is_changed_and_the_answer_repeats(plain: list[tuple[Lanes, ProfileFit]]) -> None:
    lanes, found = plain[0]
    before = lanes.signal.copy()
    again = _fit(lanes)
    np.testing.assert_allclose(lanes.signal, before, rtol=0, atol=0)
    np.testing.assert_allclose(again.shift_mm, found.shift_mm, rtol=0, atol=1e-9)


def test_wrong_shapes_are_refused() -> None:
    lanes = draw(11)
    with pytest.raises(ValueError, match=r"weights \(7, \d+\) must be"):
        fit_profiles(lanes.signal, np.ones_like(lanes.signal)[1:], lanes.geometry, usual_start())
    with pytest.raises(ValueError, match=r"signals \(8, \d+\) and weights"):
        fit_profiles(lanes.signal[:, 1:], np.ones_like(lanes.signal)[:, 1:], lanes.geometry, usual_start())
