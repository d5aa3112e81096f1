"""Pictures that hold no neck are refused with reason and advice; misuse names the argument."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from vision.locate import NotLocated, locate_neck


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
