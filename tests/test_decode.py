"""Decoding: every format made here, orientation by corner colours, the EXIF prior, and hostile bytes."""

import hashlib
import io
import math
import struct
import tracemalloc
import zlib

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageChops, PngImagePlugin, TiffImagePlugin, WebPImagePlugin

from vision.photo import Photograph, Unreadable, decode_photograph
from vision.photo.container import check_jpeg_complete
from vision.photo.photograph import Pixels
from vision.photo.refusal import MAX_BYTES, UnreadableError

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


def test_focal_prior_follows_the_diagonal_rule() -> None:
    # 26 mm on 4032 x 3024: 3028.66 px by the CIPA rule; the width rule gives 2912.00, inside one u.
    picture = Image.new("RGB", (4032, 3024), (90, 90, 90))
    for orientation in (1, 6):
        photograph = decoded(encode(picture, "JPEG", exif=exif_bytes(orientation, focal_35mm=26)))
        assert photograph.focal_prior_px == pytest.approx(3028.66, rel=0, abs=0.01)
        u_px = photograph.focal_prior_relative_u * 3028.66
        assert 3028.66 - 2912.00 < u_px < 1.2 * (3028.66 - 2912.00)
        assert photograph.flags == ()


@pytest.mark.parametrize(
    ("value", "known"),
    [(0, False), (7, False), (8, True), (400, True), (401, False), (65535, False), ("26", False)],
)
def test_focal_prior_range(value: object, known: bool) -> None:
    photograph = decoded(encode(scene(), "PNG", exif=exif_bytes(focal_35mm=value)))
    if known:
        expected = float(str(value)) * math.hypot(WIDTH, HEIGHT) / 43.2666
        assert photograph.focal_prior_px == pytest.approx(expected, rel=0, abs=1e-6)
    else:
        assert photograph.focal_prior_px is None


def test_focal_prior_is_read_from_every_format_and_zoom_is_not_applied_again() -> None:
    expected = 52 * math.hypot(WIDTH, HEIGHT) / 43.2666
    for kind in ("JPEG", "PNG", "WEBP", "HEIF", "TIFF"):
        block = exif_bytes(focal_35mm=52, zoom=TiffImagePlugin.IFDRational(2, 1))
        photograph = decoded(encode(scene(), kind, exif=block))
        assert photograph.focal_prior_px == pytest.approx(expected, rel=0, abs=1e-6), kind
        assert photograph.focal_prior_relative_u == pytest.approx(0.08, rel=0, abs=0.001)  # 1.18 to 1


@pytest.mark.parametrize(
    ("size", "edited"),
    [
        ((WIDTH, HEIGHT), False),
        ((HEIGHT, WIDTH), False),
        ((WIDTH + 4, HEIGHT - 4), False),
        ((WIDTH * 2, HEIGHT * 2), True),
        ((WIDTH, HEIGHT + 40), True),
        ((WIDTH // 2, HEIGHT), True),
    ],
)
def test_changed_size_is_flagged_and_drops_the_prior(size: tuple[int, int], edited: bool) -> None:
    block = exif_bytes(focal_35mm=52, width=size[0], height=size[1])
    photograph = decoded(encode(scene(), "PNG", exif=block))
    assert [flag.code for flag in photograph.flags] == (["maybe_edited"] if edited else [])
    assert (photograph.focal_prior_px is None) == edited


def test_broken_camera_records_never_raise_nor_leave_the_range() -> None:
    rng = np.random.default_rng(41)
    block = exif_bytes(6, focal_35mm=52, width=WIDTH, height=HEIGHT)
    low, high = (limit * math.hypot(WIDTH, HEIGHT) / 43.2666 for limit in (8.0, 400.0))
    plain = encode(scene(), "JPEG")
    priors = set()
    for trial in range(200):
        broken = bytearray(block)
        for position in rng.integers(0, len(broken), rng.integers(1, 6)):
            broken[position] = rng.integers(256)
        cut = bytes(broken[: rng.integers(4, len(broken) + 1)]) if trial % 2 else bytes(broken)
        body = b"Exif\x00\x00" + cut.removeprefix(b"Exif\x00\x00")
        data = plain[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + plain[2:]
        photograph = decoded(data)
        assert sorted(photograph.rgb.shape[:2]) == [HEIGHT, WIDTH]
        priors.add(photograph.focal_prior_px is None)
        if photograph.focal_prior_px is not None:
            assert low <= photograph.focal_prior_px <= high
    assert priors == {True, False}  # the trials reached both outcomes


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
