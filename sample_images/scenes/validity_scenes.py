"""One random neck seen from many places, in many woods and lights: what the range of validity is measured on.

Every scene photographs the same neck, so that photographs of different scenes can be put together: any pair down
the neck with any photograph from the front. Woods and lamps change the looks, never the shape.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from sample_images.scenes.camera import FrontView, LowView, Phone
from sample_images.scenes.neck_shape import Array
from sample_images.scenes.necks import LENS_52, LENS_77, NeckScene, random_necks
from sample_images.scenes.picture import Processing
from sample_images.scenes.room import Light
from sample_images.scenes.wood import Colour

FRETS = 24
MOST_NECKS_DRAWN = 200

LOW_ANGLES_DEG = (2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 11.0, 15.0, 20.0, 30.0)
FRONT_ANGLES_DEG = (25.0, 35.0, 50.0, 70.0, 88.0)
USUAL_LOW_DEG, USUAL_FRONT_DEG = 8.0, 50.0
BOARDS = {"dark": "dark brown", "middle": "baked", "pale": "pale lacquered"}

LOW_PAIR, FRONT_ALONE = ("bass", "treble"), ("front",)


def validity_scenes(seed: int) -> Iterator[tuple[NeckScene, tuple[str, ...]]]:
    """Scenes and the kinds of photograph to take of each: 35 photographs, named by what changes.

    "angle08" is the pair down the neck from 8 degrees above the board, "height50" the front from 50 degrees, both of
    the dark board in soft light; "board_pale_hard" the pair from the usual angle with another board and lamp.
    """
    usual = replace(_neck(seed), lamps=(soft_lamp(),))
    take = 0
    for angle in LOW_ANGLES_DEG:
        take += 1
        yield replace(_from_low(usual, angle), name=f"angle{angle:02.0f}", take=take), LOW_PAIR
    for angle in FRONT_ANGLES_DEG:
        take += 1
        view = FrontView(angle, 1050.0, True, 15.0, (0.02, 0.02), 2.0)
        yield replace(usual, name=f"height{angle:02.0f}", front_view=view, take=take), FRONT_ALONE
    for board, wood in BOARDS.items():
        for lamp, light in (("soft", soft_lamp()), ("hard", hard_lamp())):
            if (board, lamp) == ("dark", "soft"):
                continue  # the usual pair
            take += 1
            guitar = replace(usual.guitar, wood=wood)
            yield replace(_from_low(usual, USUAL_LOW_DEG), name=f"board_{board}_{lamp}", guitar=guitar,
                          lamps=(light,), take=take), LOW_PAIR


def _neck(seed: int) -> NeckScene:
    """The first random neck of `seed` with 24 frets, given a dark board and the usual phone, room and processing."""
    drawn = next(scene for scene in random_necks(seed, MOST_NECKS_DRAWN) if scene.guitar.neck.frets == FRETS)
    return replace(drawn, guitar=replace(drawn.guitar, wood=BOARDS["dark"]), bench="mat", daylight=0.5, phone=Phone(),
                   low_lens=LENS_77, front_lens=LENS_52, processing=Processing())


def _from_low(scene: NeckScene, angle_deg: float) -> NeckScene:
    """The two views down the neck at one angle, framed a little differently as hands do."""
    return replace(scene, bass_view=LowView(-1.0, True, angle_deg, 950.0, 6.0, (0.04, -0.02), 1.0),
                   treble_view=LowView(1.0, True, angle_deg, 980.0, 9.0, (-0.03, 0.03), -1.5))


def soft_lamp() -> Light:
    """A panel of one square metre beside and above the neck: no camera sees it mirrored in the board."""
    return _panel(np.array([-900.0, 1000.0, 240.0]), np.array([0.0, 0.0, 1000.0]),
                  1000.0 * np.array([1000.0, 900.0, 0.0]) / np.hypot(1000.0, 900.0), (4.0, 3.9, 3.7))


def hard_lamp() -> Light:
    """A small bright lamp past the body, where the board mirrors it into a camera at the usual low angle."""
    return _panel(np.array([40.0, 165.0, 1400.0]), np.array([120.0, 0.0, 0.0]), np.array([0.0, 120.0, 0.0]),
                  (60.0, 57.0, 52.0))


def _panel(middle: Array, edge_a: Array, edge_b: Array, radiance: Colour) -> Light:
    return Light(middle - edge_a / 2.0 - edge_b / 2.0, edge_a, edge_b, radiance)
