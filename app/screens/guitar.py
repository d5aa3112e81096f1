"""Step 1: which guitar, what is asked for it, and what the measurement must be told about its neck."""

from dataclasses import replace

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app import sightings
from app.record.inspection import STRINGS_MAX, Guitar, Neck
from app.tunings import TUNINGS, lowest_string_hz
from app.widgets import session
from app.widgets.flow import show_next
from app.widgets.html import quiet, show_part, show_title
from app.widgets.numbers import MM_PER_INCH, ask_count, ask_length, ask_sum, keep_count
from app.widgets.session import widget_key
from vision.settings import (
    COMMON_SCALE_LENGTHS_MM,
    FRETS_MAX,
    FRETS_MIN,
    SCALE_LENGTH_MAX_MM,
    SCALE_LENGTH_MIN_MM,
)

OTHER_SCALE = "Another length"
BASS_FROM_MM = 720.0
LOWEST_HZ = {False: 82.41, True: 41.20}  # E2 of a guitar, E1 of a bass, equal temperament from A 440 Hz


def show() -> None:
    """Draw the screen and keep what was typed."""
    inspection = session.current()
    show_title("The guitar", "What you know before you touch it. Only the neck's two figures are needed.")
    named = _ask_for_name(inspection.guitar)
    priced = _ask_for_price(named)
    neck = _ask_for_neck(priced.neck)
    try:
        changed = replace(inspection, guitar=replace(priced, neck=neck))
        session.change(sightings.with_neck_stated(inspection, changed))
    except ValueError as error:
        st.error(f"This cannot be: {error}")
    show_next("photographs", "Next: the photographs")


def _ask_for_name(guitar: Guitar) -> Guitar:
    title = st.text_input(
        "What do you call it?", max_chars=200, key=widget_key("title", guitar.title),
        placeholder="Red one with two pickups, from the ad",
    )  # fmt: skip
    with st.expander("Where, how old, serial number (optional)"):
        place, year, serial = st.columns(3, gap="medium")
        place_seen = place.text_input("Seen where and when", max_chars=200, key=widget_key("place", guitar.place_seen))
        year_claimed = year.text_input("Year, as claimed", max_chars=200, key=widget_key("year", guitar.year_claimed))
        number = serial.text_input("Serial number", max_chars=200, key=widget_key("serial", guitar.serial))
    return replace(guitar, title=title, place_seen=place_seen, year_claimed=year_claimed, serial=number)


def _ask_for_price(guitar: Guitar) -> Guitar:
    show_part("The money")
    asked, worth, unit = st.columns([3, 3, 2], gap="medium")
    with asked:
        asking = ask_sum("Asking price", name="asking", start=guitar.asking_price)
    with worth:
        value = ask_sum(
            "Worth in good order", name="worth", start=guitar.value_in_good_order,
            help="What one like it sells for when nothing has to be done. Look at prices paid, not prices asked.",
        )  # fmt: skip
    currency = unit.text_input("Currency", max_chars=8, key=widget_key("currency", guitar.currency))
    return replace(guitar, asking_price=asking, value_in_good_order=value, currency=currency)


def _ask_for_neck(neck: Neck) -> Neck:
    show_part("The neck")
    length, frets, hand = st.columns([5, 3, 4], gap="medium")
    scale_mm = _ask_for_scale(length, neck.scale_length_mm)
    with frets:
        count = ask_count(
            "Number of frets", FRETS_MIN, FRETS_MAX, name="frets", start=neck.frets,
            help="Count them; the nut is none, and a fret right at the nut is none either.",
        )  # fmt: skip
    built = hand.radio(
        "Built for", ("Right-handed", "Left-handed"), horizontal=True,
        key=widget_key("hand", "Left-handed" if neck.left_handed else "Right-handed"),
    )  # fmt: skip
    tuning, strings, flat = st.columns([5, 3, 4], gap="medium", vertical_alignment="top")
    tuned = tuning.selectbox(
        "Tuned", TUNINGS, key=widget_key("tuning", neck.tuning if neck.tuning in TUNINGS else TUNINGS[0]),
        help="Relief is read under string tension. Tuned down or slack, the neck shows less of it.",
    )  # fmt: skip
    with strings:
        number = keep_count("Strings", 4, STRINGS_MAX, name="strings", start=neck.strings)
    level = flat.checkbox(
        "It lay flat on its back", key=widget_key("level", neck.lies_level),
        help="Then the strings hang a few hundredths of a millimetre. The relief is read off the frets, which do not.",
    )  # fmt: skip
    quiet("The scale length is twice the distance from the nut to fret 12. Tune to pitch if you may.")
    bass = scale_mm is not None and scale_mm >= BASS_FROM_MM
    return replace(
        neck,
        scale_length_mm=scale_mm,
        frets=count,
        left_handed=built == "Left-handed",
        strings=number,
        tuning=tuned,
        lowest_string_hz=lowest_string_hz(tuned, LOWEST_HZ[bass]),
        lies_level=level,
    )


def _ask_for_scale(place: DeltaGenerator, scale_mm: float | None) -> float | None:
    options = {_scale_words(length): length for length in COMMON_SCALE_LENGTHS_MM}
    known = next((words for words, length in options.items() if length == scale_mm), OTHER_SCALE)
    with place:
        chosen = st.selectbox("Scale length", (*options, OTHER_SCALE), key=widget_key("scale", known))
        if chosen in options:
            return options[chosen]
        return ask_length(
            "Scale length", SCALE_LENGTH_MIN_MM, SCALE_LENGTH_MAX_MM, name="scale_typed", start_mm=scale_mm
        )


def _scale_words(length_mm: float) -> str:
    return f"{length_mm:g} mm ({length_mm / MM_PER_INCH:g} in)"
