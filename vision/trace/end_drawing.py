"""A fret's end drawn: crown, face of the bevel, board and what lies beyond, blurred as the photograph is.

Drawings live in mm: s outwards along the fret, v upwards in the picture (height in a view along the neck, place along
the neck in a view from the front).
"""

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.special import j1

from vision.trace.blur import MASK_PX, Blur

Array = NDArray[np.float64]
Tables = NDArray[np.float32]

CROWN_HEIGHT_MM, HALF_CROWN_MM = 1.05, 1.2
STEP_S_MM, STEP_V_MM = 0.05, 0.06
CROWN_KNOTS, COARSE_KNOTS = 10, 3
_WIPED_OUT = 1e-7  # of a wave's amplitude: below what the drawings resolve


def draw_ends(
    front: bool,
    third: Array,
    slope: float,
    v: Array,
    s: Array,
    span: tuple[float, float],
    transfer: Tables,
    rows: NDArray[np.int64],
) -> Tables:
    """Blurred parts of the frets (N, parts, rows, columns): crown bands, crown + face bands, face.

    third (N, 2) : what 1 mm along the neck (upwards, from the front) moves in (s, v).  slope : of the bevel.
    span : rows' range.  transfer : of the blur.  rows : of v that are kept.
    """
    coarse = hats(v, np.linspace(*span, COARSE_KNOTS))
    bands, edges = [], []
    for own in third:
        crown, face, _, bottom, top = outlines(front, own, slope, v)
        inside = _covered((top - v) / STEP_V_MM) * _covered((v - bottom) / STEP_V_MM)
        fine = hats(v, np.linspace(bottom, top, CROWN_KNOTS))
        bands.append(np.vstack([fine, coarse, np.ones_like(v)]) * inside)
        edges.append((crown, face))
    crown, both = np.moveaxis(_covered_to(np.array(edges), s), 1, 0)
    across = np.stack([crown, both, both - crown], axis=1)
    return _blurred(across, (CROWN_KNOTS, COARSE_KNOTS, 1), np.array(bands), transfer, rows)


def draw_board(
    front: bool, third: Array, v: Array, s: Array, span: tuple[float, float], transfer: Tables, rows: NDArray[np.int64]
) -> Tables:
    """Blurred bands of board with everything on it (N, parts, rows, columns), arguments as in draw_ends.

    The board's edge runs through the feet of the bevels, whatever their slope.
    """
    bands = hats(v, np.linspace(*span, COARSE_KNOTS))
    edges = np.array([outlines(front, own, 0.0, v)[2] for own in third])
    return _blurred(_covered_to(edges, s)[:, None], (COARSE_KNOTS,), bands[None], transfer, rows)


def _blurred(
    across: Array, repeats: tuple[int, ...], bands: Array, transfer: Tables, rows: NDArray[np.int64]
) -> Tables:
    """Covers (N, covers, v, s), each repeated and weighted by the bands (N, parts, v) of its parts, blurred.

    Bands change only along v: the transform across serves all bands of a cover, and the one back only rows that stay.
    """
    spectrum = fft.rfft(across.astype(np.float32))[..., : transfer.shape[-1]]
    spectrum = np.repeat(spectrum, repeats, axis=1)
    spectrum *= bands[..., None].astype(np.float32)
    spectrum = fft.fft(spectrum, axis=2, overwrite_x=True)
    spectrum *= transfer[:, None]
    kept = fft.ifft(spectrum, axis=2, overwrite_x=True)[:, :, rows]
    return np.asarray(fft.irfft(kept, n=across.shape[-1]), dtype=np.float32)


def outlines(front: bool, third: Array, slope: float, v: Array) -> tuple[Array, Array, Array, float, float]:
    """Ends of crown, bevel's face and board (from the foot) in rows v; range of the crown's rows."""
    across = np.linspace(-HALF_CROWN_MM, HALF_CROWN_MM, 121)
    height = -CROWN_HEIGHT_MM * (across / HALF_CROWN_MM) ** 2
    inset = -(height + CROWN_HEIGHT_MM) * slope
    lean, rise = third
    if front:
        s, up = inset + lean * height, across + rise * height
        foot = np.full(len(v), -CROWN_HEIGHT_MM * lean)
        edge = foot
        foot_range = -HALF_CROWN_MM - rise * CROWN_HEIGHT_MM, HALF_CROWN_MM - rise * CROWN_HEIGHT_MM
    else:
        s, up = inset + lean * across, height + rise * across
        edge = foot = lean / rise * (v + CROWN_HEIGHT_MM)
        foot_range = -CROWN_HEIGHT_MM - rise * HALF_CROWN_MM, -CROWN_HEIGHT_MM + rise * HALF_CROWN_MM
    top = int(np.argmax(up))  # beyond it the crown hides itself
    crown = np.interp(v, up[: top + 1], s[: top + 1])
    far = np.interp(v, up[top:][::-1], s[top:][::-1]) if top < len(up) - 1 else crown
    face = np.where((v >= foot_range[0]) & (v <= foot_range[1]), foot, far)
    return crown, np.maximum(face, crown), edge, float(up[0]), float(up[top])


def transfer(basis: Array, blur: Blur, depth_m: Array, columns: int, rows: int) -> Tables:
    """Optical transfer function (N, rows, waves across) of each fret's blur in its own mm, up to waves it wipes out."""
    across = 2.0 * np.pi * fft.rfftfreq(columns, STEP_S_MM)[None, None, :]
    upwards = 2.0 * np.pi * fft.fftfreq(rows, STEP_V_MM)[None, :, None]
    inverse = np.linalg.inv(basis)[:, :, :, None, None]
    wave = sum((inverse[:, 0, i] * across + inverse[:, 1, i] * upwards) ** 2 for i in (0, 1))
    turn = np.maximum(np.sqrt(wave) * blur.disc_px(depth_m)[:, None, None], 1e-6)
    gauss = np.exp(-0.5 * np.exp(2.0 * blur.log_sigma) * wave)
    sharpen = (1.0 + blur.sharpening) - blur.sharpening * np.exp(-0.5 * MASK_PX**2 * wave)
    passed = np.asarray(2.0 * j1(turn) / turn * gauss * sharpen, dtype=np.float32)
    left = np.flatnonzero(np.abs(passed).max(axis=(0, 1)) > _WIPED_OUT)
    return passed[..., : left[-1] + 1]


def _covered(cells: Array) -> Array:
    """Share of a cell inside an edge that lies `cells` beyond the cell's middle."""
    return np.asarray(np.clip(cells + 0.5, 0.0, 1.0), dtype=np.float64)


def _covered_to(edges: Array, s: Array) -> Array:
    """Share of every cell of columns s that lies inside edges (..., rows)."""
    return _covered((edges[..., None] - s) / STEP_S_MM)


def hats(v: Array, knots: Array) -> Array:
    """(knots, len(v)) hat functions, constant beyond the outer knots."""
    return np.array([np.interp(v, knots, row) for row in np.eye(len(knots))])


def preferences() -> Array:
    """Quadratic form of weak preferences for the lights of the regions: smooth crown, a face lit about like the crown,
    even surroundings."""
    size = CROWN_KNOTS + 2 * COARSE_KNOTS + 3
    total = 1e-5 * np.eye(size)
    bend = np.diff(np.eye(CROWN_KNOTS), 2, axis=0)
    total[:CROWN_KNOTS, :CROWN_KNOTS] += 0.1 * bend.T @ bend
    total[CROWN_KNOTS, CROWN_KNOTS] += 3.0
    face = np.zeros(size)
    face[:CROWN_KNOTS], face[CROWN_KNOTS + 1] = -1.0 / CROWN_KNOTS, 1.0
    total += 0.05 * np.outer(face, face)
    bend = np.diff(np.eye(COARSE_KNOTS), 2, axis=0)
    for first in (CROWN_KNOTS + 2, CROWN_KNOTS + 2 + COARSE_KNOTS):
        block = slice(first, first + COARSE_KNOTS)
        total[block, block] += 0.5 * bend.T @ bend
    total[-1, -1] += 3.0
    return total
