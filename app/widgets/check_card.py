"""One check of the inspection: the question, how to look, the answer, figures, note and photograph."""

from dataclasses import replace

import streamlit as st

from app.inspection.check import STATES, Check
from app.record.inspection import CheckResult, Photo
from app.record.problems import RecordProblem
from app.widgets import session
from app.widgets.corners import reduced
from app.widgets.html import caution_html, esc
from app.widgets.session import widget_key

STATE_CSS = {"fine": "good", "look closer": "notice", "fault": "serious", "not checked": "open"}


def ask_check(check: Check, stored: CheckResult) -> CheckResult:
    """Draw one check and return the answer as it now stands."""
    with st.container(border=True, key=f"check_{STATE_CSS[stored.state]}_{check.id}"):
        st.html(f'<h3 class="row-title">{esc(check.question)}</h3><p class="quiet">{esc(check.how_to_look)}</p>')
        state = st.segmented_control(
            check.question, STATES, key=widget_key(f"state_{check.id}", stored.state), required=True,
            label_visibility="collapsed",
        )  # fmt: skip
        st.html(_meaning_html(check, state or "not checked"))
        answered = replace(
            stored, state=state or "not checked", readings=_others(check, stored) | _ask_figures(check, stored)
        )
        with st.expander("Note or photograph" + (" (kept)" if stored.note or stored.photo else "")):
            note = st.text_area("Note", max_chars=4000, height=80, key=widget_key(f"note_{check.id}", stored.note))
            photo = _ask_photo(check, stored.photo)
        return replace(answered, note=note, photo=photo)


def _meaning_html(check: Check, state: str) -> str:
    meaning = {"fine": check.fine, "look closer": check.look_closer, "fault": check.fault}.get(state)
    if meaning is not None:
        text = f'<p class="meaning {STATE_CSS[state]}">{esc(meaning)}</p>'
    else:
        text = (
            f'<p class="quiet">Fine: {esc(check.fine)} Look closer: {esc(check.look_closer)} '
            f"Fault: {esc(check.fault)}</p>"
        )
    return text + (caution_html(check.caution) if check.caution else "")


def _ask_figures(check: Check, stored: CheckResult) -> dict[str, float]:
    """Readings in their units, and choices kept as their place among the options."""
    figures: dict[str, float] = {}
    fields = [*check.choices, *check.readings]
    if not fields:
        return figures
    columns = st.columns(min(3, len(fields)), gap="medium", vertical_alignment="bottom")
    for place, choice in enumerate(check.choices):
        known = stored.readings.get(choice.id)
        options = choice.options
        start = options[int(known)] if known is not None and 0 <= known < len(options) else None
        with columns[place % len(columns)]:
            key = widget_key(f"choice_{check.id}_{choice.id}", start)
            word = st.selectbox(choice.label, options, index=None, placeholder="Not known", key=key)
        if word is not None:
            figures[choice.id] = float(options.index(word))
    for place, reading in enumerate(check.readings, len(check.choices)):
        with columns[place % len(columns)]:
            value = st.number_input(
                f"{reading.label}, {reading.unit}", reading.low, reading.high, value=None,
                key=widget_key(f"reading_{check.id}_{reading.id}", stored.readings.get(reading.id)),
            )  # fmt: skip
        if value is not None:
            figures[reading.id] = float(value)
    return figures


def _others(check: Check, stored: CheckResult) -> dict[str, float]:
    """Readings that are asked for elsewhere, such as the dents string by string."""
    known = {r.id for r in check.readings} | {c.id for c in check.choices}
    return {key: value for key, value in stored.readings.items() if key not in known}


def _ask_photo(check: Check, kept: Photo | None) -> Photo | None:
    if kept is not None:
        try:
            picture = reduced(session.photo_store().get(kept.sha256), kept.name)
        except RecordProblem as problem:
            st.warning(f"{problem.reason} {problem.advice}")
            picture = None
        if picture is not None:
            st.image(picture[0], alt=f"Photograph for: {check.question}", width=280)
        return None if st.button("Remove the photograph", key=f"_unphoto_{check.id}", type="tertiary") else kept
    upload = st.file_uploader("Photograph", type=["jpg", "jpeg", "png", "webp", "heic"], key=f"_photo_{check.id}")
    if upload is None:
        return None
    data = upload.getvalue()
    if reduced(data, upload.name) is None:
        st.error("This file is no picture that can be read; nothing was kept.")
        return None
    try:
        name = "".join(c for c in upload.name if c.isprintable())[:120]
        return Photo(session.photo_store().put(data), name)
    except RecordProblem as problem:
        st.error(f"{problem.reason} {problem.advice}")
        return None
