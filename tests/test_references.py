"""Published and independently worked figures, each with its source beside the check.

Marks after a source: [memory] quoted from memory, [practice] common practice without a source, [worked]
worked out from the stated formula outside this program. Lengths mm, angles degrees, unless written.
"""

import math

import cv2
import numpy as np
import pytest
from scipy.optimize import curve_fit, least_squares, linprog

from vision.curves.relief import gap_to_chord_mm, relief_from_gap
from vision.curves.twist import roll_deg, twist_deg
from vision.findings.sag import full_sag_mm, string_sag_gap_mm, string_tension_n
from vision.findings.shape import joint_index
from vision.fit.frets import cross_ratio, fret_positions_mm
from vision.photo.exif import CameraRecord, focal_prior
from vision.results import Array

# --- Fret positions: twelve-tone equal temperament; A4 = 440 Hz is ISO 16:1975 ---


def test_published_table_from_bridge_to_fret() -> None:
    # Published luthier's table for a 25 in (635 mm) scale, bridge to frets 1 to 10, printed to 0.001.
    table = [599.360, 565.721, 533.969, 504.000, 475.712, 449.013, 423.812, 400.025, 377.573, 356.382]
    np.testing.assert_allclose(635.0 - fret_positions_mm(635.0, 10), table, rtol=0, atol=0.001)


def test_published_factors_of_the_scale_length() -> None:
    # Published factors d/L (nut to fret n over scale length), printed to 1e-6.
    factors = {1: 0.056126, 5: 0.250847, 7: 0.33258, 12: 0.5, 17: 0.625423, 22: 0.719385, 24: 0.75}
    z = fret_positions_mm(1.0, 24)
    for fret, factor in factors.items():
        assert z[fret - 1] == pytest.approx(factor, rel=0, abs=1e-6)


def test_older_rules_are_told_apart() -> None:
    # 648 mm, fret 12: equal temperament 324.000, rule of 17.817 324.0020, old rule of 18 321.644 [worked].
    z12 = fret_positions_mm(648.0, 12)[-1]
    assert z12 == pytest.approx(324.0, rel=0, abs=1e-9)
    for divisor, expected in ((17.817, 324.0020), (18.0, 321.644)):
        rule = 648.0 * (1.0 - (1.0 - 1.0 / divisor) ** 12)
        assert rule == pytest.approx(expected, rel=0, abs=0.0006)
    assert z12 - 321.644 == pytest.approx(2.356, rel=0, abs=0.001)


@pytest.mark.parametrize(("scale", "frets"), [(0.0, 22), (-1.0, 22), (math.nan, 22), ("648", 22)])
def test_fret_positions_refuse_a_bad_scale(scale: float, frets: int) -> None:
    with pytest.raises(ValueError, match="scale_length_mm="):
        fret_positions_mm(scale, frets)


@pytest.mark.parametrize("frets", [0, -3, 2.0, True])
def test_fret_positions_refuse_a_bad_number(frets: int) -> None:
    with pytest.raises(ValueError, match="frets="):
        fret_positions_mm(648.0, frets)


# --- Cross-ratios: Hartley and Zisserman, Multiple View Geometry, chapter 2 [memory] ---


def test_cross_ratios_of_frets() -> None:
    z = np.concatenate([[0.0], fret_positions_mm(648.0, 36)])
    assert cross_ratio(0.0, z[12], z[24], 648.0) == pytest.approx(1.5, rel=0, abs=1e-12)
    assert cross_ratio(z[0], z[5], z[12], z[24]) == pytest.approx(1.3355982328, rel=0, abs=1e-10)
    # Equal steps m: (1 + r)^2 / (1 + r + r^2) with r = 2^(-m/12) [worked].
    for m, expected in ((1, 1.3329629), (5, 1.3242549), (7, 1.3158832075), (12, 9.0 / 7.0)):
        for start in (0, 36 - 3 * m):
            points = z[start : start + 3 * m + 1 : m]
            assert cross_ratio(*points) == pytest.approx(expected, rel=0, abs=1e-7)


def test_cross_ratio_survives_a_photograph() -> None:
    # An independent camera: the points along a tilted line through OpenCV's projection, measured along the
    # image line.
    z = np.concatenate([[0.0], fret_positions_mm(648.0, 24)])[[0, 5, 12, 24]]
    points = np.stack([np.zeros(4), np.zeros(4), z], axis=1)
    k = np.array([[8600.0, 0.0, 1511.5], [0.0, 8600.0, 2015.5], [0.0, 0.0, 1.0]])
    turn, shift = np.array([0.9, 0.2, 0.1]), np.array([20.0, 60.0, 1100.0])
    image, _ = cv2.projectPoints(points, turn, shift, k, np.zeros(5))
    along = np.linalg.norm(image[:, 0] - image[0, 0], axis=1)
    assert cross_ratio(*along) == pytest.approx(1.3355982328, rel=0, abs=1e-8)


def test_cross_ratio_refuses_what_is_not_defined() -> None:
    with pytest.raises(ValueError, match="must not coincide"):
        cross_ratio(0.0, 1.0, 1.0, 2.0)
    with pytest.raises(ValueError, match="must be finite"):
        cross_ratio(0.0, 1.0, math.inf, 2.0)


# --- Straightness: ISO 12780-1 and ISO 1101 reference lines (read in secondary sources) ---


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


def test_relief_of_a_parabola_depends_on_the_span_squared() -> None:
    # Frets 1 to 17 give 0.737 of 1 to 22 [worked].
    z, _ = parabola_mm()
    assert ((z[16] - z[0]) / (z[21] - z[0])) ** 2 == pytest.approx(0.737, rel=0, abs=0.0005)
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


def test_neck_meets_the_body_at_fret_16() -> None:
    # [practice] bolted necks of either common scale end about there; the shortest necks have no such part.
    for scale in (609.6, 628.65, 647.7, 863.6):
        assert joint_index(fret_positions_mm(scale, 22), scale) == 15
    assert joint_index(fret_positions_mm(647.7, 18), 647.7) is None


# --- Twist ---


def test_twist_of_a_rectangle() -> None:
    # W 42, L 430, d = z00 - z10 - z01 + z11 = 0.5: atan(d/W) = 0.68206 deg; plane residuals +-0.125 [worked].
    roll = roll_deg(np.array([0.0, 0.0]), np.array([0.0, 0.5]), 42.0)
    assert twist_deg(roll) == pytest.approx(0.68206, rel=0, abs=5e-6)
    corners = np.array([[0.0, 0.0], [42.0, 0.0], [0.0, 430.0], [42.0, 430.0]])
    height = np.array([0.0, 0.0, 0.0, 0.5])
    plane = np.column_stack([corners, np.ones(4)])
    residual = height - plane @ np.linalg.lstsq(plane, height, rcond=None)[0]
    np.testing.assert_allclose(np.abs(residual), 0.125, rtol=0, atol=1e-12)


def test_twist_is_free_of_the_cameras_roll_and_of_bow() -> None:
    spacing = np.linspace(35.0, 45.0, 5)
    bow = np.array([0.0, -0.2, -0.3, -0.2, 0.0])
    tilt = np.tan(np.radians(2.0)) * spacing
    assert twist_deg(roll_deg(bow, bow + tilt, spacing)) == pytest.approx(0.0, rel=0, abs=1e-12)
    assert twist_deg(roll_deg(bow, bow - 0.01 * np.arange(5), spacing)) < 0.0


def test_roll_refuses_misuse() -> None:
    two = np.zeros(2)
    with pytest.raises(ValueError, match="must both be"):
        roll_deg(two, np.zeros(3), 40.0)
    with pytest.raises(ValueError, match="spacing_mm=0"):
        roll_deg(two, two, 0.0)
    with pytest.raises(ValueError, match="N >= 2"):
        twist_deg(np.zeros(1))
    with pytest.raises(ValueError, match="finite at both ends"):
        twist_deg(np.array([0.0, np.nan]))


# --- Camera: the conventions the fit relies on ---


@pytest.mark.parametrize(
    ("index", "value", "expected"), [(0, 0.1, (100.5, 201.0)), (2, 0.01, (100.4, 201.3))]
)
def test_distortion_convention(index: int, value: float, expected: tuple[float, float]) -> None:
    # OpenCV documentation, order k1 k2 p1 p2 k3: K = diag(1000, 1000, 1), point (0.1, 0.2, 1).
    distortion = np.zeros(5)
    distortion[index] = value
    image, _ = cv2.projectPoints(
        np.array([[0.1, 0.2, 1.0]]), np.zeros(3), np.zeros(3), np.diag([1000.0, 1000.0, 1.0]), distortion
    )
    np.testing.assert_allclose(image[0, 0], expected, rtol=0, atol=1e-9)
    x, y = 0.1, 0.2
    r2 = x * x + y * y
    k1, _, p1, p2, _ = distortion
    by_hand = (
        1000.0 * (x * (1.0 + k1 * r2) + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x)),
        1000.0 * (y * (1.0 + k1 * r2) + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y),
    )
    np.testing.assert_allclose(image[0, 0], by_hand, rtol=0, atol=1e-9)


def test_plumb_line_bow_of_one_coefficient() -> None:
    # Brown 1966/1971 [memory]; Devernay and Faugeras 2001: a line at offset h with half-chord a bows by
    # k1 h a^2 f px; k1 0.02, h 200/3000, a 1500/3000, f 3000: 1.000 px [worked]. None through the centre.
    k = np.diag([3000.0, 3000.0, 1.0])
    distortion = np.array([0.02, 0.0, 0.0, 0.0, 0.0])
    a = 0.5
    for h, bow_px in ((200.0 / 3000.0, 1.0), (0.0, 0.0)):
        line = np.array([[-a, h, 1.0], [0.0, h, 1.0], [a, h, 1.0]])
        image = cv2.projectPoints(line, np.zeros(3), np.zeros(3), k, distortion)[0][:, 0]
        gap = gap_to_chord_mm(image[:, 0], image[:, 1])[1]
        assert gap == pytest.approx(bow_px, rel=0, abs=1e-9)


def test_focal_length_from_the_camera_record() -> None:
    # CIPA rule by the diagonal: 26 mm, 4032 x 3024 is 3028.66 px; the rule by the width gives 2912.00.
    focal_px, relative_u = focal_prior(CameraRecord(focal_35mm=26.0), 4032, 3024)
    assert focal_px == pytest.approx(3028.66, rel=0, abs=0.01)
    by_width_px = 26.0 / 36.0 * 4032.0
    assert by_width_px == pytest.approx(2912.0, rel=0, abs=1e-9)
    assert 1.0 - by_width_px / focal_px < relative_u < 0.05
    assert focal_prior(CameraRecord(), 4032, 3024)[0] is None


# --- Uncertainty: the way covariances are taken from a fit ---


def covariance_of_fit(jacobian: Array, residual: Array) -> Array:
    freedom = residual.size - jacobian.shape[1]
    return np.asarray(np.linalg.inv(jacobian.T @ jacobian) * (residual @ residual) / freedom)


def test_gum_straight_line() -> None:
    # JCGM 100:2008, H.3, calibration of a thermometer: y1 -0.1712(29), y2 0.00218(67), r -0.930,
    # b(30) = -0.1494(41).
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
    fit = least_squares(lambda y: y[0] + y[1] * (t - 20.0) - b, [0.0, 0.0])
    covariance = covariance_of_fit(fit.jac, fit.fun)
    u = np.sqrt(np.diag(covariance))
    assert fit.x[0] == pytest.approx(-0.1712, rel=0, abs=5e-5)
    assert fit.x[1] == pytest.approx(0.00218, rel=0, abs=5e-6)
    assert u[0] == pytest.approx(0.0029, rel=0, abs=5e-5)
    assert u[1] == pytest.approx(0.00067, rel=0, abs=5e-6)
    assert covariance[0, 1] / (u[0] * u[1]) == pytest.approx(-0.930, rel=0, abs=0.0005)
    at_30 = np.array([1.0, 10.0])
    assert at_30 @ fit.x == pytest.approx(-0.1494, rel=0, abs=5e-5)
    assert math.sqrt(at_30 @ covariance @ at_30) == pytest.approx(0.0041, rel=0, abs=5e-5)


def test_nist_misra1a() -> None:
    # NIST StRD nonlinear regression, Misra1a: b1 238.94212918, b2 5.5015643181E-04, residual sum of squares
    # 0.12455138894, standard deviations 2.7070075241 and 7.2668688436E-06 [the last two from memory].
    y = np.array(
        [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
    )
    x = np.array(
        [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
    )

    def model(at: Array, b1: float, b2: float) -> Array:
        return np.asarray(b1 * (1.0 - np.exp(-b2 * at)))

    for start in ((500.0, 1e-4), (250.0, 5e-4)):
        best, covariance = curve_fit(model, x, y, p0=start)
        assert best[0] == pytest.approx(238.94212918, rel=0, abs=2e-3)
        assert best[1] == pytest.approx(5.5015643181e-4, rel=0, abs=5e-9)
        residual = y - model(x, *best)
        assert residual @ residual == pytest.approx(0.12455138894, rel=0, abs=1e-9)
        u = np.sqrt(np.diag(covariance))
        assert u[0] == pytest.approx(2.7070075241, rel=0, abs=2e-3)
        assert u[1] == pytest.approx(7.2668688436e-6, rel=0, abs=5e-9)
        jacobian = np.stack([1.0 - np.exp(-best[1] * x), best[0] * x * np.exp(-best[1] * x)], axis=1)
        own = np.sqrt(np.diag(covariance_of_fit(jacobian, residual)))
        assert own[0] == pytest.approx(u[0], rel=0, abs=2e-3)
        assert own[1] == pytest.approx(u[1], rel=0, abs=5e-9)


def test_monte_carlo_of_four_rectangular_quantities() -> None:
    # JCGM 101:2008, 9.2 [memory]: the sum of four rectangular quantities of standard deviation 1 has a 95 %
    # interval of +-3.88 (3.8794 [worked]), narrower than the +-3.92 of a normal one.
    rng = np.random.default_rng(1)
    total = rng.uniform(-math.sqrt(3.0), math.sqrt(3.0), (4, 1_000_000)).sum(axis=0)
    low, high = np.quantile(total, [0.025, 0.975])
    assert total.std() == pytest.approx(2.0, rel=0, abs=0.005)
    assert high == pytest.approx(3.8794, rel=0, abs=0.012)
    assert -low == pytest.approx(3.8794, rel=0, abs=0.012)


# --- Strings ---


def test_sag_of_a_tuned_string() -> None:
    # g / (32 f^2): low E (82.4069 Hz) 45.13, high E (329.628 Hz) 2.82 micrometres; between frets 1 and 22
    # 19.9 and 1.24 [worked].
    sampled = 0.24929 / 0.25  # the deepest point of the span lies between frets 8 and 9
    for hertz, whole_um, span_um, atol_um in ((82.4069, 45.13, 19.9, 0.05), (329.628, 2.82, 1.24, 0.005)):
        assert full_sag_mm(hertz) * 1000.0 == pytest.approx(whole_um, rel=0, abs=0.005)
        sag = string_sag_gap_mm(hertz, 648.0, 22)
        assert sag.max() * 1000.0 / sampled == pytest.approx(span_um, rel=0, abs=atol_um)
        assert sag[[0, -1]].tolist() == [0.0, 0.0]
        np.testing.assert_allclose(sag, string_sag_gap_mm(hertz, 863.6, 22), rtol=0, atol=1e-12)


def test_sag_agrees_with_the_catenary() -> None:
    # An independent form of the hanging line: a cosh(x / a), a = T / (mu g).
    tension = string_tension_n(82.41, 648.0, 1.0)
    weight_n_mm = 7850.0 * math.pi * 0.5e-3**2 * 9.80665 * 1e-3
    a_mm = tension / weight_n_mm
    z = fret_positions_mm(648.0, 22)
    height = 2.0 * a_mm * np.sinh((z - 324.0) / (2.0 * a_mm)) ** 2  # a (cosh - 1), without cancellation
    np.testing.assert_allclose(
        gap_to_chord_mm(z, height), string_sag_gap_mm(82.41, 648.0, 22), rtol=0, atol=1e-9
    )


def test_tension_by_mersenne() -> None:
    # Steel 7850 kg/m3 [memory], 0.254 mm, 329.63 Hz, 648 mm: 72.59 N [worked].
    assert string_tension_n(329.63, 648.0, 0.254) == pytest.approx(72.59, rel=0, abs=0.005)


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf, "82"])
def test_string_functions_refuse_misuse(value: float) -> None:
    with pytest.raises(ValueError, match="frequency_hz="):
        full_sag_mm(value)
    with pytest.raises(ValueError, match="frequency_hz="):
        string_sag_gap_mm(value, 648.0, 22)
    with pytest.raises(ValueError, match="diameter_mm="):
        string_tension_n(82.41, 648.0, value)
