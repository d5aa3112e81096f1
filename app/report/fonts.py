"""The fonts of the page, from a package and never from the system: embedded, so that every viewer shows the same.

FiraGO covers the languages of Europe with Hebrew and Arabic; Noto Sans stands in where it lacks a sign, such as a
rare currency. Both are under the SIL Open Font License 1.1.
"""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

import pymupdf_fonts
from fontTools.ttLib import TTFont
from fpdf import FPDF
from fpdf.fonts import TTFFont

FAMILY, STAND_IN = "page", "standin"
_FONTS = ((FAMILY, "", "figo"), (FAMILY, "B", "figbo"), (STAND_IN, "", "notos"), (STAND_IN, "B", "notosbo"))


@contextmanager
def font_files() -> Iterator[Path]:
    """A folder with the font files, for as long as a PDF is being made: the library reads them by path."""
    with TemporaryDirectory(prefix="fonts-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        for _, _, code in _FONTS:
            with TTFont(io.BytesIO(pymupdf_fonts.myfont(code)), recalcTimestamp=False) as font:
                if "TTFA" in font:  # notes of the hinting program, which subsetting cannot take over
                    del font["TTFA"]
                font.save(folder / f"{code}.ttf")
        yield folder


def add_fonts(pdf: FPDF, folder: Path) -> None:
    """Make both families known to the document."""
    for family, style, code in _FONTS:
        pdf.add_font(family, "B" if style else "", folder / f"{code}.ttf")
    pdf.set_fallback_fonts([STAND_IN], exact_match=False)


def close_fonts(pdf: FPDF) -> None:
    """Let go of the font files, which the library keeps open for as long as the document lives."""
    for font in pdf.fonts.values():
        if isinstance(font, TTFFont):
            font.ttfont.close()
