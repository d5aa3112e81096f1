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
CROWN_RADIUS_MM = 1.1
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


def towards_camera(board: Board, first_fret: float, last_fret: float) -> float:
    """+1 where y grows towards the camera, else -1: from the scale across, or the picture's down when that ties."""
    first, last = board.mm_px(np.array([first_fret, last_fret]))
    body = float(np.sign(board.law.y(np.array(last_fret)) - board.law.y(np.array(first_fret))))
    if last > 1.06 * first:
        return body
    if last < first / 1.06:
        return -body
    down = (np.array([0.0, 1.0]) @ rotation(board.strip.angle_rad).T)[1]
    return float(np.sign(down)) or 1.0


def view_sine(board: Board, k: Floats, scale_mm: float = 640.0) -> float:
    """Sine of the angle between the line of sight and the board, from the spacing against the width."""
    gap_px = np.abs(board.law.y(k + 0.5) - board.law.y(k - 0.5))
    gap_mm = scale_mm * 2.0 ** (-k / 12.0) * (2.0 ** (1 / 24.0) - 2.0 ** (-1 / 24.0))
    return float(np.clip(np.median(gap_px / board.mm_px(k) / gap_mm), 0.02, 1.0))


def lock_crowns(y: Floats, tone: Floats, board: Board, k: Floats, any_phase: bool = False) -> Crowns:
    """Refit the law to the crowns of frets k and move it to their tops.

    any_phase : the law may stand anywhere between the frets; else it stands near the crowns already.
    """
    near = towards_camera(board, float(k[0]), float(k[-1]))
    sine = view_sine(board, k)
    scale = board.mm_px(k)
    slope = np.gradient(tone, y) * near
    phases = np.arange(-4, 4) / 8.0 if any_phase else np.zeros(1)
    best: tuple[float, Law, Floats, Floats] | None = None
    for phase in phases:
        law, agree, off, strength = _lock(y, slope, board.law.renumbered(float(phase)), k, scale, near, sine, 4)
        if best is None or strength > best[0]:
            best = (strength, law, agree, off)
    assert best is not None
    _, law, agree, off = best
    edge = _far_edge(y, slope, law, k, scale, near, agree, sine)
    top = edge + CROWN_RADIUS_MM * (1.0 - np.sqrt(1.0 - sine**2))
    law = _refit(law, k, law.y(k) + near * top * scale, np.ones(len(k)))
    return Crowns(law, agree, off, sine)


def _lock(
    y: Floats, slope: Floats, law: Law, k: Floats, scale: Floats, near: float, sine: float, rounds: int
) -> tuple[Law, Floats, Floats, float]:
    """Register all crowns to their common profile and refit, a few times: law, agreement, offsets, strength."""
    reach_mm = float(np.clip(1.1 + 1.5 * sine, 1.2, 2.6))
    agree, off, strength = np.ones(len(k)), np.zeros(len(k)), 0.0
    for turn in range(rounds):
        centre = law.y(k)
        gap_px = law.y(k + 0.5) - law.y(k - 0.5)
        gap_mm = np.abs(gap_px) / scale
        parts = np.interp(centre[:, None] + near * scale[:, None] * OFFSET_MM, y, slope) * scale[:, None]
        mask = np.abs(OFFSET_MM) < np.minimum(reach_mm, 0.6 * gap_mm)[:, None]
        template = _common(parts, mask, agree)
        limit = 0.8 if turn < 2 else 0.4
        move, agree = _register(
            parts, template, np.minimum(reach_mm, 0.55 * gap_mm), np.minimum(limit, 0.3 * gap_mm)
        )
        off = near * move * scale / gap_px
        weight = np.clip(agree - 0.3, 0.0, 1.0)
        if np.count_nonzero(weight > 0.1) < 8:
            break
        law = _refit(law, k, centre + near * move * scale, weight / np.abs(gap_px))
        middle = np.abs(OFFSET_MM) < reach_mm
        strength = float(np.mean(template[middle] ** 2))
    return law, agree, off, strength


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

    fit = least_squares(miss, start, loss="cauchy", f_scale=0.03, x_scale=[0.1, 0.1, 0.1])
    a, b, c = fit.x
    return Law(float(a * size + y0), float(b * size + c * y0), float(c))


def _far_edge(
    y: Floats, slope: Floats, law: Law, k: Floats, scale: Floats, near: float, agree: Floats, sine: float
) -> float:
    """Offset (mm) of the crown's edge farthest from the camera.

    The first strong slope, seen from the far side, that all frets share at one distance in millimetres.  A slope
    that rather keeps its distance from the next fret belongs to that fret.
    """
    gap_mm = np.abs(law.y(k + 0.5) - law.y(k - 0.5)) / scale
    most = 1.4 + 1.6 * sine
    parts = np.interp(law.y(k)[:, None] + near * scale[:, None] * OFFSET_MM, y, slope) * scale[:, None]
    norm = np.maximum(np.sqrt(np.mean(parts[:, np.abs(OFFSET_MM) < 1.5] ** 2, axis=1)), 1.0)
    agreeing = np.clip(agree, 0.05, 1.0)
    # Where frets stand close, the valley before each one is the next fret's edge as well: widest gaps count.
    clear = agreeing * (gap_mm >= np.sort(gap_mm)[-max(6, int(0.4 * len(k)))])

    def shared(distance_mm: Floats, weight: Floats) -> float:
        value = np.interp(law.y(k) + near * scale * distance_mm, y, slope) * scale / norm
        return float(np.sum(weight * value) / np.sum(weight))

    profile = np.sum(clear[:, None] * parts / norm[:, None], axis=0) / np.sum(clear)
    profile = _sharpened(profile)
    strong = np.abs(profile)
    inside = np.abs(OFFSET_MM) <= most
    limit = 0.4 * float(strong[inside].max())
    mean_gap = float(np.sum(clear * gap_mm) / np.sum(clear))
    for i in np.flatnonzero(inside):
        if strong[i] < limit or strong[i] < strong[i - 1] or strong[i] <= strong[i + 1]:
            continue
        # The same slope read as the next fret's: -gap + c, c giving the same mean distance.
        place, wanted = float(OFFSET_MM[i]), np.sign(profile[i])
        ours = wanted * shared(np.full(len(k), place), agreeing)
        theirs = max(
            wanted * shared(-gap_mm + place + mean_gap + d, agreeing) for d in (-0.3, -0.15, 0.0, 0.15, 0.3)
        )
        if theirs < ours:
            return place
    return 0.0


def _sharpened(profile: Floats) -> Floats:
    """The profile with its lobes narrowed, so that two edges run together by blur show apart.

    Subtracting a share of the second derivative narrows a Gaussian of variance v to about v - 2 x share; the
    share is set by the narrowest strong lobe.
    """
    strong = np.abs(profile)
    high = strong >= 0.5 * strong.max()
    variance = np.inf
    for i in range(1, len(profile) - 1):
        if high[i] and strong[i] >= strong[i - 1] and strong[i] > strong[i + 1]:
            below = strong < 0.5 * strong[i]
            left, right = np.flatnonzero(below[:i]), np.flatnonzero(below[i:])
            if len(left) and len(right):
                width = (right[0] + i - left[-1]) * STEP_MM
                variance = min(variance, (width / 2.355) ** 2)
    if not np.isfinite(variance):
        return profile
    bend = np.gradient(np.gradient(profile, STEP_MM), STEP_MM)
    return np.asarray(profile - 0.35 * variance * bend)
