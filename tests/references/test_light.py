"""Statements on light: sRGB to linear light, blur by the lens's own geometry, and where a crown mirrors a lamp."""

import numpy as np
import pytest
from scipy.optimize import brentq
from skimage.color import rgb2xyz

from vision.fit.camera import CameraModel
from vision.trace.blur import Blur
from vision.trace.end_drawing import CROWN_HEIGHT_MM, HALF_CROWN_MM
from vision.trace.lanes import highlight_place_mm
from vision.trace.strip import linear_light


def test_linear_light_is_the_luminance_of_scikit_image() -> None:
    # IEC 61966-2-1 by an independent library; its Y weights, printed with more digits, differ by up to 1e-4.
    grey = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    np.testing.assert_allclose(linear_light(grey)[0], rgb2xyz(grey)[0, :, 1], rtol=0, atol=1e-6)
    colours = np.random.default_rng(2).integers(0, 256, (1, 200, 3), dtype=np.uint8)
    np.testing.assert_allclose(linear_light(colours)[0], rgb2xyz(colours)[0, :, 1], rtol=0, atol=1.5e-4)


def test_blur_is_the_cone_behind_a_thin_lens() -> None:
    """Image distances by the lens equation 1/u + 1/v = 1/f, the disc by similar triangles between lens and sensor."""
    focal_m, stop_radius_m, pixel_m, focus_m = 9e-3, 2.2e-3, 1.4e-6, 1.25
    depth_m = np.array([0.8, 1.0, 1.25, 1.6, 2.4])
    sensor_m = 1.0 / (1.0 / focal_m - 1.0 / focus_m)
    image_m = 1.0 / (1.0 / focal_m - 1.0 / depth_m)
    expected = stop_radius_m * np.abs(sensor_m - image_m) / image_m / pixel_m
    blur = Blur(float(np.log(stop_radius_m * sensor_m / pixel_m)), 1.0 / focus_m, 0.0, 0.0)
    np.testing.assert_allclose(blur.disc_px(depth_m), expected, rtol=0, atol=1e-9)
    assert 3.0 < expected.max() < 12.0  # as large as phones blur the ends of a neck


@pytest.mark.parametrize("lamp_deg", [0.0, 35.0])
def test_a_crown_mirrors_a_lamp_where_its_normal_bisects(lamp_deg: float) -> None:
    """The place on a round crown is solved for; the formula used is its first order in the angle of sight."""
    z_mm = np.linspace(36.0, 466.0, 22)
    eye = np.array([900.0, 260.0])  # up from the board, along the neck
    radius = (HALF_CROWN_MM**2 + CROWN_HEIGHT_MM**2) / (2.0 * CROWN_HEIGHT_MM)
    camera = CameraModel(np.eye(3), -np.array([0.0, *eye]), 3000.0, 0.0, np.zeros(2))

    def off_mirror(normal: float, z: float) -> float:
        """Angle of the normal less that of the bisector of lamp and sight, at that place of the crown."""
        up, along = radius * np.cos(normal), z + radius * np.sin(normal)
        return float(normal - 0.5 * (np.radians(lamp_deg) + np.arctan2(eye[1] - along, eye[0] - up)))

    place = np.array([radius * np.sin(brentq(off_mirror, -1.2, 1.2, args=(z,))) for z in z_mm])
    found = highlight_place_mm(z_mm, camera)
    wander = float(np.ptp(place))
    assert 0.2 < wander < 0.4
    # A place off the middle of the crown moves by less, as the cosine of the normal's angle.
    expected = (place - place.mean()) / np.cos(np.arcsin(place.mean() / radius))
    np.testing.assert_allclose(found, expected, rtol=0, atol=0.05 * wander)
