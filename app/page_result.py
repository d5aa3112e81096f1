"""Step 3 of the page: what was measured, or why nothing could be."""

import io

import streamlit as st
from PIL import Image

from app import __version__
from app import page_state as state
from app.contract import contract_text, outcome_to_contract
from app.headline import decision, figures, headline, most_serious_first
from app.measuring import PhotoFile, Run
from app.overlay import KIND_WORDS
from app.page_corners import offer_corners
from app.page_html import esc, flag_html, sentence, show_step
from app.plots import fret_strip_figure, relief_figure, roll_figure
from app.wording import MILLIMETRES, UNITS, LengthUnit, degrees, in_unit
from vision.findings import Finding, RodAdvice, judge, truss_rod_advice
from vision.results import Measured, PhotoResult, Refused, SideCurve
from vision.settings import Thresholds

PHOTOS_A_ROW = 3
MARKS_HTML = (
    '<div class="marks"><span class="fret">fret top</span><span class="unused">fret not used</span>'
    '<span class="string">string and nut</span><span class="bass">under the bass string</span>'
    '<span class="treble">under the treble string</span></div>'
)
PLOT_CONFIG = {"displayModeBar": False, "responsive": True, "scrollZoom": False}


def show_run(run: Run, files: tuple[PhotoFile, ...], thresholds: Thresholds) -> None:
    """The whole result; files are the photographs it came from, in the same order."""
    show_step(3, "The result")
    if isinstance(run.outcome, Measured):
        _show_measured(run.outcome, thresholds)
    else:
        _show_refused(run.outcome)
    _show_photographs(run, files)
    _offer_download(run, thresholds)


def _show_measured(measured: Measured, thresholds: Thresholds) -> None:
    findings = judge(measured, thresholds)
    place = st.container()
    chosen = st.segmented_control(
        "Lengths in", list(UNITS), format_func=lambda key: UNITS[key].words, key=state.UNIT, required=True
    )
    unit = UNITS[chosen or MILLIMETRES.key]
    place.html(
        f'<div class="headline" role="status"><h2>{esc(headline(measured, findings, thresholds))}</h2>'
        f"<p>{esc(figures(measured, thresholds, unit))}</p><p>{esc(decision(findings))}</p></div>"
    )
    st.html(_figures_html(measured, unit) + "".join(flag_html(flag) for flag in measured.flags))
    st.html(
        '<div class="plain"><h3>The neck under a straight line from fret 1 to the last fret</h3>'
        '<p class="quiet">As if a straightedge lay on top: a forward bow hangs below it, a back-bow '
        "rises above it. "
        "The pale bands hold the neck with 95 % confidence.</p></div>"
    )
    st.plotly_chart(
        relief_figure(measured, thresholds, unit), theme=None, config=PLOT_CONFIG, key="_relief_plot"
    )
    left, right = st.columns(2, gap="medium")
    with left:
        _show_findings(findings, unit)
    with right:
        _show_rod(truss_rod_advice(measured, thresholds), unit)
    strip, roll = st.columns(2, gap="medium")
    with strip:
        st.html(
            '<div class="plain"><h3>Each fret against its neighbours</h3>'
            '<p class="quiet">Above the line stands high, below is low; the shaded range is '
            "harmless.</p></div>"
        )
        st.plotly_chart(
            fret_strip_figure(measured, thresholds, unit), theme=None, config=PLOT_CONFIG, key="_strip_plot"
        )
    with roll:
        st.html(
            '<div class="plain"><h3>Twist along the neck</h3>'
            '<p class="quiet">How far each fret is rolled against fret 1; the shaded range is not '
            "noticed.</p></div>"
        )
        st.plotly_chart(roll_figure(measured, thresholds), theme=None, config=PLOT_CONFIG, key="_roll_plot")


def _figures_html(measured: Measured, unit: LengthUnit) -> str:
    twist, interval = degrees(measured.twist.twist_deg, measured.twist.twist_u_deg)
    higher = "treble" if measured.twist.twist_deg > 0 else "bass"
    difference, u = measured.relief_difference_mm, measured.relief_difference_u_mm
    return (
        '<div class="grid">'
        + _side_html(measured.bass, measured, unit)
        + _side_html(measured.treble, measured, unit)
        + f'<div class="card both"><h3>Twist</h3><div class="figure">{twist}</div>'
        f"<p>95 %: {interval}</p><p>{higher} side higher at the last fret</p></div>"
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


def _show_findings(findings: tuple[Finding, ...], unit: LengthUnit) -> None:
    parts = ['<div class="plain"><h3>What this means</h3></div>']
    for finding in most_serious_first(findings):
        parts.append(
            f'<div class="finding {SEVERITY_CSS[finding.severity]}"><div '
            f'class="tag">{esc(finding.severity)}</div>'
            f"<h3>{esc(finding.title)}</h3><p>{esc(in_unit(finding.text, unit))}</p></div>"
        )
    st.html("".join(parts))


def _show_rod(advice: RodAdvice, unit: LengthUnit) -> None:
    reasons = "".join(f"<p>{esc(in_unit(reason, unit))}</p>" for reason in advice.reasons)
    st.html(
        f'<div class="card"><div class="tag">Truss rod</div><h3 '
        f'class="rod">{esc(advice.direction.capitalize())}</h3>'
        f"<p>{esc(in_unit(advice.text, unit))}</p>{reasons}"
        f'<p class="caution"><strong>Caution.</strong> {esc(advice.caution)}</p></div>'
    )


SEVERITY_CSS = {"fine": "good", "look closer": "notice", "fault": "serious", "cannot tell": "unknown"}


def _show_refused(refused: Refused) -> None:
    st.html(
        f'<div class="headline refused" role="alert"><h2>No measurement: {esc(refused.reason)}</h2>'
        f"<p><strong>What to do:</strong> {esc(sentence(refused.advice))}</p>"
        "<p>Nothing is lost: what you stated and uploaded stays as it is. Add or replace photographs "
        "above and "
        "measure again.</p></div>"
    )


def _show_photographs(run: Run, files: tuple[PhotoFile, ...]) -> None:
    st.html('<div class="plain"><h3>What was seen in each photograph</h3></div>')
    if any(photo.trace is not None for photo in run.outcome.photos):
        st.html(MARKS_HTML)
    for first in range(0, len(run.pictures), PHOTOS_A_ROW):
        row = range(first, min(first + PHOTOS_A_ROW, len(run.pictures)))
        breadths = [_breadth(run.pictures[index]) for index in row]
        # A single picture does not need the whole width of the page.
        spare = max(0.0, 2.2 - sum(breadths))
        columns = st.columns([*breadths, spare] if spare > 0.2 else breadths, gap="medium")
        for index, column in zip(row, columns, strict=False):
            with column:
                _show_photograph(run.outcome.photos[index], run.pictures[index])
    for index, (photo, file) in enumerate(zip(run.outcome.photos, files, strict=True)):
        if photo.status == "refused":
            offer_corners(file, index)


def _show_photograph(photo: PhotoResult, picture: bytes | None) -> None:
    if picture is not None:
        st.image(picture, alt=f"{photo.name} with what was seen drawn on it", width="stretch")
    st.html(_photo_html(photo))


def _breadth(picture: bytes | None) -> float:
    """Share of the row's width, so that pictures side by side come out about equally tall."""
    if picture is None:
        return 0.8
    width, height = Image.open(io.BytesIO(picture)).size
    return min(1.6, max(0.75, width / height))


def _photo_html(photo: PhotoResult) -> str:
    kind = KIND_WORDS[photo.kind] if photo.kind else "kind not recognised"
    parts = [f'<p class="photo-name">{esc(photo.name)}</p><p class="quiet">{kind}</p>']
    if photo.status == "refused":
        parts.append(
            f'<p class="flag"><strong>Not used.</strong> {esc(sentence(photo.reason))} '
            f"<strong>{esc(sentence(photo.advice))}</strong></p>"
        )
    if photo.camera is not None:
        parts.append(
            f'<p class="quiet">Seen from {photo.camera.view_angle_deg:.0f}° above the board at '
            f"{photo.camera.distance_mm / 1000:.1f} m; {100 * photo.camera.usable_share:.0f} % of the "
            f"frets usable.</p>"
        )
    # The flag that led to a refusal says the same as its reason.
    flags = [flag for flag in photo.flags if photo.reason is None or flag.text != photo.reason]
    return "".join(parts + [flag_html(flag) for flag in flags])


def _offer_download(run: Run, thresholds: Thresholds) -> None:
    text = contract_text(outcome_to_contract(run.outcome, thresholds, __version__))
    st.download_button(
        "Download all figures (JSON)",
        text,
        "neck-sighting.json",
        "application/json",
        key="_download",
        on_click="ignore",
    )
    if isinstance(run.outcome, Measured):
        with st.expander("How these figures came about"):
            st.html(_provenance_html(run.outcome))


def _provenance_html(measured: Measured) -> str:
    p = measured.provenance
    rows = (
        ("Scale length and frets, as stated", f"{measured.scale_length_mm:g} mm, {measured.frets} frets"),
        ("Widths of the board from", p.depth_from),
        ("Width at the nut", f"{p.nut_width_mm:.2f} mm, standard uncertainty {p.nut_width_u_mm:.2f} mm"),
        ("Width at fret 12", f"{p.width_at_12_mm:.2f} mm, standard uncertainty {p.width_at_12_u_mm:.2f} mm"),
        ("Fret lines fit the pictures within", f"{p.residual_px:.2f} px"),
        ("String sag added on the bass side", f"{p.string_sag_mm:.3f} mm"),
        ("Intervals", "95 %, which is 1.96 standard uncertainties either side"),
        ("Version", p.version),
    )
    body = "".join(f"<tr><td>{esc(name)}</td><td>{esc(value)}</td></tr>" for name, value in rows)
    return f'<table class="facts">{body}</table>'
