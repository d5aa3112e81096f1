"""Step 1 of the page: what the user states about the neck."""

import streamlit as st

from app import page_state as state
from app.page_html import show_step
from vision.settings import COMMON_SCALE_LENGTHS_MM, FRETS_MAX, FRETS_MIN, StatedNeck, Thresholds

MM_PER_INCH = 25.4


def scale_words(length_mm: float) -> str:
    """A scale length in mm and inches, for the list."""
    if length_mm == state.TYPED_SCALE:
        return "Another length"
    return f"{length_mm:g} mm ({length_mm / MM_PER_INCH:g} in)"


def ask_for_neck() -> StatedNeck | None:
    """The widgets of step 1. Returns None, with the reason shown, when what is stated cannot be."""
    show_step(1, "The neck")
    with st.container():
        length, frets, hand = st.columns([5, 3, 4], gap="medium")
        with length:
            st.selectbox(
                "Scale length",
                (*COMMON_SCALE_LENGTHS_MM, state.TYPED_SCALE),
                format_func=scale_words,
                key=state.SCALE,
                help="Twice the distance from the nut to fret 12.",
            )
            if st.session_state[state.SCALE] == state.TYPED_SCALE:
                st.number_input("Scale length in mm", 400.0, 1000.0, step=0.1, key=state.SCALE_TYPED)
        with frets:
            st.number_input(
                "Number of frets", FRETS_MIN, FRETS_MAX, key=state.FRETS, help="Count them; the nut is none."
            )
        with hand:
            st.radio("Built for", ("Right-handed", "Left-handed"), key=state.HAND, horizontal=True)
    _ask_for_more()
    try:
        return _stated()
    except ValueError as error:
        st.error(f"This cannot be measured as stated: {error}")
        return None


def ask_for_thresholds() -> Thresholds:
    """The limits findings are judged by, with the wanted range the user chose."""
    low, high = st.session_state[state.WANTED_LOW], st.session_state[state.WANTED_HIGH]
    return Thresholds(wanted_relief_low_mm=min(low, high), wanted_relief_high_mm=max(low, high))


def _ask_for_more() -> None:
    with st.expander("More about the neck (optional): measured widths, how it lay, the relief you want"):
        st.html(
            '<p class="quiet">Two measured widths of the board make the relief surer when there is no '
            "photograph "
            "from the front.</p>"
        )
        nut, twelve, sure = st.columns(3, gap="medium")
        with nut:
            st.number_input("Width at the nut, mm", 25.0, 80.0, step=0.1, key=state.NUT_WIDTH)
        with twelve:
            st.number_input("Width at fret 12, mm", 30.0, 100.0, step=0.1, key=state.WIDTH_12)
        with sure:
            st.number_input(
                "Widths are good to, mm",
                0.01,
                5.0,
                step=0.05,
                key=state.WIDTH_U,
                help="One standard uncertainty: about 0.1 mm with callipers, 0.3 mm with a ruler.",
            )
        flat, low, high = st.columns(3, gap="medium", vertical_alignment="bottom")
        with flat:
            st.checkbox(
                "The guitar lay flat on its back",
                key=state.LIES_FLAT,
                help="Then the strings sag a few hundredths of a millimetre, which is corrected.",
            )
        with low:
            st.number_input("Relief wanted from, mm", 0.0, 2.0, step=0.01, key=state.WANTED_LOW)
        with high:
            st.number_input("Relief wanted up to, mm", 0.0, 2.0, step=0.01, key=state.WANTED_HIGH)


def _stated() -> StatedNeck:
    values = st.session_state
    chosen = values[state.SCALE]
    return StatedNeck(
        scale_length_mm=float(values[state.SCALE_TYPED] if chosen == state.TYPED_SCALE else chosen),
        frets=int(values[state.FRETS]),
        left_handed=values[state.HAND] == "Left-handed",
        nut_width_mm=values[state.NUT_WIDTH],
        width_at_12_mm=values[state.WIDTH_12],
        width_u_mm=float(values[state.WIDTH_U]),
        lies_level=bool(values[state.LIES_FLAT]),
    )
