"""A new camera record (EXIF) with the few entries that say nothing about place, person or device."""

import math

from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from vision.photo.exif import read_camera_record
from vision.photo.quiet import quiet_warnings

_TAG_ORIENTATION, _TAG_EXIF_IFD = 0x0112, 0x8769
_TAG_FOCAL_MM, _TAG_FOCAL_35MM, _TAG_WIDTH, _TAG_HEIGHT = 0x920A, 0xA405, 0xA002, 0xA003
_FOCAL_MAX_MM = 10_000.0
_SIDE_MAX_PX = 2**31


def harmless_exif(source: bytes | Image.Exif | None, *, turned: bool = False) -> bytes:
    """EXIF with orientation, focal lengths and size as taken, built anew from the values read in source.

    turned : the pixels are upright already, so that no orientation may be stated.
    Returns the block that starts "Exif", 0, 0 (CIPA DC-008); empty when source has none of these entries.
    """
    record = read_camera_record(source)
    exif = Image.Exif()
    if record.orientation != 1 and not turned:
        exif[_TAG_ORIENTATION] = record.orientation
    sub = exif.get_ifd(_TAG_EXIF_IFD)
    if record.focal_35mm is not None:
        sub[_TAG_FOCAL_35MM] = round(record.focal_35mm)
    if record.size_px is not None and max(record.size_px) < _SIDE_MAX_PX:
        sub[_TAG_WIDTH], sub[_TAG_HEIGHT] = (round(side) for side in record.size_px)
    focal_mm = _focal_mm(source)
    if focal_mm is not None:
        sub[_TAG_FOCAL_MM] = IFDRational(round(focal_mm * 1000), 1000)
    return exif.tobytes() if len(exif) or sub else b""


def _focal_mm(source: bytes | Image.Exif | None) -> float | None:
    """The real focal length, or None where absent, broken or absurd: the block is free-form and untrusted."""
    if not source:
        return None
    with quiet_warnings():
        try:
            exif = source
            if isinstance(exif, bytes):
                block = exif
                exif = Image.Exif()
                exif.load(block)
            focal_mm = float(exif.get_ifd(_TAG_EXIF_IFD)[_TAG_FOCAL_MM])
        except Exception:
            return None
    return focal_mm if math.isfinite(focal_mm) and 0.0 < focal_mm <= _FOCAL_MAX_MM else None
