"""A plain table: a bold head, thin rules, cells that wrap; rows stay whole."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from fpdf import FPDF
from fpdf.enums import Align, XPos, YPos

from app.palette import INK, LINE, rgb
from app.report.sheet import BODY, MARGIN_MM, TAG, Paragraph, Style, height_of, keep_room, set_style

PAD_MM = 0.9
_GAP_MM = 3.5


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its head, its width in mm, the side its cells stand on, and whether they are bold."""

    head: str
    width_mm: float
    align: Literal["left", "right"] = "left"
    bold: bool = False


def draw_table(pdf: FPDF, columns: Sequence[Column], rows: Sequence[Sequence[str]], style: Style = BODY) -> None:
    """Set the table from the present height on.

    Raises
    ------
    ValueError : a row has another number of cells than there are columns.
    """
    for row in rows:
        if len(row) != len(columns):
            raise ValueError(f"row={tuple(row)!r:.60} has {len(row)} cells for {len(columns)} columns")
    strong = Style(style.size_pt, style.line_mm, 0.0, bold=True)
    light = Style(style.size_pt, style.line_mm, 0.0)
    keep_room(pdf, 4 * style.line_mm)
    if any(column.head for column in columns):
        _draw_row(pdf, columns, [column.head for column in columns], [TAG] * len(columns), INK)
    for row in rows:
        _draw_row(pdf, columns, row, [strong if column.bold else light for column in columns], LINE)


def _draw_row(pdf: FPDF, columns: Sequence[Column], row: Sequence[str], styles: Sequence[Style], rule: str) -> None:
    heights = [
        height_of(pdf, (Paragraph(text, style),), column.width_mm - _GAP_MM)
        for text, style, column in zip(row, styles, columns, strict=True)
    ]
    tall = max([*heights, styles[0].line_mm]) + 2 * PAD_MM
    keep_room(pdf, tall)
    top, x = pdf.get_y(), MARGIN_MM
    for text, style, column in zip(row, styles, columns, strict=True):
        if text:
            set_style(pdf, style, text)
            right = column.align == "right"
            pdf.set_xy(x, top + PAD_MM)
            pdf.multi_cell(
                column.width_mm - _GAP_MM, style.line_mm, text, align=Align.R if right else Align.L,
                new_x=XPos.LEFT, new_y=YPos.NEXT,
            )  # fmt: skip
        x += column.width_mm
    pdf.set_draw_color(*rgb(rule))
    pdf.set_line_width(0.3 if rule == INK else 0.15)
    pdf.line(MARGIN_MM, top + tall, x, top + tall)
    pdf.set_y(top + tall)
