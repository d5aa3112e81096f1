"""How much is told, so that the whole stays within three pages: from all of it to the least that is still fair."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Density:
    """Bounds on what user, findings and photographs may take. letters: of one text."""

    note_letters: int
    text_letters: int
    photos: int
    photo_mm: float
    check_photos: int
    findings: int
    causes: int
    repairs: int
    reasons: int
    checks: Literal["in full", "fine by title", "in a line"]  # how findings by eye and hand are told


DENSITIES = (
    Density(700, 600, 6, 58.0, 3, 30, 10, 16, 8, "in full"),
    Density(420, 500, 6, 48.0, 3, 24, 8, 14, 8, "in full"),
    Density(240, 400, 3, 42.0, 3, 16, 6, 12, 7, "fine by title"),
    Density(120, 260, 3, 38.0, 0, 12, 4, 10, 6, "fine by title"),
    Density(60, 160, 3, 34.0, 0, 8, 2, 6, 5, "in a line"),
    Density(24, 120, 3, 30.0, 0, 6, 2, 4, 4, "in a line"),
)
