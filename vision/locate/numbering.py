"""Which line is which fret: direction, count and the two ends of the fretted part.

The spacing law alone cannot tell (renumbering is an affine map of Z, reading backwards a projective one).
Direction follows from the taper; the numbering from where the run of like frets begins and ends.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from vision.locate.board import LEAST_WIDENING, MOST_WIDENING, WIDENING, Board, widening
from vision.locate.comb import Law
from vision.locate.crowns import Tones, lock_crowns, move_to_tops, towards_camera, view_sine
from vision.locate.evidence import Evidence, gather_evidence, inlay_agreement
from vision.locate.ladder import Strip
from vision.locate.result import NotLocated, RefusalCode, refusal
from vision.locate.segments import Floats
from vision.locate.slot_scores import score_slots

EXTRA = 14
INLAY_WEIGHT = 12.0
MOST_COUNTED = 38
STRIDE, LONGEST_EXTENSION = 3, 15
LEAST_AGREEMENT = 0.65
"""A crown that agrees this well with all others belongs to the run of frets."""
FEWEST_SEEN = 11
LEAST_MARGIN = 2.0
LEAST_LEAD = 0.9
COUNTED_MARGIN = 3.0
"""Lead of a start over others of the stated number, at least; over other numbers; and of a start where only another
photograph tells the number."""
NUT_LIKE = 0.8
"""Share of the usual likeness below which a slot may be the nut: it resembles a fret, the first fret does more."""
HIDING_MM = 1.0
"""Space between two tops, seen upright, at which the nearer crown (1.2 mm) hides the board before the farther one."""
LOW_SINE = 0.36
"""Of the angle between line of sight and board, below which a photograph counts as taken along the neck."""
USUAL_COUNTS = frozenset({12, 14, 18, 19, 20, 21, 22, 24, 27, 36})
UNUSUAL = 3.0
"""Evidence that a count which instruments hardly ever have must bring in addition."""


@dataclass(frozen=True)
class Numbering:
    """law numbers the frets from the nut; likeness (N,) of each fret to its neighbours; sureness: how many times what
    is needed the evidence is ahead of other numbers."""

    law: Law
    likeness: Floats
    sureness: float


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
    """The law renumbered 1.. from the nut side of slots first..last, or None where neither way tapers
    right."""
    forward = law.renumbered(float(first - 1))
    backward = law.reversed(float(last + 1))
    options = []
    for candidate in (forward, backward):
        t = widening(strip, candidate)
        if LEAST_WIDENING < t < MOST_WIDENING:
            options.append((abs(t - WIDENING), candidate))
    return min(options, key=lambda o: o[0])[1] if options else None


def number_frets(
    tone: NDArray[np.uint8], strip: Strip, law: Law, tones: Tones, run: int, frets: int, *, counted: bool
) -> Numbering | NotLocated:
    """Decide direction and numbering of a law whose slots 1..run are frets, against the stated number.

    counted : something beside this picture bears the number out, which then holds where another fits about as well.
    """
    turned = towards_body(strip, law, 1, run)
    if turned is None:
        return refusal(
            "not a neck", "The ladder found does not narrow towards one end as a fretted board does."
        )
    core = np.arange(1.0, run + 1)
    crowns = lock_crowns(tones, Board(strip, turned), core, any_phase=True)
    law = move_to_tops(tones, Board(strip, crowns.law), core, crowns.agree)
    law, core = _extended(tones, strip, law, core)
    k = np.arange(core[0] - EXTRA, max(core[-1], frets) + EXTRA + 1)
    seen = gather_evidence(tone, Board(strip, law), k, core[1:-1])
    return _choose(seen, core, strip, law, frets, counted)


def _extended(tones: Tones, strip: Strip, law: Law, core: Floats) -> tuple[Law, Floats]:
    """The law relocked while further crowns away from the camera agree with it, and the slots of all that do.

    Seen low, the far frets show only their tops above the frets before them: they are like their neighbours
    once the law stands on the tops, not before.
    """
    body = float(np.sign(law.y(core[-1:]) - law.y(core[:1]))[0])
    far_is_body = towards_camera(Board(strip, law), float(core[0]), float(core[-1])) * body < 0
    for _ in range(LONGEST_EXTENSION // STRIDE):
        low, high = (0, STRIDE) if far_is_body else (STRIDE, 0)
        wider = np.arange(core[0] - low, core[-1] + high + 1)
        agree = lock_crowns(tones, Board(strip, law), wider).agree
        outward = agree[-STRIDE - 1 :] if far_is_body else agree[STRIDE::-1]
        more = int(np.argmin(np.r_[outward > LEAST_AGREEMENT, False])) - 1
        if more < 1:
            break
        core = np.arange(core[0] - more * (not far_is_body), core[-1] + more * far_is_body + 1)
        law = lock_crowns(tones, Board(strip, law), core).law
    return law, core


def _doubtful(code: RefusalCode, reason: str, score: float, cause: str | None) -> NotLocated:
    """The refusal, or its true cause where the far frets run together."""
    if cause is None:
        return refusal(code, reason, score)
    return refusal("frets run together", f"{cause} {reason}", score)


def _least_space_mm(board: Board, k: Floats) -> float:
    """Between the tops of frets k as the picture shows it, mm at the neck."""
    return float(np.min(np.abs(np.diff(board.law.y(k))) / board.px_per_mm(k[1:])))


def _choose(
    seen: Evidence, core: Floats, strip: Strip, law: Law, frets: int, counted: bool
) -> Numbering | NotLocated:
    """Best window of `frets` slots; every slot inside must look like a fret, those beyond must not."""
    board = Board(strip, law)
    body = float(np.sign(law.y(core[-1:]) - law.y(core[:1]))[0])
    far_is_body = towards_camera(board, float(core[0]), float(core[-1])) * body < 0
    slots = score_slots(seen, core, far_is_body, view_sine(board, core) < LOW_SINE)

    @cache
    def of_start(start: int) -> float:
        """Evidence that fret 1 is slot index `start`, however many frets there are."""
        numbered = law.renumbered(float(seen.k[start] - 1))
        taper = -0.5 * ((widening(strip, numbered) - WIDENING) / 0.12) ** 2
        dots = inlay_agreement(seen.dot, seen.k - seen.k[start] + 1)
        return taper + INLAY_WEIGHT * max(dots - 0.5, 0.0)

    # Keys: slot index of fret 1, number of frets.
    scores = {
        (start, count): slots.of_window(start, count) + of_start(start) - (0.0 if count in USUAL_COUNTS else UNUSUAL)
        for count in range(10, MOST_COUNTED + 1)
        for start in range(4, len(slots.likeness) - count - 3)
    }
    stated = {key: value for key, value in scores.items() if key[1] == frets}
    if not stated:
        return refusal(
            "cut off", "The fretted part does not fit into the picture with the stated number of frets."
        )
    best = max(stated, key=lambda key: stated[key])
    # A rival that takes the nut for one fret more is no rival, as long as the nut looks a little unlike a fret.
    nut = (best[0] - 1, frets + 1)
    rivals = {
        key: value
        for key, value in scores.items()
        if key[1] != frets and not (key == nut and slots.likeness[nut[0]] < NUT_LIKE * slots.expected[nut[0]])
    }
    rival = max(rivals, key=lambda key: rivals[key])
    lead = stated[best] - rivals[rival]
    start, count = best if lead >= 0 else rival
    cause = None
    # Faint slots outside the frets are the headstock or what stands behind the board.
    if slots.merged is not None and start <= slots.merged < start + count:
        clear = slots.merged - start + (0 if far_is_body else 2)
        cause = f"The frets {'beyond' if far_is_body else 'before'} number {clear} cannot be told apart."
    elif _least_space_mm(board, core) < HIDING_MM:
        cause = "Seen so low, frets hide one another."
    if lead < -LEAST_LEAD:
        window = slice(rival[0], rival[0] + rival[1])
        fits = "seems to fit" if cause else "fits"
        reason = f"{frets} frets were stated, but the picture {fits} {rival[1]} frets."
        # A count that hardly any instrument has does not outweigh other readings of the picture.
        score = float(np.mean(slots.likeness[window])) if rival[1] in USUAL_COUNTS else 0.0
        return _doubtful("fret count", reason, score, cause)
    others = {key: value for key, value in stated.items() if key != best}
    margin = stated[best] - max(others.values(), default=stated[best] - 9.9)
    open_count = lead < LEAST_LEAD and counted and cause is None
    least_lead, least_margin = (-LEAST_LEAD, COUNTED_MARGIN) if open_count else (LEAST_LEAD, LEAST_MARGIN)
    if margin < least_margin:
        reason = "It cannot be told for certain which line is the first fret."
        return _doubtful("numbering unsure", reason, 0.0, cause)
    if lead < least_lead:
        reason = f"It cannot be told for certain whether {frets} or {rival[1]} frets are seen."
        return _doubtful("numbering unsure", reason, 0.0, cause)
    which = slice(best[0], best[0] + frets)
    like = np.r_[slots.likeness[which][:-1], slots.as_last[which][-1]]
    sureness = min(margin / least_margin, 1.0 + (lead - least_lead) / LEAST_LEAD)
    return Numbering(law.renumbered(float(seen.k[best[0]] - 1)), like, sureness)
