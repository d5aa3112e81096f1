"""Helpers for the report tests: a PDF's text as a reader sees it, and the raw bytes of every picture in it."""

import hashlib
import io
from dataclasses import replace

from pypdf import PdfReader
from pypdf.generic import StreamObject

from app.record.inspection import Guitar, Inspection, Neck, Photo, Sighting, new_inspection
from app.record.problems import PhotoProblem
from tests.record.records import WHEN, jpeg, measurement_of
from vision.results import Outcome

MADE_ON = WHEN
PHOTO = jpeg(1500, 2000)  # with a position in its camera record
SHA256 = hashlib.sha256(PHOTO).hexdigest()


def read_photo(sha256: str) -> bytes:
    return PHOTO


def no_photo(sha256: str) -> bytes:
    raise PhotoProblem("The photograph is not in the data folder.", "Add it again.")


def inspection_of(outcome: Outcome | None, photos: int = 3, guitar: Guitar | None = None) -> Inspection:
    """One set of photographs with this outcome, of a guitar with prices."""
    guitar = guitar or Guitar("Blue one", asking_price=420.0, currency="EUR", value_in_good_order=700.0)
    guitar = replace(guitar, neck=Neck(647.7, 22))
    kept = tuple(Photo(SHA256[:-1] + f"{k:x}", f"view {k}.jpg") for k in range(photos))
    measurement = None if outcome is None else measurement_of(outcome)
    return replace(
        new_inspection(guitar), sightings=(Sighting("As found", MADE_ON, photos=kept, measurement=measurement),)
    )


def page_texts(pdf: bytes) -> list[str]:
    """Each page's text on one line, every kind of space a plain one."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf), strict=True).pages]


def text_of(pdf: bytes) -> str:
    return " ".join(page_texts(pdf))


def embedded_pictures(pdf: bytes) -> list[bytes]:
    """Raw streams of all image objects, as they lie in the file."""
    reader = PdfReader(io.BytesIO(pdf), strict=True)
    found = []
    for number in range(1, len(reader.xref[0]) + 1):
        entry = reader.get_object(number)
        if isinstance(entry, StreamObject) and entry.get("/Subtype") == "/Image":
            assert entry["/Filter"] in ("/DCTDecode", ["/DCTDecode"])
            found.append(entry._data)
    return found


def every_stream(pdf: bytes) -> bytes:
    """The file's bytes with all its streams unpacked behind them."""
    reader = PdfReader(io.BytesIO(pdf), strict=True)
    parts = [pdf]
    for number in range(1, len(reader.xref[0]) + 1):
        entry = reader.get_object(number)
        if isinstance(entry, StreamObject) and entry.get("/Subtype") != "/Image":
            parts.append(entry.get_data())
    return b"\n".join(parts)
