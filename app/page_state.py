"""What the page remembers between two runs of its script: every key of the session in one place."""

import streamlit as st

from app.measuring import Corners, Request, Run
from app.samples import SAMPLES

SAMPLE = "sample"  # key of the open sample neck, None when the user's own photographs are shown
OWN_STATED = "own_stated"  # what the user had stated before a sample was opened
CORNERS = "corners"  # sha256 of a photograph -> marked corners
SHOWN = "shown"  # (Request key, Run) of the result on the page
MEASURE_NOW = "measure_now"  # a measurement was asked for by something else than the button

# Widget keys start with an underscore.
SCALE = "_scale"
SCALE_TYPED = "_scale_typed"
FRETS = "_frets"
HAND = "_hand"
NUT_WIDTH = "_nut_width"
WIDTH_12 = "_width_12"
WIDTH_U = "_width_u"
LIES_FLAT = "_lies_flat"
UPLOADS = "_uploads"
UNIT = "_unit"
WANTED_LOW = "_wanted_low"
WANTED_HIGH = "_wanted_high"

TYPED_SCALE = 0.0  # stands for "another length" in the list of scale lengths
STATED_WIDGETS = (SCALE, SCALE_TYPED, FRETS, HAND, NUT_WIDTH, WIDTH_12, WIDTH_U, LIES_FLAT)
DEFAULTS: dict[str, object] = {
    SAMPLE: None,
    OWN_STATED: None,
    CORNERS: {},
    SHOWN: None,
    MEASURE_NOW: False,
    SCALE: 647.7,
    SCALE_TYPED: 647.7,
    FRETS: 22,
    HAND: "Right-handed",
    NUT_WIDTH: None,
    WIDTH_12: None,
    WIDTH_U: 0.1,
    LIES_FLAT: False,
    UNIT: "mm",
    WANTED_LOW: 0.10,
    WANTED_HIGH: 0.30,
}


def fill_defaults(sample: str | None) -> None:
    """Give every key its first value; sample is the neck to open with, from the command line."""
    first_run = SAMPLE not in st.session_state
    for key, value in DEFAULTS.items():
        if key not in st.session_state:
            st.session_state[key] = dict(value) if isinstance(value, dict) else value
    if first_run and sample in SAMPLES:
        open_sample(sample)


def open_sample(key: str) -> None:
    """Show a sample neck and measure it; what the user had stated is kept for later."""
    state = st.session_state
    if state[SAMPLE] is None:
        state[OWN_STATED] = {widget: state[widget] for widget in STATED_WIDGETS}
    stated = SAMPLES[key].stated
    state.update({widget: DEFAULTS[widget] for widget in STATED_WIDGETS})
    state[SCALE], state[SCALE_TYPED], state[FRETS] = (
        stated.scale_length_mm,
        stated.scale_length_mm,
        stated.frets,
    )
    state[SAMPLE] = key
    state[MEASURE_NOW] = True


def close_sample() -> None:
    """Back to the user's own photographs and what was stated about them."""
    state = st.session_state
    if state[SAMPLE] is None:
        return
    state[SAMPLE] = None
    state.update(state[OWN_STATED] or {})
    state[SHOWN] = None


def corners_of(digest: str) -> Corners | None:
    """The corners marked in the photograph with this sha256, if any."""
    found: Corners | None = st.session_state[CORNERS].get(digest)
    return found


def mark_corners(digest: str, corners: Corners) -> None:
    """Remember marked corners and measure again."""
    st.session_state[CORNERS] = {**st.session_state[CORNERS], digest: corners}
    st.session_state[MEASURE_NOW] = True


def shown() -> tuple[tuple[object, ...], Run] | None:
    """The result on the page and the key of the request it answers."""
    found: tuple[tuple[object, ...], Run] | None = st.session_state[SHOWN]
    return found


def show(request: Request, run: Run) -> None:
    """Put a result on the page."""
    st.session_state[SHOWN] = (request.key(), run)
