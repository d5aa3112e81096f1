"""The renderer sees the world where the scenes' own camera says: checked on small dark balls (needs Mitsuba)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sample_images.scenes.camera import Camera, Lens, Phone, look
from sample_images.scenes.guitar import Part
from sample_images.scenes.materials import Material
from sample_images.scenes.picture import distorted
from sample_images.scenes.room import Room
from sample_images.scenes.surfaces import grid_surface

pytest.importorskip("mitsuba")

BALLS_MM = np.array([[-22.0, 0.0, 0.0], [20.0, 1.0, 60.0], [-25.0, -3.0, 180.0], [27.0, 4.0, 300.0], [0.0, 2.0, 430.0]])
BALL_RADIUS_MM = 4.0


def _ball(centre: np.ndarray, index: int) -> Part:
    lat, lon = np.linspace(0.01, np.pi - 0.01, 25)[:, None], np.linspace(0, 2 * np.pi, 49)[None, :]
    unit = np.stack([np.sin(lat) * np.cos(lon), np.cos(lat) + 0 * lon, np.sin(lat) * np.sin(lon)], axis=-1)
    return Part(f"ball{index}", grid_surface(centre + BALL_RADIUS_MM * unit, wrap=True),
                Material((0.001, 0.001, 0.001), 0.9, specular=0.0))


def _tilted_camera() -> Camera:
    phone = Phone(width_px=260, height_px=340)
    lens = Lens(40.0, 6.0, 4.0, k1=0.10)
    position, target = np.array([-60.0, 330.0, -420.0]), np.array([10.0, 0.0, 190.0])
    camera = look(phone, lens, position, target, 12.0, (7.5, -11.25), np.array([0.0, 0.0, 200.0]))
    return replace(camera, aperture_mm=1e-4)


def test_dark_balls_appear_where_the_camera_projects_them_within_a_fifth_of_a_pixel() -> None:
    from sample_images.scenes.render import path_traced, scene_contents, use_variant

    use_variant("scalar_rgb")
    camera = _tilted_camera()
    parts = [_ball(centre, index) for index, centre in enumerate(BALLS_MM)]
    linear = path_traced(scene_contents(parts, Room([], [], 1.0)), camera, 8, 3)
    dark = 1.0 - distorted(linear, camera)[..., 1]
    for place in camera.project(BALLS_MM):
        x0, y0 = np.round(place).astype(int)
        window = np.clip(dark[y0 - 9:y0 + 10, x0 - 9:x0 + 10], 0.0, 1.0)
        rows, columns = np.mgrid[y0 - 9:y0 + 10, x0 - 9:x0 + 10]
        found = np.array([np.sum(window * columns), np.sum(window * rows)]) / np.sum(window)
        assert np.sum(window) > 4.0
        np.testing.assert_allclose(found, place, rtol=0, atol=0.2)
