"""Step 4: the rest of the inspection, one group of checks at a time."""

from collections.abc import Mapping
from dataclasses import replace

import streamlit as st

from app.deciding import checks_of
from app.inspection.check import Check
from app.inspection.checks import CHECKS, GROUPS, checks_in
from app.inspection.evidence import weigh_evidence
from app.record.inspection import CheckResult
from app.widgets import session
from app.widgets.check_card import ask_check
from app.widgets.check_figures import show_figures
from app.widgets.flow import show_next
from app.widgets.html import esc, show_part, show_title
from app.widgets.play_test import show_play_test


def show() -> None:
    """Draw the screen."""
    results = session.current().checks
    done = sum(check.id in results and results[check.id].state != "not checked" for check in CHECKS)
    show_title(
        "The rest of the inspection",
        f"{done} of {len(CHECKS)} looked at. Take what you can reach; what is left out counts as not known.",
    )
    group = _choose_group(results)
    for check in checks_in(group):
        _show_check(check)
    if group == GROUPS[-1]:
        _show_evidence()
    _show_way_on(group)


def _choose_group(results: Mapping[str, CheckResult]) -> str:
    key = f"_group_{session.current().id}"
    wanted = st.query_params.get(session.GROUP, GROUPS[0])
    st.session_state.setdefault(key, wanted if wanted in GROUPS else GROUPS[0])
    chosen = st.pills("Part", GROUPS, format_func=lambda group: _group_words(group, results), key=key, required=True)
    group = chosen or GROUPS[0]
    st.query_params[session.GROUP] = group
    return group


def _group_words(group: str, results: Mapping[str, CheckResult]) -> str:
    checks = checks_in(group)
    done = sum(check.id in results and results[check.id].state != "not checked" for check in checks)
    return f"{group} {done}/{len(checks)}"


def _show_check(check: Check) -> None:
    inspection = session.current()
    stored = inspection.checks.get(check.id, CheckResult())
    answered = ask_check(check, stored)
    if answered != stored:
        session.change(replace(inspection, checks=inspection.checks | {check.id: answered}))
    if check.id == "play_test":
        show_play_test()
    else:
        show_figures(check.id)


def _show_way_on(group: str) -> None:
    place = GROUPS.index(group)
    if place + 1 < len(GROUPS):
        after = GROUPS[place + 1]
        with st.container(horizontal=True, horizontal_alignment="right"):
            st.button("To the decision", key="_next", on_click=session.go_to, args=("decision",))
            st.button(f"Next: {after}", key="_next_group", type="primary", on_click=_go_to_group, args=(after,))
    else:
        show_next("decision", "Next: the decision")


def _go_to_group(group: str) -> None:
    st.session_state[f"_group_{session.current().id}"] = group
    st.query_params[session.GROUP] = group


def _show_evidence() -> None:
    """Origin and later change, weighed; only what was looked at counts."""
    try:
        weights = weigh_evidence(checks_of(session.current()))
    except ValueError as error:
        st.error(f"An answer cannot be read: {error}")
        return
    told = [weight for weight in weights if weight.words != "says nothing either way"]
    if not told:
        return
    show_part("Origin and change", "Evidence, never proof. The weights are rough figures of common practice.")
    for weight in told:
        st.html(
            f'<div class="finding"><h3>{esc(weight.claim.capitalize())}</h3><p>What was seen {esc(weight.words)}.</p>'
            f'<p class="quiet">What would settle it: {esc(weight.settles)}</p></div>'
        )
