"""Places of crowns seen from the front: the band between their feet, whatever it mirrors."""

import numpy as np
import pytest
from numpy.typing import NDArray

from vision.fit.camera import CameraModel
from vision.trace.crown_place import crown_place_mm
from vision.trace.lanes import highlight_place_mm

Array = NDArray[np.float64]

_V_MM = np.arange(-3.6, 3.61, 0.06)
_WIDTH_MM = 2.3


def _light(middle_mm: float, mirror_mm: float, *, crown: float = 0.35, slope: float = 0.02, seed: int = 1) -> Array:
    """22 frets: crown grey against a board that brightens along the neck, with a narrow reflection on each crown."""
    rng = np.random.default_rng(seed)
    board = 0.12 + slope * _V_MM
    inside = 1.0 / (1.0 + np.exp(-(0.5 * _WIDTH_MM - np.abs(_V_MM - middle_mm)) / 0.08))
    shine = 0.5 * np.exp(-0.5 * ((_V_MM - middle_mm - mirror_mm) / 0.15) ** 2)
    light = board * (1.0 - inside) + (crown + shine) * inside
    return np.asarray(light + rng.normal(0.0, 0.01, (22, len(_V_MM))))


@pytest.mark.parametrize("middle_mm", [-0.8, 0.0, 0.55])
@pytest.mark.parametrize("mirror_mm", [-0.8, 0.0, 0.8])
def test_the_reflection_does_not_pull_the_crown(middle_mm: float, mirror_mm: float) -> None:
    light = _light(middle_mm, mirror_mm)
    brightest = _V_MM[np.argmax(np.median(light, axis=0))]
    assert brightest == pytest.approx(middle_mm + mirror_mm, rel=0, abs=0.1)  # what would be taken for the top
    assert crown_place_mm(light, _V_MM, _WIDTH_MM) == pytest.approx(middle_mm, rel=0, abs=0.1)


def test_crowns_darker_than_the_board_are_placed_alike() -> None:
    light = _light(0.3, 0.6, crown=0.03)
    assert crown_place_mm(light, _V_MM, _WIDTH_MM) == pytest.approx(0.3, rel=0, abs=0.12)


def test_a_few_frets_under_a_shadow_are_outvoted() -> None:
    light = _light(0.3, 0.5)
    light[:5] = _light(-1.2, 0.0, seed=2)[:5]
    assert crown_place_mm(light, _V_MM, _WIDTH_MM) == pytest.approx(0.3, rel=0, abs=0.1)


def test_a_reflection_wanders_by_half_the_turn_of_the_line_of_sight() -> None:
    """A mirror's normal bisects light and sight: on a crown of radius r the place moves by r da / 2."""
    position = np.array([0.0, 900.0, 200.0])
    camera = CameraModel(np.eye(3), -position, 3000.0, 0.0, np.zeros(2))
    z = np.linspace(36.0, 466.0, 22)
    place = highlight_place_mm(z, camera)
    radius = (1.2**2 + 1.05**2) / (2.0 * 1.05)  # of a crown 2.4 mm wide and 1.05 mm high
    turn = np.arctan2(200.0 - z[0], 900.0) - np.arctan2(200.0 - z[-1], 900.0)
    assert place[0] - place[-1] == pytest.approx(0.5 * radius * turn, rel=0, abs=1e-9)
    assert 0.2 < place[0] - place[-1] < 0.4
    assert place.mean() == pytest.approx(0.0, rel=0, abs=1e-12)
    assert np.all(np.diff(place) < 0.0)  # frets nearer to the nut shine on their far flank, towards the camera
