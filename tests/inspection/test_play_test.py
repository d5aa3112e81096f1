"""Bad notes laid over measured frets: each cause is found where it is and nowhere else."""

import dataclasses

import numpy as np
import pytest

from app.inspection.play_test import height_at, note_causes
from tests.findings.records import kink
from tests.inspection.necks import neck, single


def test_a_buzz_behind_a_high_fret() -> None:
    curve = neck(deviation=single(8, 0.12))
    for fret in (3, 5, 7):
        (cause,) = note_causes(curve, {(2, fret): "buzz"})
        assert cause.cause == "fret ahead high"
        assert cause.text.startswith("Fret 8 stands 0.12 mm high")


@pytest.mark.parametrize("fret", [2, 8, 9])
def test_a_high_fret_far_ahead_or_behind_explains_nothing(fret: int) -> None:
    (cause,) = note_causes(neck(deviation=single(8, 0.12)), {(2, fret): "buzz"})
    assert cause.cause == "no measured cause"


def test_a_worn_fret_under_its_own_note() -> None:
    (cause,) = note_causes(neck(deviation=single(5, -0.10)), {(3, 5): "dead"})
    assert (cause.cause, cause.sound) == ("own fret low", "dead")
    assert cause.text.startswith("Fret 5 lies 0.10 mm low")


def test_a_high_fret_on_the_bass_side_is_less_under_the_high_string() -> None:
    curve = neck(deviation=single(8, 0.12))
    curve = dataclasses.replace(curve, treble=neck().treble)
    heights = [height_at(curve, string, 6, 8) for string in range(1, 7)]
    assert [h.deviation_mm for h in heights] == pytest.approx([0.12 * i / 5 for i in range(6)], abs=1e-12, rel=0)
    assert heights[0].u_mm == heights[5].u_mm == 0.008
    assert heights[2].u_mm == pytest.approx(0.008 * np.hypot(0.4, 0.6), abs=1e-12, rel=0)
    assert note_causes(curve, {(6, 7): "buzz"})[0].cause == "fret ahead high"
    assert note_causes(curve, {(1, 7): "buzz"})[0].cause == "no measured cause"


def test_a_straight_neck_buzzes_low_and_not_high() -> None:
    causes = note_causes(neck(-0.10), {(6, 0): "buzz", (6, 2): "buzz", (6, 9): "buzz"})
    assert [(cause.fret, cause.cause) for cause in causes] == [
        (0, "too little relief"),
        (2, "too little relief"),
        (9, "no measured cause"),
    ]


@pytest.mark.parametrize(("string", "side"), [(1, "treble"), (2, "treble"), (3, "treble"), (4, "bass"), (6, "bass")])
def test_a_string_is_held_against_the_relief_of_its_own_side(string: int, side: str) -> None:
    (cause,) = note_causes(neck(-0.10, treble_mm=-0.20), {(string, 2): "buzz"})
    assert cause.text.startswith(f"The {side} side has {-0.10 if side == 'bass' else -0.20:.2f} mm of relief")


def test_only_an_open_string_buzzes_in_the_nut_slot() -> None:
    open_string, fretted = note_causes(neck(), {(6, 0): "buzz", (6, 3): "buzz"})
    assert open_string.text == "No measured cause: look at the nut slot, the action, a loose fret, the string itself."
    assert fretted.text == "No measured cause: look at the action, a loose fret, the string itself."


def test_last_frets_that_rise_choke_high_notes() -> None:
    curve = neck(gap=kink(0.25))
    causes = note_causes(curve, {(1, 14): "choke", (1, 7): "choke", (1, 22): "choke"})
    by_fret = {cause.fret: cause.cause for cause in causes}
    assert by_fret == {14: "last frets rise", 7: "no measured cause", 22: "no measured cause"}


def test_two_causes_are_both_named() -> None:
    deviation = single(5, -0.10) + single(6, 0.10)
    causes = note_causes(neck(deviation=deviation), {(4, 5): "buzz"})
    assert {cause.cause for cause in causes} == {"own fret low", "fret ahead high"}


def test_a_cause_within_its_uncertainty_is_not_named() -> None:
    (cause,) = note_causes(neck(deviation=single(8, 0.06), deviation_u_mm=0.015), {(1, 7): "buzz"})
    assert cause.cause == "no measured cause"
    (cause,) = note_causes(neck(deviation=single(8, 0.12), deviation_u_mm=0.08), {(1, 7): "buzz"})
    assert cause.cause == "not seen well enough"


def test_frets_that_were_not_seen_are_said_to_be_unseen() -> None:
    deviation = np.zeros(22)
    deviation[7] = np.nan
    (cause,) = note_causes(neck(deviation=deviation), {(1, 7): "buzz"})
    assert cause.cause == "not seen well enough"
    assert "do not show fret 8 well enough" in cause.text
    assert height_at(neck(deviation=deviation), 1, 6, 8).deviation_mm is None


def test_good_notes_ask_for_nothing() -> None:
    grid = {(string, fret): "fine" for string in range(1, 7) for fret in range(23)}
    assert note_causes(neck(deviation=single(8, 0.12)), grid) == ()


@pytest.mark.parametrize(
    ("notes", "match"),
    [
        ({(0, 3): "buzz"}, "string=0"),
        ({(7, 3): "buzz"}, "string=7"),
        ({(1, 23): "buzz"}, "fret=23"),
        ({(1, -1): "buzz"}, "fret=-1"),
        ({(1, 2.0): "buzz"}, r"fret=2\.0"),
        ({(1, 3): "hum"}, "sound='hum'"),
    ],
)
def test_notes_off_the_neck_are_misuse(notes: dict[tuple[int, int], str], match: str) -> None:
    with pytest.raises(ValueError, match=match):
        note_causes(neck(), notes)
