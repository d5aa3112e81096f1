"""Fret tops found in drawn lanes: crowns that hide one another, defocus that grows, inlays, saturation."""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from vision.trace.blur import Blur
from vision.trace.lane_scene import LaneGeometry
from vision.trace.profile import ProfileFit, fit_profiles

Array = NDArray[np.float64]

_FOCAL_PX, _EYE_MM, _BEFORE_MM = 8000.0, 150.0, 1000.0  # height above the tops, distance before the nut
_FRETS, _SCALE_MM = 20, 647.7
_CROWN_MM, _HALF_CROWN_MM, _NEAR_MM = 1.05, 1.15, 3.0
_SUB = 16  # parts of a row
_SIGMA_PX = 0.9
_APERTURE_PX_M, _FOCUS_M = 14.0, 1.15
_NOISE = 0.003
_LANES = 8
_DOTTED = (3, 4)


@dataclass(frozen=True)
class Lanes:
    """Signals (lanes, rows), geometry without errors, and true tops against it (lanes, N) mm."""

    signal: Array
    geometry: LaneGeometry
    truth_mm: Array


def _z_mm() -> Array:
    return np.asarray(_SCALE_MM * (1.0 - 2.0 ** (-np.arange(1, _FRETS + 1) / 12.0)))


def _row_of(z_mm: Array, y_mm: Array | float, first: float) -> Array:
    return np.asarray(_FOCAL_PX * (y_mm - _EYE_MM) / (z_mm + _BEFORE_MM) - first)


def _first_row() -> float:
    return float(np.floor(_FOCAL_PX * (-_CROWN_MM - _EYE_MM) / (_z_mm()[0] - 8.0 + _BEFORE_MM)))


def _side_view(error_mm: Array, bow_mm: float, shine: float) -> tuple[Array, Array, Array, Array]:
    """Outline of board and crowns cut along the neck: z, y, light and the board's height, near to far."""
    z = np.arange(_z_mm()[0] - 9.0, _z_mm()[-1] + 9.0, 0.004)
    along = (z - _z_mm()[0]) / (_z_mm()[-1] - _z_mm()[0])
    board = -_CROWN_MM - 4.0 * bow_mm * along * (1.0 - along)
    y = board.copy()
    light = 0.07 + 0.015 * np.sin(z / 40.0)
    for at, error in zip(_z_mm(), error_mm, strict=True):
        on = np.abs(z - at) < _HALF_CROWN_MM
        across = (z[on] - at) / _HALF_CROWN_MM
        arch = np.sqrt(1.0 - across**2)
        y[on] += (_CROWN_MM + error) * arch
        light[on] = 0.16 + shine * np.exp(-0.5 * ((across + 0.45) / 0.25) ** 2)
    return z, y, light, board


def _seen(
    error_mm: Array, bow_mm: float, shine: float, rows: int, inlays: tuple[int, ...]
) -> tuple[Array, Array]:
    """Sharp light of every part of a row; and the row of each fret's silhouette."""
    first = _first_row()
    z, y, light, board = _side_view(error_mm, bow_mm, shine)
    for fret in inlays:  # a dot between this fret and the one before it
        middle = 0.5 * (_z_mm()[fret] + _z_mm()[fret - 1])
        light[(np.abs(z - middle) < 3.0) & (y == board)] = 0.45
    row = _row_of(z, y, first)
    visible = row > np.maximum.accumulate(np.r_[-np.inf, row[:-1]])
    part = (np.arange((rows + 80) * _SUB) + 0.5) / _SUB - 40.0 - 0.5
    sharp = np.interp(part, row[visible], light[visible])
    top = np.array([row[np.abs(z - at) < _HALF_CROWN_MM].max() for at in _z_mm()])
    return sharp, top


def _blurred(sharp: Array, depth_m: Array) -> Array:
    """Every row through its own disc (by the area of a disc's slices) and the lens' Gaussian."""
    reach = np.arange(-30 * _SUB, 30 * _SUB + 1) / _SUB
    gauss = np.exp(-0.5 * (np.arange(-5 * _SUB, 5 * _SUB + 1) / _SUB / _SIGMA_PX) ** 2)
    smooth = np.convolve(sharp, gauss / gauss.sum(), mode="same")
    light = np.empty(len(depth_m))
    for row, depth in enumerate(depth_m):
        disc = max(_APERTURE_PX_M * abs(1.0 / depth - 1.0 / _FOCUS_M), 1e-3)
        edge = np.clip(np.r_[reach - 0.5 / _SUB, reach[-1] + 0.5 / _SUB] / disc, -1.0, 1.0)
        area = (edge * np.sqrt(1.0 - edge**2) + np.arcsin(edge)) / np.pi
        centre = int((row + 40.5) * _SUB)
        # Sub-rows lie half a part beside the row's middle: the mean of the two cells that touch it.
        first, stop = centre - 30 * _SUB, centre + 30 * _SUB + 1
        light[row] = np.diff(area) @ (0.5 * (smooth[first:stop] + smooth[first - 1 : stop - 1]))
    return light


def draw(
    seed: int, *, bow_mm: float = 0.2, high: tuple[int, float] | None = None, inlays: tuple[int, ...] = (),
    shine: float = 0.5,
) -> Lanes:
    """A bowed board whose frets are uneven by 0.015 mm; `high`: one fret raised; `inlays`: in two lanes."""
    rng = np.random.default_rng(seed)
    z, first = _z_mm(), _first_row()
    rows = int(_row_of(z[-1:], 0.0, first)[0]) + 12
    depth_m = _FOCAL_PX * _EYE_MM / -(np.arange(rows) + first) / 1000.0
    top = _row_of(z, 0.0, first)
    distance = z + _BEFORE_MM
    tangent = _EYE_MM / distance
    geometry = LaneGeometry(
        top, _FOCAL_PX / distance, depth_m, 1.0, _even(tangent), _even(z), tangent=tangent
    )
    errors = rng.normal(0.0, 0.015, (_LANES, _FRETS))
    if high is not None:
        errors[:, high[0]] += high[1]
    signals, truth = [], []
    for lane in range(_LANES):
        strength = shine * (0.8 + 0.4 * lane / _LANES)
        sharp, seen_top = _seen(errors[lane], bow_mm, strength, rows, inlays if lane in _DOTTED else ())
        signals.append(_blurred(sharp, depth_m) + rng.normal(0.0, _NOISE, rows))
        truth.append((seen_top - top) / geometry.rows_per_mm)
    return Lanes(np.clip(np.array(signals), 0.0, 1.0), geometry, np.array(truth))


def _even(values: Array) -> Array:
    return np.asarray((values - values.mean()) * 2.0 / np.ptp(values))


def _start() -> Blur:
    """A start that is wrong by a fifth in the aperture and a row in the disc."""
    return Blur(float(np.log(1.2 * _APERTURE_PX_M)), 1.0 / _FOCUS_M + 0.03, float(np.log(1.1)), 0.2)


def _fit(lanes: Lanes, weight: Array | None = None) -> ProfileFit:
    weights = np.ones_like(lanes.signal) if weight is None else weight
    return fit_profiles(lanes.signal, weights, lanes.geometry, _start(), iterations=8)


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
        assert found.shift_u_mm.shape == (_LANES, _FRETS)
        assert 0.001 < np.median(found.shift_u_mm) < 0.02


def test_blur_is_recovered_from_a_wrong_start(plain: list[tuple[Lanes, ProfileFit]]) -> None:
    depth_m = (_z_mm()[[0, -1]] + _BEFORE_MM) / 1000.0
    truth = _APERTURE_PX_M * np.abs(1.0 / depth_m - 1.0 / _FOCUS_M)
    for _, found in plain:
        # Lens and a small disc can stand in for each other: the whole width is what counts.
        width = np.hypot(found.blur.disc_px(depth_m) / 2.0, np.exp(found.blur.log_sigma))
        np.testing.assert_allclose(width, np.hypot(truth / 2.0, _SIGMA_PX), rtol=0, atol=0.25)


def test_model_follows_the_picture(plain: list[tuple[Lanes, ProfileFit]]) -> None:
    for lanes, found in plain:
        assert found.similarity.min() > 0.95
        assert 0.5 * _NOISE < found.residual.min() <= found.residual.max() < 4.0 * _NOISE
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
    others = np.delete(np.arange(_FRETS), 8)
    assert error[:, others].std() < 0.012
    assert np.abs(error[:, others].mean(axis=0)).max() < 0.02


def test_inlays_are_outvoted(plain: list[tuple[Lanes, ProfileFit]]) -> None:
    lanes = draw(11, inlays=(5, 7, 9))
    assert np.abs(lanes.signal - plain[0][0].signal).max() > 0.15  # they can be seen
    error, _ = _error(_fit(lanes), lanes)
    dotted = np.array(_DOTTED)
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
    others = np.delete(np.arange(_FRETS), [5, 6, 7])
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
        fit_profiles(lanes.signal, np.ones_like(lanes.signal)[1:], lanes.geometry, _start())
    with pytest.raises(ValueError, match=r"signals \(8, \d+\) and weights"):
        fit_profiles(lanes.signal[:, 1:], np.ones_like(lanes.signal)[:, 1:], lanes.geometry, _start())
