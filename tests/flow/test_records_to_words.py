"""From a record to words, rows and sums: sightings, table, corrections, notes, checks, decision, comparison."""

import csv
import dataclasses
import io
import json
from dataclasses import replace

import numpy as np
import pytest

from app.check_figures import figure_lines
from app.comparing import NOTHING, comparison_rows
from app.contract import contract_text, outcome_to_contract
from app.corrections import correction_rows
from app.curve_table import curve_csv, curve_rows
from app.deciding import causes_of, checks_of, deal_of, latest_curve, prices_of, situation_of, verdict_of
from app.headline import decision
from app.inspection.facts import CurveFacts, RefusedFacts
from app.limits import thresholds_of, with_thresholds
from app.play_notes import with_note, with_rest_fine, without_notes
from app.record.inspection import (
    CheckResult,
    CostEdit,
    Guitar,
    Inspection,
    Measurement,
    Neck,
    Photo,
    PlayedNote,
    Sighting,
    new_inspection,
    now_utc,
)
from app.rod_history import turn_at
from app.sightings import (
    measured_indices,
    with_corners,
    with_first_sighting,
    with_neck_stated,
    with_new_sighting,
    with_photos,
    without_photo,
)
from app.tunings import TUNINGS, lowest_string_hz, semitones_down
from app.wear import deepest_dent_mm, dents_of, usual_height_mm, with_dents
from app.wording import MILLIMETRES, THOUSANDTHS
from tests import fixtures_results
from vision.findings import judge
from vision.results import Outcome
from vision.settings import Thresholds

A, B = Photo("a" * 64, "a.jpg"), Photo("b" * 64, "b.jpg")


def measurement(outcome: Outcome) -> Measurement:
    contract = json.loads(contract_text(outcome_to_contract(outcome, Thresholds(), "1")))
    return Measurement("1", now_utc(), contract)


def inspected(*outcomes: Outcome, turns: float = 0.125) -> Inspection:
    """A guitar with one set of photographs an outcome, the rod tightened by `turns` before each later one."""
    sets = tuple(
        Sighting("set", now_utc(), turns if k else 0.0, "to pitch", (A,), measurement(o))
        for k, o in enumerate(outcomes)
    )
    guitar = Guitar(title="One", asking_price=500.0, currency="EUR", value_in_good_order=600.0, neck=Neck(647.7, 22))
    return replace(new_inspection(guitar), sightings=sets)


def test_a_set_drops_its_measurement_with_any_change_of_its_photographs() -> None:
    inspection = inspected(fixtures_results.measured())
    assert measured_indices(inspection) == (0,)
    for changed in (
        with_photos(inspection, 0, (B,)),
        without_photo(inspection, 0, A.sha256),
        with_corners(inspection, 0, A.sha256, ((0.0, 0.0),) * 4),
    ):
        assert changed.sightings[0].measurement is None
        assert measured_indices(changed) == ()
    assert with_photos(inspection, 0, (A, A)) is inspection, "the same photograph again changes nothing"
    assert with_corners(inspection, 0, A.sha256, None) is inspection
    with pytest.raises(ValueError, match="no more than 12"):
        with_photos(inspection, 0, tuple(Photo(f"{k:064x}", "x") for k in range(12)))


def test_only_what_is_stated_to_the_measurement_makes_it_stale() -> None:
    inspection = inspected(fixtures_results.measured())

    def stated(**changes: object) -> Inspection:
        neck = replace(inspection.guitar.neck, **changes)  # type: ignore[arg-type]
        return replace(inspection, guitar=replace(inspection.guitar, neck=neck))

    assert with_neck_stated(inspection, stated(strings=7)).sightings[0].measurement is not None
    assert with_neck_stated(inspection, stated(frets=21)).sightings[0].measurement is None


def test_the_first_set_and_later_ones() -> None:
    empty = new_inspection()
    (first,) = with_first_sighting(empty).sightings
    assert (first.label, first.part_turn) == ("As found", 0.0)
    second = with_new_sighting(with_first_sighting(empty), "After", -0.125).sightings[1]
    assert second.part_turn == -0.125
    with pytest.raises(ValueError, match="part_turn"):
        with_new_sighting(empty, "After", 9.0)


def test_the_table_holds_every_figure_and_leaves_gaps_empty() -> None:
    measured = fixtures_results.measured()
    measured.bass.deviation_mm[4] = np.nan
    rows = list(csv.DictReader(io.StringIO(curve_csv(measured, MILLIMETRES))))
    assert len(rows) == 22
    assert rows[4]["bass fret high (+), mm"] == ""
    for k in (0, 9, 21):
        assert float(rows[k]["bass gap, mm"]) == pytest.approx(measured.bass.gap_mm[k], rel=0, abs=0.0005)
        assert float(rows[k]["from nut, mm"]) == pytest.approx(647.7 * (1 - 2 ** (-(k + 1) / 12)), rel=0, abs=0.005)
    thou = curve_rows(measured, THOUSANDTHS)[9]["treble gap, thou"]
    assert thou == pytest.approx(measured.treble.gap_mm[9] / 0.0254, rel=0, abs=0.005)


def test_a_bow_that_cannot_be_told_speaks_for_nothing() -> None:
    found = judge(fixtures_results.measured(), Thresholds())
    fine = tuple(finding for finding in found if finding.severity == "fine")
    assert decision(fine) == "Nothing was found that speaks against this neck."
    untold = replace(fine[0], code="cannot_tell_bow", severity="cannot tell")
    assert decision((untold, *fine)).startswith("This is not enough to judge the neck")


def test_corrections_say_what_was_and_was_not_done() -> None:
    measured = fixtures_results.measured()
    rows = dict(correction_rows(measured, "to pitch", False, MILLIMETRES))
    assert "not stated to lie flat" in rows["String sag"]
    assert "nothing to correct" in rows["Tuning"]
    rows = dict(correction_rows(measured, "slack", True, THOUSANDTHS))
    assert "not against the string" in rows["String sag"]  # what the program does: no figure holds a sag
    assert "estimate" in rows["Tuning"]
    assert "thou more relief" in rows["Tuning"]
    assert "Not stated" in dict(correction_rows(measured, "open G", False, MILLIMETRES))["Tuning"]


def test_tunings_go_down_by_semitones() -> None:
    assert [semitones_down(t) for t in TUNINGS[:-1]] == [0, 1, 2, 3, 4]
    assert lowest_string_hz("slack", 82.41) is None
    # D2 of equal temperament at A 440 Hz (ISO 16): 73.42 Hz.
    assert lowest_string_hz("a whole step down", 82.41) == pytest.approx(73.42, rel=0, abs=0.01)
    with pytest.raises(ValueError, match="tuning='slack'"):
        semitones_down("slack")


def test_notes_change_one_at_a_time() -> None:
    inspection = inspected()
    marked = with_note(inspection, 2, 7, "buzz")
    assert with_note(marked, 2, 7, "choke").play_test == (PlayedNote(2, 7, "choke"),)
    assert with_note(marked, 2, 7, "not played").play_test == ()
    full = with_rest_fine(marked)
    assert len(full.play_test) == 6 * 23
    assert PlayedNote(2, 7, "buzz") in full.play_test
    assert without_notes(full).play_test == ()
    for string, fret, words in ((7, 0, "string=7"), (0, 0, "string=0"), (1, 23, "fret=23"), (1, -1, "fret=-1")):
        with pytest.raises(ValueError, match=words):
            with_note(inspection, string, fret, "buzz")


def test_a_buzz_behind_a_high_fret_is_explained_by_it() -> None:
    outcome = fixtures_results.with_high_fret(fixtures_results.measured(), 9, 0.2)
    inspection = with_note(inspected(outcome), 3, 8, "buzz")
    (cause,) = causes_of(inspection)
    assert cause.cause == "fret ahead high"
    assert cause.text.startswith("Fret 9 stands 0.20 mm high")
    assert causes_of(with_note(inspected(), 3, 8, "buzz")) == (), "nothing is measured"


def test_limits_travel_with_the_inspection_and_only_where_unusual() -> None:
    inspection = inspected()
    wanted = Thresholds(wanted_relief_high_mm=0.4)
    changed = with_thresholds(inspection, wanted)
    assert changed.decision_settings == {"limit_wanted_relief_high_mm": 0.4}
    assert thresholds_of(changed) == wanted
    assert with_thresholds(changed, Thresholds()).decision_settings == {}
    broken = replace(inspection, decision_settings={"limit_wanted_relief_high_mm": 0.01})
    assert thresholds_of(broken) == Thresholds(), "what cannot be a limit is not used"


def test_the_newest_measured_set_is_the_one_that_counts() -> None:
    first, second = fixtures_results.measured(bass_mm=0.5), fixtures_results.measured(bass_mm=0.2)
    curve = latest_curve(inspected(first, second, fixtures_results.refused()))
    assert isinstance(curve, CurveFacts)
    assert curve.bass.relief_mm == pytest.approx(second.bass.relief_mm, rel=0, abs=1e-12)
    assert isinstance(latest_curve(inspected(fixtures_results.refused())), RefusedFacts)
    assert latest_curve(inspected()) is None


def test_the_offer_is_worth_less_margin_less_certain_cost() -> None:
    """Worked by hand: nothing to repair but one row of the user's own that costs 100 in any case."""
    inspection = inspected(fixtures_results.measured(bass_mm=0.2, treble_mm=0.2, twist_deg=0.0, u_mm=0.001))
    checks = {check_id: CheckResult("fine") for check_id in checks_of(inspection)}
    careful = {"margin": 50.0, "careful_look_closer_chance": 0.0}
    own = {"own_1": CostEdit(100.0, 100.0, "New strings and a case")}
    free = replace(inspection, checks=checks, decision_settings=careful)
    without, with_row = verdict_of(free), verdict_of(replace(free, costs=own))
    assert without is not None
    assert with_row is not None
    assert without.offer.highest == pytest.approx(600.0 - 50.0, rel=0, abs=2.0)
    assert without.offer.highest - with_row.offer.highest == pytest.approx(100.0, rel=0, abs=1e-6)
    assert without.answer == "buy"


def test_without_a_worth_there_is_no_answer_and_old_entries_do_no_harm() -> None:
    inspection = replace(
        inspected(),
        checks={"of another version": CheckResult("fault")},
        rules={"of another version": True},
        guitar=Guitar(),
    )
    assert deal_of(inspection) is None
    assert verdict_of(inspection) is None
    assert "of another version" not in situation_of(inspection).checks
    worth = replace(inspection, guitar=Guitar(value_in_good_order=300.0))
    verdict = verdict_of(worth)
    assert verdict is not None
    assert verdict.answer == "take better photographs"


def test_costs_are_examples_until_edited() -> None:
    inspection = inspected()
    assert prices_of(inspection).is_example
    edited = prices_of(replace(inspection, costs={"set_up": CostEdit(10.0, 20.0)}))
    assert not edited.is_example
    assert next(r for r in edited.repairs if r.id == "set_up").high_cost == 20.0


def test_dents_string_by_string_lead_to_the_jobs_left() -> None:
    inspection = with_dents(inspected(), {(3, 2): 0.05, (5, 1): 0.12, (1, 1): 0.0})
    assert dents_of(inspection) == {(3, 2): 0.05, (5, 1): 0.12}
    assert deepest_dent_mm(inspection) == 0.12
    assert checks_of(inspection)["fret_wear"].number("deepest_dent_mm") == 0.12
    assert figure_lines("fret_wear", inspection) == (), "neither a height nor a size of wire is known"
    jobs = replace(inspection, decision_settings={"wire_size": "medium-jumbo"})
    worn = replace(jobs.checks["fret_wear"], readings=jobs.checks["fret_wear"].readings | {"past_jobs": 1.0})
    jobs = replace(jobs, checks=jobs.checks | {"fret_wear": worn})
    # By hand: 1.22 mm new less one job of 0.09 + 0.03 mm (common practice).
    assert usual_height_mm(jobs) == pytest.approx(1.10, rel=0, abs=1e-9)
    assert "about 1.10 mm high" in figure_lines("fret_wear", jobs)[0]
    with pytest.raises(ValueError, match=r"fret 3, string 2=9\.0"):
        with_dents(inspection, {(3, 2): 9.0})


def test_readings_that_cannot_be_are_refused_by_name() -> None:
    inspection = replace(
        inspected(), checks={"fret_wear": CheckResult(readings={"fret_height_mm": 0.5, "deepest_dent_mm": 1.0})}
    )
    with pytest.raises(ValueError, match=r"dent_mm=1\.0"):
        figure_lines("fret_wear", inspection)
    assert figure_lines("tuners", inspection) == ()


def test_a_turn_is_held_against_the_set_before_it() -> None:
    before, after = (
        fixtures_results.measured(bass_mm=0.6, treble_mm=0.6),
        fixtures_results.measured(bass_mm=0.4, treble_mm=0.4),
    )
    turned = turn_at(inspected(before, fixtures_results.refused(), after), 2)
    assert turned is not None
    assert (turned.before_index, turned.turns) == (0, 0.25)
    expected = after.bass.relief_mm - before.bass.relief_mm
    assert turned.advice.mean.change_mm == pytest.approx(expected, rel=0, abs=1e-9)
    assert turn_at(inspected(before, after, turns=0.0), 1) is None, "no turn lies between"
    assert turn_at(inspected(before), 0) is None
    other = dataclasses.replace(after, scale_length_mm=628.65)
    assert turn_at(inspected(before, other), 1) is None, "another neck"


def test_side_by_side_shows_a_dash_where_nothing_is_known() -> None:
    rows = dict(comparison_rows((inspected(fixtures_results.measured()), new_inspection()), MILLIMETRES))
    assert rows["Relief, bass string"][0].startswith("+0.32 mm")
    assert rows["Relief, bass string"][1] == NOTHING
    assert rows["Asking"] == ("500 EUR", NOTHING)
    assert rows["Not looked at"][1] == str(len(checks_of(new_inspection())))
