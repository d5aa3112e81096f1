"""The whole measurement: photographs of one neck in, curves with uncertainties out, or a refusal with its reason.

photo -> locate -> start camera -> (trace, joint fit) in turns -> checks -> curves.
Photographs may come in any number and order; which one is along the bass, along the treble or from the front is
found from the fitted camera.
"""

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from vision.assemble import measured_neck, refused_photo, with_file_flags
from vision.fit.agreement import agreement
from vision.fit.neck_model import WidthPrior, build_neck_model
from vision.fit.rounds import Each, FittedNeck, View, trace_and_fit
from vision.fit.start import first_camera
from vision.fit.width_prior import width_prior
from vision.locate import ADVICE, COUNT_OPEN, LocatedNeck, locate_neck
from vision.photo import PhotoFile, Photograph, Unreadable, decode_photograph
from vision.quality import PhotoProblem, disagreeing, of_two_necks, problem_of
from vision.results import Outcome, PhotoResult, Refused
from vision.settings import StatedNeck
from vision.trace.strip import is_front, neck_light

Array = NDArray[np.float64]
Progress = Callable[[str], None]
Given = PhotoFile | Photograph | Unreadable

_CONTRADICTS = PhotoProblem(
    COUNT_OPEN,
    "It cannot be told for certain which frets are seen; numbered as stated, it contradicts the other photographs.",
    ADVICE[COUNT_OPEN],
)
_START_RMS_SHARE = 0.12  # of the neck's width in the picture: beyond this no neck of this kind was found


@dataclass(frozen=True, eq=False)
class CornerStart:
    """Corners of the fretted part given by a person, (4, 2) px: nut bass side, nut treble side, last fret
    treble side, last fret bass side (the player's bass and treble)."""

    corners_px: Array


def measure_neck(
    photographs: Sequence[Given],
    stated: StatedNeck,
    *,
    starts: Mapping[int, CornerStart] | None = None,
    progress: Progress | None = None,
    each: Each = map,
) -> Outcome:
    """Measure one neck from its photographs.

    Parameters
    ----------
    photographs : of one neck, any number and order, as files or decoded; unreadable ones keep their place.
    stated : what the user knows of the neck.
    starts : corners given by hand, by index of the photograph.
    progress : called with the name of each step as it begins.
    each : applies a function to every photograph. The `map` of an executor of processes works on them side by side,
        with the same outcome; threads gain little, most steps hold the interpreter.

    Returns
    -------
    Measured, or Refused with the reason and what to do next. Photographs keep their order in both.

    Raises
    ------
    ValueError : no photographs, or starts names a photograph that is not there.
    """
    if not photographs:
        raise ValueError(f"photographs={photographs!r} must hold at least one photograph")
    starts = starts or {}
    for index in starts:
        if not 0 <= index < len(photographs):
            raise ValueError(
                f"starts={sorted(starts)} names photograph {index}, there are {len(photographs)}"
            )
    say = progress or (lambda step: None)
    results: dict[int, PhotoResult] = {}
    views: dict[int, View] = {}
    say("Finding the neck in every photograph")
    usable = _once_each(photographs)
    marked = [starts.get(index) for index in range(len(photographs))]
    everything = _views_of(usable, marked, stated, each)
    for index, (photo, found) in enumerate(zip(photographs, everything, strict=True)):
        if isinstance(found, View):
            views[index] = found
        else:
            results[index] = refused_photo(photo.name, found)
    return _measure_views(photographs, stated, views, results, say, each)


def _once_each(photographs: Sequence[Given]) -> list[Given]:
    """A file given again is left out: counted twice, its errors would pass for two sightings that agree."""
    first: dict[str, int] = {}
    usable: list[Given] = []
    for index, photo in enumerate(photographs):
        same = None if isinstance(photo, Unreadable) else first.setdefault(photo.sha256, index)
        if same in (None, index):
            usable.append(photo)
            continue
        again = f"The same file as {photographs[same].name}: a photograph counts once."
        usable.append(Unreadable(photo.name, "given twice", again, "Take one along each outer string."))
    return usable


def _views_of(
    photographs: Sequence[Given], starts: Sequence[CornerStart | None], stated: StatedNeck, each: Each
) -> list[View | PhotoProblem]:
    """Every photograph alone; once one shows for certain how many frets there are, again those that left it open."""
    found: list[View | PhotoProblem] = list(each(partial(_view_of, stated=stated), photographs, starts))
    if any(isinstance(one, View) for one in found):
        doubtful = [i for i, one in enumerate(found) if isinstance(one, PhotoProblem) and one.code == COUNT_OPEN]
        again = partial(_view_of, stated=stated, counted=True)
        second = each(again, [photographs[i] for i in doubtful], [starts[i] for i in doubtful])
        for i, one in zip(doubtful, second, strict=True):
            found[i] = one
    return found


def _view_of(
    given: Given, start: CornerStart | None, *, stated: StatedNeck, counted: bool = False
) -> View | PhotoProblem:
    """Decode one photograph, locate the neck in it and place a first camera. counted : see locate_neck."""
    photo = decode_photograph(given.data, given.name) if isinstance(given, PhotoFile) else given
    if isinstance(photo, Unreadable):
        return PhotoProblem(photo.code, photo.reason, photo.advice)
    corners = None if start is None else by_side(start.corners_px, stated.left_handed)
    located = locate_neck(photo.rgb, stated.frets, corners_px=corners, counted=counted)
    if not isinstance(located, LocatedNeck):
        return PhotoProblem(located.code, located.reason, located.advice)
    first = first_camera(photo, located.fret_ends_px, stated)
    across = np.linalg.norm(located.fret_ends_px[:, 1] - located.fret_ends_px[:, 0], axis=1)
    if first.rms_px > _START_RMS_SHARE * float(np.median(across)):
        return PhotoProblem(
            "does not fit",
            "What was found does not have the proportions of a neck with this scale length.",
            "Check the stated scale length and number of frets.",
        )
    ends, model = located.fret_ends_px.reshape(-1, 2), first.model
    light = neck_light(photo.rgb, ends, first.camera, model, model.mean)
    return View(photo.name, light, first.camera, first.prior, first.prior_u, photo.flags, counted)


def _measure_views(
    photographs: Sequence[Given],
    stated: StatedNeck,
    views: dict[int, View],
    results: dict[int, PhotoResult],
    say: Progress,
    each: Each,
) -> Outcome:
    """Fit, leave out what cannot be used, fit again; refuse when nothing is left to carry a relief."""
    while True:
        refusal = _nothing_to_measure(stated, views, results)
        if refusal is not None:
            return _refused(stated, refusal, views, results)
        model = build_neck_model(stated.scale_length_mm, stated.frets, _widths(stated, views))
        indices = sorted(views)
        seen = [views[i] for i in indices]
        fitted = trace_and_fit(model, seen, say, left_handed=stated.left_handed, each=each)
        problems = {
            i: problem
            for i, trace, camera in zip(indices, fitted.traces, fitted.fit.cameras, strict=True)
            if (problem := problem_of(trace, camera, model)) is not None
        }
        trouble = None if problems else _trouble(fitted)
        if trouble is not None:
            problems = {i: _CONTRADICTS for i in indices if views[i].counted}
        if not problems:
            break
        for i, problem in problems.items():
            results[i] = refused_photo(views.pop(i).name, problem)
    if trouble is not None:
        return _refused(stated, trouble, views, results)
    say("Judging the curves")
    place_of = dict(zip(indices, range(len(indices)), strict=True))
    measured = measured_neck(fitted, stated, place_of, results, [p.name for p in photographs])
    noticed = [views[i].flags if i in views else () for i in range(len(photographs))]
    return with_file_flags(measured, noticed)


def _widths(stated: StatedNeck, views: dict[int, View]) -> WidthPrior:
    model = build_neck_model(stated.scale_length_mm, stated.frets, width_prior(stated, with_front=False))
    front = any(is_front(view.camera, model) for view in views.values())
    return width_prior(stated, with_front=front)


def _nothing_to_measure(
    stated: StatedNeck, views: dict[int, View], results: dict[int, PhotoResult]
) -> PhotoProblem | None:
    lost = {r.reason: r for r in results.values() if r.reason}
    first = next(iter(lost.values()), None)
    if not views and first is not None:
        code = first.flags[0].code if first.flags else "no neck"
        return PhotoProblem(code, " ".join(lost), first.advice or "")
    model = build_neck_model(stated.scale_length_mm, stated.frets, width_prior(stated, with_front=False))
    if all(is_front(view.camera, model) for view in views.values()):
        if first is not None:
            only = "Only the photograph from the front can be used, and it gives widths, not relief."
            return PhotoProblem("front only", " ".join([only, *lost]), first.advice or "")
        return PhotoProblem(
            "front only",
            "Photographs from the front alone give widths, not relief.",
            "Add two photographs looking down the neck, one along each outer string.",
        )
    return None


def _trouble(fitted: FittedNeck) -> PhotoProblem | None:
    """Reasons to refuse that show only after the joint fit."""
    if not fitted.fit.converged:
        return PhotoProblem(
            "fit unsettled",
            "No place of the cameras and shape of the neck was found that settles.",
            "Check the stated scale length and number of frets, and take the photographs again.",
        )
    low = [photo for photo, trace in zip(fitted.photos, fitted.traces, strict=True) if not trace.strip.front]
    two_necks = any(
        of_two_necks(agreement(fitted.model, pair, fitted.fit, fitted.string_radius_mm))
        for pair in itertools.combinations(low, 2)
    )
    if two_necks or (len(fitted.photos) > 1 and disagreeing(fitted.fit.fret_residual)):
        return PhotoProblem(
            "photographs disagree",
            "The photographs do not show the same neck, or one of them was edited or has its frets numbered wrongly.",
            "Use unedited photographs of one guitar, taken one after the other, and compare the numbers drawn on them.",
        )
    return None


def _refused(
    stated: StatedNeck, problem: PhotoProblem, views: dict[int, View], results: dict[int, PhotoResult]
) -> Refused:
    rest = {i: refused_photo(view.name, problem) for i, view in views.items()}
    every = results | rest
    return Refused(
        stated.scale_length_mm,
        stated.frets,
        problem.code,
        problem.reason,
        problem.advice,
        tuple(every[i] for i in sorted(every)),
    )


def by_side(corners_px: Array, left_handed: bool) -> Array:
    """The player's bass and treble to the neck frame's sides: the same, but swapped for a left-handed guitar."""
    return corners_px[[1, 0, 3, 2]] if left_handed else corners_px
