"""Tension and sag of strings, and how far their pull bends a neck: closed forms and independent libraries.

Sections are worked out by sectionproperties (finite elements), beams by PyNiteFEA (frame analysis, with P-Delta where
the bend adds to the moment). Marks: [memory] quoted from memory, [worked] worked out outside this
program, [practice] common practice. Lengths mm.
"""

import math
from collections.abc import Callable

import numpy as np
import pytest
from Pynite import FEModel3D
from sectionproperties.analysis import Section
from sectionproperties.pre import Geometry
from shapely import Polygon

from app.inspection.tuning import USUAL_SET, NeckStiffness, bow_mm, relief_at_pitch, tension_n
from vision.curves.relief import gap_to_chord_mm
from vision.findings.sag import full_sag_mm, string_sag_gap_mm, string_tension_n
from vision.fit.frets import fret_positions_mm

MAPLE_N_MM2, MAPLE_SPREAD = 12_600.0, 0.22  # Wood Handbook, hard maple, static bending at 12 % moisture; its spread
WIDTH_MM, DEPTH_MM, STRING_LIFT_MM = 45.0, 21.0, 3.0
PULL_N, SPAN_MM = 460.0, 430.0


# Tension and sag.


def test_tension_by_mersenne() -> None:
    # Steel 7850 kg/m3 [memory], 0.254 mm, 329.63 Hz, 648 mm: 72.59 N [worked].
    assert string_tension_n(329.63, 648.0, 0.254) == pytest.approx(72.59, rel=0, abs=0.005)


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
    np.testing.assert_allclose(gap_to_chord_mm(z, height), string_sag_gap_mm(82.41, 648.0, 22), rtol=0, atol=1e-9)


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf, "82"])
def test_string_functions_refuse_misuse(value: float) -> None:
    with pytest.raises(ValueError, match="frequency_hz="):
        full_sag_mm(value)
    with pytest.raises(ValueError, match="frequency_hz="):
        string_sag_gap_mm(value, 648.0, 22)
    with pytest.raises(ValueError, match="diameter_mm="):
        string_tension_n(82.41, 648.0, value)


# Bending under the pull.


def half_ellipse(depth_mm: float) -> tuple[float, float]:
    """Second moment about the horizontal axis through the centroid, mm4; distance of that axis below the flat, mm."""
    turn = np.linspace(0.0, np.pi, 201)
    geometry = Geometry(Polygon(np.column_stack([WIDTH_MM / 2.0 * np.cos(turn), -depth_mm * np.sin(turn)])))
    geometry.create_mesh(mesh_sizes=[4.0])
    section = Section(geometry)
    section.calculate_geometric_properties()
    return float(section.get_ic()[0]), -float(section.get_c()[1])


def sagitta_mm(arm_mm: float, second_moment_mm4: Callable[[float], float], *, p_delta: bool = False) -> float:
    """Middle of a simply supported beam, pressed at both ends by PULL_N that lies arm_mm off its axis.

    second_moment_mm4 : at a share of the way along the beam.
    """
    parts, model = 20, FEModel3D()
    model.add_material("maple", MAPLE_N_MM2, 900.0, 0.35, 7e-9)
    for i in range(parts + 1):
        model.add_node(f"N{i}", SPAN_MM * i / parts, 0.0, 0.0)
    for i in range(parts):
        moment = second_moment_mm4((i + 0.5) / parts)
        model.add_section(f"S{i}", 742.0, 1e5, moment, 1e5)
        model.add_member(f"M{i}", f"N{i}", f"N{i + 1}", "maple", f"S{i}")
    model.def_support("N0", True, True, True, True, True, False)
    model.def_support(f"N{parts}", False, True, True, True, True, False)
    model.add_node_load("N0", "MZ", -PULL_N * arm_mm)
    model.add_node_load(f"N{parts}", "MZ", PULL_N * arm_mm)
    if p_delta:
        model.add_node_load(f"N{parts}", "FX", -PULL_N)
        model.analyze_PDelta()
    else:
        model.analyze_linear()
    return abs(float(model.nodes[f"N{parts // 2}"].DY["Combo 1"]))


def test_bow_is_that_of_a_frame_analysis() -> None:
    moment, axis = half_ellipse(DEPTH_MM)
    arm = axis + STRING_LIFT_MM
    expected = sagitta_mm(arm, lambda _: moment)
    assert bow_mm(PULL_N, arm, SPAN_MM, MAPLE_N_MM2 * moment * 1e-6) == pytest.approx(expected, rel=0, abs=1e-5)
    # h = M c^2 / (8 E I) of a half-ellipse of 22 870.3 mm4 and an arm of 11.913 mm: 0.4395 mm [worked].
    assert expected == pytest.approx(0.4395, rel=0, abs=1e-4)


def test_what_is_left_out_is_some_three_per_cent() -> None:
    """The bend lengthens the pull's arm; the secant formula gives 0.4534 mm for 0.4395 [worked]."""
    moment, axis = half_ellipse(DEPTH_MM)
    plain, grown = (sagitta_mm(axis + STRING_LIFT_MM, lambda _: moment, p_delta=p) for p in (False, True))
    assert grown / plain == pytest.approx(0.4534 / 0.4395, rel=0, abs=1e-3)


def test_the_range_of_stiffness_is_that_of_the_stated_sections() -> None:
    # Half-ellipses 45 mm wide, 19.5 to 24 mm deep, maple of 12.6 GPa +-22 %, in N m2.
    stated = NeckStiffness()
    low = half_ellipse(19.5)[0] * MAPLE_N_MM2 * (1.0 - MAPLE_SPREAD) * 1e-6
    high = half_ellipse(24.0)[0] * MAPLE_N_MM2 * (1.0 + MAPLE_SPREAD) * 1e-6
    assert stated.stiffness_low_n_m2 == pytest.approx(low, rel=0, abs=5.0)
    assert stated.stiffness_high_n_m2 == pytest.approx(high, rel=0, abs=10.0)
    # Strings 2 to 4 mm over the board [practice].
    assert stated.arm_low_mm == pytest.approx(half_ellipse(19.5)[1] + 2.0, rel=0, abs=0.5)
    assert stated.arm_high_mm == pytest.approx(half_ellipse(24.0)[1] + 4.0, rel=0, abs=0.5)


@pytest.mark.parametrize("depths_mm", [(20.0, 20.0), (20.0, 23.5), (22.0, 24.0)])
def test_the_estimate_holds_necks_that_grow_deeper_towards_the_body(depths_mm: tuple[float, float]) -> None:
    """The estimate knows one stiffness for the whole neck; its range must hold tapered ones too."""
    nut, body = (half_ellipse(depth) for depth in depths_mm)
    deflection = sagitta_mm(
        (nut[1] + body[1]) / 2.0 + STRING_LIFT_MM,
        lambda share: (nut[0] ** (1 / 3) * (1.0 - share) + body[0] ** (1 / 3) * share) ** 3,
        p_delta=True,
    )
    pull = math.fsum(tension_n(string, 648.0) for string in USUAL_SET)
    slack = relief_at_pitch(648.0, SPAN_MM, slack=True)
    assert slack.added_low_mm < deflection * pull / PULL_N < slack.added_high_mm
