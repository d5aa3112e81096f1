"""The blur law: area, width and symmetry of the line spread, and the thin-lens law along the neck."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import fftconvolve
from scipy.stats import norm

from vision.trace.blur import MASK_PX, Blur, blur_matrix, edge_spread, line_spread

Array = NDArray[np.float64]

_STEP_PX = 0.02
_OFFSET = np.arange(-2000, 2001) * _STEP_PX


def _spread(disc_px: float, sigma_px: float, sharpening: float = 0.0) -> Array:
    return line_spread(_OFFSET[None, :], np.array([[disc_px]]), sigma_px, sharpening)[0]


@pytest.mark.parametrize("disc_px", [0.0, 0.7, 3.0, 11.0])
@pytest.mark.parametrize("sharpening", [0.0, 0.6])
def test_area_is_one_and_both_sides_are_alike(disc_px: float, sharpening: float) -> None:
    spread = _spread(disc_px, 1.1, sharpening)
    assert spread.sum() * _STEP_PX == pytest.approx(1.0, rel=0, abs=2e-3)
    # The table's grid need not be centred: alike to its interpolation error.
    np.testing.assert_allclose(spread, spread[::-1], rtol=0, atol=0.004 * spread.max())


@pytest.mark.parametrize("disc_px", [0.0, 1.0, 4.0, 10.0])
@pytest.mark.parametrize("sigma_px", [0.8, 1.5])
def test_second_moment_is_that_of_disc_and_lens(disc_px: float, sigma_px: float) -> None:
    # A uniform disc of radius r seen along one direction has variance r^2 / 4; variances add.
    spread = _spread(disc_px, sigma_px)
    variance = np.sum(_OFFSET**2 * spread) / spread.sum()
    assert variance == pytest.approx(disc_px**2 / 4.0 + sigma_px**2, rel=0, abs=0.01 + 0.002 * disc_px**2)


def test_a_wide_disc_is_a_semicircle_convolved_with_the_lens() -> None:
    disc, sigma = 4.0, 1.5
    semicircle = np.sqrt(np.clip(disc**2 - _OFFSET**2, 0.0, None)) * 2.0 / (np.pi * disc**2)
    gauss = np.exp(-0.5 * (_OFFSET / sigma) ** 2) / (sigma * np.sqrt(2.0 * np.pi))
    expected = fftconvolve(semicircle, gauss, mode="same") * _STEP_PX
    np.testing.assert_allclose(_spread(disc, sigma), expected, rtol=0, atol=0.01 * expected.max())


@pytest.mark.parametrize("disc_px", [0.0, 0.7, 3.0, 11.0])
@pytest.mark.parametrize("sharpening", [0.0, 0.6])
def test_a_blurred_step_rises_as_the_line_spread_says(disc_px: float, sharpening: float) -> None:
    step = edge_spread(_OFFSET, np.full(len(_OFFSET), disc_px), 1.1, sharpening)
    summed = (np.cumsum(_spread(disc_px, 1.1, sharpening)) - 0.5 * _spread(disc_px, 1.1, sharpening)) * _STEP_PX
    np.testing.assert_allclose(step, summed, rtol=0, atol=3e-3)
    assert step[[0, len(step) // 2, -1]] == pytest.approx([0.0, 0.5, 1.0], rel=0, abs=1e-6)


@pytest.mark.parametrize("sigma_px", [0.5, 1.1])
def test_a_step_in_focus_is_the_sum_of_two_error_functions(sigma_px: float) -> None:
    mask_px = np.hypot(sigma_px, MASK_PX)
    expected = 1.6 * norm.cdf(_OFFSET / sigma_px) - 0.6 * norm.cdf(_OFFSET / mask_px)
    step = edge_spread(_OFFSET, np.zeros(len(_OFFSET)), sigma_px, 0.6)
    np.testing.assert_allclose(step, expected, rtol=0, atol=1e-4)


def test_sharpening_narrows_and_overshoots_without_changing_the_level() -> None:
    soft, sharp = _spread(0.0, 1.0), _spread(0.0, 1.0, 0.8)
    assert 1.05 < sharp.max() / soft.max() < 1.8
    assert -0.2 < sharp.min() / sharp.max() < -0.005
    assert soft.min() >= 0.0


def test_thin_lens_law() -> None:
    # Disc radius goes with |1/D - 1/D_focus|: 12 px m, focus 1.25 m.
    blur = Blur(float(np.log(12.0)), 0.8, 0.0, 0.0)
    disc = blur.disc_px(np.array([1.25, 1.0, 5.0 / 3.0, 2.5]))
    np.testing.assert_allclose(disc, [0.0, 2.4, 2.4, 4.8], rtol=0, atol=1e-9)


def test_the_discs_of_a_picture_stay_when_its_depths_are_taken_for_twice_as_large() -> None:
    blur = Blur(float(np.log(12.0)), 0.8, -0.3, 0.6)
    depth_m = np.array([1.0, 1.25, 2.5])
    np.testing.assert_allclose(blur.moved(2.0).disc_px(2.0 * depth_m), blur.disc_px(depth_m), rtol=0, atol=1e-9)
    np.testing.assert_allclose(blur.moved(2.0).vector()[2:], [-0.3, 0.6], rtol=0, atol=0)


def test_parameters_go_round() -> None:
    blur = Blur(1.0, 0.9, -0.2, 0.4)
    changed = blur.with_vector(blur.vector() + np.array([0.1, 0.2, 0.3, 0.4]))
    np.testing.assert_allclose(changed.vector(), [1.1, 1.1, 0.1, 0.8], rtol=0, atol=1e-12)


def test_operator_keeps_the_level_and_blurs_an_edge_by_the_depth() -> None:
    rows, fine = np.arange(0.0, 120.0), np.arange(-40.0, 160.0, 1.0 / 3.0)
    depth = np.linspace(1.0, 1.5, len(rows))
    blur = Blur(float(np.log(10.0)), 1.0, float(np.log(0.9)), 0.0)  # sharp at the near end
    operator = blur_matrix(rows, fine, 1.0, depth, blur)
    assert operator.shape == (len(rows), len(fine))
    np.testing.assert_allclose(operator @ np.ones(len(fine)), 1.0, rtol=0, atol=2e-3)
    widths = []
    for edge in (20.0, 100.0):
        seen = operator @ (fine > edge + 1.0 / 6.0).astype(float)
        spread = np.gradient(seen)
        mean = np.sum(rows * spread) / spread.sum()
        # Half a fine row below the first bright one lies the sharp edge.
        assert mean == pytest.approx(edge + 1.0 / 6.0, rel=0, abs=0.05)
        widths.append(float(np.sqrt(np.sum((rows - mean) ** 2 * spread) / spread.sum())))
    at = blur.disc_px(depth[[20, 100]])
    # np.gradient averages over two rows, which adds a variance of half a row squared.
    np.testing.assert_allclose(widths, np.sqrt(at**2 / 4.0 + 0.81 + 0.5), rtol=0, atol=0.12)
    assert widths[1] - widths[0] > 0.2


def test_operator_measures_in_picture_pixels() -> None:
    """Rows of half a pixel see the same blur twice as many rows wide."""
    rows, fine = np.arange(0.0, 160.0), np.arange(-40.0, 200.0, 1.0 / 3.0)
    blur = Blur(float(np.log(1e-3)), 1.0, float(np.log(2.0)), 0.0)
    widths = []
    for px_per_row in (1.0, 0.5):
        row = blur_matrix(rows, fine, px_per_row, np.full(len(rows), 1.0), blur).toarray()[80]
        widths.append(float(np.sqrt(np.sum(row * (fine - 80.0) ** 2))))
    np.testing.assert_allclose(widths, [2.0, 4.0], rtol=0, atol=0.15)


def test_blur_at_the_tops_is_that_of_their_depth_in_their_scale() -> None:
    blur = Blur(float(np.log(10.0)), 1.0, float(np.log(0.8)), 0.5)
    depth_m = np.linspace(0.5, 1.5, 101)  # of rows; in focus at 1 m
    found = blur.spread_mm(np.array([0.0, 50.0, 75.5]), np.array([20.0, 10.0, 8.0]), depth_m, 0.5)
    disc_px = 10.0 * np.abs(1.0 / np.array([0.5, 1.0, 1.255]) - 1.0)
    expected = np.hypot(disc_px / 2.0, 0.8) / np.array([10.0, 5.0, 4.0])
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-12)
    assert found[1] < found[2] < found[0]
