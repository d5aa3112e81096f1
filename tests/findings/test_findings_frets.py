"""Single frets, twist and differing sides, on and just off their limits."""

import dataclasses

import numpy as np
import pytest

from tests.findings.records import FRETS, bow, record, side
from vision.findings import Finding, judge
from vision.findings.frets import family_coverage, fret_list
from vision.results import Measured, Side
from vision.settings import Thresholds

LIMITS = Thresholds()
K_FAMILY = 3.27  # 44 questions at the chance of k = 2


def with_frets(values: dict[int, float], u_mm: float = 0.008, name: Side = "bass") -> Measured:
    deviation = np.zeros(FRETS)
    for fret, value in values.items():
        deviation[fret - 1] = value
    curve = side(name, bow(0.2), deviation=deviation, deviation_u_mm=u_mm)
    return record(curve, bow(0.2)) if name == "bass" else record(bow(0.2), curve)


def fret_codes(measured: Measured) -> list[tuple[str, tuple[int, ...]]]:
    return [(f.code, f.frets) for f in judge(measured, LIMITS) if "fret" in f.code]


def find(measured: Measured, code: str) -> Finding:
    return next(finding for finding in judge(measured, LIMITS) if finding.code == code)


def test_family_coverage_keeps_the_chance_of_one_question() -> None:
    assert family_coverage(2.0, 1) == pytest.approx(2.0, rel=0, abs=1e-9)
    assert family_coverage(2.0, 2 * FRETS) == pytest.approx(K_FAMILY, rel=0, abs=0.02)
    rng = np.random.default_rng(11)
    worst = rng.normal(size=(20_000, 2 * FRETS)).max(axis=1)
    share = float(np.mean(worst > family_coverage(2.0, 2 * FRETS)))
    assert 0.018 < share < 0.028  # one-sided chance at k = 2 is 0.0228
    with pytest.raises(ValueError, match="questions=0"):
        family_coverage(2.0, 0)


@pytest.mark.parametrize(
    ("value", "code"),
    [
        (0.057, "fret_high"),
        (0.055, "fret_maybe_high"),
        (0.041, "fret_maybe_high"),
        (0.039, None),
        (-0.057, "fret_low"),
        (-0.055, "fret_maybe_low"),
        (-0.039, None),
    ],
)
def test_a_fret_at_its_limits(value: float, code: str | None) -> None:
    found = fret_codes(with_frets({5: value}))
    assert found == ([(code, (5,))] if code else [("frets_in_line", ())])


def test_a_deviation_inside_its_uncertainty_is_not_stated() -> None:
    assert fret_codes(with_frets({5: 0.06}, u_mm=0.0186)) == [("frets_in_line", ())]
    assert fret_codes(with_frets({5: 0.06}, u_mm=0.0180)) == [("fret_maybe_high", (5,))]
    reach = find(with_frets({}, u_mm=0.0186), "frets_in_line")
    assert "by more than 0.07 mm" in reach.text  # rounded up: a bound must still hold


@pytest.mark.parametrize(("value", "severity"), [(0.124, "look closer"), (0.128, "fault"), (-0.128, "fault")])
def test_fret_severity(value: float, severity: str) -> None:
    finding = find(with_frets({9: value}), "fret_high" if value > 0 else "fret_low")
    assert finding.severity == severity
    assert finding.value == value
    assert finding.u == 0.008
    assert finding.side == "bass"


def test_both_sides_make_one_finding() -> None:
    deviation = np.zeros(FRETS)
    deviation[6] = 0.08
    curves = [side(name, bow(0.2), deviation=deviation) for name in ("bass", "treble")]
    found = [f for f in judge(record(*curves), LIMITS) if f.code == "fret_high"]
    assert [(f.frets, f.side) for f in found] == [((7,), None)]
    opposite = dataclasses.replace(curves[1], deviation_mm=-deviation * 1.5)
    finding = find(record(curves[0], opposite), "fret_low")
    assert finding.side == "treble"
    assert "the other way" in finding.title


def test_treble_side_is_named() -> None:
    assert find(with_frets({5: 0.09}, name="treble"), "fret_high").side == "treble"


def test_frets_without_data_are_named_and_not_judged() -> None:
    measured = with_frets({})
    u = measured.bass.deviation_u_mm.copy()
    u[[2, 3, 4, 9]] = 1e3
    deviation = measured.bass.deviation_mm.copy()
    deviation[2] = 0.2  # a number without knowledge behind it
    deviation[9] = np.nan
    curve = dataclasses.replace(measured.bass, deviation_u_mm=u, deviation_mm=deviation)
    found = fret_codes(record(curve, bow(0.2)))
    assert ("cannot_tell_frets", (3, 4, 5, 10)) in found
    assert ("frets_in_line", ()) in found
    assert len(found) == 2
    nothing = dataclasses.replace(curve, deviation_u_mm=np.full(FRETS, np.inf))
    both = record(nothing, dataclasses.replace(nothing, side="treble"))
    assert [code for code, _ in fret_codes(both)] == ["cannot_tell_frets"] * 2


def test_fret_list_words() -> None:
    assert fret_list((5,)) == "Fret 5"
    assert fret_list((7, 5)) == "Frets 5 and 7"
    assert fret_list((1, 2, 3, 4, 9)) == "Frets 1 to 4 and 9"
    assert fret_list((1, 2, 9)) == "Frets 1, 2 and 9"


@pytest.mark.parametrize(
    ("twist_deg", "u_deg", "code", "severity"),
    [
        (0.259, 0.02, "no_twist", "fine"),
        (-0.259, 0.02, "no_twist", "fine"),
        (0.261, 0.02, "twist", "look closer"),
        (0.341, 0.02, "twist", "look closer"),
        (-0.5, 0.02, "twist", "look closer"),
        (1.0, 0.02, "twist", "look closer"),
        (1.039, 0.02, "twist", "look closer"),
        (1.041, 0.02, "twist", "fault"),
        (-1.041, 0.02, "twist", "fault"),
        (0.0, 0.151, "cannot_tell_twist", "cannot tell"),
        (0.1, float("nan"), "cannot_tell_twist", "cannot tell"),
    ],
)
def test_twist_at_its_limits(twist_deg: float, u_deg: float, code: str, severity: str) -> None:
    finding = find(record(twist_deg=twist_deg, twist_u_deg=u_deg), code)
    assert finding.severity == severity
    assert finding.value == twist_deg
    assert finding.unit == "deg"


def test_twist_says_which_side_is_higher() -> None:
    assert "the treble side stands higher" in find(record(twist_deg=0.6), "twist").text
    assert "the bass side stands higher" in find(record(twist_deg=-0.6), "twist").text


@pytest.mark.parametrize(
    ("treble_mm", "u_mm", "code"),
    [
        (0.10, 0.006, None),
        (0.089, 0.006, None),
        (0.087, 0.006, "sides_differ"),
        (0.313, 0.006, "sides_differ"),
        (0.2, 0.051, "cannot_tell_sides"),
    ],
)
def test_sides_at_their_limit(treble_mm: float, u_mm: float, code: str | None) -> None:
    measured = record(bow(0.2), bow(treble_mm), difference_u_mm=u_mm)
    found = [f.code for f in judge(measured, LIMITS) if "sides" in f.code]
    assert found == ([code] if code else [])
    if code == "sides_differ":
        word = "bass" if treble_mm < 0.2 else "treble"
        assert f"The {word} side bends forwards by" in find(measured, code).text


def test_every_cannot_tell_says_how_to_take_better_photographs() -> None:
    curve = side("bass", bow(0.05), u_mm=0.2, deviation_u_mm=1.0)
    measured = record(curve, twist_u_deg=3.0, difference_u_mm=1.0, kinds=("bass", "treble"))
    unknown = [finding for finding in judge(measured, LIMITS) if finding.severity == "cannot tell"]
    assert {finding.code for finding in unknown} == {
        "cannot_tell_bow",
        "cannot_tell_sides",
        "cannot_tell_rise",
        "cannot_tell_twist",
        "cannot_tell_frets",
    }
    assert all("Add a photograph of the whole fretted part from the front" in f.text for f in unknown)


def test_records_are_not_changed() -> None:
    measured = with_frets({5: 0.2})
    before = measured.bass.deviation_mm.copy(), measured.bass.gap_mm.copy()
    judge(measured, LIMITS)
    np.testing.assert_array_equal(measured.bass.deviation_mm, before[0])
    np.testing.assert_array_equal(measured.bass.gap_mm, before[1])
