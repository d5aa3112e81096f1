"""The sample photographs and what their necks were rendered from."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vision.photo import Photograph, Unreadable, decode_photograph
from vision.settings import StatedNeck

Array = NDArray[np.float64]

NECKS = ("forward_bow", "back_bow", "twist")
KINDS = ("bass", "treble", "front")
SAMPLES = Path(__file__).resolve().parent.parent / "sample_images"


@dataclass(frozen=True)
class Truth:
    """What a neck was rendered from: relief and smooth gap of either side, twist, and what the user knows."""

    relief_mm: dict[str, float]
    gap_mm: dict[str, Array]
    twist_deg: float
    stated: StatedNeck


def truth_of(neck: str) -> Truth:
    record = json.loads((SAMPLES / f"{neck}_bass.json").read_text())
    sides = record["sides"]
    return Truth(
        {side: float(sides[side]["relief_mm"]) for side in ("bass", "treble")},
        {side: np.array(sides[side]["neck_gap_mm"]) for side in ("bass", "treble")},
        float(record["neck_twist_deg"]), StatedNeck(record["scale_length_mm"], record["frets"]),
    )


def photograph(neck: str, kind: str) -> Photograph:
    name = f"{neck}_{kind}.jpg"
    decoded = decode_photograph((SAMPLES / name).read_bytes(), name)
    assert isinstance(decoded, Photograph)
    return decoded


def photographs(neck: str, kinds: Sequence[str] = KINDS) -> list[Photograph | Unreadable]:
    return [photograph(neck, kind) for kind in kinds]
