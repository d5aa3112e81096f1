"""The play test as a fingerboard under the measured heights of its frets, so that cause and effect stand together."""

from collections.abc import Mapping

import numpy as np
import plotly.graph_objects as go

from app.inspection.facts import CurveFacts
from app.palette import BASS, CARD, GOOD, INK, LINE, MUTED, NOTICE, SERIOUS, TREBLE, WANTED, rgba
from app.plots import lay_on_card
from app.wording import COVERAGE_95, LengthUnit

SOUND_MARKS = {  # colour and shape both tell, for every kind of colour vision
    "fine": (GOOD, "circle", 7),
    "buzz": (NOTICE, "triangle-up", 14),
    "dead": (SERIOUS, "x", 13),
    "choke": (INK, "square", 12),
}
PLACES = "places"  # name of the trace whose points are all places on the board, in order of string, then fret


def play_figure(
    notes: Mapping[tuple[int, int], str],
    strings: int,
    frets: int,
    curve: CurveFacts | None,
    limit_mm: float,
    unit: LengthUnit,
) -> go.Figure:
    """Fingerboard with a mark for each note played; above it each fret's height where a neck was measured.

    notes : (string, fret) to its sound; string 1, the highest, on top; fret 0 is the open string, left of the nut.
    Frets stand equally far apart here, since a note is touched, not measured.
    """
    figure = go.Figure()
    heights = curve is not None
    board = [0.0, 0.58] if heights else [0.0, 1.0]
    _draw_board(figure, strings, frets)
    _add_places(figure, strings, frets)
    for sound, (colour, symbol, size) in SOUND_MARKS.items():
        places = [place for place, heard in notes.items() if heard == sound]
        figure.add_trace(
            go.Scatter(
                x=[fret - 0.5 if fret else -0.35 for _, fret in places],
                y=[string for string, _ in places],
                mode="markers",
                name=sound,
                marker={"color": colour, "symbol": symbol, "size": size, "line": {"color": CARD, "width": 1}},
                hoverinfo="skip",
            )
        )
    if curve is not None:
        _add_heights(figure, curve, limit_mm, unit)
    _lay_out(figure, strings, frets, board, heights, unit)
    return figure


def place_at(index: int, frets: int) -> tuple[int, int]:
    """(string, fret) of a point of the PLACES trace."""
    return index // (frets + 1) + 1, index % (frets + 1)


def _draw_board(figure: go.Figure, strings: int, frets: int) -> None:
    for string in range(1, strings + 1):
        figure.add_shape(
            type="line", x0=-0.7, x1=frets, y0=string, y1=string, layer="below",
            line={"color": MUTED, "width": 0.6 + 0.35 * string},
        )  # fmt: skip
    for fret in range(frets + 1):
        figure.add_shape(
            type="line", x0=fret, x1=fret, y0=0.6, y1=strings + 0.4, layer="below",
            line={"color": INK if fret == 0 else LINE, "width": 4 if fret == 0 else 2},
        )  # fmt: skip


def _add_places(figure: go.Figure, strings: int, frets: int) -> None:
    places = [(string, fret) for string in range(1, strings + 1) for fret in range(frets + 1)]
    figure.add_trace(
        go.Scatter(
            x=[fret - 0.5 if fret else -0.35 for _, fret in places],
            y=[string for string, _ in places],
            mode="markers",
            name=PLACES,
            marker={"color": rgba(MUTED, 0.25), "size": 10},
            customdata=places,
            hovertemplate="string %{customdata[0]}, fret %{customdata[1]}<extra></extra>",
            showlegend=False,
        )
    )


def _add_heights(figure: go.Figure, curve: CurveFacts, limit_mm: float, unit: LengthUnit) -> None:
    figure.add_shape(
        type="rect", x0=-0.7, x1=curve.frets + 0.4, y0=-unit.of(limit_mm), y1=unit.of(limit_mm), yref="y2",
        fillcolor=WANTED, line_width=0, layer="below",
    )  # fmt: skip
    for side, colour, symbol, shift in (
        (curve.bass, BASS, "circle", -0.12), (curve.treble, TREBLE, "diamond", 0.12),
    ):  # fmt: skip
        seen = [
            (k + 1, d, u)
            for k, (d, u) in enumerate(zip(side.deviation_mm, side.deviation_u_mm, strict=True))
            if d is not None and u is not None
        ]
        figure.add_trace(
            go.Scatter(
                x=[k + shift for k, _, _ in seen],
                y=[unit.of(d) for _, d, _ in seen],
                yaxis="y2",
                mode="markers",
                name=f"{side.side} string's frets",
                marker={"color": colour, "symbol": symbol, "size": 6},
                error_y={
                    "type": "data", "array": [unit.of(COVERAGE_95 * u) for _, _, u in seen],
                    "color": rgba(colour, 0.45), "width": 0,
                },
                customdata=[k for k, _, _ in seen],
                hovertemplate=f"fret %{{customdata}}: %{{y:+.{unit.decimals + 1}f}} {unit.short}<extra></extra>",
            )
        )  # fmt: skip


def _lay_out(figure: go.Figure, strings: int, frets: int, board: list[float], heights: bool, unit: LengthUnit) -> None:
    labelled = [k for k in (1, 3, 5, 7, 9, 12, 15, 17, 19, 21, 24) if k <= frets]
    lay_on_card(figure, (150 if heights else 0) + 80 + 34 * strings, top=44, bottom=34, font_size=13)
    figure.update_layout(clickmode="event+select")
    figure.update_xaxes(
        range=[-0.8, frets + 0.5], tickmode="array", tickvals=[k - 0.5 for k in labelled],
        ticktext=[str(k) for k in labelled], showgrid=False, zeroline=False, fixedrange=True,
    )  # fmt: skip
    figure.update_layout(
        yaxis={
            "domain": board, "range": [strings + 0.7, 0.3], "tickmode": "array",
            "tickvals": np.arange(1, strings + 1).tolist(), "automargin": True,
            "showgrid": False, "zeroline": False, "fixedrange": True,
        }
    )  # fmt: skip
    if heights:
        figure.update_layout(
            yaxis2={
                "domain": [0.66, 1.0], "anchor": "x", "fixedrange": True, "nticks": 4, "zerolinecolor": INK,
                "title": {"text": f"high (+), {unit.short}", "font": {"color": MUTED, "size": 13}},
                "gridcolor": rgba(LINE, 0.6), "automargin": True,
            }
        )  # fmt: skip
