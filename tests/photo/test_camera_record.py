"""The camera's record: focal length by the diagonal rule, changed sizes, and records that are broken."""

import math
import struct

import numpy as np
import pytest
from PIL import Image, TiffImagePlugin

from tests.photo.pictures import HEIGHT, WIDTH, decoded, encode, exif_bytes, scene
from vision.photo.exif import CameraRecord, focal_prior


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
    ("width_px", "height_px", "relative_u"),
    [(4000, 3000, 0.04), (3000, 4000, 0.04), (6000, 4000, 0.04), (4000, 2250, 0.08), (3000, 3000, 0.08)],
)
def test_focal_prior_is_wider_for_pictures_no_sensor_has_the_shape_of(
    width_px: int, height_px: int, relative_u: float
) -> None:
    # [practice] sensors are 4:3 or 3:2; another shape was cut out of one, and by how much is not known.
    _, u = focal_prior(CameraRecord(focal_35mm=26.0), width_px, height_px)
    rounding = 0.5 / math.sqrt(3.0) / 26.0  # whole millimetres: rectangular, JCGM 100:2008, 4.3.7
    assert u == pytest.approx(math.hypot(relative_u, rounding), rel=0, abs=1e-9)


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
