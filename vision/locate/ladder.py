"""Candidate necks: stacks of rungs whose ends lie on two straight lines.

No spacing law is used here.  A stack is any set of near-parallel rungs that overlap sideways and stand no
farther apart than about their own length; the two edge lines are found by consensus over pairs of rungs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from vision.locate.segments import Floats, Rungs, rotation, rungs_along

WINDOW_RAD = np.deg2rad(12.0)
END_TOLERANCE = 0.06
"""A rung's end belongs to an edge line when nearer than this share of the width."""


@dataclass(frozen=True)
class Strip:
    """A stack of rungs between two straight edges, in a frame turned by angle_rad.

    In the turned frame (x along the rungs, y across them) the edges are x = left[0] + left[1] y and
    x = right[0] + right[1] y.  A rung through (middle, y) is the curve
    y + w (tilt[0] + tilt[1] y)(u - 1/2) + w (bow[0] + bow[1] y) 4u(1 - u), u = 0..1 across, w the width;
    the bow is the board's radius seen at an angle.
    y_range is where rungs were seen; support counts them.
    """

    angle_rad: float
    left: tuple[float, float]
    right: tuple[float, float]
    tilt: tuple[float, float]
    bow: tuple[float, float]
    y_range: tuple[float, float]
    support: float

    def width(self, y: Floats) -> Floats:
        return np.asarray(
            self.right[0] - self.left[0] + (self.right[1] - self.left[1]) * np.asarray(y), dtype=np.float64
        )

    def points(self, u: Floats, y: Floats) -> Floats:
        """Picture points (..., 2) of positions u across (0 left, 1 right) on the rungs at y; u, y
        broadcast."""
        w = self.width(y)
        slope = self.tilt[0] + self.tilt[1] * y
        bow = self.bow[0] + self.bow[1] * y
        down = y + w * (slope * (u - 0.5) + bow * 4.0 * u * (1.0 - u))
        across = (1.0 - u) * (self.left[0] + self.left[1] * down) + u * (self.right[0] + self.right[1] * down)
        return np.stack([across, down], axis=-1) @ rotation(self.angle_rad).T

    def scaled(self, factor: float) -> Strip:
        """The same strip in a picture `factor` times as large (pixel centres at integers)."""
        shift = 0.5 * (factor - 1.0)
        dx, dy = np.array([shift, shift]) @ rotation(self.angle_rad)
        return Strip(
            self.angle_rad,
            (self.left[0] * factor + dx - self.left[1] * dy, self.left[1]),
            (self.right[0] * factor + dx - self.right[1] * dy, self.right[1]),
            (self.tilt[0] - self.tilt[1] / factor * dy, self.tilt[1] / factor),
            (self.bow[0] - self.bow[1] / factor * dy, self.bow[1] / factor),
            (self.y_range[0] * factor + dy, self.y_range[1] * factor + dy),
            self.support,
        )


def strip_from_corners(corners_px: Floats) -> Strip:
    """Strip between the corners (4, 2): nut bass side, nut treble side, last fret treble side, last fret
    bass side."""
    along = corners_px[1] - corners_px[0] + corners_px[2] - corners_px[3]
    angle = float(np.arctan2(along[1], along[0]))
    turned = corners_px @ rotation(angle)
    left = np.polyfit(turned[[0, 3], 1], turned[[0, 3], 0], 1)
    right = np.polyfit(turned[[1, 2], 1], turned[[1, 2], 0], 1)
    rungs = turned[[1, 2]] - turned[[0, 3]]
    middle = 0.5 * (turned[[0, 3], 1] + turned[[1, 2], 1])
    tilt = np.polyfit(middle, rungs[:, 1] / rungs[:, 0], 1)
    return Strip(
        angle,
        (float(left[1]), float(left[0])),
        (float(right[1]), float(right[0])),
        (float(tilt[1]), float(tilt[0])),
        (0.0, 0.0),
        (float(middle.min()), float(middle.max())),
        0.0,
    )


def find_strips(segments: Floats, most: int = 4) -> list[Strip]:
    """Best-supported stacks of rungs in any direction, best first, overlapping finds dropped."""
    found: list[Strip] = []
    for start in np.arange(0.0, np.pi, WINDOW_RAD):
        rungs = rungs_along(segments, float(start), 1.2 * WINDOW_RAD)
        for member in _stacks(rungs):
            # Turn again to the stack's own mean direction: its width is then measured along the rungs.
            stack = rungs.take(member)
            along = np.sum(stack.right - stack.left, axis=0)
            turn = float(np.arctan2(along[1], along[0]))
            stack = Rungs(stack.angle_rad + turn, stack.left @ rotation(turn), stack.right @ rotation(turn))
            strip = _edges_by_consensus(stack)
            if strip is not None:
                found.append(strip)
    found.sort(key=lambda s: -s.support)
    kept: list[Strip] = []
    for strip in found:
        if len(kept) < most and not any(_same_place(strip, other) for other in kept):
            kept.append(strip)
    return kept


def _stacks(rungs: Rungs, fewest: int = 8) -> list[NDArray[np.intp]]:
    """Connected sets of rungs that overlap sideways and follow one another closely."""
    n = len(rungs.left)
    if n < fewest:
        return []
    length, middle = rungs.length, rungs.middle
    overlap = np.minimum(rungs.right[:, None, 0], rungs.right[None, :, 0]) - np.maximum(
        rungs.left[:, None, 0], rungs.left[None, :, 0]
    )
    shorter = np.minimum(length[:, None], length[None, :])
    step = np.abs(middle[:, None, 1] - middle[None, :, 1])
    slope = (rungs.right[:, 1] - rungs.left[:, 1]) / np.maximum(length, 1e-6)
    near = (
        (overlap > 0.5 * shorter) & (step < 1.1 * shorter) & (np.abs(slope[:, None] - slope[None, :]) < 0.2)
    )
    i, j = np.nonzero(np.triu(near, 1))
    graph = coo_matrix((np.ones(len(i), dtype=np.int8), (i, j)), shape=(n, n))
    label = connected_components(graph, directed=False)[1]
    count = np.bincount(label)
    return [np.flatnonzero(label == k) for k in np.flatnonzero(count >= fewest)]


def _edges_by_consensus(rungs: Rungs, fewest_full: int = 6) -> Strip | None:
    """Edge lines that most rungs of the stack reach on both sides."""
    left, right, length = rungs.left, rungs.right, rungs.length
    order = np.argsort(-length)[:70]
    i, j = np.repeat(order, len(order)), np.tile(order, len(order))
    dy = 0.5 * (left[j, 1] + right[j, 1]) - 0.5 * (left[i, 1] + right[i, 1])
    keep = dy > 0.35 * np.maximum(length[i], length[j])
    i, j = i[keep], j[keep]
    if len(i) == 0:
        return None
    l1 = (left[j, 0] - left[i, 0]) / np.maximum(left[j, 1] - left[i, 1], 1.0)
    r1 = (right[j, 0] - right[i, 0]) / np.maximum(right[j, 1] - right[i, 1], 1.0)
    keep = (np.abs(l1) < 2.5) & (np.abs(r1) < 2.5)
    i, j, l1, r1 = i[keep], j[keep], l1[keep], r1[keep]
    if len(i) == 0:
        return None
    l0 = left[i, 0] - l1 * left[i, 1]
    r0 = right[i, 0] - r1 * right[i, 1]
    ahead = left[None, :, 0] - (l0[:, None] + l1[:, None] * left[None, :, 1])
    behind = (r0[:, None] + r1[:, None] * right[None, :, 1]) - right[None, :, 0]
    middle_y = rungs.middle[:, 1]
    width = (r0 - l0)[:, None] + (r1 - l1)[:, None] * middle_y[None, :]
    wide = width > 4.0
    width = np.maximum(width, 4.0)
    a, b = ahead / width, behind / width
    full = wide & (np.abs(a) < END_TOLERANCE) & (np.abs(b) < END_TOLERANCE)
    half = wide & ~full & (a > -END_TOLERANCE) & (b > -END_TOLERANCE)
    half &= (np.abs(a) < END_TOLERANCE) | (np.abs(b) < END_TOLERANCE)
    inner = wide & ~full & ~half & (a > 0) & (b > 0)
    low = np.where(full, middle_y, np.inf).min(axis=1)
    high = np.where(full, middle_y, -np.inf).max(axis=1)
    inside = (middle_y >= low[:, None]) & (middle_y <= high[:, None])
    overlaps = (1.0 - a - b > 0.3) & (a < 0.9) & (b < 0.9)
    outside = wide & inside & overlaps & ((a < -1.5 * END_TOLERANCE) | (b < -1.5 * END_TOLERANCE))
    share = np.clip(length[None, :] / width, 0.0, 1.0)
    score = np.sum(full * 1.0 + half * share * 0.6 + inner * share * 0.1 * inside - outside * 0.7, axis=1)
    best = int(np.argmax(score))
    if full[best].sum() < fewest_full:
        return None
    return _finish(rungs, full[best], (full | half | inner)[best] & inside[best], float(score[best]))


def _finish(rungs: Rungs, full: NDArray[np.bool_], member: NDArray[np.bool_], support: float) -> Strip | None:
    """Edge lines refitted to all full rungs; tilt and bow of the rungs from the slopes of all pieces
    inside."""
    left = np.polyfit(rungs.left[full, 1], rungs.left[full, 0], 1)
    right = np.polyfit(rungs.right[full, 1], rungs.right[full, 0], 1)
    y = rungs.middle[member, 1]
    width = right[1] - left[1] + (right[0] - left[0]) * y
    y_all = rungs.middle[full, 1]
    y_range = (float(y_all.min()), float(y_all.max()))
    ends = right[1] - left[1] + (right[0] - left[0]) * np.array(y_range)
    if np.any(ends < 6.0) or np.any(width < 4.0):
        return None
    u = (rungs.middle[member, 0] - left[1] - left[0] * y) / width
    slope = (rungs.right[member, 1] - rungs.left[member, 1]) / np.maximum(rungs.length[member], 1e-6)
    # d(down)/d(u) over d(across)/d(u) = width: tilt + bow 4 (1 - 2u).
    basis = np.stack([np.ones_like(y), y, 4.0 * (1.0 - 2.0 * u)], axis=1)
    scale = np.array([1.0, max(1.0, float(np.abs(y).max())), 1.0])
    weight = rungs.length[member]
    for _ in range(4):
        tilt0, tilt1, bow = (
            np.linalg.lstsq(basis / scale * weight[:, None], slope * weight, rcond=None)[0] / scale
        )
        left_over = np.abs(slope - basis @ np.array([tilt0, tilt1, bow]))
        weight = rungs.length[member] / (1.0 + (left_over / 0.02) ** 2)
    return Strip(
        rungs.angle_rad,
        (float(left[1]), float(left[0])),
        (float(right[1]), float(right[0])),
        (float(tilt0), float(tilt1)),
        (float(bow), 0.0),
        y_range,
        support,
    )


def _same_place(a: Strip, b: Strip) -> bool:
    """Whether the middle of strip a lies inside strip b and they run the same way."""
    y = np.array(0.5 * (a.y_range[0] + a.y_range[1]))
    centre = a.points(np.array(0.5), y) @ rotation(b.angle_rad)
    low, high = b.y_range
    w = float(b.width(centre[1]))
    x_mid = 0.5 * (b.left[0] + b.right[0] + (b.left[1] + b.right[1]) * centre[1])
    turn = abs((a.angle_rad - b.angle_rad + np.pi / 2) % np.pi - np.pi / 2)
    return bool(low - w < centre[1] < high + w and abs(centre[0] - x_mid) < 0.5 * w and turn < 0.3)
