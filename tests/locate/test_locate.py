"""Locating a neck: synthetic necks with known fret ends, things that are no neck, misuse."""

from dataclasses import dataclass

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from vision.locate import LocatedNeck, NotLocated, locate_neck
from vision.locate.board import Board, widening
from vision.locate.comb import Law, law_through
from vision.locate.evidence import inlay_agreement
from vision.locate.ladder import Strip, strip_from_corners
from vision.locate.numbering import _first_merged
from vision.locate.search import _is_blurred

SCALE_MM, NUT_MM, TWELFTH_MM = 640.0, 42.5, 52.2
WIDTH_PX, HEIGHT_PX = 1200, 1600
DOTS = (3, 5, 7, 9, 12, 15, 17, 19, 21, 24)


@dataclass(frozen=True)
class Scene:
    rgb: NDArray[np.uint8]
    ends_px: NDArray[np.float64]  # (N + 1, 2, 2) nut and frets, side 0 = X negative


def neck_scene(
    frets: int, elevation_deg: float, from_headstock: bool, roll_deg: float = 0.0, seed: int = 1
) -> Scene:
    """A flat board with fret wires, strings and a headstock, seen by a pinhole camera above one end."""
    rng = np.random.default_rng(seed)
    k = np.arange(frets + 1)
    along = SCALE_MM * (1.0 - 2.0 ** (-k / 12.0))
    aim = np.array([0.0, 0.0, along[-1] / 2])
    back = -1.0 if from_headstock else 1.0
    lift, out = np.sin(np.deg2rad(elevation_deg)), np.cos(np.deg2rad(elevation_deg))
    eye = aim + 1500.0 * np.array([0.02, lift, back * out])
    axis = (aim - eye) / np.linalg.norm(aim - eye)
    roll = np.deg2rad(roll_deg)
    # Y is up from the board, so this turn keeps (X right, Z down) right-handed as seen from above.
    right = np.cross(axis, np.array([0.0, 1.0, 0.0]))
    right /= np.linalg.norm(right)
    down = np.cross(axis, right)
    right, down = np.cos(roll) * right + np.sin(roll) * down, np.cos(roll) * down - np.sin(roll) * right
    focal = 1500.0 * HEIGHT_PX * 0.55 / (along[-1] * max(lift, 0.45))

    def project(points: NDArray[np.float64]) -> NDArray[np.float64]:
        ray = points - eye
        depth = ray @ axis
        uv = np.stack([ray @ right, ray @ down], axis=-1) / depth[..., None]
        return focal * uv + np.array([WIDTH_PX / 2, HEIGHT_PX / 2])

    fine = 2
    noise = rng.normal(0.0, 1.0, (HEIGHT_PX // 4, WIDTH_PX // 4)).astype(np.float32)
    canvas = np.full((HEIGHT_PX * fine, WIDTH_PX * fine, 3), (118, 122, 130), dtype=np.uint8)

    def fill(corners: NDArray[np.float64], colour: tuple[int, int, int]) -> None:
        cv2.fillPoly(
            canvas, [np.round(project(corners) * fine * 16).astype(np.int32)], colour, cv2.LINE_AA, 4
        )

    def half_width(z: float) -> float:
        return 0.5 * (NUT_MM + (TWELFTH_MM - NUT_MM) * z / (SCALE_MM / 2))

    def slab(z0: float, z1: float, height: float, grow: float = 0.0) -> NDArray[np.float64]:
        a, b = half_width(z0) + grow, half_width(z1) + grow
        return np.array([[-a, height, z0], [a, height, z0], [b, height, z1], [-b, height, z1]])

    fill(slab(along[-1] + 4.0, along[-1] + 140.0, -15.0, 120.0), (60, 110, 150))
    fill(slab(-150.0, -5.0, -4.0, 8.0), (200, 165, 120))
    fill(slab(-4.0, along[-1] + 5.0, 0.0), (84, 58, 44))
    for dot in (d for d in DOTS if d <= frets):
        centre = 0.5 * (along[dot] + along[dot - 1])
        turn = np.linspace(0.0, 2 * np.pi, 24)
        for x in (-12.0, 12.0) if dot in (12, 24) else (0.0,):
            fill(
                np.stack([x + 3 * np.cos(turn), 0 * turn, centre + 3 * np.sin(turn)], axis=1), (215, 210, 200)
            )
    fill(slab(-4.5, 0.0, 1.2), (232, 228, 215))
    for z in along[1:] if back > 0 else along[:0:-1]:  # from afar, so that near frets hide far ones
        a = half_width(float(z))
        front = np.array([[-a, 1.1, z], [a, 1.1, z], [a, 0.0, z + 1.2 * back], [-a, 0.0, z + 1.2 * back]])
        fill(front, (150, 150, 152))
        fill(slab(float(z) - 0.5, float(z) + 0.5, 1.1), (205, 205, 208))
    for x in np.linspace(-1.0, 1.0, 6):
        ends = np.array([[x * 17.5, 2.0, -4.0], [x * 26.0, 3.5, SCALE_MM * 0.97]])
        a, b = np.round(project(ends) * fine).astype(int)
        cv2.line(canvas, tuple(a.tolist()), tuple(b.tolist()), (170, 168, 165), 2, cv2.LINE_AA)
    picture = cv2.resize(canvas, (WIDTH_PX, HEIGHT_PX), interpolation=cv2.INTER_AREA)
    picture = cv2.GaussianBlur(picture, (0, 0), 1.0).astype(np.float32)
    picture += 1.5 * cv2.resize(noise, (WIDTH_PX, HEIGHT_PX))[..., None]
    picture += rng.normal(0.0, 1.5, picture.shape).astype(np.float32)
    widths = np.array([half_width(float(z)) for z in along])
    tops = np.zeros((frets + 1, 2, 3))
    tops[:, 0, 0], tops[:, 1, 0] = -widths, widths
    tops[1:, :, 1], tops[:, :, 2] = 1.1, along[:, None]
    return Scene(np.clip(picture, 0, 255).astype(np.uint8), project(tops))


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
    answer = locate_neck(with_glare(low, 13), stated)
    assert isinstance(answer, NotLocated)


def test_first_slot_from_which_frets_run_together() -> None:
    clear, declining, faint = [20.0] * 12, [12.0, 8.0, 6.5], [4.0, 3.0, 2.0, 2.0, 1.0]
    fading = np.array(clear + declining + faint)
    assert _first_merged(fading, 20.0, 8, far_is_body=True) == 15
    assert _first_merged(fading[::-1], 20.0, 11, far_is_body=False) == 4
    # The board ends where its last fret stands out as clearly as the others.
    assert _first_merged(np.array(clear + faint), 20.0, 6, far_is_body=True) is None
    # A few faint ones can be bridged by the law.
    assert _first_merged(np.array([*clear, *declining, 4.0, 3.0, 9.0]), 20.0, 6, far_is_body=True) is None


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


def ladder_picture(rungs: int) -> NDArray[np.uint8]:
    picture = np.full((1400, 1000, 3), 110, dtype=np.uint8)
    for k in range(rungs):
        y = 120 + 1150 * k // (rungs - 1)
        cv2.rectangle(picture, (400, y), (600, y + 9), (200, 190, 180), -1)
    return cv2.GaussianBlur(picture, (0, 0), 1.5)


def keyboard_picture() -> NDArray[np.uint8]:
    picture = np.full((900, 1400, 3), 90, dtype=np.uint8)
    for k in range(36):
        x = 40 + k * 36
        cv2.rectangle(picture, (x, 300), (x + 33, 620), (240, 240, 235), -1)
        if k % 7 in (0, 1, 3, 4, 5):
            cv2.rectangle(picture, (x + 26, 300), (x + 46, 500), (20, 20, 20), -1)
    return cv2.GaussianBlur(picture, (0, 0), 1.5)


def brick_picture() -> NDArray[np.uint8]:
    picture = np.full((1200, 1200, 3), 150, dtype=np.uint8)
    for row in range(24):
        for column in range(-1, 9):
            x, y = column * 140 + (row % 2) * 70, row * 50
            cv2.rectangle(picture, (x, y), (x + 130, y + 42), (170, 90, 70), -1)
    return cv2.GaussianBlur(picture, (0, 0), 1.5)


@pytest.mark.parametrize(
    "picture",
    [
        ladder_picture(22),
        ladder_picture(25),
        keyboard_picture(),
        np.ascontiguousarray(np.rot90(keyboard_picture())),
        brick_picture(),
        np.full((600, 500, 3), 128, dtype=np.uint8),
        np.random.default_rng(5).integers(0, 255, (700, 600, 3), dtype=np.uint8),
    ],
    ids=["ladder22", "ladder25", "keyboard", "keyboard upright", "brick", "blank", "noise"],
)
def test_what_is_no_neck_is_refused(picture: NDArray[np.uint8]) -> None:
    answer = locate_neck(picture, 22)
    assert isinstance(answer, NotLocated)
    assert answer.reason.endswith(".")
    assert answer.advice.endswith(".")


@pytest.mark.parametrize(
    ("rgb", "message"),
    [
        (np.zeros((400, 400), dtype=np.uint8), r"rgb must be .* not uint8 \(400, 400\)"),
        (np.zeros((400, 400, 3), dtype=np.float64), r"rgb must be .* not float64"),
        (np.zeros((400, 400, 4), dtype=np.uint8), r"rgb must be .* not uint8 \(400, 400, 4\)"),
        (np.zeros((30, 40, 3), dtype=np.uint8), "rgb must be at least 200 px each way, not 40 x 30"),
        ([[1, 2, 3]], "rgb must be .* not list"),
    ],
)
def test_wrong_picture(rgb: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        locate_neck(rgb, 22)  # type: ignore[arg-type]


@pytest.mark.parametrize("frets", [11, 37, 22.5, True, "22"])
def test_wrong_frets(frets: object) -> None:
    with pytest.raises(ValueError, match=f"frets must be a whole number from 12 to 36, not {frets!r}"):
        locate_neck(np.zeros((400, 400, 3), dtype=np.uint8), frets)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "corners",
    [
        [[0, 0], [1, 1]],
        [[0, 0], [100, 0], [100, 300], [0, float("nan")]],
        [[0, 0], [100, 0], [0, 300], [100, 300]],
        [[0, 0], [100, 0], [200, 0], [100, 0]],
    ],
)
def test_wrong_corners(corners: list[list[float]]) -> None:
    with pytest.raises(ValueError, match="corners_px must"):
        locate_neck(np.zeros((400, 400, 3), dtype=np.uint8), 22, corners_px=corners)


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
    scale = Board(strip, law).mm_px(np.arange(0.0, 25.0))
    np.testing.assert_allclose(scale, 1.0, rtol=0, atol=1e-3)


def test_strip_of_corners_passes_through_them() -> None:
    corners = np.array([[100.0, 50.0], [190.0, 80.0], [60.0, 900.0], [-60.0, 860.0]])
    strip = strip_from_corners(corners)
    low, high = strip.y_range
    found = np.stack([strip.points(np.array(u), np.array([low, high])) for u in (0.0, 1.0)], axis=1)
    wanted = np.array([[corners[0], corners[1]], [corners[3], corners[2]]])
    np.testing.assert_allclose(found, wanted, rtol=0, atol=4.0)


def test_inlays_tell_the_numbering() -> None:
    numbers = np.arange(-3.0, 28.0)
    dots = np.array([40.0 * 0.9 ** abs(k) if k in DOTS else 0.3 for k in numbers])
    right = inlay_agreement(-dots, numbers)
    assert 0.9 < right <= 1.0
    for shift in (-2, -1, 1, 2):
        assert inlay_agreement(dots, numbers + shift) < right - 0.3
