"""The truth beside a photograph, from the scene's own geometry."""

from __future__ import annotations

from typing import Any

import numpy as np

from sample_images.scenes.camera import Camera
from sample_images.scenes.fret_crowns import Fretting
from sample_images.scenes.guitar import Guitar
from sample_images.scenes.neck_shape import Array, NeckShape
from sample_images.scenes.strings import string_ends_mm

STRING_POINTS = 11
SIDES = (("bass", -1.0), ("treble", 1.0))


def fret_tops_mm(neck: NeckShape, fretting: Fretting, side: float, *, as_made: bool) -> Array:
    """Tops of frets 1..N under the outer string of `side`, (N, 3); `as_made` leaves out single frets' errors.

    The point of the twisted fret that lies in the string's upright plane is found by repeated substitution.
    """
    fret_z = neck.fret_z_mm()
    tops = np.empty((neck.frets, 3))
    for index, z in enumerate(fret_z):
        wanted = float(neck.string_line_mm(side, z))
        x = wanted
        for _ in range(6):
            top = neck.place(np.float64(x), fretting.top_mm(neck, index + 1, np.float64(x), as_made=as_made), z)
            x += wanted - float(top[0])
        tops[index] = top
    return tops


def gap_to_chord_mm(tops: Array) -> Array:
    """How far each top (N, 3) lies below the straight line from the first to the last, in the upright plane, (N,)."""
    z = tops[:, 2]
    share = (z - z[0]) / (z[-1] - z[0])
    return np.asarray(tops[0, 1] + share * (tops[-1, 1] - tops[0, 1]) - tops[:, 1])


def roll_deg(bass: Array, treble: Array) -> Array:
    """Roll of each fret against fret 1, positive with the treble side higher, (N,)."""
    roll = np.rad2deg(np.arctan2(treble[:, 1] - bass[:, 1], treble[:, 0] - bass[:, 0]))
    return np.asarray(roll - roll[0])


def truth_of_photograph(guitar: Guitar, camera: Camera, name: str, shape: str) -> dict[str, Any]:
    """All that is known of a photograph; lengths mm, angles degrees, picture places px."""
    neck, fretting = guitar.neck, guitar.fretting
    hand = np.array([-1.0 if guitar.left_handed else 1.0, 1.0, 1.0])
    as_made = {label: fret_tops_mm(neck, fretting, side, as_made=True) for label, side in SIDES}
    as_are = {label: fret_tops_mm(neck, fretting, side, as_made=False) for label, side in SIDES}
    sides = {}
    for label, side in SIDES:
        smooth = gap_to_chord_mm(as_made[label])
        most = int(np.argmax(np.abs(smooth)))
        index = 0 if side < 0 else len(guitar.strings.diameter_mm) - 1
        nut, bridge = string_ends_mm(neck, guitar.strings, index)
        share = neck.fret_z_mm() / neck.scale_length_mm
        underside = nut[1] + share * (bridge[1] - nut[1]) - guitar.strings.diameter_mm[index] / 2.0
        along = nut + np.linspace(0.0, 1.0, STRING_POINTS)[:, None] * (bridge - nut)
        sides[label] = {
            "gap_to_chord_mm": _numbers(gap_to_chord_mm(as_are[label]), 5),
            "neck_gap_mm": _numbers(smooth, 5),
            "relief_mm": round(float(smooth[most]), 5),
            "relief_at_fret": most + 1,
            "neck_gap_at_fret_8_mm": round(float(smooth[7]), 5),
            "string_over_fret_mm": _numbers(underside - as_are[label][:, 1], 4),
            "fret_top_px": _places(camera.project(as_are[label] * hand)),
            "string_px": _places(camera.project(along * hand)),
        }
    roll = roll_deg(as_are["bass"], as_are["treble"])
    neck_roll = roll_deg(as_made["bass"], as_made["treble"])
    known: dict[str, Any] = {"scale_length_mm": neck.scale_length_mm, "frets": neck.frets}
    if guitar.left_handed:
        known["left_handed"] = True
    return {
        "name": name,
        "neck": name.rsplit("_", 1)[0],
        "shape": shape,
        "scale_length_mm": neck.scale_length_mm,
        "frets": neck.frets,
        "strings": len(guitar.strings.diameter_mm),
        "left_handed": guitar.left_handed,
        "board": {
            "nut_width_mm": neck.nut_width_mm,
            "width_at_12_mm": neck.width_at_12_mm,
            "radius_nut_mm": neck.radius_nut_mm,
            "radius_end_mm": neck.radius_end_mm,
            "wood": guitar.wood,
        },
        "camera": {
            "f": camera.focal_px,
            "cx": camera.centre_px[0],
            "cy": camera.centre_px[1],
            "k1": camera.k1,
            "k2": camera.k2,
            "width": camera.width_px,
            "height": camera.height_px,
            "centre": _numbers(camera.position_mm * hand, 6),
            "target": _numbers(camera.target_mm * hand, 6),
        },
        "sides": sides,
        "roll_deg": _numbers(roll, 5),
        "twist_deg": round(float(roll[-1]), 5),
        "neck_roll_deg": _numbers(neck_roll, 5),
        "neck_twist_deg": round(float(neck_roll[-1]), 5),
        "fret_height_error_mm": _numbers(fretting.height_error_mm, 5),
        "known_to_the_user": known,
    }


def _numbers(values: Array, digits: int) -> list[float]:
    return [round(float(v), digits) for v in values]


def _places(values: Array) -> list[list[float]]:
    return [[round(float(x), 3), round(float(y), 3)] for x, y in values]
