"""Edges of the board found on a drawn neck whose edges are known."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from tests.neck_models import camera_beyond_nut, flat_neck, middle_of_picture_px
from tests.trace.drawn_neck_ends import FOOT_TO_EDGE_MM, GRAIN, SIGMA_PX, Along, draw_neck
from vision.fit.camera import CameraModel, project_with_derivatives
from vision.fit.neck_model import EDGE_OUT_MM, NeckModel, edge_points
from vision.fit.observations import EdgeData
from vision.trace.blur import Blur
from vision.trace.board_edges import edge_data
from vision.trace.edge_steps import STEP_MM, edge_steps
from vision.trace.strip import LightCrop

Array = NDArray[np.float64]

BRIGHT, USUAL, DARK = 0.4, 0.16, 0.0  # beyond a board of 0.07
_MIDDLE_MM, _HALF_MM = 180.0, 144.0
_BLUR = Blur(np.log(0.01), 0.0, float(np.log(SIGMA_PX)), 0.0)


@dataclass(frozen=True)
class View:
    elevation_deg: float
    distance_mm: float
    focal_px: float
    size_px: tuple[int, int]  # width, height
    sideways_mm: float = 0.0
    middle_mm: float = _MIDDLE_MM

    @property
    def front(self) -> bool:
        return self.elevation_deg > 30.0

    @property
    def camera(self) -> CameraModel:
        return camera_beyond_nut(
            self.elevation_deg, self.distance_mm, self.focal_px, middle_of_picture_px(*self.size_px),
            middle_mm=self.middle_mm, sideways_mm=self.sideways_mm,
        )


LOW, FRONT = View(9.0, 1000.0, 7500.0, (760, 900)), View(70.0, 900.0, 4500.0, (340, 1560))


def _even(z_mm: Array, sign: float) -> Array:
    return EDGE_OUT_MM + 0.15 * sign + 0.0 * z_mm


def _tilted(z_mm: Array, sign: float) -> Array:
    return EDGE_OUT_MM + (0.12 * sign - 0.03) * (z_mm - _MIDDLE_MM) / _HALF_MM


def _bowed(bow_mm: float) -> Along:
    """Only the side of sign -1 bows outwards."""

    def edge_mm(z_mm: Array, sign: float) -> Array:
        arch = 1.0 - ((z_mm - _MIDDLE_MM) / _HALF_MM) ** 2
        return EDGE_OUT_MM + (bow_mm if sign < 0 else 0.0) * arch

    return edge_mm


def _drawn(
    view: View, edge_mm: Along, ground: Callable[[Array], Array] | float, frets: int = 12
) -> tuple[NeckModel, EdgeData]:
    model, theta = flat_neck(frets)
    light = ground if callable(ground) else lambda z: np.full(z.shape, ground)
    crop = draw_neck(
        model, theta, view.camera, 7, lambda z, sign: edge_mm(z, sign) - FOOT_TO_EDGE_MM, edge_mm=edge_mm, ground=light
    )
    return model, _found(crop, view, model, theta)


def _found(crop: LightCrop, view: View, model: NeckModel, theta: Array) -> EdgeData:
    steps = edge_steps(crop, view.camera, model, theta, view.front)
    return edge_data(steps, _BLUR, view.camera, model, theta, view.front)


def _outwards_mm(view: View, model: NeckModel, theta: Array, found: EdgeData) -> tuple[Array, Array]:
    """How far outwards of the ends of the frets every point lies, and where along the neck (mm)."""
    points, _ = edge_points(model, theta, found.gap, found.share, found.side)
    image, _, by_point = project_with_derivatives(points, view.camera)
    outwards = by_point[:, :, 0] * np.where(found.side == 0, -1.0, 1.0)[:, None]
    off = np.sum((found.point_px - image) * outwards, axis=1) / np.sum(outwards**2, axis=1)
    return EDGE_OUT_MM + off, points[:, 2]


def _error_mm(view: View, edge_mm: Along, model: NeckModel, found: EdgeData) -> tuple[Array, Array]:
    """Error of every point, and where along the neck it lies, -1 to 1."""
    _, theta = flat_neck(model.frets)
    seen, z_mm = _outwards_mm(view, model, theta, found)
    truth = np.where(found.side == 0, edge_mm(z_mm, -1.0), edge_mm(z_mm, 1.0))
    return seen - truth, (z_mm - _MIDDLE_MM) / _HALF_MM


@pytest.mark.parametrize("view", [LOW, FRONT], ids=["low", "front"])
@pytest.mark.parametrize(
    ("ground", "mean_mm", "slope_mm", "each_mm"), [(BRIGHT, 0.005, 0.01, 0.03), (USUAL, 0.015, 0.025, 0.08)]
)
@pytest.mark.parametrize("edge_mm", [_even, _tilted])
def test_edges_are_found_to_a_few_hundredths_of_a_millimetre(
    view: View, edge_mm: Along, ground: float, mean_mm: float, slope_mm: float, each_mm: float
) -> None:
    """The brighter crowns beside the edge must not bleed into it: that would move it farther, the farther it is."""
    model, found = _drawn(view, edge_mm, ground)
    np.testing.assert_array_equal(np.bincount(found.side), [11, 11])
    error, along = _error_mm(view, edge_mm, model, found)
    np.testing.assert_allclose(error, 0.0, rtol=0, atol=each_mm)
    for side in (0, 1):
        slope, level = np.polyfit(along[found.side == side], error[found.side == side], 1)
        assert level == pytest.approx(0.0, rel=0, abs=mean_mm)
        assert slope == pytest.approx(0.0, rel=0, abs=slope_mm)
    assert 0.025 <= found.drift_u_mm.min() <= found.drift_u_mm.max() < 0.05
    assert 0.015 <= found.bend_u_mm.min() <= found.bend_u_mm.max() < 0.05
    np.testing.assert_allclose(np.hypot(*found.normal.T), 1.0, rtol=0, atol=1e-12)


@pytest.mark.parametrize(("sideways_mm", "side"), [(-24.0, 0), (24.0, 1)])
def test_the_far_side_of_a_low_view_is_left_out(sideways_mm: float, side: int) -> None:
    """Seen from above the other side, a rounded edge is its own horizon."""
    view = View(9.0, 1000.0, 7500.0, (760, 900), sideways_mm)
    model, found = _drawn(view, _even, BRIGHT)
    np.testing.assert_array_equal(found.side, np.full(11, side))
    np.testing.assert_allclose(_error_mm(view, _even, model, found)[0], 0.0, rtol=0, atol=0.03)


@pytest.mark.parametrize("view", [LOW, FRONT], ids=["low", "front"])
def test_a_bowed_edge_is_no_edge_of_a_board(view: View) -> None:
    _, found = _drawn(view, _bowed(0.12), BRIGHT)
    np.testing.assert_array_equal(found.side, np.full(11, 1))


@pytest.mark.parametrize("bow_mm", [-0.04, 0.04])
def test_a_slight_bow_is_believed_no_straighter_than_it_is(bow_mm: float) -> None:
    _, found = _drawn(FRONT, _bowed(bow_mm), BRIGHT)
    np.testing.assert_array_equal(np.bincount(found.side), [11, 11])
    assert found.bend_u_mm[0] == pytest.approx(np.hypot(0.015, bow_mm), rel=0, abs=0.01)
    assert found.bend_u_mm[1] == pytest.approx(0.015, rel=0, abs=0.005)


def test_another_edge_far_from_the_ends_of_the_frets_is_left_out() -> None:
    _, near = _drawn(FRONT, lambda z, sign: EDGE_OUT_MM + 0.3 + 0.0 * z, BRIGHT)
    _, far = _drawn(FRONT, lambda z, sign: EDGE_OUT_MM + 0.6 + 0.0 * z, BRIGHT)
    assert len(near.gap) == 22
    assert len(far.gap) == 0


def test_single_gaps_that_step_aside_are_left_out() -> None:
    """A shadow or a chip beside the third and the seventh gap of the treble side."""
    model, _ = flat_neck(12)

    def chipped(z_mm: Array, sign: float) -> Array:
        gap = np.searchsorted(model.z_mm, z_mm) - 1
        return _even(z_mm, sign) - np.where(np.isin(gap, [2, 6]) & (sign > 0), 0.3, 0.0)

    _, found = _drawn(FRONT, chipped, BRIGHT)
    np.testing.assert_array_equal(found.gap[found.side == 0], np.arange(11))
    np.testing.assert_array_equal(found.gap[found.side == 1], np.delete(np.arange(11), [2, 6]))


def test_a_background_that_turns_from_darker_to_brighter_gives_one_contrast() -> None:
    """The two contrasts of a rounded edge stand at different places: only the more frequent one is used."""
    view = View(70.0, 900.0, 4500.0, (340, 2200), middle_mm=250.0)

    def ground(z_mm: Array) -> Array:
        return np.where(z_mm < 215.0, DARK, USUAL)

    model, found = _drawn(view, _even, ground, frets=22)
    for side in (0, 1):
        np.testing.assert_array_equal(found.gap[found.side == side], np.arange(6, 21))
    np.testing.assert_allclose(_error_mm(view, _even, model, found)[0], 0.0, rtol=0, atol=0.1)
    for light in (DARK, USUAL):  # either alone is good enough
        _, everywhere = _drawn(view, _even, light, frets=22)
        assert len(everywhere.gap) >= 40


def test_gaps_as_soft_as_a_shadow_are_left_out() -> None:
    """Where the edge is expected and along one line with the others, but no edge of that photograph's blur."""
    model, theta = flat_neck(12)
    crop = draw_neck(
        model, theta, FRONT.camera, 7, lambda z, sign: _even(z, sign) - FOOT_TO_EDGE_MM, edge_mm=_even,
        ground=lambda z: np.full(z.shape, BRIGHT),
    )
    steps = edge_steps(crop, FRONT.camera, model, theta, True)
    soft_px = 5.0
    sigma = soft_px / (steps.px_per_mm.mean() * STEP_MM)
    light = np.where(np.isin(steps.gap, [2, 6])[:, None], gaussian_filter1d(steps.light, sigma, axis=1), steps.light)
    found = edge_data(replace(steps, light=light), _BLUR, FRONT.camera, model, theta, True)
    for side in (0, 1):
        np.testing.assert_array_equal(found.gap[found.side == side], np.delete(np.arange(11), [2, 6]))


@pytest.mark.parametrize("view", [LOW, FRONT], ids=["low", "front"])
def test_an_even_picture_gives_none(view: View) -> None:
    model, theta = flat_neck(12)
    light = np.random.default_rng(3).normal(0.2, GRAIN, view.size_px[::-1]).astype(np.float32)
    found = _found(LightCrop(light, np.zeros(2)), view, model, theta)
    assert len(found.gap) == len(found.point_px) == len(found.u_px) == 0
    assert found.drift_u_mm.shape == found.bend_u_mm.shape == (2,)


def test_a_low_view_is_believed_less_than_the_front() -> None:
    """It sees the rounding of the edge from another side."""
    (_, low), (_, front) = (_drawn(view, _even, BRIGHT) for view in (LOW, FRONT))
    assert 0.03 < front.offset_u_mm < low.offset_u_mm < 0.3
