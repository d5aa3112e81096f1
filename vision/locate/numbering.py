"""Which line is which fret: direction, count and the two ends of the fretted part.

The spacing law alone cannot tell (renumbering is an affine map of Z, reading backwards a projective one).
Direction follows from the taper; the numbering from where the run of like frets begins and ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.locate.board import LEAST_WIDENING, MOST_WIDENING, WIDENING, Board, widening
from vision.locate.comb import Law
from vision.locate.crowns import lock_crowns
from vision.locate.evidence import Evidence, gather_evidence, inlay_agreement
from vision.locate.ladder import Strip
from vision.locate.result import NotLocated, refusal
from vision.locate.segments import Floats

EXTRA = 8
INLAY_WEIGHT = 12.0
MOST_COUNTED = 38
FEWEST_SEEN = 11
LEAST_MARGIN = 2.0


@dataclass(frozen=True)
class Numbering:
    """law numbers the frets from the nut; likeness (N,) of each fret to its neighbours; margin over the next."""

    law: Law
    likeness: Floats
    margin: float
    notes: tuple[str, ...]


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
    tone: NDArray[np.uint8], strip: Strip, law: Law, y: Floats, shared: Floats, run: int, frets: int
) -> Numbering | NotLocated:
    """Decide direction and numbering of a law whose slots 1..run are frets, against the stated number."""
    turned = towards_body(strip, law, 1, run)
    if turned is None:
        return refusal("not a neck", "The ladder found does not narrow towards one end as a fretted board does.")
    core = np.arange(1.0, run + 1)
    law = lock_crowns(y, shared, Board(strip, turned), core, any_phase=True).law
    k = np.arange(1.0 - EXTRA, max(run, frets) + EXTRA + 1)
    return _choose(gather_evidence(tone, Board(strip, law), k, core[1:-1]), core, strip, law, frets)


def _choose(seen: Evidence, core: Floats, strip: Strip, law: Law, frets: int) -> Numbering | NotLocated:
    """Best window of `frets` slots; every slot inside must look like a fret, those beyond must not."""
    board_like = np.exp(-0.5 * (np.nan_to_num(seen.level, nan=9.0) / 0.35) ** 2)
    f = np.nan_to_num(seen.alike, nan=0.0) * board_like
    last = np.maximum(np.nan_to_num(seen.inner, nan=0.0), f)
    typical = float(np.median(np.sort(f)[-10:]))
    half, unit = 0.55 * typical, 0.2 * typical
    in_full = np.clip((f - half) / unit, -3.0, 1.5)
    in_last = np.clip((last - half) / unit, -3.0, 1.5)
    # Board on which frets fade out (too low a view, glare): it may belong inside, hardly outside.
    contrast = np.nan_to_num(seen.contrast, nan=99.0)
    usual = float(np.median(contrast[np.isin(seen.k, core)]))
    faded = (contrast < 0.3 * usual) & (np.nan_to_num(seen.level, nan=9.0) < 0.6) & (in_full < 0)
    faded &= np.cumsum(np.isin(seen.k, core)) > 0
    outside = np.clip(np.where(faded, 0.75, in_full), -1.5, 1.5)
    in_full = np.where(faded, 0.0, in_full)
    in_last = np.where(faded, np.maximum(in_last, 0.0), in_last)
    fading = np.array([1.0, 0.4, 0.2])

    def total(start: int, count: int) -> float:
        """Evidence that fret 1 is slot index `start` and the last one `count` - 1 further."""
        stop = start + count - 1
        inside = float(in_full[start:stop].sum()) + float(in_last[stop])
        # A like slot outside counts less the more unlike ones lie between.  The nut itself may look like a fret.
        before = outside[start - 4 : start - 1][::-1]
        beyond = np.r_[0.5 * (outside[stop + 1] + min(in_last[stop + 1], 1.5)), outside[stop + 2 : stop + 4]]
        beyond = np.clip(beyond, -1.5, 1.5)
        wrong = float(before @ fading + beyond @ fading) + 0.25 * float(outside[start - 1])
        numbered = law.renumbered(float(seen.k[start] - 1))
        taper = -0.5 * ((widening(strip, numbered) - WIDENING) / 0.12) ** 2
        dots = inlay_agreement(seen.dot, seen.k - seen.k[start] + 1)
        return inside - wrong + taper + INLAY_WEIGHT * max(dots - 0.5, 0.0)

    scores = {
        (start, count): total(start, count)
        for count in range(10, MOST_COUNTED + 1)
        for start in range(4, len(f) - count - 3)
    }
    stated = {key: value for key, value in scores.items() if key[1] == frets}
    if not stated:
        return refusal("cut off", "The fretted part does not fit into the picture with the stated number of frets.")
    best = max(stated, key=lambda key: stated[key])
    best_any = max(scores, key=lambda key: scores[key])
    nut_looks_like_fret = best_any == (best[0] - 1, frets + 1) and f[best_any[0]] < typical - 0.1
    if best_any[1] != frets and scores[best_any] > stated[best] + 2.0 and not nut_looks_like_fret:
        return refusal(
            "fret count", f"{frets} frets were stated, but the picture fits {best_any[1]} frets."
        )
    others = {key: value for key, value in stated.items() if key != best}
    margin = stated[best] - max(others.values(), default=stated[best] - 9.9)
    if margin < LEAST_MARGIN:
        return refusal("numbering unsure", "It cannot be told for certain which line is the first fret.")
    which = slice(best[0], best[0] + frets)
    like = np.r_[f[which][:-1], last[which][-1]]
    notes = (f"numbering shifted by a fret fits worse by {margin:.1f} (needed: {LEAST_MARGIN:.1f})",)
    return Numbering(law.renumbered(float(seen.k[best[0]] - 1)), like, margin, notes)
