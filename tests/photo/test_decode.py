"""Decoding: every format made here, orientation by corner colours, kinds of pixels, memory."""

import io
import tracemalloc

import cv2
import numpy as np
import pytest
from PIL import Image, ImageChops

from tests.photo.pictures import (
    CORNERS,
    HEIGHT,
    LOSSY_ATOL,
    WIDTH,
    assert_upright,
    decoded,
    encode,
    exif_bytes,
    scene,
    stored,
)
from vision.photo import decode_photograph


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF", "TIFF"])
def test_every_format_is_turned_upright_once(kind: str, orientation: int) -> None:
    data = encode(stored(orientation), kind, exif=exif_bytes(orientation))
    photograph = decoded(data)
    assert_upright(photograph.rgb, 0 if kind in ("PNG", "TIFF") else LOSSY_ATOL)
    assert photograph.source_format.upper() == kind


def test_jpeg_pixels_are_those_of_the_reference_decoder() -> None:
    data = encode(scene(), "JPEG")
    reference = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    np.testing.assert_array_equal(decoded(data).rgb, reference)


def test_orientation_outside_one_to_eight_is_ignored() -> None:
    for value in (0, 9, 60000):
        assert_upright(decoded(encode(scene(), "PNG", exif=exif_bytes(value))).rgb, 0)


def test_grey_palette_and_bilevel_pictures_get_three_channels() -> None:
    grey = Image.fromarray(scene()).convert("L")
    for data in (encode(grey, "PNG"), encode(grey, "TIFF")):
        rgb = decoded(data).rgb
        np.testing.assert_array_equal(rgb, np.repeat(np.asarray(grey)[..., None], 3, axis=2))
    jpeg = decoded(encode(grey, "JPEG")).rgb
    np.testing.assert_array_equal(jpeg[..., 0], jpeg[..., 2])
    palette = Image.fromarray(scene()).quantize(16)
    np.testing.assert_array_equal(decoded(encode(palette, "PNG")).rgb, np.asarray(palette.convert("RGB")))
    bilevel = grey.convert("1")
    assert set(np.unique(decoded(encode(bilevel, "PNG")).rgb)) == {0, 255}


def test_transparent_parts_become_mid_grey() -> None:
    alpha = np.full((HEIGHT, WIDTH), 255, np.uint8)
    alpha[:200, :240] = 0
    alpha[-200:, -240:] = 51  # one fifth
    rgb = decoded(encode(np.dstack([scene(), alpha]), "PNG")).rgb
    np.testing.assert_allclose(rgb[60, 60], 128, rtol=0, atol=0)
    np.testing.assert_array_equal(rgb[60, WIDTH - 60], CORNERS["top", "right"])
    expected = 128 + (np.array(CORNERS["bottom", "right"]) - 128) / 5
    np.testing.assert_allclose(rgb[-60, -60], expected, rtol=0, atol=1.0)
    grey = Image.fromarray(np.dstack([scene()[..., 0], alpha]), "LA")
    assert decoded(encode(grey, "PNG")).rgb[60, 60].tolist() == [128, 128, 128]
    keyed = encode(Image.fromarray(scene()), "PNG", transparency=CORNERS["top", "left"])
    assert decoded(keyed).rgb[60, 60].tolist() == [128, 128, 128]


def test_sixteen_bit_pictures_are_scaled_to_eight() -> None:
    ramp = np.linspace(0, 65535, WIDTH).astype(np.uint16)
    grey = np.repeat(ramp[None, :], HEIGHT, axis=0)
    colour = np.dstack([grey, grey[:, ::-1], np.full_like(grey, 32768)])
    ok, png = cv2.imencode(".png", colour[..., ::-1])
    assert ok
    for data, expected in (
        (encode(Image.fromarray(grey), "PNG"), np.dstack([grey] * 3)),
        (encode(Image.fromarray(grey), "TIFF"), np.dstack([grey] * 3)),
        (png.tobytes(), colour),
    ):
        rgb = decoded(data).rgb
        np.testing.assert_allclose(rgb.astype(float), expected / 257.0, rtol=0, atol=1.0)
        assert rgb[0, 0, 0] == 0
        assert rgb[0, -1, 0] == 255


def test_four_ink_pictures_with_and_without_the_adobe_marker() -> None:
    inks = Image.fromarray(scene()).convert("CMYK")
    with_marker = encode(inks, "JPEG")  # written inverted, with the marker that says so
    assert b"Adobe" in with_marker[:200]
    assert_upright(decoded(with_marker).rgb, LOSSY_ATOL)
    plain = encode(ImageChops.invert(inks), "JPEG")
    start = plain.index(b"\xff\xee")
    length = int.from_bytes(plain[start + 2 : start + 4], "big")
    assert_upright(decoded(plain[:start] + plain[start + 2 + length :]).rgb, LOSSY_ATOL)
    assert_upright(decoded(encode(inks, "TIFF")).rgb, 1.0)


def test_pictures_with_more_behind_the_end_are_read() -> None:
    data = encode(scene(), "JPEG") + encode(scene()[::-1], "JPEG")
    assert_upright(decoded(data).rgb, LOSSY_ATOL)
    assert_upright(decoded(encode(scene(), "JPEG", progressive=True) + b"\x00" * 500).rgb, LOSSY_ATOL)


def test_memory_stays_near_two_pictures() -> None:
    data = encode(Image.new("RGB", (4000, 3000), (90, 80, 70)), "JPEG", exif=exif_bytes(6))
    tracemalloc.start()
    try:
        photograph = decoded(data)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert photograph.rgb.nbytes <= peak <= 2.2 * photograph.rgb.nbytes


def test_misuse_names_the_argument() -> None:
    with pytest.raises(ValueError, match=r"data must be bytes, got str 'photo\.jpg'"):
        decode_photograph("photo.jpg", "a")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="name must be a string, got None"):
        decode_photograph(b"", None)  # type: ignore[arg-type]
