"""From the whole photograph to the frets of one neck."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.locate.board import Board
from vision.locate.comb import Law, search_law
from vision.locate.crowns import Tones, lock_crowns, move_to_tops
from vision.locate.ladder import Strip, find_strips, strip_from_corners
from vision.locate.numbering import FEWEST_SEEN, USUAL_COUNTS, Numbering, longest_run, number_frets
from vision.locate.rectify import Sheet, cut_sheet, reach, rung_signal
from vision.locate.refine import align_rungs, find_edges
from vision.locate.result import LocatedNeck, NotLocated, refusal
from vision.locate.segments import Floats, find_segments
from vision.locate.slots import Slots, measure_slots, tone_along

SEARCH_SIDE_PX = 2016
"""Longest side of the reduced picture in which edges are looked for."""
BLURRED_SHARE = 0.7
NOTHING_FOUND = "No ladder of frets was found in the picture."
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
CLOSE_CALL = 0.01
"""A reading that contradicts needs to be this little worse to be heard."""
SURE_SCORE = 0.88
"""Mean likeness of the frets from which a reading is taken without looking for a better one."""
SURE, SURER = 1.5, 2.0
"""Sureness of its numbering for the same, and how much surer one of two readings must be to overrule the other."""
FEWEST_FRETS, MOST_FRETS = 12, 36
COLUMNS = np.linspace(0.04, 0.96, 48)
BAND_ROWS = 128
"""Colours are worked out band by band: a whole picture of them would be as large as the photograph."""


def locate_neck(
    rgb: NDArray[np.uint8], frets: int, *, corners_px: ArrayLike | None = None
) -> LocatedNeck | NotLocated:
    """Find the fretted part of one guitar neck and number its frets.

    rgb : (H, W, 3) uint8 upright photograph.  frets : number of frets N, 12..36.
    corners_px : optional (4, 2) marked by a person: nut bass side, nut treble side, last fret treble side,
        last fret bass side; used instead of the search.
    Raises ValueError for wrong arguments; a picture that does not show a neck is a NotLocated, not an error.
    """
    _check(rgb, frets)
    pictures = _Pictures.of(rgb)
    if corners_px is not None:
        return _from_corners(pictures, _check_corners(corners_px), frets)
    refusals: list[NotLocated] = []
    found: list[LocatedNeck] = []
    for tone in (pictures.grey, pictures.yellow):
        for strip in _candidates(tone):
            answer = _read_strip(pictures, tone, strip, frets)
            if isinstance(answer, NotLocated):
                refusals.append(answer)
                continue
            found.append(answer)
            if answer.score >= SURE_SCORE and answer.sureness >= SURE:
                return _weighed(found, refusals)
    if not found:
        if refusals:
            return refusals[0]
        seen = "Nothing in the picture is sharp." if _is_blurred(pictures.grey) else NOTHING_FOUND
        return refusal("no neck", seen)
    return _weighed(found, refusals)


def _weighed(found: list[LocatedNeck], refusals: list[NotLocated]) -> LocatedNeck | NotLocated:
    best = _agreed(found)
    return best if isinstance(best, NotLocated) else _against(best, refusals)


def _candidates(tone: NDArray[np.uint8]) -> list[Strip]:
    """Stacks of rungs found in the reduced picture, in full-size pixels."""
    scale = min(1.0, SEARCH_SIDE_PX / max(tone.shape))
    segments = find_segments(_reduced(tone))
    return [strip.scaled(1.0 / scale) for strip in find_strips(segments, most=3)]


def _reduced(tone: NDArray[np.uint8]) -> NDArray[np.uint8]:
    scale = min(1.0, SEARCH_SIDE_PX / max(tone.shape))
    if scale == 1.0:
        return tone
    return np.asarray(cv2.resize(tone, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _is_blurred(grey: NDArray[np.uint8]) -> bool:
    """Whether the steepest edges hardly lose when the reduced picture is smoothed: a sharp one falls to a
    third."""
    small = _reduced(grey).astype(np.float32)
    steep = []
    for sigma in (1.5, 5.0):
        smooth = cv2.GaussianBlur(small, (0, 0), sigma)
        slope = np.hypot(np.diff(smooth, axis=0)[:, 1:], np.diff(smooth, axis=1)[1:])
        steep.append(float(np.percentile(slope, 99.5)))
    return steep[0] > 0.05 and steep[1] > BLURRED_SHARE * steep[0]


def _against(answer: LocatedNeck, refusals: list[NotLocated]) -> LocatedNeck | NotLocated:
    """The answer, unless a reading about as good counted another number of frets, or any did where the first or last
    fret is not seen."""
    usual = len(answer.found_frets) in USUAL_COUNTS
    seen = bool(answer.found_frets[0] and answer.found_frets[-1])
    for other in refusals:
        if not seen and other.code in ("fret count", "frets run together", "numbering unsure"):
            return other
        if other.score > (answer.score - CLOSE_CALL if usual else 0.0):
            return other
    return answer


def _check_corners(corners_px: ArrayLike) -> Floats:
    corners = np.asarray(corners_px, dtype=np.float64)
    if corners.shape != (4, 2) or not np.isfinite(corners).all():
        raise ValueError(f"corners_px must be a finite (4, 2) array, not {corners_px!r}")
    nut, last = corners[1] - corners[0], corners[2] - corners[3]
    along = corners[2:].mean(axis=0) - corners[:2].mean(axis=0)
    width = 0.5 * (np.linalg.norm(nut) + np.linalg.norm(last))
    if min(np.linalg.norm(nut), np.linalg.norm(last)) < 20 or np.dot(nut, last) <= 0:
        raise ValueError(
            f"corners_px must name both ends of the nut, then of the last fret, not {corners_px!r}"
        )
    if abs(nut[0] * along[1] - nut[1] * along[0]) < 20 * width:
        raise ValueError(f"corners_px must enclose an area, not {corners_px!r}")
    return corners


def _from_corners(pictures: _Pictures, corners: Floats, frets: int) -> LocatedNeck | NotLocated:
    """Read the strip a person marked; what is found must end where the person says."""
    strip = strip_from_corners(corners)
    found: list[LocatedNeck] = []
    answer: LocatedNeck | NotLocated
    for tone in (pictures.grey, pictures.yellow):
        answer = _read_strip(pictures, tone, strip, frets)
        if isinstance(answer, LocatedNeck):
            found.append(answer)
    if not found:
        return refusal("corners contradict", "No frets of this number were found between the corners.")
    answer = _agreed(found)
    if isinstance(answer, NotLocated):
        return answer
    first = np.linalg.norm(answer.fret_ends_px[0].mean(axis=0) - answer.nut_ends_px.mean(axis=0))
    last = np.linalg.norm(answer.fret_ends_px[-1].mean(axis=0) - answer.fret_ends_px[-2].mean(axis=0))
    off_nut = np.linalg.norm(answer.nut_ends_px.mean(axis=0) - corners[:2].mean(axis=0))
    off_last = np.linalg.norm(answer.fret_ends_px[-1].mean(axis=0) - corners[2:].mean(axis=0))
    if off_nut > 0.5 * first + 5.0 or off_last > 0.5 * last + 5.0:
        return refusal("corners contradict", "The frets found do not end at the corners given.")
    return answer


def _agreed(found: list[LocatedNeck]) -> LocatedNeck | NotLocated:
    """The surest of several good readings, unless one about as sure numbers the frets otherwise.

    Of those that number alike the first, lightness before colour: it shows edges finer.
    """
    best = max(found, key=lambda each: each.score)
    good = [each for each in found if each.score > best.score - 0.05]
    surest = max(good, key=lambda each: each.sureness)
    otherwise = [_numbered_otherwise(each, surest) for each in good]
    if any(differs and surest.sureness < SURER * each.sureness for each, differs in zip(good, otherwise, strict=True)):
        return refusal("numbering unsure", "Two readings of the picture number the frets differently.")
    return good[otherwise.index(False)]


def _numbered_otherwise(one: LocatedNeck, other: LocatedNeck) -> bool:
    middle = other.fret_ends_px.mean(axis=1)
    spacing = np.linalg.norm(np.gradient(middle, axis=0), axis=1)
    apart = np.linalg.norm(one.fret_ends_px.mean(axis=1) - middle, axis=1)
    return bool(np.median(apart / spacing) > 0.5)


def _check(rgb: NDArray[np.uint8], frets: int) -> None:
    if not isinstance(rgb, np.ndarray) or rgb.dtype != np.uint8 or rgb.ndim != 3 or rgb.shape[2] != 3:
        what = f"{rgb.dtype} {rgb.shape}" if isinstance(rgb, np.ndarray) else type(rgb).__name__
        raise ValueError(f"rgb must be a (H, W, 3) uint8 array, not {what}")
    if min(rgb.shape[:2]) < 200:
        raise ValueError(f"rgb must be at least 200 px each way, not {rgb.shape[1]} x {rgb.shape[0]}")
    if (
        isinstance(frets, bool)
        or not isinstance(frets, (int, np.integer))
        or not FEWEST_FRETS <= frets <= MOST_FRETS
    ):
        raise ValueError(f"frets must be a whole number from {FEWEST_FRETS} to {MOST_FRETS}, not {frets!r}")


@dataclass(frozen=True)
class _Pictures:
    """Lightness and two colour differences (4 x, 128 = neutral): some boards show their frets by colour
    only."""

    grey: NDArray[np.uint8]
    yellow: NDArray[np.uint8]
    red: NDArray[np.uint8]

    @staticmethod
    def of(rgb: NDArray[np.uint8]) -> _Pictures:
        stronger = np.clip(128 + 4 * (np.arange(256) - 128), 0, 255).astype(np.uint8)
        yellow, red = (np.empty(rgb.shape[:2], np.uint8) for _ in range(2))
        for top in range(0, len(rgb), BAND_ROWS):
            band = slice(top, top + BAND_ROWS)
            lab = cv2.LUT(cv2.cvtColor(rgb[band], cv2.COLOR_RGB2LAB), stronger)
            yellow[band], red[band] = lab[..., 2], lab[..., 1]
        return _Pictures(np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8), yellow, red)


def _sheet(
    tone: NDArray[np.uint8], strip: Strip, y_range: tuple[float, float], step: float, u: Floats
) -> Sheet:
    """Rows `step` apart, each the mean of samples at most a pixel apart."""
    fold = max(1, int(np.ceil(step)))
    y = np.arange(y_range[0], y_range[1], step / fold)
    rows = len(y) // fold
    sheet = cut_sheet(tone, strip, y[: rows * fold], u)
    if fold == 1:
        return sheet
    return Sheet(
        sheet.values.reshape(rows, fold, -1).mean(axis=1),
        np.asarray(sheet.inside.reshape(rows, fold, -1).all(axis=1)),
        sheet.y_px.reshape(rows, fold).mean(axis=1),
        u,
    )


def _read_strip(
    pictures: _Pictures, tone: NDArray[np.uint8], strip: Strip, frets: int
) -> LocatedNeck | NotLocated:
    length = strip.y_range[1] - strip.y_range[0]
    step = max(1.0, length / LAW_ROWS)
    sheet = _sheet(tone, strip, strip.y_range, step, COLUMNS)
    found = _law_of(sheet)
    if found is None:
        return refusal("not a neck", "The rungs found do not follow the law of fret positions.")
    law, coherence = found
    if coherence < LEAST_COHERENCE:
        return refusal("not a neck", "The rungs found do not follow the law of fret positions.")
    y_range = reach(strip, tone.shape, 1.0)
    full = _sheet(tone, strip, y_range, max(0.5, step / 3), COLUMNS)
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
    full = _sheet(tone, strip, y_range, fine, COLUMNS)
    shared = tone_along(full)
    core = (max(1, len(seen) // 2 - 4), min(len(seen), len(seen) // 2 + 4))
    slots = measure_slots(full.y_px, shared, law, -20, len(seen) + 20, core)
    i0, i1 = longest_run(slots.match, slots.shift)
    run = i1 - i0 + 1
    if run < FEWEST_SEEN:
        return refusal("too few frets", f"Only {max(run, 0)} frets in a row could be made out.")
    law = slots.law.renumbered(float(slots.first + i0 - 1))
    full_grey = full if tone is pictures.grey else _sheet(pictures.grey, strip, y_range, fine, COLUMNS)
    # Clipped highlights have no colour: where much is clipped, colour says nothing.
    ends = np.sort(law.y(np.array([1.0, float(run)])))
    on_board = full_grey.values[(full.y_px >= ends[0]) & (full.y_px <= ends[1])]
    colourful = float(np.mean(on_board >= CLIPPED)) < 0.12
    yellow, red, grey = (
        shared if each is tone else tone_along(_sheet(each, strip, y_range, fine, COLUMNS))
        for each in (pictures.yellow, pictures.red, pictures.grey)
    )
    tones = Tones(full.y_px, shared, grey, (yellow + red) * colourful)
    numbering = number_frets(tone, strip, law, tones, run, frets)
    if isinstance(numbering, NotLocated):
        return numbering
    board = Board(strip, numbering.law)
    k = np.arange(1.0, frets + 1)
    crowns = lock_crowns(tones, board, k)
    law = move_to_tops(tones, Board(strip, crowns.law), k, crowns.agree, settled=True)
    spacing = np.abs(law.y(k + 0.5) - law.y(k - 0.5))
    if np.max(np.abs(law.y(k) - numbering.law.y(k)) / spacing) > MOST_SETTLING:
        return refusal("numbering unsure", "The frets' places shift with the way they are fitted.")
    board = Board(strip, law)
    return _result(board, tone.shape, numbering, frets)


def _law_of(sheet: Sheet) -> tuple[Law, float] | None:
    """The law that the rungs follow and how well; where the whole stack follows none, that of a part of it."""
    found: list[tuple[Law, float]] = []
    rows = len(sheet.y_px)
    for low, high, differences in LAW_TRIALS:
        part = slice(int(low * rows), int(high * rows))
        law = search_law(sheet.y_px[part], rung_signal(sheet, 1.5, differences)[part], 3.0, MOST_IN_LAW)
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
