"""The page as a whole, run from its entry file without a browser: every step, reloads, two sessions, the list, files.

The measurement behind it is stood in for by made-up outcomes; the browser test runs the real one.
"""

import re
import sys
from dataclasses import replace

import pytest

from app.measuring import ReadPhoto
from app.record.inspection import Guitar, Inspection, Neck, new_inspection
from app.record.store import DATABASE_NAME
from app.widgets import downloads, session
from app.widgets.downloads import file_name
from tests.page_driver import (
    Desk,
    begun,
    desk,
    sample_page,
    settled,
    text_of,
    widget,
)

__all__ = ["desk"]


def test_the_first_screen_says_what_to_do(desk: Desk) -> None:
    app = desk.page()
    assert not app.exception
    assert "What you will need" in text_of(app)
    assert not desk.store().summaries(), "looking stores nothing"


def test_an_unknown_inspection_is_a_clear_message(desk: Desk) -> None:
    for wanted in ("00000000-0000-4000-8000-000000000000", "../../etc/passwd", "<script>"):
        app = desk.page(inspection=wanted)
        assert not app.exception
        assert "no such inspection" in text_of(app)
        app.button(key="_problem_leave").click().run()
        assert "What you will need" in text_of(app)


def test_what_is_typed_is_stored_at_once_and_survives_a_reload(desk: Desk) -> None:
    app = begun(desk)
    widget(app, "text_input", "What do you call it").set_value("Red one").run()
    widget(app, "number_input", "Asking price").set_value(450.0).run()
    widget(app, "number_input", "Number of frets").set_value(21).run()
    kept = desk.only()
    assert (kept.guitar.title, kept.guitar.asking_price, kept.guitar.neck.frets) == ("Red one", 450.0, 21)
    again = desk.page(inspection=kept.id, step="guitar")
    assert widget(again, "text_input", "What do you call it").value == "Red one"
    assert widget(again, "number_input", "Number of frets").value == 21


def test_a_new_inspection_is_stored_with_its_first_entry(desk: Desk) -> None:
    app = desk.page()
    app.button(key="_new").click().run()
    for step in session.STEPS:
        app.button(key=f"_step_{step}").click().run()
        assert not app.exception
    assert desk.store().summaries() == (), "only looked at"
    address = {key: "".join(value) for key, value in app.query_params.items()}
    app = desk.page(**address)
    assert not app.exception
    assert "Unnamed guitar" in text_of(app), "a reload goes on with it"
    app.button(key="_step_guitar").click().run()
    widget(app, "text_input", "What do you call it").set_value("Kept").run()
    assert desk.only().guitar.title == "Kept"
    assert desk.only().id == address["inspection"]
    assert "new" not in app.query_params


def test_a_new_inspection_takes_the_currency_of_the_one_before(desk: Desk) -> None:
    desk.store().save(new_inspection(Guitar(title="Before", currency="CHF")))
    app = desk.page()
    app.button(key="_new").click().run()
    assert widget(app, "text_input", "Currency").value == "CHF"
    assert len(desk.store().summaries()) == 1


def test_opening_again_resumes_at_the_step_left(desk: Desk) -> None:
    begun(desk, "inspection")
    kept = desk.only()
    assert kept.step == "inspection"
    app = desk.page()
    app.button(key=f"_open_{kept.id}").click().run()
    assert not app.exception
    assert "The rest of the inspection" in text_of(app)


@pytest.mark.parametrize("step", list(session.STEPS))
def test_every_step_of_an_empty_inspection_opens(desk: Desk, step: str) -> None:
    app = begun(desk, step)
    assert not app.exception
    app = desk.page(inspection=desk.only().id, step=step)
    assert not app.exception


@pytest.mark.parametrize("step", list(session.STEPS))
def test_every_step_of_a_measured_sample_opens_in_both_units(desk: Desk, step: str) -> None:
    app = sample_page(desk, step)
    app.get("button_group")[0].set_value("thousandths").run()
    assert not app.exception


def test_two_sessions_on_one_inspection_lose_neither_side(desk: Desk) -> None:
    first = begun(desk)
    inspection_id = desk.only().id
    second = desk.page(inspection=inspection_id, step="guitar")
    widget(second, "text_input", "What do you call it").set_value("From the second").run()
    widget(first, "text_input", "What do you call it").set_value("From the first").run()
    assert not first.exception
    assert "changed in two places" in text_of(first)
    assert desk.only().guitar.title == "From the second", "nothing was overwritten"
    first.button(key="_keep_copy").click().run()
    titles = {summary.title for summary in desk.store().summaries()}
    assert titles == {"From the second", "From the first (copy)"}
    assert "changed in two places" not in text_of(first)


def test_a_conflict_can_end_with_the_stored_side(desk: Desk) -> None:
    first = begun(desk)
    stored = desk.only()
    desk.store().save(replace(stored, guitar=Guitar(title="Elsewhere")))
    widget(first, "text_input", "What do you call it").set_value("Here").run()
    first.button(key="_take_stored").click().run()
    assert widget(first, "text_input", "What do you call it").value == "Elsewhere"
    assert len(desk.store().summaries()) == 1


def test_sessions_do_not_see_each_other(desk: Desk) -> None:
    first, second = begun(desk), begun(desk)
    widget(first, "text_input", "What do you call it").set_value("One").run()
    second.run()
    assert widget(second, "text_input", "What do you call it").value == "Begun"
    assert "changed in two places" not in text_of(second)


def test_the_list_compares_bins_and_brings_back(desk: Desk) -> None:
    for title in ("A", "B"):
        desk.store().save(new_inspection(Guitar(title=title, neck=Neck(647.7, 22))))
    app = desk.page()
    ids = [summary.id for summary in desk.store().summaries()]
    for one in ids:
        app.checkbox(key=f"_compare_{one}").check().run()
    app.button(key="_compare").click().run()
    assert not app.exception
    assert "Side by side" in text_of(app)
    app.button(key="_leave").click().run()
    app.button(key=f"_bin_{ids[0]}").click().run()
    assert len(desk.store().summaries()) == 1
    app.button(key=f"_restore_{ids[0]}").click().run()
    assert len(desk.store().summaries()) == 2
    assert not app.exception


def test_measured_inspections_stand_side_by_side(desk: Desk) -> None:
    sample_page(desk, "curves")
    measured = desk.only().id
    other = desk.store().save(new_inspection(Guitar(title="<b>Other</b>")))
    app = desk.page(compare=f"{measured},{other.id},nothing")
    assert not app.exception
    assert "&lt;b&gt;Other&lt;/b&gt;" in text_of(app)
    assert "+0.32 mm" in text_of(app)


def test_one_file_out_and_in_again(desk: Desk) -> None:
    app = sample_page(desk, "decision")
    app.button(key="_make_export").click().run()
    assert not app.exception
    data = app.session_state[f"export_{desk.only().id}_{desk.only().revision}_mm"].data
    start = desk.page()
    start.file_uploader(key="_import_0").set_value(("one.necksighting", data, "application/zip")).run()
    assert "with this identity is here already" in text_of(start)
    start.button(key="_import_as_copy").click().run()
    assert not start.exception
    assert len(desk.store().summaries()) == 2
    start.file_uploader(key="_import_1").set_value(("one.necksighting", data, "application/zip")).run()
    start.button(key="_import_as_replace").click().run()
    assert not start.exception
    assert "What was here before lies in the bin" in text_of(start)
    assert len(desk.store().summaries()) == 2
    assert len(desk.store().summaries(binned=True)) == 1


def test_the_page_to_show_is_made_on_demand(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[object] = []

    def made_up(inspection: Inspection, read_photo: ReadPhoto, *more: object) -> bytes:
        asked.append(inspection)
        return b"%PDF-" + read_photo(inspection.sightings[0].photos[0].sha256)[:4]

    monkeypatch.setattr(downloads, "report_pdf", made_up)
    app = sample_page(desk, "decision")
    assert asked == []
    app.button(key="_make_report").click().run()
    assert not app.exception
    made = app.session_state[f"report_{desk.only().id}_{desk.only().revision}_mm"]
    assert made.data == b"%PDF-\xff\xd8\xff\xe0"
    assert asked == [desk.only()]
    assert "Download the page (PDF)" in {button.label for button in app.get("download_button")}


def test_file_names_are_harmless() -> None:
    inspection = new_inspection(Guitar(title="../Red <one>\u202e  \N{GREEK SMALL LETTER PI}"))
    name = file_name(inspection, ".pdf")
    assert re.fullmatch(r"red-one-\d{4}-\d\d-\d\d\.pdf", name)
    assert file_name(new_inspection(), ".pdf").startswith("inspection-")


def test_a_hostile_import_is_refused_and_nothing_is_stored(desk: Desk) -> None:
    app = desk.page()
    app.file_uploader(key="_import_0").set_value(("x.necksighting", b"PK\x03\x04 no archive", "application/zip")).run()
    assert not app.exception
    assert app.error
    assert not desk.store().summaries()


def test_a_damaged_database_is_set_aside_and_recovered(desk: Desk) -> None:
    desk.store().save(new_inspection(Guitar(title="Kept")))
    database = desk.folder / DATABASE_NAME
    data = bytearray(database.read_bytes())
    data[100:400] = b"\xff" * 300
    database.write_bytes(data)
    app = desk.page()
    assert not app.exception
    assert "is damaged" in text_of(app)
    app.button(key="_recover").click().run()
    assert not app.exception
    assert "recovered" in text_of(app)
    assert len(list(desk.folder.rglob("*"))) > 1, "the damaged file is still there"
    app.button(key="_new").click().run()
    assert not app.exception


def test_the_command_can_open_the_page_on_a_sample(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["page.py", "--sample", "twist"])
    app = settled(desk.page())
    assert not app.exception
    assert desk.only().guitar.neck.scale_length_mm == 628.65
    assert "twist_front.jpg" in text_of(app).replace("<wbr>", "")
    app.run()
    assert len(desk.store().summaries()) == 1, "only once a session"
    again = settled(desk.page())
    assert not again.exception
    assert "twist_front.jpg" in text_of(again).replace("<wbr>", "")
    assert len(desk.store().summaries()) == 1, "and opened anew in the next"
    compared = desk.page(compare=desk.only().id)
    assert not compared.exception
    assert session.INSPECTION not in compared.query_params, "an address is obeyed"
