"""The picture cut out along a strip: columns across the neck, rows along it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from vision.locate.ladder import Strip
from vision.locate.segments import Floats

COLUMNS = np.linspace(0.04, 0.96, 48)
"""Where the tone of frets is looked at: all across the board but for its rounded edges."""


@dataclass(frozen=True)
class Sheet:
    """Grey values sampled along a strip.

    values : (rows, columns) float32; rows at y_px (strip coordinate, full-size pixels), columns at u.
    inside : (rows, columns) bool, False beyond the picture's border.
    """

    values: NDArray[np.float32]
    inside: NDArray[np.bool_]
    y_px: Floats
    u: Floats


def cut_sheet(grey: NDArray[np.uint8], strip: Strip, y_px: Floats, u: Floats) -> Sheet:
    """Sample the picture at every (u, y) by linear interpolation, after smoothing when rows are coarse."""
    points = strip.points(u[None, :], y_px[:, None]).astype(np.float32)
    x, y = points[..., 0], points[..., 1]
    inside = (x >= 0) & (y >= 0) & (x <= grey.shape[1] - 1) & (y <= grey.shape[0] - 1)
    values = cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return Sheet(values.astype(np.float32), inside, y_px, u)


def reach(
    strip: Strip, shape: tuple[int, ...], beyond: float, least_width_px: float = 8.0
) -> tuple[float, float]:
    """Range of y to look at: the seen rungs and `beyond` times their extent each way, within the picture."""
    low, high = strip.y_range
    extra = beyond * (high - low)
    y = np.linspace(low - extra, high + extra, 400)
    middle = strip.points(np.array(0.5), y)
    seen = (middle[:, 0] >= 0) & (middle[:, 1] >= 0)
    seen &= (middle[:, 0] <= shape[1] - 1) & (middle[:, 1] <= shape[0] - 1)
    # Beyond a width of nothing the edges have crossed; the seen part is always kept.
    seen &= strip.width(y) >= least_width_px
    inner = (y >= low) & (y <= high)
    start = int(np.flatnonzero(inner)[0])
    stop = int(np.flatnonzero(inner)[-1])
    while start > 0 and seen[start - 1]:
        start -= 1
    while stop < len(y) - 1 and seen[stop + 1]:
        stop += 1
    return float(y[start]), float(y[stop])


def rung_signal(sheet: Sheet, smooth_rows: float = 1.0, order: int = 1) -> Floats:
    """(rows,) signed change of tone along the neck that all columns share, about -1..1.

    order 1: slope, best for broad crowns seen low; order 2: ridge, best for thin frets seen from the front.
    Each row is averaged over the columns and divided by the size of the values around it, so that strings
    (no change along the neck), grain (unlike from column to column) and overall contrast drop out.
    """
    values = sheet.values.astype(np.float64)
    change = gaussian_filter1d(values, smooth_rows, axis=0, order=order)
    change[~sheet.inside] = 0.0
    limit = 8.0 * np.median(np.abs(change)) + 1e-3
    change = np.clip(change, -limit, limit)
    mean = np.mean(change, axis=1)
    power = uniform_filter1d(np.mean(change**2, axis=1), 61, mode="nearest")
    around = np.sqrt(np.maximum(power, 0.0))  # a running sum may end a hair below zero
    return np.asarray(mean / (around + 0.15), dtype=np.float64)
