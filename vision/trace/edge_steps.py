"""Light across the board's edges, gap by gap between the frets: one step each from the board to what lies beyond.

The edge of a straight-sided board is the longest straight thing in the picture. It tells how blurred the photograph is
(vision.trace.edge_blur) and, together with the ends of the frets, how wide the neck is (vision.trace.board_edges).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CameraModel, project
from vision.fit.neck_model import EDGE_DOWN_MM, EDGE_OUT_MM, NeckModel, surface_points, width_mm
from vision.trace.blur import Blur, edge_spread
from vision.trace.strip import LightCrop

Array = NDArray[np.float64]

STEP_MM = 0.04
S_MM = np.arange(-2.0, 2.0, STEP_MM)
"""Samples of a profile, outwards of where the edge is expected."""
HALF_PX = 6.0
"""Of the edge that is looked at."""

_ROWS = 9  # averaged along the edge
_SLOPE_PULL = 0.3
_BESIDE_MM = 1.0
_CLEAR_PX = 3.0  # of a crown's blur, along the edge
_HALF_CROWN_MM = 1.2


@dataclass(frozen=True, eq=False)
class EdgeSteps:
    """Profiles across both edges: light (n, samples), px_per_mm (n,), depth_m (n,), gap (n,) index of the fret before
    the gap, share (n,) of the way to the next fret, side (n,) 0 or 1."""

    light: Array
    px_per_mm: Array
    depth_m: Array
    gap: NDArray[np.int64]
    share: Array
    side: NDArray[np.int64]

    def some(self, which: NDArray[np.bool_]) -> "EdgeSteps":
        return EdgeSteps(
            self.light[which],
            self.px_per_mm[which],
            self.depth_m[which],
            self.gap[which],
            self.share[which],
            self.side[which],
        )


def edge_steps(
    crop: LightCrop, camera: CameraModel, model: NeckModel, theta: Array, front: bool
) -> EdgeSteps:
    """Profiles across the edges beside every gap between two frets, where the model expects them."""
    share = _shares(camera, model, front)
    z = model.z_mm[:-1, None] * (1 - share) + model.z_mm[1:, None] * share
    row, column = _ROWS // 2, len(S_MM) // 2
    light, scale, depth_m = [], [], []
    for side, sign in enumerate((-1.0, 1.0)):
        surface = surface_points(model, theta, z, np.full_like(z, sign))
        out = EDGE_OUT_MM + theta[model.edge_out][side] + S_MM
        x = sign * (width_mm(model, theta, z)[..., None] / 2.0 + out)
        points = np.stack(np.broadcast_arrays(x, surface[..., 1, None] - EDGE_DOWN_MM, z[..., None]), axis=-1)
        image, depth = project(points.reshape(-1, 3), camera)
        image, depth = image.reshape((*points.shape[:-1], 2)), depth.reshape(points.shape[:-1])
        sampled = crop.sample(image.reshape(len(z), -1, 2)).reshape(points.shape[:-1]).astype(np.float64)
        along = image[:, -1, column] - image[:, 0, column]
        along /= np.hypot(*along.T)[:, None]
        across = (image[:, row, -1] - image[:, row, 0]) / float(S_MM[-1] - S_MM[0])
        light.append(sampled.mean(axis=1))
        scale.append(np.abs(along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0]))
        depth_m.append(depth[:, row, column] / 1000.0)
    gaps = len(z)
    return EdgeSteps(
        np.concatenate(light),
        np.concatenate(scale),
        np.concatenate(depth_m),
        np.tile(np.arange(gaps), 2),
        np.tile(share[:, row], 2),
        np.repeat([0, 1], gaps),
    )


def strongest_step(light: Array, within_mm: float) -> tuple[Array, Array]:
    """Place (mm) of the steepest rise of every profile, at most within_mm off, and how high the step there is."""
    smooth = np.apply_along_axis(
        lambda p: np.convolve(np.pad(p, 2, mode="edge"), np.full(5, 0.2), "valid"), 1, light
    )
    steep = np.where(np.abs(S_MM) <= within_mm, np.abs(np.gradient(smooth, axis=1)), -1.0)
    at = steep.argmax(axis=1)
    every, last, reach = np.arange(len(light)), light.shape[1] - 1, round(_BESIDE_MM / STEP_MM)
    height = np.abs(light[every, np.clip(at + reach, 0, last)] - light[every, np.clip(at - reach, 0, last)])
    return S_MM[at], height


def step_residual(steps: EdgeSteps, vector: Array, place: Array) -> tuple[Array, Array]:
    """Light less the best drawing of a blurred step at place (n,): residual (n, samples), and its height (n,).

    vector : of the blur.  Lights of both sides (level and a weak slope) are free in every gap.
    """
    blur = Blur(*(float(v) for v in vector))
    offset = (S_MM - place[:, None]) * steps.px_per_mm[:, None]
    sigma = float(np.exp(blur.log_sigma))
    seen = np.abs(offset) <= HALF_PX
    disc = np.broadcast_to(blur.disc_px(steps.depth_m)[:, None], offset.shape)
    rise = np.zeros_like(offset)
    rise[seen] = edge_spread(offset[seen], disc[seen], sigma, blur.sharpening)
    inside = seen.astype(np.float64)
    ramps = np.minimum(offset, 0.0) / HALF_PX, np.maximum(offset, 0.0) / HALF_PX
    columns = np.stack([np.ones_like(offset), rise, *ramps], axis=-1)
    weighted = columns * inside[..., None]
    normal = np.swapaxes(weighted, 1, 2) @ columns + np.diag([1e-6, 1e-6, _SLOPE_PULL, _SLOPE_PULL])
    lights = np.linalg.solve(normal, np.swapaxes(weighted, 1, 2) @ steps.light[..., None])
    residual: Array = (steps.light - (columns @ lights)[..., 0]) * inside
    return residual, np.asarray(lights[:, 1, 0], dtype=np.float64)


def misfit_of_step(residual: Array, height: Array, steps: EdgeSteps, place: Array) -> Array:
    """(n,) rms of the residual relative to the step."""
    count = np.sum(np.abs(S_MM - place[:, None]) * steps.px_per_mm[:, None] <= HALF_PX, axis=1)
    return np.asarray(np.sqrt(np.sum(residual**2, axis=1) / count) / (np.abs(height) + 1e-4))


def _shares(camera: CameraModel, model: NeckModel, front: bool) -> Array:
    """(N - 1, rows) of every gap: its middle from the front, in a low view what is clear of blurred crowns."""
    gap = np.diff(model.z_mm)
    if front:
        return np.tile(np.linspace(0.25, 0.75, _ROWS), (len(gap), 1))
    middle = 0.5 * (model.z_mm[1:] + model.z_mm[:-1])
    height = max(float(camera.position_mm[1]), 1.0)
    away = np.abs(middle - camera.position_mm[2])
    clear_mm = _CLEAR_PX * (away**2 + height**2) / (camera.focal_px * height)
    first = np.clip((EDGE_DOWN_MM * away / height + clear_mm) / gap, 0.15, 0.65)
    last = np.clip(1.0 - (_HALF_CROWN_MM + clear_mm) / gap, 0.7, 0.85)
    share = first[:, None] + (last - first)[:, None] * np.linspace(0.0, 1.0, _ROWS)
    return np.asarray(share if camera.position_mm[2] < middle[0] else 1.0 - share[:, ::-1])
