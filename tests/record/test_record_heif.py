"""HEIF blanked in place: coded pictures untouched, hiding places emptied, odd layouts left to a new file."""

import io
import random
import struct
from functools import cache

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from app.record.harmless_exif import harmless_exif
from app.record.heif_in_place import heif_with_pictures_only
from app.record.privacy import without_location
from tests.record.records import SECRETS, XMP, exif_with_place, pixels


@cache
def heif() -> bytes:
    file = io.BytesIO()
    picture = pillow_heif.from_pillow(Image.fromarray(pixels(128, 96)))
    picture.save(file, quality=60, exif=exif_with_place().tobytes(), xmp=XMP)
    return file.getvalue()


def rgb(data: bytes) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    return np.asarray(pillow_heif.open_heif(data))


def box(kind: bytes, payload: bytes) -> bytes:
    return struct.pack(">I", 8 + len(payload)) + kind + payload


def with_longer_mdat(data: bytes, more: bytes) -> bytes:
    """more behind the coded data, inside their box, which is the file's last."""
    at = data.index(b"mdat") - 4
    size = int.from_bytes(data[at : at + 4], "big")
    assert at + size == len(data)
    return data[:at] + (size + len(more)).to_bytes(4, "big") + data[at + 4 :] + more


def test_the_coded_pictures_stay_in_place_and_the_records_go() -> None:
    clean = without_location(heif())
    assert clean.format == "HEIF"
    assert len(clean.data) == len(heif())
    assert np.array_equal(rgb(clean.data), rgb(heif()))
    differing = [k for k, (a, b) in enumerate(zip(heif(), clean.data, strict=True)) if a != b]
    records = len(exif_with_place().tobytes()) + len(XMP)
    assert 0 < len(differing) <= records + 8
    for secret in SECRETS:
        assert secret in heif()
        assert secret not in clean.data


@pytest.mark.parametrize(
    "hidden",
    [
        heif() + box(b"uuid", b"\0" * 16 + b"Hidden-Hollow"),
        heif() + box(b"free", b"Hidden-Hollow"),
        heif() + box(b"moov", box(b"udta", b"Hidden-Hollow")),
        heif() + struct.pack(">I", 0) + b"skip" + b"Hidden-Hollow",
        heif() + struct.pack(">I4sQ", 1, b"uuid", 16 + 13) + b"Hidden-Hollow",
        with_longer_mdat(heif(), b"Hidden-Hollow"),
    ],
    ids=["uuid", "free", "moov", "to the end", "long size", "behind the pixels"],
)
def test_what_hides_beside_the_pictures_is_blanked(hidden: bytes) -> None:
    clean = without_location(hidden)
    assert clean.format == "HEIF"
    assert b"Hidden-Hollow" not in clean.data
    assert np.array_equal(rgb(clean.data), rgb(heif()))


def test_a_file_without_a_camera_record_stays_without() -> None:
    file = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(pixels(128, 96))).save(file, quality=60)
    clean = without_location(file.getvalue())
    assert clean.format == "HEIF"
    assert clean.data == file.getvalue()


def test_an_unusual_layout_is_written_anew_without_loss() -> None:
    """A second meta box is not handled in place; the picture then goes as PNG with the same pixels."""
    odd = heif() + box(b"meta", b"\0\0\0\0Hidden-Hollow")
    with pytest.raises(ValueError, match="2 boxes b'meta'"):
        heif_with_pictures_only(odd, b"")
    clean = without_location(odd)
    assert clean.format == "PNG"
    assert b"Hidden-Hollow" not in clean.data
    with Image.open(io.BytesIO(clean.data)) as after:
        assert np.array_equal(np.asarray(after), rgb(heif()))
        assert dict(after.getexif().get_ifd(0x8825)) == {}


def test_a_record_longer_than_its_place_is_not_forced_in() -> None:
    with pytest.raises(ValueError, match="no room"):
        heif_with_pictures_only(heif(), b"Exif\0\0" + b"x" * 5000)


def test_seeded_fuzz_of_the_layout_gives_a_file_of_the_same_length_or_a_refusal() -> None:
    rng = random.Random(8)
    exif = harmless_exif(exif_with_place().tobytes(), turned=True)
    layout = heif().index(b"mdat")
    blanked = refused = 0
    for _ in range(400):
        data = bytearray(heif())
        for _ in range(rng.randint(1, 3)):
            data[rng.randrange(layout)] = rng.choice([0, 1, 255, rng.randrange(256)])
        try:
            out = heif_with_pictures_only(bytes(data), exif)
        except ValueError:
            refused += 1
        else:
            blanked += 1
            assert len(out) == len(data)
    assert blanked > 50
    assert refused > 50
