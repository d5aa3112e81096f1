"""The blur of one photograph along the neck: defocus by the thin-lens law, lens and pixel, in-camera sharpening.

A point out of focus becomes a disc whose radius follows the thin-lens law

    c_px(D) = aperture_px_m * |1/D - 1/D_focus|          (D depth along the optical axis, m)

so two numbers describe the defocus of every fret of a photograph. Seen along one direction a disc is a
semicircle (its line-spread function, ISO 12233 calls the general case LSF), which is convolved here with a
Gaussian for lens and pixel, and with the unsharp mask that cameras apply:
(1 + a) G(s) - a G(sqrt(s^2 + s_mask^2)).
Treating the disc as a Gaussian of the same variance shifts the apparent fret tops by up to 0.08 mm between a
sharp and a blurred fret, because a fret is not symmetric.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import ndtr

Array = NDArray[np.float64]

_NODES = 9
_ANGLE = np.arange(1, _NODES + 1) * np.pi / (_NODES + 1)
_DISC_NODE = np.cos(_ANGLE)  # Gauss-Chebyshev nodes of the second kind integrate the semicircle exactly
_DISC_WEIGHT = np.sin(_ANGLE) ** 2 / np.sum(np.sin(_ANGLE) ** 2)
MASK_PX = 1.2  # spread of the unsharp mask; cameras use about one pixel
_TABLE_STEP_PX, _EDGE_TABLE_STEP_PX = 0.125, 0.02
_DISC_STEP_PX = 0.05  # the spread changes by a thousandth of its peak at most between its line and its curve


@dataclass(frozen=True)
class Blur:
    """Blur parameters of a photograph; the first four are fitted, in this order."""

    log_aperture: float  # log of aperture_px_m
    focus_inv_m: float  # 1 / D_focus
    log_sigma: float  # log of the Gaussian part in px
    sharpening: float  # a of the unsharp mask, 0 for none

    def vector(self) -> Array:
        return np.array([self.log_aperture, self.focus_inv_m, self.log_sigma, self.sharpening])

    def with_vector(self, vector: Array) -> "Blur":
        values = [float(v) for v in vector]
        return replace(
            self, log_aperture=values[0], focus_inv_m=values[1], log_sigma=values[2], sharpening=values[3]
        )

    def moved(self, ratio: float) -> "Blur":
        """The same picture's blur once every depth is taken for `ratio` times as large."""
        return replace(
            self, log_aperture=self.log_aperture + float(np.log(ratio)), focus_inv_m=self.focus_inv_m / ratio
        )

    def disc_px(self, depth_m: Array) -> Array:
        """Radius of the defocus disc at each depth."""
        radius: Array = np.abs(np.exp(self.log_aperture) * (1.0 / depth_m - self.focus_inv_m))
        return radius

    def spread_px(self, depth_m: Array) -> Array:
        """Standard deviation of disc and Gaussian together at each depth."""
        spread: Array = np.hypot(self.disc_px(depth_m) / 2.0, np.exp(self.log_sigma))
        return spread

    def spread_mm(self, top_row: Array, rows_per_mm: Array, depth_m: Array, px_per_row: float) -> Array:
        """The same at the frets' tops, in mm of their height (from the front: along the neck).

        top_row, rows_per_mm : (N,), depth_m : (rows,), px_per_row : of a strip (vision.trace.strip).
        """
        at_tops_m = np.interp(top_row, np.arange(len(depth_m)), depth_m)
        spread: Array = self.spread_px(at_tops_m) / (rows_per_mm * px_per_row)
        return spread


def line_spread(offset_px: Array, disc_px: Array, sigma_px: float, sharpening: float) -> Array:
    """Line-spread function at offsets (r, m) for disc radii (r, 1); area 1 before truncation."""
    return _sharpened_over_disc(_gaussian, 4.0, _TABLE_STEP_PX, offset_px, disc_px, sigma_px, sharpening)


def edge_spread(offset_px: Array, disc_px: Array, sigma_px: float, sharpening: float) -> Array:
    """What a step from 0 to 1 becomes at offsets (n,) for disc radii (n,): the integral of line_spread."""
    return _sharpened_over_disc(_step, 5.0, _EDGE_TABLE_STEP_PX, offset_px, disc_px, sigma_px, sharpening)


def _sharpened_over_disc(
    lens: Callable[[Array, float], Array],
    reach: float,
    step_px: float,
    offset_px: Array,
    disc_px: Array,
    sigma_px: float,
    sharpening: float,
) -> Array:
    """What a lens of spread sigma makes of a line or a step (place, sigma), sharpened, averaged over the defocus disc.

    reach : spreads beyond which that no longer changes.
    """
    mask_px = float(np.hypot(sigma_px, MASK_PX))
    reach_px = float(np.max(disc_px, initial=0.0)) + reach * mask_px
    grid = np.arange(-reach_px - 1.0, reach_px + 1.0, step_px)
    table = (1.0 + sharpening) * lens(grid, sigma_px) - sharpening * lens(grid, mask_px)
    # Linear interpolation by hand: np.interp would search for cells that are known, at twice the time.
    rise = np.append(np.diff(table), 0.0)
    start = (offset_px - grid[0]) / step_px
    mean: Array = np.zeros_like(start)
    for node, weight in zip(_DISC_NODE, _DISC_WEIGHT, strict=True):
        place = np.clip(start - disc_px * (node / step_px), 0.0, len(rise) - 1.0)
        cell = place.astype(np.int64)
        place -= cell
        mean += weight * (table.take(cell) + place * rise.take(cell))
    return mean


def blur_matrix(
    rows: Array, fine_rows: Array, px_per_row: float, depth_m: Array, blur: Blur
) -> sparse.csr_matrix:
    """Sparse (rows x fine rows) operator from the sharp signal to the photographed one; each row sums to 1.

    Every row is one of the evenly spaced fine rows.
    """
    step = float(fine_rows[1] - fine_rows[0])
    disc_px = blur.disc_px(depth_m)
    sigma = float(np.exp(blur.log_sigma))
    reach = (float(disc_px.max()) + 3.0 * float(np.hypot(sigma, MASK_PX))) / px_per_row
    half = int(np.ceil(reach / step))
    beside = np.arange(-half, half + 1)
    column = np.round((rows - fine_rows[0]) / step).astype(np.int64)[:, None] + beside
    offset_px = beside.astype(np.float64) * (step * px_per_row)
    value = _spread_of_discs(offset_px, disc_px, sigma, blur.sharpening)
    inside = (column >= 0) & (column < len(fine_rows))
    value[~inside] = 0.0
    value /= value.sum(axis=1, keepdims=True)
    keep = np.abs(value) > 1e-6
    row_start = np.append(0, np.cumsum(keep.sum(axis=1)))
    return sparse.csr_matrix((value[keep], column[keep], row_start), shape=(len(rows), len(fine_rows)))


def _spread_of_discs(offset_px: Array, disc_px: Array, sigma_px: float, sharpening: float) -> Array:
    """line_spread of every disc (r,) at the same offsets (m,), (r, m), linear between discs that lie close."""
    least, most = float(disc_px.min()), float(disc_px.max())
    discs = np.linspace(least, most, max(2, int(np.ceil((most - least) / _DISC_STEP_PX)) + 1))
    shape = (len(discs), len(offset_px))
    table = line_spread(np.broadcast_to(offset_px, shape), discs[:, None], sigma_px, sharpening)
    place = (disc_px - least) / max(float(discs[1] - discs[0]), 1e-12)
    below = np.minimum(place.astype(np.int64), len(discs) - 2)
    return np.asarray(table[below] + (place - below)[:, None] * np.diff(table, axis=0)[below])


def _gaussian(x: Array, sigma: float) -> Array:
    density: Array = np.exp(-0.5 * (x / sigma) ** 2) / (sigma * np.sqrt(2.0 * np.pi))
    return density


def _step(x: Array, sigma: float) -> Array:
    return np.asarray(ndtr(x / sigma), dtype=np.float64)
