"""A quick look at one photograph, before anything is measured: is the neck found, how was it taken, what to change.

Only the neck is located and a first camera placed; no figure of the neck comes from here.
"""

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from app.overlay import overlay_jpeg
from app.sharpness import edge_blur_px
from vision.fit.camera import view_angle_deg
from vision.fit.neck_model import middle_of
from vision.fit.start import first_camera
from vision.fit.width_prior import width_prior
from vision.locate import LocatedNeck, locate_neck
from vision.measure import by_side
from vision.photo import Photograph, decode_photograph
from vision.quality import kind_of
from vision.results import Flag, PhotoKind, PhotoResult, PhotoTrace
from vision.settings import StatedNeck
from vision.trace.strip import is_front

Array = NDArray[np.float64]
Corner = tuple[float, float]
Corners = tuple[Corner, Corner, Corner, Corner]  # (x, y) px: nut bass, nut treble, last treble, last bass
Sharpness = Literal["sharp", "a little soft", "blurred", "cannot tell"]

# Common practice of this program, not of any standard: where the measurement begins to suffer.
LOW_DEG, HIGH_DEG = 5.0, 16.0
SOFT_MM, BLURRED_MM = 0.30, 0.60  # blur on the neck; a crown is about 1.2 mm high
SMALL_PX_PER_MM = 3.5


@dataclass(frozen=True, slots=True)
class Look:
    """What a quick look found. found False: reason and advice say why, corners_px is None; code is for programs.

    corners_px : the fretted part as numbered, the player's bass and treble.
    view_angle_deg : above the board, at the middle of the fretted part; a first estimate, good to a degree or two.
    picture : JPEG with the numbered frets drawn on, or the reduced picture; None where nothing could be decoded.
    """

    found: bool
    width_px: int
    height_px: int
    picture: bytes | None
    kind: PhotoKind | None = None
    view_angle_deg: float | None = None
    sharpness: Sharpness = "cannot tell"
    corners_px: Corners | None = None
    reason: str = ""
    advice: str = ""
    code: str = ""
    changes: tuple[Flag, ...] = ()


def look_at(
    data: bytes, name: str, stated: StatedNeck, corners: Corners | None = None, *, counted: bool = False
) -> Look:
    """Decode and locate.

    Parameters
    ----------
    data : the whole file.  name : shown only.
    stated : what the user knows of the neck.
    corners : the fretted part as marked by hand, used instead of the search.
    counted : another photograph of the set shows the stated number of frets for certain.

    Raises
    ------
    ValueError : corners are no four points that could bound a fretted part.
    """
    photograph = decode_photograph(data, name)
    if not isinstance(photograph, Photograph):
        return Look(False, 0, 0, None, reason=photograph.reason, advice=photograph.advice)
    height, width = photograph.rgb.shape[:2]
    given = None if corners is None else by_side(np.array(corners, dtype=np.float64), stated.left_handed)
    located = locate_neck(photograph.rgb, stated.frets, corners_px=given, counted=counted)
    if not isinstance(located, LocatedNeck):
        picture = overlay_jpeg(photograph.rgb, PhotoResult(name, "refused", None), strip=False)
        return Look(False, width, height, picture, reason=located.reason, advice=located.advice, code=located.code)
    picture = overlay_jpeg(photograph.rgb, _numbered(name, located, stated.left_handed), strip=False)
    ends = np.concatenate([located.nut_ends_px, located.fret_ends_px[-1, ::-1]])
    corners_px = _as_corners(by_side(ends, stated.left_handed))
    first = first_camera(photograph, located.fret_ends_px, stated)
    camera, model = first.camera, first.model
    front = is_front(camera, model)
    middle = middle_of(model)
    angle = view_angle_deg(camera, middle)
    px_per_mm = camera.focal_px / float(np.linalg.norm(camera.position_mm - middle))
    sharpness = sharpness_of(edge_blur_px(photograph.rgb, located.fret_ends_px), px_per_mm)
    return Look(
        True,
        width,
        height,
        picture,
        kind_of(camera, front, stated.left_handed),
        angle,
        sharpness,
        corners_px,
        changes=what_to_change(angle, front, sharpness, px_per_mm, located.found_frets),
    )


def sharpness_of(blur_px: Array, px_per_mm: float) -> Sharpness:
    """The blur of most frets, compared with the height of a crown."""
    seen = blur_px[np.isfinite(blur_px)]
    if len(seen) < 3:
        return "cannot tell"
    blur_mm = float(np.median(seen)) / px_per_mm
    return "blurred" if blur_mm > BLURRED_MM else "a little soft" if blur_mm > SOFT_MM else "sharp"


def what_to_change(
    angle_deg: float, front: bool, sharpness: Sharpness, px_per_mm: float, seen_frets: NDArray[np.bool_]
) -> tuple[Flag, ...]:
    """What would make the next photograph better, most important first."""
    flags = []
    if not front and angle_deg < LOW_DEG:
        flags.append(Flag("too low", "Taken very low: far frets hide one another.", "Hold the phone a little higher."))
    if not front and angle_deg > HIGH_DEG:
        flags.append(Flag("too high", "Taken high: a bow shows less.", "Go down to a hand's width above the board."))
    if sharpness in ("blurred", "a little soft"):
        flags.append(Flag("blurred", "Not quite sharp.", "Step back, zoom in, tap the middle of the neck to focus."))
    if px_per_mm < SMALL_PX_PER_MM:
        flags.append(Flag("too small", "The neck is small in the picture.", "Zoom in until it fills the height."))
    hidden = int((~seen_frets).sum())
    if hidden:
        words = "One fret is" if hidden == 1 else f"{hidden} frets are"
        flags.append(Flag("frets hidden", f"{words} hard to make out.", "Avoid glare; keep hands off the neck."))
    return tuple(flags)


def renumbered_corners(fret_ends_px: Array, stated: StatedNeck, marked_fret: int, really_fret: int) -> Corners:
    """Corners of the fretted part when the line numbered marked_fret is really really_fret.

    A plane seen in perspective: the numbered fret ends at their new places on a board of usual widths give a
    homography, and that gives the ends of the nut and of the last fret.

    fret_ends_px : (N, 2, 2) as numbered before, the player's bass side first.

    Raises
    ------
    ValueError : a fret is outside 1 to N, or the change leaves too few frets to work from.
    """
    frets = stated.frets
    for fret_name, fret in (("marked_fret", marked_fret), ("really_fret", really_fret)):
        if not 1 <= fret <= frets:
            raise ValueError(f"{fret_name}={fret!r} is outside 1 to {frets}")
    shift = really_fret - marked_fret
    kept = [k for k in range(1, frets + 1) if 1 <= k + shift <= frets]
    if len(kept) < frets // 2:
        raise ValueError(f"really_fret={really_fret!r} is too far from marked_fret={marked_fret!r}")
    numbers = np.array(kept)
    plane = _board_mm(stated, numbers + shift).reshape(-1, 2)
    seen = fret_ends_px[numbers - 1].reshape(-1, 2)
    homography, _ = cv2.findHomography(plane, seen)
    nut, last = _board_mm(stated, np.array([0, frets]))
    wanted = np.array([*nut, *last[::-1]])
    corners = cv2.perspectiveTransform(wanted[None], homography)[0]
    return _as_corners(corners)


def fret_ends_of(corners: Corners, stated: StatedNeck) -> Array:
    """(N, 2, 2) where the frets end between four corners, bass side first, by the law of frets in perspective."""
    plane = _board_mm(stated, np.arange(stated.frets + 1))
    source = np.array([plane[0, 0], plane[0, 1], plane[-1, 1], plane[-1, 0]], dtype=np.float32)
    homography = cv2.getPerspectiveTransform(source, np.array(corners, dtype=np.float32))
    return np.asarray(cv2.perspectiveTransform(plane[1:].reshape(1, -1, 2), homography)[0].reshape(-1, 2, 2))


def _board_mm(stated: StatedNeck, numbers: NDArray[np.int64]) -> Array:
    """(n, 2, 2) both ends (across, along) of frets by number on a flat board of usual or stated widths; 0: the nut."""
    widths = width_prior(stated, with_front=False)
    share = 1.0 - 2.0 ** (-numbers / 12.0)
    half = 0.5 * (widths.nut_mm + (widths.at_12_mm - widths.nut_mm) * 2.0 * share)
    along = stated.scale_length_mm * share
    return np.stack([np.stack([-half, along], axis=1), np.stack([half, along], axis=1)], axis=1)


def _as_corners(corners_px: Array) -> Corners:
    a, b, c, d = ((float(x), float(y)) for x, y in corners_px)
    return a, b, c, d


def _numbered(name: str, located: LocatedNeck, left_handed: bool) -> PhotoResult:
    """The located frets as a trace for drawing; nothing is claimed of strings and tops."""
    order = [1, 0] if left_handed else [0, 1]
    ends = located.fret_ends_px[:, order]
    lines = np.stack([ends[:, 0], located.fret_middles_px, ends[:, 1]], axis=1)
    nowhere = np.full((len(ends), 2), np.nan)
    trace = PhotoTrace(nowhere, nowhere, lines, located.found_frets, located.nut_ends_px[order], ())
    return PhotoResult(name, "measured", None, trace=trace)
