"""Strings told apart: each string of the model is looked for where it is expected and where a line was found."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CameraModel, project
from vision.fit.neck_model import NeckModel
from vision.fit.observations import StringData
from vision.trace.blur import Blur
from vision.trace.line import line_through
from vision.trace.string_frame import FRONT_VIEW, LOW_VIEW, StringPath
from vision.trace.string_profile import StringCentre, refine_string
from vision.trace.strings import StringLine
from vision.trace.strip import LightCrop

Array = NDArray[np.float64]

_STRING_FLOOR_PX = 0.08
_LIGHT_U_MM = 0.03  # light that changes along a string moves its apparent centre: spread against known necks
# A blur that swallows a string leaves its place open: strings of known necks blurred on purpose drift by 0.014 mm rms
# up to a blur (one standard deviation) of 0.25 mm, by 0.05 mm at 0.35 mm, 0.12 mm at 0.46 mm: about its fourth power.
_BLURRED_U_PER_MM3 = 3.5
_MATCH_MM = 2.5  # strings stand 6 to 11 mm apart
_LEAST_EXPLAINED = 0.55  # by the string, of what an edge leaves; chance stays below, dim strings reach 0.6
_RADIUS_U = 0.12  # of a string's radius: gauges of one set, relative
_FAR_PX = 2.0  # a found line this far from the fitted one is tried as well


def match_strings(
    crop: LightCrop,
    strings: tuple[StringLine, ...],
    expected: Array,
    radius_mm: Array,
    camera: CameraModel,
    model: NeckModel,
    blur: Blur,
    *,
    front: bool,
    trust_model: bool,
) -> list[tuple[int, StringCentre]]:
    """Each expected string, refined from where the fitted model has it and from the found line nearest to it."""
    matched = []
    sampling = FRONT_VIEW if front else LOW_VIEW
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
        centres = [refine_string(crop, start, blur, radius, _RADIUS_U * radius, sampling) for start in starts]
        seen = [c for c in centres if c is not None and c.explained > _LEAST_EXPLAINED]
        if seen:
            best_seen = max(seen, key=lambda c: c.explained)
            matched.append((string, replace(best_seen, u_px=np.hypot(best_seen.u_px, unseen_u_px(path, blur)))))
    return matched


def unseen_u_px(path: StringPath, blur: Blur) -> Array:
    """(3,) what residuals do not show of a string's place at near end, far end and middle."""
    scale = np.append(path.px_per_mm, path.px_per_mm.mean())
    spread_mm = blur.spread_px(np.append(path.depth_m, path.depth_m.mean())) / scale
    return np.asarray(np.hypot(_LIGHT_U_MM, _BLURRED_U_PER_MM3 * spread_mm**4) * scale)


def string_data_of(matched: list[tuple[int, StringCentre]]) -> StringData:
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
    direction, origin = line_through(found.points_px)
    normal = np.array([-direction[1], direction[0]])
    moves: Array = ((origin - path.points_px[:2]) @ normal) / float(path.normal @ normal)
    return moves
