"""What is believed after the first fit: less where tracing contradicts camera or itself, or is known to hide."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.fit.simulated_neck import BASS, FRONT, simulate
from vision.fit.camera import view_angle_deg
from vision.fit.neck_model import middle_of
from vision.fit.observations import FretData
from vision.trace.blur import Blur
from vision.trace.doubt import with_doubt_left
from vision.trace.lanes import LANES, lane_centres
from vision.trace.photo_trace import PhotoMeasurement

Array = NDArray[np.float64]

_FRETS = 22
_ALONG = np.linspace(-1.0, 1.0, _FRETS)
_BEFORE = simulate(1, (BASS,))
_FROM_FRONT = simulate(1, (FRONT,))


def _frets() -> FretData:
    return _BEFORE.photos[0].frets


def _believed(
    shift_mm: Array,
    *,
    front: bool = False,
    reverse: bool = False,
    usable: NDArray[np.bool_] | None = None,
    blur_mm: float = 1e-12,
) -> PhotoMeasurement:
    """After lanes moved by shift_mm (LANES, N), in the order of the frets; usable (N, LANES), all if None.

    blur_mm : at the nearest fret, twice as much at the farthest, which shows half as many pixels a mm.
    """
    order = np.arange(_FRETS)[::-1] if reverse else np.arange(_FRETS)
    strip: Any = SimpleNamespace(
        front=front,
        order=order,
        top_row=np.linspace(20.0, 400.0, _FRETS),
        rows_per_mm=np.linspace(16.0, 8.0, _FRETS),
        depth_m=np.linspace(0.5, 1.0, 420),
        px_per_row=0.5,
    )
    profile: Any = SimpleNamespace(shift_mm=shift_mm[:, order])
    sim = _FROM_FRONT if front else _BEFORE
    data = sim.photos[0]
    seen = np.ones((_FRETS, LANES), dtype=bool) if usable is None else usable
    blur = Blur(-30.0, 0.0, float(np.log(blur_mm * 16.0 * 0.5)), 0.0)  # the same number of pixels everywhere
    trace = PhotoMeasurement(
        strip, (), profile, data.frets, data.ends, data.strings, seen, blur, None, data.edges
    )
    return with_doubt_left(trace, data.camera, sim.model)


def _doubted(
    shift_mm: Array, *, reverse: bool = False, usable: NDArray[np.bool_] | None = None
) -> FretData:
    return _believed(shift_mm, reverse=reverse, usable=usable).frets


def _widened(found: FretData) -> tuple[float, float, float]:
    """What was added in quadrature: to the common bend, to the drift and to the bend of a lane (mm)."""
    before = _frets()
    return (
        float(np.sqrt(found.bend_u_mm**2 - before.bend_u_mm**2)),
        float(np.sqrt(found.drift_u_mm**2 - before.drift_u_mm**2)),
        float(np.sqrt(found.lane_bend_u_mm**2 - before.lane_bend_u_mm**2)),
    )


@pytest.mark.parametrize("bend_mm", [-0.04, 0.02])
@pytest.mark.parametrize("reverse", [False, True])
def test_a_common_bend_adds_in_quadrature(bend_mm: float, reverse: bool) -> None:
    lanes = np.tile(0.03 + 0.05 * _ALONG + bend_mm * _ALONG**2, (LANES, 1))
    bend, drift, lane_bend = _widened(_doubted(lanes, reverse=reverse))
    assert bend == pytest.approx(abs(bend_mm), rel=0, abs=1e-9)
    assert drift == pytest.approx(0.0, rel=0, abs=1e-7)
    assert lane_bend == pytest.approx(0.0, rel=0, abs=1e-7)


def test_one_odd_lane_does_not_tell_the_common_bend() -> None:
    lanes = np.zeros((LANES, _FRETS))
    lanes[0] += 0.5 * _ALONG**2
    assert _widened(_doubted(lanes))[0] == pytest.approx(0.0, rel=0, abs=1e-9)


def test_what_turns_the_neck_is_no_doubt() -> None:
    """Twist, and a bow that differs from side to side, move lanes in proportion to their place across the neck."""
    place = lane_centres()[:, None]
    turned = 0.1 + 0.2 * _ALONG + place * (0.02 + 0.3 * _ALONG + 0.1 * _ALONG**2)
    _, drift, lane_bend = _widened(_doubted(turned))
    assert drift == pytest.approx(0.0, rel=0, abs=1e-6)
    assert lane_bend == pytest.approx(0.0, rel=0, abs=1e-6)


@pytest.mark.parametrize("reverse", [False, True])
@pytest.mark.parametrize(("drift_mm", "bend_mm"), [(0.1, 0.0), (0.0, 0.05), (-0.08, 0.03)])
def test_one_odd_lane_widens_what_it_shows(drift_mm: float, bend_mm: float, reverse: bool) -> None:
    odd = LANES // 2
    lanes = np.zeros((LANES, _FRETS))
    lanes[odd] = drift_mm * _ALONG + bend_mm * _ALONG**2
    _, drift, lane_bend = _widened(_doubted(lanes, reverse=reverse))
    place = lane_centres()
    leverage = 1.0 / LANES + (place[odd] - place.mean()) ** 2 / np.sum((place - place.mean()) ** 2)
    share = np.sqrt((1.0 - leverage) / (LANES - 2))  # of one residual about a line, as a standard deviation
    assert drift == pytest.approx(share * abs(drift_mm), rel=0, abs=1e-6)
    assert lane_bend == pytest.approx(share * abs(bend_mm), rel=0, abs=1e-6)
    assert 0.2 < share < 0.5


def test_scatter_of_lanes_is_that_which_was_drawn() -> None:
    rng = np.random.default_rng(17)
    drift_u_mm, bend_u_mm = 0.05, 0.02
    found = []
    for _ in range(200):
        drift, bend = drift_u_mm * rng.normal(size=(LANES, 1)), bend_u_mm * rng.normal(size=(LANES, 1))
        found.append(_widened(_doubted(drift * _ALONG + bend * _ALONG**2))[1:])
    spread = np.sqrt(np.mean(np.square(found), axis=0))
    np.testing.assert_allclose(spread / [drift_u_mm, bend_u_mm], 1.0, rtol=0, atol=0.1)


def test_stretches_that_are_not_usable_say_nothing() -> None:
    lanes = np.zeros((LANES, _FRETS))
    lanes[3, 15:] = 5.0
    usable = np.ones((_FRETS, LANES), dtype=bool)
    usable[15:, 3] = False
    _, drift, lane_bend = _widened(_doubted(lanes, usable=usable))
    assert drift == pytest.approx(0.0, rel=0, abs=1e-6)
    assert lane_bend == pytest.approx(0.0, rel=0, abs=1e-6)
    assert _widened(_doubted(lanes))[1] > 0.5


def test_too_few_lanes_are_not_judged() -> None:
    rng = np.random.default_rng(18)
    lanes = 0.1 * rng.normal(size=(LANES, 1)) * _ALONG
    usable = np.ones((_FRETS, LANES), dtype=bool)
    usable[8:, 4:] = False  # eight frets do not tell a drift, four lanes do not tell a scatter
    before, found = _frets(), _doubted(lanes, usable=usable)
    assert found.drift_u_mm == before.drift_u_mm
    assert found.lane_bend_u_mm == before.lane_bend_u_mm


def test_from_the_front_the_slant_widens_and_not_the_shifts() -> None:
    """Seen aslant, a mark on a crown's flank stands beside its top; how far, goes with the cotangent of the slant."""
    lanes = np.tile(0.2 * _ALONG**2, (LANES, 1))
    lanes[0] += 0.3 * _ALONG
    photo = _FROM_FRONT.photos[0]
    before, found = photo.frets, _believed(lanes, front=True).frets
    slant = 1.0 / np.tan(np.radians(view_angle_deg(photo.camera, middle_of(_FROM_FRONT.model))))
    assert 0.5 < slant < 0.65  # from 60 degrees
    assert found.bend_u_mm - before.bend_u_mm == pytest.approx(0.1 * slant, rel=0, abs=1e-9)
    assert found.lane_bend_u_mm - before.lane_bend_u_mm == pytest.approx(0.02 * slant, rel=0, abs=1e-9)
    assert found.drift_u_mm == before.drift_u_mm


def test_marks_seen_from_the_front_wander_from_fret_to_fret() -> None:
    before, found = _FROM_FRONT.photos[0].frets, _believed(np.zeros((LANES, _FRETS)), front=True).frets
    np.testing.assert_allclose(np.sqrt(found.u_px**2 - before.u_px**2), 0.2, rtol=0, atol=1e-9)
    np.testing.assert_array_equal(found.point_px, before.point_px)
    edges = _doubted(np.zeros((LANES, _FRETS)))  # tops seen as edges, and sharp ones
    np.testing.assert_array_equal(edges.u_px, _frets().u_px)


@pytest.mark.parametrize("reverse", [False, True])
def test_blurred_tops_are_doubted_and_the_farthest_once_more(reverse: bool) -> None:
    before, found = _frets(), _believed(np.zeros((LANES, _FRETS)), reverse=reverse, blur_mm=0.24).frets
    factor = found.u_px / before.u_px
    nearest, farthest = (_FRETS - 1, 0) if reverse else (0, _FRETS - 1)
    np.testing.assert_allclose(factor[before.fret == nearest], 1.25, rtol=0, atol=1e-9)  # 1 + (0.24 / 0.48)^2
    np.testing.assert_allclose(factor[before.fret == farthest], 2.0**2, rtol=0, atol=1e-9)
    by_fret = np.array([factor[before.fret == k].mean() for k in range(_FRETS)])
    assert np.all(np.diff(by_fret[::-1] if reverse else by_fret) > 0.0)
    np.testing.assert_array_equal(found.point_px, before.point_px)


def test_blur_is_no_doubt_of_marks_from_the_front() -> None:
    sharp, blurred = (_believed(np.zeros((LANES, _FRETS)), front=True, blur_mm=b).frets for b in (1e-12, 0.5))
    np.testing.assert_array_equal(blurred.u_px, sharp.u_px)


@pytest.mark.parametrize("front", [False, True])
def test_ends_and_strings_may_drift(front: bool) -> None:
    photo = (_FROM_FRONT if front else _BEFORE).photos[0]
    found = _believed(np.zeros((LANES, _FRETS)), front=front)
    assert np.sqrt(found.ends.drift_u_mm**2 - photo.ends.drift_u_mm**2) == pytest.approx(0.06, rel=0, abs=1e-9)
    assert found.ends.bend_u_mm == photo.ends.bend_u_mm
    added_px = np.sqrt(found.string_data.u_px**2 - photo.strings.u_px**2)
    np.testing.assert_allclose(added_px, 0.15, rtol=0, atol=1e-9)
    np.testing.assert_array_equal(found.string_data.point_px, photo.strings.point_px)
