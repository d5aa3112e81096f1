"""Where frets stand, against published tables, and the ratio of four of them that a photograph keeps.

Marks after a source: [memory] quoted from memory, [practice] common practice without a source, [worked] worked out
from the stated formula outside this program.
"""

import math

import cv2
import numpy as np
import pytest

from app.tunings import lowest_string_hz
from vision.findings.shape import joint_index
from vision.fit.frets import fret_positions_mm


def test_published_table_from_bridge_to_fret() -> None:
    # Published table of the trade for a 25 in (635 mm) scale, bridge to frets 1 to 10, printed to 0.001 mm.
    table = [599.360, 565.721, 533.969, 504.000, 475.712, 449.013, 423.812, 400.025, 377.573, 356.382]
    np.testing.assert_allclose(635.0 - fret_positions_mm(635.0, 10), table, rtol=0, atol=0.001)


def test_published_factors_of_the_scale_length() -> None:
    # Published factors d/L (nut to fret n over scale length), printed to 1e-6.
    factors = {1: 0.056126, 5: 0.250847, 7: 0.33258, 12: 0.5, 17: 0.625423, 22: 0.719385, 24: 0.75}
    z = fret_positions_mm(1.0, 24)
    for fret, factor in factors.items():
        assert z[fret - 1] == pytest.approx(factor, rel=0, abs=1e-6)


def test_older_rules_are_told_apart() -> None:
    # 648 mm, fret 12: rule of 17.817 324.0020, old rule of 18 321.644 [worked]. The first differs by 2 micrometres.
    z12 = fret_positions_mm(648.0, 12)[-1]
    assert z12 == pytest.approx(324.0, rel=0, abs=1e-9)
    assert 324.0020 - z12 == pytest.approx(0.0020, rel=0, abs=5e-5)
    assert z12 - 321.644 == pytest.approx(2.356, rel=0, abs=5e-4)


@pytest.mark.parametrize(("tuning", "hertz"), [("to pitch", 82.41), ("a whole step down", 73.42)])
def test_pitches_of_equal_temperament(tuning: str, hertz: float) -> None:
    # E2 82.41 and D2 73.42 Hz of published tables at A4 = 440 Hz (ISO 16:1975) [memory].
    assert lowest_string_hz(tuning, 440.0 / 4.0 * 2.0 ** (-5.0 / 12.0)) == pytest.approx(hertz, rel=0, abs=0.005)


def test_neck_meets_the_body_at_fret_16() -> None:
    # [practice] bolted necks of either common scale end about there; the shortest necks have no such part.
    for scale in (609.6, 628.65, 647.7, 863.6):
        assert joint_index(fret_positions_mm(scale, 22), scale) == 15
    assert joint_index(fret_positions_mm(647.7, 18), 647.7) is None


@pytest.mark.parametrize("scale", [0.0, -1.0, math.nan, "648"])
def test_a_bad_scale_is_misuse(scale: float) -> None:
    with pytest.raises(ValueError, match="scale_length_mm="):
        fret_positions_mm(scale, 22)


@pytest.mark.parametrize("frets", [0, -3, 2.0, True])
def test_a_bad_number_of_frets_is_misuse(frets: int) -> None:
    with pytest.raises(ValueError, match="frets="):
        fret_positions_mm(648.0, frets)


# Cross-ratios, what any photograph keeps: Hartley and Zisserman, Multiple View Geometry, chapter 2 [memory].


def cross_ratio(a: float, b: float, c: float, d: float) -> float:
    return (c - a) * (d - b) / ((c - b) * (d - a))


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
    # Points along a tilted line through OpenCV's projection, measured along the image line.
    z = np.concatenate([[0.0], fret_positions_mm(648.0, 24)])[[0, 5, 12, 24]]
    points = np.stack([np.zeros(4), np.zeros(4), z], axis=1)
    k = np.array([[8600.0, 0.0, 1511.5], [0.0, 8600.0, 2015.5], [0.0, 0.0, 1.0]])
    turn, shift = np.array([0.9, 0.2, 0.1]), np.array([20.0, 60.0, 1100.0])
    image, _ = cv2.projectPoints(points, turn, shift, k, np.zeros(5))
    along = np.linalg.norm(image[:, 0] - image[0, 0], axis=1)
    assert cross_ratio(*along) == pytest.approx(1.3355982328, rel=0, abs=1e-8)
