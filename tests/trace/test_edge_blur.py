"""Blur read off edges whose blur is known: steps blurred by a numerical lens, and a drawn neck."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from tests.neck_models import camera_beyond_nut, flat_neck, middle_of_picture_px
from tests.trace.drawn_neck_ends import SIGMA_PX, draw_neck
from vision.trace.blur import MASK_PX, Blur
from vision.trace.edge_blur import blur_from_edges
from vision.trace.edge_steps import S_MM, EdgeSteps, edge_steps

Array = NDArray[np.float64]

_GAPS = 20
_DEPTH_M = np.tile(np.linspace(0.9, 1.25, _GAPS), 2)  # along a neck seen from 1 m beyond its nut
_FOCAL_PX = 7500.0
_FINE_PX = 0.02
_GRAIN = 0.001  # of the mean of nine rows


def _lens(edge_px: Array, disc_px: float, sigma_px: float, sharpening: float) -> Array:
    """Light of a step from 0 to 1 at distances from it: defocus disc, Gaussian, unsharp mask, each by convolution."""
    fine = np.arange(-40.0, 40.0, _FINE_PX)
    step = (fine > 0.0).astype(np.float64)
    if disc_px > 0.1:
        reach = np.arange(-disc_px, disc_px + _FINE_PX / 2, _FINE_PX)
        chord = np.sqrt(np.clip(disc_px**2 - reach**2, 0.0, None))
        step = np.convolve(np.pad(step, len(reach) // 2, mode="edge"), chord / chord.sum(), "same")
        step = step[len(reach) // 2 : len(reach) // 2 + len(fine)]
    blurred = gaussian_filter1d(step, sigma_px / _FINE_PX, mode="nearest")
    soft = gaussian_filter1d(blurred, MASK_PX / _FINE_PX, mode="nearest")
    return np.interp(edge_px, fine, blurred + sharpening * (blurred - soft))


def _steps(
    seed: int, disc_px: Array | float, sigma_px: float, sharpening: float, height: float = 0.1, grain: float = _GRAIN
) -> EdgeSteps:
    """Both edges of a neck, each beside every gap at its own place, brighter beyond on one side only."""
    rng = np.random.default_rng(seed)
    disc = np.broadcast_to(disc_px, _DEPTH_M.shape)
    px_per_mm = _FOCAL_PX / (1000.0 * _DEPTH_M)
    side = np.repeat([0, 1], _GAPS)
    place = rng.uniform(-0.3, 0.3, len(side))
    light = np.array(
        [_lens((S_MM - p) * scale, c, sigma_px, sharpening) for p, scale, c in zip(place, px_per_mm, disc, strict=True)]
    )
    light = 0.2 + np.where(side == 0, height, -height)[:, None] * light + rng.normal(0.0, grain, light.shape)
    return EdgeSteps(light, px_per_mm, _DEPTH_M, np.tile(np.arange(_GAPS), 2), np.full(len(side), 0.5), side)


def _read(steps: EdgeSteps) -> Blur:
    found = blur_from_edges(steps)
    assert found is not None
    return found


def _thin_lens_px(aperture_px_m: float, focus_m: float) -> Array:
    """Radius of the disc: the thin-lens law (any text of optics)."""
    return np.abs(aperture_px_m * (1.0 / _DEPTH_M - 1.0 / focus_m))


@pytest.mark.parametrize(
    ("sigma_px", "sigma_within_px", "sharpening_within"),
    [(0.7, 0.03, 0.06), (1.2, 0.05, 0.1), (2.0, 0.15, 0.5)],  # wider than the mask: hardly told apart
)
def test_gaussian_blur_is_read_off(sigma_px: float, sigma_within_px: float, sharpening_within: float) -> None:
    blur = _read(_steps(1, 0.0, sigma_px, 0.0))
    assert np.exp(blur.log_sigma) == pytest.approx(sigma_px, rel=0, abs=sigma_within_px)
    assert blur.sharpening == pytest.approx(0.0, rel=0, abs=sharpening_within)
    assert blur.disc_px(_DEPTH_M).max() < 0.5 * sigma_px  # as wide as a Gaussian of a quarter of that


@pytest.mark.parametrize(("aperture_px_m", "focus_m"), [(15.0, 1.05), (20.0, 0.9), (12.0, 1.25), (40.0, 1.0)])
@pytest.mark.parametrize("sharpening", [0.0, 0.6])
def test_defocus_is_read_off_along_the_neck(aperture_px_m: float, focus_m: float, sharpening: float) -> None:
    disc = _thin_lens_px(aperture_px_m, focus_m)
    assert disc.max() > 2.0
    blur = _read(_steps(2, disc, 0.9, sharpening))
    np.testing.assert_allclose(blur.disc_px(_DEPTH_M), disc, rtol=0, atol=0.15)
    assert 1.0 / blur.focus_inv_m == pytest.approx(focus_m, rel=0, abs=0.015)
    assert np.exp(blur.log_sigma) == pytest.approx(0.9, rel=0, abs=0.08)
    assert blur.sharpening == pytest.approx(sharpening, rel=0, abs=0.15)


@pytest.mark.parametrize("sharpening", [0.0, 0.5, 1.0, 1.5])
def test_an_unsharp_mask_is_read_off(sharpening: float) -> None:
    blur = _read(_steps(3, 0.0, 0.9, sharpening))
    assert blur.sharpening == pytest.approx(sharpening, rel=0, abs=0.08)
    assert np.exp(blur.log_sigma) == pytest.approx(0.9, rel=0, abs=0.04)
    assert blur.disc_px(_DEPTH_M).max() < 0.4


def test_an_earlier_pass_is_a_start_that_leads_to_the_same_blur() -> None:
    steps = _steps(4, _thin_lens_px(15.0, 1.05), 0.9, 0.6)
    fresh = _read(steps)
    again = blur_from_edges(steps, Blur(fresh.log_aperture + 0.3, fresh.focus_inv_m, fresh.log_sigma, 0.3))
    assert again is not None
    np.testing.assert_allclose(again.vector(), fresh.vector(), rtol=0, atol=0.02)


def test_gaps_with_another_edge_beside_do_not_tell_the_blur() -> None:
    """Shadows as soft as 5 px beside every fifth gap."""
    steps, soft = _steps(5, 0.0, 0.9, 0.5), _steps(5, 0.0, 5.0, 0.0)
    light = np.where((np.arange(len(steps.light)) % 5 == 0)[:, None], soft.light, steps.light)
    clean, spoiled = _read(steps), _read(replace(steps, light=light))
    np.testing.assert_allclose(spoiled.vector()[2:], clean.vector()[2:], rtol=0, atol=0.1)
    np.testing.assert_allclose(spoiled.disc_px(_DEPTH_M), clean.disc_px(_DEPTH_M), rtol=0, atol=0.3)


def _only(steps: EdgeSteps, kept: int) -> EdgeSteps:
    """No step but in the first gaps of one side."""
    grain = np.random.default_rng(8).normal(0.2, _GRAIN, steps.light.shape)
    return replace(steps, light=np.where((np.arange(len(grain)) < kept)[:, None], steps.light, grain))


def test_no_blur_where_no_step_is_seen() -> None:
    steps = _steps(6, 0.0, 1.0, 0.5)
    assert blur_from_edges(_only(steps, 0)) is None
    assert blur_from_edges(replace(steps, light=np.full_like(steps.light, 0.2))) is None
    thin = np.exp(-0.5 * (S_MM / 0.2) ** 2) * np.ones_like(steps.light)  # a bright line is not a step
    assert blur_from_edges(replace(steps, light=0.2 + 0.3 * thin)) is None


def test_eight_gaps_are_the_fewest() -> None:
    steps = _steps(7, 0.0, 1.0, 0.5)
    assert blur_from_edges(_only(steps, 7)) is None
    sigma_px = np.exp(_read(_only(steps, 12)).log_sigma)
    assert sigma_px == pytest.approx(1.0, rel=0, abs=0.1)


@pytest.mark.parametrize(
    ("elevation_deg", "distance_mm", "focal_px", "size_px"),
    [(9.0, 1000.0, 7500.0, (760, 900)), (70.0, 900.0, 4500.0, (340, 1560))],
)
def test_a_drawn_neck_shows_its_blur(
    elevation_deg: float, distance_mm: float, focal_px: float, size_px: tuple[int, int]
) -> None:
    model, theta = flat_neck(12)
    camera = camera_beyond_nut(elevation_deg, distance_mm, focal_px, middle_of_picture_px(*size_px))
    crop = draw_neck(
        model, theta, camera, 7, lambda z, sign: 0.2 + 0.0 * z, ground=lambda z: np.full(z.shape, 0.4)
    )
    steps = edge_steps(crop, camera, model, theta, elevation_deg > 30.0)
    blur = _read(steps)
    assert np.exp(blur.log_sigma) == pytest.approx(SIGMA_PX, rel=0, abs=0.1)
    assert blur.sharpening == pytest.approx(0.0, rel=0, abs=0.25)
    # A disc of radius c spreads like a Gaussian of c / 2 (second moments): the two are told apart by it only.
    spread_px = np.hypot(np.exp(blur.log_sigma), blur.disc_px(steps.depth_m) / 2.0)
    np.testing.assert_allclose(spread_px, SIGMA_PX, rtol=0, atol=0.25)
