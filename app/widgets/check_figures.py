"""Below a check: what its readings come to, and the stated range of the pickups."""

from dataclasses import replace

import streamlit as st

from app.check_figures import PICKUPS, STATED_HIGH, STATED_LOW, figure_lines, stated_range
from app.inspection.crowning import COMMON_WIRE
from app.record.inspection import Setting
from app.wear import CHECK_ID, DEEPEST_MM, WIRE_KEY, dents_of, with_dents
from app.widgets import session
from app.widgets.html import esc, quiet, table_html
from app.widgets.numbers import ask_length, ask_number, keep_count
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
                with column:
                    typed = ask_number(
                        f"{pickup.capitalize()} pickup {words}, ohm", 1.0, 1e7, name=name, start=value, step=100.0,
                        decimals=0,
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
    """One dent at a time: few are worth measuring, and a table of all places is no use on a phone."""
    neck = session.current().guitar.neck
    if neck.frets is None:
        quiet("State the number of frets to note dents string by string.")
        return
    string, fret, depth = st.columns(3, gap="medium")
    with string:
        number = keep_count("Dent under string", 1, neck.strings, name="dent_string", start=1, help="1 is the highest.")
    with fret:
        place = keep_count("At fret", 1, neck.frets, name="dent_fret", start=1)
    with depth:
        depth_mm = ask_length("Depth of the dent", 0.0, DEEPEST_MM, name="dent_depth", start_mm=None)
    dents = dents_of(session.current())
    with st.container(horizontal=True, gap="small"):
        st.button(
            "Note this dent", key="_dent_add", disabled=not depth_mm, on_click=_note_dents,
            args=(dents | {(place, number): depth_mm or 0.0},),
        )  # fmt: skip
        if dents:
            st.button("Remove all dents", key="_dents_clear", on_click=_clear_dents, type="tertiary")
    unit = session.unit()
    rows = ((f"String {s}, fret {f}", unit.text(dents[f, s])) for f, s in sorted(dents))
    if dents:
        st.html(table_html(tuple(rows)))


def _note_dents(dents: dict[tuple[int, int], float]) -> None:
    session.change(with_dents(session.current(), dents))


def _clear_dents() -> None:
    session.take_out(with_dents(session.current(), {}), "The dents are removed.")
