"""The figures: what is drawn is what was measured, dips hang down, and nothing is fetched."""

import dataclasses
from typing import Any

import numpy as np
import pytest
from skimage.color import rgb2xyz

from app import palette
from app.palette import rgb
from app.plots import before_after_figure, fret_strip_figure, relief_figure, roll_figure
from app.wording import MILLIMETRES, THOUSANDTHS, LengthUnit
from tests import fixtures_results
from vision.fit.frets import fret_positions_mm
from vision.results import Measured
from vision.settings import Thresholds


def trace_named(figure: Any, name: str) -> Any:
    found = [trace for trace in figure.data if trace.name == name]
    assert len(found) == 1
    return found[0]


@pytest.mark.parametrize(("unit", "factor"), [(MILLIMETRES, 1.0), (THOUSANDTHS, 1 / 0.0254)])
def test_relief_curves_are_the_measured_ones(measured: Measured, unit: LengthUnit, factor: float) -> None:
    figure = relief_figure(measured, Thresholds(), unit)
    for curve in (measured.bass, measured.treble):
        drawn = trace_named(figure, f"{curve.side} string")
        np.testing.assert_allclose(drawn.y, curve.gap_mm * factor, rtol=0, atol=1e-12)
        np.testing.assert_allclose(drawn.x, fret_positions_mm(647.7, 22), rtol=0, atol=1e-9)


def test_before_is_drawn_under_both_strings_and_named_once() -> None:
    before, after = (fixtures_results.measured(bass_mm=mm, treble_mm=mm - 0.1) for mm in (0.5, 0.3))
    figure = before_after_figure(before, after, Thresholds(), MILLIMETRES)
    dotted = [trace for trace in figure.data if trace.line.dash == "dot"]
    for drawn, curve in zip(dotted, (before.bass, before.treble), strict=True):
        np.testing.assert_allclose(drawn.y, curve.gap_mm, rtol=0, atol=1e-12)
    assert [trace.name for trace in dotted if trace.showlegend] == ["dotted: before"]
    assert figure.layout.yaxis.range[0] > before.bass.gap_mm.max()


@pytest.mark.parametrize("relief_mm", [0.32, -0.3, 0.0])
def test_a_gap_hangs_down_and_everything_fits(relief_mm: float) -> None:
    outcome = fixtures_results.measured(bass_mm=relief_mm, treble_mm=relief_mm)
    figure = relief_figure(outcome, Thresholds(), MILLIMETRES)
    bottom, top = figure.layout.yaxis.range
    assert bottom > top, "larger gaps are lower in the picture"
    assert bottom >= Thresholds().wanted_relief_high_mm
    for trace in figure.data:
        values = np.array([v for v in trace.y if v is not None], dtype=float)
        assert values.size == 0 or (values.max() <= bottom and values.min() >= top)


def test_bands_are_95_percent(measured: Measured) -> None:
    figure = relief_figure(measured, Thresholds(), MILLIMETRES)
    band = np.array(figure.data[1].y if figure.data[1].fill == "toself" else figure.data[0].y, dtype=float)
    half = (band[22:][::-1] - band[:22]) / 2
    np.testing.assert_allclose(half, 1.96 * measured.bass.gap_u_mm, rtol=0, atol=1e-12)


def test_single_frets_show_with_their_sign(measured: Measured) -> None:
    high = fixtures_results.with_high_fret(measured, 9, 0.12)
    figure = fret_strip_figure(high, Thresholds(), MILLIMETRES)
    for side in ("bass", "treble"):
        drawn = trace_named(figure, f"{side} string")
        assert drawn.y[8] == pytest.approx(0.12, rel=0, abs=1e-12)
    low, top = figure.layout.yaxis.range
    assert low < 0 < 0.12 < top


def test_missing_deviations_leave_a_gap(measured: Measured) -> None:
    deviation = np.full(22, np.nan)
    holed = dataclasses.replace(measured, bass=dataclasses.replace(measured.bass, deviation_mm=deviation))
    figure = fret_strip_figure(holed, Thresholds(), MILLIMETRES)
    assert np.isfinite(figure.layout.yaxis.range).all()


def test_roll_is_drawn_as_measured(measured: Measured) -> None:
    figure = roll_figure(measured, Thresholds())
    np.testing.assert_allclose(trace_named(figure, "roll").y, measured.twist.roll_deg, rtol=0, atol=0)


@pytest.mark.parametrize("frets", [12, 19, 20, 21, 22, 24, 36])
def test_marks_carry_the_last_fret_and_stand_apart(frets: int) -> None:
    figure = roll_figure(fixtures_results.measured(frets=frets), Thresholds())
    labels = [int(text) for text in figure.layout.xaxis.ticktext]
    assert labels[0] == 1
    assert labels[-1] == frets
    assert labels == sorted(set(labels))


def test_nothing_is_fetched(measured: Measured) -> None:
    for figure in (
        relief_figure(measured, Thresholds(), MILLIMETRES),
        fret_strip_figure(measured, Thresholds(), MILLIMETRES),
        roll_figure(measured, Thresholds()),
    ):
        assert "http" not in figure.to_json()


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21 (WCAG 2.2), with relative luminance by scikit-image."""
    darker, lighter = sorted(float(rgb2xyz(np.array(rgb(colour), np.uint8))[1]) for colour in (one, other))
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize("name", ["INK", "MUTED", "ACCENT", "BASS", "TREBLE", "GOOD", "NOTICE", "SERIOUS"])
def test_text_colours_are_readable(name: str) -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0, rel=0, abs=1e-9)
    for ground in (palette.PAPER, palette.CARD):
        assert 4.5 <= contrast(getattr(palette, name), ground) < 21.0
