"""Locking the law to the fret crowns and finding their upper silhouette edge.

Crowns are alike in millimetres whatever the spacing, so profiles are compared in millimetres across the line
of sight.  m is measured from a fret's line, positive towards the camera.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.optimize import least_squares

from vision.locate.board import Board, gap_mm
from vision.locate.comb import Law, by_projection, projected
from vision.locate.segments import Floats, rotation

OFFSET_MM = np.linspace(-4.0, 4.0, 161)
STEP_MM = float(OFFSET_MM[1] - OFFSET_MM[0])
LEAST_COLOUR = 0.8
"""Least rms slope of the warmth at the crowns, steps of the stored colour a mm, to be more than noise."""
LEAST_SHARED, LEAST_FALL = 0.5, 0.3
"""A colour counts when all frets share this much of their own rms slope; about 0 where it shows no frets. And the least
fall of warmth, where a rise tells that it is a crown's."""
LEAST_RISE = 0.3
"""Share of the strongest edge that the far edge of a bright crown has at least."""
CROWN_RADIUS_MM = 1.1
"""Radius of a fret's rounded top: its upper silhouette stands this times (1 - cos a) from its highest
line."""


@dataclass(frozen=True)
class Tones:
    """Tones shared by the columns along a strip, each (rows,) at y (strip coordinate, px).

    lock : the one that shows the frets best.  grey : lightness.  warm : yellow and red against blue and
        green.
    """

    y: Floats
    lock: Floats
    grey: Floats
    warm: Floats


@dataclass(frozen=True)
class Crowns:
    """law : numbered law of one line on the crowns.  agree (n,) correlation of each crown with all."""

    law: Law
    agree: Floats


def towards_camera(board: Board, first_fret: float, last_fret: float) -> float:
    """+1 where y grows towards the camera, else -1: from the scale across, or the picture's down when that
    ties."""
    first, last = board.px_per_mm(np.array([first_fret, last_fret]))
    body = float(np.sign(board.law.y(np.array(last_fret)) - board.law.y(np.array(first_fret))))
    if last > 1.06 * first:
        return body
    if last < first / 1.06:
        return -body
    down = (np.array([0.0, 1.0]) @ rotation(board.strip.angle_rad).T)[1]
    return float(np.sign(down)) or 1.0


def view_sine(board: Board, k: Floats, scale_mm: float = 640.0) -> float:
    """Sine of the angle between the line of sight and the board, from the spacing against the width."""
    upright_mm = scale_mm * 2.0 ** (-k / 12.0) * (2.0 ** (1 / 24.0) - 2.0 ** (-1 / 24.0))
    return float(np.clip(np.median(gap_mm(board.law, k, board.px_per_mm(k)) / upright_mm), 0.02, 1.0))


def crown_mm(sine: float) -> float:
    """How wide a crown looks at most along a neck seen at this sine, mm: its height from low down, its width above."""
    return 1.1 + 1.3 * sine


def lock_crowns(tones: Tones, board: Board, k: Floats, any_phase: bool = False) -> Crowns:
    """Refit the law to the crowns of frets k; its whole numbers then stand on one line fixed to the crowns.

    any_phase : the law may stand anywhere between the frets at first; else it stands near the crowns already.
    """
    near = towards_camera(board, float(k[0]), float(k[-1]))
    sine = view_sine(board, k)
    scale = board.px_per_mm(k)
    y, slope = tones.y, np.gradient(tones.lock, tones.y) * near
    phases = np.arange(-4, 4) / 8.0 if any_phase else np.zeros(1)
    tries = [_lock(y, slope, board.law.renumbered(float(p)), k, scale, near, sine, 4) for p in phases]
    law, agree, _ = max(tries, key=lambda each: each[2])
    return Crowns(law, agree)


def move_to_tops(tones: Tones, board: Board, k: Floats, agree: Floats, settled: bool = False) -> Law:
    """The law moved from its line on the crowns to their tops, seen against the board behind them.

    Wood is warm and fret wire is not, so the tops are where warmth falls towards the camera.  Colour tells which
    edge it is, lightness where exactly, for colour is stored coarsely.
    settled : the law has been moved before and only a short way may be left.
    """
    near = towards_camera(board, float(k[0]), float(k[-1]))
    sine = view_sine(board, k)
    scale = board.px_per_mm(k)
    rounding_mm = CROWN_RADIUS_MM * (1.0 - float(np.sqrt(1.0 - sine**2)))
    most_mm = 1.1 + rounding_mm if settled else 1.4 + 1.6 * sine
    view = _View(tones.y, board.law, k, scale, near, np.clip(agree, 0.05, 1.0), most_mm, crown_mm(sine))
    edge = _top_edge(view, np.gradient(tones.grey, tones.y) * near, np.gradient(tones.warm, tones.y) * near)
    return _refit(board.law, k, board.law.y(k) + near * (edge + rounding_mm) * scale, np.ones(len(k)))


def _lock(
    y: Floats, slope: Floats, law: Law, k: Floats, scale: Floats, near: float, sine: float, rounds: int
) -> tuple[Law, Floats, float]:
    """Register all crowns to their common profile and refit, a few times: law, agreement (n,) of each crown with
    the profile, and mean square slope of the profile, by which laws of other phase are compared."""
    reach_mm = float(np.clip(1.1 + 1.5 * sine, 1.2, 2.6))
    agree, strength = np.ones(len(k)), 0.0
    for turn in range(rounds):
        centre = law.y(k)
        space_mm = gap_mm(law, k, scale)
        parts = np.interp(centre[:, None] + near * scale[:, None] * OFFSET_MM, y, slope) * scale[:, None]
        mask = np.abs(OFFSET_MM) < np.minimum(reach_mm, 0.6 * space_mm)[:, None]
        template = _common(parts, mask, agree)
        limit = 0.8 if turn < 2 else 0.4
        move, agree = _register(
            parts, template, np.minimum(reach_mm, 0.55 * space_mm), np.minimum(limit, 0.3 * space_mm)
        )
        weight = np.clip(agree - 0.3, 0.0, 1.0)
        if np.count_nonzero(weight > 0.1) < 8:
            break
        law = _refit(law, k, centre + near * move * scale, weight / np.abs(law.step_px(k)))
        middle = np.abs(OFFSET_MM) < reach_mm
        strength = float(np.mean(template[middle] ** 2))
    return law, agree, strength


def _common(parts: Floats, mask: NDArray[np.bool_], weight: Floats) -> Floats:
    """Common slope profile of the crowns; frets weighted by agreement, samples by the mask."""
    size = np.sqrt(
        np.sum(parts**2 * mask, axis=1, keepdims=True) / np.maximum(mask.sum(axis=1, keepdims=True), 1)
    )
    w = mask * np.clip(weight, 0.05, 1.0)[:, None]
    return np.asarray(np.sum(w * parts / np.maximum(size, 1.0), axis=0) / np.maximum(w.sum(axis=0), 1e-6))


def _register(parts: Floats, template: Floats, reach_mm: Floats, limit_mm: Floats) -> tuple[Floats, Floats]:
    """Shift (mm) of each profile against the template and the correlation there."""
    move, agree = np.zeros(len(parts)), np.zeros(len(parts))
    n = len(OFFSET_MM)
    for i, part in enumerate(parts):
        half = round(reach_mm[i] / STEP_MM)
        most = max(1, round(limit_mm[i] / STEP_MM))
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
        return np.asarray((projected(z, p) * size - (where - y0)) * weight)

    def by_law(p: Floats) -> Floats:
        return by_projection(z, p) * (size * weight)[:, None]

    fit = least_squares(miss, start, jac=by_law, loss="cauchy", f_scale=0.03, x_scale=[0.1, 0.1, 0.1])
    a, b, c = fit.x
    return Law(float(a * size + y0), float(b * size + c * y0), float(c))


@dataclass(frozen=True)
class _View:
    """Frets k of a law seen along the neck: scale px per mm, near the sign of y towards the camera.

    weight (n,) trust in each fret; most_mm how far an edge may be from the law's line; crown_mm how wide a crown looks.
    """

    y: Floats
    law: Law
    k: Floats
    scale: Floats
    near: float
    weight: Floats
    most_mm: float
    crown_mm: float

    def shared(self, slope: Floats, distance_mm: Floats) -> float:
        """Mean slope of all frets at their distances from the law, in units of each fret's own rms slope."""
        at = self.law.y(self.k) + self.near * self.scale * distance_mm
        value = np.interp(at, self.y, slope) * self.scale / self.size(slope)
        return float(np.sum(self.weight * value) / np.sum(self.weight))

    def profile(self, slope: Floats) -> Floats:
        """Common slope over OFFSET_MM of the frets with the widest gaps.

        Where frets stand close, the valley before each one is the next fret's edge as well.
        """
        gap = self.space_mm
        clear = self.weight * (gap >= np.sort(gap)[-max(6, int(0.4 * len(gap)))])
        parts = self._parts(slope) / self.size(slope)[:, None]
        return np.asarray(np.sum(clear[:, None] * parts, axis=0) / np.sum(clear))

    @property
    def zone_mm(self) -> Floats:
        """Offsets at which an edge may be."""
        return np.asarray(OFFSET_MM[np.abs(OFFSET_MM) <= self.most_mm])

    @property
    def space_mm(self) -> Floats:
        return gap_mm(self.law, self.k, self.scale)

    def _parts(self, slope: Floats) -> Floats:
        at = self.law.y(self.k)[:, None] + self.near * self.scale[:, None] * OFFSET_MM
        return np.asarray(np.interp(at, self.y, slope) * self.scale[:, None])

    def size(self, slope: Floats) -> Floats:
        middle = self._parts(slope)[:, np.abs(OFFSET_MM) < 1.5]
        return np.asarray(np.maximum(np.sqrt(np.mean(middle**2, axis=1)), 1.0))


def _top_edge(view: _View, grey: Floats, warm: Floats) -> float:
    """Offset (mm) of the crowns' edge farthest from the camera."""
    lightness = _sharpened(view.profile(grey))
    places = _extrema(np.abs(lightness), view.most_mm)
    strongest = max((abs(lightness[i]) for i in places), default=0.0)
    strong = [i for i in places if abs(lightness[i]) >= 0.4 * strongest]
    colour = _colour_edge(view, warm, lightness)
    if colour is None:
        first = (i for i in strong if not _is_next_fret(view, grey, i, lightness[i]))
        return next((float(OFFSET_MM[i]) for i in first), 0.0)
    at, width = colour
    tolerance = float(np.clip(0.45 * width, 0.2, 1.0))
    close = [i for i in strong if abs(OFFSET_MM[i] - at) <= tolerance]
    # Before a foot, colour and lightness fall apart by up to the blur of the colour.
    feet = [i for i in strong if lightness[i] < 0 and 0.0 < at - OFFSET_MM[i] <= width]
    if not close and not feet:
        return at
    best = min(close or feet, key=lambda i: abs(OFFSET_MM[i] - at))
    # A crown that mirrors a lamp is warmer than dark wood: the warmth then falls at its foot, where light falls as
    # well, and the top is where the light rose.
    falls = lightness[best] < 0
    rises = [i for i in places if falls and lightness[i] >= LEAST_RISE * strongest]
    before = [i for i in rises if 0.0 < OFFSET_MM[best] - OFFSET_MM[i] <= view.crown_mm]
    own = (i for i in before if not _is_next_fret(view, grey, i, lightness[i]))
    return float(OFFSET_MM[next(own, best)])


def _is_next_fret(view: _View, grey: Floats, i: int, polarity: float) -> bool:
    """Whether the slope at offset i is shared better by the edges of the next nearer frets."""
    place, wanted = float(OFFSET_MM[i]), float(np.sign(polarity))
    ours = wanted * view.shared(grey, np.full(len(view.k), place))
    # The same slope read as the next fret's: -gap + c, c giving the same mean distance.
    mean_gap = float(np.mean(view.space_mm))
    shifts = (-0.3, -0.15, 0.0, 0.15, 0.3)
    theirs = max(wanted * view.shared(grey, -view.space_mm + place + mean_gap + d) for d in shifts)
    return theirs >= ours


def _colour_edge(view: _View, warm: Floats, lightness: Floats) -> tuple[float, float] | None:
    """Place and width (mm) of the fall of warmth at the tops, None where colour says little."""
    zone = view.zone_mm
    fall = _falls(view, warm, zone)
    i = int(np.argmax(fall))
    faint = float(np.median(view.size(warm))) < LEAST_COLOUR
    if faint or fall[i] < LEAST_SHARED or i in (0, len(zone) - 1):
        return None
    least = LEAST_SHARED
    if np.interp(zone[i], OFFSET_MM, lightness) > 0.0:
        i, least = _with_a_foot(view, warm, fall, i)
    profile = gaussian_filter1d(-view.profile(warm), 2.0)
    start = int(np.argmin(np.abs(OFFSET_MM - zone[i])))
    near_by = slice(max(0, start - 10), start + 11)
    peak = near_by.start + int(np.argmax(profile[near_by]))
    below = np.flatnonzero(profile < 0.5 * profile[peak])
    left, right = below[below < peak], below[below > peak]
    if profile[peak] < least or len(left) == 0 or len(right) == 0:
        return None
    middle = 0.5 * (OFFSET_MM[left[-1]] + OFFSET_MM[right[0]])
    return float(middle), float(OFFSET_MM[right[0]] - OFFSET_MM[left[-1]])


def _falls(view: _View, slope: Floats, distance_mm: Floats) -> Floats:
    """(n,) how much all frets fall at distances (n,) from the law."""
    return np.array([-view.shared(slope, np.full(len(view.k), m)) for m in distance_mm])


def _with_a_foot(view: _View, warm: Floats, fall: Floats, best: int) -> tuple[int, float]:
    """The fall of warmth that a rise follows within a crown's height, if the best does not, and its least strength.

    fall : at the offsets within most_mm.  best : index of the strongest.

    A crown is less warm than wood from its top to its foot; what a glossy board mirrors is so from somewhere between
    two frets up to the nearer one.
    """
    zone = view.zone_mm
    nearer = OFFSET_MM[(view.most_mm < OFFSET_MM) & (view.most_mm + view.crown_mm >= OFFSET_MM)]
    further, height = np.append(fall, _falls(view, warm, nearer)), round(view.crown_mm / STEP_MM)
    rise = np.array([-np.min(further[i : i + height]) for i in range(len(fall))])
    if rise[best] >= LEAST_SHARED:
        return best, LEAST_SHARED
    # The law stands on the crowns, more or less, so their tops are not farther than a crown is high.
    fits = (rise >= 2.0 * LEAST_SHARED) & (fall >= LEAST_FALL) & (np.abs(zone) <= view.crown_mm)
    return (int(np.argmax(fall * fits)), LEAST_FALL) if fits.any() else (best, LEAST_SHARED)


def _extrema(strength: Floats, most_mm: float) -> list[int]:
    """Indices of the local maxima within most_mm, the farthest from the camera first."""
    inside = np.flatnonzero(np.abs(OFFSET_MM[1:-1]) <= most_mm) + 1
    return [int(i) for i in inside if strength[i] >= strength[i - 1] and strength[i] > strength[i + 1]]


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
