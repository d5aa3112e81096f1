"""Fret by fret: how much each place of the law looks like its neighbours, and where exactly it stands.

Every fret of a neck looks like the next one; the nut, the end of the board, pickups and the headstock do not.
So each slot of the law is compared with a template made of the slots around it, shifted for the best match,
and the law is refitted while it grows outwards from its best-matching stretch.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.locate.comb import Law, law_through
from vision.locate.rectify import Sheet
from vision.locate.segments import Floats

SAMPLES = 24
"""Samples across one fret spacing."""
HALF = 0.5
SEARCH = 0.22
"""Largest shift looked for, in fret spacings."""
REACH = 3
"""Neighbours on each side that make up a slot's template."""


@dataclass(frozen=True)
class Slots:
    """Slots first..first + n - 1 of a law.

    match : (n,) likeness to the neighbours' profile, 1 the same, 0 unrelated; NaN outside the sheet.
    shift : (n,) place of the best match, fret spacings beyond the law's own place.
    """

    law: Law
    first: int
    match: Floats
    shift: Floats


def tone_along(sheet: Sheet) -> Floats:
    """(rows,) tone shared by the columns: mean over columns after taking out each column's slow change."""
    values = sheet.values.astype(np.float64)
    values = values - np.median(values, axis=0, keepdims=True)
    limit = 4.0 * np.median(np.abs(values)) + 2.0
    return np.asarray(np.mean(np.clip(values, -limit, limit), axis=1))


def _profiles(y: Floats, tone: Floats, law: Law, numbers: Floats, half: float) -> Floats:
    """(n, samples) tone around each slot; NaN where it lies outside."""
    offset = np.linspace(-half, half, int(2 * half * SAMPLES) + 1)
    where = law.y(numbers[:, None] + offset)
    return np.interp(where, y, tone, left=np.nan, right=np.nan)


def alike(product: Floats, energy: Floats, template_energy: float, samples: int) -> Floats:
    """Likeness of profiles to a template: correlation, less where the contrast is unlike too.

    Contrast may fall to a third or rise to three times at no cost: glare and blur change it along the neck.
    """
    energy = energy + 0.25 * samples
    template_energy = template_energy + 0.25 * samples
    shape = product / np.sqrt(energy * template_energy)
    strength = np.sqrt(energy / template_energy)
    return np.asarray(shape * np.minimum(1.0, 3.33 * strength / (1.0 + strength**2)))


def _correlate(profile: Floats, template: Floats) -> tuple[float, float]:
    """Best likeness of a template inside a longer profile: value (1 the same) and shift in samples."""
    m = len(template)
    t = template - template.mean()
    norm_t = float(np.sqrt(np.sum(t**2)))
    windows = np.lib.stride_tricks.sliding_window_view(profile, m)
    windows = windows - windows.mean(axis=1, keepdims=True)
    value = alike(windows @ t, np.sum(windows**2, axis=1), norm_t**2, m)
    i = int(np.argmax(value))
    shift = float(i)
    if 0 < i < len(value) - 1:
        below, here, above = value[i - 1], value[i], value[i + 1]
        bend = below - 2 * here + above
        if bend < 0:
            shift += 0.5 * float(below - above) / float(bend)
    return float(value[i]), shift - 0.5 * (len(value) - 1)


def measure_slots(y: Floats, tone: Floats, law: Law, first: int, last: int, core: tuple[int, int]) -> Slots:
    """Grow from the core slots outwards, registering each slot to its inner neighbours and refitting the
    law."""
    pad = SEARCH
    n = last - first + 1
    numbers = np.arange(first, last + 1, dtype=np.float64)
    placed = np.full(n, np.nan)
    low, high = core[0] - first, core[1] - first
    placed[low : high + 1] = 0.0
    for _ in range(3):
        _register(y, tone, law, numbers, placed, range(low, high + 1), pad)
        law = _refit(law, numbers, placed)
        placed[low : high + 1] = 0.0
    match = np.full(n, np.nan)
    trusted = np.zeros(n, dtype=bool)
    trusted[low : high + 1] = True
    missed = {-1: 0, 1: 0}
    while low > 0 or high < n - 1:
        for side in (-1, 1):
            i = low - 1 if side < 0 else high + 1
            if i < 0 or i >= n:
                continue
            inner = range(i + 1, i + 1 + 2 * REACH) if side < 0 else range(i - 2 * REACH, i)
            value, shift = _one(
                y, tone, law, numbers, i, [j for j in inner if 0 <= j < n and trusted[j]], pad
            )
            if np.isfinite(value) and value > 0.65 and abs(shift) < 0.15 and missed[side] < 2:
                missed[side] = 0
                trusted[i] = True
                placed[i] = shift
                kept = np.where(trusted, placed, np.nan)
                new = _refit(law, numbers, kept)
                # Places are kept as offsets from the current law.
                placed = _offsets(new, law, numbers, kept)
                law = new
            else:
                missed[side] += 1
            low, high = (min(low, i), high) if side < 0 else (low, max(high, i))
    shift_out = np.full(n, np.nan)
    for i in range(n):
        around = [j for j in range(i - REACH, i + REACH + 1) if j != i and 0 <= j < n and trusted[j]]
        if not around:
            around = sorted(np.flatnonzero(trusted).tolist(), key=lambda j: abs(j - i))[: 2 * REACH]
        match[i], shift_out[i] = _one(y, tone, law, numbers, i, around, pad)
    return Slots(law, first, match, shift_out)


def _one(
    y: Floats, tone: Floats, law: Law, numbers: Floats, i: int, others: list[int], pad: float
) -> tuple[float, float]:
    """Match and shift (fret spacings) of slot i against the mean profile of the other slots."""
    profile = _profiles(y, tone, law, numbers[i : i + 1], HALF + pad)[0]
    if not others or np.any(np.isnan(profile)):
        return np.nan, np.nan
    near = _profiles(y, tone, law, numbers[others], HALF)
    near = near[~np.any(np.isnan(near), axis=1)]
    if len(near) == 0:
        return np.nan, np.nan
    near = near - near.mean(axis=1, keepdims=True)
    value, shift = _correlate(profile, near.mean(axis=0))
    return value, shift / SAMPLES


def _register(
    y: Floats, tone: Floats, law: Law, numbers: Floats, placed: Floats, which: range, pad: float
) -> None:
    fresh = {}
    for i in which:
        around = [j for j in range(i - REACH, i + REACH + 1) if j != i and j in which]
        value, shift = _one(y, tone, law, numbers, i, around, pad)
        fresh[i] = shift if np.isfinite(value) and value > 0.4 else np.nan
    for i, shift in fresh.items():
        placed[i] = shift


def _refit(law: Law, numbers: Floats, placed: Floats) -> Law:
    good = np.isfinite(placed)
    if good.sum() < 6:
        return law
    return law_through(law.y(numbers[good] + placed[good]), numbers[good])


def _offsets(new: Law, old: Law, numbers: Floats, placed: Floats) -> Floats:
    """The same places in y as offsets from another law, first order."""
    where = old.y(numbers + placed)
    return np.asarray((where - new.y(numbers)) / new.step_px(numbers), dtype=np.float64)
