"""Centre lines of drawn strings over drawn frets: slanted, tapering, shaded, shadowed, blurred, noisy, or absent."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from vision.trace.blur import Blur
from vision.trace.string_frame import FRONT_VIEW, LOW_VIEW, Sampling, StringPath
from vision.trace.string_match import unseen_u_px
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
_BLUR = Blur(float(np.log(1e-3)), 1.0, float(np.log(_SIGMA_PX)), 0.0)
_FRET_SLOPE = -0.12  # frets rise to one side: picture rows per column
_FRET_PERIOD_PX = 31.0


@dataclass(frozen=True)
class Look:
    """Light of background, frets and string; shade: from -1 (lit on one edge) over 0 (even) to 1 (on the other).

    grey_half : light of the string's left half, where it differs.  shadow : light lost in a band of 0.8 mm on the
    board beside the string.  shadow_mm : from the centre line to the band's middle, at the near and the far end.
    """

    background: float = 0.10
    string: float = 0.45
    shade: float = 0.0
    radius_mm: float = 0.3
    fret: float = 0.3
    grey_half: float | None = None
    shadow: float = 0.0
    shadow_mm: tuple[float, float] = (1.2, 1.2)
    drawn: bool = True


def _picture(look: Look, seed: int) -> LightCrop:
    """Band of half-width r about the line, its light a smooth bump whose place the shading shifts, over frets."""
    x = (np.arange(_WIDTH_PX * _SUPER) + 0.5) / _SUPER - 0.5
    y = (np.arange(_HEIGHT_PX * _SUPER) + 0.5) / _SUPER - 0.5
    chord = _FAR - _NEAR
    length = float(np.hypot(*chord))
    along = ((x[None, :] - _NEAR[0]) * chord[0] + (y[:, None] - _NEAR[1]) * chord[1]) / length**2
    normal = np.array([-chord[1], chord[0]]) / length
    across = (x[None, :] - _NEAR[0]) * normal[0] + (y[:, None] - _NEAR[1]) * normal[1]
    # 1 / depth, and with it the scale, is linear along the picture of a straight line.
    scale = _PX_PER_MM[0] + (_PX_PER_MM[1] - _PX_PER_MM[0]) * along
    at = across / (look.radius_mm * scale)
    bump = np.exp(-0.5 * ((at - 0.7 * look.shade) / 0.5) ** 2)
    string = 0.5 * look.string + 0.5 * look.string * bump
    if look.grey_half is not None:
        string = np.where(at < 0.0, look.grey_half, string)
    row = (y[:, None] - _FRET_SLOPE * x[None, :]) % _FRET_PERIOD_PX
    away = across / scale - look.shadow_mm[0] - (look.shadow_mm[1] - look.shadow_mm[0]) * along
    light = np.where(row < 4.0, look.fret, look.background * np.where(np.abs(away) < 0.4, 1.0 - look.shadow, 1.0))
    if look.drawn:
        light = np.where(np.abs(at) < 1.0, string, light)
    pixels = light.reshape(_HEIGHT_PX, _SUPER, _WIDTH_PX, _SUPER).mean(axis=(1, 3))
    pixels = gaussian_filter(pixels, np.sqrt(_SIGMA_PX**2 - 1.0 / 12.0))
    pixels += np.random.default_rng(seed).normal(0.0, _NOISE, pixels.shape)
    return LightCrop(pixels.astype(np.float32), _ORIGIN)


def _refined(
    crop: LightCrop, radius_mm: float, off_px: tuple[float, float], sampling: Sampling = LOW_VIEW
) -> StringCentre | None:
    ends = np.array([_NEAR, _FAR]) + _ORIGIN
    ends[:, 0] += off_px
    frets = np.tile([1.0, _FRET_SLOPE], (2, 1))
    path = StringPath(np.vstack([ends, ends.mean(axis=0)]), _PX_PER_MM, _DEPTH_M, frets)
    return refine_string(crop, path, _BLUR, 1.02 * radius_mm, 0.12 * radius_mm, sampling)


def _found(
    look: Look, seed: int = 5, off_px: tuple[float, float] = (0.2, -0.15), sampling: Sampling = LOW_VIEW
) -> StringCentre:
    """Start a little beside the string, as the search for strings leaves it, with a radius slightly off."""
    found = _refined(_picture(look, seed), look.radius_mm, off_px, sampling)
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


HALF_GREY = Look(radius_mm=0.55, string=0.6, grey_half=0.10)
"""Lit on one half only, the other half as light as the board behind it."""


@pytest.mark.parametrize("sampling", [LOW_VIEW, FRONT_VIEW], ids=["low", "front"])
@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS.keys())
def test_centre_line_is_found_to_a_twentieth_of_a_pixel(look: Look, sampling: Sampling) -> None:
    found = [_found(look, seed, sampling=sampling) for seed in range(6)]
    miss = np.array([_miss_px(f) for f in found])
    assert np.abs(miss.mean(axis=0)).max() < 0.05
    assert 0.0005 < miss.std(axis=0).max() < 0.05
    # The claim covers noise; what shading adds is bounded above.
    claimed = np.mean([f.u_px for f in found], axis=0)
    assert 0.003 < claimed.min() <= claimed.max() < 0.12
    assert np.mean(miss.std(axis=0) / claimed) < 2.5


@pytest.mark.parametrize("name", ["bright", "lit from one side", "thick"])
def test_radius_stays_near_the_truth(name: str) -> None:
    look = LOOKS[name]
    assert _found(look).radius_mm == pytest.approx(look.radius_mm, rel=0, abs=0.1 * look.radius_mm)


def test_shading_pulls_the_light_but_not_the_centre_line() -> None:
    """The two opposite shadings move the centre of the light by far more than the centre that is found."""
    one, other = (replace(LOOKS[name], fret=0.10) for name in ("lit from one side", "lit from the other"))
    moved = _miss_px(_found(one)) - _miss_px(_found(other))
    assert np.abs(moved).max() < 0.25
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


@pytest.mark.parametrize("look", [LOOKS["bright"], LOOKS["thin"], HALF_GREY], ids=["bright", "thin", "half grey"])
@pytest.mark.parametrize("off_px", [(2.0, 2.0), (-2.0, -2.0), (-7.0, -6.0)])
def test_a_start_far_off_finds_the_same_line(look: Look, off_px: tuple[float, float]) -> None:
    near, far = _found(look), _found(look, off_px=off_px)
    np.testing.assert_allclose(_miss_px(far), _miss_px(near), rtol=0, atol=0.08)
    assert 0.6 < far.explained <= 1.0


def test_the_lit_half_alone_is_not_taken_for_the_string() -> None:
    """Frets vanish behind both halves: the centre is the middle, not that of the lit half (1.8 to 2.5 px away)."""
    assert np.abs(_miss_px(_found(HALF_GREY))).max() < 0.15


@pytest.mark.parametrize("shadow", [0.2, 0.35])
def test_a_shadow_on_the_board_beside_it_does_not_capture_it(shadow: float) -> None:
    """Centre of the shadow: 8 to 11 px away."""
    assert np.abs(_miss_px(_found(Look(shadow=shadow)))).max() < 0.12


@pytest.mark.parametrize("radius_mm", [0.13, 0.3, 0.55])
def test_from_the_front_a_shadow_that_parts_from_the_string_moves_its_centre_little(radius_mm: float) -> None:
    """It touches the string at the near end and lies 0.6 mm beside it at the far end; undrawn it costs twice that."""
    look = Look(radius_mm=radius_mm, shadow=0.6, shadow_mm=(radius_mm + 0.4, radius_mm + 1.0))
    assert np.abs(_miss_px(_found(look, sampling=FRONT_VIEW))).max() < 0.12
    assert np.abs(_miss_px(_found(look, sampling=LOW_VIEW))).max() > 0.2


@pytest.mark.parametrize(("sigma_mm", "u_mm"), [(0.1, 0.030), (0.3, 0.041), (0.45, 0.147)])
def test_a_blur_that_swallows_the_string_leaves_its_place_open(sigma_mm: float, u_mm: float) -> None:
    """Known necks blurred on purpose: an end is off by 0.02 mm rms at 0.25 mm, 0.07 at 0.35 mm, 0.17 at 0.46 mm."""
    points = np.array([[0.0, 0.0], [0.0, 500.0], [0.0, 250.0]])
    path = StringPath(points, np.full(2, 5.0), np.full(2, 1.0), np.tile([1.0, 0.0], (2, 1)))
    in_focus = Blur(float(np.log(1e-3)), 1.0, float(np.log(5.0 * sigma_mm)), 0.0)
    np.testing.assert_allclose(unseen_u_px(path, in_focus) / 5.0, u_mm, rtol=0, atol=0.002)


@pytest.mark.parametrize("seed", range(4))
def test_frets_without_a_string_explain_less_than_any_string(seed: int) -> None:
    found = _refined(_picture(Look(drawn=False), seed), 0.13, (0.0, 0.0))
    assert found is None or found.explained < 0.3
    assert min(_found(look, seed).explained for look in LOOKS.values()) > 0.6


def test_a_band_of_another_width_is_refused() -> None:
    """Wider by two thirds than the string is believed to be, five times its uncertainty: another thing."""
    assert _refined(_picture(Look(radius_mm=0.5), 5), 0.3, (0.0, 0.0)) is None


def test_an_even_background_pins_nothing() -> None:
    """No band: either nothing is returned or it explains less than what is asked of a string."""
    even = np.random.default_rng(6).normal(0.2, _NOISE, (_HEIGHT_PX, _WIDTH_PX)).astype(np.float32)
    found = _refined(LightCrop(even, _ORIGIN), 0.3, (0.0, 0.0))
    assert found is None or found.explained < 0.3
