"""Everything measured in one photograph for the current model: strip, strings, fret tops and ends, edges."""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CameraModel, project, project_with_derivatives
from vision.fit.neck_model import NeckModel, fret_points
from vision.fit.observations import EdgeData, EndData, FretData, StringData
from vision.trace.blur import Blur
from vision.trace.board_edges import edge_data
from vision.trace.edge_blur import blur_from_edges
from vision.trace.edge_steps import edge_steps
from vision.trace.ends import (
    SIDE_BEND_U_MM,
    SIDE_OFFSET_U_MM,
    SIDE_SLOPE_U_MM,
    find_ends,
)
from vision.trace.lanes import LANES, lane_centres, lane_geometry, lane_signals, usable_stretches
from vision.trace.profile import ProfileFit, fit_profiles
from vision.trace.profile_start import first_profile
from vision.trace.reflections import without_sliding
from vision.trace.string_match import match_strings, string_data_of
from vision.trace.strings import StringLine, find_strings, string_mask
from vision.trace.strip import LightCrop, NeckLight, Strip, make_strips

Array = NDArray[np.float64]

_CROWN_TOP_RADIUS_MM = 1.2
_FLOOR_PX = 0.03  # what profiles cannot promise: interpolation, tone curve, JPEG
_END_FLOOR_PX = 0.1
# Errors of tracing that a photograph's own residuals cannot show: constant, drift, bend of a lane; drift, bend of all.
_LOW_ERRORS_U_MM = (0.10, 0.02, 0.004, 0.02, 0.008)
_FRONT_ERRORS_U_MM = (0.4, 0.06, 0.01, 0.3, 0.04)  # highlights wander along the neck as the line of sight turns


@dataclass(frozen=True, eq=False)
class PhotoMeasurement:
    """Data for the joint fit, and what is needed to judge and draw the photograph."""

    strip: Strip
    strings: tuple[StringLine, ...]
    profile: ProfileFit
    frets: FretData
    ends: EndData
    string_data: StringData
    usable: NDArray[np.bool_]  # (N, LANES) by fret index
    blur: Blur
    edge_blur: Blur | None
    edges: EdgeData


def measure_photo(
    light: NeckLight,
    camera: CameraModel,
    before: PhotoMeasurement | None,
    *,
    model: NeckModel,
    theta: Array,
    string_lines: Array,
    radius_mm: Array,
    keep_ends: bool = False,
) -> PhotoMeasurement:
    """Measure one photograph around the current model.

    before : the earlier pass, or None: then the blur is searched for, and lanes are not yet freed from what reflections
        do to them.  keep_ends : take the fret ends of that pass.
    string_lines : (S, 4) the strings as expected (vision.fit.observations.STRING_UNKNOWNS).  radius_mm : (S,) theirs.
    """
    crop = light.clearest
    strip, dark_strip = make_strips([crop, light.wood_dark], camera, model, theta)
    if before is not None and strip.front:
        before = _at_new_depths(before, strip)
    strings = find_strings(strip, camera, model, theta)
    mask = string_mask(strip, strings)
    signals, weights, open_share = lane_signals(strip, mask)
    geometry = lane_geometry(strip, camera, model)
    steps = edge_steps(crop, camera, model, theta, strip.front)
    edge_blur = blur_from_edges(steps, None if before is None else before.edge_blur)
    # From the front crowns are mirrors through and through, drawn as well with a wrong blur as with the right one.
    known = edge_blur if strip.front else None
    shift = None
    if before is None:
        start = first_profile(signals, weights, geometry, known)
        blur, shift = start.blur, np.repeat(start.shift_mm, LANES, axis=0)
    else:
        blur = known or before.blur
    fit = partial(fit_profiles, signals, weights, geometry, blur, iterations=4, fit_blur=known is None)
    profile = fit(shift_mm=shift)
    seen = usable_stretches(profile, open_share, strip)
    if strip.front and before is not None and not seen.any(axis=0).all():
        # Frets are lost whose highlights stand far from where the model has them: look where they were before.
        again = fit(shift_mm=shifts_as_before(before.frets, strip, camera, model, theta))
        better = usable_stretches(again, open_share, strip)
        if np.count_nonzero(better) > np.count_nonzero(seen):
            profile, seen = again, better
    if before is not None and not strip.front:
        wood_dark, _, _ = lane_signals(dark_strip, mask)
        profile = without_sliding(profile, wood_dark, weights, geometry, seen)
    by_fret = np.argsort(strip.order)
    usable = seen[:, by_fret].T
    frets = _fret_data(strip, camera, model, theta, profile, by_fret, usable)
    kept = before.ends if before is not None and keep_ends else None
    ends = kept or _end_data(crop, camera, model, theta, profile.blur, strip.front)
    edges = edge_data(steps, edge_blur or profile.blur, camera, model, theta, strip.front)
    matched = match_strings(
        crop,
        strings,
        string_lines,
        radius_mm,
        camera,
        model,
        profile.blur,
        front=strip.front,
        trust_model=before is not None,
    )
    string_data = string_data_of(matched)
    return PhotoMeasurement(strip, strings, profile, frets, ends, string_data, usable, profile.blur, edge_blur, edges)


def _at_new_depths(before: PhotoMeasurement, strip: Strip) -> PhotoMeasurement:
    """The earlier pass of a front view with its blur as it is where the camera stands now.

    Its first place is a guess where the lens is unknown, at half the distance if it was taken for one half as long, and
    the edges' blur is found from there. The blur of low views stays: moved too, 68 known necks came out no better.
    """
    farther = float(np.median(strip.depth_m) / np.median(before.strip.depth_m))
    edge_blur = None if before.edge_blur is None else before.edge_blur.moved(farther)
    return replace(before, blur=before.blur.moved(farther), edge_blur=edge_blur)


def shifts_as_before(
    data: FretData, strip: Strip, camera: CameraModel, model: NeckModel, theta: Array
) -> Array:
    """(LANES, N) shifts of the tops found before, near to far, against the model as it is now."""
    points, _ = fret_points(model, theta, data.fret, data.lateral)
    image, _, by_point = project_with_derivatives(points, camera)
    motion = by_point @ strip.direction_mm
    shift = np.sum((data.point_px - image) * data.normal, axis=1) / np.sum(motion * data.normal, axis=1)
    start = np.zeros((LANES, model.frets))
    for lane in np.unique(data.lane):
        own = data.lane == lane
        found = data.fret[own]
        start[lane] = np.polyval(np.polyfit(model.z_mm[found], shift[own], 1 if len(found) > 1 else 0), model.z_mm)
        start[lane, found] = shift[own]
    return strip.forward * start[:, strip.order]


def _fret_data(
    strip: Strip,
    camera: CameraModel,
    model: NeckModel,
    theta: Array,
    profile: ProfileFit,
    by_fret: NDArray[np.int64],
    usable: NDArray[np.bool_],
) -> FretData:
    fret, lane = np.nonzero(usable)
    lateral = lane_centres()[lane]
    shift = profile.shift_mm[:, by_fret].T[fret, lane] * strip.forward
    sigma_mm = profile.shift_u_mm[:, by_fret].T[fret, lane]
    points, _ = fret_points(model, theta, fret, lateral)
    lift = np.zeros(len(fret)) if strip.front else _silhouette_lift(points, camera)
    points[:, 1] += lift
    image, _, by_point = project_with_derivatives(points, camera)
    motion = by_point @ strip.direction_mm
    beside, _ = fret_points(model, theta, fret, lateral + 0.05)
    beside[:, 1] += lift
    along = project(beside, camera)[0] - image
    along /= np.hypot(*along.T)[:, None]
    normal = np.column_stack([-along[:, 1], along[:, 0]])
    px_per_mm = np.abs(np.sum(motion * normal, axis=1))
    u_px = np.hypot(sigma_mm * px_per_mm, _FLOOR_PX)
    return FretData(
        fret,
        lane,
        lateral,
        image + shift[:, None] * motion,
        normal,
        u_px,
        lift,
        strip.direction_mm,
        *(_FRONT_ERRORS_U_MM if strip.front else _LOW_ERRORS_U_MM),
        LANES,
    )


def _silhouette_lift(points: Array, camera: CameraModel) -> Array:
    """Height of the seen silhouette over the crown's top: r a^2 / 2 for a crown of radius r seen at angle a."""
    sight = camera.position_mm - points
    angle = np.arctan2(sight[:, 1], np.hypot(sight[:, 0], sight[:, 2]))
    lift: Array = 0.5 * _CROWN_TOP_RADIUS_MM * angle**2
    return lift


def _end_data(
    crop: LightCrop, camera: CameraModel, model: NeckModel, theta: Array, blur: Blur, front: bool
) -> EndData:
    found = find_ends(crop, camera, model, theta, blur, front)
    fret = np.repeat(np.arange(model.frets), 2)
    side = np.tile([0, 1], model.frets)
    sign = np.where(side == 0, -1.0, 1.0)
    points, _ = fret_points(model, theta, fret, sign)
    image, _, by_point = project_with_derivatives(points, camera)
    motion = by_point[:, :, 0] * sign[:, None]  # px per mm outwards
    per_mm = np.hypot(*motion.T)
    offset, u_mm = found.offset_mm.ravel(), found.offset_u_mm.ravel()
    u_px = np.hypot(u_mm * per_mm, _END_FLOOR_PX)
    good = np.isfinite(u_px) & (np.abs(offset) < 0.9)
    tangent = motion / per_mm[:, None]
    return EndData(
        fret[good],
        side[good],
        (image + offset[:, None] * motion)[good],
        tangent[good],
        u_px[good],
        SIDE_OFFSET_U_MM,
        SIDE_SLOPE_U_MM * 0.5 * float(model.z_mm[-1] - model.z_mm[0]) / 200.0,
        SIDE_BEND_U_MM,
    )
