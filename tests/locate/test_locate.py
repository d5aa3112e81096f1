"""Finding and numbering the frets of drawn necks: known ends come back, what cannot be told is refused."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.locate.drawn_neck import HEIGHT_PX, WIDTH_PX, Scene, neck_scene
from vision.locate import COUNT_OPEN, LocatedNeck, NotLocated, locate_neck, numbering, search
from vision.locate.result import RefusalCode, refusal
from vision.locate.search import _is_blurred
from vision.locate.tones import PictureTones


@pytest.fixture(scope="module")
def low() -> Scene:
    return neck_scene(22, 14.0, from_headstock=True)


@pytest.fixture(scope="module")
def front() -> Scene:
    return neck_scene(22, 55.0, from_headstock=False, roll_deg=6.0)


def assert_frets(answer: LocatedNeck | NotLocated, ends_px: NDArray[np.float64], share: float = 0.15) -> None:
    """Every fret within `share` of the local spacing along the neck, ends within 4 % of the width."""
    assert isinstance(answer, LocatedNeck), answer
    middle = ends_px.mean(axis=1)
    step = np.gradient(middle, axis=0)
    spacing = np.linalg.norm(step, axis=1)
    off = answer.fret_ends_px - ends_px[1:]
    along = np.einsum("nsx,nx->ns", off, step[1:] / spacing[1:, None]) / spacing[1:, None]
    # Ends of a slanting fret are compared along the neck only after taking out the slide across it.
    across = ends_px[1:, 1] - ends_px[1:, 0]
    width = np.linalg.norm(across, axis=1)
    slide = np.einsum("nsx,nx->ns", off, across / width[:, None]) / width[:, None]
    assert np.abs(along.mean(axis=1)).max() < share
    assert np.abs(slide).max() < 0.04
    assert answer.found_frets.all()
    assert 0.7 < answer.score <= 1.0
    first = np.linalg.norm(answer.nut_ends_px.mean(axis=0) - middle[0])
    assert first < 0.3 * spacing[0]


def determinant(answer: LocatedNeck) -> float:
    across = answer.fret_ends_px[10, 1] - answer.fret_ends_px[10, 0]
    along = answer.fret_ends_px[-1].mean(axis=0) - answer.fret_ends_px[0].mean(axis=0)
    return float(across[0] * along[1] - across[1] * along[0])


@pytest.mark.parametrize(
    ("frets", "elevation_deg", "from_headstock"),
    [(22, 14.0, True), (24, 12.0, False), (21, 40.0, True), (24, 70.0, False)],
)
def test_known_necks(frets: int, elevation_deg: float, from_headstock: bool) -> None:
    scene = neck_scene(frets, elevation_deg, from_headstock, roll_deg=3.0, seed=frets)
    answer = locate_neck(scene.rgb, frets)
    assert_frets(answer, scene.ends_px)
    assert isinstance(answer, LocatedNeck)
    assert determinant(answer) > 0


def test_input_unchanged_and_repeatable(low: Scene) -> None:
    before = low.rgb.copy()
    first, second = locate_neck(low.rgb, 22), locate_neck(low.rgb, 22)
    assert np.array_equal(low.rgb, before)
    assert isinstance(first, LocatedNeck)
    assert isinstance(second, LocatedNeck)
    assert np.array_equal(first.fret_ends_px, second.fret_ends_px)


def test_mirrored_picture_keeps_the_determinant_positive(low: Scene) -> None:
    mirrored = np.ascontiguousarray(low.rgb[:, ::-1])
    ends = low.ends_px[:, ::-1] * np.array([-1.0, 1.0]) + np.array([WIDTH_PX - 1.0, 0.0])
    answer = locate_neck(mirrored, 22)
    assert_frets(answer, ends)
    assert isinstance(answer, LocatedNeck)
    assert determinant(answer) > 0


def test_turned_by_a_quarter(front: Scene) -> None:
    turned = np.ascontiguousarray(np.rot90(front.rgb, -1))
    ends = np.stack([HEIGHT_PX - 1.0 - front.ends_px[..., 1], front.ends_px[..., 0]], axis=-1)
    assert_frets(locate_neck(turned, 22), ends)


def test_upside_down(low: Scene) -> None:
    turned = np.ascontiguousarray(low.rgb[::-1, ::-1])
    ends = np.array([WIDTH_PX - 1.0, HEIGHT_PX - 1.0]) - low.ends_px
    assert_frets(locate_neck(turned, 22), ends)


@pytest.mark.parametrize("stated", [21, 24])
def test_wrong_number_of_frets_is_refused(front: Scene, stated: int) -> None:
    answer = locate_neck(front.rgb, stated)
    assert isinstance(answer, NotLocated)
    assert answer.code in ("fret count", "numbering unsure")
    assert "22" in answer.reason or answer.code == "numbering unsure"


def test_a_count_left_open_holds_once_it_is_known(front: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    # With such a lead asked for, 22 of the drawn neck's frets could as well be 21.
    monkeypatch.setattr(numbering, "LEAST_LEAD", 6.0)
    alone = locate_neck(front.rgb, 22)
    assert isinstance(alone, NotLocated)
    assert alone.code == COUNT_OPEN
    assert "whether 22 or 21 frets" in alone.reason
    known = locate_neck(front.rgb, 22, counted=True)
    assert_frets(known, front.ends_px)
    assert isinstance(known, LocatedNeck)
    assert 1.0 < known.sureness < 3.0
    corners = np.array([*front.ends_px[0], front.ends_px[-1, 1], front.ends_px[-1, 0]])
    assert_frets(locate_neck(front.rgb, 22, corners_px=corners), front.ends_px)


@pytest.mark.parametrize("stated", [21, 24])
def test_a_known_count_is_still_refused_where_the_picture_speaks_against_it(front: Scene, stated: int) -> None:
    answer = locate_neck(front.rgb, stated, counted=True)
    assert isinstance(answer, NotLocated)
    assert answer.code == "fret count"
    assert "22" in answer.reason


def test_one_end_out_of_the_picture_is_refused(front: Scene) -> None:
    lowest = int(front.ends_px[12, :, 1].mean())
    upper = front.ends_px[0, :, 1].mean() < lowest
    part = front.rgb[:lowest] if upper else front.rgb[lowest:]
    answer = locate_neck(np.ascontiguousarray(part), 22)
    assert isinstance(answer, NotLocated)
    assert answer.advice


def test_heavy_blur_is_refused(low: Scene) -> None:
    answer = locate_neck(cv2.GaussianBlur(low.rgb, (0, 0), 16.0), 22)
    assert isinstance(answer, NotLocated)
    assert answer.code == "no neck"
    assert answer.reason == "Nothing in the picture is sharp."


@pytest.mark.parametrize(("sigma_px", "blurred"), [(0.0, False), (3.0, False), (16.0, True)])
def test_only_heavy_blur_is_called_blur(low: Scene, sigma_px: float, blurred: bool) -> None:
    grey = cv2.cvtColor(low.rgb, cv2.COLOR_RGB2GRAY)
    soft = cv2.GaussianBlur(grey, (0, 0), sigma_px) if sigma_px else grey
    assert _is_blurred(np.asarray(soft, dtype=np.uint8)) is blurred
    assert not _is_blurred(np.full((400, 400), 90, dtype=np.uint8))


def with_glare(scene: Scene, from_fret: int) -> NDArray[np.uint8]:
    """The frets beyond one fade into a white reflection within four frets."""
    along = np.arange(len(scene.ends_px), dtype=np.float64)
    y = scene.ends_px.mean(axis=1)[:, 1]
    order = np.argsort(y)
    number = np.interp(np.arange(HEIGHT_PX), y[order], along[order])
    share = np.clip((number - from_fret) / 4.0, 0.0, 1.0)[:, None, None]
    return np.asarray(np.rint(scene.rgb * (1.0 - share) + 250.0 * share), dtype=np.uint8)


@pytest.mark.parametrize("stated", [19, 20, 21, 22, 24])
def test_frets_lost_in_glare_are_never_counted(low: Scene, stated: int) -> None:
    for counted in (False, True):
        assert isinstance(locate_neck(with_glare(low, 13), stated, counted=counted), NotLocated)


def test_corners_by_hand(front: Scene) -> None:
    corners = np.array([*front.ends_px[0], front.ends_px[-1, 1], front.ends_px[-1, 0]])
    nudged = corners + np.random.default_rng(3).uniform(-6.0, 6.0, (4, 2))
    assert_frets(locate_neck(front.rgb, 22, corners_px=nudged), front.ends_px)


def test_corners_elsewhere_are_refused(front: Scene) -> None:
    corners = np.array([[100.0, 1300.0], [300.0, 1300.0], [300.0, 1500.0], [100.0, 1500.0]])
    answer = locate_neck(front.rgb, 22, corners_px=corners)
    assert isinstance(answer, NotLocated)
    assert answer.code == "corners contradict"


def test_wrong_number_is_refused_seen_low(low: Scene) -> None:
    for stated in (20, 21, 23, 24):
        answer = locate_neck(low.rgb, stated)
        assert isinstance(answer, NotLocated)
        assert answer.code in ("fret count", "numbering unsure")


def test_far_frets_that_hide_one_another_are_followed() -> None:
    # At 6 degrees a fret 1.1 mm high hides 10.5 mm of board; the last spaces are 11 to 14 mm long.
    scene = neck_scene(22, 6.0, from_headstock=False, seed=3)
    answer = locate_neck(scene.rgb, 22)
    assert isinstance(answer, LocatedNeck), answer
    # The open strings' end is placed at the height of the fret tops, 5 px above the drawn nut: frets only.
    middle = scene.ends_px[1:].mean(axis=1)
    spacing = np.linalg.norm(np.gradient(middle, axis=0), axis=1)
    off = np.abs(answer.fret_ends_px.mean(axis=1) - middle)[:, 1]
    assert np.max(off / spacing) < 0.3
    assert answer.found_frets.all()
    wrong = locate_neck(scene.rgb, 21)
    assert isinstance(wrong, NotLocated)
    assert wrong.code == "fret count"


@pytest.mark.parametrize(
    ("coarse", "fine", "kept", "sides"),
    [
        ("no neck", "numbering unsure", "numbering unsure", [2016, 3024]),
        ("too few frets", "not a neck", "too few frets", [2016, 3024]),
        ("fret count", "no neck", "fret count", [2016]),
    ],
)
def test_a_finer_look_where_no_neck_was_seen(
    monkeypatch: pytest.MonkeyPatch, coarse: RefusalCode, fine: RefusalCode, kept: str, sides: list[int]
) -> None:
    looked = []

    def searched(pictures: PictureTones, frets: int, side_px: int, counted: bool) -> NotLocated:
        assert not counted
        looked.append(side_px)
        return refusal(coarse if side_px == 2016 else fine, f"{frets} frets")

    monkeypatch.setattr(search, "_searched", searched)
    sharp = np.zeros((2400, 1600, 3), dtype=np.uint8)
    sharp[::40] = 255
    answer = locate_neck(sharp, 22)
    assert isinstance(answer, NotLocated)
    assert answer.code == kept
    assert looked == sides
