"""Taking an inspection along: the page as PDF and the whole inspection as one file."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

import streamlit as st

from app import __version__
from app.record.export_file import FILE_ENDING
from app.record.export_inspection import Export, export_inspection
from app.record.inspection import Inspection
from app.record.problems import RecordProblem
from app.report.pdf import report_pdf
from app.widgets import session
from app.widgets.html import quiet, show_part


def offer_downloads(inspection: Inspection) -> None:
    """The page to show and the file to keep. Each is made when asked for, and again after a change."""
    show_part("Take it along")
    with st.container(horizontal=True, gap="small", key="_downloads"):
        _offer(
            _Paper(
                "report",
                "Make the page as PDF",
                "Download the page (PDF)",
                ".pdf",
                "application/pdf",
                lambda: Export(
                    report_pdf(
                        inspection, session.photo_store().get, __version__, datetime.now().astimezone(), session.unit()
                    ),
                    (),
                ),
            ),
            inspection,
        )
        _offer(
            _Paper(
                "export",
                "Make one file of the inspection",
                "Download the inspection",
                FILE_ENDING,
                "application/zip",
                lambda: export_inspection(inspection, session.photo_store(), __version__),
            ),
            inspection,
        )
    quiet("Location data is removed from every picture in these files; the originals stay here as they are.")


@dataclass(frozen=True, slots=True)
class _Paper:
    """One kind of file: its name in keys, words on its two buttons, ending, type, and how it is made."""

    name: str
    make_words: str
    download_words: str
    ending: str
    mime: str
    make: Callable[[], Export]


def _offer(paper: _Paper, inspection: Inspection) -> None:
    key = f"{paper.name}_{inspection.id}_{inspection.revision}_{session.unit().key}"
    if key not in st.session_state:
        if st.button(paper.make_words, key=f"_make_{paper.name}"):
            try:
                with st.spinner("Making it"):
                    st.session_state[key] = paper.make()
            except RecordProblem as problem:
                st.error(f"{problem.reason} {problem.advice}")
                return
            except ValueError as error:
                st.error(f"This cannot be made: {error}")
                return
            st.rerun()
        return
    made: Export = st.session_state[key]
    st.download_button(
        paper.download_words, made.data, file_name(inspection, paper.ending), paper.mime,
        key=f"_download_{paper.name}", type="primary", on_click="ignore",
    )  # fmt: skip
    for line in made.left_out:
        st.warning(f"Left out: {line}")


def file_name(inspection: Inspection, ending: str) -> str:
    """A harmless file name from the guitar's title and the day of the last change."""
    words = re.sub(r"[^\w]+", "-", inspection.guitar.title, flags=re.ASCII).strip("-").lower()[:40]
    return f"{words or 'inspection'}-{inspection.changed_at:%Y-%m-%d}{ending}"
