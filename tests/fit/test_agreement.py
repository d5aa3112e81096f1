"""One neck or two, and along which string a photograph was taken."""

from dataclasses import replace

import numpy as np
import pytest

from tests.fit.simulated_neck import BASS, STRINGS, TREBLE, Sim, simulate
from vision.fit.agreement import Agreement, agreement
from vision.fit.camera import CameraModel
from vision.fit.string_prior import string_radii_mm
from vision.quality import kinds_of, of_two_necks


def _agreement(one: Sim, other: Sim) -> Agreement:
    """The bass view of one simulated neck beside the treble view of the other."""
    pair = one.photos[0], other.photos[1]
    radius_mm = string_radii_mm(one.model.scale_length_mm, STRINGS)
    return agreement(one.model, pair, replace(one, photos=pair).fit(), radius_mm)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_two_views_of_one_neck_agree(seed: int) -> None:
    sim = simulate(seed, (BASS, TREBLE))
    found = _agreement(sim, sim)
    assert -10.0 < found.excess_cost < 40.0
    assert 0.45 < found.alike <= 1.0
    assert not of_two_necks(found)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_views_of_two_necks_do_not(seed: int) -> None:
    """The same curve, widths of the same make; only the uneven frets differ, by 0.008 mm."""
    found = _agreement(simulate(seed, (BASS, TREBLE)), simulate(seed + 100, (BASS, TREBLE)))
    assert 100.0 < found.excess_cost < 1000.0
    assert abs(found.alike) < 0.45
    assert of_two_necks(found)


def test_a_turned_rod_between_the_photographs_is_not_another_neck() -> None:
    """The frets are the same: whatever else differs, it is one neck."""
    assert not of_two_necks(Agreement(excess_cost=200.0, alike=0.9))
    assert not of_two_necks(Agreement(excess_cost=10.0, alike=0.1))  # frets too even to compare


@pytest.mark.parametrize(
    ("excess_cost", "alike", "two"),
    [(35.0, 0.4, False), (60.0, 0.4, True), (9.0, -0.05, True), (3.0, -0.05, False)],
)
def test_the_less_alike_the_frets_the_less_cost_is_needed(excess_cost: float, alike: float, two: bool) -> None:
    assert of_two_necks(Agreement(excess_cost, alike)) is two


def _camera(x_mm: float) -> CameraModel:
    position = np.array([x_mm, 150.0, -1000.0])
    return CameraModel(np.eye(3), -position, 8600.0, 0.0, np.zeros(2))


@pytest.mark.parametrize(
    ("x_mm", "kinds"),
    [
        ((-30.0, 25.0), ("bass", "treble")),
        ((25.0, -30.0), ("treble", "bass")),
        ((-67.0, -8.0), ("bass", "treble")),  # stood near the middle
        ((-8.0, -67.0), ("treble", "bass")),
        ((60.0, 5.0), ("treble", "bass")),
        ((-30.0, -15.0), ("bass", "bass")),  # the same string twice
        ((-90.0, -35.0), ("bass", "bass")),
        ((-30.0,), ("bass",)),
        ((-2.0,), ("bass",)),
        ((-67.0, -8.0, -30.0), ("bass", "bass", "bass")),
    ],
)
def test_the_kind_follows_from_where_the_camera_stood(x_mm: tuple[float, ...], kinds: tuple[str, ...]) -> None:
    cameras = [_camera(x) for x in x_mm]
    assert kinds_of(cameras, [False] * len(cameras), left_handed=False) == kinds
    mirrored = [_camera(-x) for x in x_mm]
    assert kinds_of(mirrored, [False] * len(cameras), left_handed=True) == kinds
    with_front = [_camera(-50.0), *cameras]
    assert kinds_of(with_front, [True, *[False] * len(cameras)], left_handed=False) == ("front", *kinds)
