"""The sharp picture of several lanes at once: every lane for itself, and derivatives that are those of the light."""

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.trace.drawn_lanes import FRETS, draw
from vision.trace.lane_scene import LaneBasis, LaneScene

Array = NDArray[np.float64]

_LANES = 3
_GEOMETRY = draw(11).geometry
_BASIS = LaneBasis(draw(11).signal.shape[1], _GEOMETRY)


def _templates(seed: int = 5) -> Array:
    return np.random.default_rng(seed).normal(0.3, 0.1, (_LANES, _BASIS.total))


def _shift_mm(seed: int = 6) -> Array:
    return np.random.default_rng(seed).normal(0.0, 0.05, (_LANES, FRETS))


def _scene(shift_mm: Array, turn_rad: float = 0.02) -> LaneScene:
    return LaneScene(shift_mm, _BASIS, _GEOMETRY, turn_rad)


def test_light_is_the_design_times_the_templates() -> None:
    scene, templates = _scene(_shift_mm()), _templates()
    design = scene.design.toarray().reshape(len(_BASIS.fine_rows), _LANES, _BASIS.total)
    expected = np.einsum("rlt,lt->rl", design, templates)
    np.testing.assert_allclose(scene.light(templates), expected, rtol=0, atol=1e-12)
    assert np.ptp(expected, axis=0).min() > 0.3


@pytest.mark.parametrize("fret", [0, FRETS // 2, FRETS - 1])
def test_crown_and_board_lie_where_the_mean_view_angle_would_show_them(fret: int) -> None:
    """Points of a half-ellipse and of the board before it, projected at the fret's own angle and at the mean one.

    The foot and the board are marks that stay; what the rest of the crown mirrors follows the line of sight by half.
    """
    height_mm, half_width_mm = 1.15, 1.2
    assert _GEOMETRY.tangent is not None
    own, mean = _GEOMETRY.tangent[fret], _GEOMETRY.tangent.mean()
    turn = np.linspace(0.0, np.pi / 2.0, 2000)
    below, nearer = height_mm * (1.0 - np.cos(turn)), half_width_mm * np.sin(turn)
    follows = 0.5 + 0.5 * (below / height_mm) ** 4
    board = np.linspace(0.0, 60.0, 2000)[1:]
    seen = np.r_[below + nearer * own, height_mm + (half_width_mm + board) * own]
    at_mean = np.r_[below + nearer * (own + (mean - own) * follows), height_mm + (half_width_mm + board) * mean]
    scene = _scene(np.zeros((1, FRETS)), turn_rad=0.0)
    here = scene.fret == fret
    rows = _BASIS.fine_rows[scene.row[here]]
    depth = (_GEOMETRY.top_row[fret] - rows) / _GEOMETRY.rows_per_mm[fret]
    np.testing.assert_allclose(scene.depth[here], np.interp(depth, seen, at_mean), rtol=0, atol=2e-5)
    assert depth.min() < 0.15
    assert depth.max() > 1.2
    step = np.diff(scene.depth[here]) / np.diff(depth)
    middle = 0.5 * (scene.stretch[here][1:] + scene.stretch[here][:-1])
    smooth = (depth[:-1] > 0.15) & (np.abs(depth[:-1] - height_mm - half_width_mm * own) > 0.1)
    np.testing.assert_allclose(middle[smooth], step[smooth], rtol=0, atol=3e-3)


def test_every_lane_is_drawn_for_itself() -> None:
    shift, templates = _shift_mm(), _templates()
    together = _scene(shift)
    light, motion, turning = together.light(templates), together.motion(templates), together.by_turn(templates)
    for lane in range(_LANES):
        own, template = _scene(shift[[lane]]), templates[[lane]]
        np.testing.assert_allclose(light[:, [lane]], own.light(template), rtol=0, atol=1e-12)
        np.testing.assert_allclose(turning[:, [lane]], own.by_turn(template), rtol=0, atol=1e-12)
        part = motion[:, lane * FRETS : (lane + 1) * FRETS].toarray()
        np.testing.assert_allclose(part, own.motion(template).toarray(), rtol=0, atol=1e-12)


@pytest.mark.parametrize("fret", [0, 7, FRETS - 2])
def test_motion_is_how_the_light_changes_with_a_top(fret: int) -> None:
    """Row for row; where a top cuts through, what that row and its neighbours change by together.

    Not for the farthest: what stands behind it is taken not to move with it.
    """
    shift, templates, lane = _shift_mm(), _templates(), 1
    step = 0.01  # of a row
    moved = [shift.copy(), shift.copy()]
    for sign, other in zip((-1.0, 1.0), moved, strict=True):
        other[lane, fret] += sign * step / _GEOMETRY.rows_per_mm[fret]
    low, high = (_scene(other).light(templates) for other in moved)
    found = (high - low) / (2.0 * step)
    scene = _scene(shift)
    claimed = scene.motion(templates)[:, lane * FRETS + fret].toarray()[:, 0]
    apart = found[:, lane] - claimed
    cut = int(scene.cell[lane, fret])
    around = slice(cut - 1, cut + 2)
    assert abs(apart[around].sum()) < 0.06  # of a light of 1 by one fine row; jumps at tops are a few tenths
    apart[scene.cell[lane][:, None] + np.arange(-1, 2)] = 0.0
    np.testing.assert_allclose(apart, 0.0, rtol=0, atol=2e-3)
    assert np.abs(claimed).max() > 0.05
    np.testing.assert_array_equal(found[:, [0, 2]], 0.0)  # the other lanes


def test_turning_is_how_the_light_changes_with_the_turn() -> None:
    shift, templates = _shift_mm(), _templates()
    low, high = (_scene(shift, 0.02 + step).light(templates) for step in (-1e-5, 1e-5))
    found, claimed = (high - low) / 2e-5, _scene(shift).by_turn(templates)
    usual = np.abs(found - claimed) < 1e-4
    assert np.mean(usual) > 0.97  # but for the rows that a top cuts through
    assert np.corrcoef(found.ravel(), claimed.ravel())[0, 1] > 0.995
    assert np.abs(claimed).max() > 0.3
