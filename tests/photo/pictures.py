"""Pictures of one scene in every format, made here, and what their decoding must look like."""

import hashlib
import io

import numpy as np
import pillow_heif
from PIL import Image

from vision.photo import Photograph, Unreadable, decode_photograph
from vision.photo.photograph import Pixels

WIDTH, HEIGHT = 720, 608
CORNERS = {
    ("top", "left"): (220, 30, 30),
    ("top", "right"): (30, 200, 30),
    ("bottom", "left"): (30, 30, 220),
    ("bottom", "right"): (210, 200, 40),
}
LOSSY_ATOL = 12  # grey levels, at the middle of flat areas
# EXIF orientation (CIPA DC-008, tag 0x0112): where stored row 0 and stored column 0 lie in the scene.
ORIENTATIONS = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}
CODES = {
    "empty",
    "too_many_bytes",
    "not_a_picture",
    "format_not_read",
    "raw_format",
    "several_pictures",
    "too_small",
    "too_large",
    "pixel_kind",
    "damaged",
}


def scene() -> Pixels:
    rgb = np.full((HEIGHT, WIDTH, 3), 128, np.uint8)
    for (row, column), colour in CORNERS.items():
        rows = slice(0, 200) if row == "top" else slice(HEIGHT - 200, HEIGHT)
        columns = slice(0, 240) if column == "left" else slice(WIDTH - 240, WIDTH)
        rgb[rows, columns] = colour
    return rgb


def stored(orientation: int) -> Pixels:
    """The scene as a camera stores it, from the definition of the tag alone."""
    row0, column0 = ORIENTATIONS[orientation]
    rgb = scene()
    if row0 in ("left", "right"):
        rgb = rgb.swapaxes(0, 1)
    rgb = rgb[::-1] if row0 in ("bottom", "right") else rgb
    rgb = rgb[:, ::-1] if column0 in ("bottom", "right") else rgb
    return np.ascontiguousarray(rgb)


def exif_bytes(orientation: int | None = None, **sub: object) -> bytes:
    tags = {"focal_35mm": 0xA405, "width": 0xA002, "height": 0xA003, "zoom": 0xA404}
    exif = Image.Exif()
    if orientation is not None:
        exif[0x0112] = orientation
    for key, value in sub.items():
        exif.get_ifd(0x8769)[tags[key]] = value
    return exif.tobytes()


def encode(picture: Pixels | Image.Image, kind: str, **options: object) -> bytes:
    image = picture if isinstance(picture, Image.Image) else Image.fromarray(picture)
    buffer = io.BytesIO()
    if kind == "HEIF":
        heif = pillow_heif.from_pillow(image)
        if "exif" in options:
            heif.info["exif"] = options["exif"]
        heif.save(buffer, quality=90)
    else:
        image.save(buffer, kind, **({"quality": 95} if kind in ("JPEG", "WEBP") else {}), **options)
    return buffer.getvalue()


def decoded(data: bytes) -> Photograph:
    result = decode_photograph(data, "picture")
    assert isinstance(result, Photograph), result
    assert result.rgb.dtype == np.uint8
    assert result.rgb.flags.c_contiguous
    assert result.sha256 == hashlib.sha256(data).hexdigest()
    return result


def refused(data: bytes) -> Unreadable:
    result = decode_photograph(data, "picture")
    assert isinstance(result, Unreadable), "was decoded"
    assert result.code in CODES
    assert result.name == "picture"
    assert result.reason
    assert result.advice.endswith(".")
    assert "{" not in result.reason
    return result


def assert_upright(rgb: Pixels, atol: float) -> None:
    assert rgb.shape == (HEIGHT, WIDTH, 3)
    for (row, column), colour in CORNERS.items():
        y = 60 if row == "top" else HEIGHT - 60
        x = 60 if column == "left" else WIDTH - 60
        np.testing.assert_allclose(rgb[y, x].astype(float), colour, rtol=0, atol=atol)
