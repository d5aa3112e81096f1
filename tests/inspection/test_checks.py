"""The catalogue is whole, and answers come in checked."""

import re

import pytest

from app.inspection.check import STATES, CheckResult
from app.inspection.checks import CHECKS, GROUPS, check_by_id, checks_in, read_results

ASKED_FOR = {  # what the inspection must cover
    "rod_nut_place", "rod_nut_stripped", "rod_travel", "rod_play", "fret_ends", "inlays", "stripe_back",
    "refret_marks", "fret_wear", "play_test", "tuners", "nut", "switch", "pots", "pickup_resistance", "bridge",
    "springs", "neck_plate", "tilt_screw", "pickguard_screws", "body_thickness", "routs", "marks_inside",
}  # fmt: skip


def test_the_catalogue_covers_what_is_asked_for_once_each() -> None:
    ids = [check.id for check in CHECKS]
    assert len(set(ids)) == len(ids)
    assert set(ids) >= ASKED_FOR
    assert len({check.title for check in CHECKS}) == len(CHECKS)
    assert [check.id for group in GROUPS for check in checks_in(group)] == ids


def test_every_check_speaks_plainly() -> None:
    for check in CHECKS:
        assert check.question.endswith("?"), check.id
        # A title stands under "fine" and "fault" alike, so it must not name the fault.
        assert not re.search("crack|stripped|refret|rattle|loose", check.title, re.IGNORECASE), check.id
        for text in (check.how_to_look, check.fine, check.look_closer, check.fault):
            assert len(text) > 5, check.id
            assert text.endswith("."), check.id
        for reading in check.readings:
            assert reading.low < reading.high, reading.id
        for choice in check.choices:
            assert len(set(choice.options)) == len(choice.options) > 1, choice.id


@pytest.mark.parametrize(
    "check_id", ["rod_nut_stripped", "rod_travel", "pots", "pickup_resistance", "bridge", "springs"]
)
def test_what_can_hurt_says_so(check_id: str) -> None:
    caution = check_by_id(check_id).caution
    assert caution is not None
    assert re.search("force|amplifier|eye protection", caution)


def test_nothing_stored_is_nothing_checked() -> None:
    results = read_results({})
    assert set(results) == {check.id for check in CHECKS}
    assert {result.state for result in results.values()} == {"not checked"}


def test_a_state_alone_or_a_whole_answer() -> None:
    results = read_results(
        {
            "nut": "fault",
            "fret_ends": {
                "state": "look closer",
                "note": "treble side",
                "photo": {"anything": "is left alone"},
                "readings": {"fret_end_proud_mm": 0.2, "room_humidity_pct": 30},
            },
        }
    )
    assert results["nut"] == CheckResult("nut", "fault")
    ends = results["fret_ends"]
    assert (ends.state, ends.note, ends.number("fret_end_proud_mm")) == ("look closer", "treble side", 0.2)
    assert ends.number("room_humidity_pct") == 30.0
    assert ends.number("room_temperature_c") is None
    assert ends.word("rod_type") is None


@pytest.mark.parametrize("stored", ["double-action", 1, 1.0])
def test_a_choice_by_its_word_or_its_place(stored: object) -> None:
    travel = read_results({"rod_travel": {"state": "fine", "readings": {"rod_type": stored}}})["rod_travel"]
    assert travel.word("rod_type") == "double-action"
    assert travel.word("rod_position") is None
    assert travel.number("rod_type") is None


@pytest.mark.parametrize(
    ("stored", "match"),
    [
        ({"banjo": "fine"}, "banjo"),
        ({3: "fine"}, "check_id=3"),
        ({"nut": "good"}, "nut state='good'"),
        ({"nut": {"state": None}}, "nut state=None"),
        ({"nut": {"state": ["fine"]}}, "nut state="),
        ({"nut": 4}, "nut must be"),
        ({"nut": {"state": "fine", "note": 7}}, "nut note"),
        ({"nut": {"state": "fine", "readings": [1]}}, "nut readings"),
        ({"nut": {"state": "fine", "readings": {"width": 1.0}}}, "nut has no reading named 'width'"),
        ({"nut": {"state": "fine", "readings": {"gap_fret1_mm": float("nan")}}}, "nut gap_fret1_mm=nan"),
        ({"nut": {"state": "fine", "readings": {"gap_fret1_mm": 40.0}}}, "nut gap_fret1_mm=40.0"),
        ({"nut": {"state": "fine", "readings": {"gap_fret1_mm": True}}}, "nut gap_fret1_mm=True"),
        ({"nut": {"state": "fine", "readings": {"gap_fret1_mm": "<b>"}}}, "nut gap_fret1_mm='<b>'"),
        ({"rod_travel": {"readings": {"rod_type": 9}}}, "rod_travel rod_type=9"),
        ({"rod_travel": {"readings": {"rod_type": 0.5}}}, "rod_travel rod_type=0.5"),
        ({"rod_travel": {"readings": {"rod_type": "triple"}}}, "rod_travel rod_type='triple'"),
    ],
)
def test_an_answer_that_cannot_be_is_refused_by_name(stored: dict[str, object], match: str) -> None:
    with pytest.raises(ValueError, match=re.escape(match)):
        read_results(stored)


def test_unknown_names_are_misuse() -> None:
    with pytest.raises(ValueError, match="group='Strings'"):
        checks_in("Strings")
    with pytest.raises(ValueError, match="check_id="):
        check_by_id("")
    with pytest.raises(ValueError, match="stored must be"):
        read_results([])  # type: ignore[arg-type]
    assert len(STATES) == 4
