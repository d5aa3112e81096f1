"""What locating a neck returns: the frets in the picture, or a reason why not and what to do next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

RefusalCode = Literal[
    "no neck",
    "not a neck",
    "too few frets",
    "fret count",
    "frets run together",
    "numbering unsure",
    "cut off",
    "corners contradict",
]
"""no neck: nothing ladder-like found.  not a neck: a ladder whose rungs do not follow the law of frets or whose
width does not taper like a fretted board (stairs, blinds, keyboards).  too few frets: fewer than about a dozen can
be made out.  fret count: another number of frets than stated.  frets run together: those farthest from the camera
cannot be told apart, so that they cannot be counted (too low a view, glare, blur).  numbering unsure: the ends of
the fretted part cannot be told for certain.  cut off: the fretted part leaves the picture.  corners contradict: the
corners a person gave do not enclose a ladder of frets."""

COUNT_OPEN: RefusalCode = "numbering unsure"
"""The refusal that may fall once the number of frets is known from another photograph."""

ADVICE: dict[RefusalCode, str] = {
    "no neck": "Take the whole fretted part into the picture, sharp and well lit, as large as it fits.",
    "not a neck": "Photograph the front of the neck so that the frets run across the picture.",
    "too few frets": "Hold the camera a little higher above the board and focus on the middle of the neck; no "
    "hand, strap or capo may hide a fret.",
    "fret count": "Check the number of frets that you stated; count them on the instrument. No hand, strap or capo may "
    "hide any.",
    "frets run together": "Hold the camera a hand's width higher above the strings, and turn the guitar or the lamp "
    "so that the board does not mirror it. Check the number of frets that you stated as well.",
    "numbering unsure": "Show the nut and the end of the board clearly, or mark the four corners by hand.",
    "cut off": "Step back until the nut and the last fret are both well inside the picture.",
    "corners contradict": "Mark the corners again: both ends of the nut and both ends of the last fret.",
}


@dataclass(frozen=True)
class LocatedNeck:
    """Frets of a neck found in a picture; points (x, y) in its pixels, centres at integers.

    fret_ends_px : (N, 2, 2), [fret - 1, side, xy]; side 0 = X negative, 1 = X positive, right-handed.
    fret_middles_px : (N, 2) point half-way along each fret; off the chord because the board is rounded.
    nut_ends_px : (2, 2), [side, xy] where the open strings end.
    found_frets : (N,) bool, True where the fret line itself was seen, False where the law places it.
    score : 0..1, share of the neck's evidence that agrees; 1 is perfect.
    sureness : from 1; how many times what is needed the evidence for this numbering is ahead of others.
    flags : short notes about the picture that the user can act on.
    """

    fret_ends_px: NDArray[np.float64]
    fret_middles_px: NDArray[np.float64]
    nut_ends_px: NDArray[np.float64]
    found_frets: NDArray[np.bool_]
    score: float
    sureness: float
    flags: tuple[str, ...]


@dataclass(frozen=True)
class NotLocated:
    """No neck was located: code for programs, reason and advice for the reader.

    score : 0..1, how well the picture supports the refusal itself, as for a located neck; 0 where nothing
        does.
    """

    code: RefusalCode
    reason: str
    advice: str
    score: float = 0.0


def refusal(code: RefusalCode, reason: str, score: float = 0.0) -> NotLocated:
    """A refusal with the advice that belongs to its code."""
    return NotLocated(code, reason, ADVICE[code], score)
