"""The page: finds the open inspection and draws the screen of its step. Started by the command `neck-sighting`."""

import argparse
import sys

import streamlit as st

from app.record.problems import RecordProblem
from app.samples import SAMPLES
from app.screens import compare, curves, decision, guitar, inspection, photographs, start
from app.widgets import session
from app.widgets.flow import offer_undo, show_conflict, show_foot, show_head, show_problem, show_where
from app.widgets.html import CSS_FILE, start_at_top
from app.widgets.measured import attach_finished

SCREENS = {
    "guitar": guitar.show,
    "photographs": photographs.show,
    "curves": curves.show,
    "inspection": inspection.show,
    "decision": decision.show,
}


def main() -> None:
    """Draw the page once, from top to bottom."""
    st.set_page_config(page_title="Neck Sighting", page_icon=None, layout="wide")
    st.html(CSS_FILE)
    try:
        _open_sample_once()
        _show_screen()
    except RecordProblem as problem:
        show_problem(problem)
    show_foot()
    start_at_top(session.place())


def _show_screen() -> None:
    compared = st.query_params.get(session.COMPARED)
    if compared is not None:
        show_head()
        compare.show(compared.split(","))
        return
    opened = session.open_from_address()
    if opened is None:
        show_head(masthead=True)
        start.show()
        return
    step = session.step()
    where = show_head(step)
    conflict = st.session_state.get(session.CONFLICT)
    if conflict is not None:
        show_conflict(conflict)
        return
    trouble = session.trouble()
    attach_finished()
    title = session.current().guitar.title
    SCREENS[step]()
    if where is not None and session.current().guitar.title != title:
        show_where(where, step)
    offer_undo()
    if session.trouble() != trouble:
        st.rerun()  # what could not be saved is said above everything else


def _open_sample_once() -> None:
    """Open the sample inspection that the command line asked for, in the first run of a session."""
    parser = argparse.ArgumentParser(add_help=False)
    parser.add_argument("--sample")
    sample: str | None = parser.parse_known_args(sys.argv[1:])[0].sample
    first = session.GENERATION not in st.session_state
    st.session_state.setdefault(session.GENERATION, 0)
    addressed = session.INSPECTION in st.query_params or session.COMPARED in st.query_params
    if first and sample in SAMPLES and not addressed:
        start.open_sample(sample)


main()
