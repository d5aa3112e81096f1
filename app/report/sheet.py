"""The paper: A4 with margins and a footer, paragraphs of a few styles, and room kept for what must stay together."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from fpdf import FPDF
from fpdf.enums import Align, MethodReturnValue, XPos, YPos

from app.palette import ACCENT, INK, LINE, MUTED, rgb
from app.report.fonts import FAMILY, add_fonts
from app.report.plain_text import needs_shaping, plain, tied

MARGIN_MM, TOP_MM, BOTTOM_MM = 17.0, 13.0, 15.0
PAGE_WIDTH_MM, PAGE_HEIGHT_MM = 210.0, 297.0
WIDTH_MM = PAGE_WIDTH_MM - 2 * MARGIN_MM
END_MM = PAGE_HEIGHT_MM - BOTTOM_MM
GUTTER_MM = 7.0


@dataclass(frozen=True, slots=True)
class Style:
    """How a paragraph is set: size in points, line height and the space after it in mm."""

    size_pt: float
    line_mm: float
    after_mm: float
    bold: bool = False
    colour: str = INK


TITLE = Style(17.0, 7.2, 1.0, bold=True)
HEADING = Style(11.5, 5.2, 1.6, bold=True, colour=ACCENT)
LEAD = Style(10.5, 5.0, 0.8, bold=True)
BODY = Style(8.6, 4.1, 0.8)
BOLD = Style(8.6, 4.1, 0.3, bold=True)
SMALL = Style(7.5, 3.6, 0.6, colour=MUTED)
TAG = Style(7.0, 3.4, 0.2, bold=True, colour=MUTED)


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Text in a style, already plain."""

    text: str
    style: Style = BODY


Block = tuple[Paragraph, ...]  # stays together


class Sheet(FPDF):
    """The document, with its footer on every page. Pages are broken by `keep_room`, never inside a paragraph."""

    def __init__(self, fonts: Path, title: str, foot: str, made_on: datetime) -> None:
        super().__init__("P", "mm", "A4")
        add_fonts(self, fonts)
        self.set_margins(MARGIN_MM, TOP_MM, MARGIN_MM)
        self.set_auto_page_break(False)
        self.c_margin = 0.0
        self.set_title(title)
        self.set_creation_date(made_on)
        self._name, self._foot = title, foot
        self.add_page()

    def footer(self) -> None:
        """Whose page it is, by which version, and which of how many."""
        self.set_draw_color(*rgb(LINE))
        self.set_line_width(0.2)
        self.line(MARGIN_MM, END_MM + 3.0, PAGE_WIDTH_MM - MARGIN_MM, END_MM + 3.0)
        self.set_xy(MARGIN_MM, END_MM + 4.0)
        set_style(self, SMALL, self._foot)
        name = fitted(self, self._name, SMALL, WIDTH_MM - 24.0 - self.get_string_width(self._foot))
        set_style(self, SMALL, name + self._foot)
        self.cell(WIDTH_MM - 24.0, 4.0, name + self._foot)
        set_style(self, SMALL)
        self.cell(24.0, 4.0, f"{self.page_no()} / {{nb}}", align=Align.R)


def day(time: datetime) -> str:
    """A day in words that no country reads another way round."""
    return time.strftime("%d %b %Y").lstrip("0")


def set_style(pdf: FPDF, style: Style, text: str = "") -> None:
    """Font, colour and, where the text asks for it, shaping for what is written next."""
    pdf.set_font(FAMILY, "B" if style.bold else "", style.size_pt)
    pdf.set_text_color(*rgb(style.colour))
    pdf.set_text_shaping(needs_shaping(text))


def write(pdf: FPDF, paragraph: Paragraph, x_mm: float = MARGIN_MM, width_mm: float = WIDTH_MM) -> None:
    """Set a paragraph at the present height; what follows stands below it."""
    if not paragraph.text:
        return
    style = paragraph.style
    set_style(pdf, style, paragraph.text)
    pdf.set_x(x_mm)
    pdf.multi_cell(
        width_mm, style.line_mm, tied(paragraph.text), align=Align.L, new_x=XPos.LEFT, new_y=YPos.NEXT, markdown=False
    )
    pdf.set_y(pdf.get_y() + style.after_mm)


def write_line(
    pdf: FPDF, text: str, style: Style, x_mm: float, y_mm: float, width_mm: float, align: Align = Align.L
) -> None:
    """Set one short text in a box of the style's line height, the present height unchanged afterwards."""
    before = pdf.get_y()
    set_style(pdf, style, text)
    pdf.set_xy(x_mm, y_mm)
    pdf.cell(width_mm, style.line_mm, text, align=align)
    pdf.set_y(before)


def height_of(pdf: FPDF, block: Block, width_mm: float) -> float:
    """How tall a block comes out in mm."""
    total = 0.0
    for paragraph in block:
        if paragraph.text:
            style = paragraph.style
            set_style(pdf, style, paragraph.text)
            height = pdf.multi_cell(
                width_mm, style.line_mm, tied(paragraph.text), align=Align.L,
                dry_run=True, output=MethodReturnValue.HEIGHT,
            )  # fmt: skip
            total += float(height) + style.after_mm  # type: ignore[arg-type]  # one value was asked for
    return total


def room_mm(pdf: FPDF) -> float:
    """What is left of the page below the present height."""
    return END_MM - pdf.get_y()


def keep_room(pdf: FPDF, height_mm: float) -> None:
    """Go on to a new page unless height_mm fits on this one."""
    if height_mm > room_mm(pdf) and pdf.get_y() > TOP_MM:
        pdf.add_page()


def heading(pdf: FPDF, text: str, follows_mm: float = 18.0) -> None:
    """A heading below a thin rule, on the page of what follows it."""
    keep_room(pdf, HEADING.line_mm + 4.0 + follows_mm)
    if pdf.get_y() > TOP_MM:
        y = pdf.get_y() + 3.2
        pdf.set_draw_color(*rgb(LINE))
        pdf.set_line_width(0.25)
        pdf.line(MARGIN_MM, y, MARGIN_MM + WIDTH_MM, y)
        pdf.set_y(y + 1.4)
    write(pdf, Paragraph(text, HEADING))


def fitted(pdf: FPDF, text: str, style: Style, width_mm: float) -> str:
    """The text cut to one line of width_mm."""
    set_style(pdf, style, text)
    most = len(text)
    while most > 1 and pdf.get_string_width(plain(text, most)) > width_mm:
        most = min(most - 1, int(most * width_mm / pdf.get_string_width(plain(text, most))) + 1)
    return plain(text, max(1, most)) if text else ""
