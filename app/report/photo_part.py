"""The photographs in rows of equal height, each with its kind, view angle and flags below it."""

import io
from collections.abc import Sequence

from fpdf import FPDF

from app.palette import LINE, MUTED, rgb
from app.report.content import Content
from app.report.density import Density
from app.report.pictures import Picture
from app.report.plain_text import plain
from app.report.sheet import (
    BOLD,
    GUTTER_MM,
    MARGIN_MM,
    SMALL,
    WIDTH_MM,
    Paragraph,
    Style,
    heading,
    height_of,
    keep_room,
    write,
)

A_ROW = 3
CAPTION_MM = 44.0
_CAPTION = Style(7.2, 3.3, 0.3)


def write_photographs(pdf: FPDF, content: Content, pictures: Sequence[Picture], density: Density) -> None:
    """The set's photographs; those that find no room are named."""
    heading(pdf, "The photographs, and what was seen in them", density.photo_mm)
    if not pictures:
        write(pdf, Paragraph("There are no photographs of this neck."))
        return
    shown = pictures[: density.photos]
    tall = density.photo_mm if len(shown) <= A_ROW else 0.72 * density.photo_mm
    draw_rows(pdf, shown, tall, density.text_letters // 4)
    if content.outcome is not None and any(photo.trace is not None for photo in content.outcome.photos):
        write(
            pdf,
            Paragraph(
                "Blue lines: fret tops as found; broken pink: not used; yellow: strings and nut; dots: the points "
                "measured under the outer strings.",
                SMALL,
            ),
        )
    if len(pictures) > len(shown):
        names = " ".join(picture.lines[0] for picture in pictures[len(shown) :])
        write(pdf, Paragraph(plain(f"Not shown for want of room: {names}", 240), SMALL))


def draw_rows(pdf: FPDF, pictures: Sequence[Picture], tall_mm: float, letters: int, a_row: int = A_ROW) -> None:
    """Pictures with their captions, a_row beside each other, none taller than tall_mm."""
    for first in range(0, len(pictures), a_row):
        row = pictures[first : first + a_row]
        height, widths = row_shape([p.width_px / p.height_px for p in row], tall_mm)
        captions = [
            (Paragraph(plain(p.title, 60), BOLD), *(Paragraph(plain(line, letters), _CAPTION) for line in p.lines))
            for p in row
        ]
        below = [height_of(pdf, caption, wide) for caption, wide in zip(captions, widths, strict=True)]
        keep_room(pdf, height + 1.4 + max(below))
        top, x = pdf.get_y(), MARGIN_MM
        for picture, caption, wide in zip(row, captions, widths, strict=True):
            _draw_picture(pdf, picture, x, top, wide, height)
            pdf.set_y(top + height + 1.4)
            for paragraph in caption:
                write(pdf, paragraph, x, wide)
            x += wide + GUTTER_MM
        pdf.set_y(top + height + 1.4 + max(below) + 1.0)


def row_shape(ratios: Sequence[float], tall_mm: float) -> tuple[float, list[float]]:
    """The height that pictures of these ratios (width to height) share in one row, and the width of each place.

    A place is never narrower than a caption needs, so a slender picture leaves some of it free.
    """
    spare = WIDTH_MM - (len(ratios) - 1) * GUTTER_MM
    narrow = min(CAPTION_MM, spare / len(ratios))
    height = tall_mm
    while sum(max(narrow, height * ratio) for ratio in ratios) > spare and height > 1.0:
        height -= 0.5
    return height, [max(narrow, height * ratio) for ratio in ratios]


def _draw_picture(pdf: FPDF, picture: Picture, x_mm: float, y_mm: float, wide_mm: float, tall_mm: float) -> None:
    """The picture at the left of its place, or an empty frame with the reason."""
    if picture.jpeg is None:
        with pdf.local_context(draw_color=rgb(LINE), line_width=0.3):
            pdf.rect(x_mm, y_mm, wide_mm, tall_mm)
        pdf.set_y(y_mm + 2.0)
        write(pdf, Paragraph(plain(picture.problem, 160), SMALL), x_mm + 2.0, wide_mm - 4.0)
        return
    width = min(wide_mm, tall_mm * picture.width_px / picture.height_px)
    pdf.image(io.BytesIO(picture.jpeg), x_mm, y_mm, width, tall_mm)
    with pdf.local_context(draw_color=rgb(MUTED), line_width=0.15):
        pdf.rect(x_mm, y_mm, width, tall_mm)
