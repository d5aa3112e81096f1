"""Step 5: what repairs may cost, what to offer, and the page that says why."""

from dataclasses import replace

import streamlit as st

from app.deciding import MARGIN, USUAL_MARGIN_SHARE, margin_of, verdict_of
from app.decision.verdict import Verdict
from app.widgets import session
from app.widgets.costs import ask_for_care, ask_for_costs, ask_for_rules
from app.widgets.downloads import offer_downloads
from app.widgets.html import esc, quiet, show_part, show_title
from app.widgets.numbers import ask_sum
from app.wording import in_unit, money

ANSWER_CSS = {"buy": "good", "negotiate": "notice", "walk away": "serious", "take better photographs": "open"}


def show() -> None:
    """Draw the screen."""
    show_title("The decision")
    answer = st.container()
    _ask_for_money()
    ask_for_costs()
    ask_for_rules()
    ask_for_care()
    inspection = session.current()
    with answer:
        try:
            verdict = verdict_of(inspection)
        except ValueError as error:
            st.error(f"An answer of the inspection cannot be read: {error}")
            return
        if verdict is None:
            quiet("Say below what the guitar is worth in good order, and the sum can be done.")
        else:
            _show_verdict(verdict)
    offer_downloads(inspection)


def _ask_for_money() -> None:
    """The sums again, since this is where they are thought about."""
    inspection = session.current()
    guitar = inspection.guitar
    show_part("The money")
    asked, worth, kept = st.columns(3, gap="medium")
    with asked:
        asking = ask_sum("Asking price", name="d_asking", start=guitar.asking_price)
    with worth:
        value = ask_sum("Worth in good order", name="d_worth", start=guitar.value_in_good_order)
    stored, usual = inspection.decision_settings.get(MARGIN), f"{100 * USUAL_MARGIN_SHARE:.0f} % of the worth"
    with kept:
        margin = ask_sum(
            "Your margin", name="d_margin", start=stored if isinstance(stored, float) else None,
            placeholder=usual if guitar.value_in_good_order is None else f"{margin_of(inspection):.0f}, {usual}",
            help="What you keep for time, trouble and what nobody looked at.",
        )  # fmt: skip
    settings = {key: kept for key, kept in inspection.decision_settings.items() if key != MARGIN}
    if margin is not None:
        settings[MARGIN] = margin
    session.change(
        replace(
            inspection,
            guitar=replace(guitar, asking_price=asking, value_in_good_order=value),
            decision_settings=settings,
        )
    )


def _show_verdict(verdict: Verdict) -> None:
    unit = session.unit()
    st.html(
        f'<div class="headline verdict-box {ANSWER_CSS[verdict.answer]}" role="status">'
        f'<p class="tag">Answer</p><h2>{esc(verdict.answer.capitalize())}</h2>'
        f"<p>{esc(in_unit(verdict.text, unit))}</p></div>"
    )
    st.html(_sums_html(verdict))
    reasons = "".join(
        f"<li>{esc(in_unit(reason.text, unit))}"
        + (f" <strong>{money(reason.money, verdict.currency)}</strong>" if reason.money is not None else "")
        + "</li>"
        for reason in verdict.reasons
    )
    if reasons:
        st.html(
            f'<div class="plain"><h3>What tips it</h3><ol class="plain-list">{reasons}</ol>'
            '<p class="quiet">Sums: by how much each lowers the offer.</p></div>'
        )


def _sums_html(verdict: Verdict) -> str:
    chance, offer, unit = verdict.chances, verdict.offer, verdict.currency
    cards = (
        (
            "Highest worth offering",
            money(offer.highest, unit),
            f"{money(offer.good_value, '')} worth, less {money(offer.margin, '')} margin, less "
            f"{money(offer.cautious_cost, '')} careful repair cost",
        ),
        (
            "Likely repairs",
            money(chance.cost_median, unit),
            f"90 %: {money(chance.cost_low, '')} to {money(chance.cost_high, unit)}",
        ),
        (
            "More than a rod turn",
            f"{100 * chance.more_than_rod:.0f} %",
            "chance that the neck needs other work",
        ),
    )
    body = "".join(
        f'<div class="card both"><h3>{esc(title)}</h3><div class="figure">{esc(figure)}</div><p>{esc(words)}</p></div>'
        for title, figure, words in cards
    )
    return f'<div class="grid three">{body}</div>'
