"""A fretted board in a strip: which line of the strip each fret is, and the scale across.

The board widens from about 42 mm at the nut to 52 mm at fret 12; only the ratio enters here, and loosely, so
that narrow, wide and bass necks are alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.locate.comb import Law
from vision.locate.ladder import Strip
from vision.locate.segments import Floats

NUT_WIDTH_MM = 42.0
WIDENING = 0.476
"""Width at Z is NUT_WIDTH_MM (1 + WIDENING Z): 52 mm at fret 12."""
LEAST_WIDENING, MOST_WIDENING = 0.15, 1.0
"""Beyond these a strip does not taper like a neck, edge lines being uncertain by some 5 % of the width."""


@dataclass(frozen=True)
class Board:
    """A strip and the law of its frets, numbered from the nut (0) towards the body."""

    strip: Strip
    law: Law

    def width_px(self, k: Floats) -> Floats:
        return self.strip.width(self.law.y(k))

    def px_per_mm(self, k: Floats) -> Floats:
        """(...) scale across the neck at fret k."""
        z = 1.0 - 2.0 ** (-np.asarray(k, dtype=np.float64) / 12.0)
        return np.asarray(self.width_px(k) / (NUT_WIDTH_MM * (1.0 + WIDENING * z)), dtype=np.float64)


def gap_mm(law: Law, k: Floats, px_per_mm: Floats) -> Floats:
    """(n,) space about frets k as the picture shows it, in mm across the neck at its scale px_per_mm (n,) there."""
    return np.asarray(np.abs(law.step_px(k)) / px_per_mm)


def widening(strip: Strip, law: Law) -> float:
    """Taper t of the board, width = nut width (1 + t Z), that the edges and the law together imply.

    Both edges meet where Z = -1/t; with y_A that point, Z(y) = (y - a)/(b - c y).
    """
    spread0 = strip.right[0] - strip.left[0]
    spread1 = strip.right[1] - strip.left[1]
    # y_A = -spread0/spread1; t = -(b - c y_A)/(y_A - a), written so that parallel edges are no special case.
    top = law.b * spread1 + law.c * spread0
    bottom = spread0 + law.a * spread1
    return float(top / bottom) if abs(bottom) > 1e-12 else float("inf")
