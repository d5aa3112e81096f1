"""How much is told, so that the whole stays within three pages: from all of it to the least that is still fair."""

from dataclasses import dataclass


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
    fine_told: bool  # the fine checks with what was seen, rather than by their titles


DENSITIES = (
    Density(900, 900, 6, 58.0, 3, 30, 10, 16, True),
    Density(420, 700, 6, 48.0, 3, 24, 8, 14, True),
    Density(240, 460, 3, 42.0, 3, 16, 6, 12, False),
    Density(120, 260, 3, 38.0, 0, 12, 4, 10, False),
    Density(60, 140, 3, 36.0, 0, 8, 2, 8, False),
)
