"""Relief and twist against reference lines of the standards and figures worked out by hand.

[worked]: worked out from the stated formula outside this program. Lengths mm, angles degrees.
"""

import numpy as np
import pytest
from scipy.optimize import linprog

from tests.neck_models import fit_of, flat_neck
from vision.curves.from_fit import curve_under_string, roll_along_neck
from vision.curves.relief import gap_to_chord_mm, relief_from_gap
from vision.fit.frets import fret_positions_mm
from vision.fit.neck_model import TWIST, WIDTH_12, WIDTH_NUT, fret_points
from vision.results import Array

FRETS = 22


def minimum_zone(x: Array, z: Array) -> float:
    """Least distance (along z) of two parallel lines that hold all points: an exact linear program."""
    ones = np.ones_like(x)
    rows = np.concatenate([np.stack([x, ones, -ones], 1), np.stack([-x, -ones, -ones], 1)])
    solution = linprog([0.0, 0.0, 2.0], A_ub=rows, b_ub=np.concatenate([z, -z]), bounds=[(None, None)] * 3)
    assert solution.success
    return float(solution.fun)


def least_squares_zone(x: Array, z: Array) -> float:
    residual = z - np.polyval(np.polyfit(x, z, 1), x)
    return float(np.ptp(residual))


def parabola_mm() -> tuple[Array, Array]:
    """Heights of a neck bent by 0.25 mm between frets 1 and 22 of a 648 mm scale."""
    z = fret_positions_mm(648.0, 22)
    t = (z - z[0]) / (z[-1] - z[0])
    return z, -0.25 * 4.0 * t * (1.0 - t)


# Straightness: ISO 12780-1 and ISO 1101 reference lines (read in secondary sources).


def test_reference_lines_of_a_worked_profile() -> None:
    # x 0 to 400, z in micrometres: minimum zone 9.0, least squares 9.33333 [worked].
    x = np.arange(0.0, 401.0, 50.0)
    z = np.array([0.0, 4.0, 7.0, 8.0, 9.0, 7.0, 5.0, 4.0, 0.0])
    assert minimum_zone(x, z) == pytest.approx(9.0, rel=0, abs=1e-9)
    assert least_squares_zone(x, z) == pytest.approx(9.33333, rel=0, abs=1e-5)
    relief, point = relief_from_gap(gap_to_chord_mm(x, z))
    assert (relief, point) == (-9.0, 5)


def test_relief_is_the_end_chord_and_not_a_least_squares_figure() -> None:
    # Parabola of 0.25 mm at frets 1 to 22: end chord 0.24929 (frets 8 and 9), minimum zone the same, least
    # squares 0.28005, 12 % high [worked].
    z, height = parabola_mm()
    gap = gap_to_chord_mm(z, height)
    relief, fret = relief_from_gap(gap)
    assert relief == pytest.approx(0.24929, rel=0, abs=5e-6)
    assert fret in (8, 9)
    assert gap[7] == pytest.approx(gap[8], rel=0, abs=1e-5)
    assert minimum_zone(z, height) == pytest.approx(relief, rel=0, abs=1e-9)
    assert least_squares_zone(z, height) == pytest.approx(0.28005, rel=0, abs=5e-6)
    # A tilt or lift of the whole neck changes nothing.
    moved = gap_to_chord_mm(z, height + 3.0 + 0.01 * z)
    np.testing.assert_allclose(moved, gap, rtol=0, atol=1e-12)


def test_the_reported_curve_is_that_of_the_parabola() -> None:
    """The same figures by the way of every measurement: unknowns of the fitted neck to gaps under a string."""
    model, theta = flat_neck(FRETS, 648.0)
    z, height = parabola_mm()
    theta[model.middle] = np.linalg.lstsq(model.middle_modes_mm, height, rcond=None)[0]
    seen = np.ones(FRETS, dtype=bool)
    curve = curve_under_string(model, fit_of(model, theta), np.zeros(FRETS), seen, 1.0)
    # The model's modes draw a parabola to within a thousandth of a millimetre.
    np.testing.assert_allclose(curve.gap_mm, gap_to_chord_mm(z, height), rtol=0, atol=1e-3)
    assert curve.relief_mm == pytest.approx(0.24929, rel=0, abs=1e-3)
    assert curve.relief_at_fret in (8, 9)


def test_relief_of_a_parabola_depends_on_the_span_squared() -> None:
    # Frets 1 to 17 give 0.737 of 1 to 22 [worked].
    z, _ = parabola_mm()
    fine = np.linspace(z[0], z[-1], 4001)
    height = 1e-6 * (fine - 300.0) ** 2
    whole, _ = relief_from_gap(gap_to_chord_mm(fine, height))
    part = fine <= z[16]
    short, _ = relief_from_gap(gap_to_chord_mm(fine[part], height[part]))
    assert short / whole == pytest.approx(0.737, rel=0, abs=0.001)


def test_three_fret_rocker_sees_little_of_a_smooth_bow() -> None:
    # Smooth 0.25 mm relief alone: 3.0 micrometres at frets 7-8-9, 6.0 at 1-2-3 [worked].
    z, height = parabola_mm()
    for first, expected_um in ((7, 3.0), (1, 6.0)):
        three = slice(first - 1, first + 2)
        gap = gap_to_chord_mm(z[three], height[three])[1]
        assert gap * 1000.0 == pytest.approx(expected_um, rel=0, abs=0.05)


def test_relief_sign_and_refusals() -> None:
    z = np.array([0.0, 1.0, 2.0])
    np.testing.assert_array_equal(gap_to_chord_mm(z, np.array([0.0, -0.2, 0.0])), [0.0, 0.2, 0.0])
    assert relief_from_gap(np.array([0.0, 0.1, -0.3, np.nan])) == (-0.3, 3)
    gap = gap_to_chord_mm(z, np.array([0.0, np.nan, 0.0]))
    assert np.isnan(gap[1])
    with pytest.raises(ValueError, match="must both be"):
        gap_to_chord_mm(z, z[:2])
    with pytest.raises(ValueError, match="strictly rising"):
        gap_to_chord_mm(z[::-1], z)
    with pytest.raises(ValueError, match="finite at both ends"):
        gap_to_chord_mm(z, np.array([0.0, 0.0, np.nan]))
    with pytest.raises(ValueError, match="at least one finite"):
        relief_from_gap(np.full(3, np.nan))


# Twist: winding sticks, two straight sticks sighted one over the other; here the frets themselves.


def test_the_reported_twist_is_that_of_the_rectangle() -> None:
    """The last fret's treble end 0.5 mm up over 42 mm, by the way of every measurement; heights by the model."""
    model, theta = flat_neck(FRETS, 648.0)
    theta[[WIDTH_NUT, WIDTH_12]] = 42.0
    theta[TWIST] = 0.5 / 42.0
    ends = [fret_points(model, theta, np.array([FRETS - 1]), np.array([s]))[0][0, 1] for s in (-1.0, 1.0)]
    assert ends[1] - ends[0] == pytest.approx(0.5, rel=0, abs=1e-9)
    roll = roll_along_neck(model, fit_of(model, theta), 1.0).roll_deg
    assert roll[0] == pytest.approx(0.0, rel=0, abs=1e-12)
    assert roll[-1] == pytest.approx(0.68206, rel=0, abs=5e-5)  # the model takes the tangent for the angle


def test_twist_is_free_of_bow_and_counts_from_fret_1() -> None:
    """Bow moves both tops of a fret alike; a roll of the whole neck is the camera's and no unknown of the neck."""
    model, theta = flat_neck(FRETS, 648.0)
    _, height = parabola_mm()
    theta[model.middle] = np.linalg.lstsq(model.middle_modes_mm, height, rcond=None)[0]
    np.testing.assert_allclose(roll_along_neck(model, fit_of(model, theta), 1.0).roll_deg, 0.0, rtol=0, atol=1e-12)
    theta[TWIST] = -0.01 * 4.0 / 45.0  # 0.04 mm lower on the treble side of the last fret, 45 mm wide [worked]
    roll = roll_along_neck(model, fit_of(model, theta), 1.0).roll_deg
    assert roll[0] == pytest.approx(0.0, rel=0, abs=1e-12)
    assert roll[-1] == pytest.approx(-0.0509, rel=0, abs=1e-4)
