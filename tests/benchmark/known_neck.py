"""Measuring photographs of a neck whose truth is known: spoilt copies, what is stated, and errors."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

from vision.measure import measure_neck
from vision.photo import PhotoFile
from vision.results import Measured
from vision.settings import StatedNeck

Picture = NDArray[np.uint8]
Record = dict[str, Any]
"""What a truth file holds, or one row of a table."""

SIDES = ("bass", "treble")
SPOILT_QUALITY = 95


@dataclass(frozen=True)
class Truth:
    """Relief under each outer string, mm, and twist, degrees, between fret 1 and the last fret stated."""

    relief_mm: dict[str, float]
    twist_deg: float


def truth_up_to(known: Record, frets: int) -> Truth:
    """The truth of a neck as if it ended at fret `frets`: gaps below the chord from fret 1 to that fret.

    Raises ValueError if the neck has fewer frets.
    """
    if not 2 <= frets <= known["frets"]:
        raise ValueError(f"frets={frets} is outside 2 to {known['frets']}")
    share = 1.0 - 2.0 ** (-np.arange(1, frets + 1) / 12.0)
    relief = {}
    for side in SIDES:
        gap = np.array(known["sides"][side]["neck_gap_mm"][:frets])
        below = gap - np.interp(share, share[[0, -1]], gap[[0, -1]])
        relief[side] = float(below[np.argmax(np.abs(below))])
    return Truth(relief, known["neck_roll_deg"][frets - 1] - known["neck_roll_deg"][0])


def stated_by_user(known: Record) -> StatedNeck:
    """What the user of these photographs would state; nothing else of the truth."""
    told = known["known_to_the_user"]
    return StatedNeck(told["scale_length_mm"], told["frets"], left_handed=bool(told.get("left_handed", False)))


def spoilt(data: bytes, spoil: Callable[[Picture], Picture], *, keep_camera_record: bool = True) -> bytes:
    """JPEG of the upright RGB picture after `spoil`; its EXIF goes with it unless the change makes it untrue."""
    with Image.open(io.BytesIO(data)) as stored:
        upright = ImageOps.exif_transpose(stored)
    picture = Image.fromarray(spoil(np.asarray(upright.convert("RGB"))))
    out = io.BytesIO()
    record = upright.getexif() if keep_camera_record else Image.Exif()
    picture.save(out, "JPEG", quality=SPOILT_QUALITY, exif=record)
    return out.getvalue()


def compared(photographs: dict[str, bytes], stated: StatedNeck, truth: Truth) -> Record:
    """Measure `photographs` (name: file) and compare: a row of status, errors with their u, and every reason given."""
    outcome = measure_neck([PhotoFile(data, name) for name, data in photographs.items()], stated)
    row: Record = {
        "status": outcome.status,
        "used": [photo.kind for photo in outcome.photos if photo.status == "measured"],
        "left_out": {photo.name: photo.reason for photo in outcome.photos if photo.status == "refused"},
        "flags": sorted({flag.code for photo in outcome.photos for flag in photo.flags}),
    }
    if not isinstance(outcome, Measured):
        return row | {"code": outcome.code, "reason": outcome.reason}
    row["flags"] = sorted({*row["flags"], *(flag.code for flag in outcome.flags)})
    relief = {
        curve.side: (curve.relief_mm - truth.relief_mm[curve.side], curve.relief_u_mm)
        for curve in (outcome.bass, outcome.treble)
    }
    twist = (outcome.twist.twist_deg - truth.twist_deg, outcome.twist.twist_u_deg)
    return row | {"relief": relief, "twist": twist}
