"""What the user can change about the sum: costs of repairs, rules that end the deal, and how careful the offer is."""

from dataclasses import replace

import streamlit as st

from app.deciding import CAREFUL_PREFIX, careful_of, prices_of
from app.decision.repairs import EXAMPLE_REPAIRS, PriceList, Repair
from app.decision.rules import RULES
from app.record.inspection import CostEdit, Setting
from app.widgets import session
from app.widgets.html import esc, quiet, show_part, show_wrong
from app.widgets.numbers import keep_number, keep_sum
from app.widgets.session import widget_key
from app.wording import money

OWN_PREFIX = "own_"
OWN_MOST = 20
EXAMPLES = frozenset(repair.id for repair in EXAMPLE_REPAIRS)
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
    with st.expander("All repairs, and your own figures"):
        _ask_for_cost(prices.repairs)
        _ask_for_own()
        _show_costs(prices)


def _ask_for_cost(repairs: tuple[Repair, ...]) -> None:
    """One repair at a time, so that its two figures are in reach on a phone too."""
    names = {repair.id: repair for repair in repairs}
    chosen = st.selectbox(
        "Change what a repair costs", list(names), index=None, placeholder="Choose a repair",
        format_func=lambda each: names[each].name if each in names else "", key="_cost_of",
    )  # fmt: skip
    if chosen not in names:
        return
    repair = names[chosen]
    low_cost, high_cost = _ask_span(f"cost_low_{chosen}", f"cost_high_{chosen}", repair.low_cost, repair.high_cost)
    if low_cost > high_cost:
        show_wrong("The first figure is above the second. Not kept yet.")
    elif (low_cost, high_cost) != (repair.low_cost, repair.high_cost):
        inspection = session.current()
        label = inspection.costs[chosen].label if chosen in inspection.costs else ""
        session.change(replace(inspection, costs=inspection.costs | {chosen: CostEdit(low_cost, high_cost, label)}))
        st.rerun()
    if chosen in session.current().costs:
        words = "Back to the example" if chosen in EXAMPLES else "Remove this repair"
        st.button(words, key="_cost_drop", on_click=_drop, args=(chosen,), type="tertiary")


def _ask_span(low_name: str, high_name: str, low: float, high: float) -> tuple[float, float]:
    """The least and the most that a repair costs, side by side."""
    left, right = st.columns(2, gap="medium")
    with left:
        low = keep_sum("At least", name=low_name, start=low)
    with right:
        high = keep_sum("At most", name=high_name, start=high)
    return low, high


def _drop(repair_id: str) -> None:
    inspection = session.current()
    session.change(replace(inspection, costs={k: v for k, v in inspection.costs.items() if k != repair_id}))
    session.forget(f"cost_low_{repair_id}", f"cost_high_{repair_id}")
    st.session_state["_cost_of"] = None


def _show_costs(prices: PriceList) -> None:
    yours = session.current().costs
    rows = "".join(
        f"<tr><th scope=row>{esc(repair.name)}</th>"
        f"<td>{money(repair.low_cost, '')} to {esc(money(repair.high_cost, prices.currency))}"
        f"{', your figure' if repair.id in yours else ''}</td></tr>"
        for repair in prices.repairs
    )
    st.html(f'<table class="facts costs">{rows}</table>')


def _ask_for_own() -> None:
    words = st.text_input("Add a repair of your own", max_chars=120, key="_own_name").strip()
    if not words:
        return
    low_cost, high_cost = _ask_span("own_low", "own_high", 0.0, 0.0)
    own = [key for key in session.current().costs if key.startswith(OWN_PREFIX)]
    if low_cost > high_cost:
        show_wrong("The first figure is above the second.")
    if len(own) >= OWN_MOST:
        quiet(f"No more than {OWN_MOST} repairs of your own can be kept.")
    st.button(
        "Add it", key="_own_add", disabled=not low_cost <= high_cost > 0.0 or len(own) >= OWN_MOST, on_click=_add_own,
        args=(CostEdit(min(low_cost, high_cost), high_cost, words),),
    )  # fmt: skip


def _add_own(cost: CostEdit) -> None:
    inspection = session.current()
    number = next(n for n in range(1, OWN_MOST + 2) if f"{OWN_PREFIX}{n}" not in inspection.costs)
    session.change(replace(inspection, costs=inspection.costs | {f"{OWN_PREFIX}{number}": cost}))
    session.forget("own_low", "own_high")
    st.session_state["_own_name"] = ""


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
        names = list(CARE_WORDS)
        for first in range(0, len(names), 2):
            for column, name in zip(st.columns(2, gap="medium"), names[first : first + 2], strict=False):
                words, low, high, step = CARE_WORDS[name]
                kept = float(getattr(care, name))
                with column:
                    value = keep_number(words, low, high, name=f"care_{name}", start=kept, step=step)
                if value != kept:
                    settings[CAREFUL_PREFIX + name] = value
        quiet(esc("More uncertainty never raises the offer; better photographs may."))
    session.change(replace(inspection, decision_settings=settings))
