"""Centre lines of drawn strings: slanted, tapering with distance, shaded from one side, blurred, noisy."""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from vision.trace.blur import Blur
from vision.trace.string_profile import StringCentre, refine_string
from vision.trace.strip import LightCrop

Array = NDArray[np.float64]

_WIDTH_PX, _HEIGHT_PX = 150, 620
_SUPER = 6
_SIGMA_PX = 1.0
_NOISE = 0.004
_NEAR, _FAR = np.array([58.3, 590.0]), np.array([91.7, 30.0])  # ends of the true centre line
_PX_PER_MM = np.array([9.0, 6.5])
_DEPTH_M = np.array([0.9, 0.9 * 9.0 / 6.5])
_ORIGIN = np.array([700.0, 300.0])  # the crop's place in the full picture


@dataclass(frozen=True)
class Look:
    """Light of background and string; shade: from -1 (lit on one edge) over 0 (even) to 1 (on the other)."""

    background: float = 0.10
    string: float = 0.45
    shade: float = 0.0
    radius_mm: float = 0.3


def _picture(look: Look, seed: int) -> LightCrop:
    """Band of half-width r about the line, its light a smooth bump whose place the shading shifts."""
    x = (np.arange(_WIDTH_PX * _SUPER) + 0.5) / _SUPER - 0.5
    y = (np.arange(_HEIGHT_PX * _SUPER) + 0.5) / _SUPER - 0.5
    chord = _FAR - _NEAR
    length = float(np.hypot(*chord))
    along = ((x[None, :] - _NEAR[0]) * chord[0] + (y[:, None] - _NEAR[1]) * chord[1]) / length**2
    normal = np.array([-chord[1], chord[0]]) / length
    across = (x[None, :] - _NEAR[0]) * normal[0] + (y[:, None] - _NEAR[1]) * normal[1]
    # 1 / depth, and with it the scale, is linear along the picture of a straight line.
    half = look.radius_mm * (_PX_PER_MM[0] + (_PX_PER_MM[1] - _PX_PER_MM[0]) * along)
    at = across / half
    bump = np.exp(-0.5 * ((at - 0.7 * look.shade) / 0.5) ** 2)
    light = np.where(np.abs(at) < 1.0, 0.5 * look.string + 0.5 * look.string * bump, look.background)
    pixels = light.reshape(_HEIGHT_PX, _SUPER, _WIDTH_PX, _SUPER).mean(axis=(1, 3))
    pixels = gaussian_filter(pixels, np.sqrt(_SIGMA_PX**2 - 1.0 / 12.0))
    pixels += np.random.default_rng(seed).normal(0.0, _NOISE, pixels.shape)
    return LightCrop(pixels.astype(np.float32), _ORIGIN)


def _found(look: Look, seed: int = 5, off_px: tuple[float, float] = (0.2, -0.15)) -> StringCentre:
    """Start a little beside the string, as the search for strings leaves it, with a radius slightly off."""
    ends = np.array([_NEAR, _FAR]) + _ORIGIN
    ends[:, 0] += off_px
    blur = Blur(float(np.log(1e-3)), 1.0, float(np.log(_SIGMA_PX)), 0.0)
    found = refine_string(
        _picture(look, seed), ends, _PX_PER_MM, _DEPTH_M, blur, 1.02 * look.radius_mm, 0.12 * look.radius_mm
    )
    assert found is not None
    return found


def _miss_px(found: StringCentre) -> Array:
    """Signed distance of the three points from the true line: near end, far end, middle."""
    chord = _FAR - _NEAR
    normal = np.array([-chord[1], chord[0]]) / np.hypot(*chord)
    return np.asarray((found.points_px - _ORIGIN - _NEAR) @ normal)


LOOKS = {
    "bright": Look(),
    "dark": Look(background=0.40, string=0.08),
    "lit from one side": Look(shade=1.0),
    "lit from the other": Look(shade=-1.0),
    "dark, lit from one side": Look(background=0.40, string=0.16, shade=1.0),
    "thick": Look(radius_mm=0.55, shade=0.8),
    "thin": Look(radius_mm=0.13),
}


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS.keys())
def test_centre_line_is_found_to_a_twentieth_of_a_pixel(look: Look) -> None:
    found = [_found(look, seed) for seed in range(6)]
    miss = np.array([_miss_px(f) for f in found])
    assert np.abs(miss.mean(axis=0)).max() < 0.05
    assert 0.0005 < miss.std(axis=0).max() < 0.05
    # The claim covers noise; what shading adds is bounded above.
    claimed = np.mean([f.u_px for f in found], axis=0)
    assert 0.003 < claimed.min() <= claimed.max() < 0.08
    assert np.mean(miss.std(axis=0) / claimed) < 2.5


@pytest.mark.parametrize("name", ["bright", "lit from one side", "thick"])
def test_radius_stays_near_the_truth(name: str) -> None:
    look = LOOKS[name]
    assert _found(look).radius_mm == pytest.approx(look.radius_mm, rel=0, abs=0.1 * look.radius_mm)


def test_shading_pulls_the_light_but_not_the_centre_line() -> None:
    """The two opposite shadings move the centre of the light by far more than the centre that is found."""
    one, other = LOOKS["lit from one side"], LOOKS["lit from the other"]
    moved = _miss_px(_found(one)) - _miss_px(_found(other))
    assert np.abs(moved).max() < 0.12
    pulled = []
    for look in (one, other):
        row = _picture(look, 5).light[310] - look.background
        pulled.append(float(np.sum(np.arange(_WIDTH_PX) * row) / row.sum()))
    assert abs(pulled[0] - pulled[1]) > 0.5


def test_normal_is_that_of_the_line_and_the_points_lie_along_it() -> None:
    found = _found(LOOKS["bright"])
    chord = (_FAR - _NEAR) / np.hypot(*(_FAR - _NEAR))
    assert abs(float(found.normal @ chord)) < 0.002
    assert np.hypot(*found.normal) == pytest.approx(1.0, rel=0, abs=1e-12)
    along = (found.points_px - _ORIGIN - _NEAR) @ chord
    length = float(np.hypot(*(_FAR - _NEAR)))
    np.testing.assert_allclose(along, [0.0, length, length / 2.0], rtol=0, atol=1.0)


def test_an_even_background_pins_nothing() -> None:
    """No band: either nothing is returned or the claim is several times that of a string."""
    even = np.random.default_rng(6).normal(0.2, _NOISE, (_HEIGHT_PX, _WIDTH_PX)).astype(np.float32)
    blur = Blur(float(np.log(1e-3)), 1.0, float(np.log(_SIGMA_PX)), 0.0)
    found = refine_string(
        LightCrop(even, _ORIGIN), np.array([_NEAR, _FAR]) + _ORIGIN, _PX_PER_MM, _DEPTH_M, blur, 0.3, 0.036
    )
    assert found is None or found.u_px.min() > 0.15
