"""Photographs without location: what every picture is made into before it leaves the machine.

Only what a viewer needs for the pixels is let through, together with a new camera record of four harmless
entries: orientation, 35 mm-equivalent focal length and the size as taken, which the measurement reads, and the
focal length. Everything else goes, whatever it is called:
GPS, XMP, IPTC, maker notes, comments, previews,
further pictures behind the first. A list of what may stay cannot overlook a new place to hide a position.

JPEG, PNG, WebP and HEIF keep their compressed pixels byte for byte. TIFF, and HEIF of an unusual layout, where
pieces of records can lie anywhere, are decoded as the measurement decodes them and written losslessly as PNG.
"""

import io
import re
import struct
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pillow_heif
from PIL import Image, JpegImagePlugin, TiffImagePlugin

from app.record.harmless_exif import harmless_exif
from app.record.heif_in_place import heif_with_pictures_only
from app.record.problems import PhotoProblem
from vision.photo.container import container_of, heif_pixel_limit
from vision.photo.photograph import Pixels
from vision.photo.pixels import rgb_from_array, rgb_from_image
from vision.photo.quiet import quiet_warnings
from vision.photo.refusal import MAX_PIXELS, UnreadableError

PictureFormat = Literal["JPEG", "PNG", "WebP", "HEIF"]

_PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT = {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"cICP", b"sBIT"}
_WEBP_KEPT = {b"VP8 ", b"VP8L", b"ALPH", b"ICCP"}
_WEBP_EXIF_FLAG, _WEBP_XMP_FLAG = 0x08, 0x04
_JPEG_SCAN_END = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")  # after entropy-coded data: not stuffing, restart, fill
# Application segments that say how the samples are to be shown, by their first bytes (JFIF, ICC.1, Adobe 5116).
_JPEG_KEPT_APPLICATION = {0xE0: b"JFIF\x00", 0xE2: b"ICC_PROFILE\x00", 0xEE: b"Adobe"}
_MAX_PIECES = 100_000  # segments or chunks; ordinary files have up to some thousands
_JFIF_BYTES = 16  # the segment without its preview


@dataclass(frozen=True)
class CleanPicture:
    """A picture's bytes without location, and the format they are in."""

    data: bytes
    format: PictureFormat


def without_location(data: bytes) -> CleanPicture:
    """The picture in data with the same pixels and nothing that could hold a position.

    Raises PhotoProblem when data is not a whole picture of a known format: it must then not leave the machine.
    """
    try:
        return _CLEANERS[container_of(data)](data)
    except Exception as error:  # libraries raise nearly any type on hostile bytes; all of it means: not read
        raise PhotoProblem(
            "The photograph cannot be read as a whole picture, so that location data in it cannot be ruled out.",
            "Leave it out, or add the photograph again as a JPEG.",
        ) from error


def picture_format(data: bytes) -> PictureFormat | None:
    """The format by the first bytes, None for any but those that `without_location` writes."""
    try:
        found = container_of(data)
    except UnreadableError:
        return None
    return None if found == "TIFF" else found


def _clean_jpeg(data: bytes) -> CleanPicture:
    with quiet_warnings(), JpegImagePlugin.JpegImageFile(io.BytesIO(data)) as image:  # header only
        record = harmless_exif(image.info.get("exif"))
    segments = list(_jpeg_segments(data))
    if not segments or segments[-1] != b"\xff\xd9":
        raise ValueError("no end of the picture")
    leading = [segment for segment in segments if segment[1] == 0xE0]
    others = [segment for segment in segments if segment[1] != 0xE0]
    camera = [_jpeg_segment(0xE1, record)] if record else []
    return CleanPicture(b"".join([b"\xff\xd8", *leading, *camera, *others]), "JPEG")


def _jpeg_segments(data: bytes) -> Iterator[bytes]:
    """The segments that may stay, up to the end of the first picture (ITU-T T.81 B.1), scans with their data."""
    position = 2
    for _ in range(_MAX_PIECES):
        if data[position] != 0xFF:
            raise ValueError("no marker where one belongs")
        marker = data[position + 1]
        if marker == 0xFF:  # fill byte
            position += 1
            continue
        if marker == 0xD9:
            yield b"\xff\xd9"
            return
        length = int.from_bytes(data[position + 2 : position + 4], "big")
        end = position + 2 + length
        if length < 2 or end > len(data):
            raise ValueError("a segment is cut off")
        segment = data[position:end]
        position = end
        if marker == 0xDA:
            found = _JPEG_SCAN_END.search(data, position)
            if found is None:
                raise ValueError("a scan is cut off")
            segment += data[position : found.start()]
            position = found.start()
        if 0xC0 <= marker <= 0xCF or 0xDA <= marker <= 0xDD:  # frames, tables, scans
            yield segment
        elif segment[4:].startswith(_JPEG_KEPT_APPLICATION.get(marker, b"none of them")):
            yield segment if marker != 0xE0 else _jpeg_segment(0xE0, segment[4:_JFIF_BYTES] + b"\x00\x00")


def _jpeg_segment(marker: int, payload: bytes) -> bytes:
    return bytes((0xFF, marker)) + (len(payload) + 2).to_bytes(2, "big") + payload


def _clean_png(data: bytes) -> CleanPicture:
    kept: list[bytes] = []
    record = b""
    position = len(_PNG_SIGNATURE)
    for _ in range(_MAX_PIECES):
        length = int.from_bytes(data[position : position + 4], "big")
        name, end = data[position + 4 : position + 8], position + 12 + length
        if end > len(data):
            raise ValueError("a chunk is cut off")
        if name == b"eXIf":
            record = harmless_exif(data[position + 8 : end - 4])
        elif name in _PNG_KEPT:
            kept.append(data[position:end])
        position = end
        if name == b"IEND":
            break
    else:
        raise ValueError("absurdly many chunks")
    if record:
        kept.insert(1, _png_chunk(b"eXIf", record.removeprefix(b"Exif\x00\x00")))
    return CleanPicture(_PNG_SIGNATURE + b"".join(kept), "PNG")


def _png_chunk(name: bytes, payload: bytes) -> bytes:
    return struct.pack(">I", len(payload)) + name + payload + struct.pack(">I", zlib.crc32(name + payload))


def _clean_webp(data: bytes) -> CleanPicture:
    """RFC 9649: chunks padded to even length; the extended header's flags must tell which of them are there."""
    kept: list[bytes] = []
    header = record = b""
    position, end = 12, 8 + int.from_bytes(data[4:8], "little")
    if end > len(data):
        raise ValueError("the file is cut off")
    while position < end:
        name, length = data[position : position + 4], int.from_bytes(data[position + 4 : position + 8], "little")
        payload = data[position + 8 : position + 8 + length]
        if len(payload) != length or position + 8 + length > end:
            raise ValueError("a chunk is cut off")
        if name == b"VP8X":
            if length != 10:
                raise ValueError("the extended header has the wrong length")
            header = payload
        elif name == b"EXIF":
            record = harmless_exif(payload)
        elif name in _WEBP_KEPT:
            kept.append(_webp_chunk(name, payload))
        position += 8 + length + length % 2
        if len(kept) > _MAX_PIECES:
            raise ValueError("absurdly many chunks")
    if not any(chunk[:4] in (b"VP8 ", b"VP8L") for chunk in kept):
        raise ValueError("no still picture")
    if header:
        flags = header[0] & ~_WEBP_EXIF_FLAG & ~_WEBP_XMP_FLAG | (_WEBP_EXIF_FLAG if record else 0)
        kept.insert(0, _webp_chunk(b"VP8X", bytes((flags, 0, 0, 0)) + header[4:]))
        if record:
            kept.append(_webp_chunk(b"EXIF", record.removeprefix(b"Exif\x00\x00")))
    body = b"WEBP" + b"".join(kept)
    return CleanPicture(b"RIFF" + len(body).to_bytes(4, "little") + body, "WebP")


def _webp_chunk(name: bytes, payload: bytes) -> bytes:
    return name + len(payload).to_bytes(4, "little") + payload + b"\x00" * (len(payload) % 2)


def _clean_tiff(data: bytes) -> CleanPicture:
    with quiet_warnings(), TiffImagePlugin.TiffImageFile(io.BytesIO(data)) as image:
        _check_pixels(image.size)
        record = harmless_exif(image.getexif(), turned=True)
        image.load()  # this reader turns the picture upright itself
        return _as_png(rgb_from_image(image), record)


def _clean_heif(data: bytes) -> CleanPicture:
    rgb, exif = _heif_pixels(data)
    try:
        blanked = heif_with_pictures_only(data, harmless_exif(exif, turned=True))
        if np.array_equal(_heif_pixels(blanked)[0], rgb):
            return CleanPicture(blanked, "HEIF")
    except (ValueError, OSError, RuntimeError):  # laid out in a way not handled, or no longer read afterwards
        pass
    return _as_png(rgb, harmless_exif(exif, turned=True))


def _heif_pixels(data: bytes) -> tuple[Pixels, bytes | None]:
    """The primary picture, turned as the container says, and its camera record."""
    heif = pillow_heif.open_heif(data, convert_hdr_to_8bit=True)
    _check_pixels(heif.size, heif_pixel_limit(heif.mode, heif.info["bit_depth"]))
    return rgb_from_array(np.asarray(heif)), heif.info.get("exif")


def _as_png(rgb: Pixels, record: bytes) -> CleanPicture:
    file = io.BytesIO()
    Image.fromarray(rgb).save(file, "PNG", compress_level=3, **({"exif": record} if record else {}))
    return CleanPicture(file.getvalue(), "PNG")


def _check_pixels(size: tuple[int, int], most: int = MAX_PIXELS) -> None:
    if size[0] * size[1] > most:
        raise ValueError(f"{size[0]} x {size[1]} pixels are too many")


_CLEANERS: dict[str, Callable[[bytes], CleanPicture]] = {
    "JPEG": _clean_jpeg,
    "PNG": _clean_png,
    "WebP": _clean_webp,
    "HEIF": _clean_heif,
    "TIFF": _clean_tiff,
}
