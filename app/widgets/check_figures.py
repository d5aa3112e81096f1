"""Below a check: what its readings come to, and the stated range of the pickups."""

from dataclasses import replace

import streamlit as st

from app.check_figures import PICKUPS, STATED_HIGH, STATED_LOW, figure_lines, stated_range
from app.inspection.crowning import COMMON_WIRE
from app.record.inspection import Setting
from app.wear import CHECK_ID, DEEPEST_MM, WIRE_KEY, dents_of, with_dents
from app.widgets import session
from app.widgets.html import esc
from app.widgets.session import widget_key
from app.wording import in_unit


def show_figures(check_id: str) -> None:
    """Draw what belongs to the check, if anything does."""
    if check_id == "pickup_resistance":
        _ask_stated_range()
    if check_id == CHECK_ID:
        _ask_wear()
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


def _ask_wear() -> None:
    """Size of the wire, and dents string by string."""
    inspection = session.current()
    names = [size.name for size in COMMON_WIRE]
    stored = inspection.decision_settings.get(WIRE_KEY)
    with st.expander("Size of the wire, and dents string by string"):
        name = st.selectbox(
            "Size of the wire, if its height cannot be measured", names, index=None, placeholder="Not known",
            format_func=lambda each: f"{each}, {_height_mm(each):.2f} mm when new",
            key=widget_key("wire", stored if stored in names else None),
        )  # fmt: skip
        settings = {key: value for key, value in inspection.decision_settings.items() if key != WIRE_KEY}
        session.change(replace(inspection, decision_settings=settings | ({WIRE_KEY: name} if name else {})))
        _ask_dents()


def _height_mm(name: str) -> float:
    return next(size.new_height_mm for size in COMMON_WIRE if size.name == name)


def _ask_dents() -> None:
    neck = session.current().guitar.neck
    dents = dents_of(session.current())
    strings = range(1, neck.strings + 1)
    start = f"_dents_{session.current().id}_{st.session_state.get(session.GENERATION, 0)}"
    if f"{start}_rows" not in st.session_state:  # the table's own start, or each edit would begin it anew
        st.session_state[f"{start}_rows"] = [
            {"Fret": str(fret)} | {f"String {s}": dents.get((fret, s)) for s in strings}
            for fret in range(1, (neck.frets or 0) + 1)
        ]
    column = st.column_config.NumberColumn(min_value=0.0, max_value=DEEPEST_MM, step=0.01, format="%.2f")
    rows = st.data_editor(
        st.session_state[f"{start}_rows"], key=start, hide_index=True, width="stretch", disabled=["Fret"],
        column_config={f"String {s}": column for s in strings},
    )  # fmt: skip
    st.html('<p class="quiet">Depth of each dent in mm; string 1 is the highest. Leave empty what is smooth.</p>')
    typed = {
        (fret, s): float(depth)
        for fret, row in enumerate(rows, 1)
        for s in strings
        if isinstance(depth := row.get(f"String {s}"), (int, float)) and depth > 0
    }
    if typed != dents:
        session.change(with_dents(session.current(), typed))
