"""What a measurement returns: frozen records of value, standard uncertainty, flags and provenance.

Units and frames: lengths mm in the frame of the neck, image points (x, y) px in the upright full-size
photograph with pixel centres at integers, angles degrees, uncertainties 1 sigma (JCGM 100).
Arrays over frets have N entries, entry i belonging to fret i + 1. Bass and treble are the player's words:
for a left-handed guitar they have already been swapped.
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Side = Literal["bass", "treble"]
PhotoKind = Literal["bass", "treble", "front"]
Shape = Literal[
    "straight",
    "forward bow",
    "back-bow",
    "S-curve",
    "cannot tell",
]


@dataclass(frozen=True)
class SideCurve:
    """The neck under one outer string. gap_mm: smooth curve below the chord fret 1 to last fret (+ is bow)."""

    side: Side
    relief_mm: float  # gap of largest size of the smooth curve, signed
    relief_u_mm: float
    relief_at_fret: int
    gap_mm: Array  # (N,)
    gap_u_mm: Array  # (N,)
    deviation_mm: Array  # (N,) fret top above (+) or below (-) the smooth curve
    deviation_u_mm: Array  # (N,)


@dataclass(frozen=True)
class Twist:
    """Roll of each fret against fret 1, positive with the treble side higher; twist is that of the last fret."""

    twist_deg: float
    twist_u_deg: float
    roll_deg: Array  # (N,)
    roll_u_deg: Array  # (N,)


@dataclass(frozen=True)
class Camera:
    """The fitted camera of one photograph, and how it looked at the neck."""

    focal_px: float
    focal_u_px: float
    view_angle_deg: float  # elevation above the board at the middle of the fretted part
    distance_mm: float  # to the middle of the fretted part
    k1: float  # first radial term, OpenCV's convention
    residual_px: float  # robust rms of fret-line residuals
    usable_share: float  # share of fret stretches that could be used, 0 to 1


@dataclass(frozen=True)
class PhotoTrace:
    """What was seen in one photograph, for drawing on it. NaN where nothing was seen."""

    bass_top_px: Array  # (N, 2) fret tops under the bass string
    treble_top_px: Array  # (N, 2)
    fret_line_px: Array  # (N, M, 2) the fret tops from one end to the other, fitted
    used_fret: NDArray[np.bool_]  # (N,) False where the fret was not used in the fit
    nut_px: Array  # (2, 2) ends of the nut, bass side first
    string_px: tuple[Array, ...]  # each (K, 2), the outer strings as fitted (may be empty)


@dataclass(frozen=True)
class PhotoResult:
    """One photograph's part in the measurement. kind is None when the neck was not found."""

    name: str
    status: Literal["measured", "refused"]
    kind: PhotoKind | None
    flags: tuple["Flag", ...] = ()
    reason: str | None = None
    advice: str | None = None
    camera: Camera | None = None
    trace: PhotoTrace | None = None


@dataclass(frozen=True)
class Flag:
    """A quality flag: a short stable code, what was noticed, and what the user can do about it."""

    code: str
    text: str
    advice: str


@dataclass(frozen=True)
class Provenance:
    """How the figures came about, for the record."""

    version: str
    span_frets: tuple[int, int]
    depth_from: str  # what fixed the widths: "front photograph", "stated widths", "usual widths"
    residual_px: float
    string_sag_mm: float  # sag added back on the bass side; 0.0, since no fret is measured against a string
    nut_width_mm: float  # of the board, from edge to edge
    nut_width_u_mm: float
    width_at_12_mm: float
    width_at_12_u_mm: float


@dataclass(frozen=True)
class Measured:
    """A measured neck: two curves, twist, what each photograph gave, and flags for the whole."""

    scale_length_mm: float
    frets: int
    bass: SideCurve
    treble: SideCurve
    twist: Twist
    relief_difference_mm: float  # bass minus treble relief
    relief_difference_u_mm: float
    photos: tuple[PhotoResult, ...]
    flags: tuple[Flag, ...]
    provenance: Provenance
    status: Literal["measured"] = field(default="measured", init=False)


@dataclass(frozen=True)
class Refused:
    """No figure can be given: why, and what to do next. Photographs that were read keep their own results."""

    scale_length_mm: float
    frets: int
    code: str
    reason: str
    advice: str
    photos: tuple[PhotoResult, ...] = ()
    status: Literal["refused"] = field(default="refused", init=False)


Outcome = Measured | Refused
