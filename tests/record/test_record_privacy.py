"""Pictures without location: pixels and focal length as before, and nothing of the position left anywhere."""

import io
import random
import struct
import zlib
from collections.abc import Callable
from functools import cache

import numpy as np
import pillow_heif
import pytest
from PIL import Image, PngImagePlugin
from PIL.TiffImagePlugin import ImageFileDirectory_v2

from app.record.harmless_exif import harmless_exif
from app.record.privacy import picture_format, without_location
from app.record.problems import PhotoProblem
from tests.record.records import SECRETS, XMP, exif_with_place, jpeg, pixels
from vision.photo import Photograph, decode_photograph

WIDTH, HEIGHT = 720, 608  # the decoder wants 600 pixels on the shorter side
IPTC = b"Photoshop 3.0\x008BIM\x04\x04\x00\x00\x00\x00\x00\x12\x1c\x02\x5a\x00\x0dQuiet Village"  # city, IIM 2:90

HARMLESS_INFO = {"exif", "icc_profile", "dpi", "jfif", "jfif_version", "jfif_unit", "jfif_density", "adobe"} | {
    *("adobe_transform", "progressive", "progression", "loop", "background", "timestamp", "duration"),
}


def picture() -> Image.Image:
    return Image.fromarray(pixels(WIDTH, HEIGHT))


def saved(kind: str, **options: object) -> bytes:
    file = io.BytesIO()
    picture().save(file, kind, exif=exif_with_place(6, (WIDTH, HEIGHT)), **options)
    return file.getvalue()


def segment(marker: int, payload: bytes) -> bytes:
    return bytes((0xFF, marker)) + struct.pack(">H", len(payload) + 2) + payload


def jpeg_full_of_places(**options: object) -> bytes:
    """A JPEG with position in EXIF, XMP, extended XMP, IPTC, a comment, a second picture and bytes after all."""
    plain = saved("JPEG", quality=88, xmp=XMP, comment=b"Quiet Village", icc_profile=b"profile " * 20, **options)
    extended = segment(0xE1, b"http://ns.adobe.com/xmp/extension/\x00" + b"0" * 32 + bytes(8) + XMP)
    further = segment(0xED, IPTC) + segment(0xEB, b"JP Meadow-Lane-19")
    return plain[:2] + extended + further + plain[2:] + saved("JPEG", quality=50) + b"Meadow-Lane-19"


@cache
def heif() -> bytes:
    file = io.BytesIO()
    exif = exif_with_place(6, (WIDTH, HEIGHT)).tobytes()
    pillow_heif.from_pillow(picture()).save(file, quality=80, exif=exif, xmp=XMP)
    return file.getvalue()


def tiff() -> bytes:
    """Pillow writes sub-directories of a TIFF only from a directory of its own kind."""
    exif = exif_with_place(6, (WIDTH, HEIGHT))
    directory = ImageFileDirectory_v2()
    for tag, value in exif.items():
        directory[tag] = value
    for tag in (0x8769, 0x8825):
        directory[tag] = dict(exif.get_ifd(tag))
    file = io.BytesIO()
    picture().save(file, "TIFF", tiffinfo=directory)
    return file.getvalue()


def png_full_of_places() -> bytes:
    text = PngImagePlugin.PngInfo()
    text.add_text("Location", "Meadow-Lane-19")
    text.add_text("Packed", "Quiet Village", zip=True)
    text.add_itxt("XML:com.adobe.xmp", XMP.decode())
    return saved("PNG", pnginfo=text, dpi=(300, 300)) + b"Meadow-Lane-19"


def position_in(data: bytes) -> dict[int, object]:
    """The GPS entries as Pillow and pillow-heif read them."""
    exif = Image.Exif()
    if data[4:8] == b"ftyp":
        exif.load(pillow_heif.open_heif(data).info["exif"])
        return dict(exif.get_ifd(0x8825))
    with Image.open(io.BytesIO(data)) as image:
        return dict(image.getexif().get_ifd(0x8825))


MAKERS: dict[str, Callable[[], bytes]] = {
    "JPEG": jpeg_full_of_places,
    "progressive JPEG": lambda: jpeg_full_of_places(progressive=True),
    "JPEG with restarts": lambda: jpeg_full_of_places(restart_marker_blocks=7),
    "two JPEGs in one file": lambda: saved("MPO", save_all=True, append_images=[picture().rotate(180)]),
    "PNG": png_full_of_places,
    "WebP": lambda: saved("WEBP", quality=80, xmp=XMP, icc_profile=b"profile " * 20),
    "lossless WebP": lambda: saved("WEBP", lossless=True, xmp=XMP),
    "HEIF": heif,
    "TIFF": tiff,
}


@pytest.mark.parametrize("kind", MAKERS)
def test_nothing_of_the_position_is_left(kind: str) -> None:
    data = MAKERS[kind]()
    assert any(secret in data for secret in SECRETS)  # it was there
    assert position_in(data)
    clean = without_location(data)
    for secret in SECRETS:
        assert secret not in clean.data
    for word in (b"GPSLatitude", b"xmpmeta", b"8BIM", b"MPF\x00", b"tEXt", b"zTXt", b"iTXt", b"XMP "):
        assert word not in clean.data
    assert not position_in(clean.data)
    if kind == "HEIF":
        exif, info = Image.Exif(), pillow_heif.open_heif(clean.data).info
        exif.load(info["exif"])
        assert set(exif) <= {0x8769}
        assert info["xmp"].strip(b"\0") == b""
        assert all(block["data"].strip(b"\0") == b"" for block in info["metadata"])
        return
    with Image.open(io.BytesIO(clean.data)) as after:
        after.load()
        exif = after.getexif()
        assert set(exif) <= {0x0112, 0x8769}
        assert set(exif.get_ifd(0x8769)) == {0x920A, 0xA405, 0xA002, 0xA003}
        assert set(after.info) <= HARMLESS_INFO


@pytest.mark.parametrize("kind", MAKERS)
def test_the_measurement_sees_the_same_picture(kind: str) -> None:
    data = MAKERS[kind]()
    before, after = decode_photograph(data, "x"), decode_photograph(without_location(data).data, "x")
    assert isinstance(before, Photograph)
    assert isinstance(after, Photograph)
    assert np.array_equal(before.rgb, after.rgb)
    assert after.focal_prior_px is not None
    assert (before.focal_prior_px, before.focal_prior_relative_u) == (
        after.focal_prior_px,
        after.focal_prior_relative_u,
    )
    assert before.flags == after.flags == ()


def test_a_crop_still_shows_as_one() -> None:
    file = io.BytesIO()
    picture().save(file, "JPEG", exif=exif_with_place(1, (4000, 3000)))
    after = decode_photograph(without_location(file.getvalue()).data, "x")
    assert isinstance(after, Photograph)
    assert [flag.code for flag in after.flags] == ["maybe_edited"]


@pytest.mark.parametrize("kind", MAKERS)
def test_cleaning_twice_changes_nothing_more(kind: str) -> None:
    clean = without_location(MAKERS[kind]())
    assert without_location(clean.data) == clean
    assert picture_format(clean.data) == clean.format


def test_compressed_pixels_of_a_jpeg_stay_byte_for_byte() -> None:
    data = saved("JPEG", quality=88)
    scan = data[data.index(b"\xff\xda") :]
    assert without_location(data).data.endswith(scan)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_kept(orientation: int) -> None:
    file = io.BytesIO()
    picture().save(file, "JPEG", exif=exif_with_place(orientation))
    with Image.open(io.BytesIO(without_location(file.getvalue()).data)) as after:
        assert after.getexif().get(0x0112, 1) == orientation


def test_focal_lengths_are_kept_and_a_picture_without_a_record_gets_none() -> None:
    with Image.open(io.BytesIO(without_location(saved("JPEG")).data)) as after:
        sub = after.getexif().get_ifd(0x8769)
        assert float(sub[0x920A]) == pytest.approx(5.41, rel=0, abs=1e-9)
        assert sub[0xA405] == 26
    file = io.BytesIO()
    picture().save(file, "JPEG")
    with Image.open(io.BytesIO(without_location(file.getvalue()).data)) as after:
        assert len(after.getexif()) == 0
        assert "exif" not in after.info


def test_a_four_ink_jpeg_keeps_its_inks() -> None:
    file = io.BytesIO()
    picture().convert("CMYK").save(file, "JPEG", exif=exif_with_place())
    data = file.getvalue()
    before, after = decode_photograph(data, "x"), decode_photograph(without_location(data).data, "x")
    assert isinstance(before, Photograph)
    assert isinstance(after, Photograph)
    assert np.array_equal(before.rgb, after.rgb)


def test_sixteen_bits_and_transparency_of_a_png_are_kept() -> None:
    for mode, array in (
        ("I;16", (pixels(WIDTH, HEIGHT)[..., 0].astype(np.uint16) * 257)),
        ("RGBA", np.dstack([pixels(WIDTH, HEIGHT), pixels(WIDTH, HEIGHT)[..., 0]])),
    ):
        file = io.BytesIO()
        Image.fromarray(array).save(file, "PNG", exif=exif_with_place())
        with Image.open(io.BytesIO(without_location(file.getvalue()).data)) as after:
            assert after.mode == mode
            assert np.array_equal(np.asarray(after), array)


def test_a_record_between_scans_goes_as_well() -> None:
    data = saved("JPEG", progressive=True)
    second = data.index(b"\xff\xda", data.index(b"\xff\xda") + 2)
    hidden = (
        data[:second] + segment(0xE1, b"Exif\x00\x00Meadow-Lane-19") + segment(0xFE, b"Quiet Village") + data[second:]
    )
    clean = without_location(hidden).data
    assert b"Meadow" not in clean
    assert b"Quiet" not in clean
    assert clean == without_location(data).data


def test_a_preview_in_the_jfif_header_goes() -> None:
    data = saved("JPEG")
    header = b"JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x01\x01" + b"VIL"
    at = data.index(b"\xff\xe0")
    length = struct.unpack(">H", data[at + 2 : at + 4])[0]
    clean = without_location(data[:at] + segment(0xE0, header) + data[at + 2 + length :]).data
    assert b"VIL" not in clean
    assert b"JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00" in clean


def _png(*chunks: tuple[bytes, bytes]) -> bytes:
    body = b"".join(struct.pack(">I", len(p)) + n + p + struct.pack(">I", zlib.crc32(n + p)) for n, p in chunks)
    return b"\x89PNG\r\n\x1a\n" + body


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xff\xd8\xff",
        b"\xff\xd8\xff\xd9",
        b"not a picture, Meadow-Lane-19",
        b"GIF89a" + bytes(50),
        saved("JPEG")[:-2],
        saved("JPEG")[:4000],
        saved("PNG")[:-12],
        saved("WEBP")[:-5],
        tiff()[:300],
        heif()[:2000],
        _png((b"IHDR", bytes(13))),
        b"RIFF\x16\x00\x00\x00WEBPVP8X\x0a\x00\x00\x00" + bytes(10),
    ],
    ids=range(13),
)
def test_what_is_not_a_whole_picture_does_not_leave(data: bytes) -> None:
    with pytest.raises(PhotoProblem, match="cannot be read as a whole picture"):
        without_location(data)


def test_seeded_fuzz_of_pictures_gives_a_clean_one_or_a_clear_problem() -> None:
    rng = random.Random(11)
    sources = [jpeg(), saved("WEBP", quality=50), png_full_of_places()]
    clean = problems = 0
    for number in range(300):
        data = bytearray(sources[number % len(sources)])
        for _ in range(rng.randint(1, 4)):
            data[rng.randrange(min(len(data), 3000))] = rng.randrange(256)
        if number % 5 == 0:
            del data[rng.randrange(len(data)) :]
        try:
            out = without_location(bytes(data)).data
        except PhotoProblem:
            problems += 1
        else:
            clean += 1
            assert b"NEARBY-MAST-7741" not in out
    assert clean > 30
    assert problems > 30


@pytest.mark.parametrize("block", [b"", b"Exif\x00\x00", b"Exif\x00\x00MM\x00*\xff\xff\xff\xff", b"x" * 70000])
def test_a_broken_camera_record_gives_none(block: bytes) -> None:
    assert harmless_exif(block) == b""
    assert harmless_exif(None) == b""
