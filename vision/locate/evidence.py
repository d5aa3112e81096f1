"""What each place of the law looks like: a fret like its neighbours, the same board around it, an inlay
before it.

All numbers compare a slot with a few slots nearer the middle of the neck, so that light, blur and spacing may
change along it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from vision.locate.board import Board, gap_mm
from vision.locate.crowns import crown_mm, towards_camera, view_sine
from vision.locate.rectify import COLUMNS
from vision.locate.refine import BLOCKS, SAMPLES, slot_samples
from vision.locate.segments import Floats
from vision.locate.slots import alike

NEIGHBOURS = 5
SEARCH = 2
"""Samples (1/SAMPLES spacing each) a slot may be off its place."""
INLAYS = frozenset({3, 5, 7, 9, 12, 15, 17, 19, 21, 24})
"""Spaces that carry a dot by custom; the double ones at 12 and 24 stand aside of the middle and count as
well."""
DOT_FLOOR = 2.0
ALIKE, SAME_LEVEL = 0.75, 0.2
"""A slot this much like its neighbours, on board of this much the same tone, is a fret to compare others with."""
FAR_LIMITS = (0.05, -0.1)
"""On the far side of a fret the board's end, out of focus, may reach over its top: with it and without."""


@dataclass(frozen=True)
class Evidence:
    """Per slot k (n,); NaN where a slot leaves the picture.

    alike : likeness to a fret over the whole spacing around it, median of column blocks or their mean, 1 the
        same.
    inner : the same for the half towards the middle of the neck only, and a little beyond the fret.
    kinder : inner, or the same without the fret's own top where the board's end may blur over it, if better.
    level : change of the board's tone against the slots nearer the middle, in units of the frets' contrast.
    inner_level : the same for the half towards the middle of the neck.
    contrast : rms of the slot's shared profile, grey values.
    gain : of the slots nearer the middle, how much of their profile this one shows.
    dot : how much the middle of the space before the slot differs from its sides, grey values.
    """

    k: Floats
    alike: Floats
    inner: Floats
    kinder: Floats
    level: Floats
    inner_level: Floats
    contrast: Floats
    gain: Floats
    dot: Floats


@dataclass(frozen=True)
class _Slots:
    """Tone of every slot (n, samples, column blocks), and shared by the columns (n, samples).

    offset : (samples,) place of the samples, fret spacings.  crown : (n,) share of the spacing that a crown covers on
    the camera's side of its top.  camera : +1 where the camera looks from the last fret's side, -1 from the nut's.
    usual_swing : of the tone about a sure fret.
    """

    block: Floats
    shared: Floats
    offset: Floats
    crown: Floats
    camera: float
    usual_swing: float


class _Look(NamedTuple):
    """One slot of Evidence."""

    alike: float
    inner: float
    kinder: float
    level: float
    inner_level: float
    contrast: float
    gain: float


def gather_evidence(tone: NDArray[np.uint8], board: Board, k: Floats, core: Floats) -> Evidence:
    """Evidence at slots k; core are the slots that surely are frets, numbered along the law, tops on the
    law."""
    samples, inside = slot_samples(tone, board.strip, board.law, k, COLUMNS, 0.5 + SEARCH / SAMPLES)
    known = np.isin(k, core) & inside
    slots = _slots(samples, board, k, core, known)
    middle = 0.5 * (core[0] + core[-1])
    looks = np.full((len(k), len(_Look._fields)), np.nan)
    # From the middle outwards: what is like its neighbours may then be compared with, for light and blur change slowly.
    for i in np.argsort(np.abs(k - middle), kind="stable"):
        if not inside[i]:
            continue
        allowed = np.flatnonzero(known & (np.abs(k - middle) <= max(abs(k[i] - middle), 3.5)))
        allowed = allowed[allowed != i]
        near = allowed[np.argsort(np.abs(k[allowed] - k[i]))[:NEIGHBOURS]]
        if len(near) < 2:
            continue
        beside = np.flatnonzero(known & (np.abs(k - k[i]) == 1))
        look = _compared(slots, int(i), near, beside, outward=1.0 if k[i] > middle else -1.0)
        looks[i] = look
        known[i] |= look.alike > ALIKE and look.level < SAME_LEVEL
    by_name = dict(zip(_Look._fields, looks.T, strict=True))
    return Evidence(k=k, **by_name, dot=_dots(tone, board, k))


def _slots(samples: Floats, board: Board, k: Floats, core: Floats, known: NDArray[np.bool_]) -> _Slots:
    block = samples.reshape(len(k), samples.shape[1], BLOCKS, -1).mean(axis=3)
    shared = np.median(block, axis=2)
    law = board.law
    wide_mm = crown_mm(view_sine(board, core))
    space_mm = gap_mm(law, k, np.maximum(board.px_per_mm(k), 1e-6))
    body = np.sign(law.y(core[-1:]) - law.y(core[:1]))[0]
    return _Slots(
        block,
        shared,
        (np.arange(samples.shape[1]) - samples.shape[1] // 2) / SAMPLES,
        np.clip(wide_mm / np.maximum(space_mm, 1e-6), 0.1, 0.5),
        float(towards_camera(board, float(core[0]), float(core[-1])) * body),
        float(np.median(np.ptp(shared[known], axis=1))) if known.any() else 0.0,
    )


def _compared(
    slots: _Slots, i: int, near: NDArray[np.intp], beside: NDArray[np.intp], *, outward: float
) -> _Look:
    """Slot i against known slots: near (nearest first), and beside it where there are two.

    outward : +1 where the neck's middle lies before the slot, -1 where it lies behind.
    """
    block, shared = slots.block, slots.shared
    centred = shared[near] - shared[near].mean(axis=1, keepdims=True)
    template = np.mean(centred, axis=0)[SEARCH:-SEARCH]
    # Seen low, frets change their looks within a few slots where they begin to hide one another.
    closest = [template, np.mean(centred[:2], axis=0)[SEARCH:-SEARCH], centred[0][SEARCH:-SEARCH]]
    if len(beside) == 2:
        closest.append(np.mean(shared[beside] - shared[beside].mean(axis=1, keepdims=True), axis=0)[SEARCH:-SEARCH])
    likeness = max(
        max(_block_likeness(block[i], each), _best(shared[i], each, np.ones(len(each), bool))) for each in closest
    )
    limits = (slots.crown[i] + 0.05,) if slots.camera * outward > 0 else FAR_LIMITS
    reach = slots.offset[SEARCH:-SEARCH] * outward
    halves = [_best(shared[i], template, reach < limit) for limit in limits]
    swing = float(np.ptp(template)) + 3.0
    change = min(_level_change(block[i], block[near]), _level_change(block[i], block[near[:1]]))
    half = slots.offset * outward < -0.05
    inner_change = min(_level_change(block[i][half], block[near[:m]][:, half]) for m in (NEIGHBOURS, 1))
    own = shared[i][SEARCH:-SEARCH]
    return _Look(
        likeness,
        halves[0],
        max(halves),
        change / swing,
        inner_change / max(swing, 0.5 * slots.usual_swing),
        float(np.std(shared[i])),
        float((own - own.mean()) @ closest[1] / (closest[1] @ closest[1] + len(own))),
    )


def _dots(tone: NDArray[np.uint8], board: Board, k: Floats) -> Floats:
    """Middle of the space before every slot against its sides, grey values; NaN where it leaves the picture."""
    samples, inside = slot_samples(tone, board.strip, board.law, k - 0.5, COLUMNS, 0.2)
    centre = np.abs(COLUMNS - 0.5) < 0.07
    aside = (np.abs(COLUMNS - 0.5) > 0.12) & (np.abs(COLUMNS - 0.5) < 0.3)
    space = np.mean(samples, axis=1)
    dot = np.median(space[:, centre], axis=1) - np.median(space[:, aside], axis=1)
    return np.where(inside, dot, np.nan)


def _level_change(block: Floats, near: Floats) -> float:
    """Median over the column blocks of the change of tone against the mean of the slots nearby."""
    return float(np.median(np.abs(np.median(block, axis=0) - np.median(np.median(near, axis=1), axis=0))))


def _best(profile: Floats, template: Floats, part: NDArray[np.bool_]) -> float:
    """Best likeness of part of a template within the search."""
    t = template[part] - template[part].mean()
    m = len(t)
    window = np.lib.stride_tricks.sliding_window_view(profile, len(template))[:, part]
    window = window - window.mean(axis=1, keepdims=True)
    return float(np.max(alike(window @ t, np.sum(window**2, axis=1), float(np.sum(t**2)), m)))


def _block_likeness(block: Floats, template: Floats) -> float:
    """Median over the column blocks of their likeness to the template, at the best common shift."""
    t = template - template.mean()
    # (shifts, blocks, samples)
    parts = np.lib.stride_tricks.sliding_window_view(block[: len(t) + 2 * SEARCH], len(t), axis=0)
    parts = parts - parts.mean(axis=2, keepdims=True)
    value = alike(parts @ t, np.sum(parts**2, axis=2), float(np.sum(t**2)), len(t))
    return float(np.median(value, axis=1).max())


def inlay_agreement(dot: Floats, numbers: Floats) -> float:
    """Correlation (-1..1) of the dots seen before each slot with the customary places, for one numbering.

    Sign-free: inlays may be lighter or darker than the board.  0 where too little is seen.
    """
    index = {int(k): i for i, k in enumerate(numbers)}
    spaces = np.arange(1, 25)
    value = np.abs(np.array([dot[index[k]] if k in index else np.nan for k in spaces.tolist()]))
    # Dots fade along the neck: each space is compared with the strongest one near it.
    known = np.nan_to_num(value, nan=0.0)
    around = np.array([known[max(0, i - 3) : i + 4].max() for i in range(len(known))])
    a = known / (around + DOT_FLOOR)
    b = np.array([float(k in INLAYS) for k in spaces])
    use = np.isfinite(value)
    if use.sum() < 12:
        return 0.0
    a, b = a[use] - a[use].mean(), b[use] - b[use].mean()
    norm = float(np.sqrt(np.sum(a**2) * np.sum(b**2)))
    return float(a @ b) / norm if norm > 1e-9 else 0.0
