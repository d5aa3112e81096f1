"""Below a check: what its readings come to, and the stated range of the pickups."""

from dataclasses import replace

import streamlit as st

from app.check_figures import PICKUPS, STATED_HIGH, STATED_LOW, figure_lines, stated_range
from app.record.inspection import Setting
from app.widgets import session
from app.widgets.html import esc
from app.widgets.session import widget_key
from app.wording import in_unit


def show_figures(check_id: str) -> None:
    """Draw what belongs to the check, if anything does."""
    if check_id == "pickup_resistance":
        _ask_stated_range()
    try:
        lines = figure_lines(check_id, session.current())
    except ValueError as error:
        st.error(f"This cannot be reckoned with: {error}")
        return
    if lines:
        unit = session.unit()
        words = "".join(f"<p>{esc(in_unit(line, unit))}</p>" for line in lines)
        st.html(f'<div class="reckoned" role="status">{words}</div>')


def _ask_stated_range() -> None:
    inspection = session.current()
    settings: dict[str, Setting] = dict(inspection.decision_settings)
    with st.expander("What is stated for each pickup, in ohm"):
        for pickup in PICKUPS:
            columns = st.columns(2, gap="medium")
            for column, key, words, value in zip(
                columns, (STATED_LOW, STATED_HIGH), ("from", "to"), stated_range(inspection, pickup), strict=True
            ):
                name = key.format(pickup=pickup)
                typed = column.number_input(
                    f"{pickup.capitalize()} pickup {words}, ohm", 1.0, 1e7, step=100.0, format="%.0f", value=None,
                    key=widget_key(name, value),
                )  # fmt: skip
                if typed is None:
                    settings.pop(name, None)
                else:
                    settings[name] = float(typed)
    session.change(replace(inspection, decision_settings=settings))
