"""The play test, note by note, laid over the measured frets: which measured cause fits each bad note.

A stopped string runs from its fret to the bridge. It buzzes where a fret ahead stands too near: because that fret is
high, because its own fret is low, because the neck has too little bow for low positions, or because the last frets
rise. Each cause is named only where its figure passes its limit by k standard uncertainties; a note for which frets
could not be seen well enough is said to be so, and not said to be without a cause. What no photograph shows (nut slot,
action, a loose fret, the player's hand) may always be behind a note.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from app.inspection.facts import CurveFacts, SideFacts
from app.inspection.plausible import check_range
from vision.findings.shape import joint_index
from vision.fit.frets import fret_positions_mm
from vision.settings import Thresholds

Sound = Literal["fine", "buzz", "dead", "choke"]
SOUNDS: tuple[Sound, ...] = ("fine", "buzz", "dead", "choke")
CauseCode = Literal[
    "fret ahead high",
    "own fret low",
    "too little relief",
    "last frets rise",
    "not seen well enough",
    "no measured cause",
]
FRETS_AHEAD = 5  # a fret further ahead is cleared by far
LOW_POSITION_TO_FRET = 5  # too little relief shows here (common practice)


@dataclass(frozen=True, slots=True)
class HeightAt:
    """Deviation of one fret under one string, between the outer strings' figures; None where not seen."""

    fret: int
    deviation_mm: float | None
    u_mm: float | None


@dataclass(frozen=True, slots=True)
class NoteCause:
    """A bad note and one measured cause that fits it, with the frets to look at in its words."""

    string: int
    fret: int
    sound: Sound
    cause: CauseCode
    text: str


def height_at(curve: CurveFacts, string: int, strings: int, fret: int) -> HeightAt:
    """Deviation of a fret under any string; string 1 is the highest, the last one the lowest.

    Frets are straight lines from side to side, so a string between the outer ones has its share of both.

    Raises
    ------
    ValueError : there is no such string or fret.
    """
    _check_whole("strings", strings, 2, 12)
    _check_whole("string", string, 1, strings)
    _check_whole("fret", fret, 1, curve.frets)
    share = (string - 1) / (strings - 1)
    parts = [
        (weight, side.deviation_mm[fret - 1], side.deviation_u_mm[fret - 1])
        for weight, side in ((share, curve.bass), (1.0 - share, curve.treble))
        if weight > 0.0
    ]
    if any(value is None or u is None for _, value, u in parts):
        return HeightAt(fret, None, None)
    value = math.fsum(weight * (value or 0.0) for weight, value, _ in parts)
    return HeightAt(fret, value, math.hypot(*(weight * (u or 0.0) for weight, _, u in parts)))


def note_causes(
    curve: CurveFacts,
    notes: Mapping[tuple[int, int], str],
    strings: int = 6,
    thresholds: Thresholds | None = None,
) -> tuple[NoteCause, ...]:
    """For each note that is not fine, in order of string and fret, every measured cause that fits, or one word why not.

    Parameters
    ----------
    notes : (string, fret) to its sound; string 1 is the highest, fret 0 the open string.

    Raises
    ------
    ValueError : a note is off the neck, or its sound is unknown.
    """
    thresholds = thresholds or Thresholds()
    _check_whole("strings", strings, 2, 12)
    found: list[NoteCause] = []
    for (string, fret), sound in sorted(notes.items()):
        _check_whole("string", string, 1, strings)
        _check_whole("fret", fret, 0, curve.frets)
        if sound not in SOUNDS:
            raise ValueError(f"sound={sound!r:.60} of string {string}, fret {fret} must be one of {', '.join(SOUNDS)}")
        if sound != "fine":
            found.extend(_causes(curve, string, strings, fret, sound, thresholds))
    return tuple(found)


def _causes(
    curve: CurveFacts, string: int, strings: int, fret: int, sound: Sound, thresholds: Thresholds
) -> list[NoteCause]:
    limit, k = thresholds.fret_out_of_line_mm, thresholds.coverage_k
    ahead = [height_at(curve, string, strings, j) for j in range(fret + 1, min(fret + FRETS_AHEAD, curve.frets) + 1)]
    own = [height_at(curve, string, strings, fret)] if fret else []
    found: list[NoteCause] = []

    def add(cause: CauseCode, text: str) -> None:
        found.append(NoteCause(string, fret, sound, cause, text))

    high = [h for h in ahead if _past(h.deviation_mm, h.u_mm, limit, k)]
    if high:
        worst = max(high, key=lambda h: h.deviation_mm or 0.0)
        add("fret ahead high", f"Fret {worst.fret} stands {worst.deviation_mm:.2f} mm high under this string.")
    for h in own:
        if h.deviation_mm is not None and _past(-h.deviation_mm, h.u_mm, limit, k):
            depth = f"{-h.deviation_mm:.2f} mm"
            add("own fret low", f"Fret {fret} lies {depth} low under this string: worn or badly seated.")
    side = curve.bass if (string - 1) / (strings - 1) >= 0.5 else curve.treble
    low_mm = thresholds.wanted_relief_low_mm
    if fret <= LOW_POSITION_TO_FRET and _past(-side.relief_mm, side.relief_u_mm, -low_mm, k):
        words = f"The {side.side} side has {side.relief_mm:.2f} mm of relief, less than {low_mm:.2f} mm."
        add("too little relief", words)
    joint = joint_index(fret_positions_mm(curve.scale_length_mm, curve.frets), curve.scale_length_mm)
    if joint is not None and joint + 1 - FRETS_AHEAD <= fret < curve.frets and _rises(side, thresholds):
        add("last frets rise", f"The last frets rise by {side.rise_mm:.2f} mm on the {side.side} side.")
    if found:
        return found
    blind = [h.fret for h in (*own, *ahead) if h.u_mm is None or k * h.u_mm > thresholds.fret_needs_levelling_mm]
    wide = fret <= LOW_POSITION_TO_FRET and k * side.relief_u_mm > low_mm
    if blind or wide:
        unseen = " and ".join([*([_numbered(blind)] if blind else []), *(["the relief"] if wide else [])])
        add("not seen well enough", f"The photographs do not show {unseen} well enough to say why.")
    else:
        nut_slot = "the nut slot, " if fret == 0 else ""  # a fretted string sounds past it
        add("no measured cause", f"No measured cause: look {_ELSEWHERE[sound].format(nut_slot=nut_slot)}.")
    return found


def _numbered(frets: list[int]) -> str:
    return f"fret {frets[0]}" if len(frets) == 1 else f"frets {', '.join(str(fret) for fret in frets)}"


_ELSEWHERE: dict[Sound, str] = {
    "buzz": "at {nut_slot}the action, a loose fret, the string itself",
    "dead": "for a loose fret, a worn string, or a note the neck itself swallows",
    "choke": "at the action and the board's radius under a bent string",
}


def _rises(side: SideFacts, thresholds: Thresholds) -> bool:
    return _past(side.rise_mm, side.rise_u_mm, thresholds.rise_mm, thresholds.coverage_k)


def _past(value: float | None, u: float | None, limit: float, k: float) -> bool:
    return value is not None and u is not None and value - k * u > limit


def _check_whole(name: str, value: object, low: int, high: int) -> None:
    if type(value) is not int:
        raise ValueError(f"{name}={value!r:.60} must be a whole number")
    check_range(name, value, low, high)
