"""Recognise the container from its first bytes, and read sizes before any pixel is decoded.

Only the readers named here are ever started; nothing is guessed from a file name, and no other parser of
the imaging library can be reached with a chosen signature.
"""

import re
import struct

from vision.photo.photograph import SourceFormat
from vision.photo.refusal import MAX_PIXELS, MAX_PIXELS_COSTLY, MIN_SHORT_SIDE_PX, UnreadableError

_HEVC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs"}
_KNOWN_BUT_NOT_READ = (
    (b"GIF87a", "GIF"),
    (b"GIF89a", "GIF"),
    (b"BM", "BMP"),
    (b"%PDF", "PDF"),
    (b"\x00\x00\x00\x0cJXL ", "JPEG XL"),
    (b"\xff\x0a", "JPEG XL"),
    (b"\x00\x00\x00\x0cjP  ", "JPEG 2000"),
)
_JPEG_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")  # after a scan: not stuffing, restart or fill
_MAX_JPEG_SCANS = 100  # ordinary progressive files have about ten; each costs a pass over all pixels


def container_of(data: bytes) -> SourceFormat:
    """Name the container by its signature.

    Raises
    ------
    UnreadableError : empty, unknown, or a format that is known but not read.
    """
    if not data:
        raise UnreadableError("empty")
    if data[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    if data[:4] in (b"II*\x00", b"MM\x00*"):
        return "TIFF"
    if data[4:8] == b"ftyp":
        brands = {data[i : i + 4] for i in (8, *range(16, min(_u32(data[:4]), 128), 4))}
        if brands & {b"avif", b"avis"} and not brands & _HEVC_BRANDS:
            raise UnreadableError("format_not_read", "AVIF")
        if brands & (_HEVC_BRANDS | {b"mif1", b"msf1"}):
            return "HEIF"
        raise UnreadableError("format_not_read", "video or other media")
    for signature, label in _KNOWN_BUT_NOT_READ:
        if data.startswith(signature):
            raise UnreadableError("format_not_read", label)
    raise UnreadableError("not_a_picture")


def check_size(width: int, height: int, most: int = MAX_PIXELS) -> None:
    """Refuse sizes outside the limits, from the header alone. most : pixels that this reader can take.

    Raises
    ------
    UnreadableError : too small for fret lines, or too large for memory.
    """
    if width * height > most:
        raise UnreadableError("too_large", f"{width} x {height} pixels; the limit is {most // 1_000_000}")
    if min(width, height) < MIN_SHORT_SIDE_PX:
        raise UnreadableError("too_small", f"{width} x {height}")


def heif_pixel_limit(mode: str, bit_depth: int) -> int:
    """Pixels that the HEIF reader can take: it holds deep tones with transparency twice at 16 bits each."""
    return MAX_PIXELS_COSTLY if mode == "RGBA" and bit_depth > 8 else MAX_PIXELS


def webp_size(data: bytes) -> tuple[int, int]:
    """Width and height from a WebP header (RFC 9649), because the reader allocates its canvas on opening.

    Raises
    ------
    UnreadableError : the header is cut off, unknown or of an animation.
    """
    if len(data) < 30:
        raise UnreadableError("damaged")
    chunk = data[12:16]
    if chunk == b"VP8X":
        if data[20] & 0x02:
            raise UnreadableError("several_pictures")
        return 1 + int.from_bytes(data[24:27], "little"), 1 + int.from_bytes(data[27:30], "little")
    if chunk == b"VP8L" and data[20] == 0x2F:
        bits = int.from_bytes(data[21:25], "little")
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    if chunk == b"VP8 " and data[23:26] == b"\x9d\x01\x2a":
        width, height = struct.unpack("<HH", data[26:30])
        return width & 0x3FFF, height & 0x3FFF
    raise UnreadableError("damaged")


def check_jpeg_complete(data: bytes) -> None:
    """Walk the markers to the end of the first picture (ITU-T T.81 B.1.1); more may follow it in the file.

    Some decoders fill a cut-off picture with grey and say nothing, which would look like a measurement.

    Raises
    ------
    UnreadableError : the end-of-image marker is missing, or there are absurdly many scans.
    """
    position, scans = 2, 0
    while True:
        found = _JPEG_MARKER.search(data, position)
        if found is None:
            raise UnreadableError("damaged")
        marker, position = data[found.start() + 1], found.end()
        if marker == 0xD9:
            if scans == 0:
                raise UnreadableError("damaged")
            return
        if marker in (0x01, 0xD8):  # markers without a length
            continue
        if marker == 0xDA:
            scans += 1
            if scans > _MAX_JPEG_SCANS:
                raise UnreadableError("damaged")
        length = int.from_bytes(data[position : position + 2], "big")
        if length < 2:
            raise UnreadableError("damaged")
        position += length


def _u32(four: bytes) -> int:
    return int.from_bytes(four, "big")
