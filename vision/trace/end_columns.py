"""Regressors of the fret ends of one side: their drawings, moved to where the ends are believed to stand.

Drawings are blurred once for a few slopes of the bevel; a slope between is interpolated. Feet and the board's edge move
along the columns of a drawing, so that following them takes no further drawing.
"""

import numpy as np
from numpy.typing import NDArray

from vision.trace.end_drawing import COARSE_KNOTS, CROWN_KNOTS, STEP_S_MM, Tables, draw_board, draw_ends, hats

Array = NDArray[np.float64]

OUT_MM = np.arange(-2.0, 1.5, 0.1)
"""Where the photograph is sampled, outwards from the expected foot."""
_STRIDE = 2  # cells of the drawing from sample to sample
COLUMNS = 128
"""Cells of a drawing, half of them on either side of the foot."""
_BEYOND = 52  # cells each side of a drawing, for samples beside it; those that count never lie farther out
_LAST_CELL = COLUMNS + 2 * _BEYOND - (len(OUT_MM) - 1) * _STRIDE - 2  # where the first sample may lie
_S_MM: Array = np.arange(-COLUMNS // 2, COLUMNS // 2, dtype=np.float64) * STEP_S_MM
_SLOPES = np.array([0.3, 0.55, 0.8])  # tangent of the bevel, from upright, for which drawings are kept


class EndColumns:
    """Drawings of all ends of a side."""

    def __init__(
        self, front: bool, third: Array, v: Array, span: tuple[float, float], transfer: Tables, rows: NDArray[np.int64]
    ) -> None:
        self._ends = [_by_stride(draw_ends(front, third, slope, v, _S_MM, span, transfer, rows)) for slope in _SLOPES]
        self._board = _by_stride(draw_board(front, third, v, _S_MM, span, transfer, rows))
        self._full = hats(v[rows], np.linspace(*span, COARSE_KNOTS))

    def ends(self, slope: float, foot: Array, some: slice = slice(None)) -> Tables:
        """Crown bands, crown + face bands and face at the samples of some frets, their feet moved out by foot (n,)."""
        total = np.zeros((len(foot), *self._ends[0].shape[1:3], len(OUT_MM)), dtype=np.float32)
        for i, drawn in enumerate(self._ends):
            others = np.delete(_SLOPES, i)  # Lagrange interpolation
            total += np.float32(np.prod((slope - others) / (_SLOPES[i] - others))) * _moved(drawn[some], foot)
        return total

    def board(self, edge: Array, some: slice = slice(None)) -> Tables:
        """Bands of the board and all on it at the samples of some frets, its edge moved out by edge (n,)."""
        return _moved(self._board[some], edge)

    def regressors(self, ends: Tables, board: Tables, foot: Array, edge: float) -> Array:
        """(n, columns, samples) of drawings moved to feet foot (n,) and to the board's edge, edge farther out."""
        inwards = np.clip(OUT_MM - foot[:, None], -2.0, 0.0)[:, None, None]
        outwards = np.clip(OUT_MM - foot[:, None] - edge, -0.3, None)[:, None, None]
        crown, covered, face = np.split(ends, [CROWN_KNOTS, CROWN_KNOTS + COARSE_KNOTS], axis=1)
        beyond = self._full[:, :, None] - board
        parts = [
            crown,
            crown.sum(axis=1, keepdims=True, dtype=np.float64) * inwards,
            face,
            board.astype(np.float64) - covered,
            beyond,
            beyond.sum(axis=1, keepdims=True) * outwards,
        ]
        columns = np.concatenate(parts, axis=1, dtype=np.float64)
        return columns.reshape(*columns.shape[:2], -1)


def _by_stride(drawn: Tables) -> Tables:
    """Drawings (n, parts, rows, columns) as (n, parts, rows, stride, columns of one stride): samples are neighbours.

    Beside a drawing light changes on as it does at its rim.
    """
    away = np.arange(1, _BEYOND + 1, dtype=np.float32)
    first, last = drawn[..., :1], drawn[..., -1:]
    before = first + away[::-1] * (first - drawn[..., 1:2])
    behind = last + away * (last - drawn[..., -2:-1])
    wide = np.concatenate([before, drawn, behind], axis=3)
    return np.stack([wide[..., start::_STRIDE] for start in range(_STRIDE)], axis=3)


def _moved(strided: Tables, shift: Array) -> Tables:
    """Drawings at the samples, (n, parts, rows, samples), moved outwards by shift (n,) mm: linear interpolation."""
    place = (OUT_MM[0] - shift - _S_MM[0]) / STEP_S_MM + _BEYOND
    cell = np.clip(np.floor(place).astype(np.int64), 0, _LAST_CELL)
    part = (place - cell)[:, None, None, None].astype(np.float32)
    windows = np.lib.stride_tricks.sliding_window_view(strided, len(OUT_MM), axis=4)
    near, far = (windows[np.arange(len(cell)), :, :, c % _STRIDE, c // _STRIDE] for c in (cell, cell + 1))
    far -= near
    far *= part
    far += near
    return np.asarray(far)
