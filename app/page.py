"""The page: state the neck, give the photographs, read the result. Started by the command `neck-sighting`."""

import argparse
import sys

import streamlit as st

from app import page_state as state
from app.measuring import PhotoFile, Request, run_request
from app.page_html import show_masthead
from app.page_neck import ask_for_neck, ask_for_thresholds
from app.page_photos import ask_for_photographs, digest
from app.page_result import show_run
from vision.settings import StatedNeck


def main() -> None:
    """Draw the page once, from top to bottom."""
    st.set_page_config(page_title="Neck Sighting", page_icon=None, layout="wide")
    state.fill_defaults(_sample_from_command_line())
    show_masthead()
    stated = ask_for_neck()
    files = ask_for_photographs()
    request = _request(files, stated) if files and stated is not None else None
    pressed = st.button(
        "Measure the neck", type="primary", disabled=request is None, key="_measure", width="stretch"
    )
    if not files:
        st.html('<p class="quiet">Add photographs, or open a sample neck, and the button wakes up.</p>')
    asked = pressed or st.session_state[state.MEASURE_NOW]
    st.session_state[state.MEASURE_NOW] = False
    if asked and request is not None:
        _measure(request)
    result = state.shown()
    if result is not None:
        key, run = result
        if request is None or request.key() != key:
            st.warning(
                "The neck or the photographs were changed since this result. Measure again to renew it."
            )
        else:
            show_run(run, files, ask_for_thresholds())
    st.html(
        '<p class="foot">Photographs stay on this computer: they are held in memory while the page is '
        "open and are "
        "never sent or stored. A measurement helps a decision; it does not replace a look at the whole "
        "instrument by "
        "someone who knows it.</p>"
    )


def _request(files: tuple[PhotoFile, ...], stated: StatedNeck) -> Request:
    marked = [(index, state.corners_of(digest(file))) for index, file in enumerate(files)]
    return Request(files, stated, tuple((index, corners) for index, corners in marked if corners is not None))


def _measure(request: Request) -> None:
    with st.status("Measuring", expanded=True) as status:

        def progress(step: str) -> None:
            status.update(label=step)
            st.write(step)

        try:
            run = run_request(request, progress)
        except ValueError as error:
            status.update(label="Not measured", state="error", expanded=False)
            st.error(f"This cannot be measured as stated: {error}")
            return
        status.update(label="Done", state="complete", expanded=False)
    state.show(request, run)


def _sample_from_command_line() -> str | None:
    parser = argparse.ArgumentParser(add_help=False)
    parser.add_argument("--sample")
    sample: str | None = parser.parse_known_args(sys.argv[1:])[0].sample
    return sample


main()
