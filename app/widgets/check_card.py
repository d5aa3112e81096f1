"""One check of the inspection: the question, how to look, the answer, figures, note and photograph."""

from dataclasses import replace

import streamlit as st

from app.inspection.check import STATES, Check, Choice, Reading
from app.record.inspection import CheckResult, Photo
from app.record.problems import RecordProblem
from app.widgets import session
from app.widgets.corners import reduced
from app.widgets.html import caution_html, esc
from app.widgets.numbers import ask_length, ask_number
from app.widgets.session import widget_key

FIELDS_A_ROW = 3
STEPS = {"°C": (0.5, 1), "ohm": (10.0, 0)}  # of a field in this unit, with its decimals; whole numbers elsewhere
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
        with st.expander(_kept_words(stored), key=f"_more_{check.id}"):
            note = st.text_area("Note", max_chars=4000, height=80, key=widget_key(f"note_{check.id}", stored.note))
            photo = _ask_photo(check, stored.photo)
        return replace(answered, note=note, photo=photo)


def _kept_words(stored: CheckResult) -> str:
    """What lies in the part that is folded away."""
    kept = [words for words, there in (("note", stored.note), ("photograph", stored.photo)) if there]
    return f"{' and '.join(kept).capitalize()} kept" if kept else "Add a note or a photograph"


def _meaning_html(check: Check, state: str) -> str:
    meaning = {"fine": check.fine, "look closer": check.look_closer, "fault": check.fault}.get(state)
    if meaning is not None:
        text = f'<p class="meaning {STATE_CSS[state]}">{esc(meaning)}</p>'
    else:
        text = (
            f'<p class="meanings"><b class="good">Fine:</b> {esc(check.fine)} <b class="notice">Look closer:</b> '
            f'{esc(check.look_closer)} <b class="serious">Fault:</b> {esc(check.fault)}</p>'
        )
    return text + (caution_html(check.caution) if check.caution else "")


def _ask_figures(check: Check, stored: CheckResult) -> dict[str, float]:
    """Readings in their units, and choices."""
    figures: dict[str, float] = {}
    fields: list[Choice | Reading] = [*check.choices, *check.readings]
    for first in range(0, len(fields), FIELDS_A_ROW):  # row by row, so that their order holds on a phone too
        row = fields[first : first + FIELDS_A_ROW]
        for column, field in zip(st.columns(min(FIELDS_A_ROW, len(fields)), gap="medium"), row, strict=False):
            with column:
                known = stored.readings.get(field.id)
                value = _ask_choice(check, field, known) if isinstance(field, Choice) else _ask(check, field, known)
            if value is not None:
                figures[field.id] = value
    return figures


def _ask_choice(check: Check, choice: Choice, known: float | None) -> float | None:
    """A choice is kept as its place among the options."""
    options = choice.options
    start = options[int(known)] if known is not None and 0 <= known < len(options) else None
    word = st.selectbox(
        choice.label, options, index=None, placeholder="Not known",
        key=widget_key(f"choice_{check.id}_{choice.id}", start),
    )  # fmt: skip
    return None if word is None else float(options.index(word))


def _ask(check: Check, reading: Reading, known: float | None) -> float | None:
    name = f"reading_{check.id}_{reading.id}"
    if reading.unit == "mm":
        return ask_length(reading.label, reading.low, reading.high, name=name, start_mm=known)
    label = f"{reading.label}, {reading.unit}" if reading.unit else reading.label
    step, decimals = STEPS.get(reading.unit, (1.0, 0))
    return ask_number(label, reading.low, reading.high, name=name, start=known, step=step, decimals=decimals)


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
