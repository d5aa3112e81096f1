"""Locking the law to the fret crowns and finding their upper silhouette edge.

Crowns are alike in millimetres whatever the spacing, so profiles are compared in millimetres across the line
of sight.  m is measured from a fret's line, positive towards the camera.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from vision.locate.board import Board
from vision.locate.comb import Law
from vision.locate.segments import Floats, rotation

OFFSET_MM = np.linspace(-4.0, 4.0, 161)
STEP_MM = float(OFFSET_MM[1] - OFFSET_MM[0])
CROWN_RADIUS_MM = 1.3
"""Radius of a fret's rounded top: its upper silhouette stands this times (1 - cos a) from its highest line."""


@dataclass(frozen=True)
class Crowns:
    """law : numbered law of the crowns' tops.  agree (N,) correlation of each fret's crown with the common one.

    off (N,) : place of each fret beyond the law, in spacings.  view_sin : sine of the view angle over the board.
    """

    law: Law
    agree: Floats
    off: Floats
    view_sin: float


def towards_camera(board: Board, frets: int) -> float:
    """+1 where y grows towards the camera, else -1: from the scale across, or the picture's down when that ties."""
    first, last = board.mm_px(np.array([1.0, float(frets)]))
    body = float(np.sign(board.law.y(np.array(float(frets))) - board.law.y(np.array(1.0))))
    if last > 1.06 * first:
        return body
    if last < first / 1.06:
        return -body
    down = (np.array([0.0, 1.0]) @ rotation(board.strip.angle_rad).T)[1]
    return float(np.sign(down)) or 1.0


def view_sine(board: Board, frets: int, scale_mm: float = 640.0) -> float:
    """Sine of the angle between the line of sight and the board, from the spacing against the width."""
    k = np.arange(1.0, frets)
    gap_px = np.abs(board.law.y(k + 0.5) - board.law.y(k - 0.5))
    gap_mm = scale_mm * 2.0 ** (-k / 12.0) * (2.0 ** (1 / 24.0) - 2.0 ** (-1 / 24.0))
    return float(np.clip(np.median(gap_px / board.mm_px(k) / gap_mm), 0.02, 1.0))


def lock_crowns(y: Floats, tone: Floats, board: Board, frets: int) -> Crowns:
    """Refit the law to the crowns and move it to their tops; whole numbers must already stand on the crowns."""
    k = np.arange(1.0, frets + 1)
    near = towards_camera(board, frets)
    sine = view_sine(board, frets)
    scale = board.mm_px(k)
    slope = np.gradient(tone, y) * near
    law = board.law
    reach_mm = np.clip(1.1 + 1.5 * sine, 1.2, 2.6)
    agree = np.zeros(frets)
    off = np.zeros(frets)
    for round_ in range(5):
        centre = law.y(k)
        gap_mm = np.abs(law.y(k + 0.5) - law.y(k - 0.5)) / scale
        parts = np.interp(centre[:, None] + near * scale[:, None] * OFFSET_MM, y, slope) * scale[:, None]
        mask = np.abs(OFFSET_MM) < np.minimum(reach_mm, 0.6 * gap_mm)[:, None]
        template = _common(parts, mask, agree if round_ else np.ones(frets))
        limit = 0.8 if round_ < 2 else 0.4
        move, agree = _register(parts, template, np.minimum(reach_mm, 0.55 * gap_mm), np.minimum(limit, 0.3 * gap_mm))
        off = near * move * scale / (law.y(k + 0.5) - law.y(k - 0.5))
        weight = np.clip(agree - 0.3, 0.0, 1.0)
        if np.count_nonzero(weight > 0.1) < 8:
            break
        law = _refit(law, k, centre + near * move * scale, weight / np.abs(law.y(k + 0.5) - law.y(k - 0.5)))
    edge = _far_edge(y, slope, law, k, scale, near, agree)
    top = edge + CROWN_RADIUS_MM * (1.0 - np.sqrt(1.0 - sine**2))
    law = _refit(law, k, law.y(k) + near * top * scale, np.ones(frets))
    return Crowns(law, agree, off, sine)


def _common(parts: Floats, mask: Floats, weight: Floats) -> Floats:
    """Common slope profile of the crowns; frets weighted by agreement, samples by the mask."""
    size = np.sqrt(np.sum(parts**2 * mask, axis=1, keepdims=True) / np.maximum(mask.sum(axis=1, keepdims=True), 1))
    w = mask * np.clip(weight, 0.05, 1.0)[:, None]
    return np.asarray(np.sum(w * parts / np.maximum(size, 1.0), axis=0) / np.maximum(w.sum(axis=0), 1e-6))


def _register(parts: Floats, template: Floats, reach_mm: Floats, limit_mm: Floats) -> tuple[Floats, Floats]:
    """Shift (mm) of each profile against the template and the correlation there."""
    move, agree = np.zeros(len(parts)), np.zeros(len(parts))
    n = len(OFFSET_MM)
    for i, part in enumerate(parts):
        half = int(round(reach_mm[i] / STEP_MM))
        most = max(1, int(round(limit_mm[i] / STEP_MM)))
        most = min(most, n // 2 - half)
        t = template[n // 2 - half : n // 2 + half + 1]
        window = np.lib.stride_tricks.sliding_window_view(
            part[n // 2 - half - most : n // 2 + half + most + 1], 2 * half + 1
        )
        norm = np.sqrt(np.sum(window**2, axis=1) * np.sum(t**2)) + 1.0
        value = window @ t / norm
        j = int(np.argmax(value))
        fine = 0.0
        if 0 < j < len(value) - 1:
            bend = value[j - 1] - 2 * value[j] + value[j + 1]
            fine = 0.5 * float(value[j - 1] - value[j + 1]) / float(bend) if bend < 0 else 0.0
            move[i], agree[i] = (j + fine - most) * STEP_MM, value[j]
    return move, agree


def _refit(law: Law, k: Floats, where: Floats, weight: Floats) -> Law:
    """Law through places of frets, robust against single bad ones; weight in 1/px-like units."""
    y0 = float(where.mean())
    size = float(np.ptp(where)) or 1.0
    z = 1.0 - 2.0 ** (-k / 12.0)
    start = np.array([(law.a - y0) / size, (law.b - law.c * y0) / size, law.c])

    def miss(p: Floats) -> Floats:
        return np.asarray(((p[0] + p[1] * z) / (1.0 + p[2] * z) * size - (where - y0)) * weight)

    fit = least_squares(miss, start, loss="soft_l1", f_scale=0.03, x_scale=[0.1, 0.1, 0.1])
    a, b, c = fit.x
    return Law(float(a * size + y0), float(b * size + c * y0), float(c))


def _far_edge(y: Floats, slope: Floats, law: Law, k: Floats, scale: Floats, near: float, agree: Floats) -> float:
    """Offset (mm) of the crown's edge farthest from the camera: first strong common slope seen from the far side."""
    gap_mm = np.abs(law.y(k + 0.5) - law.y(k - 0.5)) / scale
    parts = np.interp(law.y(k)[:, None] + near * scale[:, None] * OFFSET_MM, y, slope) * scale[:, None]
    wide = np.argsort(-gap_mm)[: max(6, len(k) // 2)]
    mask = np.abs(OFFSET_MM) < np.minimum(3.2, 0.6 * gap_mm[wide])[:, None]
    common = _common(parts[wide], mask, agree[wide])
    common = np.where(mask.sum(axis=0) >= 4, common, 0.0)
    strong = np.abs(common)
    limit = 0.4 * float(strong[np.abs(OFFSET_MM) < 2.6].max())
    for i in range(1, len(common) - 1):
        if strong[i] >= limit and strong[i] >= strong[i - 1] and strong[i] > strong[i + 1]:
            return float(OFFSET_MM[i])
    return 0.0
