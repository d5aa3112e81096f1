"""Profiles started beside the frets' tops find them all the same, as one start alone does not."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.trace.test_profile import draw
from vision.trace.blur import Blur
from vision.trace.lane_scene import LaneGeometry
from vision.trace.profile import ProfileFit, fit_profiles
from vision.trace.profile_start import first_profile

Array = NDArray[np.float64]

_BESIDE_MM = 0.35
_USUAL = Blur(float(np.log(14.0)), 1.0 / 1.15, float(np.log(0.9)), 0.0)  # as drawn


def _lowered(geometry: LaneGeometry, by_mm: float) -> LaneGeometry:
    """Tops expected too low, by the same height at every fret."""
    return replace(geometry, top_row=geometry.top_row - by_mm * geometry.rows_per_mm)


def _found_mm(fit: ProfileFit) -> float:
    return float(np.median(fit.shift_mm))


def test_tops_are_found_from_starts_beside_them() -> None:
    lanes = draw(21)
    weights = np.ones_like(lanes.signal)
    from_tops = first_profile(lanes.signal, weights, lanes.geometry, None)
    from_below = first_profile(lanes.signal, weights, _lowered(lanes.geometry, _BESIDE_MM), None)
    assert _found_mm(from_below) - _found_mm(from_tops) == pytest.approx(_BESIDE_MM, rel=0, abs=0.1)
    assert float(from_below.residual[0]) == pytest.approx(float(from_tops.residual[0]), rel=0, abs=0.001)


def test_one_start_alone_stays_where_it_was() -> None:
    """What the starts on either side are for: the edge of a reflection explains the picture, but worse."""
    lanes = draw(21)
    geometry = _lowered(lanes.geometry, _BESIDE_MM)
    mean = lanes.signal[1:-1].mean(axis=0)
    alone = fit_profiles(mean, np.ones_like(mean), geometry, _USUAL, iterations=5)
    several = first_profile(lanes.signal, np.ones_like(lanes.signal), geometry, None)
    assert _found_mm(several) - _found_mm(alone) > 0.15
    assert float(several.residual[0]) < 0.8 * float(alone.residual[0])


def test_a_blur_that_is_known_is_kept() -> None:
    lanes = draw(22)
    found = first_profile(lanes.signal, np.ones_like(lanes.signal), lanes.geometry, _USUAL)
    assert found.blur == _USUAL
    assert found.shift_mm.shape == (1, lanes.geometry.top_row.size)


def test_from_the_front_crowns_are_found_from_beside_them() -> None:
    """A picture of bright bands on an even board: where they are is known, started a crown's width beside."""
    rows, per_mm, width_mm, frets, beside_mm = 1200, 6.0, 2.4, 12, 2.0
    top = 120.0 + 80.0 * np.arange(frets)
    row = np.arange(rows, dtype=np.float64)
    before = (top[:, None] - row) / per_mm  # mm in front of a crown's far foot
    crown = np.exp(-0.5 * ((before - 0.5 * width_mm) / 0.4) ** 2) * (np.abs(before - 0.5 * width_mm) < 0.5 * width_mm)
    lane = 0.1 + 0.6 * crown.sum(axis=0) + np.random.default_rng(23).normal(0.0, 0.002, rows)
    signals = np.tile(lane, (8, 1))
    even = np.linspace(-1.0, 1.0, frets)
    geometry = LaneGeometry(
        top - beside_mm * per_mm, np.full(frets, per_mm), np.ones(rows), 1.0, even, even,
        crown_mm=3.4, near_mm=4.5, beyond_mm=0.8,
    )
    sharp = Blur(float(np.log(0.01)), 1.0, float(np.log(0.6)), 0.0)
    found = first_profile(signals, np.ones_like(signals), geometry, sharp)
    alone = fit_profiles(lane, np.ones_like(lane), geometry, sharp, iterations=5, fit_blur=False)
    apart_mm = found.shift_mm[0] - beside_mm
    assert float(np.ptp(apart_mm)) == pytest.approx(0.0, rel=0, abs=0.1)
    assert float(np.median(np.abs(apart_mm))) < 1.0  # one flank is as good as the other, the board is not
    assert float(found.residual[0]) < 0.6 * float(alone.residual[0])
    blurred = replace(sharp, log_sigma=float(np.log(3.0)))  # px: 0.5 mm along the neck
    kept = first_profile(signals, np.ones_like(signals), geometry, blurred)
    alone = fit_profiles(lane, np.ones_like(lane), geometry, blurred, iterations=5, fit_blur=False)
    np.testing.assert_allclose(kept.shift_mm, alone.shift_mm, rtol=0, atol=1e-9)
