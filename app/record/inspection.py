"""What one inspection holds: frozen, checked records, from the guitar's name to the step the user is at.

Every record checks itself when made: ValueError names the field and the value. Sizes are bounded, numbers
finite, text free of control characters, so that a record read from a file is as trustworthy as one typed in.
Change one with `dataclasses.replace`; a mapping is never changed in place:
`replace(inspection, checks=inspection.checks | {"fret_ends": CheckResult("fault")})`.

Lengths mm, image points (x, y) px in the upright full-size photograph, pixel centres at integers, times UTC.
"""

import uuid
from dataclasses import field
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, AwareDatetime, ConfigDict, Field, StringConstraints
from pydantic.dataclasses import dataclass

from app.record.checked import names_its_fields
from app.record.measurement_document import checked_contract
from vision.settings import COMMON_SCALE_LENGTHS_MM, FRETS_MAX, FRETS_MIN, StatedNeck

PHOTOS_A_SIGHTING = 12
SIGHTINGS_MAX = 40
ENTRIES_MAX = 300  # checks, costs, rules and the like
STRINGS_MAX = 12

_STRICT = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)


def _printable(text: str) -> str:
    """Line breaks and tabs are text; other control characters would upset a page, a file name or a PDF."""
    if any((ord(c) < 32 and c not in "\n\t") or 0x7F <= ord(c) < 0xA0 or 0xD800 <= ord(c) < 0xE000 for c in text):
        raise ValueError("the text holds control characters")
    return text


def _in_utc(time: datetime) -> datetime:
    return time.astimezone(UTC)


_Printable = AfterValidator(_printable)
Line = Annotated[str, StringConstraints(max_length=200), _Printable]
Note = Annotated[str, StringConstraints(max_length=4000), _Printable]
Key = Annotated[str, StringConstraints(min_length=1, max_length=80), _Printable]
InspectionId = Annotated[
    str, StringConstraints(pattern=r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")
]
PhotoHash = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]  # SHA-256 of the file's bytes
Currency = Annotated[str, StringConstraints(max_length=8), _Printable]  # a code or a sign, as the user writes it
Money = Annotated[float, Field(ge=0.0, le=1e9)]
Reading = Annotated[float, Field(ge=-1e12, le=1e12)]
Pixel = Annotated[float, Field(ge=-1e6, le=1e6)]
Time = Annotated[AwareDatetime, AfterValidator(_in_utc)]
Corner = tuple[Pixel, Pixel]
Corners = tuple[Corner, Corner, Corner, Corner]  # nut bass, nut treble, last fret treble, last fret bass

CheckState = Literal["fine", "look closer", "fault", "not checked"]
NoteSound = Literal["fine", "buzz", "dead", "choke"]
Setting = bool | float | Line


def now_utc() -> datetime:
    """The present moment in UTC, to the second: a record needs no more."""
    return datetime.now(UTC).replace(microsecond=0)


@names_its_fields
@dataclass(frozen=True, slots=True, config=_STRICT)
class Neck:
    """The neck as stated; None where the user has not said. Bounds are those of `vision.settings.StatedNeck`."""

    scale_length_mm: float | None = None
    frets: int | None = None
    left_handed: bool = False
    nut_width_mm: float | None = None
    width_at_12_mm: float | None = None
    width_u_mm: float = 0.1
    strings: Annotated[int, Field(ge=4, le=STRINGS_MAX)] = 6
    tuning: Line = ""
    lowest_string_hz: float | None = 82.41
    lies_level: bool = False

    def __post_init__(self) -> None:
        self._stated(
            COMMON_SCALE_LENGTHS_MM[0] if self.scale_length_mm is None else self.scale_length_mm,
            FRETS_MIN if self.frets is None else self.frets,
        )

    def stated(self) -> StatedNeck:
        """What the measurement is told. Raises ValueError while scale length or number of frets is missing."""
        if self.scale_length_mm is None:
            raise ValueError("scale_length_mm=None: the scale length has not been stated")
        if self.frets is None:
            raise ValueError("frets=None: the number of frets has not been stated")
        return self._stated(self.scale_length_mm, self.frets)

    def _stated(self, scale_length_mm: float, frets: int) -> StatedNeck:
        return StatedNeck(
            scale_length_mm,
            frets,
            self.left_handed,
            self.nut_width_mm,
            self.width_at_12_mm,
            self.width_u_mm,
            self.lowest_string_hz,
            self.lies_level,
        )


@names_its_fields
@dataclass(frozen=True, slots=True, config=_STRICT)
class Guitar:
    """The instrument, what is asked for it, and what it would be worth in good order. None: not stated."""

    title: Line = ""
    serial: Line = ""
    year_claimed: Line = ""
    place_seen: Line = ""
    asking_price: Money | None = None
    currency: Currency = ""
    value_in_good_order: Money | None = None
    neck: Neck = field(default_factory=Neck)


@names_its_fields
@dataclass(frozen=True, slots=True, config=_STRICT)
class Photo:
    """A photograph kept by `photo_store` under its hash, the name it came with, and corners marked by hand."""

    sha256: PhotoHash
    name: Line
    corners: Corners | None = None


@names_its_fields
@dataclass(frozen=True, slots=True, config=_STRICT)
class Measurement:
    """What the photographs gave: the document of `app.contract`, and the version that wrote it.

    contract is checked against that document's fields; treat it as read-only.
    """

    version: Line
    measured_at: Time
    contract: Annotated[dict[str, Any], AfterValidator(checked_contract)]


@names_its_fields
@dataclass(frozen=True, slots=True, config=_STRICT)
class Sighting:
    """One set of photographs, with the part of a truss-rod turn made before it (+ tighten, in turns)."""

    label: Line
    made_at: Time
    part_turn: Annotated[float, Field(ge=-4.0, le=4.0)] = 0.0
    tuning: Line = ""
    photos: Annotated[tuple[Photo, ...], Field(max_length=PHOTOS_A_SIGHTING)] = ()
    measurement: Measurement | None = None


@names_its_fields
@dataclass(frozen=True, slots=True, config=_STRICT)
class CheckResult:
    """One finding by eye, ear or meter. Which checks there are, `app.inspection` knows."""

    state: CheckState = "not checked"
    note: Note = ""
    photo: Photo | None = None
    readings: Annotated[dict[Key, Reading], Field(max_length=ENTRIES_MAX)] = field(default_factory=dict)


@names_its_fields
@dataclass(frozen=True, slots=True, config=_STRICT)
class PlayedNote:
    """How one note sounded. string 1 is the highest, fret 0 the open string."""

    string: Annotated[int, Field(ge=1, le=STRINGS_MAX)]
    fret: Annotated[int, Field(ge=0, le=FRETS_MAX)]
    sound: NoteSound


@names_its_fields
@dataclass(frozen=True, slots=True, config=_STRICT)
class CostEdit:
    """The user's own low and high cost of one repair, in the guitar's currency; label for a row of their own."""

    low: Money
    high: Money
    label: Line = ""

    def __post_init__(self) -> None:
        if self.low > self.high:
            raise ValueError(f"low={self.low!r} is above high={self.high!r}")


def _each_note_once(notes: tuple[PlayedNote, ...]) -> tuple[PlayedNote, ...]:
    seen: set[tuple[int, int]] = set()
    for note in notes:
        if (note.string, note.fret) in seen:
            raise ValueError(f"string {note.string}, fret {note.fret} stands twice in the play test")
        seen.add((note.string, note.fret))
    return notes


@names_its_fields
@dataclass(frozen=True, slots=True, config=_STRICT)
class Inspection:
    """All of one inspection. revision 0 has never been saved; the store counts it up with every save."""

    id: InspectionId
    created_at: Time
    changed_at: Time
    revision: Annotated[int, Field(ge=0, le=2**53)] = 0
    guitar: Guitar = field(default_factory=Guitar)
    sightings: Annotated[tuple[Sighting, ...], Field(max_length=SIGHTINGS_MAX)] = ()
    checks: Annotated[dict[Key, CheckResult], Field(max_length=ENTRIES_MAX)] = field(default_factory=dict)
    play_test: Annotated[tuple[PlayedNote, ...], AfterValidator(_each_note_once), Field(max_length=1000)] = ()
    costs: Annotated[dict[Key, CostEdit], Field(max_length=ENTRIES_MAX)] = field(default_factory=dict)
    rules: Annotated[dict[Key, bool], Field(max_length=ENTRIES_MAX)] = field(default_factory=dict)
    decision_settings: Annotated[dict[Key, Setting], Field(max_length=ENTRIES_MAX)] = field(default_factory=dict)
    step: Line = ""


def new_inspection(guitar: Guitar | None = None) -> Inspection:
    """An empty inspection under an id of its own, not yet saved."""
    now = now_utc()
    return Inspection(str(uuid.uuid4()), now, now, guitar=guitar or Guitar())


def photos_of(inspection: Inspection) -> tuple[Photo, ...]:
    """Every photograph the inspection points to, of sightings and checks, each hash once, in order."""
    photos: dict[str, Photo] = {}
    for sighting in inspection.sightings:
        for photo in sighting.photos:
            photos.setdefault(photo.sha256, photo)
    for check in inspection.checks.values():
        if check.photo is not None:
            photos.setdefault(check.photo.sha256, check.photo)
    return tuple(photos.values())
