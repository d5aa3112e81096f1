"""Reading one stack of rungs as a fretted board: its law, its edges, the numbers of its frets, or why it is none."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from vision.locate.board import Board
from vision.locate.comb import Law, search_law
from vision.locate.crowns import Tones, lock_crowns, move_to_tops
from vision.locate.ladder import Strip
from vision.locate.numbering import FEWEST_SEEN, Numbering, longest_run, number_frets
from vision.locate.rectify import COLUMNS, Sheet, cut_sheet, reach, rung_signal
from vision.locate.refine import align_rungs, find_edges
from vision.locate.result import LocatedNeck, NotLocated, refusal
from vision.locate.segments import Floats
from vision.locate.slots import Slots, measure_slots, tone_along
from vision.locate.tones import PictureTones

LAW_ROWS = 500
LEAST_COHERENCE, CLEAR_COHERENCE = 0.45, 0.65
LAW_TRIALS = ((0.0, 1.0, 1), (0.0, 1.0, 2), (0.0, 0.7, 1), (0.3, 1.0, 1))
"""Part of a stack of rungs, and differences of the tone, in which a law is looked for until it is clear: pickups and
bridge may continue the stack beyond the frets, and they follow no law."""
MOST_IN_LAW = 42.0
CLIPPED = 250.0
LEAST_LIKENESS = 0.5
MOST_SETTLING = 0.6
"""Largest change, fret spacings, between the law that was numbered and the final one."""
SMALL_WIDTH_PX, SMALL_SPACING_PX = 100.0, 3.0


def read_strip(
    pictures: PictureTones, tone: NDArray[np.uint8], strip: Strip, frets: int, *, counted: bool
) -> LocatedNeck | NotLocated:
    """The frets of a stack of rungs, looked for in one tone (H, W) of the pictures, or the reason why it is no neck.

    frets : number stated.  counted : see vision.locate.numbering.number_frets.  Everything in pixels of the full-size
        picture.
    """
    length = strip.y_range[1] - strip.y_range[0]
    step = max(1.0, length / LAW_ROWS)
    sheet = _sheet(tone, strip, strip.y_range, step)
    found = law_of(sheet)
    if found is None:
        return refusal("not a neck", "The rungs found do not follow the law of fret positions.")
    law, coherence = found
    if coherence < LEAST_COHERENCE:
        return refusal("not a neck", "The rungs found do not follow the law of fret positions.")
    y_range = reach(strip, tone.shape, 1.0)
    full = _sheet(tone, strip, y_range, max(0.5, step / 3))
    shared = tone_along(full)
    slots = _grow(full.y_px, shared, law, strip)
    if slots is None:
        return refusal("too few frets", "Too few frets could be made out in a row.")
    i0, i1 = longest_run(slots.match, slots.shift)
    if i1 - i0 + 1 < FEWEST_SEEN:
        return refusal("too few frets", f"Only {max(i1 - i0 + 1, 0)} frets in a row could be made out.")
    law = slots.law.renumbered(float(slots.first + i0 - 1))
    seen = np.arange(1.0, i1 - i0 + 2)
    strip, law = align_rungs(tone, strip, law, seen)
    for _ in range(2):
        strip, law = find_edges(tone, strip, law, seen)
        strip, law = align_rungs(tone, strip, law, seen)
    y_range, fine = reach(strip, tone.shape, 0.7), max(0.5, step / 3)
    full = _sheet(tone, strip, y_range, fine)
    shared = tone_along(full)
    core = (max(1, len(seen) // 2 - 4), min(len(seen), len(seen) // 2 + 4))
    slots = measure_slots(full.y_px, shared, law, -20, len(seen) + 20, core)
    i0, i1 = longest_run(slots.match, slots.shift)
    run = i1 - i0 + 1
    if run < FEWEST_SEEN:
        return refusal("too few frets", f"Only {max(run, 0)} frets in a row could be made out.")
    law = slots.law.renumbered(float(slots.first + i0 - 1))
    full_grey = full if tone is pictures.grey else _sheet(pictures.grey, strip, y_range, fine)
    # Clipped highlights have no colour: where much is clipped, colour says nothing.
    ends = np.sort(law.y(np.array([1.0, float(run)])))
    on_board = full_grey.values[(full.y_px >= ends[0]) & (full.y_px <= ends[1])]
    colourful = float(np.mean(on_board >= CLIPPED)) < 0.12
    yellow, red, grey = (
        shared if each is tone else tone_along(_sheet(each, strip, y_range, fine))
        for each in (pictures.yellow, pictures.red, pictures.grey)
    )
    tones = Tones(full.y_px, shared, grey, (yellow + red) * colourful)
    numbering = number_frets(tone, strip, law, tones, run, frets, counted=counted)
    if isinstance(numbering, NotLocated):
        return numbering
    board = Board(strip, numbering.law)
    k = np.arange(1.0, frets + 1)
    crowns = lock_crowns(tones, board, k)
    law = move_to_tops(tones, Board(strip, crowns.law), k, crowns.agree, settled=True)
    if np.max(np.abs((law.y(k) - numbering.law.y(k)) / law.step_px(k))) > MOST_SETTLING:
        return refusal("numbering unsure", "The frets' places shift with the way they are fitted.")
    board = Board(strip, law)
    return _result(board, tone.shape, numbering, frets)


def _sheet(tone: NDArray[np.uint8], strip: Strip, y_range: tuple[float, float], step: float) -> Sheet:
    """Rows `step` apart, each the mean of samples at most a pixel apart."""
    fold = max(1, int(np.ceil(step)))
    y = np.arange(y_range[0], y_range[1], step / fold)
    rows = len(y) // fold
    sheet = cut_sheet(tone, strip, y[: rows * fold], COLUMNS)
    if fold == 1:
        return sheet
    return Sheet(
        sheet.values.reshape(rows, fold, -1).mean(axis=1),
        np.asarray(sheet.inside.reshape(rows, fold, -1).all(axis=1)),
        sheet.y_px.reshape(rows, fold).mean(axis=1),
        COLUMNS,
    )


def law_of(sheet: Sheet) -> tuple[Law, float] | None:
    """The law that the rungs follow, and how well (0..1); where the whole stack follows none, that of a part of it."""
    found: list[tuple[Law, float]] = []
    rows = len(sheet.y_px)
    signal = cache(lambda differences: rung_signal(sheet, 1.5, differences))
    for low, high, differences in LAW_TRIALS:
        part = slice(int(low * rows), int(high * rows))
        law = search_law(sheet.y_px[part], signal(differences)[part], 3.0, MOST_IN_LAW)
        if law is not None:
            found.append(law)
            if law[1] >= CLEAR_COHERENCE:
                return law
    return max(found, key=lambda each: each[1], default=None)


def _grow(y: Floats, tone: Floats, law: Law, strip: Strip) -> Slots | None:
    """Slots grown from the eight most alike in the seen stretch."""
    k = np.arange(0.0, 46.0)
    where = law.y(k)
    inside = k[(where > strip.y_range[0]) & (where < strip.y_range[1])]
    if len(inside) < 8:
        return None
    best: tuple[float, int] | None = None
    for start in range(int(inside[0]), int(inside[-1]) - 6, 2):
        trial = measure_slots(y, tone, law, start, start + 7, (start, start + 7))
        value = float(np.nanmedian(trial.match)) if np.isfinite(trial.match).any() else -1.0
        if best is None or value > best[0]:
            best = (value, start)
    if best is None:
        return None
    start = best[1]
    return measure_slots(y, tone, law, start - 34, start + 41, (start, start + 7))


def _result(board: Board, shape: tuple[int, ...], numbering: Numbering, frets: int) -> LocatedNeck | NotLocated:
    """The located neck, after the checks that no picture of a neck can fail."""
    y = board.law.y(np.arange(0.0, frets + 1))
    steps = np.diff(y)
    if np.any(np.sign(steps) != np.sign(steps[0])) or np.any(board.strip.width(y) <= 0):
        return refusal("not a neck", "The rungs found do not follow the law of fret positions.")
    ends = np.stack([board.strip.points(np.array(u), y) for u in (0.0, 1.0)], axis=1)
    if np.any(ends < -0.5) or np.any(ends > np.array([shape[1], shape[0]]) - 0.5):
        return refusal("cut off", "The fretted part leaves the picture.")
    across = ends[frets // 2, 1] - ends[frets // 2, 0]
    along = ends[-1].mean(axis=0) - ends[0].mean(axis=0)
    if across[0] * along[1] - across[1] * along[0] < 0:
        ends = ends[:, ::-1]
    like = numbering.likeness
    found = like > LEAST_LIKENESS
    flags = []
    if np.linalg.norm(across) < SMALL_WIDTH_PX or np.abs(steps).min() < SMALL_SPACING_PX:
        flags.append("too small in the frame")
    if not found.all():
        flags.append(f"frets not seen: {', '.join(str(i + 1) for i in np.flatnonzero(~found))}")
    return LocatedNeck(
        fret_ends_px=np.ascontiguousarray(ends[1:]),
        fret_middles_px=board.strip.points(np.array(0.5), y[1:]),
        nut_ends_px=np.ascontiguousarray(ends[0]),
        found_frets=found,
        score=float(np.clip(np.mean(like), 0.0, 1.0)),
        sureness=numbering.sureness,
        flags=tuple(flags),
    )
