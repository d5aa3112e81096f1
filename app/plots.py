"""The plots of a measured neck as plotly figures: relief under both strings, single frets, roll.

Pure functions from the record to a figure; nothing is fetched when they are shown. Lengths are drawn in the
unit asked for, positions along the neck in mm from the nut with the frets' numbers as marks.
"""

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from app.palette import BASS, CARD, INK, LINE, MUTED, TREBLE, WANTED, rgba
from app.wording import COVERAGE_95, LengthUnit
from vision.fit.frets import fret_positions_mm
from vision.results import Array, Measured, SideCurve
from vision.settings import Thresholds

COLOURS = {"bass": BASS, "treble": TREBLE}
SYMBOLS = {"bass": "circle", "treble": "diamond"}
DASHES = {"bass": "solid", "treble": "dash"}
# Frets that carry inlays by custom, thinned so that their numbers stand apart even on a phone.
LABELLED_FRETS = (1, 3, 5, 7, 9, 12, 15, 19, 24)


def relief_figure(measured: Measured, thresholds: Thresholds, unit: LengthUnit) -> go.Figure:
    """Both relief curves with 95 % bands, hanging below a straight line from fret 1 to the last fret.

    The straight line stands for a straightedge on top; a forward bow hangs below it as a dip, a back-bow
    rises above it. The shaded strip is where the deepest point usually should lie.
    """
    z = fret_positions_mm(measured.scale_length_mm, measured.frets)
    figure = _empty_figure(z, 330)
    low, high = unit.of(thresholds.wanted_relief_low_mm), unit.of(thresholds.wanted_relief_high_mm)
    figure.add_shape(type="rect", x0=z[0], x1=z[-1], y0=low, y1=high, fillcolor=WANTED, line_width=0, layer="below")
    _add_swatch(figure, "deepest point usually in here")
    figure.add_shape(type="line", x0=z[0], x1=z[-1], y0=0, y1=0, line={"color": INK, "width": 1.5})
    for curve in (measured.bass, measured.treble):
        _add_curve(figure, z, curve, unit)
    lowest, highest = _gap_range(measured, unit)
    _set_gap_axis(figure, lowest, max(highest, high), unit)
    return figure


def before_after_figure(before: Measured, after: Measured, thresholds: Thresholds, unit: LengthUnit) -> go.Figure:
    """Relief before (thin, dotted) and after (bold, with its 95 % bands) under both strings, as in `relief_figure`.

    Raises
    ------
    ValueError : the two are not of one neck.
    """
    if (before.scale_length_mm, before.frets) != (after.scale_length_mm, after.frets):
        raise ValueError(f"after has {after.frets} frets on {after.scale_length_mm:g} mm, another neck than before")
    figure = relief_figure(after, thresholds, unit)
    z = fret_positions_mm(before.scale_length_mm, before.frets)
    for curve in (before.bass, before.treble):
        figure.add_trace(
            go.Scatter(
                x=z,
                y=unit.of(1.0) * curve.gap_mm,
                mode="lines",
                name="dotted: before",
                showlegend=curve.side == "bass",  # once is enough, and leaves the plot its height on a phone
                line={"color": COLOURS[curve.side], "width": 1.5, "dash": "dot"},
                customdata=np.arange(1, len(z) + 1),
                hovertemplate=f"{curve.side} before, fret %{{customdata}}: %{{y:.{unit.decimals}f}} "
                f"{unit.short}<extra></extra>",
            )
        )
    ends = [_gap_range(measured, unit) for measured in (before, after)]
    low, high = min(end[0] for end in ends), max(end[1] for end in ends)
    _set_gap_axis(figure, low, max(high, unit.of(thresholds.wanted_relief_high_mm)), unit)
    return figure


def fret_strip_figure(measured: Measured, thresholds: Thresholds, unit: LengthUnit) -> go.Figure:
    """Each fret's top above (+) or below the smooth curve, with 95 % bars, under both strings."""
    z = fret_positions_mm(measured.scale_length_mm, measured.frets)
    figure = _empty_figure(z, 250)
    limit = unit.of(thresholds.fret_out_of_line_mm)
    figure.add_shape(
        type="rect",
        x0=z[0] - 8,
        x1=z[-1] + 8,
        y0=-limit,
        y1=limit,
        fillcolor=WANTED,
        line_width=0,
        layer="below",
    )
    reach = limit
    for curve, shift_mm in ((measured.bass, -1.6), (measured.treble, 1.6)):
        value = np.asarray(unit.of(1.0) * curve.deviation_mm)
        half = np.asarray(unit.of(COVERAGE_95) * curve.deviation_u_mm)
        finite = np.isfinite(value) & np.isfinite(half)
        if finite.any():
            reach = max(reach, float((np.abs(value) + half)[finite].max()))
        figure.add_trace(
            go.Scatter(
                x=z + shift_mm,
                y=value,
                mode="markers",
                name=f"{curve.side} string",
                marker={"color": COLOURS[curve.side], "symbol": SYMBOLS[curve.side], "size": 7},
                error_y={"type": "data", "array": half, "color": rgba(COLOURS[curve.side], 0.5), "width": 0},
                customdata=np.arange(1, measured.frets + 1),
                hovertemplate=f"fret %{{customdata}}: %{{y:+.{unit.decimals + 1}f}} {unit.short}<extra></extra>",
            )
        )
    figure.update_yaxes(title_text=f"high (+) or low, {unit.short}", range=[-1.15 * reach, 1.15 * reach])
    return figure


def roll_figure(measured: Measured, thresholds: Thresholds) -> go.Figure:
    """Roll of each fret against fret 1 with its 95 % band; positive with the treble side higher."""
    z = fret_positions_mm(measured.scale_length_mm, measured.frets)
    figure = _empty_figure(z, 250)
    limit = thresholds.twist_noticed_deg
    figure.add_shape(type="rect", x0=z[0], x1=z[-1], y0=-limit, y1=limit, fillcolor=WANTED, line_width=0, layer="below")
    roll, half = measured.twist.roll_deg, COVERAGE_95 * measured.twist.roll_u_deg
    _add_band(figure, z, roll - half, roll + half, INK)
    figure.add_trace(
        go.Scatter(
            x=z,
            y=roll,
            mode="lines",
            name="roll",
            line={"color": INK, "width": 2},
            customdata=np.arange(1, measured.frets + 1),
            hovertemplate="fret %{customdata}: %{y:+.2f}°<extra></extra>",
            showlegend=False,
        )
    )
    finite = np.isfinite(roll) & np.isfinite(half)
    reach = max(limit, float((np.abs(roll) + half)[finite].max(initial=0.0)))
    figure.update_yaxes(title_text="treble side higher (+), degrees", range=[-1.15 * reach, 1.15 * reach])
    return figure


def lay_on_card(figure: go.Figure, height: int, *, top: int, bottom: int, font_size: int) -> None:
    """The look all plots share: on the page's cards, in its type, the key above, nothing to drag."""
    figure.update_layout(
        height=height,
        margin={"l": 8, "r": 10, "t": top, "b": bottom},
        paper_bgcolor=CARD,
        plot_bgcolor=CARD,
        font={"family": "Source Sans, Source Sans Pro, sans-serif", "size": font_size, "color": INK},
        legend={"orientation": "h", "x": 0, "y": 1.02, "xanchor": "left", "yanchor": "bottom"},
        hoverlabel={"bgcolor": CARD, "font": {"color": INK}},
        dragmode=False,
    )


def _empty_figure(z: Array, height: int) -> go.Figure:
    frets = len(z)
    labelled = [k for k in LABELLED_FRETS if k <= frets]
    # The last fret always carries its number; its neighbour gives way where both do not fit.
    if labelled[-1] != frets:
        labelled = [k for k in labelled if frets - k >= 3] + [frets]
    figure = go.Figure()
    lay_on_card(figure, height, top=40, bottom=58, font_size=14)
    figure.update_xaxes(
        title_text="fret, at its true place along the neck",
        title_font={"size": 13, "color": MUTED},
        title_standoff=6,
        tickmode="array",
        tickvals=[float(z[k - 1]) for k in labelled],
        ticktext=[str(k) for k in labelled],
        minor={"tickvals": [float(at) for at in z], "ticks": "outside", "ticklen": 4, "tickcolor": LINE},
        ticks="outside",
        ticklen=6,
        tickcolor=MUTED,
        range=[0.0, float(z[-1]) + 12.0],
        showgrid=False,
        zeroline=False,
        fixedrange=True,
        automargin=True,
    )
    figure.update_yaxes(
        title_font={"size": 13, "color": MUTED},
        gridcolor=rgba(LINE, 0.6),
        zeroline=True,
        zerolinecolor=INK,
        zerolinewidth=1,
        fixedrange=True,
        automargin=True,
        nticks=7,
    )
    return figure


def _add_swatch(figure: go.Figure, words: str) -> None:
    """A legend entry for the shaded range."""
    marker = {"color": WANTED, "symbol": "square", "size": 13, "line": {"color": MUTED, "width": 1}}
    figure.add_trace(go.Scatter(x=[None], y=[None], mode="markers", name=words, marker=marker, hoverinfo="skip"))


def _add_curve(figure: go.Figure, z: Array, curve: SideCurve, unit: LengthUnit) -> None:
    gap, half = unit.of(1.0) * curve.gap_mm, unit.of(COVERAGE_95) * curve.gap_u_mm
    colour = COLOURS[curve.side]
    _add_band(figure, z, gap - half, gap + half, colour)
    figure.add_trace(
        go.Scatter(
            x=z,
            y=gap,
            mode="lines",
            name=f"{curve.side} string",
            line={"color": colour, "width": 2.5, "dash": DASHES[curve.side]},
            customdata=np.arange(1, len(z) + 1),
            hovertemplate=f"{curve.side}, fret %{{customdata}}: %{{y:.{unit.decimals}f}} {unit.short}<extra></extra>",
        )
    )
    at = curve.relief_at_fret - 1
    figure.add_trace(
        go.Scatter(
            x=[z[at]],
            y=[unit.of(curve.relief_mm)],
            mode="markers",
            marker={
                "color": colour,
                "symbol": SYMBOLS[curve.side],
                "size": 10,
                "line": {"color": CARD, "width": 1.5},
            },
            hoverinfo="skip",
            showlegend=False,
        )
    )


def _add_band(figure: go.Figure, z: Array, low: NDArray[np.float64], high: NDArray[np.float64], colour: str) -> None:
    figure.add_trace(
        go.Scatter(
            x=np.concatenate([z, z[::-1]]),
            y=np.concatenate([low, high[::-1]]),
            fill="toself",
            fillcolor=rgba(colour, 0.16),
            mode="lines",
            line={"width": 0},
            hoverinfo="skip",
            showlegend=False,
        )
    )


def _set_gap_axis(figure: go.Figure, lowest: float, highest: float, unit: LengthUnit) -> None:
    """Gap grows downwards, with a little room at both ends."""
    figure.update_yaxes(
        title_text=f"below (+) or above the line, {unit.short}",
        range=[1.12 * highest, min(lowest, 0.0) - 0.12 * highest],
        zeroline=False,
    )


def _gap_range(measured: Measured, unit: LengthUnit) -> tuple[float, float]:
    """Smallest and largest end of both bands, never inside 0."""
    ends = np.concatenate(
        [
            curve.gap_mm + sign * COVERAGE_95 * curve.gap_u_mm
            for curve in (measured.bass, measured.treble)
            for sign in (-1, 1)
        ]
    )
    return unit.of(min(0.0, float(np.nanmin(ends)))), unit.of(max(0.0, float(np.nanmax(ends))))
