"""Changes to the play test of an inspection: pure, each returns a new inspection."""

from dataclasses import replace
from typing import Literal

from app.record.inspection import Inspection, NoteSound, PlayedNote

Pen = Literal["buzz", "dead", "choke", "fine", "not played"]
PENS: tuple[Pen, ...] = ("buzz", "dead", "choke", "fine", "not played")


def with_note(inspection: Inspection, string: int, fret: int, pen: Pen) -> Inspection:
    """The note with this sound, or as not played.

    Raises
    ------
    ValueError : the neck has no such string or fret.
    """
    neck = inspection.guitar.neck
    if not 1 <= string <= neck.strings:
        raise ValueError(f"string={string!r} is outside 1 to {neck.strings}")
    if not 0 <= fret <= (neck.frets or 0):
        raise ValueError(f"fret={fret!r} is outside 0 to {neck.frets}")
    others = tuple(note for note in inspection.play_test if (note.string, note.fret) != (string, fret))
    sound: NoteSound | None = None if pen == "not played" else pen
    new = () if sound is None else (PlayedNote(string, fret, sound),)
    return _with(inspection, (*others, *new))


def with_rest_fine(inspection: Inspection) -> Inspection:
    """Every note that is not marked as ringing well."""
    neck = inspection.guitar.neck
    marked = {(note.string, note.fret) for note in inspection.play_test}
    rest = tuple(
        PlayedNote(string, fret, "fine")
        for string in range(1, neck.strings + 1)
        for fret in range((neck.frets or 0) + 1)
        if (string, fret) not in marked
    )
    return _with(inspection, (*inspection.play_test, *rest))


def without_notes(inspection: Inspection) -> Inspection:
    """An empty play test."""
    return replace(inspection, play_test=())


def _with(inspection: Inspection, notes: tuple[PlayedNote, ...]) -> Inspection:
    return replace(inspection, play_test=tuple(sorted(notes, key=lambda note: (note.string, note.fret))))
