"""The neck as a model: its definitions, its derivatives, its priors."""

import numpy as np
import pytest
from numpy.typing import NDArray

from vision.fit.neck_model import (
    CURVATURE,
    CURVATURE_SLOPE,
    EDGE_DOWN_MM,
    EDGE_OUT_MM,
    TWIST,
    WIDTH_12,
    WIDTH_NUT,
    NeckModel,
    WidthPrior,
    board_widths_mm,
    build_neck_model,
    edge_points,
    fret_points,
    surface_points,
    width_mm,
)

Array = NDArray[np.float64]


@pytest.fixture(scope="module")
def model() -> NeckModel:
    return build_neck_model(647.7, 22, WidthPrior(42.2, 0.8, 51.8, 0.9))


def _drawn(model: NeckModel, seed: int) -> Array:
    return model.mean + model.sd * np.random.default_rng(seed).normal(0.0, 1.0, model.unknowns)


def _everywhere(model: NeckModel, lateral: float | Array) -> Array:
    return fret_points(
        model, _drawn(model, 2), np.arange(model.frets), np.broadcast_to(lateral, model.frets)
    )[0]


def test_derivatives_by_every_unknown(model: NeckModel) -> None:
    theta = _drawn(model, 1)
    rng = np.random.default_rng(5)
    fret, lateral = rng.integers(0, model.frets, 60), rng.uniform(-1.1, 1.1, 60)
    points, derivative = fret_points(model, theta, fret, lateral)
    assert points.shape == (60, 3)
    assert derivative.shape == (60, 3, model.unknowns)
    for unknown in range(model.unknowns):
        step = np.zeros(model.unknowns)
        step[unknown] = 1e-3 * model.sd[unknown]
        ahead, behind = (fret_points(model, theta + s * step, fret, lateral)[0] for s in (1.0, -1.0))
        numeric = (ahead - behind) / (2.0 * step[unknown])
        size = max(float(np.abs(numeric).max()), 1e-3)
        np.testing.assert_allclose(derivative[:, :, unknown], numeric, rtol=0, atol=1e-7 * size)


def test_edge_derivatives_by_every_unknown(model: NeckModel) -> None:
    theta = _drawn(model, 9)
    rng = np.random.default_rng(6)
    gap, side = rng.integers(0, model.frets - 1, 60), rng.integers(0, 2, 60)
    share = rng.uniform(0.0, 1.0, 60)
    points, derivative = edge_points(model, theta, gap, share, side)
    assert points.shape == (60, 3)
    for unknown in range(model.unknowns):
        step = np.zeros(model.unknowns)
        step[unknown] = 1e-3 * model.sd[unknown]
        ahead, behind = (edge_points(model, theta + s * step, gap, share, side)[0] for s in (1.0, -1.0))
        numeric = (ahead - behind) / (2.0 * step[unknown])
        size = max(float(np.abs(numeric).max()), 1e-3)
        np.testing.assert_allclose(derivative[:, :, unknown], numeric, rtol=0, atol=1e-7 * size)


def test_edges_run_outside_and_below_the_ends_of_the_frets(model: NeckModel) -> None:
    theta = _drawn(model, 10)
    theta[model.edge_out] = 0.2, -0.1
    gaps = np.arange(model.frets - 1)
    for side, sign, out in ((0, -1.0, 0.2), (1, 1.0, -0.1)):
        ends, _ = fret_points(model, theta, np.arange(model.frets), np.full(model.frets, sign))
        sides = np.full(len(gaps), side)
        shift = np.array([sign * (EDGE_OUT_MM + out), -EDGE_DOWN_MM, 0.0])
        for share in (0.0, 0.25, 1.0):
            edge, _ = edge_points(model, theta, gaps, np.full(len(gaps), share), sides)
            between = ends[:-1] * (1.0 - share) + ends[1:] * share
            np.testing.assert_allclose(edge, between + shift, rtol=0, atol=1e-12)


def test_believed_are_the_widths_of_the_board_not_those_between_fret_ends(model: NeckModel) -> None:
    np.testing.assert_allclose(model.mean[[WIDTH_NUT, WIDTH_12]] + 2.0 * EDGE_OUT_MM, [42.2, 51.8], rtol=0, atol=1e-12)
    other = model.mean.copy()
    other[model.edge_out] = 0.3, -0.1  # edges farther out by 0.2 mm together, fret ends nearer by as much: one board
    other[[WIDTH_NUT, WIDTH_12]] -= 0.2
    unlikely = model.prior_scale @ (other - model.mean)
    np.testing.assert_allclose(unlikely[[WIDTH_NUT, WIDTH_12]], 0.0, rtol=0, atol=1e-12)
    np.testing.assert_allclose(unlikely[model.edge_out], [1.2, -0.4], rtol=0, atol=1e-12)
    wider = model.mean.copy()
    wider[WIDTH_12] += 1.8
    np.testing.assert_allclose((model.prior_scale @ (wider - model.mean))[WIDTH_12], 2.0, rtol=0, atol=1e-12)


def test_widths_of_the_board_and_their_uncertainty(model: NeckModel) -> None:
    """Outermost points of the board's edges; uncertainty against drawn necks (JCGM 101)."""
    theta = _drawn(model, 4)
    root = 0.2 * np.diag(model.sd)
    root[WIDTH_NUT, WIDTH_12] = 0.3
    root[model.edge_out, WIDTH_NUT] = -0.1  # the nearer the fret ends, the farther the edges
    covariance = np.pad(root @ root.T, (0, 3), constant_values=9.0)  # other unknowns follow
    width, u = board_widths_mm(model, theta, covariance)
    gap, half = np.zeros(2, dtype=np.int64), np.zeros(2)
    edges, _ = edge_points(model, theta, gap, half, np.array([0, 1]))
    at_fret_1 = width[0] + (width[1] - width[0]) * model.z_mm[0] / 323.85
    assert edges[1, 0] - edges[0, 0] == pytest.approx(at_fret_1, rel=0, abs=1e-9)
    draws = theta + np.random.default_rng(8).normal(0.0, 1.0, (20000, model.unknowns)) @ root.T
    spread = [np.std(draws[:, w] + draws[:, model.edge_out].sum(axis=1)) for w in (WIDTH_NUT, WIDTH_12)]
    np.testing.assert_allclose(u, spread, rtol=0, atol=0.01)
    assert 0.1 < u.min() < u.max() < 0.6


def test_every_unknown_moves_some_fret_or_edge(model: NeckModel) -> None:
    _, by_frets = fret_points(
        model, model.mean, np.repeat(np.arange(model.frets), 2), np.tile([-0.8, 0.8], model.frets)
    )
    sides = np.arange(2)
    _, by_edges = edge_points(model, model.mean, np.zeros(2, dtype=np.int64), np.full(2, 0.5), sides)
    fret_moves_mm, edge_moves_mm = (np.abs(d).max(axis=(0, 1)) * model.sd for d in (by_frets, by_edges))
    assert fret_moves_mm[: model.edge_out.start].min() > 1e-5
    assert fret_moves_mm[model.edge_out].max() == 0.0
    assert 0.1 < edge_moves_mm[model.edge_out].min() <= edge_moves_mm[model.edge_out].max() < 0.6
    assert np.isfinite(model.sd).all()


def test_modes_vanish_at_both_ends_and_nowhere_else(model: NeckModel) -> None:
    for modes, unit in ((model.middle_modes_mm, 1.0), (model.roll_modes, 20.0)):
        np.testing.assert_allclose(modes[[0, -1]] * unit, 0.0, rtol=0, atol=1e-6)
        prior_sd = np.sqrt(np.sum(modes**2, axis=1)) * unit
        assert prior_sd[1:-1].min() > 1e-3
        assert 0.01 < prior_sd.max() < 3.0


def test_modes_can_draw_common_curves(model: NeckModel) -> None:
    """A parabola, an S and a rise of the last five frets, each within two thousandths of a millimetre."""
    t, z = model.twist_share, model.z_mm
    rise = np.clip(z - z[-6], 0.0, None)
    rise = 0.1 * (rise / rise[-1]) ** 2
    curves = (4.0 * t * (1 - t) * 0.25, np.sin(2 * np.pi * t) * 0.1, rise - rise[-1] * t)
    for curve in curves:
        size, *_ = np.linalg.lstsq(model.middle_modes_mm, curve, rcond=None)
        np.testing.assert_allclose(model.middle_modes_mm @ size, curve, rtol=0, atol=0.002)


def test_twist_is_the_roll_of_the_last_fret_against_the_first(model: NeckModel) -> None:
    theta = _drawn(model, 3)
    theta[[CURVATURE, CURVATURE_SLOPE]] = 0.0  # flat across, so that chord and roll are the same line
    theta[model.fret_roll] = 0.0
    every = np.arange(model.frets)
    bass, treble = (fret_points(model, theta, every, np.full(model.frets, s))[0] for s in (-0.85, 0.85))
    roll = (treble[:, 1] - bass[:, 1]) / (treble[:, 0] - bass[:, 0])
    assert roll[-1] - roll[0] == pytest.approx(theta[TWIST], rel=0, abs=1e-9)
    assert roll[0] == pytest.approx(0.0, rel=0, abs=1e-9)
    theta[TWIST] = 0.01  # positive: treble side higher at the last fret
    treble = fret_points(model, theta, every, np.full(model.frets, 0.85))[0]
    assert treble[-1, 1] - treble[-1, 0] * 0.01 == pytest.approx(
        float(theta[model.fret_error][-1]), rel=0, abs=1e-9
    )


def test_width_tapers_linearly_through_nut_and_fret_12(model: NeckModel) -> None:
    theta = model.mean.copy()
    theta[WIDTH_NUT], theta[WIDTH_12] = 41.5, 52.5
    z = np.array([0.0, 647.7 / 4, 647.7 / 2, 647.7 * 0.75])
    np.testing.assert_allclose(width_mm(model, theta, z), [41.5, 47.0, 52.5, 58.0], rtol=0, atol=1e-9)
    ends = [fret_points(model, theta, np.array([11]), np.array([s]))[0][0, 0] for s in (-1.0, 1.0)]
    np.testing.assert_allclose(ends, [-26.25, 26.25], rtol=0, atol=1e-9)


def test_a_round_board_falls_off_by_its_sagitta(model: NeckModel) -> None:
    theta = np.zeros(model.unknowns)
    theta[[WIDTH_NUT, WIDTH_12]] = 42.0, 52.0
    theta[CURVATURE] = 1.0 / 254.0  # 10 in radius
    points, _ = fret_points(model, theta, np.array([0, 11, 21]), np.array([0.0, 1.0, -0.5]))
    np.testing.assert_allclose(points[:, 1], -(points[:, 0] ** 2) / (2.0 * 254.0), rtol=0, atol=1e-12)
    assert points[1, 1] == pytest.approx(-1.3307, rel=0, abs=1e-4)  # 26^2 / 508
    theta[CURVATURE_SLOPE] = 0.001
    compound, _ = fret_points(model, theta, np.array([0, 21]), np.ones(2))
    at = -2.0 * compound[:, 1] / compound[:, 0] ** 2
    np.testing.assert_allclose(at, 1.0 / 254.0 + np.array([-0.0005, 0.0005]), rtol=0, atol=1e-12)


def test_errors_of_a_single_fret_move_it_alone(model: NeckModel) -> None:
    theta = model.mean.copy()
    every = np.arange(model.frets)
    before, _ = fret_points(model, theta, every, np.full(model.frets, 0.8))
    theta[model.fret_error.start + 8] = 0.15
    theta[model.fret_roll.start + 8] = 0.002
    after, _ = fret_points(model, theta, every, np.full(model.frets, 0.8))
    moved = after - before
    expected = np.zeros((model.frets, 3))
    expected[8, 1] = 0.15 + 0.002 * before[8, 0]
    np.testing.assert_allclose(moved, expected, rtol=0, atol=1e-12)


def test_surface_passes_through_the_frets(model: NeckModel) -> None:
    theta = _drawn(model, 6)
    every = np.arange(model.frets)
    for lateral in (-1.0, -0.4, 0.0, 0.9):
        tops, _ = fret_points(model, theta, every, np.full(model.frets, lateral))
        surface = surface_points(model, theta, model.z_mm, np.full(model.frets, lateral))
        np.testing.assert_allclose(surface, tops, rtol=0, atol=1e-9)


def test_surface_lies_between_neighbouring_frets_and_keeps_the_grid(model: NeckModel) -> None:
    theta = _drawn(model, 7)
    z = 0.5 * (model.z_mm[:-1] + model.z_mm[1:])
    grid = surface_points(model, theta, z[:, None], np.array([-0.5, 0.0, 0.5])[None, :])
    assert grid.shape == (model.frets - 1, 3, 3)
    tops, _ = fret_points(model, theta, np.arange(model.frets), np.zeros(model.frets))
    np.testing.assert_allclose(grid[:, 1, 1], 0.5 * (tops[:-1, 1] + tops[1:, 1]), rtol=0, atol=1e-9)
    np.testing.assert_allclose(grid[:, 0, 0], -0.25 * width_mm(model, theta, z), rtol=0, atol=1e-9)


def test_prior_covers_ordinary_necks(model: NeckModel) -> None:
    """Bows drawn from the prior spread over what necks have, and well beyond an ordinary 0.3 mm."""
    rng = np.random.default_rng(8)
    draws = rng.normal(0.0, 1.0, (400, model.middle_modes_mm.shape[1])) @ model.middle_modes_mm.T
    largest = np.abs(draws).max(axis=1)
    assert 0.15 < np.median(largest) < 1.5
    assert np.mean(largest > 0.5) > 0.1


def test_positions_are_kept_in_the_points(model: NeckModel) -> None:
    points = _everywhere(model, 0.3)
    np.testing.assert_allclose(points[:, 2], model.z_mm, rtol=0, atol=0)
