"""What every screen shares: the head with the steps, the way on, and what to say when something could not be saved."""

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app.record.problems import Conflict, RecordProblem, StoreDamaged
from app.widgets import session
from app.widgets.html import esc, quiet, show_masthead
from app.wording import UNITS

SHORT_UNITS = {"mm": "mm", "thousandths": "inch"}


def show_head(step: str | None = None, *, masthead: bool = False) -> DeltaGenerator | None:
    """Name, unit switch and, inside an inspection, where the user is in its five steps; returns the line that says so.
    """
    with st.container(horizontal=True, vertical_alignment="center", key="_head"):
        if masthead:
            st.html('<p class="brand">&nbsp;</p>')
        else:
            st.button(
                "All inspections", key="_leave", on_click=session.leave, type="tertiary", icon=":material/arrow_back:"
            )
        _unit_switch()
    if masthead:
        show_masthead()
    where = None if step is None else _show_steps(step)
    _show_notice()
    problem = st.session_state.get(session.PROBLEM)
    if problem is not None:
        st.error(f"Not saved yet: {problem.reason} {problem.advice} Keep this window open.")
        st.button("Save again", key="_save_again", on_click=session.save, type="primary")
    return where


def show_next(step: str, words: str, *, key: str = "_next", disabled: bool = False) -> None:
    """The button that leads on."""
    with st.container(horizontal=True, horizontal_alignment="right", key=f"{key}_row"):
        st.button(words, key=key, type="primary", on_click=session.go_to, args=(step,), disabled=disabled)


def offer_undo() -> None:
    """A bar at the lower edge of the window, in sight wherever something was taken out."""
    words = session.taken_out()
    if words is not None:
        with st.container(horizontal=True, vertical_alignment="center", key="_undo_bar"):
            st.html(f'<p role="status">{esc(words)}</p>')
            st.button("Undo", key="_undo", on_click=session.undo)


def show_foot() -> None:
    """The last lines of every screen."""
    st.html(
        '<p class="foot">Everything stays on this computer: inspections and photographs lie in your own data folder '
        "and are sent nowhere. A measurement helps a decision; it does not replace a look at the whole instrument by "
        "someone who knows it.</p>"
    )


def show_problem(problem: RecordProblem) -> None:
    """A record that cannot be read, instead of the screen."""
    st.error(f"{problem.reason} {problem.advice}")
    if isinstance(problem, StoreDamaged):
        st.button("Set it aside and recover", key="_recover", on_click=session.recover, type="primary")
    else:
        st.button("Back to the list", key="_problem_leave", on_click=session.leave)


def show_conflict(conflict: Conflict) -> None:
    """Two versions of one inspection: the user chooses, and neither is lost before that."""
    with st.container(border=True, key="_conflict"):
        st.html(
            '<div role="alert"><h2>This inspection was changed in two places</h2>'
            f"<p>{esc(conflict.reason)} Your last change here is not saved over it.</p></div>"
        )
        with st.container(horizontal=True):
            st.button("Keep mine as a copy beside it", key="_keep_copy", on_click=session.keep_as_copy, type="primary")
            words = "Go on with the stored one" if conflict.stored is not None else "Let mine go"
            st.button(words, key="_take_stored", on_click=session.take_stored)
        quiet("Both are kept with the first button. The second drops only your last change.")


def _show_steps(step: str) -> DeltaGenerator:
    with st.container(key="_steps", horizontal=True, gap="small"):
        for number, (name, words) in enumerate(session.STEPS.items(), 1):
            st.button(
                f"{number} {words}",
                key=f"_step_{name}",
                type="primary" if name == step else "secondary",
                on_click=session.go_to,
                args=(name,),
                help=None,
            )
    where = st.empty()
    show_where(where, step)
    return where


def show_where(place: DeltaGenerator, step: str) -> None:
    """Which guitar and which step this is."""
    title = session.current().guitar.title or "Unnamed guitar"
    number = list(session.STEPS).index(step) + 1
    place.html(f'<p class="quiet where"><strong>{esc(title)}</strong> · step {number} of {len(session.STEPS)}</p>')


def _unit_switch() -> None:
    key = session.UNIT
    if key not in st.session_state:
        st.session_state[key] = session.unit().key
    st.segmented_control(
        "Lengths in",
        list(UNITS),
        format_func=SHORT_UNITS.__getitem__,
        key=key,
        required=True,
        label_visibility="collapsed",
        on_change=_remember_unit,
    )


def _remember_unit() -> None:
    st.query_params[session.SHOWN_UNIT] = st.session_state[session.UNIT] or "mm"


def _show_notice() -> None:
    text = st.session_state.pop(session.NOTICE, None)
    if text:
        st.info(text)
