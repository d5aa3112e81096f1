"""One panel of a drawing over the frets at their true places: its axes, bands, lines and marks as PDF vectors.

Panels of one width and neck that stand above one another line up fret by fret. Drawn for paper: what differs by colour
differs by dash or shape too.
"""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Literal

import numpy as np
from fpdf import FPDF
from fpdf.enums import Align

from app.overlay import NUMBER_ROOM_PX, numbered_frets
from app.palette import INK, LINE, MUTED, WANTED, rgb
from app.report.sheet import Style, write_line
from app.wording import signed
from vision.results import Array

LABEL = Style(6.6, 2.8, 0.0, colour=MUTED)
NUMBER_ROOM_MM = 3.0
END_ROOM_MM = 9.0  # of neck beyond the last fret
Mark = Literal["dot", "diamond", "triangle", "cross", "square"]


@dataclass(frozen=True, slots=True)
class Panel:
    """A panel on the page. top_value and bottom_value are drawn at its edges; top may be the smaller one.

    fret_z_mm : (N,) places of the frets on the neck, mm from the nut, which stands at the left edge.
    """

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    top_value: float
    bottom_value: float
    fret_z_mm: Array

    def x(self, z_mm: float) -> float:
        """Across the page, mm, of a place on the neck."""
        return self.x_mm + self.width_mm * z_mm / (float(self.fret_z_mm[-1]) + END_ROOM_MM)

    def y(self, value: float) -> float:
        """Down the page, mm, of a value."""
        share = (value - self.top_value) / (self.bottom_value - self.top_value)
        return self.y_mm + self.height_mm * share

    def inside(self, value: float) -> float:
        """The value, held within the panel."""
        low, high = sorted((self.top_value, self.bottom_value))
        return min(max(value, low), high)


def steps(low: float, high: float, most: int = 5) -> list[float]:
    """Round values between low and high, at most about `most`, a step of 1, 2 or 5 times a power of ten apart."""
    if not (math.isfinite(low) and math.isfinite(high)) or high <= low:
        raise ValueError(f"low={low!r}, high={high!r} span no range")
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * each for each in (1.0, 2.0, 5.0, 10.0) if power * each >= rough * (1 - 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(k * step, 10) for k in range(first, last + 1)]


def draw_frame(pdf: FPDF, panel: Panel, title: str) -> None:
    """Title above, the frets as thin lines through the panel, round values at the left."""
    write_line(pdf, title, LABEL, panel.x_mm, panel.y_mm - 3.4, panel.width_mm)
    with pdf.local_context(draw_color=rgb(LINE), line_width=0.12):
        for z in panel.fret_z_mm:
            pdf.line(panel.x(float(z)), panel.y_mm, panel.x(float(z)), panel.y_mm + panel.height_mm)
    with pdf.local_context(draw_color=rgb(MUTED), line_width=0.6):
        pdf.line(panel.x(0.0), panel.y_mm, panel.x(0.0), panel.y_mm + panel.height_mm)  # the nut
    low, high = sorted((panel.top_value, panel.bottom_value))
    values = steps(low, high)
    decimals = max(0, -math.floor(math.log10(min(abs(v) for v in values if v) + 1e-12))) if any(values) else 0
    for value in values:
        with pdf.local_context(draw_color=rgb(LINE), line_width=0.1):
            pdf.line(panel.x_mm - 1.0, panel.y(value), panel.x_mm, panel.y(value))
        text = signed(value, decimals, sign=low < 0)
        write_line(pdf, text, LABEL, panel.x_mm - 13.5, panel.y(value) - LABEL.line_mm / 2, 12.0, Align.R)


def draw_fret_numbers(pdf: FPDF, panel: Panel) -> None:
    """Numbers below the panel, as many as find room."""
    places = np.array([panel.x(float(z)) for z in panel.fret_z_mm])
    for fret in numbered_frets(np.diff(places) * NUMBER_ROOM_PX / NUMBER_ROOM_MM, len(places)):
        write_line(pdf, str(fret), LABEL, places[fret - 1] - 4.0, panel.y_mm + panel.height_mm + 0.6, 8.0, Align.C)


def draw_range(pdf: FPDF, panel: Panel, low: float, high: float) -> None:
    """A shaded range over the whole panel, drawn before what lies on it."""
    top, bottom = sorted((panel.y(panel.inside(low)), panel.y(panel.inside(high))))
    with pdf.local_context(fill_color=rgb(WANTED)):
        pdf.rect(panel.x_mm, top, panel.width_mm, bottom - top, style="F")


def draw_level(pdf: FPDF, panel: Panel, value: float, from_z_mm: float, to_z_mm: float) -> None:
    """A straight line at a value."""
    with pdf.local_context(draw_color=rgb(INK), line_width=0.3):
        pdf.line(panel.x(from_z_mm), panel.y(value), panel.x(to_z_mm), panel.y(value))


def draw_band(pdf: FPDF, panel: Panel, low: Array, high: Array, colour: str) -> None:
    """A pale band between two curves, each (N,); gaps where either is missing."""
    for run in _runs(np.isfinite(low) & np.isfinite(high)):
        if len(run) < 2:
            continue
        there = [(panel.x(float(panel.fret_z_mm[k])), panel.y(panel.inside(float(low[k])))) for k in run]
        back = [(panel.x(float(panel.fret_z_mm[k])), panel.y(panel.inside(float(high[k])))) for k in run[::-1]]
        with pdf.local_context(fill_color=rgb(colour), fill_opacity=0.2):
            pdf.polygon([*there, *back], style="F")


def draw_curve(pdf: FPDF, panel: Panel, values: Array, colour: str, dashed: bool = False) -> None:
    """A line through the values (N,) at the frets; gaps where one is missing."""
    for run in _runs(np.isfinite(values)):
        points = [(panel.x(float(panel.fret_z_mm[k])), panel.y(panel.inside(float(values[k])))) for k in run]
        with pdf.local_context(draw_color=rgb(colour), line_width=0.5), _dashes(pdf, dashed):
            pdf.polyline(points)


def draw_bar(pdf: FPDF, panel: Panel, x_mm: float, low: float, high: float, colour: str) -> None:
    """A thin upright bar between two values at x_mm across the page."""
    with pdf.local_context(draw_color=rgb(colour), line_width=0.25, stroke_opacity=0.6):
        pdf.line(x_mm, panel.y(panel.inside(low)), x_mm, panel.y(panel.inside(high)))


def draw_mark(pdf: FPDF, mark: Mark, x_mm: float, y_mm: float, colour: str, size_mm: float = 1.7) -> None:
    """A small mark centred at a place on the page."""
    half = size_mm / 2
    with pdf.local_context(fill_color=rgb(colour), draw_color=rgb(colour), line_width=0.4):
        if mark == "dot":
            pdf.circle(x_mm, y_mm, half, style="F")
        elif mark == "square":
            pdf.rect(x_mm - half, y_mm - half, size_mm, size_mm, style="F")
        elif mark == "cross":
            pdf.line(x_mm - half, y_mm - half, x_mm + half, y_mm + half)
            pdf.line(x_mm - half, y_mm + half, x_mm + half, y_mm - half)
        elif mark == "triangle":
            pdf.polygon([(x_mm, y_mm - half), (x_mm + half, y_mm + half), (x_mm - half, y_mm + half)], style="F")
        else:
            tall = 1.25 * half
            pdf.polygon([(x_mm, y_mm - tall), (x_mm + tall, y_mm), (x_mm, y_mm + tall), (x_mm - tall, y_mm)], style="F")


@contextmanager
def _dashes(pdf: FPDF, dashed: bool) -> Iterator[None]:
    if dashed:
        pdf.set_dash_pattern(dash=1.8, gap=1.0)
    yield
    pdf.set_dash_pattern()


def _runs(known: "np.ndarray[tuple[int, ...], np.dtype[np.bool_]]") -> list[list[int]]:
    """Stretches of neighbouring indices where known is true."""
    runs: list[list[int]] = []
    for index in np.flatnonzero(known).tolist():
        if runs and runs[-1][-1] == index - 1:
            runs[-1].append(index)
        else:
            runs.append([index])
    return runs
