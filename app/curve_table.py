"""The curves fret by fret, as rows for a table and as CSV text."""

import csv
import io
import math

from app.wording import LengthUnit
from vision.fit.frets import fret_positions_mm
from vision.results import Measured

Row = dict[str, float | int | None]


def curve_rows(measured: Measured, unit: LengthUnit) -> tuple[Row, ...]:
    """One row a fret. Lengths in unit except the place along the neck (mm); u is one standard uncertainty.

    What was not seen is None, never a zero.
    """
    z_mm = fret_positions_mm(measured.scale_length_mm, measured.frets)
    rows = []
    for k in range(measured.frets):
        row: Row = {"fret": k + 1, "from nut, mm": round(float(z_mm[k]), 2)}
        for curve in (measured.bass, measured.treble):
            for words, values in (
                ("gap", curve.gap_mm),
                ("gap u", curve.gap_u_mm),
                ("fret high (+)", curve.deviation_mm),
                ("fret u", curve.deviation_u_mm),
            ):
                row[f"{curve.side} {words}, {unit.short}"] = _number(unit.of(float(values[k])), unit.decimals + 1)
        row["roll, degrees"] = _number(float(measured.twist.roll_deg[k]), 3)
        row["roll u, degrees"] = _number(float(measured.twist.roll_u_deg[k]), 3)
        rows.append(row)
    return tuple(rows)


def curve_csv(measured: Measured, unit: LengthUnit) -> str:
    """The rows as CSV text with a header line (RFC 4180); missing figures are empty."""
    rows = curve_rows(measured, unit)
    target = io.StringIO(newline="")
    writer = csv.DictWriter(target, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    return target.getvalue()


def _number(value: float, decimals: int) -> float | None:
    return round(value, decimals) if math.isfinite(value) else None
