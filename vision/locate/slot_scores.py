"""How well each place of the law would do as a fret of the run, as its last one, or as board beyond it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.locate.evidence import Evidence
from vision.locate.segments import Floats

FAINT, FADING = 0.3, 0.5
"""Shares of the frets' usual contrast below which a fret is hardly seen, and the one before it in decline."""
FEWEST_MERGED = 4
FADED_OUTSIDE = 1.2
"""Evidence against a reading for each space of board on which no fret is seen beyond its last fret."""
OUTSIDE_WEIGHTS = np.array([1.0, 0.4, 0.2])
"""A like slot outside counts less the more unlike ones lie between."""
FRET, SAME_TONE = 0.9, 0.1
"""Likeness and change of tone of a slot that is a fret beyond doubt; a slot between two of those is one as well."""
WEAK = 0.5
"""Share of its neighbours' profile that the first fret shows at least."""
FALLEN, FALLEN_WEIGHT = (0.45, 0.65), 1.5
"""Contrast against the fret towards the middle: from hardly a fret at a run's end any more to as good as any; and the
evidence against the former. Of 130 known necks the last fret had 0.71 and more, the first seen low 0.76, the board's
end mostly less than 0.55."""
DROWNING = 1.5
"""Contrast against the fret before from which something bright behind the board is seen rather than a fret."""


@dataclass(frozen=True)
class SlotScores:
    """Per slot (n,): likeness to a fret 0..1, the same as the last one, what to expect of a fret there; and evidence,
    about -3..1.5, that it is a fret inside, the first, the last, a fret outside, one more fret right after the last.

    merged : index of the slot from which frets cannot be told apart any more, or None.
    """

    likeness: Floats
    as_last: Floats
    expected: Floats
    inside: Floats
    first: Floats
    last: Floats
    outside: Floats
    one_more: Floats
    merged: int | None

    def of_window(self, start: int, count: int) -> float:
        """Evidence that slots start .. start + count - 1 are the frets and those around are none."""
        stop = start + count - 1
        within = float(self.first[start]) + float(self.inside[start + 1 : stop].sum()) + float(self.last[stop])
        before = self.outside[start - 4 : start - 1][::-1]
        next_one = 0.5 * (self.outside[stop + 1] + self.one_more[stop + 1])
        beyond = np.clip(np.r_[next_one, self.outside[stop + 2 : stop + 4]], -1.5, 1.5)
        # The nut itself may look like a fret.
        return within - float((before + beyond) @ OUTSIDE_WEIGHTS) - 0.25 * float(self.outside[start - 1])


def score_slots(seen: Evidence, core: Floats, far_is_body: bool, low: bool) -> SlotScores:
    """Scores of the slots in seen; core are those that surely are frets.  low : the view runs along the neck."""
    board_like = np.exp(-0.5 * (np.nan_to_num(seen.level, nan=9.0) / 0.35) ** 2)
    f = np.nan_to_num(seen.alike, nan=0.0) * board_like
    # Far from the camera the blur of what lies behind the board reaches over its last fret.
    tolerance = 1.0 if far_is_body else 0.35
    inner_like = np.exp(-0.5 * (np.nan_to_num(seen.inner_level, nan=9.0) / tolerance) ** 2)
    # From the front it does not, and there the board's end itself has an inner half like a fret's.
    last = np.maximum(np.nan_to_num(seen.kinder, nan=0.0) * inner_like, f) if low else f
    one_more = np.maximum(np.nan_to_num(seen.inner, nan=0.0) * inner_like, f) if low else f
    # What a fret should reach is what its neighbours towards the middle do.
    is_core = np.isin(seen.k, core)
    middle = 0.5 * (core[0] + core[-1])
    expected = np.array([_expected(f, seen.k, is_core, middle, k) for k in seen.k])
    in_full, in_last, in_one_more = (
        np.clip((each / expected - 0.75) / 0.12, -3.0, 1.5) for each in (f, last, one_more)
    )
    contrast = np.nan_to_num(seen.contrast, nan=99.0)
    beyond = seen.k > middle
    share = contrast / np.maximum(np.where(beyond, np.roll(contrast, 1), np.roll(contrast, -1)), 1e-6)
    fallen = FALLEN_WEIGHT * np.clip((FALLEN[1] - share) / (FALLEN[1] - FALLEN[0]), 0.0, 1.0)
    in_last, in_one_more = (np.maximum(each - fallen * beyond, -3.0) for each in (in_last, in_one_more))
    usual = float(np.median(contrast[is_core]))
    merged = _first_merged(contrast, usual, int(np.argmin(np.abs(seen.k - middle))), far_is_body)
    # Board on which frets fade out, away from the camera (too low a view, glare), may belong inside, hardly outside.
    # Frets fade by and by: where the last one still stands out, the board has ended.
    before = np.roll(contrast, 1 if far_is_body else -1)  # of the slot nearer to the camera
    weak = (contrast < FAINT * usual) & (seen.level < 0.6) & (before < FADING * usual)
    faded = _faded(weak, in_full, beyond if far_is_body else seen.k < middle, far_is_body)
    # Where the light that frets mirror turns from bright to dark, one or two are hardly seen.
    sure = (f > FRET) & (seen.level < SAME_TONE)
    dull = _between(sure) & ~sure
    in_full = np.where(dull, np.maximum(in_full, 0.0), in_full)
    in_full = np.where(faded, 0.0, in_full)
    # Seen low, a nut can look like a fret; it is weaker, having no dark foot.
    strong = np.clip((np.nan_to_num(seen.gain, nan=1.0) - WEAK) / 0.13, -1.0, 1.5)
    in_first = np.maximum(np.minimum(in_full, strong) - fallen * ~beyond, -3.0) if low else in_full
    # Bright things behind the board's end can drown its last fret.
    drowned = (contrast > DROWNING * before) & (seen.level > 0.3) & low & far_is_body
    return SlotScores(
        f,
        last,
        expected,
        in_full,
        in_first,
        np.where(faded | drowned, np.maximum(in_last, 0.0), in_last),
        np.clip(np.where(faded, FADED_OUTSIDE, in_full), -1.5, 1.5),
        np.where(faded, FADED_OUTSIDE, in_one_more),
        merged,
    )


def _expected(f: Floats, numbers: Floats, is_core: NDArray[np.bool_], middle: float, k: float) -> float:
    """Usual likeness of the frets next to slot k on its side towards the middle."""
    allowed = np.flatnonzero(
        is_core & (np.abs(numbers - middle) <= max(abs(k - middle), 3.5)) & (numbers != k)
    )
    near = allowed[np.argsort(np.abs(numbers[allowed] - k))[:5]]
    return max(float(np.median(f[near])), 0.3)


def _first_merged(contrast: Floats, usual: float, middle: int, far_is_body: bool) -> int | None:
    """Index of the slot, away from the camera, from which the frets are too faint to be told apart, if several
    are.

    They must fade by and by; where the last clear one still stands out, the board has ended.
    """
    step = 1 if far_is_body else -1
    outward = contrast[middle::step]
    faint = np.r_[outward < FAINT * usual, False]
    first = int(np.argmax(faint))
    if not faint[first] or first == 0 or outward[first - 1] >= FADING * usual:
        return None
    count = int(np.argmin(faint[first:]))
    return middle + step * first if count >= FEWEST_MERGED else None


def _faded(weak: NDArray[np.bool_], in_full: Floats, ahead: NDArray[np.bool_], far_is_body: bool) -> NDArray[np.bool_]:
    """Weak slots ahead (away from the camera) up to the first that is clearly no fret."""
    faded = np.zeros(len(weak), dtype=bool)
    order = np.arange(len(weak)) if far_is_body else np.arange(len(weak))[::-1]
    for i in order[ahead[order]]:
        faded[i] = weak[i] and in_full[i] < 0
        if in_full[i] < -1.0 and not weak[i]:
            break
    return faded


def _between(sure: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Slots with a sure one among the nearest two on either side."""
    padded = np.pad(sure, 2)
    n = len(sure)
    return (padded[1 : n + 1] | padded[:n]) & (padded[3 : n + 3] | padded[4 : n + 4])
