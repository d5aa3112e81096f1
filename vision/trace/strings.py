"""Strings in the strip: narrow straight lines that run across every fret.

A string stands out from its surroundings in every row, brighter here and darker there, and its image is a
straight line (up to distortion). Lines are searched by their crossing of the nearest and of the farthest fret
with the mean of the clipped local contrast, then refined by robust centroids.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vision.fit.camera import CameraModel, project
from vision.fit.neck_model import NeckModel, surface_points
from vision.trace.line import line_through
from vision.trace.strip import Strip

Array = NDArray[np.float64]

_MEDIAN_COLUMNS = 23
_SMOOTH_ROWS = 5
_CLIP = 4.0
_SEPARATION = 12
_WINDOW = 4
_MOST_STRINGS = 12
_LEAST_SHARE_OF_BEST = 0.40
_LEAST_SCORE = 0.45


@dataclass(frozen=True, eq=False)
class StringLine:
    """A string seen in one photograph.

    column : (rows,) where it crosses each strip row (NaN outside).  points_px : (K, 2) measured centres, image.
    lateral_near, lateral_far : lateral fraction at the nearest and farthest fret as it appears in the picture.
    score : mean contrast along it beyond its rows' typical one, in robust standard deviations.
    width_px : in the picture.
    """

    column: Array
    points_px: Array
    lateral_near: float
    lateral_far: float
    score: float
    width_px: float


def find_strings(strip: Strip, camera: CameraModel, model: NeckModel, theta: Array) -> tuple[StringLine, ...]:
    """All strings of a strip, from side -1 to side +1."""
    contrast = _contrast(strip)
    score_map, ends, rows, share = _score_lines(strip, contrast)
    lines: list[StringLine] = []
    best = float(score_map.max())
    while len(lines) < _MOST_STRINGS:
        index = np.unravel_index(int(np.argmax(score_map)), score_map.shape)
        score = float(score_map[index])
        if score < max(_LEAST_SCORE, _LEAST_SHARE_OF_BEST * best):
            break
        near, far = float(ends[index[0]]), float(ends[index[1]])
        line = _refine(strip, contrast, near + (far - near) * share, rows, score, camera, model, theta)
        if line is not None:
            lines.append(line)
        closeness = np.minimum(np.abs(ends[:, None] - near), np.abs(ends[None, :] - far))
        crossing = (ends[:, None] - near) * (ends[None, :] - far) < 0
        score_map[(closeness < _SEPARATION) | crossing] = -np.inf
        if not np.isfinite(score_map.max()):
            break
    return tuple(sorted(lines, key=lambda line: line.lateral_near + line.lateral_far))


def string_mask(
    strip: Strip, lines: tuple[StringLine, ...], margin_columns: float = 2.0
) -> NDArray[np.bool_]:
    """(rows, columns) True where a string, widened by a margin, covers the strip."""
    columns = np.arange(strip.light.shape[1], dtype=np.float64)
    mask = np.zeros(strip.light.shape, dtype=bool)
    for line in lines:
        half = 0.5 * line.width_px * strip.columns_per_px + margin_columns
        mask |= np.abs(columns[None, :] - line.column[:, None]) < half[:, None]
    return mask


def _contrast(strip: Strip) -> Array:
    light = ndimage.uniform_filter1d(strip.light, _SMOOTH_ROWS, axis=0)
    local = light - _median_along_rows(light)
    scale = 1.4826 * np.median(np.abs(local), axis=1, keepdims=True) + 1e-4
    return np.asarray(local / scale, dtype=np.float64)


def _median_along_rows(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """Running median of every row, edges repeated: as one long row, for which scipy has a far quicker filter."""
    beside = _MEDIAN_COLUMNS // 2
    padded = np.pad(light, ((0, 0), (beside, beside)), mode="edge")
    median = ndimage.median_filter(padded.ravel(), size=_MEDIAN_COLUMNS, mode="nearest").reshape(padded.shape)
    return np.asarray(median[:, beside:-beside])


def _score_lines(strip: Strip, contrast: Array) -> tuple[Array, Array, NDArray[np.int64], Array]:
    """How well lines from column near to column far, both of `ends` (E,), follow something narrow: (E, E); the rows
    looked at, and how far along the line each lies."""
    first, last = int(max(strip.top_row[0], 0)), int(min(strip.top_row[-1], len(contrast) - 1))
    rows = np.arange(first, last, 4)
    columns = contrast.shape[1]
    edge = int(np.searchsorted(strip.lateral, -0.955))
    ends = np.arange(edge, columns - edge, 1.0)
    # A string is straight in the picture, so along the strip it moves with the picture's perspective.
    share = strip.perspective_share(rows, first, last)
    strength = np.minimum(np.abs(contrast), _CLIP)
    strength = ndimage.uniform_filter1d(strength, 3, axis=1)
    typical = np.median(strength[rows], axis=1)
    excess = strength[rows] - typical[:, None]
    score = np.full((len(ends), len(ends)), -np.inf)
    for i, near in enumerate(ends):
        reach = np.abs(ends - near) < 0.45 * columns
        far = ends[reach]
        path = np.round(near + (far[:, None] - near) * share[None, :]).astype(np.int64)
        score[i, reach] = excess[np.arange(len(rows))[None, :], path].mean(axis=1)
    return score, ends, rows, share


def _refine(
    strip: Strip,
    contrast: Array,
    path: Array,
    rows: NDArray[np.int64],
    score: float,
    camera: CameraModel,
    model: NeckModel,
    theta: Array,
) -> StringLine | None:
    """Centroids along a candidate, a robust image line through them, and its way through the strip."""
    columns = contrast.shape[1]
    centre = np.interp(np.arange(len(contrast)), rows, path)
    offset = np.arange(-_WINDOW, _WINDOW + 1)
    every = np.arange(rows[0], rows[-1])
    index = np.clip(np.round(centre[every])[:, None].astype(int) + offset, 0, columns - 1)
    patch = contrast[every[:, None], index]
    sign = np.sign(patch[:, _WINDOW - 1 : _WINDOW + 2].sum(axis=1, keepdims=True))
    weight = np.clip(patch * sign - 1.0, 0.0, None)
    mass = weight.sum(axis=1)
    good = mass > 2.0
    if good.sum() < 20:
        return None
    weight, index, mass, at = weight[good], index[good], mass[good], every[good]
    found = (weight * index).sum(axis=1) / mass
    spread = np.sqrt((weight * (index - found[:, None]) ** 2).sum(axis=1) / mass)
    lateral = np.interp(found, np.arange(columns), strip.lateral)
    world = surface_points(model, theta, strip.z_mm[at], lateral)
    image, _ = project(world, camera)
    keep = _on_one_line(image)
    if keep.sum() < 20:
        return None
    direction, origin = line_through(image[keep])
    column = _line_in_strip(strip, camera, model, theta, origin, direction)
    width = 2.5 * float(np.median(spread)) / float(np.median(strip.columns_per_px[at]))
    near_row, far_row = int(rows[0]), int(rows[-1])
    lateral_of = np.interp(column[[near_row, far_row]], np.arange(columns), strip.lateral)
    return StringLine(column, image[keep], float(lateral_of[0]), float(lateral_of[1]), score, max(width, 2.0))


def _on_one_line(points: Array) -> NDArray[np.bool_]:
    """(n,) those of points (n, 2) px that lie on the line most of them follow."""
    keep = np.ones(len(points), dtype=bool)
    for _ in range(5):
        direction, origin = line_through(points[keep])
        distance = np.abs((points - origin) @ np.array([-direction[1], direction[0]]))
        limit = max(2.5 * 1.4826 * float(np.median(distance[keep])), 0.15)
        keep = distance < limit
        if keep.sum() < 10:
            break
    return keep


def _line_in_strip(
    strip: Strip, camera: CameraModel, model: NeckModel, theta: Array, origin: Array, direction: Array
) -> Array:
    """Column at which an image line crosses each strip row, NaN where it leaves the strip."""
    sparse_columns = np.linspace(0, len(strip.lateral) - 1, 15)
    lateral = np.interp(sparse_columns, np.arange(len(strip.lateral)), strip.lateral)
    surface = surface_points(model, theta, strip.z_mm[:, None], lateral[None, :])
    image = project(surface.reshape(-1, 3), camera)[0].reshape(len(strip.z_mm), len(lateral), 2)
    side = (image - origin) @ np.array([-direction[1], direction[0]])
    column = np.full(len(strip.z_mm), np.nan)
    change = np.sign(side[:, :-1]) != np.sign(side[:, 1:])
    row, cell = np.nonzero(change)
    step = side[row, cell] / (side[row, cell] - side[row, cell + 1])
    column[row] = sparse_columns[cell] + step * (sparse_columns[cell + 1] - sparse_columns[cell])
    return column
