"""The note-by-note play test: a fingerboard to touch, a form for the keyboard, and which measured cause fits."""

from collections.abc import Callable

import streamlit as st

from app.deciding import causes_of, latest_curve, played_notes
from app.inspection.facts import CurveFacts
from app.limits import thresholds_of
from app.play_notes import PENS, Pen, with_note, with_rest_fine, without_notes
from app.play_plot import place_at, play_figure
from app.record.inspection import Inspection
from app.widgets import session
from app.widgets.html import esc, quiet
from app.widgets.numbers import keep_count
from app.widgets.session import widget_key
from app.wording import in_unit

TOUCHES = "play_touches"  # counts up so that the plot's selection starts empty after each touch
PLOT_CONFIG = {"displayModeBar": False, "responsive": True, "scrollZoom": False}


def show_play_test() -> None:
    """Draw it and keep what is marked."""
    inspection = session.current()
    neck = inspection.guitar.neck
    if neck.frets is None:
        quiet("State the number of frets first.")
        return
    pen = st.segmented_control("Mark as", PENS, key=widget_key("pen", "buzz"), required=True) or "buzz"
    curve = latest_curve(inspection)
    measured = curve if isinstance(curve, CurveFacts) and curve.frets == neck.frets else None
    touches = st.session_state.setdefault(TOUCHES, 0)
    with st.container(key="_play_board"):  # wider than a phone's screen, so that each place is big enough to touch
        chosen = st.plotly_chart(
            play_figure(
                played_notes(inspection), neck.strings, neck.frets, measured,
                thresholds_of(inspection).fret_out_of_line_mm, session.unit(),
            ),
            theme=None, config=PLOT_CONFIG, key=f"_play_plot_{touches}", on_select="rerun", selection_mode="points",
            alt="Fingerboard with the sound of every note played, under the measured height of each fret",
        )  # fmt: skip
    _mark_touched(chosen, pen, neck.frets)
    _ask_by_keyboard(pen, neck.strings, neck.frets)
    _show_causes(inspection, measured is not None)


def _mark_touched(chosen: object, pen: Pen, frets: int) -> None:
    """A touch marks; touching again with the same pen takes the mark away."""
    points = chosen.get("selection", {}).get("points", []) if isinstance(chosen, dict) else []
    touched = [point["point_index"] for point in points if point.get("curve_number") == 0]
    if not touched:
        return
    inspection = session.current()
    heard = played_notes(inspection)
    for index in touched:
        string, fret = place_at(int(index), frets)
        inspection = with_note(inspection, string, fret, "not played" if heard.get((string, fret)) == pen else pen)
    session.change(inspection)
    st.session_state[TOUCHES] += 1
    st.rerun()


def _ask_by_keyboard(pen: Pen, strings: int, frets: int) -> None:
    string, fret, mark = st.columns([2, 2, 3], gap="small", vertical_alignment="bottom")
    with string:
        number = keep_count("String", 1, strings, name="play_string", start=1, help="1 is the highest.")
    with fret:
        place = keep_count("Fret", 0, frets, name="play_fret", start=0, help="0 is the open string.")
    mark.button(
        f"Mark as {pen}", key="_mark_note", width="stretch", on_click=_change,
        args=(lambda inspection: with_note(inspection, number, place, pen),),
    )  # fmt: skip
    with st.container(horizontal=True, gap="small"):
        st.button("All other notes ring", key="_rest_fine", on_click=_change, args=(with_rest_fine,))
        st.button("Clear", key="_clear_notes", on_click=_clear, type="tertiary")


def _change(how: Callable[[Inspection], Inspection]) -> None:
    session.change(how(session.current()))


def _clear() -> None:
    session.take_out(without_notes(session.current()), "The marks of the play test are removed.")


def _show_causes(inspection: Inspection, measured: bool) -> None:
    bad = any(sound != "fine" for sound in played_notes(inspection).values())
    if not bad:
        return
    if not measured:
        quiet("Measure the neck, and each marked note is held against the heights of the frets around it.")
        return
    unit = session.unit()
    rows = "".join(
        f"<tr><th scope=row>String {cause.string}, fret {cause.fret}: {esc(cause.sound)}</th>"
        f"<td>{esc(in_unit(cause.text, unit))}</td></tr>"
        for cause in causes_of(inspection)
    )
    st.html(f'<table class="facts">{rows}</table>')
