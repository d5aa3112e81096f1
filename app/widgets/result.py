"""A measured neck on the screen: the reading, the plots, the table, what was seen in each photograph."""

import io

import streamlit as st
from PIL import Image

from app.contract import contract_text
from app.corrections import correction_rows, provenance_rows
from app.curve_table import curve_csv, curve_rows
from app.headline import decision, figures, headline, most_serious_first
from app.measuring import drawn_photograph
from app.overlay import KIND_WORDS
from app.plots import fret_strip_figure, relief_figure, roll_figure
from app.record.inspection import Sighting
from app.record.problems import RecordProblem
from app.widgets import session
from app.widgets.html import caution_html, esc, flag_html, quiet, sentence, show_part, table_html
from app.wording import LengthUnit, degrees, higher_side, in_unit
from vision.findings import Finding, RodAdvice, judge, truss_rod_advice
from vision.results import Measured, Outcome, PhotoResult, Refused, SideCurve
from vision.settings import Thresholds

PHOTOS_A_ROW = 3
PLOT_CONFIG = {"displayModeBar": False, "responsive": True, "scrollZoom": False}
SEVERITY_CSS = {"fine": "good", "look closer": "notice", "fault": "serious", "cannot tell": "unknown"}
MARKS_HTML = (
    '<div class="marks"><span class="fret">fret top</span><span class="unused">fret not used</span>'
    '<span class="string">string and nut</span><span class="bass">under the bass string</span>'
    '<span class="treble">under the treble string</span></div>'
)


def show_reading(measured: Measured, thresholds: Thresholds, unit: LengthUnit) -> None:
    """What it is, in one line and four figures."""
    findings = judge(measured, thresholds)
    st.html(
        f'<div class="headline" role="status"><h2>{esc(headline(measured, findings, thresholds))}</h2>'
        f"<p>{esc(figures(measured, thresholds, unit))}</p><p>{esc(decision(findings))}</p></div>"
    )
    st.html(_figures_html(measured, unit) + "".join(flag_html(flag) for flag in measured.flags))


def show_curves(measured: Measured, thresholds: Thresholds, unit: LengthUnit) -> None:
    """Relief under both strings, single frets and roll."""
    show_part(
        "The neck under a straight line from fret 1 to the last fret",
        "As if a straightedge lay on top: a forward bow hangs below it, a back-bow rises above it. The pale bands hold "
        "the neck with 95 % confidence.",
    )
    _plot(relief_figure(measured, thresholds, unit), "_relief_plot", "Relief under both outer strings over the frets")
    strip, roll = st.columns(2, gap="medium")
    with strip:
        st.html(
            '<div class="plain"><h3>Each fret against its neighbours</h3><p class="quiet">Above the line stands high, '
            "below is low; the shaded range is harmless.</p></div>"
        )
        _plot(fret_strip_figure(measured, thresholds, unit), "_strip_plot", "Each fret above or below the smooth curve")
    with roll:
        st.html(
            '<div class="plain"><h3>Twist along the neck</h3><p class="quiet">How far each fret is rolled against '
            "fret 1; the shaded range is not noticed.</p></div>"
        )
        _plot(roll_figure(measured, thresholds), "_roll_plot", "Roll of each fret against fret 1")


def show_meaning(measured: Measured, thresholds: Thresholds, unit: LengthUnit) -> None:
    """Findings in words beside what the rod can and cannot do."""
    left, right = st.columns(2, gap="medium")
    with left:
        st.html(_findings_html(judge(measured, thresholds), unit))
    with right:
        st.html(_rod_html(truss_rod_advice(measured, thresholds), unit))


def show_details(measured: Measured, sighting: Sighting, lies_level: bool, unit: LengthUnit) -> None:
    """Corrections, the table with its files, and where the figures come from."""
    show_part("Corrections")
    st.html(table_html(correction_rows(measured, sighting.tuning, lies_level, unit)))
    with st.expander("Fret by fret, in figures"):
        st.dataframe(list(curve_rows(measured, unit)), hide_index=True, width="stretch")
    with st.container(horizontal=True, gap="small"):
        st.download_button(
            "Curves as CSV", curve_csv(measured, unit), "neck-curves.csv", "text/csv", key="_csv", on_click="ignore"
        )
        if sighting.measurement is not None:
            st.download_button(
                "All figures as JSON", contract_text(dict(sighting.measurement.contract)), "neck-sighting.json",
                "application/json", key="_json", on_click="ignore",
            )  # fmt: skip
    with st.expander("How these figures came about"):
        st.html(table_html(provenance_rows(measured)))


def show_refused(refused: Refused) -> None:
    """Why there is no figure and what to do."""
    st.html(
        f'<div class="headline refused" role="alert"><h2>No measurement: {esc(refused.reason)}</h2>'
        f"<p><strong>What to do:</strong> {esc(sentence(refused.advice))}</p>"
        "<p>Nothing is lost: the photographs and all you stated stay as they are.</p></div>"
    )


def show_photographs(outcome: Outcome, sighting: Sighting) -> None:
    """Every photograph with what was seen drawn on it."""
    show_part("What was seen in each photograph")
    if any(photo.trace is not None for photo in outcome.photos):
        st.html(MARKS_HTML)
    drawn = [_drawn(kept.sha256, photo) for kept, photo in zip(sighting.photos, outcome.photos, strict=False)]
    with st.container(key="_seen"):
        _show_rows(outcome, drawn)


def _show_rows(outcome: Outcome, drawn: list[bytes | None]) -> None:
    for first in range(0, len(drawn), PHOTOS_A_ROW):
        row = range(first, min(first + PHOTOS_A_ROW, len(drawn)))
        breadths = [_breadth(drawn[index]) for index in row]
        spare = max(0.0, 2.2 - sum(breadths))  # a single picture does not need the whole width
        columns = st.columns([*breadths, spare] if spare > 0.2 else breadths, gap="medium")
        for index, column in zip(row, columns, strict=False):
            with column:
                picture = drawn[index]
                photo = outcome.photos[index]
                if picture is not None:
                    st.image(picture, alt=f"{photo.name} with what was seen drawn on it", width="stretch")
                else:
                    quiet("The photograph cannot be shown: it is missing from the data folder, or no picture.")
                st.html(_photo_html(photo))


def _drawn(sha256: str, photo: PhotoResult) -> bytes | None:
    seen = b"" if photo.trace is None else photo.trace.fret_line_px.tobytes()
    try:
        return _drawn_once(sha256, seen, photo)
    except RecordProblem:
        return None


@st.cache_data(show_spinner=False, max_entries=24)
def _drawn_once(sha256: str, seen: bytes, _photo: PhotoResult) -> bytes | None:
    """Keyed on the file and on what was seen in it."""
    return drawn_photograph(session.photo_store().get(sha256), _photo)


def _plot(figure: object, key: str, words: str) -> None:
    st.plotly_chart(figure, theme=None, config=PLOT_CONFIG, key=key, alt=words)


def _figures_html(measured: Measured, unit: LengthUnit) -> str:
    twist, interval = degrees(measured.twist.twist_deg, measured.twist.twist_u_deg)
    higher = higher_side(measured.twist.twist_deg, measured.twist.twist_u_deg)
    difference, u = measured.relief_difference_mm, measured.relief_difference_u_mm
    return (
        '<div class="grid">'
        + _side_html(measured.bass, measured, unit)
        + _side_html(measured.treble, measured, unit)
        + f'<div class="card both"><h3>Twist</h3><div class="figure">{twist}</div>'
        f"<p>95 %: {interval}</p><p>at the last fret: {higher}</p></div>"
        f'<div class="card both"><h3>Bass minus treble</h3><div '
        f'class="figure">{unit.number(difference, sign=True)} '
        f"<small>{unit.short}</small></div><p>95 %: {unit.interval(difference, u)}</p>"
        "<p>difference of the two reliefs</p></div></div>"
    )


def _side_html(curve: SideCurve, measured: Measured, unit: LengthUnit) -> str:
    first, last = measured.provenance.span_frets
    return (
        f'<div class="card {curve.side}"><h3>Relief under the {curve.side} string</h3>'
        f'<div class="figure">{unit.number(curve.relief_mm, sign=True)} <small>{unit.short}</small></div>'
        f"<p>95 %: {unit.interval(curve.relief_mm, curve.relief_u_mm)}</p>"
        f"<p>largest at fret {curve.relief_at_fret}, between frets {first} and {last}</p></div>"
    )


def _findings_html(findings: tuple[Finding, ...], unit: LengthUnit) -> str:
    parts = ['<div class="plain"><h3>What this means</h3></div>']
    for finding in most_serious_first(findings):
        parts.append(
            f'<div class="finding {SEVERITY_CSS[finding.severity]}"><div class="tag">{esc(finding.severity)}</div>'
            f"<h3>{esc(finding.title)}</h3><p>{esc(in_unit(finding.text, unit))}</p></div>"
        )
    return "".join(parts)


def _rod_html(advice: RodAdvice, unit: LengthUnit) -> str:
    reasons = "".join(f"<p>{esc(in_unit(reason, unit))}</p>" for reason in advice.reasons)
    return (
        f'<div class="card"><div class="tag">Truss rod</div><h3 class="rod">{esc(advice.direction.capitalize())}</h3>'
        f"<p>{esc(in_unit(advice.text, unit))}</p>{reasons}{caution_html(advice.caution)}</div>"
    )


def _breadth(picture: bytes | None) -> float:
    """Share of the row's width, so that pictures side by side come out about equally tall."""
    if picture is None:
        return 0.8
    width, height = Image.open(io.BytesIO(picture)).size
    return min(1.6, max(0.75, width / height))


def _photo_html(photo: PhotoResult) -> str:
    parts = [f'<p class="photo-name">{esc(photo.name)}</p>']
    if photo.kind is not None:
        parts.append(f'<p class="quiet">{KIND_WORDS[photo.kind].capitalize()}</p>')
    if photo.status == "refused":
        parts.append(
            f'<p class="flag"><strong>Not used.</strong> {esc(sentence(photo.reason))} '
            f"<strong>{esc(sentence(photo.advice))}</strong></p>"
        )
    if photo.camera is not None:
        parts.append(
            f'<p class="quiet">Seen from {photo.camera.view_angle_deg:.0f}° above the board at '
            f"{photo.camera.distance_mm / 1000:.1f} m; {100 * photo.camera.usable_share:.0f} % of the frets usable.</p>"
        )
    # The flag that led to a refusal says the same as its reason.
    flags = [flag for flag in photo.flags if photo.reason is None or flag.text != photo.reason]
    return "".join(parts + [flag_html(flag) for flag in flags])
