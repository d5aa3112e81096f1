"""Judging the photographs themselves: usable or not, and what the user can change.

Every flag has a stable code, a sentence, and advice. A photograph is refused when what it shows cannot carry the
figure; a wrong number with a small uncertainty would be worse than none.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.fit.agreement import Agreement
from vision.fit.camera import CameraModel, view_angle_deg
from vision.fit.neck_model import NeckModel, middle_of
from vision.results import Flag, PhotoKind
from vision.trace.photo_trace import PhotoMeasurement

Array = NDArray[np.float64]

LEAST_USABLE = 0.60
_GLARE_USABLE = 0.85
_LEAST_FRETS = 12
_LEAST_FRET_SHARE = 0.5  # of a fret's stretches, for the fret to count as seen
_LOW_DEG, _HIGH_DEG, _STEEP_DEG = 4.5, 16.0, 84.0
_SMALL_PX_PER_MM = 3.5
# Spread of the blur on the neck (one standard deviation) beyond which nothing is measured, even if all can be followed:
# 204 photographs of known necks have at most 0.3; blurred on purpose beyond 0.5 they were off by two to four claims.
_BLURRED_MM = 0.5
_DISAGREE = 4.0
# Comparison with known necks, views along the strings in pairs. Of one neck (74 pairs): cost at most 28 (once beyond
# 32, a pale board that mirrors a lamp), correlation mostly 0.6 to 0.99, least 0.23. Of two necks (24 pairs): cost at
# least 47, once 9 with a weak photograph; correlation at most 0.24, once 0.45 at a cost of 194.
_MOST_EXCESS_COST, _LEAST_ALIKE = 45.0, 0.5
_COST_OF_UNLIKE, _UNLIKE = 6.0, 0.1  # the same where single frets are not alike at all
_MIDDLE_MM = 20.0  # so near to the neck's middle plane either string may have been meant
_APART_MM = 20.0  # hands that aim along the same string twice differ by less


@dataclass(frozen=True)
class PhotoProblem:
    """Why a photograph cannot be used, and what to do."""

    code: str
    reason: str
    advice: str


def kind_of(camera: CameraModel, front: bool, left_handed: bool) -> PhotoKind:
    """Which photograph it is, from where the camera stood."""
    if front:
        return "front"
    return "bass" if (camera.position_mm[0] < 0.0) != left_handed else "treble"


def kinds_of(
    cameras: Sequence[CameraModel], fronts: Sequence[bool], left_handed: bool
) -> tuple[PhotoKind, ...]:
    """Which photograph each of a neck is.

    Of two views along the strings from the same side, one of them from near the middle, that one is of the other
    string, unless they are alike.
    """
    kinds = [kind_of(camera, front, left_handed) for camera, front in zip(cameras, fronts, strict=True)]
    low = [i for i, front in enumerate(fronts) if not front]
    if len(low) == 2 and kinds[low[0]] == kinds[low[1]]:
        inner, outer = sorted(low, key=lambda i: abs(cameras[i].position_mm[0]))
        x_inner, x_outer = (abs(float(cameras[i].position_mm[0])) for i in (inner, outer))
        if x_inner < _MIDDLE_MM and x_outer - x_inner > _APART_MM:
            kinds[inner] = "treble" if kinds[outer] == "bass" else "bass"
    return tuple(kinds)


def seen_frets(trace: PhotoMeasurement) -> NDArray[np.bool_]:
    """(N,) frets with enough usable stretches."""
    return np.asarray(trace.usable.mean(axis=1) >= _LEAST_FRET_SHARE)


def usable_share(trace: PhotoMeasurement) -> float:
    return float(trace.usable.mean())


def problem_of(trace: PhotoMeasurement, camera: CameraModel, model: NeckModel) -> PhotoProblem | None:
    """The reason to leave a photograph out, or None."""
    seen = int(seen_frets(trace).sum())
    angle = view_angle_deg(camera, middle_of(model))
    share = usable_share(trace)
    enough = seen >= _LEAST_FRETS and share >= LEAST_USABLE
    if not enough and not trace.strip.front and angle < _LOW_DEG:
        return PhotoProblem(
            "too low",
            f"The view is too low ({angle:.1f} degrees): frets hide one another.",
            "Hold the camera a hand's width higher above the strings and take it again.",
        )
    if _blur_mm(trace, camera, model) > _BLURRED_MM:
        return PhotoProblem(
            "blurred",
            "The frets are too blurred to measure.",
            "Step back, zoom in, tap on the middle of the neck to focus, and hold still.",
        )
    if enough:
        return None
    if seen < _LEAST_FRETS:
        found = f"Only {seen}" if seen else "No"
        return PhotoProblem(
            "too few frets",
            f"{found} frets can be made out, {_LEAST_FRETS} are needed.",
            "Show the whole fretted part, without hands or a capo on it, in even light.",
        )
    return PhotoProblem(
        "glare",
        f"Only {100 * share:.0f} % of the frets' lengths can be made out against the board.",
        "Turn the guitar or the lamp so that the board does not mirror it, and take the picture again.",
    )


def photo_flags(trace: PhotoMeasurement, camera: CameraModel, model: NeckModel) -> tuple[Flag, ...]:
    """What could be better about a photograph that was used."""
    flags = []
    angle = view_angle_deg(camera, middle_of(model))
    front = trace.strip.front
    if not front and angle < _LOW_DEG:
        flags.append(
            Flag(
                "too low",
                f"The view is low ({angle:.1f} degrees): far frets hide one another.",
                "A hand's width higher shows every fret.",
            )
        )
    if not front and angle > _HIGH_DEG:
        flags.append(
            Flag(
                "too high",
                f"The view is high ({angle:.0f} degrees): relief shows less.",
                "Go lower, to 6 to 12 degrees above the strings.",
            )
        )
    if front and angle > _STEEP_DEG:
        flags.append(
            Flag(
                "straight above",
                f"From straight above ({angle:.0f} degrees): in trials that pulled the relief beyond its uncertainty.",
                "Take it from 40 to 70 degrees above the board.",
            )
        )
    if _px_per_mm(camera, model) < _SMALL_PX_PER_MM:
        flags.append(
            Flag("too small", "The neck is small in the picture.", "Zoom in or use the longer lens.")
        )
    if _blur_mm(trace, camera, model) > 0.6 * _BLURRED_MM:
        flags.append(
            Flag(
                "blurred",
                "Some frets are out of focus.",
                "Step back and zoom in: more of the neck is sharp from farther away.",
            )
        )
    hidden = np.flatnonzero(~seen_frets(trace)) + 1
    if len(hidden):
        flags.append(
            Flag(
                "frets hidden",
                f"Not seen well: fret {_list(hidden)}.",
                "Keep hands and straps off the neck; avoid hard reflections.",
            )
        )
    elif usable_share(trace) < _GLARE_USABLE:
        flags.append(
            Flag(
                "glare",
                "Parts of the frets do not stand out from the board.",
                "Turn the guitar or the lamp a little.",
            )
        )
    return tuple(flags)


def disagreeing(fret_residuals: Sequence[Array]) -> bool:
    """True when the photographs contradict each other far beyond their uncertainty."""
    return any(robust_rms(r) > _DISAGREE for r in fret_residuals)


def of_two_necks(found: Agreement) -> bool:
    """True when two views along the strings cannot be of one neck: they cost too much together, and their single
    frets differ."""
    unlike = found.excess_cost > _COST_OF_UNLIKE and found.alike < _UNLIKE
    return unlike or (found.excess_cost > _MOST_EXCESS_COST and found.alike < _LEAST_ALIKE)


def robust_rms(residual: Array) -> float:
    """1.4826 times the median absolute value: the standard deviation for normal data, deaf to outliers."""
    return 1.4826 * float(np.median(np.abs(residual))) if len(residual) else 0.0


def neck_flags(kinds: Sequence[PhotoKind], widths_stated: bool) -> tuple[Flag, ...]:
    """Flags of the whole set of photographs."""
    flags = []
    if "front" not in kinds and not widths_stated:
        flags.append(
            Flag(
                "no front photograph",
                "Without a photograph from the front the relief itself is poorly known; "
                "the difference of the sides, twist and single frets are not affected.",
                "Add one photograph from the front of the whole fretted part; two widths typed in help a little.",
            )
        )
    for kind in ("bass", "treble"):
        if kinds.count(kind) > 1 and not {"bass", "treble"} <= set(kinds):
            flags.append(
                Flag(
                    "same string twice",
                    f"Two photographs were taken along the {kind} side.",
                    "Take one along each outer string.",
                )
            )
    return tuple(flags)


def _px_per_mm(camera: CameraModel, model: NeckModel) -> float:
    return camera.focal_px / float(np.linalg.norm(camera.position_mm - middle_of(model)))


def _blur_mm(trace: PhotoMeasurement, camera: CameraModel, model: NeckModel) -> float:
    """Typical spread of the blur on the neck, in mm on the fret."""
    rows = np.clip(trace.strip.top_row.astype(int), 0, len(trace.strip.depth_m) - 1)
    spread = trace.blur.spread_px(trace.strip.depth_m[rows])
    return float(np.median(spread)) / _px_per_mm(camera, model)


def _list(frets: NDArray[np.int64]) -> str:
    shown = [str(f) for f in frets[:6]]
    return ", ".join(shown) + (" and more" if len(frets) > 6 else "")
