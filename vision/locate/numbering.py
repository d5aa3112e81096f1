"""Which line is which fret: direction, count and the two ends of the fretted part.

The spacing law alone cannot tell (renumbering is an affine map of Z, reading backwards a projective one).
Direction follows from the taper; the numbering from where the run of like frets begins and ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.locate.board import LEAST_WIDENING, MOST_WIDENING, WIDENING, Board, widening
from vision.locate.comb import Law
from vision.locate.crowns import lock_crowns
from vision.locate.ladder import Strip
from vision.locate.result import NotLocated, refusal
from vision.locate.segments import Floats
from vision.locate.slots import alike

SAMPLES = 24
NEIGHBOURS = 5
FEWEST_SEEN = 11
LEAST_MARGIN = 1.0


@dataclass(frozen=True)
class Numbering:
    """law numbers the frets from the nut; likeness (N,) of each fret to its neighbours; margin over the next."""

    law: Law
    likeness: Floats
    margin: float
    notes: tuple[str, ...]


def likeness(y: Floats, tone: Floats, law: Law, k: float, others: Floats, low: float, high: float) -> float:
    """How alike slot k and the mean of other slots are, in shape and strength, over k + low .. k + high.

    The best within a tenth of a spacing: 1 the same, 0 unrelated or of quite another contrast.
    NaN outside the sheet.
    """
    search = 0.1
    n = int(round((high - low) * SAMPLES)) + 1
    extra = int(round(search * SAMPLES))
    step = 1.0 / SAMPLES
    offset = low + step * np.arange(-extra, n + extra)
    profile = np.interp(law.y(k + offset), y, tone, left=np.nan, right=np.nan)
    near = np.interp(law.y(others[:, None] + offset[extra : extra + n]), y, tone, left=np.nan, right=np.nan)
    near = near[~np.isnan(near).any(axis=1)]
    if len(near) == 0 or np.isnan(profile).any():
        return float("nan")
    near = near - near.mean(axis=1, keepdims=True)
    template = np.median(near, axis=0)
    window = np.lib.stride_tricks.sliding_window_view(profile, n)
    window = window - window.mean(axis=1, keepdims=True)
    value = alike(window @ template, np.sum(window**2, axis=1), float(np.sum(template**2)), n)
    return float(np.max(value))


def longest_run(match: Floats, shift: Floats, threshold: float = 0.6) -> tuple[int, int]:
    """First and last index of the longest run of good slots; single gaps are bridged."""
    good = np.nan_to_num(match, nan=-1.0) > threshold
    good &= np.nan_to_num(np.abs(shift), nan=1.0) < 0.15
    best = (0, -1)
    start: int | None = None
    for i in range(len(good) + 2):
        ok = i < len(good) and bool(good[i])
        bridged = 0 < i < len(good) - 1 and bool(good[i - 1]) and bool(good[i + 1])
        if ok or (bridged and start is not None):
            start = i if start is None else start
        elif start is not None:
            if i - 1 - start > best[1] - best[0]:
                best = (start, i - 1)
            start = None
    return best


def towards_body(strip: Strip, law: Law, first: int, last: int) -> Law | None:
    """The law renumbered 1.. from the nut side of slots first..last, or None where neither way tapers right."""
    forward = law.renumbered(float(first - 1))
    backward = law.reversed(float(last + 1))
    options = []
    for candidate in (forward, backward):
        t = widening(strip, candidate)
        if LEAST_WIDENING < t < MOST_WIDENING:
            options.append((abs(t - WIDENING), candidate))
    return min(options, key=lambda o: o[0])[1] if options else None


def number_frets(
    y: Floats, tone: Floats, strip: Strip, law: Law, first: int, match: Floats, shift: Floats, frets: int
) -> Numbering | NotLocated:
    """Decide direction and numbering of the slots first.. of a law against the stated number of frets."""
    i0, i1 = longest_run(match, shift)
    if i1 - i0 + 1 < FEWEST_SEEN:
        return refusal("too few frets", f"Only {max(i1 - i0 + 1, 0)} frets in a row could be made out.")
    seen = float(i1 - i0 + 1)
    turned = towards_body(strip, law, first + i0, first + i1)
    if turned is None:
        return refusal("not a neck", "The ladder found does not narrow towards one end as a fretted board does.")
    law = turned
    law = lock_crowns(y, tone, Board(strip, law), np.arange(1.0, seen + 1), any_phase=True).law
    extra = 7
    numbers = np.arange(1 - extra, int(seen) + extra + 1)
    middle = 0.5 * (1 + seen)
    full = np.full(len(numbers), np.nan)
    inner = np.full(len(numbers), np.nan)
    core = np.arange(2.0, seen)
    for index, number in enumerate(numbers):
        inward = core[np.abs(core - middle) <= max(abs(number - middle), 3.5)]
        inward = inward[inward != number]
        near = inward[np.argsort(np.abs(inward - number))[:NEIGHBOURS]]
        full[index] = likeness(y, tone, law, float(number), near, -0.5, 0.5)
        inner[index] = likeness(y, tone, law, float(number), near, -0.6, 0.15)
    return _choose(numbers, full, inner, strip, law, frets)


def _choose(
    numbers: np.ndarray, full: Floats, inner: Floats, strip: Strip, law: Law, frets: int  # type: ignore[type-arg]
) -> Numbering | NotLocated:
    f = np.nan_to_num(full, nan=-0.5)
    g = np.nan_to_num(inner, nan=-0.5)
    typical = float(np.median(f[(numbers >= 2) & (numbers <= numbers[-1] - 8)]))
    half, unit = 0.5 * (typical + 0.25), 0.25 * max(typical - 0.25, 0.1)
    in_full = np.clip((f - half) / unit, -3.0, 1.5)
    in_inner = np.clip((g - half) / unit, -3.0, 1.5)

    def total(start: int, count: int) -> float:
        """Evidence that fret 1 is numbers[start] and the last is `count` slots on."""
        stop = start + count - 1
        if start < 1 or stop + 1 >= len(numbers):
            return -np.inf
        # The last fret's far side may show the board's end: its near half is enough.
        inside = float(in_full[start:stop].sum()) + max(float(in_inner[stop]), float(in_full[stop]))
        # The nut may look like a fret; what lies beyond it may not.  A like slot outside counts less the more
        # unlike ones lie between.
        before = np.clip(in_full[max(start - 3, 0) : start - 1][::-1], -1.5, 1.5)
        beyond = np.r_[min(in_inner[stop + 1], in_full[stop + 1]), in_full[stop + 2 : stop + 4]]
        beyond = np.clip(beyond, -1.5, 1.5)
        fading = np.array([1.0, 0.4, 0.2])
        outside = float(before @ fading[: len(before)] + beyond @ fading[: len(beyond)])
        outside += 0.25 * float(np.clip(in_full[start - 1], -1.5, 1.5))
        inside -= outside
        t = widening(strip, law.renumbered(float(numbers[start] - 1)))
        return inside - 0.5 * ((t - WIDENING) / 0.1) ** 2

    scores = {
        (start, count): total(start, count)
        for start in range(1, len(numbers))
        for count in range(10, 40)
        if np.isfinite(total(start, count))
    }
    stated = {key: value for key, value in scores.items() if key[1] == frets}
    if not stated:
        return refusal("cut off", "The fretted part does not fit into the picture with the stated number of frets.")
    best_any = max(scores, key=lambda key: scores[key])
    best = max(stated, key=lambda key: stated[key])
    if best_any[1] != frets and scores[best_any] > stated[best] + 2.0:
        return refusal(
            "fret count",
            f"{frets} frets were stated, but the picture fits {best_any[1]} frets.",
        )
    others = sorted((v for key, v in stated.items() if key != best), reverse=True)
    margin = stated[best] - others[0] if others else 9.9
    if margin < LEAST_MARGIN:
        return refusal("numbering unsure", "It cannot be told for certain which line is the first fret.")
    shift = float(numbers[best[0]] - 1)
    which = slice(best[0], best[0] + frets)
    like = np.where(np.arange(frets) == frets - 1, g[which], f[which])
    notes = (f"numbering shifted by one fret fits worse by {margin:.1f}",)
    return Numbering(law.renumbered(shift), np.asarray(like), margin, notes)
