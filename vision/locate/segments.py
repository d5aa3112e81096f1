"""Straight edges of a reduced picture, and the rungs they make up.

An edge found by the segment detector is broken wherever a string crosses a fret; the pieces are joined again
into rungs before anything is concluded from their lengths.  Points are (x, y), pixel centres at integers.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

Floats = NDArray[np.float64]

MAX_SEGMENTS = 4000
"""Only so many of the longest edges are kept: a lawn or a carpet yields tens of thousands."""


@dataclass(frozen=True)
class Rungs:
    """Rungs of nearly one direction, in a frame turned so that they run along x.

    angle_rad : turn of the frame: picture point = rotation(angle) @ frame point.
    left, right : (n, 2) ends in the turned frame, left having the smaller x.
    """

    angle_rad: float
    left: Floats
    right: Floats

    @property
    def length(self) -> Floats:
        return np.asarray(self.right[:, 0] - self.left[:, 0], dtype=np.float64)

    @property
    def middle(self) -> Floats:
        return 0.5 * (self.left + self.right)

    def take(self, index: NDArray[np.intp]) -> Rungs:
        return Rungs(self.angle_rad, self.left[index], self.right[index])


def rotation(angle_rad: float) -> Floats:
    """(2, 2) matrix that turns (x, y) by angle_rad, from x towards y (downwards in the picture)."""
    c, s = float(np.cos(angle_rad)), float(np.sin(angle_rad))
    return np.array([[c, -s], [s, c]])


def find_segments(grey: NDArray[np.uint8], shortest_px: float = 8.0) -> Floats:
    """Edges of a grey picture as (n, 4) rows x1, y1, x2, y2; the order of the ends tells light from dark."""
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE, scale=1.0)
    found = detector.detect(np.ascontiguousarray(grey))[0]
    if found is None:
        return np.zeros((0, 4))
    segments = np.asarray(found, dtype=np.float64).reshape(-1, 4)
    length = np.hypot(segments[:, 2] - segments[:, 0], segments[:, 3] - segments[:, 1])
    keep = np.flatnonzero(length >= shortest_px)
    keep = keep[np.argsort(-length[keep])][:MAX_SEGMENTS]
    return segments[keep]


def rungs_along(segments: Floats, angle_rad: float, half_width_rad: float) -> Rungs:
    """Edges within half_width_rad of one direction, joined across the gaps that strings cut.

    Two pieces are joined when they run on in one line, with the same side lighter, and the gap is short.
    """
    turned = (segments.reshape(-1, 2, 2) @ rotation(angle_rad)).reshape(-1, 4)
    dx, dy = turned[:, 2] - turned[:, 0], turned[:, 3] - turned[:, 1]
    off = np.abs(np.arctan2(dy, dx))
    keep = np.minimum(off, np.pi - off) <= half_width_rad
    turned, polarity = turned[keep], np.sign(dx[keep])
    swap = polarity < 0
    turned[swap] = turned[swap][:, [2, 3, 0, 1]]
    left, right = turned[:, :2], turned[:, 2:]
    if len(turned) == 0:
        return Rungs(angle_rad, left, right)
    label = _joined(left, right, polarity)
    order = np.lexsort((left[:, 0], label))
    first = np.r_[True, np.diff(label[order]) != 0]
    new_left = left[order][first]
    order = np.lexsort((-right[:, 0], label))
    return Rungs(angle_rad, new_left, right[order][first])


def _joined(left: Floats, right: Floats, polarity: Floats) -> NDArray[np.int32]:
    """Label of the rung each piece belongs to."""
    n = len(left)
    length = right[:, 0] - left[:, 0]
    slope = (right[:, 1] - left[:, 1]) / np.maximum(length, 1e-6)
    # Pairs (i, j) with i to the left of j.
    gap = left[None, :, 0] - right[:, None, 0]
    longer = np.maximum(length[:, None], length[None, :])
    near = (
        (gap > -2.0) & (gap < np.minimum(0.6 * longer + 3.0, 40.0)) & (polarity[:, None] == polarity[None, :])
    )
    i, j = np.nonzero(near)
    here = 0.5 * gap[i, j]
    from_i = right[i, 1] + slope[i] * here
    from_j = left[j, 1] - slope[j] * here
    fits = np.abs(from_i - from_j) < 1.2 + 0.03 * np.maximum(gap[i, j], 0.0)
    fits &= np.abs(slope[i] - slope[j]) < 0.12
    i, j = i[fits], j[fits]
    graph = coo_matrix((np.ones(len(i), dtype=np.int8), (i, j)), shape=(n, n))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int32)
