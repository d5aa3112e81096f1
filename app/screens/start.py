"""The first screen: begin, try with sample photographs, go on with an inspection, or put two or three side by side."""

from collections.abc import Callable

import streamlit as st

from app.record.problems import RecordProblem
from app.record.store import Summary
from app.samples import SAMPLES, available_samples, prepared_inspection
from app.widgets import session
from app.widgets.exchange import offer_import
from app.widgets.html import esc, quiet, show_part
from app.wording import money, when

COMPARED_MOST = 3


def show() -> None:
    """Draw the screen."""
    with st.container(horizontal=True, gap="small", key="_begin"):
        st.button("Inspect a guitar", key="_new", type="primary", on_click=session.begin, icon=":material/add:")
        samples = available_samples()
        if samples:
            st.button(
                "Try with sample photographs", key="_try", on_click=begin_sample, args=(samples[0].key,),
                icon=":material/photo_library:",
            )  # fmt: skip
    quiet(
        "Five steps: the guitar and its price, the photographs, the curves, the rest of the inspection, the decision. "
        "Stop at any of them; everything is kept."
    )
    summaries = session.store().summaries()
    if summaries:
        _show_list(summaries)
    else:
        show_part("What you will need")
        st.html(
            '<ul class="plain-list"><li>A phone, and two minutes with the guitar: two photographs down the neck, one '
            "from the front.</li><li>Its scale length and number of frets.</li><li>The asking price, and what it "
            "would be worth in good order.</li></ul>"
        )
    if len(samples) > 1:
        with st.expander("More sample guitars"), st.container(horizontal=True, gap="small"):
            for sample in samples[1:]:
                st.button(sample.title, key=f"_sample_{sample.key}", on_click=begin_sample, args=(sample.key,))
    offer_import()
    _show_bin()


def begin_sample(key: str) -> None:
    """Store a prepared inspection of a sample guitar and open it at its photographs."""
    session.begin_with(prepared_inspection(SAMPLES[key], session.photo_store()), "photographs")


def open_sample(key: str) -> None:
    """Go on with the newest inspection of a sample guitar, or begin one: the page opened anew makes no second."""
    title = SAMPLES[key].guitar.title
    begun = next((each for each in session.store().summaries() if each.title == title), None)
    if begun is None:
        begin_sample(key)
    else:
        _resume(begun)


def _show_list(summaries: tuple[Summary, ...]) -> None:
    show_part("Inspections")
    chosen = []
    several = len(summaries) > 1
    for summary in summaries:
        with st.container(border=True, key=f"_row_{summary.id}"):
            about, actions = st.columns([3, 2], gap="small", vertical_alignment="center")
            about.html(_summary_html(summary))
            with actions, st.container(horizontal=True, vertical_alignment="center", horizontal_alignment="right"):
                if several and st.checkbox("Compare", key=f"_compare_{summary.id}"):
                    chosen.append(summary.id)
                st.button("Move to bin", key=f"_bin_{summary.id}", on_click=_bin, args=(summary.id,), type="tertiary")
                st.button("Go on", key=f"_open_{summary.id}", on_click=_resume, args=(summary,))
    if several:
        right_number = 2 <= len(chosen) <= COMPARED_MOST
        words = f"Put {len(chosen)} side by side" if right_number else "Choose two or three to put side by side"
        st.button(words, key="_compare", disabled=not right_number, on_click=_compare, args=(tuple(chosen),))


def _summary_html(summary: Summary) -> str:
    price = f"asking {money(summary.asking_price, summary.currency)}" if summary.asking_price is not None else ""
    photographs = {0: "no photographs yet", 1: "1 photograph"}.get(summary.photos, f"{summary.photos} photographs")
    measured = "measured" if summary.measured else ""
    facts = [part for part in (summary.place_seen, price, photographs, measured) if part]
    at = session.STEPS.get(summary.step, "Guitar")
    return (
        f'<h3 class="row-title">{esc(summary.title or "Unnamed guitar")}</h3>'
        f'<p class="quiet">{esc(" · ".join(facts))}</p>'
        f'<p class="quiet">At step {esc(at)}, changed {when(summary.changed_at)}</p>'
    )


def _resume(summary: Summary) -> None:
    session.go_to(summary.step if summary.step in session.STEPS else "guitar", inspection_id=summary.id)


def _compare(ids: tuple[str, ...]) -> None:
    session.leave()
    st.query_params[session.COMPARED] = ",".join(ids)


def _bin(inspection_id: str) -> None:
    _try(session.store().move_to_bin, inspection_id, "Moved to the bin; it can be taken out again below.")


def _show_bin() -> None:
    binned = session.store().summaries(binned=True)
    if not binned:
        return
    with st.expander(f"Bin ({len(binned)})"):
        for summary in binned:
            with st.container(horizontal=True, vertical_alignment="center", gap="small"):
                st.html(f"<p>{esc(summary.title or 'Unnamed guitar')}</p>")
                st.button("Take out", key=f"_restore_{summary.id}", on_click=_restore, args=(summary.id,))
                st.button(
                    "Erase for good", key=f"_erase_{summary.id}", on_click=_erase, args=(summary.id,), type="tertiary"
                )


def _restore(inspection_id: str) -> None:
    _try(session.store().restore, inspection_id, "Taken out of the bin.")


def _erase(inspection_id: str) -> None:
    _try(session.store().erase, inspection_id, "Erased.")


def _try(action: Callable[[str], None], inspection_id: str, words: str) -> None:
    try:
        action(inspection_id)
        session.notice(words)
    except RecordProblem as problem:
        session.notice(f"{problem.reason} {problem.advice}")
