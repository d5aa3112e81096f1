"""Triangle surfaces from grids of points, and the few solids the scenes are built of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sample_images.scenes.neck_shape import Array


@dataclass(frozen=True, slots=True)
class Surface:
    """Triangles: `points` (P, 3) mm, unit `normals` (P, 3), texture places `uv` (P, 2), `triangles` (T, 3)."""

    points: Array
    normals: Array
    uv: Array
    triangles: NDArray[np.int64]


def grid_surface(points: Array, uv: Array | None = None, *, flip: bool = False, wrap: bool = False) -> Surface:
    """Smooth surface through a grid of points (rows, columns, 3).

    Normals come from central differences; outward is rows x columns, `flip` turns it. With `wrap` the first and
    last column coincide (a closed ring) and share their normals. `uv` (rows, columns, 2) defaults to 0..1.
    """
    rows, columns = points.shape[:2]
    if uv is None:
        uv = np.stack(np.meshgrid(np.linspace(0, 1, columns), np.linspace(0, 1, rows)), axis=-1)
    down = np.gradient(points, axis=0)
    if wrap:
        padded = np.concatenate([points[:, -2:-1], points, points[:, 1:2]], axis=1)
        across = (padded[:, 2:] - padded[:, :-2]) / 2.0
    else:
        across = np.gradient(points, axis=1)
    normals = np.cross(down, across) * (-1.0 if flip else 1.0)
    length = np.linalg.norm(normals, axis=-1, keepdims=True)
    normals = normals / np.where(length > 0, length, 1.0)
    corner = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = corner[:-1, :-1], corner[:-1, 1:], corner[1:, :-1], corner[1:, 1:]
    triangles = np.concatenate([np.stack([a, c, b], -1).reshape(-1, 3), np.stack([b, c, d], -1).reshape(-1, 3)])
    if flip:
        triangles = triangles[:, ::-1]
    return Surface(points.reshape(-1, 3), normals.reshape(-1, 3), uv.reshape(-1, 2), triangles)


def joined(surfaces: list[Surface]) -> Surface:
    """One surface of several, for one material."""
    starts = np.cumsum([0] + [len(s.points) for s in surfaces[:-1]])
    return Surface(
        np.concatenate([s.points for s in surfaces]),
        np.concatenate([s.normals for s in surfaces]),
        np.concatenate([s.uv for s in surfaces]),
        np.concatenate([s.triangles + start for s, start in zip(surfaces, starts, strict=True)]),
    )


def mirrored(surface: Surface) -> Surface:
    """The surface seen in a mirror across the board's middle: a left-handed instrument's part."""
    turn = np.array([-1.0, 1.0, 1.0])
    return Surface(surface.points * turn, surface.normals * turn, surface.uv, surface.triangles[:, ::-1])


def slab(outline_xz: Array, y_bottom: float, y_top: float, edge_mm: float, uv_mm: float = 300.0) -> Surface:
    """Plate of any star-shaped outline (n, 2), anticlockwise seen from above or not, with rounded upper edge.

    Texture places are x and z divided by `uv_mm`.
    """
    if _signed_area(outline_xz) > 0:
        outline_xz = outline_xz[::-1]
    closed = np.concatenate([outline_xz, outline_xz[:1]])
    padded = np.concatenate([closed[-2:-1], closed, closed[1:2]])
    tangent = padded[2:] - padded[:-2]
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    inward = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    middle = outline_xz.mean(axis=0)
    rings = [(closed, y_bottom), (closed, y_top - edge_mm)]
    for angle in np.linspace(0.0, np.pi / 2, 7)[1:]:
        inset = closed + inward * edge_mm * (1.0 - np.cos(angle))
        rings.append((inset, y_top - edge_mm * (1.0 - np.sin(angle))))
    shoulder = rings[-1][0]
    rings.append((shoulder + 0.02 * (middle - shoulder), y_top))
    rings.append((np.broadcast_to(middle, closed.shape) + 1e-6 * (closed - middle), y_top))
    grid = np.stack([np.stack([r[:, 0], np.full(len(r), y), r[:, 1]], axis=-1) for r, y in rings])
    return grid_surface(grid, grid[..., [0, 2]] / uv_mm, wrap=True)


def box(centre: tuple[float, float, float], size: tuple[float, float, float], edge_mm: float = 1.0,
        turn_deg: float = 0.0) -> Surface:
    """Upright box standing about `centre` with rounded upper edges, turned about the vertical."""
    corner = min(edge_mm, 0.45 * min(size[0], size[2]))
    outline = []
    for quadrant in range(4):
        sign_x, sign_z = ((1, 1), (-1, 1), (-1, -1), (1, -1))[quadrant]
        for angle in np.linspace(0, np.pi / 2, 5) + quadrant * np.pi / 2:
            outline.append((sign_x * (size[0] / 2 - corner) + corner * np.cos(angle),
                            sign_z * (size[2] / 2 - corner) + corner * np.sin(angle)))
    turn = np.deg2rad(turn_deg)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    placed = np.array(outline) @ rotation.T + np.array([centre[0], centre[2]])
    return slab(placed, centre[1] - size[1] / 2, centre[1] + size[1] / 2, corner)


def disc_post(centre_xz: tuple[float, float], y_bottom: float, y_top: float, radius_mm: float,
              edge_mm: float = 0.5) -> Surface:
    """Upright round post."""
    angle = np.linspace(0, 2 * np.pi, 49)[:-1]
    outline = np.stack([centre_xz[0] + radius_mm * np.cos(angle), centre_xz[1] + radius_mm * np.sin(angle)], axis=1)
    return slab(outline, y_bottom, y_top, min(edge_mm, 0.9 * radius_mm), uv_mm=4 * radius_mm)


def tube(start: Array, end: Array, radius_mm: Array, along: Array, around: int = 24) -> Surface:
    """Straight round rod from `start` to `end` (3,), its radius (len(along), around + 1) at fractions `along`."""
    axis = (end - start) / np.linalg.norm(end - start)
    side = np.cross(axis, [0.0, 1.0, 0.0] if abs(axis[1]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    other = np.cross(axis, side)
    angle = np.linspace(0.0, 2.0 * np.pi, around + 1)
    ring = np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * other
    middle = start + along[:, None] * (end - start)
    points = middle[:, None, :] + np.broadcast_to(radius_mm, (len(along), around + 1))[..., None] * ring[None]
    return grid_surface(points, flip=True, wrap=True)


def _signed_area(outline: Array) -> float:
    x, z = outline[:, 0], outline[:, 1]
    return float(0.5 * np.sum(x * np.roll(z, -1) - np.roll(x, -1) * z))
