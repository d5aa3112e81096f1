"""An inspection as a PDF of two or three pages, to be shown to the other side."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from app.record.inspection import Inspection
from app.report.content import Content, gather
from app.report.decision_part import write_decision
from app.report.density import DENSITIES, Density
from app.report.fonts import close_fonts, font_files
from app.report.inspection_part import check_photo_titles, write_inspection
from app.report.measured_part import write_curves, write_figures, write_guitar, write_meaning, write_result
from app.report.method_part import write_method
from app.report.photo_part import write_photographs
from app.report.pictures import NAME_LETTERS, Picture, ReadPhoto, check_picture, sighted_picture
from app.report.plain_text import plain
from app.report.sheet import Sheet, day
from app.wording import MILLIMETRES, LengthUnit
from vision.results import Measured

PAGES_MAX = 3
CHECK_PHOTOS_MAX = max(density.check_photos for density in DENSITIES)
PHOTOS_MAX = max(density.photos for density in DENSITIES)


def report_pdf(
    inspection: Inspection,
    read_photo: ReadPhoto,
    version: str,
    made_on: datetime,
    unit: LengthUnit = MILLIMETRES,
    sighting_index: int | None = None,
) -> bytes:
    """The page to show, as the bytes of a PDF file.

    What would need more room than three pages is told in fewer words, photographs and rows, the weightiest first.
    Every picture in it is made anew from pixels, without location. Equal arguments give equal bytes.

    Parameters
    ----------
    read_photo : SHA-256 of a kept photograph to its bytes, as `PhotoStore.get`; where it raises RecordProblem, the
        page says why the photograph is missing.
    version : of this program. made_on : the day written on the page.
    unit : lengths in plots and findings; the figures are given in mm and thousandths of an inch in any case.
    sighting_index : which set of photographs; without it, the set that the decision rests on.

    Raises
    ------
    ValueError : there is no such set, or an answer or measurement of the inspection cannot be read; the message
        names it.
    """
    content = gather(inspection, version, made_on, unit, sighting_index)
    sighted, checked = _sighted(content, read_photo), _checked(content, read_photo)
    with font_files() as fonts:
        drawn: list[_Drawn] = []
        try:
            for density in DENSITIES:
                drawn.append(_drawn(content, sighted, checked, density, fonts))
                if drawn[-1].parted:
                    break
            return bytes(_best(drawn).output())
        finally:
            for each in drawn:
                close_fonts(each.sheet)


@dataclass(frozen=True, slots=True)
class _Drawn:
    """One attempt. parted: the money has the last of at most three pages to itself."""

    sheet: Sheet
    parted: bool


def _best(drawn: Sequence[_Drawn]) -> Sheet:
    """The one with the money apart; else the fullest on three pages; else the one with the fewest words."""
    fitting = [each.sheet for each in drawn if each.sheet.pages_count <= PAGES_MAX]
    return drawn[-1].sheet if drawn[-1].parted or not fitting else fitting[0]


def _drawn(
    content: Content, sighted: Sequence[Picture], checked: Sequence[Picture], density: Density, fonts: Path
) -> _Drawn:
    title = plain(content.inspection.guitar.title, 80) or "Inspection of a guitar"
    sheet = Sheet(
        fonts, title, f", {day(content.made_on)}, Neck Sighting {plain(content.version, 24)}", content.made_on
    )
    write_guitar(sheet, content)
    write_result(sheet, content, density)
    if isinstance(content.outcome, Measured):
        write_figures(sheet, content, content.outcome)
        write_curves(sheet, content, content.outcome)
        write_meaning(sheet, content, density)
    write_photographs(sheet, content, sighted, density)
    write_inspection(sheet, content, checked, density)
    write_method(sheet, content, shortened=density is not DENSITIES[0])
    apart = sheet.page_no() < PAGES_MAX
    if apart:
        sheet.add_page()
    write_decision(sheet, content, density)
    return _Drawn(sheet, apart and sheet.page_no() <= PAGES_MAX)


def _sighted(content: Content, read_photo: ReadPhoto) -> list[Picture]:
    """The set's photographs with what was seen in them, as many as may be shown; the rest by name alone."""
    if content.sighting is None:
        return []
    results = content.outcome.photos if content.outcome is not None else ()
    pictures = []
    for place, photo in enumerate(content.sighting.photos):
        result = results[place] if place < len(results) else None
        if place < PHOTOS_MAX:
            pictures.append(sighted_picture(photo, result, read_photo))
        else:
            pictures.append(Picture(None, 4, 3, "", (f"{plain(photo.name, NAME_LETTERS)}.",)))
    return pictures


def _checked(content: Content, read_photo: ReadPhoto) -> list[Picture]:
    """Photographs kept with findings, faults first."""
    pictures = []
    for key, title in check_photo_titles(content)[:CHECK_PHOTOS_MAX]:
        photo = content.inspection.checks[key].photo
        if photo is not None:
            pictures.append(check_picture(photo, title, read_photo))
    return pictures
