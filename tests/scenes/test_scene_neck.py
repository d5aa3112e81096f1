"""Geometry and truth of the scenes against numbers worked out independently."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sample_images.scenes.fret_crowns import Fretting, FretWire, crown_section, fret_surfaces
from sample_images.scenes.neck_shape import NeckCurve, NeckShape
from sample_images.scenes.truth import fret_tops_mm, gap_to_chord_mm, roll_deg

FLAT_BOARD_RADIUS_MM = 1e9


def neck_of(curve: NeckCurve, radius_mm: float = FLAT_BOARD_RADIUS_MM, frets: int = 22) -> NeckShape:
    return NeckShape(650.0, frets, 42.0, 52.0, radius_mm, radius_mm, curve)


def level_frets(neck: NeckShape, wire: FretWire | None = None) -> Fretting:
    return Fretting(wire or FretWire(), np.zeros(neck.frets), np.zeros((neck.frets, 6)), np.linspace(-1.0, 1.0, 6))


def gap_under(neck: NeckShape, fretting: Fretting, side: float, as_made: bool = False) -> np.ndarray:
    return gap_to_chord_mm(fret_tops_mm(neck, fretting, side, as_made=as_made))


def test_the_octave_fret_stands_halfway_and_fret_5_at_the_fourth() -> None:
    z = neck_of(NeckCurve()).fret_z_mm()
    assert z[11] == pytest.approx(325.0, rel=0, abs=1e-9)
    assert z[4] == pytest.approx(650.0 * (1.0 - 0.749153538438341), rel=0, abs=1e-9)  # 2^(-5/12), tabulated
    assert len(z) == 22


def test_a_straight_neck_with_a_flat_board_has_no_gap_and_no_roll() -> None:
    neck = neck_of(NeckCurve())
    fretting = level_frets(neck)
    tops = [fret_tops_mm(neck, fretting, side, as_made=False) for side in (-1.0, 1.0)]
    np.testing.assert_allclose(gap_to_chord_mm(tops[0]), 0.0, rtol=0, atol=1e-6)
    np.testing.assert_allclose(roll_deg(*tops), 0.0, rtol=0, atol=1e-6)


def test_a_bow_of_0_3_mm_is_the_gap_of_the_fret_next_to_the_middle_and_follows_the_parabola() -> None:
    neck = neck_of(NeckCurve(bow_mm=0.3))
    gap = gap_under(neck, level_frets(neck), -1.0)
    z = 650.0 - 650.0 * np.exp2(-np.arange(1, 23) / 12.0)
    share = (z - z[0]) / (z[21] - z[0])
    np.testing.assert_allclose(gap, 0.3 - 1.2 * (share - 0.5) ** 2, rtol=0, atol=1e-6)
    assert int(np.argmax(gap)) + 1 in (8, 9)
    assert 0.295 < gap.max() <= 0.3


@pytest.mark.parametrize(("curve", "sign"), [(NeckCurve(bow_mm=-0.2), -1.0), (NeckCurve(bow_mm=0.2), 1.0),
                                             (NeckCurve(rise_mm=0.2), 1.0)])
def test_forward_bow_and_rise_at_the_end_are_positive_gaps_and_back_bow_negative(curve: NeckCurve, sign: float) -> None:
    neck = neck_of(curve)
    gap = gap_under(neck, level_frets(neck), 1.0)
    assert 0.1 < sign * gap[np.argmax(np.abs(gap))] < 0.25


def test_an_s_curve_is_low_in_the_nut_half_and_high_in_the_other_by_its_size() -> None:
    neck = neck_of(NeckCurve(s_curve_mm=0.1), frets=24)
    gap = gap_under(neck, level_frets(neck), -1.0)
    assert 0.095 < gap.max() <= 0.1
    assert -0.1 <= gap.min() < -0.095
    assert np.argmax(gap) < np.argmin(gap)


def test_a_cylindrical_board_humps_under_diverging_strings_by_its_sagitta() -> None:
    neck = neck_of(NeckCurve(), radius_mm=200.0)
    gap = gap_under(neck, level_frets(neck), 1.0)
    x = neck.string_line_mm(1.0, neck.fret_z_mm()[[0, -1]])
    by_hand = -((x[1] - x[0]) ** 2) / (8.0 * 200.0)  # middle of a parabola x^2 / 2R seen along a slanted line
    assert gap.min() == pytest.approx(by_hand, rel=0, abs=0.001)
    assert gap.max() <= 1e-9


def test_twist_is_the_roll_of_the_last_fret_with_the_treble_side_higher() -> None:
    neck = neck_of(NeckCurve(twist_deg=0.25), radius_mm=250.0)
    tops = [fret_tops_mm(neck, level_frets(neck), side, as_made=False) for side in (-1.0, 1.0)]
    roll = roll_deg(*tops)
    assert roll[-1] == pytest.approx(0.25, rel=0, abs=1e-3)
    assert tops[1][-1, 1] - tops[0][-1, 1] == pytest.approx(np.deg2rad(0.25) * 2 * tops[1][-1, 0], rel=0, abs=1e-3)


def test_a_high_fret_shows_in_the_tops_as_they_are_and_not_in_the_smooth_neck() -> None:
    neck = neck_of(NeckCurve(bow_mm=0.2), radius_mm=240.0)
    error = np.zeros(22)
    error[8] = 0.12
    fretting = replace(level_frets(neck), height_error_mm=error)
    change = gap_under(neck, fretting, -1.0) - gap_under(neck, fretting, -1.0, as_made=True)
    assert change[8] == pytest.approx(-0.12, rel=0, abs=1e-6)
    np.testing.assert_allclose(np.delete(change, 8), 0.0, rtol=0, atol=1e-9)


def test_a_dent_lowers_the_fret_under_its_string_only() -> None:
    neck = neck_of(NeckCurve())
    dents = np.zeros((22, 6))
    dents[2, 0] = 0.05
    fretting = replace(level_frets(neck), dents_mm=dents)
    assert gap_under(neck, fretting, -1.0)[2] == pytest.approx(0.05, rel=0, abs=1e-4)
    assert gap_under(neck, fretting, 1.0)[2] == pytest.approx(0.0, rel=0, abs=1e-6)


def test_crown_section_is_a_circle_through_foot_and_top() -> None:
    wire = FretWire(crown_width_mm=2.6, crown_height_mm=1.0)
    along, up = crown_section(wire)
    arc_along, arc_up = along[1:-1], up[1:-1]
    assert arc_up.max() == pytest.approx(1.0, rel=0, abs=1e-9)
    assert arc_along[[0, -1]] == pytest.approx([-1.3, 1.3], rel=0, abs=1e-9)
    radius = np.hypot(arc_along, arc_up - (1.0 - 1.345))  # (1.3^2 + 1) / 2 = 1.345
    np.testing.assert_allclose(radius, 1.345, rtol=0, atol=1e-9)


@pytest.mark.parametrize("fret", [1, 12, 22])
def test_the_triangles_of_a_crown_lie_within_a_thousandth_of_the_true_top(fret: int) -> None:
    neck = neck_of(NeckCurve(bow_mm=0.4, twist_deg=0.3), radius_mm=184.0)
    wire = FretWire(2.2, 1.2)
    fretting = replace(level_frets(neck, wire), height_error_mm=np.full(22, 0.03))
    crown = fret_surfaces(neck, fretting, fret)[0]
    corners = crown.points[crown.triangles]
    for side in (-1.0, -0.37, 0.21, 1.0):
        top = fret_tops_mm(neck, fretting, side, as_made=False)[fret - 1]
        edges = np.concatenate([corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [2, 0]]])
        crossing = edges[(edges[:, 0, 0] - top[0]) * (edges[:, 1, 0] - top[0]) < 0]
        share = (top[0] - crossing[:, 0, 0]) / (crossing[:, 1, 0] - crossing[:, 0, 0])
        heights = crossing[:, 0, 1] + share * (crossing[:, 1, 1] - crossing[:, 0, 1])
        assert heights.max() == pytest.approx(top[1], rel=0, abs=0.001)


def test_fret_ends_are_bevelled_and_stay_on_the_board() -> None:
    neck = neck_of(NeckCurve())
    wire = FretWire(2.4, 1.1, bevel_deg=30.0, end_inset_mm=0.2)
    points = fret_surfaces(neck, level_frets(neck, wire), 12)[0].points
    foot_reach = 52.0 / 2.0 - 0.2
    highest = points[points[:, 1] > 1.1 - 1e-6]
    assert points[:, 0].max() == pytest.approx(foot_reach, rel=0, abs=1e-6)
    assert highest[:, 0].max() == pytest.approx(foot_reach - 1.1 * np.tan(np.pi / 6), rel=0, abs=1e-6)
