"""The law of fret spacing in a picture, and what tells the nut's end and the frets' numbers."""

import numpy as np
import pytest

from tests.locate.drawn_neck import DOTS
from vision.locate.board import Board, gap_mm, widening
from vision.locate.comb import Law, law_through
from vision.locate.evidence import inlay_agreement
from vision.locate.ladder import Strip, strip_from_corners
from vision.locate.numbering import _doubtful, _least_space_mm
from vision.locate.reading import CLEAR_COHERENCE, law_of
from vision.locate.rectify import Sheet
from vision.locate.result import LocatedNeck, NotLocated
from vision.locate.search import _agreed
from vision.locate.slot_scores import _first_merged


def test_law_shift_and_reversal_are_projective() -> None:
    law = Law(100.0, 900.0, 0.4)
    k = np.arange(0.0, 25.0)
    np.testing.assert_allclose(law.renumbered(3.0).y(k), law.y(k + 3.0), rtol=0, atol=1e-9)
    np.testing.assert_allclose(law.reversed(24.0).y(k), law.y(24.0 - k), rtol=0, atol=1e-9)
    fitted = law_through(law.y(k), k)
    np.testing.assert_allclose([fitted.a, fitted.b, fitted.c], [100.0, 900.0, 0.4], rtol=0, atol=1e-4)


def test_taper_tells_the_direction() -> None:
    # A neck seen square on at 1 px a mm: 42 px wide at the nut, 52 px at fret 12, half a scale length on.
    law = Law(0.0, 640.0, 0.0)
    slope = (52.0 - 42.0) / 320.0 / 2.0
    strip = Strip(0.0, (-21.0, -slope), (21.0, slope), (0.0, 0.0), (0.0, 0.0), (0.0, 480.0), 1.0)
    assert widening(strip, law) == pytest.approx(0.4762, rel=0, abs=1e-3)
    assert widening(strip, law.reversed(22.0)) < 0
    scale = Board(strip, law).px_per_mm(np.arange(0.0, 25.0))
    np.testing.assert_allclose(scale, 1.0, rtol=0, atol=1e-3)


def test_the_space_about_a_fret_is_told_in_millimetres_whichever_way_the_law_runs() -> None:
    law, k = Law(100.0, 1920.0, 0.0), np.arange(1.0, 23.0)  # square on, 640 mm scale at 3 px a mm
    space_mm = 640.0 * (2.0 ** (-(k - 0.5) / 12.0) - 2.0 ** (-(k + 0.5) / 12.0))
    np.testing.assert_allclose(law.step_px(k), 3.0 * space_mm, rtol=0, atol=1e-9)
    np.testing.assert_allclose(law.reversed(23.0).step_px(k), -3.0 * space_mm[::-1], rtol=0, atol=1e-9)
    px_per_mm = np.full(len(k), 3.0)
    for each, expected in ((law, space_mm), (law.reversed(23.0), space_mm[::-1])):
        np.testing.assert_allclose(gap_mm(each, k, px_per_mm), expected, rtol=0, atol=1e-9)


def test_a_count_in_doubt_says_when_the_view_is_too_low_for_it() -> None:
    counted = "22 frets were stated, but the picture seems to fit 27 frets."
    doubt = _doubtful("fret count", counted, 0.9, "Seen so low, frets hide one another.")
    assert (doubt.code, doubt.score) == ("frets run together", 0.9)
    assert doubt.reason == f"Seen so low, frets hide one another. {counted}"
    assert "higher" in doubt.advice
    assert "number of frets that you stated" in doubt.advice  # 22 or 24: the statement may be wrong, not the view
    assert _doubtful("fret count", counted, 0.9, None).code == "fret count"


def test_least_space_between_tops_is_told_in_mm_at_the_neck() -> None:
    # Seen at 6 degrees at 2 px a mm, without perspective: the last space of 24 frets, 9.52 mm, is 0.995 mm high.
    law = Law(0.0, 2.0 * 640.0 * np.sin(np.deg2rad(6.0)), 0.0)
    strip = Strip(0.0, (-52.0, 0.0), (52.0, 0.0), (0.0, 0.0), (0.0, 0.0), (0.0, 100.0), 1.0)
    board = Board(strip, law)
    wide = board.px_per_mm(np.array([24.0]))[0]  # a strip without taper: pixels a mm differ along it
    assert _least_space_mm(board, np.arange(1.0, 25.0)) == pytest.approx(2.0 * 0.9946 / wide, rel=0, abs=1e-3)


def test_strip_of_corners_passes_through_them() -> None:
    corners = np.array([[100.0, 50.0], [190.0, 80.0], [60.0, 900.0], [-60.0, 860.0]])
    strip = strip_from_corners(corners)
    low, high = strip.y_range
    found = np.stack([strip.points(np.array(u), np.array([low, high])) for u in (0.0, 1.0)], axis=1)
    wanted = np.array([[corners[0], corners[1]], [corners[3], corners[2]]])
    np.testing.assert_allclose(found, wanted, rtol=0, atol=4.0)


def test_the_law_is_found_where_rungs_of_other_things_follow_it() -> None:
    rng = np.random.default_rng(4)
    law = Law(10.0, 620.0, 0.3)
    y = np.arange(10.0, 560.0)
    others = np.sort(rng.uniform(law.y(np.array([22.0]))[0] + 8.0, y[-1], 9))
    rungs = np.r_[law.y(np.arange(0.0, 23.0)), others]
    light = 60.0 + 120.0 * np.exp(-0.5 * ((y[:, None] - rungs) / 1.2) ** 2).sum(axis=1) + rng.normal(0.0, 2.0, len(y))
    sheet = Sheet(np.repeat(light[:, None], 48, axis=1), np.ones(len(y), dtype=bool), y, np.linspace(0.04, 0.96, 48))
    found = law_of(sheet)
    assert found is not None
    assert CLEAR_COHERENCE < found[1] <= 1.0
    k = np.arange(0.0, 30.0)
    places = found[0].y(k) if found[0].y(k)[1] > found[0].y(k)[0] else found[0].y(k)[::-1]
    spaces = np.diff(law.y(np.arange(2.0, 14.0)))
    nearest = np.array([np.diff(places)[np.argmin(np.abs(places[:-1] - at))] for at in law.y(np.arange(2.0, 13.0))])
    np.testing.assert_allclose(nearest, spaces, rtol=0, atol=1.5)


def test_inlays_tell_the_numbering() -> None:
    numbers = np.arange(-3.0, 28.0)
    dots = np.array([40.0 * 0.9 ** abs(k) if k in DOTS else 0.3 for k in numbers])
    right = inlay_agreement(-dots, numbers)
    assert 0.9 < right <= 1.0
    for shift in (-2, -1, 1, 2):
        assert inlay_agreement(dots, numbers + shift) < right - 0.3


def test_first_slot_from_which_frets_run_together() -> None:
    clear, declining, faint = [20.0] * 12, [12.0, 8.0, 6.5], [4.0, 3.0, 2.0, 2.0, 1.0]
    fading = np.array(clear + declining + faint)
    assert _first_merged(fading, 20.0, 8, far_is_body=True) == 15
    assert _first_merged(fading[::-1], 20.0, 11, far_is_body=False) == 4
    # The board ends where its last fret stands out as clearly as the others.
    assert _first_merged(np.array(clear + faint), 20.0, 6, far_is_body=True) is None
    # A few faint ones can be bridged by the law.
    assert _first_merged(np.array([*clear, *declining, 4.0, 3.0, 9.0]), 20.0, 6, far_is_body=True) is None


def reading(first_px: float, score: float, sureness: float) -> LocatedNeck:
    """A located neck of twelve frets 50 px apart, the first at first_px."""
    y = first_px + 50.0 * np.arange(12)
    ends = np.stack([np.column_stack([np.full(12, x), y]) for x in (100.0, 200.0)], axis=1)
    middles, nut = ends.mean(axis=1), ends[0] - np.array([0.0, 50.0])
    return LocatedNeck(ends, middles, nut, np.ones(12, dtype=bool), score, sureness, ())


def test_the_surer_of_two_readings_decides_the_numbering() -> None:
    one, other = reading(300.0, 0.98, 1.1), reading(350.0, 0.97, 4.0)
    chosen = _agreed([one, other])
    assert isinstance(chosen, LocatedNeck)
    np.testing.assert_allclose(chosen.fret_ends_px, other.fret_ends_px, rtol=0, atol=0)
    doubtful = _agreed([one, reading(350.0, 0.97, 1.6)])
    assert isinstance(doubtful, NotLocated)
    assert doubtful.code == "numbering unsure"


def test_of_readings_that_number_alike_the_first_is_taken() -> None:
    lightness, colour = reading(300.0, 0.97, 1.2), reading(304.0, 0.99, 2.0)
    chosen = _agreed([lightness, colour])
    assert isinstance(chosen, LocatedNeck)
    np.testing.assert_allclose(chosen.fret_ends_px, lightness.fret_ends_px, rtol=0, atol=0)
