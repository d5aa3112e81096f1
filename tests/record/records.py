"""Builders for the record tests: one inspection that uses every field, and small pictures with real EXIF."""

import io
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from app.contract import outcome_to_contract
from app.record.inspection import (
    CheckResult,
    CostEdit,
    Guitar,
    Inspection,
    Measurement,
    Neck,
    Photo,
    PlayedNote,
    Sighting,
    new_inspection,
)
from tests.fixtures_results import measured, refused
from vision.results import Outcome
from vision.settings import Thresholds

WHEN = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
LATITUDE = (47.0, 59.0, 58.5)  # degrees, minutes, seconds: an open field of nobody's
GPS = {1: "N", 2: LATITUDE, 3: "E", 4: (11.0, 58.0, 57.5), 27: b"ASCII\0\0\0NEARBY-MAST-7741"}
SECRETS = (b"NEARBY-MAST-7741", b"Meadow-Lane-19", b"maker-note-4471", b"CAMERA-SERIAL-808", b"Quiet Village")
XMP = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    b'<rdf:Description xmlns:exif="http://ns.adobe.com/exif/1.0/" exif:GPSLatitude="47,59.975N">'
    b"Meadow-Lane-19</rdf:Description></rdf:RDF></x:xmpmeta>"
)
WIDTH, HEIGHT = 96, 64


def measurement_of(outcome: Outcome) -> Measurement:
    return Measurement("0.1.0", WHEN, outcome_to_contract(outcome, Thresholds(), "0.1.0"))


def full_inspection(*hashes: str) -> Inspection:
    """An inspection with something in every field, its photographs those of hashes (at least one)."""
    corners = ((1.0, 2.0), (3.0, 4.0), (5.5, 6.5), (7.0, 8.0))
    photos = tuple(Photo(sha256, f"view {k}.jpg", corners if k == 0 else None) for k, sha256 in enumerate(hashes))
    return replace(
        new_inspection(
            Guitar(
                "Blue one from the harbour market",
                "no. 00417",
                "about 1987",
                "a kitchen table",
                420.0,
                "EUR",
                700.0,
                Neck(647.7, 22, False, 42.1, 52.0, 0.1, 6, "E A D G B E", 82.41, True),
            )
        ),
        sightings=(
            Sighting("before", WHEN, 0.0, "standard", photos, measurement_of(measured())),
            Sighting("after a turn", WHEN, 0.25, "standard", photos[:1], measurement_of(refused())),
        ),
        checks={
            "rod_nut": CheckResult("fine", "turns freely\nboth ways"),
            "fret_ends": CheckResult("fault", "", photos[0], {"humidity_pct": 31.0, "proud_mm": 0.2}),
        },
        play_test=(PlayedNote(1, 0, "fine"), PlayedNote(1, 12, "choke"), PlayedNote(6, 3, "buzz")),
        costs={"fret_dress": CostEdit(120.0, 180.5), "own": CostEdit(5.0, 5.0, "a knob")},
        rules={"rod_stripped": True, "neck_cracked": False},
        decision_settings={"margin": 50.0, "careful": True, "wanted": "first page"},
        step="curves",
    )


def pixels(width: int = WIDTH, height: int = HEIGHT) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    rng = np.random.default_rng(5)
    smooth = np.linspace(40, 200, width)[None, :, None] + np.linspace(0, 40, height)[:, None, None]
    return np.clip(smooth + rng.normal(0, 6, (height, width, 3)), 0, 255).astype(np.uint8)


def exif_with_place(orientation: int = 6, size_px: tuple[int, int] = (WIDTH, HEIGHT)) -> Image.Exif:
    """EXIF as a phone writes it: position, maker note, serial number, remark, beside what may stay."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010E] = "Quiet Village"
    exif[0x010F] = "maker-note-4471"
    sub = exif.get_ifd(0x8769)
    sub[0x920A] = IFDRational(5410, 1000)
    sub[0xA405] = 26
    sub[0xA002], sub[0xA003] = size_px
    sub[0x927C] = b"maker-note-4471 Meadow-Lane-19"
    sub[0xA431] = "CAMERA-SERIAL-808"
    exif.get_ifd(0x8825).update(GPS)
    return exif


def jpeg(width: int = WIDTH, height: int = HEIGHT, shade: int = 0) -> bytes:
    """A JPEG with position in EXIF and XMP."""
    file = io.BytesIO()
    picture = Image.fromarray(pixels(width, height) // 2 + np.uint8(shade))
    picture.save(file, "JPEG", quality=90, exif=exif_with_place(), xmp=XMP, comment=b"Quiet Village")
    return file.getvalue()
