"""The light in which frets stand out: brightness unless a colour is much clearer."""

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.neck_models import camera_beyond_nut, flat_neck, middle_of_picture_px
from vision.fit.camera import CameraModel, project
from vision.fit.neck_model import fret_points
from vision.trace.strip import LUMINANCE, NeckLight, crop_light, linear_light, neck_light

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

_WIDTH_PX, _HEIGHT_PX = 500, 700
_WOOD = (178, 106, 60)
_GREY = 123  # as bright as that wood, see the first test
_CAMERA = camera_beyond_nut(60.0, 900.0, 1500.0, middle_of_picture_px(_WIDTH_PX, _HEIGHT_PX))
_LOW = camera_beyond_nut(14.0, 900.0, 3000.0, middle_of_picture_px(_WIDTH_PX, _HEIGHT_PX))


def _picture(
    wood: tuple[int, int, int], metal: tuple[int, int, int], *, camera: CameraModel = _CAMERA
) -> tuple[Pixels, Array]:
    """Frets as stripes across even wood; noise the same in all channels."""
    model, theta = flat_neck(12)
    frets = np.arange(model.frets)
    ends = np.stack(
        [project(fret_points(model, theta, frets, np.full(model.frets, s))[0], camera)[0] for s in (-1.0, 1.0)],
        axis=1,
    )
    noise = np.random.default_rng(3).normal(0.0, 2.0, (_HEIGHT_PX, _WIDTH_PX, 1))
    rgb = np.broadcast_to(np.array(wood, dtype=np.float64), (_HEIGHT_PX, _WIDTH_PX, 3)).copy()
    y = np.arange(_HEIGHT_PX)[:, None]
    for row in ends[:, :, 1].mean(axis=1):
        rgb[np.abs(y[:, 0] - row) < 2.0] = metal
    return np.clip(rgb + noise, 0, 255).astype(np.uint8), ends.reshape(-1, 2)


def _lights(rgb: Pixels, around: Array, camera: CameraModel) -> NeckLight:
    model, theta = flat_neck(12)
    return neck_light(rgb, around, camera, model, theta)


def _chosen(rgb: Pixels, around: Array) -> NDArray[np.float32]:
    return _lights(rgb, around, _CAMERA).clearest.light


def test_the_wood_is_as_bright_as_the_metal_and_redder() -> None:
    light = linear_light(np.array([[_WOOD, (_GREY,) * 3]], dtype=np.uint8))
    assert light[0, 0] == pytest.approx(light[0, 1], rel=0, abs=0.004)
    # Relative luminance of the sRGB standard (IEC 61966-2-1) [worked]: 0.2126 R + 0.7152 G + 0.0722 B, linear.
    linear = [((c / 255 + 0.055) / 1.055) ** 2.4 for c in _WOOD]
    expected = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    assert light[0, 0] == pytest.approx(expected, rel=0, abs=1e-5)


def test_metal_as_bright_as_the_wood_is_seen_in_a_colour() -> None:
    rgb, around = _picture(_WOOD, (_GREY, _GREY, _GREY))
    chosen, plain = _chosen(rgb, around), crop_light(rgb, around).light
    rows = np.median(chosen, axis=1), np.median(plain, axis=1)
    contrast = [float(np.ptp(r)) for r in rows]
    assert contrast[0] > 8.0 * contrast[1]
    assert contrast[1] < 0.02


def test_bright_metal_is_seen_in_brightness() -> None:
    rgb, around = _picture((60, 40, 30), (170, 170, 170))
    np.testing.assert_allclose(_chosen(rgb, around), crop_light(rgb, around, mix=LUMINANCE).light, rtol=0, atol=0)


def test_a_colour_a_little_clearer_is_not_preferred() -> None:
    """Colours are stored more coarsely: grey metal on reddish wood stays in brightness."""
    rgb, around = _picture((120, 95, 85), (165, 165, 165))
    np.testing.assert_allclose(_chosen(rgb, around), crop_light(rgb, around, mix=LUMINANCE).light, rtol=0, atol=0)


def test_beside_it_stands_the_light_in_which_wood_is_dark() -> None:
    rgb, around = _picture((60, 40, 30), (170, 170, 170), camera=_LOW)
    light = _lights(rgb, around, _LOW)
    np.testing.assert_array_equal(light.wood_dark.origin_px, light.clearest.origin_px)
    assert light.wood_dark.light.shape == light.clearest.light.shape
    both = light.clearest.light, light.wood_dark.light
    wood, metal = (np.array([np.percentile(one, share) for one in both]) for share in (40, 99))
    # Linear light of the wood after IEC 61966-2-1 [worked]: 0.0452, 0.0212, 0.0130; so brightness and the mean of the
    # last two.
    np.testing.assert_allclose(wood, [0.0257, 0.0171], rtol=0, atol=0.0015)
    assert metal[0] == pytest.approx(metal[1], rel=0, abs=0.01)


def test_one_light_serves_where_a_colour_is_clearest_and_from_the_front() -> None:
    coloured = _lights(*_picture(_WOOD, (_GREY, _GREY, _GREY), camera=_LOW), _LOW)
    assert coloured.wood_dark is coloured.clearest
    front = _lights(*_picture((60, 40, 30), (170, 170, 170)), _CAMERA)
    assert front.wood_dark is front.clearest
