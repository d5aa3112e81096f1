"""Everything measured in one photograph for the current model: strip, strings, fret tops, fret ends."""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CameraModel, project, project_with_derivatives
from vision.fit.neck_model import NeckModel, fret_points
from vision.fit.observations import EndData, FretData, StringData
from vision.trace.blur import Blur
from vision.trace.ends import (
    CROWN_HEIGHT_MM,
    HALF_CROWN_MM,
    SIDE_BEND_U_MM,
    SIDE_OFFSET_U_MM,
    SIDE_SLOPE_U_MM,
    find_ends,
)
from vision.trace.profile import LaneGeometry, ProfileFit, fit_profiles
from vision.trace.string_profile import StringCentre, StringPath, refine_string
from vision.trace.strings import StringLine, find_strings, string_mask
from vision.trace.strip import LightCrop, Strip, make_strip

Array = NDArray[np.float64]

LANES = 8
_STARTS = 3
_LANE_REACH = 0.96
_LEAST_SIMILARITY = 0.80
_LEAST_OPEN_SHARE = 0.25  # of a lane's columns free of strings, in a row
_MOST_SHIFT_U_MM = 0.12
_CROWN_TOP_RADIUS_MM = 1.2
_CROWN_RADIUS_MM = (HALF_CROWN_MM**2 + CROWN_HEIGHT_MM**2) / (2.0 * CROWN_HEIGHT_MM)
_FLOOR_PX = 0.03  # what profiles cannot promise: interpolation, tone curve, JPEG
_END_FLOOR_PX = 0.1
_STRING_FLOOR_PX = 0.08
_MATCH_MM = 2.5  # strings stand 6 to 11 mm apart
_LEAST_EXPLAINED = 0.55  # by the string, of what an edge leaves; chance stays below, dim strings reach 0.6
_RADIUS_U = 0.12  # of a string's radius: gauges of one set, relative
_FAR_PX = 2.0  # a found line this far from the fitted one is tried as well
# Errors of tracing that a photograph's own residuals cannot show: constant and drift of a lane, drift and bend of all.
_LOW_ERRORS_U_MM = (0.10, 0.025, 0.02, 0.008)
_FRONT_ERRORS_U_MM = (0.4, 0.06, 0.3, 0.04)  # highlights wander along the neck as the line of sight turns


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


def measure_photo(
    crop: LightCrop,
    camera: CameraModel,
    model: NeckModel,
    theta: Array,
    string_lines: Array,
    radius_mm: Array,
    blur: Blur | None,
    ends: EndData | None = None,
) -> PhotoMeasurement:
    """Measure one photograph around the current model.

    string_lines : (S, 4) the strings as expected (vision.fit.observations.STRING_UNKNOWNS).  radius_mm : (S,) theirs.
    blur : from an earlier pass, or None to search for it.  ends : from an earlier pass, or None to find them.
    """
    strip = make_strip(crop, camera, model, theta)
    strings = find_strings(strip, camera, model, theta)
    signals, weights, open_share = _lane_signals(strip, string_mask(strip, strings))
    geometry = _geometry(strip, camera, model)
    shift = None
    if blur is None:
        combined, weight = _combine(signals, weights)
        starts = [
            fit_profiles(combined, weight, geometry, guess, iterations=5)
            for guess in _likely_blurs(combined, weight, geometry)
        ]
        start = min(starts, key=lambda fit: float(fit.residual[0]))
        blur, shift = start.blur, np.repeat(start.shift_mm, LANES, axis=0)
    profile = fit_profiles(signals, weights, geometry, blur, shift_mm=shift, iterations=4)
    by_fret = np.argsort(strip.order)
    usable = _usable(profile, open_share, strip)[:, by_fret].T
    frets = _fret_data(strip, camera, model, theta, profile, by_fret, usable)
    if ends is None:
        ends = _end_data(crop, camera, model, theta, profile.blur, strip.front)
    matched = _matched(
        crop, strings, string_lines, radius_mm, camera, model, profile.blur, trust_model=shift is None
    )
    string_data = _string_data(matched)
    return PhotoMeasurement(strip, strings, profile, frets, ends, string_data, usable, profile.blur)


def lane_centres() -> Array:
    edges = np.linspace(-_LANE_REACH, _LANE_REACH, LANES + 1)
    centres: Array = 0.5 * (edges[:-1] + edges[1:])
    return centres


def _lane_signals(strip: Strip, mask: NDArray[np.bool_]) -> tuple[Array, Array, Array]:
    """Trimmed mean light per lane and row, its weight, and the share of columns left; each (LANES, rows)."""
    edges = np.linspace(-_LANE_REACH, _LANE_REACH, LANES + 1)
    signals, weights, shares = [], [], []
    for low, high in itertools.pairwise(edges):
        inside = (strip.lateral >= low) & (strip.lateral < high)
        light = np.where(mask[:, inside], np.nan, strip.light[:, inside]).astype(np.float64)
        ordered = np.sort(light, axis=1)  # NaN last
        count = np.sum(~np.isnan(ordered), axis=1)
        rank = np.arange(ordered.shape[1])[None, :]
        trim = count[:, None] // 5
        keep = (rank >= trim) & (rank < count[:, None] - trim)
        total = np.where(keep, np.nan_to_num(ordered), 0.0).sum(axis=1)
        kept = keep.sum(axis=1)
        share = count / inside.sum()
        signals.append(total / np.maximum(kept, 1))
        weights.append(np.where((kept > 0) & (share >= _LEAST_OPEN_SHARE), share, 0.0))
        shares.append(share)
    return np.array(signals), np.array(weights), np.array(shares)


def _combine(signals: Array, weights: Array) -> tuple[Array, Array]:
    """Mean of the inner lanes, (1, rows): enough to find the blur and a first shift for every fret."""
    inner = slice(1, -1)
    total = weights[inner].sum(axis=0)
    mean = (signals[inner] * weights[inner]).sum(axis=0) / np.maximum(total, 1e-9)
    return mean[None, :], (total > 0).astype(np.float64)[None, :]


def _geometry(strip: Strip, camera: CameraModel, model: NeckModel) -> LaneGeometry:
    z = model.z_mm[strip.order]
    tangent = camera.position_mm[1] / np.abs(camera.position_mm[2] - z)
    angle = np.arctan(tangent) if strip.front else tangent
    if strip.front:
        # Both flanks of a crown are seen: the anchor is its far foot, so that everything lies in front of it.
        away = _highlight_place(z, camera) * (1.0 if z[-1] > z[0] else -1.0)
        far_foot = strip.top_row + (1.6 + away) * np.abs(strip.rows_per_mm)
        return LaneGeometry(
            far_foot,
            np.abs(strip.rows_per_mm),
            strip.depth_m,
            strip.px_per_row,
            _normalised(angle),
            _normalised(z),
            crown_mm=3.4,
            near_mm=4.5,
            beyond_mm=0.8,
        )
    return LaneGeometry(
        strip.top_row,
        strip.rows_per_mm,
        strip.depth_m,
        strip.px_per_row,
        _normalised(angle),
        _normalised(z),
        tangent=tangent,
    )


def _normalised(values: Array) -> Array:
    """Scaled to about -1..1 with mean 0."""
    spread = float(np.ptp(values)) / 2.0
    scaled: Array = (values - values.mean()) / max(spread, 1e-9)
    return scaled


def _likely_blurs(signal: Array, weight: Array, geometry: LaneGeometry) -> list[Blur]:
    """Best of a coarse grid of defocus laws (amount, and where along the neck it is sharp), best first.

    Defocus and sharpening trade against each other: more than one start is needed to find the better valley.
    """
    row = np.clip(geometry.top_row[[0, -1]].astype(int), 0, len(geometry.depth_m) - 1)
    inverse = 1.0 / geometry.depth_m[row]
    span = max(abs(float(inverse[0] - inverse[1])), 1e-3)
    tried: list[tuple[float, Blur]] = []
    for discs in (1.0, 3.0, 8.0):
        for place in (0.0, 0.33, 0.67, 1.0):
            focus = float(inverse[0] * (1 - place) + inverse[1] * place)
            blur = Blur(float(np.log(discs / span)), focus, float(np.log(0.9)), 0.6)
            fit = fit_profiles(signal, weight, geometry, blur, iterations=2, fit_blur=False)
            tried.append((float(fit.residual[0]), blur))
    tried.sort(key=lambda pair: pair[0])
    return [blur for _, blur in tried[:_STARTS]]


def _usable(profile: ProfileFit, open_share: Array, strip: Strip) -> NDArray[np.bool_]:
    """(LANES, N) near to far: which stretches show their fret well enough."""
    row = np.clip(np.round(strip.top_row).astype(int), 0, open_share.shape[1] - 1)
    good = (profile.similarity > _LEAST_SIMILARITY) & (open_share[:, row] >= _LEAST_OPEN_SHARE)
    good &= profile.shift_u_mm < _MOST_SHIFT_U_MM
    good &= profile.contrast > profile.residual[:, None]
    return np.asarray(good)


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
    forward = 1.0 if not strip.front or strip.z_mm[-1] > strip.z_mm[0] else -1.0
    shift = profile.shift_mm[:, by_fret].T[fret, lane] * forward
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


def _highlight_place(z_mm: Array, camera: CameraModel) -> Array:
    """Place of a reflection on crowns at z_mm, mm along the neck, up to a constant: r a / 2 at angle of sight a.

    The normal of a mirror bisects light and sight, and the light comes from afar: half of every turn of the line
    of sight is a turn of the normal, on a crown of radius r.
    """
    angle = np.arctan2(camera.position_mm[2] - z_mm, camera.position_mm[1])
    place: Array = 0.5 * _CROWN_RADIUS_MM * (angle - angle.mean())
    return place


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


def _string_data(matched: list[tuple[int, StringCentre]]) -> StringData:
    """Three points on each refined centre line, as data for the joint fit."""
    index, points, normals, u = [], [], [], []
    for string, centre in matched:
        index += [string] * 3
        points.append(centre.points_px)
        normals += [centre.normal] * 3
        u.append(np.hypot(centre.u_px, _STRING_FLOOR_PX))
    count = len(index)
    return StringData(
        np.array(index, dtype=np.int64),
        np.array(points).reshape(count, 2),
        np.array(normals).reshape(count, 2),
        np.array(u).reshape(count),
    )


def _matched(
    crop: LightCrop,
    strings: tuple[StringLine, ...],
    expected: Array,
    radius_mm: Array,
    camera: CameraModel,
    model: NeckModel,
    blur: Blur,
    trust_model: bool,
) -> list[tuple[int, StringCentre]]:
    """Each expected string, refined from where the fitted model has it and from the found line nearest to it."""
    matched = []
    for string, line in enumerate(expected):
        path = _string_path(line, camera, model)
        best, least = None, _MATCH_MM
        for candidate in strings:
            miss = float(np.max(np.abs(_moves_to(path, candidate)) / path.px_per_mm))
            if miss < least:
                best, least = candidate, miss
        starts = [path] if trust_model else []
        if best is not None:
            move = _moves_to(path, best)
            if not trust_model or np.abs(move).max() > _FAR_PX:
                starts.append(path.moved(move))
        radius = float(radius_mm[string])
        centres = [refine_string(crop, start, blur, radius, _RADIUS_U * radius) for start in starts]
        seen = [c for c in centres if c is not None and c.explained > _LEAST_EXPLAINED]
        if seen:
            matched.append((string, max(seen, key=lambda c: c.explained)))
    return matched


def _string_path(line: Array, camera: CameraModel, model: NeckModel) -> StringPath:
    """Image of a string (vision.fit.observations.STRING_UNKNOWNS) from fret 1 to the last fret."""
    z = model.z_mm[[0, -1]]
    points = np.array([[line[0], line[2], z[0]], [line[1], line[3], z[1]]])
    points = np.vstack([points, points.mean(axis=0)])
    image, depth = project(points, camera)
    beside = project(points[:2] + np.array([0.5, 0.0, 0.0]), camera)[0] - image[:2]
    return StringPath(image, camera.focal_px / depth[:2], depth[:2] / 1000.0, beside)


def _moves_to(path: StringPath, found: StringLine) -> Array:
    """How far (px, along its normal) both ends of a path must move to lie on a found line."""
    normal, origin = _line_of(found.points_px)
    moves: Array = ((origin - path.points_px[:2]) @ normal) / float(path.normal @ normal)
    return moves


def _line_of(points: Array) -> tuple[Array, Array]:
    """Unit normal of a total least squares line, and a point on it."""
    origin = points.mean(axis=0)
    _, _, axes = np.linalg.svd(points - origin, full_matrices=False)
    return np.array([-axes[0, 1], axes[0, 0]]), origin
