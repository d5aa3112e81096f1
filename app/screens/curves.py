"""Step 3: the measured curves, what they mean, and adjusting the rod with a second sighting."""

from dataclasses import replace

import streamlit as st

from app import sightings
from app.contract_reading import outcome_from_contract
from app.limits import thresholds_of, with_thresholds
from app.record.inspection import Sighting
from app.widgets import session
from app.widgets.adjusting import show_adjusting
from app.widgets.flow import show_next
from app.widgets.html import esc, quiet, show_title
from app.widgets.measured import measure_again, measurement_job
from app.widgets.numbers import keep_length, keep_number
from app.widgets.result import (
    show_curves,
    show_details,
    show_meaning,
    show_photographs,
    show_reading,
    show_refused,
)
from app.widgets.waiting import watch
from app.wording import when
from vision.results import Measured
from vision.settings import Thresholds

RELIEF_MOST_MM = 2.0


def show() -> None:
    """Draw the screen."""
    show_title("The curves")
    inspection = session.current()
    index = session.sighting_index()
    if not inspection.sightings or not inspection.sightings[index].photos:
        quiet("There are no photographs to measure yet.")
        show_next("photographs", "To the photographs", key="_to_photographs")
        return
    if len(inspection.sightings) > 1:
        index = _choose_sighting(inspection.sightings, index)
    sighting = inspection.sightings[index]
    if sighting.measurement is None:
        _measure(index, sighting)
        return
    outcome = outcome_from_contract(sighting.measurement.contract)
    if isinstance(outcome, Measured):
        _show_measured(outcome, index, sighting)
    else:
        show_refused(outcome)
        with st.container(horizontal=True):
            st.button("Change the photographs", key="_change", type="primary", on_click=_to_photographs, args=(index,))
        show_photographs(outcome, sighting)
    show_next("inspection", "Next: the rest of the inspection")


def _choose_sighting(every: tuple[Sighting, ...], index: int) -> int:
    """Which set is shown; the address remembers it."""
    labels = [f"{number}. {sighting.label}" for number, sighting in enumerate(every, 1)]
    key = f"_sighting_{session.current().id}_{len(every)}"
    st.session_state.setdefault(key, index)
    chosen = st.segmented_control(
        "Set of photographs", range(len(every)), format_func=labels.__getitem__, key=key, required=True
    )
    shown = index if chosen is None else chosen
    st.query_params[session.SIGHTING] = str(shown)
    return shown


def _measure(index: int, sighting: Sighting) -> None:
    """Ask for the measurement and watch it; what has ended goes into the inspection."""
    inspection = session.current()
    try:
        job = measurement_job(sighting, inspection)
    except ValueError as error:
        st.error(f"This cannot be measured yet: {error}")
        show_next("guitar", "Back to the guitar", key="_to_guitar")
        return
    if job.status == "failed":
        st.error(f"This could not be measured: {job.error}")
        st.button("Try again", key="_again", on_click=measure_again, args=(sighting, inspection))
        show_next("photographs", "Back to the photographs", key="_to_photographs")
        return
    if job.result is not None:
        session.change(sightings.with_measurement(inspection, index, job.result))
        st.rerun()
    watch(lambda: (measurement_job(sighting, inspection),), "Measuring. About a minute.", steps=True)
    quiet("It goes on by itself, also when you leave this page or reload it. Meanwhile:")
    show_next("inspection", "Go on with the rest of the inspection", key="_meanwhile")


def _show_measured(measured: Measured, index: int, sighting: Sighting) -> None:
    inspection = session.current()
    unit, thresholds = session.unit(), thresholds_of(inspection)
    show_reading(measured, thresholds, unit)
    show_curves(measured, thresholds, unit)
    _ask_for_limits(thresholds)
    show_meaning(measured, thresholds, unit)
    show_adjusting(inspection, index, thresholds, unit)
    show_photographs(measured, sighting)
    show_details(measured, sighting, inspection.guitar.neck.lies_level, unit)
    if sighting.measurement is not None:
        quiet(esc(f"Measured {when(sighting.measurement.measured_at)} by version {sighting.measurement.version}."))


def _ask_for_limits(thresholds: Thresholds) -> None:
    """The usual range, which findings are judged by."""
    with st.expander("The usual range, and other limits (common practice)"):
        low, high, twist, fret = st.columns(4, gap="medium")
        with low:
            low_mm = keep_length(
                "Relief from", 0.0, RELIEF_MOST_MM, name="low", start_mm=thresholds.wanted_relief_low_mm
            )
        with high:
            high_mm = keep_length(
                "Relief up to", 0.0, RELIEF_MOST_MM, name="high", start_mm=thresholds.wanted_relief_high_mm
            )
        with twist:
            twist_deg = keep_number(
                "Twist noticed from, degrees", 0.0, 5.0, name="twist", start=thresholds.twist_noticed_deg, step=0.05
            )
        with fret:
            fret_mm = keep_length(
                "Fret out of line from", 0.0, 1.0, name="fret", start_mm=thresholds.fret_out_of_line_mm
            )
        quiet("Common practice of the trade, not a standard. The player's hand and taste decide.")
        if low_mm > high_mm:
            st.error("These limits cannot be: the relief is wanted from more than it is wanted up to. Not kept.")
            return
    wanted = replace(
        thresholds,
        wanted_relief_low_mm=low_mm,
        wanted_relief_high_mm=high_mm,
        twist_noticed_deg=twist_deg,
        fret_out_of_line_mm=fret_mm,
    )
    if wanted != thresholds:
        session.change(with_thresholds(session.current(), wanted))
        st.rerun()


def _to_photographs(index: int) -> None:
    session.go_to("photographs", sighting=index)
