"""What the user can change about the sum: costs of repairs, rules that end the deal, and how careful the offer is."""

from dataclasses import replace
from typing import Any

import streamlit as st

from app.deciding import CAREFUL_PREFIX, careful_of, prices_of
from app.decision.repairs import EXAMPLE_REPAIRS
from app.decision.rules import RULES
from app.record.inspection import CostEdit, Setting
from app.widgets import session
from app.widgets.html import esc, quiet, show_part
from app.widgets.session import widget_key

OWN_PREFIX = "own_"
OWN_MOST = 20
CARE_WORDS = {
    "look_closer_chance": ("A 'look closer' turns out a fault, chance", 0.0, 1.0, 0.05),
    "dearest_share": ("Reckon with the dearest share of outcomes (1: plain average)", 0.05, 1.0, 0.05),
    "lowest_share_of_asking": ("A seller goes down to this share of the asking price", 0.1, 1.0, 0.05),
    "twist_beyond_repair_deg": ("Twist beyond repair from, degrees", 0.5, 10.0, 0.1),
}


def ask_for_costs() -> None:
    """The table of repairs, each with a low and a high cost that can be edited, and rows of the user's own."""
    inspection = session.current()
    prices = prices_of(inspection)
    show_part("Repairs and what they cost")
    quiet(
        "Examples, not prices: put in what a repairer near you asks, parts included."
        if prices.is_example
        else "Your own figures, and examples where you left them."
    )
    with st.expander("Edit the costs"):
        rows: list[dict[str, Any]] = [
            {"Repair": repair.name, "Low": repair.low_cost, "High": repair.high_cost, "When": repair.condition}
            for repair in prices.repairs
        ]
        edited = st.data_editor(
            rows, key=widget_key_of_table(len(rows)), hide_index=True, width="stretch", disabled=["Repair", "When"],
            column_config={
                "Low": st.column_config.NumberColumn(min_value=0.0, max_value=1e9, format="%.0f", width="small"),
                "High": st.column_config.NumberColumn(min_value=0.0, max_value=1e9, format="%.0f", width="small"),
            },
        )  # fmt: skip
        _keep_costs([(float(row["Low"] or 0.0), float(row["High"] or 0.0)) for row in edited])
        _ask_for_own()


def widget_key_of_table(rows: int) -> str:
    """The table starts anew when rows are added or the inspection is loaded again."""
    return f"_costs_{session.current().id}_{st.session_state.get(session.GENERATION, 0)}_{rows}"


def _keep_costs(costs: list[tuple[float, float]]) -> None:
    inspection = session.current()
    prices = prices_of(inspection)
    usual = {repair.id: (repair.low_cost, repair.high_cost) for repair in EXAMPLE_REPAIRS}
    kept = dict(inspection.costs)
    for repair, (low, high) in zip(prices.repairs, costs, strict=True):
        if (low, high) == (repair.low_cost, repair.high_cost):
            continue
        if low > high:
            st.error(f"{repair.name}: the low cost is above the high one; not kept.")
            continue
        if usual.get(repair.id) == (low, high):
            kept.pop(repair.id, None)
        else:
            kept[repair.id] = CostEdit(low, high, kept[repair.id].label if repair.id in kept else "")
    session.change(replace(inspection, costs=kept))


def _ask_for_own() -> None:
    name, low, high, add = st.columns([4, 2, 2, 2], gap="small", vertical_alignment="bottom")
    words = name.text_input("A repair of your own", max_chars=120, key="_own_name")
    low_cost = low.number_input("Low", 0.0, 1e9, value=0.0, step=10.0, format="%.0f", key="_own_low")
    high_cost = high.number_input("High", 0.0, 1e9, value=0.0, step=10.0, format="%.0f", key="_own_high")
    own = [key for key in session.current().costs if key.startswith(OWN_PREFIX)]
    ready = bool(words.strip()) and low_cost <= high_cost and len(own) < OWN_MOST
    if add.button("Add", key="_own_add", disabled=not ready, width="stretch"):
        inspection = session.current()
        number = next(n for n in range(1, OWN_MOST + 2) if f"{OWN_PREFIX}{n}" not in inspection.costs)
        new = {f"{OWN_PREFIX}{number}": CostEdit(low_cost, high_cost, words.strip())}
        session.change(replace(inspection, costs=inspection.costs | new))
        st.rerun()
    if own and st.button("Remove my own rows", key="_own_remove", type="tertiary"):
        inspection = session.current()
        session.change(replace(inspection, costs={k: v for k, v in inspection.costs.items() if k not in own}))
        st.rerun()


def ask_for_rules() -> None:
    """Faults that end the deal at any price, each with a switch."""
    inspection = session.current()
    switched = dict(inspection.rules)
    with st.expander("Faults that end the deal whatever the price"):
        for rule in RULES:
            on = st.toggle(
                f"{rule.title}: {rule.text}", key=widget_key(f"rule_{rule.id}", switched.get(rule.id, rule.on))
            )
            if on != rule.on or rule.id in switched:
                switched[rule.id] = on
    session.change(replace(inspection, rules=switched))


def ask_for_care() -> None:
    """How careful the offer is: judgement and common practice, never a standard."""
    inspection = session.current()
    care = careful_of(inspection)
    settings: dict[str, Setting] = dict(inspection.decision_settings)
    with st.expander("How careful the offer is (common practice and judgement)"):
        columns = st.columns(2, gap="medium", vertical_alignment="bottom")
        for place, (name, (words, low, high, step)) in enumerate(CARE_WORDS.items()):
            value = columns[place % 2].number_input(
                words, low, high, step=step, key=widget_key(f"care_{name}", float(getattr(care, name)))
            )
            if value != getattr(care, name):
                settings[CAREFUL_PREFIX + name] = float(value)
        quiet(esc("More uncertainty never raises the offer; better photographs may."))
    session.change(replace(inspection, decision_settings=settings))
