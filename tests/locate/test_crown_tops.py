"""The edge of a crown that is its top, whatever the crown mirrors."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from vision.locate.board import Board
from vision.locate.comb import Law, law_through
from vision.locate.crowns import Tones, move_to_tops
from vision.locate.ladder import Strip

FRETS = np.arange(1.0, 23.0)
CROWN_MM = 0.8  # height of the crowns in the picture
SCALE_PX = 6.0  # a millimetre across


def board() -> Board:
    """A neck seen low from the headstock's end: y falls towards the body, away from the camera."""
    slope = (52.0 - 42.0) * SCALE_PX / 2.0 / 400.0
    half, level = 21.0 * SCALE_PX, (0.0, 0.0)
    strip = Strip(0.0, (-half, slope), (half, -slope), level, level, (-700.0, -40.0), 1.0)
    return Board(strip, Law(0.0, -1000.0, 0.0))


def tones(neck: Board, crown_light: float, crown_warmth: float, wood_light: float, wood_warmth: float) -> Tones:
    """Crowns of one tone on wood of another; every crown begins at its law's line and ends nearer to the camera."""
    y = np.arange(-760.0, 0.0, 0.25)
    top = neck.law.y(FRETS)
    on_crown = np.zeros(len(y))
    for place, scale in zip(top, neck.px_per_mm(FRETS), strict=True):
        away = (y - place) / scale
        on_crown = np.maximum(on_crown, np.clip(away / 0.1 + 0.5, 0, 1) * np.clip((CROWN_MM - away) / 0.1 + 0.5, 0, 1))
    light = wood_light + (crown_light - wood_light) * on_crown
    warmth = wood_warmth + (crown_warmth - wood_warmth) * on_crown
    return Tones(y, light, light, warmth)


def off_the_tops_mm(neck: Board, seen: Tones) -> NDArray[np.float64]:
    """(N,) how far towards the camera of the true tops those are that are looked for from the middle of the crowns."""
    middle = neck.law.y(FRETS) + 0.5 * CROWN_MM * neck.px_per_mm(FRETS)
    law = move_to_tops(seen, Board(neck.strip, law_through(middle, FRETS)), FRETS, np.ones(len(FRETS)))
    return np.asarray((law.y(FRETS) - neck.law.y(FRETS)) / neck.px_per_mm(FRETS))


@pytest.mark.parametrize(
    ("crown", "wood"),
    [
        ((200.0, 120.0), (60.0, 180.0)),  # grey metal on warm wood
        ((200.0, 180.0), (60.0, 120.0)),  # a warm lamp mirrored by metal on nearly black wood
        ((80.0, 120.0), (190.0, 180.0)),  # dark metal on pale wood
    ],
)
def test_the_top_is_found_from_the_middle_of_the_crown(crown: tuple[float, float], wood: tuple[float, float]) -> None:
    neck = board()
    seen = tones(neck, *crown, *wood)
    off_mm = off_the_tops_mm(neck, seen)
    # A silhouette stands a little behind a crown's highest line; the drawing has no such crown.
    assert np.abs(off_mm - np.median(off_mm)).max() < 0.1
    assert 0.0 <= np.median(off_mm) < 0.25


def test_warmth_that_ends_before_the_foot_is_not_taken_for_the_top() -> None:
    """Colour is stored coarsely: that of a crown mirroring a lamp spreads over the board in front of its foot."""
    neck = board()
    sharp = tones(neck, 200.0, 180.0, 60.0, 120.0)
    spread, late = round(0.35 * SCALE_PX / 0.25), round(0.6 * SCALE_PX / 0.25)
    seen = replace(sharp, warm=np.roll(gaussian_filter1d(sharp.warm, spread), late))
    assert 0.0 <= np.median(off_the_tops_mm(neck, seen)) < 0.25


def test_a_lamp_mirrored_between_the_frets_is_not_taken_for_crowns() -> None:
    """On a glossy board a lamp may fill the space behind every fret but a strip of shade before its foot."""
    neck = board()
    dark = tones(neck, 80.0, 120.0, 120.0, 170.0)
    shade_mm = 0.7
    lit = np.zeros(len(dark.y))
    for near, far in zip(neck.law.y(FRETS - 1.0), neck.law.y(FRETS), strict=True):
        foot = far + (CROWN_MM + shade_mm) * neck.px_per_mm(FRETS[:1])[0]
        lit = np.maximum(lit, (dark.y > foot) & (dark.y < near))
    light = dark.grey + 100.0 * lit
    seen = Tones(dark.y, light, light, gaussian_filter1d(dark.warm - 35.0 * lit, 0.25 * SCALE_PX / 0.25))
    assert 0.0 <= np.median(off_the_tops_mm(neck, seen)) < 0.25
