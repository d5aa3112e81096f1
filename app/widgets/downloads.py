"""Taking an inspection along: the page as PDF and the whole inspection as one file."""

import streamlit as st

from app import __version__
from app.record.export_inspection import export_inspection
from app.record.inspection import Inspection
from app.record.problems import RecordProblem
from app.widgets import session
from app.widgets.html import quiet, show_part


def offer_downloads(inspection: Inspection) -> None:
    """The place for the page to show and the file to keep. Files are made only when asked for."""
    show_part("Take it along")
    with st.container(horizontal=True, gap="small", key="_downloads"):
        _offer_report(inspection)
        _offer_export(inspection)
    quiet("Location data is removed from every picture in these files; the originals stay here as they are.")


def _offer_report(inspection: Inspection) -> None:
    """The button for the PDF belongs here."""


def _offer_export(inspection: Inspection) -> None:
    key = f"export_{inspection.id}_{inspection.revision}"
    if key not in st.session_state:
        if st.button("Prepare the inspection as one file", key="_prepare_export"):
            try:
                st.session_state[key] = export_inspection(inspection, session.photo_store(), __version__)
            except RecordProblem as problem:
                st.error(f"{problem.reason} {problem.advice}")
                return
            st.rerun()
        return
    export = st.session_state[key]
    st.download_button(
        "Download the inspection", export.data, "inspection.necksighting", "application/zip", key="_download_export",
        type="primary", on_click="ignore",
    )  # fmt: skip
    for line in export.left_out:
        st.warning(f"Left out: {line}")
