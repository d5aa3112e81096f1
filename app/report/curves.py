"""The neck in four panels over one row of frets: relief, single frets, roll, and the play test below them.

Cause and effect stand above one another: a note that buzzes lies under the fret that stands high.
"""

from collections.abc import Mapping

import numpy as np
from fpdf import FPDF
from fpdf.enums import Align

from app.palette import BASS, GOOD, INK, LINE, MUTED, NOTICE, SERIOUS, TREBLE, rgb
from app.report.panel import (
    LABEL,
    Mark,
    Panel,
    draw_band,
    draw_bar,
    draw_curve,
    draw_frame,
    draw_fret_numbers,
    draw_level,
    draw_mark,
    draw_range,
)
from app.report.sheet import MARGIN_MM, WIDTH_MM, keep_room, set_style, write_line
from app.wording import COVERAGE_95, LengthUnit
from vision.fit.frets import fret_positions_mm
from vision.results import Array, Measured, SideCurve
from vision.settings import Thresholds

LEFT_MM = 15.0  # for the values at the axis
RELIEF_MM, FRETS_MM, ROLL_MM, STRING_MM = 40.0, 22.0, 18.0, 2.7
TITLE_MM, NUMBERS_MM = 4.6, 4.4
COLOURS: dict[str, str] = {"bass": BASS, "treble": TREBLE}
MARKS: dict[str, Mark] = {"bass": "dot", "treble": "diamond"}
SOUND_MARKS: dict[str, tuple[str, Mark]] = {
    "fine": (GOOD, "dot"),
    "buzz": (NOTICE, "triangle"),
    "dead": (SERIOUS, "cross"),
    "choke": (INK, "square"),
}


def draw_curves(
    pdf: FPDF, measured: Measured, thresholds: Thresholds, unit: LengthUnit,
    notes: Mapping[tuple[int, int], str], strings: int,
) -> None:  # fmt: skip
    """All panels from the present height on, on one page.

    notes : (string, fret) to its sound, string 1 the highest; no panel for them where there are none.
    """
    z = fret_positions_mm(measured.scale_length_mm, measured.frets)
    notes_mm = TITLE_MM + STRING_MM * strings if notes else 0.0
    keep_room(pdf, RELIEF_MM + FRETS_MM + ROLL_MM + 3 * TITLE_MM + notes_mm + NUMBERS_MM)
    y = pdf.get_y() + TITLE_MM
    _draw_relief(pdf, measured, thresholds, unit, z, y)
    y += RELIEF_MM + TITLE_MM
    _draw_frets(pdf, measured, thresholds, unit, z, y)
    y += FRETS_MM + TITLE_MM
    lowest = _draw_roll(pdf, measured, thresholds, z, y)
    y += ROLL_MM
    if notes:
        lowest = _draw_notes(pdf, notes, strings, z, y + TITLE_MM)
        y += notes_mm
    draw_fret_numbers(pdf, lowest)
    write_line(pdf, "fret", LABEL, MARGIN_MM, y + 0.6, LEFT_MM - 1.5, Align.R)
    pdf.set_y(y + NUMBERS_MM)


def _panel(y_mm: float, height_mm: float, top: float, bottom: float, z: Array) -> Panel:
    return Panel(MARGIN_MM + LEFT_MM, y_mm, WIDTH_MM - LEFT_MM, height_mm, top, bottom, z)


def _draw_relief(
    pdf: FPDF, measured: Measured, thresholds: Thresholds, unit: LengthUnit, z: Array, y_mm: float
) -> None:
    """Both curves hang below a straight line from the first to the last fret of the span, as below a straightedge."""
    low, high = unit.of(thresholds.wanted_relief_low_mm), unit.of(thresholds.wanted_relief_high_mm)
    ends = np.concatenate([_interval(curve.gap_mm, curve.gap_u_mm, unit) for curve in (measured.bass, measured.treble)])
    lowest, highest = min(0.0, float(np.nanmin(ends))), max(high, float(np.nanmax(ends)))
    room = 0.1 * (highest - lowest)
    panel = _panel(y_mm, RELIEF_MM, lowest - 1.3 * room, highest + room, z)
    draw_range(pdf, panel, low, high)
    draw_frame(pdf, panel, f"Under the straight line, {unit.short}")
    first, last = (float(z[fret - 1]) for fret in measured.provenance.span_frets)
    draw_level(pdf, panel, 0.0, first, last)
    for curve in (measured.bass, measured.treble):
        ends = _interval(curve.gap_mm, curve.gap_u_mm, unit)
        draw_band(pdf, panel, ends[0], ends[1], COLOURS[curve.side])
    for curve in (measured.bass, measured.treble):
        draw_curve(pdf, panel, unit.of(1.0) * curve.gap_mm, COLOURS[curve.side], dashed=curve.side == "treble")
        at = curve.relief_at_fret - 1
        draw_mark(
            pdf, MARKS[curve.side], panel.x(float(z[at])), panel.y(panel.inside(unit.of(curve.relief_mm))),
            COLOURS[curve.side], 2.2,
        )  # fmt: skip
    start, end = measured.provenance.span_frets
    words = f"straight line from the top of fret {start} to the top of fret {end}: {last - first:.0f} mm"
    hangs = measured.bass.relief_mm + measured.treble.relief_mm >= 0.0  # the words keep to the other side of the line
    above, below = panel.y(0.0) - LABEL.line_mm - 0.2, panel.y(0.0) + 0.4
    write_line(pdf, words, LABEL, panel.x(first) + 1.0, above if hangs else below, 120.0)
    _draw_key(pdf, panel)


def _draw_key(pdf: FPDF, panel: Panel) -> None:
    """What the lines mean, at the right above the first panel."""
    y, x = panel.y_mm - 2.0, panel.x_mm + panel.width_mm
    for words, side in (("treble string", "treble"), ("bass string", "bass")):
        set_style(pdf, LABEL)
        wide = pdf.get_string_width(words)
        x -= wide
        write_line(pdf, words, LABEL, x, y - 1.4, wide + 1.0)
        x -= 10.5
        with pdf.local_context(draw_color=rgb(COLOURS[side]), line_width=0.5):
            if side == "treble":
                pdf.set_dash_pattern(dash=1.8, gap=1.0)
            pdf.line(x, y, x + 9.0, y)
            pdf.set_dash_pattern()
        draw_mark(pdf, MARKS[side], x + 4.5, y, COLOURS[side])
        x -= 5.0
    words = "pale bands: 95 %;  shaded: the usual range"
    set_style(pdf, LABEL)
    wide = pdf.get_string_width(words)
    write_line(pdf, words, LABEL, x - wide, y - 1.4, wide + 1.0)


def _draw_frets(pdf: FPDF, measured: Measured, thresholds: Thresholds, unit: LengthUnit, z: Array, y_mm: float) -> None:
    """Each fret's top above or below the smooth curve with its 95 % bar."""
    limit = unit.of(thresholds.fret_out_of_line_mm)
    ends = [_interval(curve.deviation_mm, curve.deviation_u_mm, unit) for curve in (measured.bass, measured.treble)]
    reach = 1.1 * _reach(ends, limit)
    panel = _panel(y_mm, FRETS_MM, reach, -reach, z)
    draw_range(pdf, panel, -limit, limit)
    draw_frame(pdf, panel, f"Each fret above (+) or below the smooth curve of its side, {unit.short}; shaded: harmless")
    draw_level(pdf, panel, 0.0, 0.0, float(z[-1]))
    for curve, (low, high), shift_mm in zip((measured.bass, measured.treble), ends, (-0.75, 0.75), strict=True):
        _draw_fret_marks(pdf, panel, curve, low, high, shift_mm, unit)


def _draw_fret_marks(
    pdf: FPDF, panel: Panel, curve: SideCurve, low: Array, high: Array, shift_mm: float, unit: LengthUnit
) -> None:
    for k, value_mm in enumerate(curve.deviation_mm.tolist()):
        if not (np.isfinite(value_mm) and np.isfinite(low[k])):
            continue  # not seen: no mark rather than one at zero
        x = panel.x(float(panel.fret_z_mm[k])) + shift_mm
        draw_bar(pdf, panel, x, float(low[k]), float(high[k]), COLOURS[curve.side])
        draw_mark(pdf, MARKS[curve.side], x, panel.y(panel.inside(unit.of(value_mm))), COLOURS[curve.side], 1.4)


def _draw_roll(pdf: FPDF, measured: Measured, thresholds: Thresholds, z: Array, y_mm: float) -> Panel:
    limit = thresholds.twist_noticed_deg
    half = COVERAGE_95 * measured.twist.roll_u_deg
    low, high = measured.twist.roll_deg - half, measured.twist.roll_deg + half
    reach = 1.1 * _reach([np.stack([low, high])], limit)
    panel = _panel(y_mm, ROLL_MM, reach, -reach, z)
    draw_range(pdf, panel, -limit, limit)
    draw_frame(pdf, panel, "Roll of each fret against fret 1, degrees, treble side higher (+); shaded: not noticed")
    draw_level(pdf, panel, 0.0, 0.0, float(z[-1]))
    draw_band(pdf, panel, low, high, INK)
    draw_curve(pdf, panel, measured.twist.roll_deg, INK)
    return panel


def _draw_notes(pdf: FPDF, notes: Mapping[tuple[int, int], str], strings: int, z: Array, y_mm: float) -> Panel:
    """The fingerboard with a mark for each note played, in the space behind its fret; the open string at the nut."""
    panel = _panel(y_mm, STRING_MM * strings, 0.5, strings + 0.5, z)
    heard = [sound for sound in SOUND_MARKS if sound in notes.values()]
    write_line(pdf, "Play test, the highest string on top", LABEL, panel.x_mm, panel.y_mm - 3.4, 80.0)
    x = panel.x_mm + 46.0
    for sound in heard:
        colour, mark = SOUND_MARKS[sound]
        draw_mark(pdf, mark, x, panel.y_mm - 2.0, colour)
        write_line(pdf, sound, LABEL, x + 1.8, panel.y_mm - 3.4, 20.0)
        x += 14.0
    with pdf.local_context(draw_color=rgb(LINE), line_width=0.12):
        for place in z:
            pdf.line(panel.x(float(place)), panel.y_mm, panel.x(float(place)), panel.y_mm + panel.height_mm)
        for string in range(1, strings + 1):
            pdf.line(panel.x_mm, panel.y(string), panel.x(float(z[-1])), panel.y(string))
    with pdf.local_context(draw_color=rgb(MUTED), line_width=0.6):
        pdf.line(panel.x(0.0), panel.y_mm, panel.x(0.0), panel.y_mm + panel.height_mm)
    for (string, fret), sound in sorted(notes.items()):
        if string > strings or fret > len(z):
            continue
        colour, mark = SOUND_MARKS[sound]
        at = panel.x(float(z[fret - 1])) - 1.3 if fret else panel.x(0.0) - 2.0
        draw_mark(pdf, mark, at, panel.y(string), colour, 1.1 if sound == "fine" else 1.9)
    return panel


def _interval(value: Array, u: Array, unit: LengthUnit) -> Array:
    """(2, N) ends of the 95 % interval in unit."""
    half = COVERAGE_95 * u
    return np.asarray(unit.of(1.0) * np.stack([value - half, value + half]))


def _reach(ends: list[Array], limit: float) -> float:
    """The largest size among all finite ends, at least the limit, above nothing."""
    every = np.concatenate([np.ravel(each) for each in ends])
    finite = np.abs(every[np.isfinite(every)])
    return max(float(finite.max(initial=0.0)), limit, 1e-3)
