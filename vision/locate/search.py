"""From the whole photograph to the frets of one neck."""

from __future__ import annotations

from typing import TypeGuard

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.locate.ladder import Strip, find_strips, strip_from_corners
from vision.locate.numbering import USUAL_COUNTS
from vision.locate.reading import read_strip
from vision.locate.result import LocatedNeck, NotLocated, refusal
from vision.locate.segments import Floats, find_segments
from vision.locate.tones import PictureTones
from vision.settings import FRETS_MAX, FRETS_MIN

COARSE_SIDE_PX, FINE_SIDE_PX = 2016, 3024
"""Longest side of the reduced picture in which edges are looked for, at first and where nothing like a neck is seen."""
NOT_SEEN = frozenset({"no neck", "not a neck", "too few frets"})
BLURRED_SHARE = 0.7
NOTHING_FOUND = "No ladder of frets was found in the picture."
CLOSE_CALL = 0.01
"""A reading that contradicts needs to be this little worse to be heard."""
SURE_SCORE = 0.88
"""Mean likeness of the frets from which a reading is taken without looking for a better one."""
SURE, SURER = 1.5, 2.0
"""Sureness of its numbering for the same, and how much surer one of two readings must be to overrule the other."""


def locate_neck(
    rgb: NDArray[np.uint8], frets: int, *, corners_px: ArrayLike | None = None, counted: bool = False
) -> LocatedNeck | NotLocated:
    """Find the fretted part of one guitar neck and number its frets.

    rgb : (H, W, 3) uint8 upright photograph.  frets : number of frets N, 12..36.
    corners_px : optional (4, 2) marked by a person: nut bass side, nut treble side, last fret treble side,
        last fret bass side; used instead of the search.
    counted : another photograph of the neck shows this number of frets for certain. Where the picture could be read
        with another number about as well, as a pickup beyond the board can look like frets, this one holds.
    Raises ValueError for wrong arguments; a picture that does not show a neck is a NotLocated, not an error.
    """
    _check(rgb, frets)
    pictures = PictureTones.of(rgb)
    if corners_px is not None:
        return _from_corners(pictures, _check_corners(corners_px), frets)
    answer = _searched(pictures, frets, COARSE_SIDE_PX, counted)
    if not _unseen(answer):
        return answer
    if _is_blurred(pictures.grey):
        return refusal("no neck", "Nothing in the picture is sharp.") if answer.code == "no neck" else answer
    if max(rgb.shape) <= COARSE_SIDE_PX:
        return answer
    # The far frets of a small neck are only as far apart as edges of the reduced picture are wide.
    finer = _searched(pictures, frets, FINE_SIDE_PX, counted)
    return answer if _unseen(finer) else finer


def _unseen(answer: LocatedNeck | NotLocated) -> TypeGuard[NotLocated]:
    """Whether nothing like a neck was seen."""
    return isinstance(answer, NotLocated) and answer.code in NOT_SEEN


def _searched(pictures: PictureTones, frets: int, side_px: int, counted: bool) -> LocatedNeck | NotLocated:
    """Read the stacks of rungs found in the picture reduced to side_px."""
    refusals: list[NotLocated] = []
    found: list[LocatedNeck] = []
    for tone in (pictures.grey, pictures.yellow):
        for strip in _candidates(tone, side_px):
            answer = read_strip(pictures, tone, strip, frets, counted=counted)
            if isinstance(answer, NotLocated):
                refusals.append(answer)
                continue
            found.append(answer)
            if answer.score >= SURE_SCORE and answer.sureness >= SURE:
                return _weighed(found, refusals)
    if found:
        return _weighed(found, refusals)
    return refusals[0] if refusals else refusal("no neck", NOTHING_FOUND)


def _weighed(found: list[LocatedNeck], refusals: list[NotLocated]) -> LocatedNeck | NotLocated:
    best = _agreed(found)
    return best if isinstance(best, NotLocated) else _against(best, refusals)


def _candidates(tone: NDArray[np.uint8], side_px: int) -> list[Strip]:
    """Stacks of rungs found in the reduced picture, in full-size pixels."""
    small, scale = _reduced(tone, side_px)
    return [strip.scaled(1.0 / scale) for strip in find_strips(find_segments(small), most=3)]


def _reduced(tone: NDArray[np.uint8], side_px: int) -> tuple[NDArray[np.uint8], float]:
    """The picture with its longest side at most side_px, and its scale."""
    scale = min(1.0, side_px / max(tone.shape))
    if scale == 1.0:
        return tone, scale
    return np.asarray(cv2.resize(tone, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), dtype=np.uint8), scale


def _is_blurred(grey: NDArray[np.uint8]) -> bool:
    """Whether the steepest edges hardly lose when the reduced picture is smoothed: a sharp one falls to a
    third."""
    small = _reduced(grey, COARSE_SIDE_PX)[0].astype(np.float32)
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


def _from_corners(pictures: PictureTones, corners: Floats, frets: int) -> LocatedNeck | NotLocated:
    """Read the strip a person marked; what is found must end where the person says, which bears the number out."""
    strip = strip_from_corners(corners)
    found: list[LocatedNeck] = []
    answer: LocatedNeck | NotLocated
    for tone in (pictures.grey, pictures.yellow):
        answer = read_strip(pictures, tone, strip, frets, counted=True)
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
        or not FRETS_MIN <= frets <= FRETS_MAX
    ):
        raise ValueError(f"frets must be a whole number from {FRETS_MIN} to {FRETS_MAX}, not {frets!r}")
