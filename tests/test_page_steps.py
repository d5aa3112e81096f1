"""The page step by step, run from its entry file without a browser: photographs, curves, checks, decision.

The measurement behind it is stood in for by made-up outcomes; the browser test runs the real one.
"""

import re

import pytest

from app import measuring
from app.deciding import margin_of
from app.record.inspection import CostEdit, PlayedNote
from app.samples import SAMPLES, prepared_inspection
from app.wear import dents_of
from app.widgets import looks
from tests.page_driver import (
    Desk,
    at,
    begun,
    desk,
    look_in_vain,
    measure_well,
    png,
    refuse,
    sample_page,
    settled,
    text_of,
    widget,
)
from vision.results import Outcome
from vision.settings import StatedNeck

__all__ = ["desk"]


def test_uploads_are_kept_once_and_looked_at(desk: Desk) -> None:
    app = begun(desk, "photographs")
    files = [("bass.png", png("bass"), "image/png"), ("front.png", png("front"), "image/png")]
    app.file_uploader(key="_uploads_0").set_value([*files, files[0]]).run()
    app = settled(app)
    assert not app.exception
    (sighting,) = desk.only().sightings
    assert [photo.name for photo in sighting.photos] == ["bass.png", "front.png"]
    assert desk.photos().get(sighting.photos[0].sha256) == png("bass")
    assert "1 down the neck, 1 from the front" in text_of(app)
    assert "8° above the board, sharp" in text_of(app)
    again = settled(desk.page(inspection=desk.only().id, step="photographs"))
    assert "bass.png" in text_of(again).replace("<wbr>", "")


def test_a_count_left_open_is_settled_by_another_photograph(desk: Desk) -> None:
    app = begun(desk, "photographs")
    doubtful = ("doubtful_front.png", png("front"), "image/png")
    app.file_uploader(key="_uploads_0").set_value([doubtful]).run()
    app = settled(app)
    assert "22 or 24 frets are seen." in text_of(app)
    assert app.button(key="_measure").disabled
    app.file_uploader(key="_uploads_1").set_value([("bass.png", png("bass"), "image/png")]).run()
    app = settled(app)
    assert not app.exception
    assert "22 or 24 frets are seen." not in text_of(app)
    assert "1 down the neck, 1 from the front" in text_of(app)
    assert not app.button(key="_measure").disabled


def test_a_photograph_without_a_neck_can_be_marked_or_removed(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(looks, "look_at", look_in_vain)
    app = begun(desk, "photographs")
    app.file_uploader(key="_uploads_0").set_value([("<script>x.png", png(None), "image/png")]).run()
    app = settled(app)
    assert not app.exception
    assert "No ladder of frets was found." in text_of(app)
    assert "<script>x" not in text_of(app)
    assert app.button(key="_measure").disabled
    sha256 = desk.only().sightings[0].photos[0].sha256
    app.button(key=f"_correct_{sha256}").click().run()
    assert not app.exception
    app.button(key="_use_corners").click().run()
    corners = desk.only().sightings[0].photos[0].corners
    assert corners is not None
    assert corners[0] == (0.46 * 750, 0.25 * 1000)
    app = settled(desk.page(inspection=desk.only().id, step="photographs"))
    app.button(key=f"_remove_{sha256}").click().run()
    assert desk.only().sightings[0].photos == ()
    assert "The photograph is removed." in text_of(app)
    app = settled(app.button(key="_undo").click().run())
    assert desk.only().sightings[0].photos[0].corners == corners
    assert "The photograph is removed." not in text_of(app)


def test_numbering_is_corrected_by_naming_one_fret(desk: Desk) -> None:
    app = settled(desk.page(inspection=desk.store().save(
        prepared_inspection(SAMPLES["back_bow"], desk.photos())).id, step="photographs"))  # fmt: skip
    sha256 = desk.only().sightings[0].photos[0].sha256
    app.button(key=f"_correct_{sha256}").click().run()
    app.number_input(key=f"_number_{sha256}").set_value(11).run()
    app.button(key="_renumber").click().run()
    assert not app.exception
    corners = desk.only().sightings[0].photos[0].corners
    assert corners is not None
    assert corners[0][1] < 10.0, "what was called fret 11 is fret 12, so the nut lies further out"


def test_a_measurement_is_kept_without_anybody_looking(desk: Desk) -> None:
    saved = desk.store().save(prepared_inspection(SAMPLES["twist"], desk.photos()))
    settled(desk.page(inspection=saved.id, step="curves"))
    measurement = desk.store().load(saved.id).sightings[0].measurement
    assert measurement is not None
    assert measurement.contract["status"] == "measured"


def test_a_kept_result_answers_again_without_measuring(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    app = sample_page(desk, "guitar")
    calls: list[int] = []

    def counted(photographs: list[object], stated: StatedNeck, **_: object) -> Outcome:
        calls.append(stated.frets)
        return refuse(photographs, stated)

    monkeypatch.setattr(measuring, "measure_side_by_side", counted)
    frets = widget(app, "number_input", "Number of frets")
    frets.set_value(22).run()
    assert desk.only().sightings[0].measurement is None, "the result belonged to 24 frets"
    widget(app, "number_input", "Number of frets").set_value(24).run()
    at(app, "curves")
    assert "Relief under the bass string" in text_of(app)
    assert calls == []


def test_the_curves_say_it_in_figures_words_and_files(desk: Desk) -> None:
    app = sample_page(desk, "curves")
    text = text_of(app)
    for words in (
        "Relief under the bass string",
        "95 %",
        "Truss rod",
        "Caution",
        "forward_bow_front.jpg",
        "String sag",
    ):
        assert words in text
    assert len(app.get("plotly_chart")) == 3
    assert {button.label for button in app.get("download_button")} >= {"Curves as CSV", "All figures as JSON"}
    assert "+0.32 mm under the bass string" in text
    app.get("button_group")[0].set_value("thousandths").run()
    assert "+12.6 thou under the bass string" in text_of(app)
    assert "+0.32 mm" not in text_of(app)


def test_the_usual_range_is_a_setting(desk: Desk) -> None:
    app = sample_page(desk, "curves")
    assert "A usual forward bow" in text_of(app)
    widget(app, "number_input", "Relief up to").set_value(0.15).run()
    assert "A usual forward bow" not in text_of(app)
    assert desk.only().decision_settings["limit_wanted_relief_high_mm"] == 0.15
    widget(app, "number_input", "Relief from").set_value(0.60).run()
    assert "These limits cannot be" in text_of(app)
    assert desk.only().decision_settings.get("limit_wanted_relief_low_mm") is None


def test_a_refusal_keeps_everything_and_says_what_to_do(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(measuring, "measure_side_by_side", refuse)
    app = sample_page(desk, "curves")
    assert "No measurement" in text_of(app)
    assert "Photograph the whole fretted part from one end" in text_of(app)
    assert len(desk.only().sightings[0].photos) == 3
    app.button(key="_change").click().run()
    assert "The photographs" in text_of(app)


def test_misuse_is_shown_and_nothing_breaks(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    def misuse(photographs: list[object], stated: StatedNeck, **_: object) -> Outcome:
        raise ValueError("frets=22 does not suit <b>this</b>")

    monkeypatch.setattr(measuring, "measure_side_by_side", misuse)
    saved = desk.store().save(prepared_inspection(SAMPLES["twist"], desk.photos()))
    app = settled(desk.page(inspection=saved.id, step="curves"))
    assert not app.exception
    assert "frets=22 does not suit" in app.error[0].value
    monkeypatch.setattr(measuring, "measure_side_by_side", measure_well)
    app = settled(app.button(key="_again").click().run())
    assert "Relief under the bass string" in text_of(app)


def test_a_turn_of_the_rod_is_sighted_again_and_held_against_the_first(desk: Desk) -> None:
    app = sample_page(desk, "curves")
    app.button(key="_new_sighting").click().run()
    assert not app.exception
    assert "After 1/8 turn tightened" in text_of(app)
    app.file_uploader(key="_uploads_0").set_value(
        [("front.png", png("front"), "image/png"), ("b.png", png(), "image/png")]
    )
    app.run()
    app = settled(at(settled(app), "curves"))
    kept = desk.only()
    assert [s.part_turn for s in kept.sightings] == [0.0, 0.125]
    assert kept.sightings[1].measurement is not None
    assert "is within its uncertainty" in text_of(app), "the made-up neck is the same before and after"
    assert len(app.get("plotly_chart")) == 4
    at(app, "photographs").button(key="_remove_set").click().run()
    assert not app.exception
    assert [s.label for s in desk.only().sightings] == ["As found"]


def test_answers_figures_and_notes_of_the_inspection_are_kept(desk: Desk) -> None:
    app = begun(desk, "inspection")
    app.get("button_group")[2].set_value("fault").run()
    widget(app, "number_input", "Wrench that fits").set_value(4.0).run()
    widget(app, "selectbox", "Nut is at").set_value("heel").run()
    app.text_area[0].set_value("Full of paint.").run()
    assert not app.exception
    kept = desk.only().checks
    assert (kept["rod_nut_place"].state, kept["rod_nut_place"].note) == ("fault", "Full of paint.")
    assert kept["rod_nut_place"].readings == {"rod_nut_at": 1.0}
    assert kept["rod_nut_stripped"].readings == {"wrench_mm": 4.0}
    again = desk.page(inspection=desk.only().id, step="inspection")
    assert widget(again, "selectbox", "Nut is at").value == "heel"


def test_readings_are_reckoned_with_on_the_spot(desk: Desk) -> None:
    begun(desk, "inspection")
    app = desk.page(inspection=desk.only().id, step="inspection", group="Board and frets")
    widget(app, "number_input", "Relative humidity").set_value(25.0).run()
    assert "fret ends would stand out by" in text_of(app)
    app = desk.page(inspection=desk.only().id, step="inspection", group="Electrics")
    widget(app, "number_input", "Neck pickup at the jack").set_value(6200.0).run()
    assert "the coil by itself has" in text_of(app)
    widget(app, "number_input", "Neck pickup from").set_value(7000.0).run()
    widget(app, "number_input", "Neck pickup to").set_value(8000.0).run()
    assert "below the stated 7000 to 8000 ohm" in text_of(app)


def test_notes_are_marked_without_a_mouse_and_held_against_the_frets(desk: Desk) -> None:
    app = sample_page(desk, "inspection")
    app = desk.page(inspection=desk.only().id, step="inspection", group="Board and frets")
    widget(app, "number_input", "String").set_value(2).run()
    widget(app, "number_input", "Fret").set_value(7).run()
    app.button(key="_mark_note").click().run()
    assert not app.exception
    assert PlayedNote(2, 7, "buzz") in desk.only().play_test
    assert "String 2, fret 7: buzz" in text_of(app)
    app.button(key="_rest_fine").click().run()
    assert len(desk.only().play_test) == 6 * 25
    app.button(key="_clear_notes").click().run()
    assert desk.only().play_test == ()
    app.button(key="_undo").click().run()
    assert len(desk.only().play_test) == 6 * 25
    app.button(key="_clear_notes").click().run()
    app.button(key="_rest_fine").click().run()
    assert "_undo" not in {button.key for button in app.button}, "something was entered since"


def test_the_decision_follows_the_money_and_the_costs(desk: Desk) -> None:
    app = sample_page(desk, "decision")
    assert re.search(r"Highest worth offering.*640 worth, less 32 margin, less \d+ careful repair cost", text_of(app))
    widget(app, "number_input", "Asking price").set_value(10.0).run()
    assert "Buy" in text_of(app)
    widget(app, "number_input", "Your margin").set_value(600.0).run()
    assert desk.only().decision_settings["margin"] == 600.0
    app.text_input(key="_own_name").set_value("New case").run()
    widget(app, "number_input", "At most").set_value(80.0).run()
    app.button(key="_own_add").click().run()
    assert not app.exception
    assert desk.only().costs["own_1"].label == "New case"
    assert "New case, which you added." in text_of(app)
    app.selectbox(key="_cost_of").set_value("own_1").run()
    app.button(key="_cost_drop").click().run()
    assert desk.only().costs == {}


def test_the_cost_of_a_repair_is_changed_and_put_back(desk: Desk) -> None:
    app = sample_page(desk, "decision")
    app.selectbox(key="_cost_of").set_value("nut").run()
    widget(app, "number_input", "At most").set_value(20.0).run()
    assert "above the second" in text_of(app)
    assert desk.only().costs == {}
    widget(app, "number_input", "At least").set_value(15.0).run()
    assert not app.exception
    assert desk.only().costs["nut"] == CostEdit(15.0, 20.0)
    assert "15 to 20\N{NO-BREAK SPACE}EUR, your figure" in text_of(app).replace("20 EUR", "20\N{NO-BREAK SPACE}EUR")
    app.button(key="_cost_drop").click().run()
    assert desk.only().costs == {}


def test_the_margin_follows_the_worth_until_it_is_typed(desk: Desk) -> None:
    app = begun(desk, "decision")
    widget(app, "number_input", "Worth in good order").set_value(500.0).run()
    widget(app, "number_input", "Worth in good order").set_value(1000.0).run()
    assert margin_of(desk.only()) == 50.0
    widget(app, "number_input", "Your margin").set_value(0.0).run()
    assert margin_of(desk.only()) == 0.0


def test_a_number_out_of_range_is_said_and_not_kept(desk: Desk) -> None:
    app = begun(desk)
    widget(app, "number_input", "Number of frets").set_value(50).run()
    assert not app.exception
    assert "This must be from 12 to 36. 22 is kept instead." in text_of(app)
    assert desk.only().guitar.neck.frets == 22
    widget(app, "number_input", "Asking price").set_value(-5.0).run()
    assert "It is not kept." in text_of(app)
    assert desk.only().guitar.asking_price is None


def test_lengths_are_typed_in_the_unit_chosen_and_kept_in_mm(desk: Desk) -> None:
    app = sample_page(desk, "curves")
    app.get("button_group")[0].set_value("thousandths").run()
    assert "limit_wanted_relief_high_mm" not in desk.only().decision_settings, "looking rounds nothing"
    widget(app, "number_input", "Relief up to, thou").set_value(10.0).run()
    assert desk.only().decision_settings["limit_wanted_relief_high_mm"] == 0.254
    assert "= 0.25 mm" in text_of(app)
    at(app, "photographs")
    widget(app, "number_input", "Width at the nut, in").set_value(1.65).run()
    assert desk.only().guitar.neck.nut_width_mm == 41.91
    assert "= 41.91 mm" in text_of(app)


def test_dents_are_noted_one_by_one(desk: Desk) -> None:
    begun(desk)
    app = desk.page(inspection=desk.only().id, step="inspection", group="Board and frets")
    widget(app, "number_input", "At fret").set_value(3).run()
    widget(app, "number_input", "Depth of the dent").set_value(0.12).run()
    app.button(key="_dent_add").click().run()
    assert not app.exception
    assert dents_of(desk.only()) == {(3, 1): 0.12}
    assert "String 1, fret 3" in text_of(app)
    app.button(key="_dents_clear").click().run()
    assert dents_of(desk.only()) == {}


def test_a_broken_rule_ends_the_deal_until_it_is_switched_off(desk: Desk) -> None:
    app = begun(desk, "inspection")
    app.get("button_group")[3].set_value("fault").run()
    assert desk.only().checks["rod_nut_stripped"].state == "fault"
    at(app, "decision")
    widget(app, "number_input", "Worth in good order").set_value(500.0).run()
    assert "Walk away" in text_of(app)
    next(t for t in app.toggle if t.label.startswith("Stripped rod nut")).set_value(False).run()
    assert "Walk away" not in text_of(app)
    assert desk.only().rules["rod_nut_stripped"] is False
