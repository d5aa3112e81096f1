"""The page as a whole: how many pages, what they say and how it is rounded, and what must never be in it."""

import io
from dataclasses import replace
from datetime import timedelta

import pytest
from PIL import Image

from app.inspection.checks import CHECKS
from app.record.inspection import CheckResult, CostEdit, Guitar, Inspection, Photo, PlayedNote, new_inspection
from app.report.pdf import report_pdf
from app.wording import THOUSANDTHS
from tests.fixtures_results import measured, refused, with_high_fret
from tests.record.records import SECRETS
from tests.report.pages import (
    MADE_ON,
    SHA256,
    embedded_pictures,
    every_stream,
    inspection_of,
    no_photo,
    page_texts,
    read_photo,
    text_of,
)
from vision.results import Measured

VERSION = "9.8.7"


def make(inspection: Inspection, **changes: object) -> bytes:
    arguments: dict[str, object] = {"read_photo": read_photo, "version": VERSION, "made_on": MADE_ON} | changes
    return report_pdf(inspection, **arguments)  # type: ignore[arg-type]


def known() -> Measured:
    """Figures whose rounding was done by hand below."""
    outcome = measured()
    return replace(
        outcome,
        bass=replace(outcome.bass, relief_mm=0.2349, relief_u_mm=0.0121),
        treble=replace(outcome.treble, relief_mm=-0.0962, relief_u_mm=0.0102),
        relief_difference_mm=0.3311,
        relief_difference_u_mm=0.0071,
        twist=replace(outcome.twist, twist_deg=-0.437, twist_u_deg=0.031),
    )


def test_the_figures_stand_in_both_units_with_their_intervals() -> None:
    text = text_of(make(inspection_of(known()))).replace("\N{MINUS SIGN}", "-")
    # 0.2349 +- 1.96 * 0.0121 = 0.2112 to 0.2586 mm; divided by 0.0254: 9.25, 8.31 to 10.18 thousandths
    assert "Relief, bass string +0.23 0.21 to 0.26 +9.2 8.3 to 10.2 at fret" in text
    # -0.0962 +- 0.0200 = -0.1162 to -0.0762 mm; -3.79, -4.57 to -3.00 thousandths
    assert "Relief, treble string -0.10 -0.12 to -0.08 -3.8 -4.6 to -3.0 at fret" in text
    # 0.3311 +- 0.01392 = 0.31718 to 0.34502 mm; 13.04, 12.49 to 13.58 thousandths
    assert "Bass minus treble +0.33 0.32 to 0.35 +13.0 12.5 to 13.6" in text
    # -0.437 +- 0.0608
    assert "Twist, fret 1 to the last -0.44° -0.50° to -0.38° bass side higher" in text


def test_it_says_what_where_when_and_by_which_version() -> None:
    guitar = Guitar("Żółta gitara, Łódź", place_seen="Český Krumlov", serial="ÅÄÖ-1", asking_price=1250.0, currency="₿")
    pdf = make(inspection_of(measured(), guitar=guitar))
    first, *_, last = page_texts(pdf)
    for words in ("Żółta gitara, Łódź", "Český Krumlov", "ÅÄÖ-1", "4 May 2026", f"version {VERSION}", "1 250 ₿"):
        assert words in first
    assert f"Neck Sighting {VERSION}" in last


def test_a_measured_guitar_has_its_money_on_a_page_of_its_own() -> None:
    pages = page_texts(make(inspection_of(measured())))
    assert len(pages) == 3
    assert all("The decision" not in page and "offering" not in page for page in pages[:2])
    assert "The decision" in pages[2]
    assert "How far this goes" in pages[1]
    for words in ("Worth in good order, as stated 700 EUR", "less the buyer's margin 35 EUR", "Asking price 420 EUR"):
        assert words in pages[2]


def test_photographs_carry_kind_view_angle_and_flags() -> None:
    text = text_of(make(inspection_of(measured())))
    for words in (
        "Along the bass string.",
        "Along the treble string.",
        "From the front.",
        "Seen from 8° above the board at 1.7 m; 90 % of the frets usable.",
        "Note: Part of the board is in glare.",
        "No flags.",
    ):
        assert words in text


def test_no_location_leaves_with_the_pictures() -> None:
    checks = {"fret_ends": CheckResult("fault", photo=Photo(SHA256, "ends.jpg"))}
    pdf = make(replace(inspection_of(measured()), checks=checks))
    pictures = embedded_pictures(pdf)
    assert len(pictures) == 4
    for data in pictures:
        with Image.open(io.BytesIO(data)) as image:
            assert not image.getexif()
            assert not {"exif", "comment", "xmp"} & set(image.info)
            assert max(image.size) <= 1000
    everything = every_stream(pdf)
    for secret in (*SECRETS, b"GPS", b"47,59.975N"):
        assert secret not in everything


def test_equal_arguments_give_equal_bytes_and_another_day_is_told() -> None:
    inspection = inspection_of(measured())
    first = make(inspection)
    assert make(inspection) == first
    later = make(inspection, made_on=MADE_ON + timedelta(days=1))
    assert "page made 5 May 2026" in text_of(later)
    assert text_of(later).replace("5 May", "4 May") == text_of(first)


def test_a_refused_measurement_shows_its_reason_and_no_figure() -> None:
    outcome = refused()
    pdf = make(inspection_of(outcome, photos=len(outcome.photos)))
    text = text_of(pdf)
    assert f"No measurement: {outcome.reason}" in text
    assert "What to do: " in text
    assert "Take better photographs" in text
    assert "Relief, bass string" not in text
    assert "HOW IT WAS MEASURED" not in text
    assert 2 <= len(page_texts(pdf)) <= 3


def test_photographs_that_are_gone_or_no_pictures_are_named_so() -> None:
    gone = text_of(make(inspection_of(measured()), read_photo=no_photo))
    assert gone.count("The photograph is not in the data folder.") == 3
    broken = text_of(make(inspection_of(measured()), read_photo=lambda sha256: b"not a picture"))
    assert "Along the bass string." in broken
    assert not embedded_pictures(make(inspection_of(measured()), read_photo=lambda sha256: b"not a picture"))


def test_nothing_measured_and_nothing_stated_still_makes_an_honest_page() -> None:
    for inspection in (new_inspection(), inspection_of(None), replace(inspection_of(None), sightings=())):
        pages = page_texts(make(inspection))
        assert 2 <= len(pages) <= 3
        assert "The neck is not measured yet." in pages[0]
        assert "NOT CHECKED: 24, SO NOT KNOWN" in " ".join(pages)
    assert "No sum is made" in text_of(make(new_inspection()))
    assert "A guitar without a name" in text_of(make(new_inspection()))


def test_checks_are_grouped_and_the_unseen_counted() -> None:
    checks = {
        "fret_ends": CheckResult("look closer", "Sharp on one side", readings={"room_humidity_pct": 30.0}),
        "neck_crack": CheckResult("fault", "Behind the nut"),
        "tuners": CheckResult("fine", "All hold"),
    }
    text = text_of(make(replace(inspection_of(measured()), checks=checks)))
    assert "3 of 24 things looked at" in text
    assert "NOT CHECKED: 21, SO NOT KNOWN" in text
    order = [text.index(words) for words in ("Behind the nut", "Sharp on one side", "All hold")]
    assert order == sorted(order)
    assert "Cracked or broken neck" in text  # the rule that ends the deal


def test_repairs_tell_examples_from_the_users_own_costs() -> None:
    inspection = replace(inspection_of(with_high_fret(measured(), 7, 0.2)), costs={"spot_level": CostEdit(33.0, 77.0)})
    text = text_of(make(inspection))
    row = text[text.index("repair called for by") :]
    assert "33 77 the user's" in row
    assert "example" in row


def test_the_play_test_names_the_fret_that_stands_high() -> None:
    inspection = replace(
        inspection_of(with_high_fret(measured(), 7, 0.2)),
        play_test=(PlayedNote(6, 5, "buzz"), PlayedNote(1, 0, "fine")),
    )
    text = text_of(make(inspection))
    assert "2 notes played, 1 of them not clean." in text
    assert "String 6, fret 5, buzz: Fret 7 stands" in text


def test_lengths_in_words_follow_the_unit() -> None:
    text = text_of(make(inspection_of(known()), unit=THOUSANDTHS))
    assert "Under the straight line, thou" in text
    assert "+0.23 mm" not in text[text.index("What this means") :]


def test_an_older_set_is_shown_with_a_word_on_which_one_decides() -> None:
    base = inspection_of(measured())
    after = replace(inspection_of(measured(bass_mm=0.12, treble_mm=0.11)).sightings[0], label="After", part_turn=0.25)
    both = replace(base, sightings=(*base.sightings, after))
    assert "“After”, not the one shown" in text_of(make(both, sighting_index=0))
    newest = text_of(make(both))
    assert "not the one shown" not in newest
    assert "After +0.25 turns since the set before" in newest


@pytest.mark.parametrize("index", [-1, 1])
def test_a_set_that_is_not_there_is_refused(index: int) -> None:
    with pytest.raises(ValueError, match=f"index={index} is no set of photographs among 1"):
        make(inspection_of(measured()), sighting_index=index)


def test_an_answer_that_cannot_be_read_is_named() -> None:
    inspection = replace(
        inspection_of(None), checks={"fret_wear": CheckResult("fine", readings={"fret_height_mm": 99.0})}
    )
    with pytest.raises(ValueError, match=r"fret_wear fret_height_mm=99\.0 must be a number"):
        make(inspection)


NASTY = "<b>bold</b> **stars** & \u202eevil\u202c \u05d2\u05d9\u05d8 a\u0301\u0301\u0301\u0301 \U0001f3b8\n\n"


@pytest.mark.parametrize("word", ["W" * 4000, NASTY * 90, "a long note. " * 300], ids=["word", "markup", "prose"])
def test_hostile_and_endless_text_stays_within_three_pages_and_is_only_text(word: str) -> None:
    base = inspection_of(
        measured(bass_mm=-0.6, treble_mm=0.6, twist_deg=2.5),
        photos=12,
        guitar=Guitar(word[:200].replace("\n", " "), place_seen=word[:200].replace("\n", " "), currency="WWWWWWWW",
                      serial=word[:200].replace("\n", " "), asking_price=1e9, value_in_good_order=1e9),
    )  # fmt: skip
    states = ("fault", "look closer", "fine")
    inspection = replace(
        base,
        checks={c.id: CheckResult(states[k % 3], word[:4000], Photo(SHA256, "x")) for k, c in enumerate(CHECKS)},
        play_test=tuple(PlayedNote(s, f, "buzz") for s in range(1, 7) for f in range(23)),
        costs={f"own_{k}": CostEdit(1e8, 1e9, word[:200].replace("\n", " ")) for k in range(20)},
    )
    pdf = make(inspection)
    text = text_of(pdf)
    assert len(page_texts(pdf)) <= 3
    assert "shortened to fit three pages" in text
    assert "\u202e" not in text
    assert "138 notes played, 138 of them not clean." in text
    if word.startswith("<b>"):
        assert "<b>bold</b> **stars** &" in text  # seen as typed, obeyed by nobody


def test_markup_and_links_in_text_make_no_actions() -> None:
    guitar = Guitar("[go](https://example.org) <a href='https://example.org'>x</a> {nb} (x) \\) Tj ET")
    pdf = make(inspection_of(None, guitar=guitar))
    everything = every_stream(pdf)
    assert b"/URI" not in everything
    assert b"/JS" not in everything
    assert b"/Annots" not in everything
    assert "[go](https://example.org)" in text_of(pdf)
