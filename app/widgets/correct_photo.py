"""Putting right what was found in a photograph: the neck marked by hand, or the frets numbered anew."""

import streamlit as st

from app import sightings
from app.looking import Corners, Look, fret_ends_of, renumbered_corners
from app.record.inspection import Photo
from app.widgets import session
from app.widgets.corners import ask_for_corners
from app.widgets.html import esc, quiet
from vision.settings import StatedNeck

CORRECTED = "corrected"  # sha256 of the photograph being put right, in the session


def corrected() -> str | None:
    """The photograph that is being put right."""
    found: str | None = st.session_state.get(CORRECTED)
    return found


def offer_correction(photo: Photo, look: Look) -> None:
    """A button that opens the correction; it stands out where the neck was not found."""
    st.button(
        "Correct it" if look.found else "Mark the neck",
        key=f"_correct_{photo.sha256}",
        type="secondary" if look.found else "primary",
        on_click=_open,
        args=(photo.sha256,),
    )


def show_correction(index: int, photo: Photo, look: Look, stated: StatedNeck) -> None:
    """The panel, drawn in place of the photographs."""
    with st.container(border=True, key="_correction"):
        st.html(f'<h3 class="row-title">Put right: {esc(photo.name)}</h3>')
        if look.found and look.corners_px is not None:
            _ask_for_number(index, photo, look.corners_px, stated)
            st.html('<p class="part-in">Or mark the four corners</p>')
        start = photo.corners or look.corners_px
        corners = ask_for_corners(
            session.photo_store().get(photo.sha256), photo.name, start, f"_corners_{photo.sha256}"
        )
        with st.container(horizontal=True, gap="small"):
            if corners is not None:
                st.button(
                    "Use these corners",
                    key="_use_corners",
                    type="primary",
                    on_click=_mark,
                    args=(index, photo.sha256, corners),
                )
            if photo.corners is not None:
                st.button("Search by itself again", key="_unmark", on_click=_mark, args=(index, photo.sha256, None))
            st.button("Close", key="_close_correction", on_click=_open, args=(None,), type="tertiary")


def _ask_for_number(index: int, photo: Photo, corners: Corners, stated: StatedNeck) -> None:
    quiet("Numbered wrongly? Find the fret with the double inlay in the picture, read the number drawn at it, and say:")
    drawn, button, _ = st.columns([2, 2, 4], vertical_alignment="bottom")
    number = drawn.number_input("Fret 12 is drawn as", 1, stated.frets, value=12, key=f"_number_{photo.sha256}")
    button.button(
        "Number anew",
        key="_renumber",
        disabled=number == 12,
        on_click=_renumber,
        args=(index, photo.sha256, corners, stated, int(number)),
    )


def _renumber(index: int, sha256: str, corners: Corners, stated: StatedNeck, drawn_as: int) -> None:
    try:
        anew = renumbered_corners(fret_ends_of(corners, stated), stated, drawn_as, 12)
    except ValueError as error:
        session.notice(f"That cannot be: {error}")
    else:
        _mark(index, sha256, anew)


def _mark(index: int, sha256: str, corners: Corners | None) -> None:
    session.change(sightings.with_corners(session.current(), index, sha256, corners))
    _open(None)


def _open(sha256: str | None) -> None:
    st.session_state[CORRECTED] = sha256
