"""Watching work in the background: named steps while it runs, and the screen drawn anew when it has moved on."""

from collections.abc import Callable, Sequence
from typing import Any

import streamlit as st

from app.jobs import Job
from app.widgets.html import esc

POLL_S = 1.0


def watch(state: Callable[[], Sequence[Job[Any]]], words: str, *, steps: bool = False) -> None:
    """Show words until one more of the jobs has ended, then draw the whole page again.

    state is asked again every second. Nothing is lost when the page is reloaded meanwhile: the jobs go on.
    """
    ended_before = _ended(state())

    def look() -> None:
        jobs = state()
        if _ended(jobs) > ended_before or _ended(jobs) == len(jobs):  # the last may have ended before the first count
            st.rerun()
        with st.container(border=True):
            st.html(f'<p class="working" role="status"><span class="spinner" aria-hidden="true"></span>{words}</p>')
            if steps:
                done = [step for job in jobs for step in job.steps]
                items = "".join(f"<li>{esc(step)}</li>" for step in done[-4:])
                st.html(f'<ol class="steps-done">{items}</ol>' if items else '<p class="quiet">Waiting its turn.</p>')

    st.fragment(look, run_every=POLL_S)()


def _ended(jobs: Sequence[Job[Any]]) -> int:
    return sum(job.status in ("done", "failed") for job in jobs)
