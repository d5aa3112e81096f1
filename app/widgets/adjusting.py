"""Adjust and sight again: a second set of photographs after a turn of the rod, beside the first."""

import streamlit as st

from app import sightings
from app.contract_reading import outcome_from_contract
from app.inspection.rod_turns import Change
from app.plots import before_after_figure
from app.record.inspection import Inspection
from app.rod_history import Turned, turn_at
from app.widgets import session
from app.widgets.html import caution_html, esc, quiet, show_part, table_html
from app.wording import LengthUnit, in_unit
from vision.findings.truss_rod import CAUTION
from vision.results import Measured
from vision.settings import Thresholds

ACTION_CSS = {"leave alone": "good", "another turn": "notice", "stop": "serious", "cannot tell": "unknown"}
TURNS = (0.0625, 0.125, 0.1875, 0.25)
TURN_WORDS = {0.0625: "1/16", 0.125: "1/8", 0.1875: "3/16", 0.25: "1/4"}


def show_adjusting(inspection: Inspection, index: int, thresholds: Thresholds, unit: LengthUnit) -> None:
    """What the turn before this set did, and a form for the next one."""
    show_part("Adjust and sight again")
    turned = turn_at(inspection, index)
    if turned is not None:
        _show_turn(inspection, turned, thresholds, unit)
    elif index:
        quiet("This set is held against an earlier one once both are measured and a turn lies between them.")
    with st.expander("I turned the rod, or want to: a new set of photographs", expanded=False):
        st.html(caution_html(CAUTION))
        _ask_for_turn(inspection)


def _show_turn(inspection: Inspection, turned: Turned, thresholds: Thresholds, unit: LengthUnit) -> None:
    before, after = (_measured(inspection, place) for place in (turned.before_index, turned.after_index))
    advice = turned.advice
    st.html(
        f'<div class="finding {ACTION_CSS[advice.action]}"><div class="tag">{esc(advice.action)}</div>'
        f"<p><strong>{esc(in_unit(advice.text, unit))}</strong></p></div>"
    )
    rows = (("Mean of both sides", advice.mean), ("Bass", advice.bass), ("Treble", advice.treble))
    st.html(table_html(tuple((f"{name}, relief changed by", _change_words(change, unit)) for name, change in rows)))
    if before is not None and after is not None:
        st.plotly_chart(
            before_after_figure(before, after, thresholds, unit),
            theme=None,
            config={"displayModeBar": False, "responsive": True, "scrollZoom": False},
            key="_before_after_plot",
            alt="Relief before and after the turn under both outer strings",
        )


def _change_words(change: Change, unit: LengthUnit) -> str:
    eighth, eighth_u = change.per_turn_mm / 8.0, change.per_turn_u_mm / 8.0
    return (
        f"{unit.text(change.change_mm, sign=True)} (95 %: {unit.interval(change.change_mm, change.u_mm)}); "
        f"an eighth of a turn of tightening: {unit.text(eighth, sign=True)} (95 %: {unit.interval(eighth, eighth_u)})"
    )


def _measured(inspection: Inspection, place: int) -> Measured | None:
    measurement = inspection.sightings[place].measurement
    outcome = None if measurement is None else outcome_from_contract(measurement.contract)
    return outcome if isinstance(outcome, Measured) else None


def _ask_for_turn(inspection: Inspection) -> None:
    way, part = st.columns(2, gap="medium")
    direction = way.radio("The rod was", ("tightened", "slackened", "left alone"), key="_turn_way", horizontal=True)
    size = part.segmented_control(
        "By this part of a turn",
        TURNS,
        format_func=TURN_WORDS.__getitem__,
        default=0.125,
        key="_turn_size",
        required=True,
        disabled=direction == "left alone",
    )
    size = size or 0.125
    turns = {"tightened": size, "slackened": -size, "left alone": 0.0}[direction]
    words = "Sighted again" if turns == 0 else f"After {TURN_WORDS[abs(turns)]} turn {direction}"
    st.button("Add the new photographs", key="_new_sighting", on_click=_begin, args=(words, turns), type="primary")


def _begin(label: str, turns: float) -> None:
    try:
        changed = sightings.with_new_sighting(session.current(), label, turns)
    except ValueError as error:
        session.notice(f"No further set: {error}")
        return
    session.change(changed)
    session.go_to("photographs", sighting=len(changed.sightings) - 1)
