"""Files that are refused: other formats, several pictures, sizes, cut off, mutated."""

import struct
import zlib

import cv2
import numpy as np
import pytest
from PIL import Image, PngImagePlugin, TiffImagePlugin, WebPImagePlugin

from tests.photo.pictures import CODES, HEIGHT, WIDTH, decoded, encode, exif_bytes, refused, scene
from vision.photo import Photograph, Unreadable, decode_photograph
from vision.photo.container import check_jpeg_complete
from vision.photo.refusal import MAX_BYTES, UnreadableError


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty"),
        (b"\x00" * 2000, "not_a_picture"),
        (b"hello, this is a letter", "not_a_picture"),
        (b"%PDF-1.7 ....", "format_not_read"),
        (b"\x00\x00\x00\x1cftypavif\x00\x00\x00\x00avifmif1miaf", "format_not_read"),
        (b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom", "format_not_read"),
        (b"\xff\xd8\xff", "damaged"),
        (b"RIFF\x00\x00\x00\x00WEBP", "damaged"),
        (b"II*\x00", "damaged"),
        (b"\x89PNG\r\n\x1a\n", "damaged"),
    ],
)
def test_other_bytes_are_refused(data: bytes, code: str) -> None:
    assert refused(data).code == code


def test_moving_and_multi_page_pictures_are_refused() -> None:
    frames = [Image.fromarray(scene()), Image.fromarray(scene()[::-1])]
    for kind in ("PNG", "WEBP", "TIFF"):
        data = encode(frames[0], kind, save_all=True, append_images=frames[1:])
        assert refused(data).code == "several_pictures", kind
    moving = encode(frames[0], "GIF", save_all=True, append_images=frames[1:])
    assert refused(moving).code == "format_not_read"


def test_raw_previews_and_float_tones_are_refused() -> None:
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    tags[0xC612] = b"\x01\x04\x00\x00"
    assert refused(encode(scene(), "TIFF", tiffinfo=tags)).code == "raw_format"
    assert refused(encode(Image.new("F", (WIDTH, HEIGHT)), "TIFF")).code == "pixel_kind"


def test_size_limits() -> None:
    for size, ok in (((600, 800), True), ((599, 800), False), ((800, 599), False)):
        for kind in ("JPEG", "PNG", "WEBP", "HEIF", "TIFF"):
            result = decode_photograph(encode(Image.new("RGB", size, (90, 80, 70)), kind), "picture")
            code = result.code if isinstance(result, Unreadable) else None
            assert code == (None if ok else "too_small"), (kind, size)
    assert "64 MiB" in refused(b"\xff\xd8\xff" + bytes(MAX_BYTES)).reason


def test_huge_pictures_are_refused_from_the_header(monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError("pixels were decoded")

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    monkeypatch.setattr(PngImagePlugin.PngImageFile, "load", never)
    monkeypatch.setattr(cv2, "imdecode", never)
    monkeypatch.setattr(WebPImagePlugin, "WebPImageFile", never)
    header = struct.pack(">IIBBBBB", 60000, 60000, 8, 2, 0, 0, 0)
    png = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(bytes(1000)))
    assert refused(png).code == "too_large"
    jpeg = bytearray(encode(scene(), "JPEG"))
    frame = jpeg.index(b"\xff\xc0")
    jpeg[frame + 5 : frame + 9] = struct.pack(">HH", 60000, 60000)
    assert "60000 x 60000" in refused(bytes(jpeg)).reason
    webp = b"RIFF\x00\x01\x00\x00WEBPVP8X\x0a\x00\x00\x00" + bytes(4) + b"\xfe\x3f\x00" * 2 + bytes(100)
    assert refused(webp).code == "too_large"


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF", "TIFF"])
def test_cut_off_files_are_refused(kind: str) -> None:
    rng = np.random.default_rng(7)
    texture = cv2.resize(rng.integers(0, 256, (60, 70, 3), dtype=np.uint8), (WIDTH, HEIGHT))
    data = encode(texture, kind)
    decoded(data)
    for share in np.linspace(0.0, 0.98, 40):
        assert refused(data[: int(share * len(data))]).code in {"empty", "damaged", "not_a_picture"}, share


def test_jpeg_markers_are_walked_to_the_end_of_the_picture() -> None:
    # Not every decoder reports a missing end, so the walk is checked by itself.
    data = encode(scene(), "JPEG")
    check_jpeg_complete(data + b"trailing bytes")
    scan = data.index(b"\xff\xda")
    for broken in (data[:-2], data[: scan + 300], data[:scan] + b"\xff\xd9", data[:2], data[:20]):
        with pytest.raises(UnreadableError, match="damaged"):
            check_jpeg_complete(broken)
    header_length = int.from_bytes(data[scan + 2 : scan + 4], "big")
    one_scan = data[scan : scan + 2 + header_length]
    check_jpeg_complete(data[:scan] + one_scan * 100 + b"\xff\xd9")
    with pytest.raises(UnreadableError, match="damaged"):
        check_jpeg_complete(data[:scan] + one_scan * 101 + b"\xff\xd9")


def test_cut_off_progressive_jpeg_is_refused() -> None:
    rng = np.random.default_rng(8)
    texture = cv2.resize(rng.integers(0, 256, (60, 70, 3), dtype=np.uint8), (WIDTH, HEIGHT))
    data = encode(texture, "JPEG", progressive=True)
    for share in np.linspace(0.05, 0.999, 40):
        assert refused(data[: int(share * len(data))]).code == "damaged", share


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF", "TIFF"])
def test_mutated_files_are_read_or_refused(kind: str) -> None:
    rng = np.random.default_rng(2024)
    data = encode(scene(), kind, exif=exif_bytes(6, focal_35mm=26))
    for _ in range(80):
        broken = bytearray(data)
        for position in rng.integers(0, min(len(broken), 600) if rng.random() < 0.5 else len(broken), 4):
            broken[position] = rng.integers(256)
        result = decode_photograph(bytes(broken), "picture")
        if isinstance(result, Photograph):
            assert result.rgb.ndim == 3
            assert min(result.rgb.shape[:2]) >= 600
        else:
            assert result.code in CODES
