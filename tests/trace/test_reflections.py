"""Reflections that slide over the crowns: what they do to one lane more than to another is taken out."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.trace.drawn_lanes import FRETS, LANES, Lanes, draw, usual_start
from vision.trace.lane_scene import LaneBasis, LaneScene
from vision.trace.profile import ProfileFit, fit_profiles
from vision.trace.reflections import believed_of_light, without_sliding

Array = NDArray[np.float64]

_ALL = np.ones((LANES, FRETS), dtype=bool)
_CROWN_MM, _HALF_CROWN_MM = 1.15, 1.2


def _before(lanes: Lanes) -> ProfileFit:
    return fit_profiles(lanes.signal, np.ones_like(lanes.signal), lanes.geometry, usual_start(), iterations=8)


def _after(lanes: Lanes, before: ProfileFit, seen: NDArray[np.bool_] = _ALL) -> ProfileFit:
    return without_sliding(before, lanes.signal, np.ones_like(lanes.signal), lanes.geometry, seen)


def _drifts(found: ProfileFit, lanes: Lanes) -> Array:
    """(LANES,) drift of each lane's tops from the middle to either end against the truth, mm."""
    drift: Array = np.polyfit(lanes.geometry.place, (found.shift_mm - lanes.truth_mm).T, 1)[0]
    return drift


@pytest.fixture(scope="module")
def mended() -> list[tuple[Lanes, ProfileFit, ProfileFit]]:
    """A lamp that one side of the neck mirrors nine times as brightly as the other, and that is not far away."""
    shines = (0.5, 0.3, 0.5, 0.4, 0.6, 0.5)
    drawn = [draw(11 + i, turn_rad=0.06, shine=shine, uneven=1.6, grain=0.005) for i, shine in enumerate(shines)]
    return [(lanes, before := _before(lanes), _after(lanes, before)) for lanes in drawn]


def test_lanes_drift_less_against_one_another(mended: list[tuple[Lanes, ProfileFit, ProfileFit]]) -> None:
    apart = np.array([[_drifts(found, lanes).std() for found in fits] for lanes, *fits in mended])
    before, after = np.sqrt(np.mean(apart**2, axis=0))
    assert 0.005 < before < 0.02  # mm: what there was to mend
    assert 0.001 < after < 0.92 * before  # in real light more: see DEVELOPERS.md for rendered necks


def test_the_turn_is_seen(mended: list[tuple[Lanes, ProfileFit, ProfileFit]]) -> None:
    for _, before, after in mended:
        assert before.turn_rad == 0.0
        assert 0.01 < after.turn_rad < 0.1
    other_way = draw(11, turn_rad=-0.06, uneven=1.6, grain=0.005)
    assert -0.1 < _after(other_way, _before(other_way)).turn_rad < -0.01


def test_bright_light_is_believed_less() -> None:
    light = np.full((2, 99), 0.2)
    light[:, 40:60] = 0.8
    light[:, 80:95] = 0.05
    light[1] *= 0.1  # a lane in shadow is judged by its own light
    weight = believed_of_light(light)
    np.testing.assert_allclose(weight[:, 10], 1.0, rtol=0, atol=1e-3)
    assert weight[0, 50] < 0.02 < 0.5 < weight[0, 30] < 10.0 < weight[0, 87] < 40.0
    np.testing.assert_allclose(weight[1], weight[0], rtol=0, atol=0.02)
    np.testing.assert_array_equal(believed_of_light(np.zeros((1, 9))) > 0.0, True)  # a black lane stays finite
    assert np.isfinite(believed_of_light(np.zeros((1, 9)))).all()


def test_single_noisy_rows_do_not_choose_their_weight() -> None:
    light = np.full((1, 50), 0.2)
    light[0, 25] += 0.03
    weight = believed_of_light(light)
    assert weight[0, 25] == pytest.approx(weight[0, 24], rel=0, abs=1e-9)
    assert 0.8 < weight[0, 25] < 0.95


def test_only_drifts_against_one_another_change(mended: list[tuple[Lanes, ProfileFit, ProfileFit]]) -> None:
    for lanes, before, after in mended:
        change = after.shift_mm - before.shift_mm
        drift = np.polyfit(lanes.geometry.place, change.T, 1)[0]
        assert np.abs(drift).max() > 0.001
        np.testing.assert_allclose(change, drift[:, None] * lanes.geometry.place, rtol=0, atol=1e-9)
        np.testing.assert_allclose(change.mean(axis=0), 0.0, rtol=0, atol=1e-9)
        np.testing.assert_array_equal(after.shift_u_mm, before.shift_u_mm)


def test_a_lane_with_few_frets_is_left_alone(mended: list[tuple[Lanes, ProfileFit, ProfileFit]]) -> None:
    lanes, before, _ = mended[0]
    seen = _ALL.copy()
    seen[2, 5:] = False
    after = _after(lanes, before, seen)
    np.testing.assert_array_equal(after.shift_mm[2], before.shift_mm[2])
    assert np.abs(after.shift_mm - before.shift_mm)[[1, 3]].max() > 0.001
    nothing = _after(lanes, before, np.zeros_like(_ALL))
    np.testing.assert_array_equal(nothing.shift_mm, before.shift_mm)


@pytest.mark.parametrize("turn_rad", [-0.08, 0.05])
def test_a_turn_moves_what_the_arch_mirrors_and_neither_top_nor_foot(turn_rad: float) -> None:
    """A point h (1 - cos p) below the top of the arch stands h sin(p) t lower where its normal turns by t.

    It is as much nearer to the camera as the arch is wide there, and appears lower for it. By the law of reflection it
    mirrors what stands 2 p + a above the horizon, seen under the angle a. At height H over the neck that is
    H cot(2 p + a) ahead, so its direction changes by sin^2(2 p + a) / H with the place along the neck: by
    sin^2(2 p + a) of what it changes by overhead.
    """
    lanes = draw(11)
    geometry, shift = lanes.geometry, np.zeros((1, FRETS))
    assert geometry.tangent is not None
    basis = LaneBasis(lanes.signal.shape[1], geometry)
    still, turned = (LaneScene(shift, basis, geometry, turn) for turn in (0.0, turn_rad))
    below = (still.top[0, still.fret] - basis.fine_rows[still.row]) / geometry.rows_per_mm[still.fret]
    moved = still.depth - turned.depth
    at_end = np.isin(still.fret, [0, FRETS - 1])
    arch = at_end & (below > 0.15) & (below < 0.55)
    own = geometry.tangent[still.fret]
    angles = np.linspace(0.0, np.pi / 2.0, 2000)
    seen = _CROWN_MM * (1.0 - np.cos(angles)) + _HALF_CROWN_MM * np.sin(angles) * own[:, None]
    slope = np.array([np.interp(at, depths, angles) for at, depths in zip(below, seen, strict=True)])
    overhead = np.sin(2.0 * slope + np.arctan(own)) ** 2
    expected = _CROWN_MM * np.sin(slope) * turn_rad * overhead * geometry.far[still.fret]
    np.testing.assert_allclose(moved[arch], expected[arch], rtol=0, atol=0.006)
    assert np.abs(expected[arch]).max() > 0.03
    on_board = below >= _CROWN_MM + _HALF_CROWN_MM * own
    np.testing.assert_allclose(moved[on_board], 0.0, rtol=0, atol=1e-9)
    assert np.abs(moved[below < 0.002]).max(initial=0.0) < 0.01


def test_far_is_where_the_camera_is_not() -> None:
    lanes = draw(11)
    from_other_end = replace(lanes.geometry, place=-lanes.geometry.place)
    np.testing.assert_array_equal(from_other_end.far, lanes.geometry.far)
    assert from_other_end.far[0] < -0.8 < 0.8 < from_other_end.far[-1]


def test_without_contrast_a_lamp_is_expected_one_to_two_metres_above_the_neck() -> None:
    lanes = draw(11, shine=0.0, uneven=0.0)
    still = _before(lanes)
    found = _after(lanes, still).turn_rad
    assert 0.03 < found < 0.11
