"""The scenes' camera and picture against OpenCV's projection and numbers worked out by hand."""

from __future__ import annotations

import io
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from sample_images.scenes.camera import Camera, Lens, LowView, Phone, look, place_low
from sample_images.scenes.neck_shape import NeckCurve, NeckShape
from sample_images.scenes.picture import EXIF_IFD, RENDER_MARGIN_PX, Processing, distorted, jpeg

LENS = Lens(77.0, 9.0, 2.8, k1=0.08, k2=-0.3)
PHONE = Phone(width_px=600, height_px=800)


def oblique_camera(lens: Lens = LENS) -> Camera:
    return look(PHONE, lens, np.array([-40.0, 210.0, -1100.0]), np.array([15.0, -10.0, 230.0]), 3.0, (9.0, -4.5),
                np.array([0.0, 0.0, 200.0]))


def test_seen_level_from_behind_the_nut_the_bass_side_is_on_the_right_and_up_is_up() -> None:
    straight = Lens(77.0, 9.0, 2.8, k1=0.0)
    camera = look(PHONE, straight, np.array([0.0, 0.0, -1000.0]), np.zeros(3), 0.0, (0.0, 0.0), np.zeros(3))
    focal_px = 77.0 * 1000.0 / np.hypot(36.0, 24.0)  # 600 x 800 px has a diagonal of 1000 px
    x, y = camera.project(np.array([-10.0, 5.0, 0.0]))
    assert x == pytest.approx(299.5 + focal_px * 10.0 / 1000.0, rel=0, abs=1e-3)
    assert y == pytest.approx(399.5 - focal_px * 5.0 / 1000.0, rel=0, abs=1e-3)


def test_projection_agrees_with_opencv() -> None:
    camera = oblique_camera()
    points = np.random.default_rng(3).uniform([-60, -30, -50], [60, 30, 600], (40, 3))
    rotation = np.stack([camera.right, camera.down, camera.forward])
    matrix = np.array([[camera.focal_px, 0, camera.centre_px[0]], [0, camera.focal_px, camera.centre_px[1]], [0, 0, 1]])
    expected, _ = cv2.projectPoints(points, cv2.Rodrigues(rotation)[0], -rotation @ camera.position_mm, matrix,
                                    np.array([camera.k1, camera.k2, 0.0, 0.0]))
    np.testing.assert_allclose(camera.project(points), expected[:, 0], rtol=0, atol=1e-6)
    assert np.linalg.det(rotation) == pytest.approx(1.0, rel=0, abs=1e-12)


def test_undistorting_a_projected_point_gives_its_direction_back() -> None:
    camera = oblique_camera()
    points = np.random.default_rng(4).uniform([-150, -90, -50], [150, 90, 600], (40, 3))
    np.testing.assert_allclose(camera.undistort(camera.project(points)), camera.ideal(points), rtol=0, atol=1e-10)


def test_a_low_view_stands_outside_its_string_at_the_stated_elevation() -> None:
    neck = NeckShape(650.0, 22, 42.0, 52.0, 240.0, 240.0, NeckCurve())
    for from_head, z in ((True, -1000.0), (False, float(neck.fret_z_mm()[-1]) + 1000.0)):
        view = LowView(-1.0, from_head, 8.0, 1000.0, outward_mm=12.0)
        camera = place_low(view, neck, PHONE, LENS, (0.0, 0.0))
        middle = neck.fret_z_mm()[-1] / 2.0
        assert camera.position_mm[2] == pytest.approx(z, rel=0, abs=1e-9)
        assert np.rad2deg(np.arctan2(camera.position_mm[1], abs(z - middle))) == pytest.approx(8.0, rel=0, abs=1e-9)
        assert -45.0 < camera.position_mm[0] < -25.0


def test_a_thin_line_drawn_undistorted_lands_where_the_lens_sends_it() -> None:
    camera = oblique_camera(replace(LENS, k1=0.3, k2=0.0))
    height, width = camera.height_px + 2 * RENDER_MARGIN_PX, camera.width_px + 2 * RENDER_MARGIN_PX
    linear = np.zeros((height, width, 3), dtype=np.float32)
    linear[:, 200] = 1.0
    out = distorted(linear, camera)[..., 0]
    ideal_x = (200 - (width - 1) / 2.0) / camera.focal_px
    for row in (30, 400, 770):
        seen = float(np.sum(out[row] * np.arange(camera.width_px)) / np.sum(out[row]))
        ideal_y = camera.undistort(np.array([seen, float(row)]))[1]
        r2 = ideal_x**2 + ideal_y**2
        expected = camera.centre_px[0] + camera.focal_px * ideal_x * (1.0 + 0.3 * r2)
        assert seen == pytest.approx(expected, rel=0, abs=0.05)


def test_a_lens_that_reaches_past_the_rendered_margin_is_refused() -> None:
    camera = oblique_camera(replace(LENS, k1=-1.2, k2=0.0))
    size = (camera.height_px + 2 * RENDER_MARGIN_PX, camera.width_px + 2 * RENDER_MARGIN_PX, 3)
    with pytest.raises(ValueError, match=r"RENDER_MARGIN_PX is too small for camera: k1 -1\.2"):
        distorted(np.zeros(size, dtype=np.float32), replace(camera, centre_px=(240.0, 300.0)))


def test_a_sideways_file_opens_upright_and_tells_the_lens_but_no_maker() -> None:
    picture = np.zeros((80, 60, 3), dtype=np.uint8)
    picture[:20] = 255
    image = Image.open(io.BytesIO(jpeg(picture, LENS, Processing(sideways=True))))
    assert image.size == (80, 60)
    exif = image.getexif()
    assert exif.get_ifd(EXIF_IFD)[0xA405] == 77
    assert 0x010F not in exif
    upright = np.asarray(ImageOps.exif_transpose(image).convert("L"))
    assert upright.shape == (80, 60)
    assert upright[5].mean() > 240.0
    assert upright[70].mean() < 15.0
