"""The light in which frets stand out: brightness unless a colour is much clearer."""

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.neck_models import camera_beyond_nut, flat_neck, middle_of_picture_px
from vision.fit.camera import project
from vision.fit.neck_model import fret_points
from vision.trace.strip import LUMINANCE, clearest_light, crop_light, linear_light

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

_WIDTH_PX, _HEIGHT_PX = 500, 700
_WOOD = (178, 106, 60)
_GREY = 123  # as bright as that wood, see the first test
_CAMERA = camera_beyond_nut(60.0, 900.0, 1500.0, middle_of_picture_px(_WIDTH_PX, _HEIGHT_PX))


def _picture(wood: tuple[int, int, int], metal: tuple[int, int, int], seed: int = 3) -> tuple[Pixels, Array]:
    """Frets as stripes across even wood; noise the same in all channels."""
    model, theta = flat_neck(12)
    frets = np.arange(model.frets)
    ends = np.stack(
        [project(fret_points(model, theta, frets, np.full(model.frets, s))[0], _CAMERA)[0] for s in (-1.0, 1.0)],
        axis=1,
    )
    noise = np.random.default_rng(seed).normal(0.0, 2.0, (_HEIGHT_PX, _WIDTH_PX, 1))
    rgb = np.broadcast_to(np.array(wood, dtype=np.float64), (_HEIGHT_PX, _WIDTH_PX, 3)).copy()
    y = np.arange(_HEIGHT_PX)[:, None]
    for row in ends[:, :, 1].mean(axis=1):
        rgb[np.abs(y[:, 0] - row) < 2.0] = metal
    return np.clip(rgb + noise, 0, 255).astype(np.uint8), ends.reshape(-1, 2)


def _chosen(rgb: Pixels, around: Array) -> NDArray[np.float32]:
    model, theta = flat_neck(12)
    return clearest_light(rgb, around, _CAMERA, model, theta).light


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
