"""The first part: which guitar, what was measured on its neck and how sure that is, and what it means."""

from fpdf import FPDF

from app.headline import decision, figures, headline, most_serious_first
from app.palette import ACCENT, rgb
from app.report.columns import write_columns
from app.report.content import Content
from app.report.curves import draw_curves
from app.report.density import Density
from app.report.plain_text import plain, sentence
from app.report.sheet import (
    BODY,
    BOLD,
    LEAD,
    MARGIN_MM,
    SMALL,
    TAG,
    TITLE,
    WIDTH_MM,
    Block,
    Paragraph,
    day,
    heading,
    height_of,
    keep_room,
    write,
)
from app.report.table import Column, draw_table
from app.wording import MILLIMETRES, THOUSANDTHS, degrees, higher_side, in_unit, money
from vision.findings import Finding
from vision.results import Measured, Refused, SideCurve

TITLE_LETTERS = 110
_WEIGHTY = ("fault", "look closer")
FIGURE_COLUMNS = (
    Column("", 44.0, bold=True),
    Column("millimetres", 21.0, "right", bold=True),
    Column("95 % interval", 30.0, "right"),
    Column("1/1000 inch", 25.0, "right", bold=True),
    Column("95 % interval", 27.0, "right"),
    Column("where", 29.0),
)


def write_guitar(pdf: FPDF, content: Content) -> None:
    """The guitar in the user's words, place and day, what is stated about it."""
    guitar, neck = content.inspection.guitar, content.inspection.guitar.neck
    write(pdf, Paragraph(plain(guitar.title, TITLE_LETTERS) or "A guitar without a name", TITLE))
    seen = [f"Seen: {plain(guitar.place_seen, 80)}"] if guitar.place_seen.strip() else []
    if content.sighting is not None and content.sighting.measurement is not None:
        seen.append(f"measured {day(content.sighting.measurement.measured_at)}")
    seen += [f"page made {day(content.made_on)}", f"Neck Sighting, version {plain(content.version, 24)}"]
    write(pdf, Paragraph("  ·  ".join(seen), BODY))
    stated = [
        f"serial {plain(guitar.serial, 50)}" if guitar.serial.strip() else "",
        f"year claimed: {plain(guitar.year_claimed, 50)}" if guitar.year_claimed.strip() else "",
        f"scale length {neck.scale_length_mm:g} mm" if neck.scale_length_mm is not None else "",
        f"{neck.frets} frets" if neck.frets is not None else "",
        "left-handed" if neck.left_handed else "",
        f"asking price {money(guitar.asking_price, plain(guitar.currency, 8))}" if guitar.asking_price else "",
    ]
    if any(stated):
        write(pdf, Paragraph("As stated, not checked: " + "  ·  ".join(each for each in stated if each), SMALL))


def write_result(pdf: FPDF, content: Content, density: Density) -> None:
    """The result in one box: measured, refused with its reason, or not measured yet."""
    outcome = content.outcome
    letters = density.text_letters
    if isinstance(outcome, Measured):
        thousandths = figures(outcome, content.thresholds, THOUSANDTHS)
        block: Block = (
            Paragraph(headline(outcome, content.findings, content.thresholds) + ".", LEAD),
            Paragraph(figures(outcome, content.thresholds, MILLIMETRES)),
            Paragraph(plain(thousandths, letters) if content.unit.key == THOUSANDTHS.key else ""),
            Paragraph(plain(decision(content.findings), letters)),
        )
    elif isinstance(outcome, Refused):
        block = (
            Paragraph(plain(f"No measurement: {outcome.reason}", letters), LEAD),
            Paragraph(plain(f"What to do: {sentence(outcome.advice)}", letters)),
            Paragraph("No figure is given, since none could be trusted."),
        )
    else:
        block = (
            Paragraph("The neck is not measured yet.", LEAD),
            Paragraph("Photograph it along both outer strings and from the front. What follows is by eye and hand."),
        )
    _write_boxed(pdf, block)


def write_figures(pdf: FPDF, content: Content, measured: Measured) -> None:
    """Every figure in both units with its 95 % interval."""
    pdf.set_y(pdf.get_y() + 1.2)
    twist, interval = degrees(measured.twist.twist_deg, measured.twist.twist_u_deg)
    higher = higher_side(measured.twist.twist_deg, measured.twist.twist_u_deg)
    difference, u = measured.relief_difference_mm, measured.relief_difference_u_mm
    rows = [
        _side_row(measured.bass),
        _side_row(measured.treble),
        ("Bass minus treble", *_lengths(difference, u), ""),
        ("Twist, fret 1 to the last", twist, interval, "", "", higher),
    ]
    draw_table(pdf, FIGURE_COLUMNS, rows)
    for flag in measured.flags[:3]:
        write(pdf, Paragraph(plain(f"Note: {sentence(flag.text)}", 260), SMALL))
    low, high = content.thresholds.wanted_relief_low_mm, content.thresholds.wanted_relief_high_mm
    first, last = measured.provenance.span_frets
    write(
        pdf,
        Paragraph(
            f"Relief: the largest gap of the smooth neck curve below a straight line between frets {first} and {last}; "
            f"+ bends forwards, as usual. Usual: {MILLIMETRES.number(low)} to {MILLIMETRES.text(high)} "
            f"({THOUSANDTHS.number(low)} to {THOUSANDTHS.text(high)}), common practice of the trade.",
            SMALL,
        ),
    )


def write_curves(pdf: FPDF, content: Content, measured: Measured) -> None:
    """The panels over the frets."""
    pdf.set_y(pdf.get_y() + 1.0)
    neck = content.inspection.guitar.neck
    draw_curves(pdf, measured, content.thresholds, content.unit, content.notes, neck.strings)


def write_meaning(pdf: FPDF, content: Content, density: Density) -> None:
    """Findings in words, and what the rod can and cannot do, with its caution."""
    heading(pdf, "What this means")
    letters, unit = density.text_letters, content.unit
    found = most_serious_first(content.findings)[: density.findings]
    weighty = [finding for finding in found if finding.severity in _WEIGHTY]
    blocks: list[Block] = [_finding_block(finding, content, letters) for finding in weighty]
    if content.rod is not None:
        rod = content.rod
        blocks.append(
            (
                Paragraph("TRUSS ROD", TAG),
                Paragraph(plain(rod.direction, 90).capitalize(), BOLD),
                Paragraph(plain(in_unit(" ".join((rod.text, *rod.reasons)), unit), letters)),
                Paragraph(plain(f"Caution. {rod.caution}", 420), SMALL),
            )
        )
    blocks += [_finding_block(finding, content, letters) for finding in found if finding.severity not in _WEIGHTY]
    if len(content.findings) > len(found):
        blocks.append((Paragraph(f"And {len(content.findings) - len(found)} more of less weight.", SMALL),))
    if content.turned is not None:
        text = f"After {content.turned.turns:+g} turns since the set before: {content.turned.advice.text}"
        blocks.append((Paragraph("ROD TURNED", TAG), Paragraph(plain(in_unit(text, unit), letters))))
    write_columns(pdf, blocks)


def _finding_block(finding: Finding, content: Content, letters: int) -> Block:
    return (
        Paragraph(finding.severity.upper(), TAG),
        Paragraph(plain(finding.title, 90), BOLD),
        Paragraph(plain(in_unit(finding.text, content.unit), letters)),
    )


def _side_row(curve: SideCurve) -> tuple[str, ...]:
    return (
        f"Relief, {curve.side} string",
        *_lengths(curve.relief_mm, curve.relief_u_mm),
        f"at fret {curve.relief_at_fret}",
    )


def _lengths(value_mm: float, u_mm: float) -> tuple[str, str, str, str]:
    """A length with its interval in mm, then in thousandths of an inch."""
    return (
        MILLIMETRES.number(value_mm, sign=True),
        MILLIMETRES.interval(value_mm, u_mm).removesuffix(f" {MILLIMETRES.short}"),
        THOUSANDTHS.number(value_mm, sign=True),
        THOUSANDTHS.interval(value_mm, u_mm).removesuffix(f" {THOUSANDTHS.short}"),
    )


def _write_boxed(pdf: FPDF, block: Block) -> None:
    """A block with a bar at its left."""
    inset = 4.0
    tall = height_of(pdf, block, WIDTH_MM - inset)
    keep_room(pdf, tall + 3.0)
    top = pdf.get_y() + 1.4
    pdf.set_y(top)
    for paragraph in block:
        write(pdf, paragraph, MARGIN_MM + inset, WIDTH_MM - inset)
    with pdf.local_context(fill_color=rgb(ACCENT)):
        pdf.rect(MARGIN_MM, top, 1.1, tall, style="F")
