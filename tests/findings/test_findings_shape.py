"""Bow, back-bow, straight, S-curve, rise and hump: each on and just off its limits, and too uncertain."""

import dataclasses

import numpy as np
import pytest

from tests.findings.records import SCALE_MM, along, bow, kink, record, s_curve, side
from vision.findings import Finding, judge, shape_of
from vision.findings.finding import better_photographs, standing
from vision.findings.shape import contrast_mm, hump_weights, joint_index, rise_weights
from vision.fit.frets import fret_positions_mm
from vision.results import Measured
from vision.settings import Thresholds

LIMITS = Thresholds()


def codes(measured: Measured, limits: Thresholds = LIMITS) -> set[str]:
    return {finding.code for finding in judge(measured, limits)}


def one(measured: Measured, code: str) -> Finding:
    found = [finding for finding in judge(measured, LIMITS) if finding.code == code]
    assert found, codes(measured)
    return found[0]


@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        (0.141, 0.02, "beyond"),
        (0.139, 0.02, "borderline"),
        (-0.141, 0.02, "beyond"),
        (0.059, 0.02, "within"),
        (0.061, 0.02, "borderline"),
        (-0.059, 0.02, "within"),
        (0.05, 0.051, "unknown"),
        (0.25, 0.051, "beyond"),
        (0.1, 0.049, "borderline"),
        (0.5, float("nan"), "unknown"),
        (float("nan"), 0.01, "unknown"),
        (0.5, float("inf"), "unknown"),
        (0.5, -0.01, "unknown"),
    ],
)
def test_standing_against_a_limit(value: float, u: float, expected: str) -> None:
    assert standing(value, u, 0.1, 2.0) == expected


@pytest.mark.parametrize(
    ("relief_mm", "u_mm", "shape"),
    [
        (0.0, 0.01, "straight"),
        (0.049, 0.02, "straight"),
        (-0.049, 0.02, "straight"),
        (0.051, 0.02, "forward bow"),
        (-0.051, 0.02, "back-bow"),
        (0.0, 0.0249, "straight"),
        (0.0, 0.0251, "cannot tell"),
        (0.16, 0.057, "cannot tell"),
        (0.17, 0.057, "forward bow"),
        (-0.17, 0.057, "back-bow"),
        (0.2, float("nan"), "cannot tell"),
        (0.2, float("inf"), "cannot tell"),
    ],
)
def test_bow_at_its_limits(relief_mm: float, u_mm: float, shape: str) -> None:
    measured = record(side("bass", bow(relief_mm), u_mm))
    assert shape_of(measured, LIMITS) == shape
    names = {"forward bow": "forward_bow", "back-bow": "back_bow", "straight": "straight"}
    code = names.get(shape, "cannot_tell_bow")
    finding = one(measured, code)
    assert finding.side == "bass"
    assert (finding.severity == "cannot tell") == (shape == "cannot tell")


@pytest.mark.parametrize(
    ("relief_mm", "severity"),
    [(0.29, "fine"), (0.319, "fine"), (0.321, "look closer"), (0.519, "look closer"), (0.521, "fault")],
)
def test_forward_bow_severity(relief_mm: float, severity: str) -> None:
    finding = one(record(bow(relief_mm)), "forward_bow")
    assert finding.severity == severity
    assert finding.value == pytest.approx(relief_mm, rel=0, abs=1e-12)
    assert finding.u == 0.01
    assert finding.unit == "mm"
    assert finding.frets in ((8,), (9,))  # both lie equally deep on a parabola


@pytest.mark.parametrize(("relief_mm", "severity"), [(0.324, "fine"), (0.326, "look closer")])
def test_a_leaf_beyond_the_range_is_fine_while_uncertain(relief_mm: float, severity: str) -> None:
    assert one(record(side("bass", bow(relief_mm), 0.02)), "forward_bow").severity == severity


@pytest.mark.parametrize(("relief_mm", "severity"), [(-0.069, "look closer"), (-0.071, "fault")])
def test_back_bow_is_a_fault_once_certain(relief_mm: float, severity: str) -> None:
    assert one(record(bow(relief_mm)), "back_bow").severity == severity


def test_sides_of_different_shape_make_one_word() -> None:
    for bass, treble, word in (
        (bow(0.2), bow(0.0), "forward bow"),
        (bow(0.0), bow(-0.2), "back-bow"),
        (bow(0.3), bow(-0.1), "forward bow"),
        (bow(0.1), bow(-0.3), "back-bow"),
        (bow(0.2), bow(-0.2), "straight"),
        (bow(0.2), s_curve(0.1), "S-curve"),
    ):
        assert shape_of(record(bass, treble), LIMITS) == word
    unsure = record(bow(0.2), side("treble", bow(0.1), 0.06))
    assert shape_of(unsure, LIMITS) == "cannot tell"


@pytest.mark.parametrize(
    ("lobe_mm", "u_mm", "code"),
    [
        (0.10, 0.010, "s_curve"),
        (0.027, 0.005, "s_curve"),
        (0.024, 0.005, "straight"),  # smaller than one feeler leaf
        (0.10, 0.049, "s_curve"),
        (0.10, 0.080, "cannot_tell_bow"),
    ],
)
def test_s_curve_at_its_limits(lobe_mm: float, u_mm: float, code: str) -> None:
    measured = record(side("bass", s_curve(lobe_mm), u_mm), difference_u_mm=0.002)
    assert code in codes(measured)
    assert ("s_curve" in codes(measured)) == (code == "s_curve")


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_s_curve_needs_both_lobes_beyond_their_uncertainty(sign: float) -> None:
    gap = sign * (s_curve(0.15) + bow(0.07))  # one lobe of about 0.2 mm, the other of about 0.1
    lesser = min(gap.max(), -gap.min())
    assert 0.06 < lesser < 0.12
    for u_mm, certain in ((0.3 * lesser, True), (0.8 * lesser, False)):
        measured = record(side("bass", gap, u_mm), difference_u_mm=0.002)
        assert ("s_curve" in codes(measured)) == certain


def test_s_curve_reports_both_lobes_either_way_round() -> None:
    for sign in (1.0, -1.0):
        finding = one(record(s_curve(sign * 0.1)), "s_curve")
        wave = s_curve(sign * 0.1)
        assert finding.value == pytest.approx(wave.max() - wave.min(), rel=0, abs=1e-12)
        assert finding.frets == tuple(sorted((int(wave.argmax()) + 1, int(wave.argmin()) + 1)))
        assert finding.severity == "fault"


def test_a_lopsided_bow_is_no_s_curve() -> None:
    gap = bow(0.25) + 0.08 * np.sin(2.0 * np.pi * along())
    assert gap[1:-1].min() > 0.0
    assert {"forward_bow"} == codes(record(gap)) & {"forward_bow", "s_curve", "straight"}


def test_rise_contrast_ignores_every_line_and_parabola_and_finds_a_kink() -> None:
    z = fret_positions_mm(SCALE_MM, 22)
    joint = joint_index(z, SCALE_MM)
    assert joint == 15
    weights = rise_weights(z, joint)
    for power in range(3):
        assert weights @ (z / 500.0) ** power == pytest.approx(0.0, rel=0, abs=1e-9)
    value, u = contrast_mm(weights, side("bass", kink(0.2) + bow(0.3)), record())
    assert value == pytest.approx(0.2, rel=0, abs=1e-9)
    assert 0.005 < u < 0.04
    # The badly known parabola does not enter: ten times the relief's uncertainty, the same answer.
    wide = contrast_mm(weights, side("bass", kink(0.2), u_mm=0.1), record())
    assert wide == pytest.approx((value, u), rel=0, abs=1e-9)


def test_one_sides_waves_are_known_as_the_sides_difference_over_root_two() -> None:
    """Two sides of independent errors u differ by u sqrt(2) (JCGM 100, 5.1.2): amplitudes drawn at random say so."""
    z = fret_positions_mm(SCALE_MM, 22)
    weights = rise_weights(z, 15)
    curve = side("bass", bow(0.2), u_mm=1e-9, deviation_u_mm=1e-9)
    _, claimed = contrast_mm(weights, curve, record(curve, difference_u_mm=0.02))
    drawn = np.random.default_rng(3).normal(0.0, 1.0, (2, 2, 20_000))  # side, wave of two or three half-lengths
    scale = 0.02 / (drawn[0] - drawn[1]).std()
    t = along()
    found = scale * (drawn[0].T @ np.stack([weights @ np.sin(n * np.pi * t) for n in (2, 3)])).std()
    assert claimed == pytest.approx(float(found), rel=0, abs=0.03 * claimed)


@pytest.mark.parametrize("frets", [19, 21, 22, 24])
def test_rise_at_its_limit_for_common_numbers_of_frets(frets: int) -> None:
    measured = record(kink(0.2, frets=frets))
    z = fret_positions_mm(SCALE_MM, frets)
    joint = joint_index(z, SCALE_MM)
    assert joint == 15
    _, u = contrast_mm(rise_weights(z, joint), measured.bass, measured)
    limit = LIMITS.rise_mm + LIMITS.coverage_k * u
    assert "rise" in codes(record(kink(limit + 0.001, frets=frets) + bow(0.1, frets)))
    assert "rise" not in codes(record(kink(limit - 0.001, frets=frets) + bow(0.1, frets)))


def test_rise_names_the_frets_past_the_joint() -> None:
    finding = one(record(kink(0.25) + bow(0.1)), "rise")
    assert finding.frets == (17, 18, 19, 20, 21, 22)
    assert finding.severity == "fault"
    assert finding.value == pytest.approx(0.25, rel=0, abs=1e-9)


def test_bows_alone_have_neither_rise_nor_hump() -> None:
    for relief_mm in (-0.6, -0.2, 0.0, 0.3, 0.9):
        assert not codes(record(bow(relief_mm))) & {"rise", "hump", "cannot_tell_rise"}


def test_hump_wants_the_last_frets_to_fall_and_the_joint_to_stand_out() -> None:
    finding = one(record(kink(-0.3)), "hump")
    assert finding.frets == (16,)
    z = fret_positions_mm(SCALE_MM, 22)
    share = (z[15] - z[9]) / (z[21] - z[9])
    assert finding.value == pytest.approx(0.3 * share, rel=0, abs=1e-9)
    assert "hump" not in codes(record(kink(-0.08)))
    # The same fall at the end of a deep forward bow leaves no hump at the joint.
    assert "hump" not in codes(record(kink(-0.2) + bow(0.9)))
    weights = hump_weights(z, 15)
    assert weights @ z == pytest.approx(0.0, rel=0, abs=1e-9)
    assert weights.sum() == pytest.approx(0.0, rel=0, abs=1e-12)


def test_rise_with_too_wide_uncertainty_cannot_be_told() -> None:
    measured = record(bow(0.2), difference_u_mm=0.05)
    finding = one(measured, "cannot_tell_rise")
    assert finding.severity == "cannot tell"
    assert finding.side is None
    assert finding.frets == (17, 18, 19, 20, 21, 22)
    unknown = side("bass", bow(0.2), deviation_u_mm=float("inf"))
    assert one(record(unknown, bow(0.2)), "cannot_tell_rise").side == "bass"


def test_necks_with_few_frets_past_the_joint_get_no_word_on_the_end() -> None:
    measured = record(kink(0.4, at_fret=14, frets=18))
    assert not codes(measured) & {"rise", "hump", "cannot_tell_rise"}


def test_advice_asks_for_what_is_missing() -> None:
    assert "along each outer string" in better_photographs(record(kinds=("front",)))
    assert "from the front" in better_photographs(record(kinds=("bass", "treble")))
    assert "filling the frame" in better_photographs(record())


def test_thresholds_are_settings() -> None:
    strict = dataclasses.replace(LIMITS, straight_within_mm=0.01)
    assert "straight" in codes(record(bow(0.03)))
    assert "forward_bow" in codes(record(side("bass", bow(0.03), 0.004)), strict)


def test_misuse_names_the_argument() -> None:
    with pytest.raises(ValueError, match="measured must be a Measured record, got None"):
        judge(None, LIMITS)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="thresholds must be Thresholds, got 3"):
        judge(record(), 3)  # type: ignore[arg-type]
