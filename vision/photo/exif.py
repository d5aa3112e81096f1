"""What a photograph's camera record (EXIF) says, read as a hint that may be wrong, broken or hostile."""

import math
from dataclasses import dataclass

from PIL import Image

from vision.photo.quiet import quiet_warnings
from vision.results import Flag

_TAG_ORIENTATION = 0x0112
_TAG_EXIF_IFD = 0x8769
_TAG_FOCAL_35MM = 0xA405
_TAG_WIDTH, _TAG_HEIGHT = 0xA002, 0xA003

FULL_FRAME_DIAGONAL_MM = 43.2666  # hypot(36, 24)
FOCAL_35MM_MIN, FOCAL_35MM_MAX = 8.0, 400.0
_RELATIVE_U = 0.04  # diagonal rule against width rule on a 4:3 picture differ by 4 %
_RELATIVE_U_ODD_ASPECT = 0.08  # 16:9 and the like: many makers keep the figure of the uncropped sensor
_ASPECT_TOLERANCE = 0.01
_SIZE_TOLERANCE = 0.01


@dataclass(frozen=True)
class CameraRecord:
    """The few EXIF entries used. None where absent, broken or out of range."""

    orientation: int = 1  # 1 to 8
    focal_35mm: float | None = None
    size_px: tuple[float, float] | None = None  # picture size when taken, order as written


def read_camera_record(source: bytes | Image.Exif | None) -> CameraRecord:
    """Read orientation, 35 mm-equivalent focal length and original size. Never raises on broken EXIF.

    Only the EXIF block counts for orientation, as in ordinary viewers; editors' XMP notes are not read.
    """
    if not source:
        return CameraRecord()
    top: dict[int, object] = {}
    sub: dict[int, object] = {}
    with quiet_warnings():
        try:
            exif = source
            if isinstance(exif, bytes):
                block = exif
                exif = Image.Exif()
                exif.load(block)
            top = {_TAG_ORIENTATION: exif.get(_TAG_ORIENTATION)}
            sub = dict(exif.get_ifd(_TAG_EXIF_IFD))
        except Exception:  # the block is free-form and untrusted; whatever was read so far is checked below
            pass
    orientation = top.get(_TAG_ORIENTATION)
    focal = _positive(sub.get(_TAG_FOCAL_35MM))
    width, height = _positive(sub.get(_TAG_WIDTH)), _positive(sub.get(_TAG_HEIGHT))
    return CameraRecord(
        orientation if isinstance(orientation, int) and 1 <= orientation <= 8 else 1,
        focal if focal is not None and FOCAL_35MM_MIN <= focal <= FOCAL_35MM_MAX else None,
        (width, height) if width is not None and height is not None else None,
    )


def focal_prior(record: CameraRecord, width_px: int, height_px: int) -> tuple[float | None, float]:
    """Focal length in px by the diagonal rule f = f35 hypot(W, H) / 43.2666 (CIPA), and its relative u.

    A digital zoom is already inside the 35 mm equivalent by the standard and is not applied again.
    None when there is no figure, or when the picture no longer has the size its camera wrote: a crop changes
    the relation by an unknown factor and moves the centre, and a crop cannot be told from a reduction.
    """
    u = _RELATIVE_U if _usual_aspect(width_px, height_px) else _RELATIVE_U_ODD_ASPECT
    if record.focal_35mm is None or size_changed(record, width_px, height_px):
        return None, u
    focal_px = record.focal_35mm * math.hypot(width_px, height_px) / FULL_FRAME_DIAGONAL_MM
    rounding = 0.5 / math.sqrt(3.0) / record.focal_35mm  # the entry is a whole number of millimetres
    return focal_px, math.hypot(u, rounding)


def size_changed(record: CameraRecord, width_px: int, height_px: int) -> bool:
    """True when the picture has another size than its camera wrote, either way up (1 % for block padding)."""
    if record.size_px is None:
        return False
    written, actual = sorted(record.size_px), sorted((width_px, height_px))
    return any(abs(w / a - 1.0) > _SIZE_TOLERANCE for w, a in zip(written, actual, strict=True))


def size_flags(record: CameraRecord, width_px: int, height_px: int) -> tuple[Flag, ...]:
    """The flag for a picture that was probably cropped, straightened or made smaller."""
    if record.size_px is None or not size_changed(record, width_px, height_px):
        return ()
    written = " x ".join(f"{side:.0f}" for side in sorted(record.size_px, reverse=True))
    actual = " x ".join(f"{side}" for side in sorted((width_px, height_px), reverse=True))
    return (
        Flag(
            "maybe_edited",
            f"The picture is {actual} pixels, but its camera recorded {written}: "
            "maybe cropped, straightened or made smaller.",
            "Send the file as the camera saved it, not a crop, a straightened copy or one from a message.",
        ),
    )


def _usual_aspect(width_px: int, height_px: int) -> bool:
    aspect = max(width_px, height_px) / min(width_px, height_px)
    return any(abs(aspect / usual - 1.0) <= _ASPECT_TOLERANCE for usual in (4 / 3, 3 / 2))


def _positive(value: object) -> float | None:
    """A finite positive number, or None. EXIF values can be of any type, rationals with a zero below too."""
    if isinstance(value, (bool, str, bytes)):
        return None
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if math.isfinite(number) and number > 0.0 else None
