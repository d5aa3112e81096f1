"""What was not measured and not proven, and how the rest was: so that the other side can judge it."""

import math

from fpdf import FPDF

from app.corrections import correction_rows
from app.inspection.checks import CHECKS
from app.report.columns import write_columns
from app.report.content import Content
from app.report.plain_text import plain
from app.report.sheet import GUTTER_MM, SMALL, TAG, WIDTH_MM, Block, Paragraph, Style, heading, height_of
from vision.results import Measured

_TEXT = Style(7.8, 3.7, 0.7)
NOT_SHOWN = (
    "Photographs do not show string height, the board's radius, nut slots, loose frets, the neck's angle in its "
    "pocket, cracks under lacquer, or what the truss rod has left: those are as noted by eye and hand, or not known.",
    "It holds for that day, that tuning and that room: wood moves with humidity.",
    "Age, origin and earlier work are weighed as evidence; nothing here proves them.",
    "Costs are ranges, not quotes. The usual ranges are common practice of the trade, not a standard.",
)


def write_method(pdf: FPDF, content: Content, shortened: bool) -> None:
    """Both lists side by side. shortened: something was left out for want of room, which is said."""
    measured = content.outcome if isinstance(content.outcome, Measured) else None
    unseen = sum(content.checks[check.id].state == "not checked" for check in CHECKS)
    left = [f"{unseen} of {len(CHECKS)} other things were not looked at."] if unseen else []
    if measured is None:
        left.insert(0, "The neck itself is not measured.")
    if shortened:
        left.append("Texts and lists are shortened to fit three pages; the inspection's own file has all of it.")
    blocks: list[Block] = [
        (Paragraph("NOT MEASURED, NOT PROVEN", TAG), *(Paragraph(text, _TEXT) for text in (*left, *NOT_SHOWN))),
    ]
    if measured is not None:
        blocks.append((Paragraph("HOW IT WAS MEASURED", TAG), *_how(content, measured)))
    wide = (WIDTH_MM - GUTTER_MM) / 2 if len(blocks) == 2 else WIDTH_MM
    heading(pdf, "How far this goes", max(height_of(pdf, block, wide) for block in blocks))
    write_columns(pdf, blocks, columns=len(blocks))


def _how(content: Content, measured: Measured) -> tuple[Paragraph, ...]:
    p = measured.provenance
    first, last = p.span_frets
    tuning = "" if content.sighting is None else content.sighting.tuning
    corrections = correction_rows(measured, tuning, content.inspection.guitar.neck.lies_level, content.unit)
    residual = f"; its lines fit the pictures within {p.residual_px:.2f} px" if math.isfinite(p.residual_px) else ""
    how = (
        f"Frets stand at known places along a neck, which makes them a ruler: their lines were found in each "
        f"photograph to a fraction of a pixel, and one neck with one camera a photograph was fitted to all of them "
        f"by least squares{residual}.",
        f"Heights are read along each outer string against a straight line from the top of fret {first} to the top of "
        f"fret {last}, on the smooth curve of the neck, so that one high or worn fret does not move the relief.",
        "The intervals hold 95 %, which is 1.96 standard uncertainties either side, from the fit and from how well it "
        "fits; "
        f"widths of the board from: {plain(p.depth_from, 60)} ({p.nut_width_mm:.2f} mm at the nut, "
        f"{p.width_at_12_mm:.2f} mm at fret 12).",
    )
    corrected = " ".join(f"{name}: {words}" for name, words in corrections[:2])
    return (
        *(Paragraph(text, _TEXT) for text in how),
        Paragraph(plain(f"Corrections. {corrected} Measured by version {p.version}.", 420), SMALL),
    )
