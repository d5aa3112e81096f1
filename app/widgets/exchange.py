"""Bringing an inspection in from a file: checked first, then stored as the user chooses."""

import streamlit as st

from app.record.import_inspection import Incoming, choices, read_export, store_incoming
from app.record.problems import RecordProblem
from app.widgets import session
from app.widgets.html import esc, quiet
from app.wording import when

CHOICE_WORDS = {
    "store": "Bring it in",
    "copy": "Bring it in as a copy",
    "replace": "Replace the one that is here",
}
IMPORT_ROUND = "import_round"


def offer_import() -> None:
    """Where an exported inspection is brought in."""
    with st.expander("Bring in an inspection from a file"):
        round_ = st.session_state.setdefault(IMPORT_ROUND, 0)
        upload = st.file_uploader("A file made by 'Take it along'", key=f"_import_{round_}")
        if upload is None:
            quiet("It is checked before anything is stored.")
            return
        try:
            incoming = read_export(upload.getvalue())
            allowed = choices(incoming, session.store())
        except RecordProblem as problem:
            st.error(f"{problem.reason} {problem.advice}")
            return
        title = incoming.inspection.guitar.title or "Unnamed guitar"
        st.html(
            f"<p><strong>{esc(title)}</strong>, {len(incoming.photos)} photographs, made {when(incoming.made_at)}"
            f"{'' if 'store' in allowed else '. An inspection with this identity is here already.'}</p>"
        )
        with st.container(horizontal=True, gap="small"):
            for choice in allowed:
                if st.button(CHOICE_WORDS[choice], key=f"_import_as_{choice}"):
                    _store(incoming, choice)


def _store(incoming: Incoming, choice: str) -> None:
    store = session.store()
    for allowed in choices(incoming, store):
        if allowed == choice:
            try:
                if choice == "replace":  # a slip of the finger must not cost what is here
                    store.move_to_bin(store.save_copy(store.load(incoming.inspection.id)).id)
                stored = store_incoming(incoming, allowed, store, session.photo_store())
            except RecordProblem as problem:
                st.error(f"{problem.reason} {problem.advice}")
                return
            st.session_state[IMPORT_ROUND] += 1
            before = " What was here before lies in the bin." if choice == "replace" else ""
            session.notice(f"Brought in: {stored.guitar.title or 'unnamed guitar'}.{before}")
            st.rerun()
