"""The quick look: numbering corrected, sharpness of a known blur, what to change, what the set lacks."""

import dataclasses

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from app.looking import Look, by_side, fret_ends_of, look_at, renumbered_corners, sharpness_of, what_to_change
from app.photo_set import set_advice
from app.record.inspection import Neck
from app.sharpness import edge_blur_px
from tests.fixtures_results import WIDTH_AT_12_MM, project_px
from vision.fit.width_prior import width_prior
from vision.settings import StatedNeck

STATED = StatedNeck(647.7, 22)


def ends_px(first: int = 1, frets: int = 22) -> NDArray[np.float64]:
    """Where frets end in the fixture's front view, on a board of usual widths; fret 0 is the nut."""
    widths = width_prior(STATED, with_front=False)
    z = 647.7 * (1.0 - 2.0 ** (-np.arange(first, first + frets) / 12.0))
    half = 0.5 * (widths.nut_mm + (widths.at_12_mm - widths.nut_mm) * z / 323.85)
    points = np.stack([np.stack([s * half, np.zeros_like(z), z], axis=-1) for s in (-1, 1)], axis=1)
    return project_px(points, "front")


@pytest.mark.parametrize("shift", [-2, -1, 1, 2])
def test_one_named_fret_puts_the_whole_numbering_right(shift: int) -> None:
    """Frets numbered wrongly by `shift` give the true ends of nut and last fret, to what a plane allows."""
    wrong = ends_px(first=1 - shift)
    corners = np.array(renumbered_corners(wrong, STATED, 12, 12 - shift))
    true = np.concatenate([ends_px(0, 1)[0], ends_px(22, 1)[0, ::-1]])
    np.testing.assert_allclose(corners, true, rtol=0, atol=0.5)


def test_four_corners_give_every_fret() -> None:
    corners = np.concatenate([ends_px(0, 1)[0], ends_px(22, 1)[0, ::-1]])
    a, b, c, d = ((float(x), float(y)) for x, y in corners)
    np.testing.assert_allclose(fret_ends_of((a, b, c, d), STATED), ends_px(), rtol=0, atol=0.5)


@pytest.mark.parametrize(
    ("marked", "really", "words"),
    [(0, 12, "marked_fret=0"), (12, 23, "really_fret=23"), (1, 20, "too far from marked_fret=1")],
)
def test_impossible_numbers_are_refused(marked: int, really: int, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        renumbered_corners(ends_px(), STATED, marked, really)


def test_left_handed_sides_swap_and_come_back() -> None:
    corners = np.arange(8.0).reshape(4, 2)
    assert by_side(corners, False) is corners
    np.testing.assert_allclose(by_side(by_side(corners, True), True), corners, rtol=0, atol=0)


@pytest.mark.parametrize("sigma", [2.0, 3.0, 5.0])
def test_a_known_blur_is_found_again(sigma: float) -> None:
    """Steps between two even tones, blurred by a Gaussian: its standard deviation within a tenth."""
    picture = np.full((900, 400, 3), 60, np.uint8)
    ends = np.array([[[50.0, y], [350.0, y]] for y in (150.0, 300.0, 450.0, 600.0, 750.0)])
    for k, (left, _) in enumerate(ends):
        picture[int(left[1]) :] = 200 if k % 2 == 0 else 60
    blurred = cv2.GaussianBlur(picture, (0, 0), sigma)
    found = edge_blur_px(blurred, ends)
    np.testing.assert_allclose(found, sigma, rtol=0, atol=0.1 * sigma)


def test_an_even_picture_has_no_sharpness() -> None:
    blur = edge_blur_px(np.full((900, 1500, 3), 90, np.uint8), ends_px())
    assert np.isnan(blur).all()
    assert sharpness_of(blur, 4.0) == "cannot tell"
    with pytest.raises(ValueError, match=r"fret_ends_px=\(3, 2\)"):
        edge_blur_px(np.zeros((9, 9, 3), np.uint8), np.zeros((3, 2)))


@pytest.mark.parametrize(("blur_px", "words"), [(0.8, "sharp"), (1.6, "a little soft"), (3.0, "blurred")])
def test_sharpness_is_judged_on_the_neck_not_in_the_picture(blur_px: float, words: str) -> None:
    assert sharpness_of(np.full(22, blur_px), 4.0) == words
    assert sharpness_of(np.full(22, 2 * blur_px), 8.0) == words


def test_what_to_change_names_each_fault_once() -> None:
    all_seen = np.ones(22, bool)
    assert what_to_change(8.0, False, "sharp", 5.0, all_seen) == ()
    assert what_to_change(50.0, True, "sharp", 5.0, all_seen) == (), "a front view may be high"
    codes = [flag.code for flag in what_to_change(3.0, False, "blurred", 2.0, np.arange(22) > 1)]
    assert codes == ["too low", "blurred", "too small", "frets hidden"]
    assert [f.code for f in what_to_change(20.0, False, "sharp", 5.0, all_seen)] == ["too high"]


def test_no_picture_and_no_neck_are_looks_too() -> None:
    assert not look_at(b"no picture", "a.jpg", STATED).found
    plain = cv2.imencode(".png", np.full((800, 700, 3), 120, np.uint8))[1].tobytes()
    look = look_at(plain, "plain.png", STATED)
    assert not look.found
    assert look.reason
    assert look.picture is not None
    assert (look.width_px, look.height_px) == (700, 800)


def looks(*kinds: str | None) -> list[Look]:
    found = Look(True, 9, 9, None, "front", 8.0, "sharp")
    lost = Look(False, 9, 9, None, reason="none", advice="again")
    return [lost if kind is None else dataclasses.replace(found, kind=kind) for kind in kinds]


@pytest.mark.parametrize(
    ("kinds", "readiness", "words"),
    [
        ((), "nothing", "Add them above"),
        ((None,), "not enough", "Mark its corners"),
        (("front",), "not enough", "two looking down the neck"),
        (("bass",), "enough", "other outer string"),
        (("bass",), "enough", "three times surer"),
        (("bass", "front"), "enough", "makes twist sure."),
        (("bass", "treble"), "enough", "three times surer"),
        (("bass", None, "treble", "front"), "good", ""),
    ],
)
def test_the_set_says_what_it_lacks(kinds: tuple[str | None, ...], readiness: str, words: str) -> None:
    advice = set_advice(looks(*kinds), Neck(647.7, 22))
    assert advice.readiness == readiness
    assert words in advice.next_step
    assert ("three times surer" in advice.next_step) == ("front" not in kinds and readiness == "enough")


def test_files_that_are_no_photographs_are_not_to_be_marked_by_hand() -> None:
    unread = look_at(b"no picture", "a.jpg", STATED)
    advice = set_advice([unread], Neck(647.7, 22))
    assert (advice.readiness, advice.next_step) == ("not enough", unread.advice)
    assert "Mark its corners" in set_advice([unread, *looks(None)], Neck(647.7, 22)).next_step


def test_two_measured_widths_stand_for_the_front() -> None:
    neck = Neck(647.7, 22, nut_width_mm=42.0, width_at_12_mm=WIDTH_AT_12_MM)
    assert set_advice(looks("bass", "treble"), neck).readiness == "good"


def test_a_wrong_number_of_frets_is_what_to_change_when_it_hides_every_neck() -> None:
    miscounted = Look(False, 9, 9, None, reason="22 were stated, 24 fit.", advice="count", code="fret count")
    advice = set_advice([*looks(None), miscounted], Neck(647.7, 22))
    assert (advice.readiness, advice.text, advice.wrong_count) == ("not enough", miscounted.reason, True)
    assert not set_advice([*looks("bass"), miscounted], Neck(647.7, 22)).wrong_count
