"""The one door from bytes to pixels: JPEG, PNG, WebP, HEIF and TIFF, upright, with a focal prior.

JPEG goes through OpenCV, which took half the time and memory of Pillow on 24-megapixel pictures and gave the
same pixels; every other format, and JPEG in four inks, goes through Pillow, HEIF through pillow-heif.
"""

import hashlib
import io
from collections.abc import Callable

import cv2
import numpy as np
import pillow_heif
from PIL import JpegImagePlugin, PngImagePlugin, TiffImagePlugin, WebPImagePlugin

from vision.photo.container import check_jpeg_complete, check_size, container_of, heif_pixel_limit, webp_size
from vision.photo.exif import CameraRecord, focal_prior, read_camera_record, size_flags
from vision.photo.photograph import Photograph, Pixels, SourceFormat, Unreadable
from vision.photo.pixels import rgb_from_array, rgb_from_image, upright
from vision.photo.quiet import quiet_warnings
from vision.photo.refusal import MAX_BYTES, MAX_PIXELS_COSTLY, UnreadableError, unreadable

_TAG_SUBFILE, _TAG_DNG_VERSION = 0x00FE, 0xC612


def decode_photograph(data: bytes, name: str) -> Photograph | Unreadable:
    """Decode one photograph to upright RGB pixels.

    Size limits are checked from the header before any pixel is decoded. The EXIF orientation is applied here
    and nowhere else; HEIF pictures carry their own rotation, which replaces the EXIF one.

    Parameters
    ----------
    data : the whole file.
    name : shown to the user; not opened.

    Returns
    -------
    Photograph, or Unreadable with a code, a reason and advice. No bytes make it raise.

    Raises
    ------
    ValueError : data is not bytes, or name is not a string.
    """
    if not isinstance(data, bytes):
        raise ValueError(f"data must be bytes, got {type(data).__name__} {data!r:.40}")
    if not isinstance(name, str):
        raise ValueError(f"name must be a string, got {name!r:.40}")
    try:
        if len(data) > MAX_BYTES:
            raise UnreadableError("too_many_bytes")
        source_format = container_of(data)
        rgb, record = _READERS[source_format](data)
    except UnreadableError as error:
        return unreadable(name, error)
    except Exception:  # libraries raise nearly any type on hostile bytes; all of it means damaged
        return unreadable(name, UnreadableError("damaged"))
    height, width = rgb.shape[:2]
    focal_px, focal_relative_u = focal_prior(record, width, height)
    return Photograph(
        name,
        rgb,
        focal_px,
        focal_relative_u,
        hashlib.sha256(data).hexdigest(),
        source_format,
        size_flags(record, width, height),
    )


def _read_jpeg(data: bytes) -> tuple[Pixels, CameraRecord]:
    with quiet_warnings(), JpegImagePlugin.JpegImageFile(io.BytesIO(data)) as image:  # header only
        check_size(*image.size)
        check_jpeg_complete(data)
        record = read_camera_record(image.info.get("exif"))
        if image.mode == "CMYK":
            check_size(*image.size, MAX_PIXELS_COSTLY)
            # Pillow reads four inks as inverted, which holds only where the Adobe marker says so.
            image.load()
            rgb = rgb_from_image(image, inverted_ink="adobe" not in image.info)
            return upright(rgb, record.orientation), record
        size = image.size
    bgr = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    if bgr is None or bgr.shape[1::-1] != size:
        raise UnreadableError("damaged")
    rgb = np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), dtype=np.uint8)
    del bgr
    return upright(rgb, record.orientation), record


def _read_png(data: bytes) -> tuple[Pixels, CameraRecord]:
    with quiet_warnings(), PngImagePlugin.PngImageFile(io.BytesIO(data)) as image:
        check_size(*image.size)
        if image.is_animated:
            raise UnreadableError("several_pictures")
        image.load()  # first, since the camera record may stand after the pixels
        record = read_camera_record(image.info.get("exif"))
        return upright(rgb_from_image(image, sixteen_bit=True), record.orientation), record


def _read_webp(data: bytes) -> tuple[Pixels, CameraRecord]:
    size = webp_size(data)
    check_size(*size, MAX_PIXELS_COSTLY)
    with WebPImagePlugin.WebPImageFile(io.BytesIO(data)) as image:
        if image.size != size:
            raise UnreadableError("damaged")
        if getattr(image, "n_frames", 1) > 1:
            raise UnreadableError("several_pictures")
        image.load()
        record = read_camera_record(image.info.get("exif"))
        return upright(rgb_from_image(image), record.orientation), record


def _read_tiff(data: bytes) -> tuple[Pixels, CameraRecord]:
    with quiet_warnings(), TiffImagePlugin.TiffImageFile(io.BytesIO(data)) as image:
        if _TAG_DNG_VERSION in image.tag_v2 or data[8:10] == b"CR" or image.tag_v2.get(_TAG_SUBFILE, 0) == 1:
            raise UnreadableError("raw_format")
        check_size(*image.size)
        if image.is_animated:
            raise UnreadableError("several_pictures")
        record = read_camera_record(image.getexif())
        image.load()  # this reader turns the picture upright itself
        return rgb_from_image(image), record


def _read_heif(data: bytes) -> tuple[Pixels, CameraRecord]:
    heif = pillow_heif.open_heif(data, convert_hdr_to_8bit=True)  # the primary picture; pixels come later
    width, height = heif.size
    check_size(width, height, heif_pixel_limit(heif.mode, heif.info["bit_depth"]))
    record = read_camera_record(heif.info.get("exif"))
    return rgb_from_array(np.asarray(heif)), record  # already turned as the container says


_READERS: dict[SourceFormat, Callable[[bytes], tuple[Pixels, CameraRecord]]] = {
    "JPEG": _read_jpeg,
    "PNG": _read_png,
    "WebP": _read_webp,
    "HEIF": _read_heif,
    "TIFF": _read_tiff,
}
