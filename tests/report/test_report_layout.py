"""Where things come to stand: columns, rows of pictures, axes, and the curves at their true places."""

import re

import numpy as np
import pytest
from fpdf import FPDF

from app.report.columns import GAP_MM, balanced, packed
from app.report.panel import END_ROOM_MM, Panel, draw_band, draw_curve, steps
from app.report.photo_part import CAPTION_MM, row_shape
from app.report.sheet import GUTTER_MM, WIDTH_MM
from app.report.table import Column, draw_table
from vision.fit.frets import fret_positions_mm

PT_PER_MM = 72 / 25.4
Z_MM = fret_positions_mm(647.7, 22)


def test_blocks_fill_one_column_after_the_other_in_order() -> None:
    assert packed([10.0, 10.0, 10.0], 2, 20.0 + GAP_MM) == [[0, 1], [2]]
    assert packed([10.0, 10.0, 10.0], 2, 20.0) == [[0], [1]]
    assert packed([30.0], 2, 20.0) == [[]]
    assert packed([], 2, 20.0) == [[]]


def test_balanced_columns_hold_the_same_blocks_in_less_height() -> None:
    assert balanced([10.0] * 4, 2, 200.0) == [[0, 1], [2, 3]]
    rng = np.random.default_rng(3)
    for _ in range(100):
        heights = rng.uniform(3.0, 40.0, 12).tolist()
        full, even = packed(heights, 2, 120.0), balanced(heights, 2, 120.0)
        assert [k for column in even for k in column] == [k for column in full for k in column]
        for column in even:
            assert sum(heights[k] for k in column) + GAP_MM * max(0, len(column) - 1) <= 120.0


@pytest.mark.parametrize("ratios", [[1.4, 0.7, 0.5], [0.4], [3.0, 3.0, 3.0], [0.1, 20.0]])
def test_pictures_in_a_row_share_a_height_and_the_width(ratios: list[float]) -> None:
    height, widths = row_shape(ratios, 58.0)
    assert 0.0 < height <= 58.0
    assert sum(widths) + GUTTER_MM * (len(ratios) - 1) <= WIDTH_MM + 1e-9
    for ratio, width in zip(ratios, widths, strict=True):
        assert width >= height * ratio - 1e-9
        assert width >= CAPTION_MM - 1e-9 or len(ratios) > 3


@pytest.mark.parametrize(
    ("low", "high", "wanted"),
    [
        (0.0, 0.5, [0.0, 0.1, 0.2, 0.3, 0.4, 0.5]),
        (-0.05, 0.05, [-0.04, -0.02, 0.0, 0.02, 0.04]),
        (-3.0, 12.0, [0.0, 5.0, 10.0]),
    ],
)
def test_axis_values_are_round(low: float, high: float, wanted: list[float]) -> None:
    assert steps(low, high) == pytest.approx(wanted, rel=0, abs=1e-12)


@pytest.mark.parametrize(("low", "high"), [(1.0, 1.0), (2.0, 1.0), (float("nan"), 1.0), (0.0, float("inf"))])
def test_an_axis_needs_a_range(low: float, high: float) -> None:
    with pytest.raises(ValueError, match="span no range"):
        steps(low, high)


def _panel() -> Panel:
    return Panel(20.0, 30.0, 150.0, 40.0, -0.1, 0.4, Z_MM)


def _bare_page() -> FPDF:
    pdf = FPDF("P", "mm", "A4")
    pdf.set_compression(False)
    pdf.add_page()
    return pdf


def _points_mm(pdf: FPDF) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Every point of a path on the page, mm from its upper left corner."""
    found = re.findall(rb"(-?[\d.]+) (-?[\d.]+) [ml]\b", bytes(pdf.output()))
    points = np.array([[float(x), float(y)] for x, y in found])
    return np.stack([points[:, 0] / PT_PER_MM, 297.0 - points[:, 1] / PT_PER_MM], axis=1)


def test_fret_twelve_stands_half_way_to_the_bridge() -> None:
    panel = _panel()
    end = float(Z_MM[-1]) + END_ROOM_MM
    assert panel.x(0.0) == pytest.approx(20.0, rel=0, abs=1e-9)
    assert panel.x(float(Z_MM[11])) == pytest.approx(20.0 + 150.0 * (647.7 / 2) / end, rel=0, abs=1e-9)


def test_a_gap_grows_down_the_page() -> None:
    panel = _panel()
    assert panel.y(-0.1) == pytest.approx(30.0, rel=0, abs=1e-9)
    assert panel.y(0.4) == pytest.approx(70.0, rel=0, abs=1e-9)
    assert panel.y(0.15) == pytest.approx(50.0, rel=0, abs=1e-9)


def test_a_curve_is_drawn_through_its_values_at_the_frets() -> None:
    pdf, panel = _bare_page(), _panel()
    values = 0.3 * np.sin(np.linspace(0.0, np.pi, 22))
    draw_curve(pdf, panel, values, "#1B5A7D")
    across = 20.0 + 150.0 * Z_MM / (Z_MM[-1] + END_ROOM_MM)
    wanted = np.stack([across, 30.0 + 80.0 * (values + 0.1)], axis=1)
    np.testing.assert_allclose(_points_mm(pdf), wanted, rtol=0, atol=0.02)


def test_what_was_not_seen_leaves_a_gap() -> None:
    pdf, panel = _bare_page(), _panel()
    values = np.full(22, 0.1)
    values[[5, 6, 12]] = np.nan
    draw_curve(pdf, panel, values, "#1B5A7D")
    points = _points_mm(pdf)
    assert len(points) == 19
    missing = [panel.x(float(Z_MM[k])) for k in (5, 6, 12)]
    assert np.abs(points[:, :1] - np.array(missing)).min() > 1.0


def test_a_band_spans_both_ends_and_stays_in_its_panel() -> None:
    pdf, panel = _bare_page(), _panel()
    draw_band(pdf, panel, np.full(22, -5.0), np.full(22, 0.2), "#1B5A7D")
    points = _points_mm(pdf)
    assert points[:, 1].min() == pytest.approx(30.0, rel=0, abs=0.02)
    assert points[:, 1].max() == pytest.approx(30.0 + 80.0 * 0.3, rel=0, abs=0.02)


def test_a_table_row_has_as_many_cells_as_columns() -> None:
    with pytest.raises(ValueError, match="has 1 cells for 2 columns"):
        draw_table(_bare_page(), (Column("a", 20.0), Column("b", 20.0)), [("x",)])
