"""Every direction of the truss rod, its reasons, and the caution that is always there."""

import numpy as np
import pytest

from tests.findings.records import FRETS, bow, kink, record, s_curve, side
from vision.findings import truss_rod_advice
from vision.findings.truss_rod import CAUTION
from vision.results import Array, Measured
from vision.settings import Thresholds

LIMITS = Thresholds()


def high_fret() -> Measured:
    deviation = np.zeros(FRETS)
    deviation[8] = 0.09
    return record(side("bass", bow(0.2), deviation=deviation), bow(0.2))


CASES = [
    (record(bow(0.321)), "tighten"),
    (record(bow(0.319)), "leave alone"),
    (record(bow(0.2)), "leave alone"),
    (record(bow(0.081)), "leave alone"),
    (record(bow(0.079)), "slacken"),
    (record(bow(0.0)), "slacken"),
    (record(bow(-0.2)), "slacken"),
    (record(bow(0.6), twist_deg=0.8), "tighten"),
    (record(bow(0.2), twist_deg=0.8), "nothing to gain"),
    (record(s_curve(0.15)), "nothing to gain"),
    (record(kink(0.25) + bow(0.1)), "nothing to gain"),
    (record(kink(-0.3) + bow(0.1)), "nothing to gain"),
    (high_fret(), "nothing to gain"),
    (record(bow(0.5), bow(0.0)), "nothing to gain"),
    (record(side("bass", bow(0.2), 0.06)), "cannot tell"),
    (record(side("bass", bow(0.4), 0.057)), "cannot tell"),
    (record(side("bass", bow(0.2), float("inf"))), "cannot tell"),
    (record(side("bass", bow(0.2), float("nan"))), "cannot tell"),
]


@pytest.mark.parametrize(("measured", "direction"), CASES)
def test_direction_and_caution(measured: Measured, direction: str) -> None:
    advice = truss_rod_advice(measured, LIMITS)
    assert advice.direction == direction
    assert advice.text
    assert advice.caution == CAUTION


def test_every_direction_is_reached() -> None:
    assert {direction for _, direction in CASES} == {
        "tighten",
        "slacken",
        "leave alone",
        "nothing to gain",
        "cannot tell",
    }


@pytest.mark.parametrize(
    "words",
    [
        "tuned to pitch",
        "eighth to a quarter turn",
        "retune",
        "wait",
        "sight again",
        "Stop at any resistance",
        "stuck",
        "stripped",
        "bottomed",
        "qualified repairer",
    ],
)
def test_the_caution_is_complete(words: str) -> None:
    assert words in CAUTION


def test_turning_states_viewpoint_and_thread() -> None:
    tighten = truss_rod_advice(record(bow(0.6)), LIMITS).text
    slacken = truss_rod_advice(record(bow(-0.2)), LIMITS).text
    for text, turn in ((tighten, " clockwise"), (slacken, " anticlockwise")):
        assert "looking at the adjusting nut" in text
        assert turn in text
        assert "left-hand thread" in text
    assert "cannot push a back-bow out" in slacken
    assert "cannot push" not in truss_rod_advice(record(bow(0.0)), LIMITS).text


@pytest.mark.parametrize(
    ("measured", "words"),
    [
        (record(bow(0.2), twist_deg=0.8), "Twist"),
        (record(s_curve(0.15)), "S-curve"),
        (record(kink(0.25) + bow(0.1)), "rise"),
        (record(kink(-0.3) + bow(0.1)), "hump"),
        (high_fret(), "high fret"),
        (record(bow(0.5), bow(0.0)), "both sides together"),
    ],
)
def test_what_the_rod_cannot_do_is_a_reason(measured: Measured, words: str) -> None:
    reasons = truss_rod_advice(measured, LIMITS).reasons
    assert any(words in reason for reason in reasons[1:])
    assert reasons[0].startswith("Mean relief")


def test_a_rise_is_not_mistaken_for_bow() -> None:
    # The chord to a raised last fret shows 0.4 mm of gap, but up to the body the neck is nearly straight.
    measured = record(kink(0.5) + bow(0.02))
    assert measured.bass.relief_mm > LIMITS.wanted_relief_high_mm
    advice = truss_rod_advice(measured, LIMITS)
    assert advice.direction == "nothing to gain"
    assert "up to the body" in advice.reasons[0]
    assert truss_rod_advice(record(kink(0.5) + bow(0.6)), LIMITS).direction == "tighten"
    # Back-bow up to a rise crosses the chord: an S, which the rod cannot straighten.
    assert truss_rod_advice(record(kink(0.5) + bow(-0.3)), LIMITS).direction == "nothing to gain"


def test_the_wanted_relief_is_a_setting() -> None:
    wide = Thresholds(wanted_relief_high_mm=0.7)
    assert truss_rod_advice(record(bow(0.6)), LIMITS).direction == "tighten"
    assert truss_rod_advice(record(bow(0.6)), wide).direction == "leave alone"


@pytest.mark.parametrize(("u_mm", "opposite"), [(0.01, True), (0.06, False)])
def test_sides_ask_for_opposite_directions_only_where_both_are_sure(u_mm: float, opposite: bool) -> None:
    advice = truss_rod_advice(record(side("bass", bow(0.5), u_mm), bow(0.0)), LIMITS)
    assert ("opposite directions" in advice.text) == opposite


@pytest.mark.parametrize(("gap", "part"), [(bow(0.2), False), (kink(0.25) + bow(0.1), True)])
def test_reasons_say_over_which_frets_the_relief_is_meant(gap: Array, part: bool) -> None:
    reason = truss_rod_advice(record(gap), LIMITS).reasons[0]
    assert ("over the frets up to the body" in reason) == part
