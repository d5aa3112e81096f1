"""Two or three inspections side by side."""

import plotly.graph_objects as go
import streamlit as st

from app.comparing import comparison_rows, measured_of
from app.limits import thresholds_of
from app.plots import relief_figure
from app.record.inspection import Inspection
from app.record.problems import RecordProblem
from app.widgets import session
from app.widgets.html import esc, show_part, show_title

MOST = 3


def show(ids: list[str]) -> None:
    """Draw the screen for the inspections with these ids; those that cannot be read are named and left out."""
    show_title("Side by side")
    inspections = tuple(found for wanted in ids[:MOST] if (found := _load(wanted)) is not None)
    if not inspections:
        st.info("None of these inspections is here.")
        return
    _show_table(inspections)
    _show_curves(inspections)


def _load(inspection_id: str) -> Inspection | None:
    try:
        return session.store().load(inspection_id)
    except RecordProblem as problem:
        st.warning(f"{problem.reason} {problem.advice}")
        return None


def _show_table(inspections: tuple[Inspection, ...]) -> None:
    titles = [inspection.guitar.title or "Unnamed guitar" for inspection in inspections]
    head = "".join(f'<th scope=col><span title="{esc(title)}">{esc(title)}</span></th>' for title in titles)
    body = "".join(
        f"<tr><th scope=row>{esc(name)}</th>"
        + "".join(f"<td>{esc(entry)}</td>" for entry in entries)
        + "</tr>"
        for name, entries in comparison_rows(inspections, session.unit())
    )
    st.html(
        f'<table class="compared of-{len(titles)}"><thead><tr><td></td>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table>"
    )


def _show_curves(inspections: tuple[Inspection, ...]) -> None:
    show_part("The necks")
    columns = st.columns(len(inspections), gap="medium")
    figures = _figures(inspections)
    for place, (column, inspection) in enumerate(zip(columns, inspections, strict=True)):
        with column:
            st.html(f'<h3 class="row-title">{esc(inspection.guitar.title or "Unnamed guitar")}</h3>')
            figure = figures[place]
            if figure is None:
                st.html('<p class="quiet">Not measured yet.</p>')
            else:
                st.plotly_chart(
                    figure,
                    theme=None,
                    config={"displayModeBar": False, "responsive": True, "scrollZoom": False},
                    key=f"_compared_{place}",
                    alt="Relief under both outer strings",
                )
            st.button(
                "Open", key=f"_open_compared_{place}", on_click=session.go_to, args=(inspection.step or "guitar",),
                kwargs={"inspection_id": inspection.id},
            )  # fmt: skip


def _figures(inspections: tuple[Inspection, ...]) -> list[go.Figure | None]:
    """The relief of each, all on one scale so that they can be compared by eye."""
    necks = [(measured_of(inspection), thresholds_of(inspection)) for inspection in inspections]
    figures = [None if neck is None else relief_figure(neck, limits, session.unit()) for neck, limits in necks]
    drawn = [figure for figure in figures if figure is not None]
    ranges = [figure.layout.yaxis.range for figure in drawn]
    for figure in drawn:  # the axis runs downwards
        figure.update_yaxes(range=[max(each[0] for each in ranges), min(each[1] for each in ranges)])
    return figures
