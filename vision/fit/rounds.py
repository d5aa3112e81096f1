"""Tracing and fitting in turns: each fit tells the next tracing where to look more exactly."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CameraModel, project
from vision.fit.contradictions import without_contradictions
from vision.fit.joint import JointFit, fit_jointly
from vision.fit.neck_model import NeckModel, fret_points
from vision.fit.observations import PhotoData
from vision.fit.string_prior import centre_offset_u_mm, string_prior, string_radii_mm, usual_string_count
from vision.results import Flag
from vision.trace.doubt import with_doubt_left
from vision.trace.photo_trace import PhotoMeasurement, measure_photo
from vision.trace.strip import NeckLight

Array = NDArray[np.float64]
Each = Callable[..., Iterable[Any]]
"""What applies a function to every photograph, as the built-in `map` does."""

ROUNDS = 3


@dataclass(frozen=True, eq=False)
class View:
    """One photograph ready to be traced: its light around the neck, first camera, camera prior and its u.

    flags : what decoding noticed about the file.  counted : the number of frets was taken from another photograph.
    """

    name: str
    light: NeckLight
    camera: CameraModel
    prior: CameraModel
    prior_u: Array
    flags: tuple[Flag, ...] = ()
    counted: bool = False


@dataclass(frozen=True, eq=False)
class FittedNeck:
    """Model, fit and what was traced in each view, in the order of the views; radii of the strings, side -1 first."""

    model: NeckModel
    fit: JointFit
    photos: tuple[PhotoData, ...]
    traces: tuple[PhotoMeasurement, ...]
    string_radius_mm: Array


def trace_and_fit(
    model: NeckModel,
    views: Sequence[View],
    progress: Callable[[str], None],
    rounds: int = ROUNDS,
    *,
    left_handed: bool = False,
    each: Each = map,
) -> FittedNeck:
    """Alternate tracing of every view with the joint fit.

    left_handed : the thick strings are on side +1.  each : see vision.measure.measure_neck.
    """
    count = usual_string_count(model.scale_length_mm)
    radius = string_radii_mm(model.scale_length_mm, count)[:: -1 if left_handed else 1]
    theta = model.mean.copy()
    string_mean, string_covariance = string_prior(model, theta, radius)
    strings, cameras = string_mean.copy(), [view.camera for view in views]
    lights = [view.light for view in views]
    traces: list[PhotoMeasurement] = []
    for turn in range(rounds):
        earlier: Sequence[PhotoMeasurement | None] = traces or [None] * len(views)
        progress(f"Tracing strings and frets in every photograph ({turn + 1} of {rounds})")
        # Fret ends are points of the picture: the second round takes those of the first.
        trace = partial(
            measure_photo,
            model=model,
            theta=theta,
            string_lines=strings,
            radius_mm=radius,
            keep_ends=turn == 1,
        )
        traces = list(each(trace, lights, cameras, earlier))
        progress(f"Fitting the cameras and the neck together ({turn + 1} of {rounds})")
        believed = [
            with_doubt_left(trace, camera, model) if turn > 0 else trace
            for trace, camera in zip(traces, cameras, strict=True)
        ]
        photos = tuple(
            PhotoData(
                camera, view.prior, view.prior_u, t.frets, t.ends, t.edges, t.string_data, centre_offset_u_mm(radius)
            )
            for view, camera, t in zip(views, cameras, believed, strict=True)
        )
        while True:
            fit = fit_jointly(model, photos, theta, strings, string_mean, string_covariance)
            kept = without_contradictions(photos, fit)
            if all(_points(k) == _points(p) for k, p in zip(kept, photos, strict=True)):
                break
            photos = tuple(replace(p, camera=camera) for p, camera in zip(kept, fit.cameras, strict=True))
            theta, strings = fit.theta, fit.strings
        if not all(_in_sight(view, camera, model, fit.theta) for view, camera in zip(views, fit.cameras, strict=True)):
            fit = replace(fit, converged=False)  # and nothing can be traced by such cameras
            break
        theta, strings, cameras = fit.theta, fit.strings, list(fit.cameras)
    return FittedNeck(model, fit, photos, tuple(traces), radius)


def _in_sight(view: View, camera: CameraModel, model: NeckModel, theta: Array) -> bool:
    """Whether a camera sees the frets where the neck was found: some fits end at lenses that no one has."""
    frets = np.arange(model.frets)
    image, depth = project(fret_points(model, theta, frets, np.zeros(model.frets))[0], camera)
    crop = view.light.clearest
    place = image - crop.origin_px
    inside = (place > 0.0) & (place < np.array(crop.light.shape[::-1]))
    return bool(np.all(depth > 0.0) and np.mean(np.all(inside, axis=1)) > 0.5)


def _points(photo: PhotoData) -> int:
    return len(photo.strings.string) + len(photo.edges.gap)
