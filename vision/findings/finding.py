"""One finding in words, and the one rule by which a figure is held against a limit."""

import math
from dataclasses import dataclass
from typing import Literal

from vision.results import Measured, Side

Severity = Literal["fine", "look closer", "fault", "cannot tell"]
Standing = Literal["beyond", "within", "borderline", "unknown"]


@dataclass(frozen=True)
class Finding:
    """Something the figures say about the neck.

    Parameters
    ----------
    code : short and stable, for programs.
    title, text : for people; the text holds the figure, what it means and, if needed, what to do.
    severity : "cannot tell" where the uncertainty is too wide for any statement.
    side : bass or treble, None for the whole neck or both sides.
    frets : the frets meant, counted from 1; empty for the whole neck.
    value, u, unit : the figure and its standard uncertainty, None where there is none.
    """

    code: str
    title: str
    text: str
    severity: Severity
    side: Side | None
    frets: tuple[int, ...]
    value: float | None
    u: float | None
    unit: str


def standing(value: float, u: float, limit: float, k: float) -> Standing:
    """Hold the size of a figure against a limit, with k standard uncertainties to either side.

    "beyond" when the whole interval lies past the limit, "within" when none of it does, "unknown" when the
    interval is wider than the limit itself or a figure is missing, "borderline" for a good figure that
    happens to lie at the limit.
    """
    if not (math.isfinite(value) and math.isfinite(u)) or u < 0.0:
        return "unknown"
    size = abs(value)
    if size - k * u > limit:
        return "beyond"
    if size + k * u <= limit:
        return "within"
    return "unknown" if k * u > limit else "borderline"


COVERAGE_95 = 1.96
"""Standard uncertainties either side that hold 95 % of a normal error (JCGM 100, G.3)."""


MM_PER_THOUSANDTH = 0.0254
"""Of an inch: an inch is 25.4 mm exactly."""
WHOLE_FROM_THOU = 5.0
"""Lengths in sentences from here on are told in whole thousandths: hundredths of a millimetre hold no tenths of one."""


def interval_95(value: float, u: float, to: str = "to") -> str:
    """The 95 % interval as two numbers, with the word that stands between them."""
    return f"{value - COVERAGE_95 * u:z.2f} {to} {value + COVERAGE_95 * u:z.2f}"


def interval_mm(value: float, u: float, to: str = "to") -> str:
    """The 95 % interval of a length in words."""
    return f"{interval_95(value, u, to)} mm"


def better_photographs(measured: Measured) -> str:
    """What to photograph for a smaller uncertainty, from what is missing."""
    kinds = {photo.kind for photo in measured.photos if photo.status == "measured"}
    if not {"bass", "treble"} <= kinds:
        return "Take one photograph along each outer string, low over the board, with every fret in view."
    if "front" not in kinds:
        return (
            "Add a photograph of the whole fretted part from the front, or type in the board's width "
            "measured at the nut and at fret 12."
        )
    return (
        "Take the photographs again: the neck filling the frame, phone propped still, even light without "
        "glare on the board."
    )
