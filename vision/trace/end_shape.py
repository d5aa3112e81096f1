"""How the fret ends of one side lie along the neck in a picture from the front: their shape but for a constant.

The board's edge and whatever lies beyond it go on past a fret; the fret does not. Light at a fret less light at the
middle of the gaps on both sides of it leaves the crown alone, cut off by its end, so neither the edge nor a changing
background can pull it. The cut-off profiles of all frets of a side, scaled to 1 on the crown, are one curve (the same
bevel in the same light) and are registered to each other. Where on the bevel that curve stands is left to
vision.trace.ends.
"""

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CameraModel, project
from vision.fit.neck_model import NeckModel, surface_points
from vision.trace.strip import LightCrop, sample_patches

Array = NDArray[np.float64]

_STEP_MM = 0.05
_S_MM = np.arange(-2.0, 1.6, _STEP_MM)  # outwards from the expected end; the outer string stands farther in
_CROWN_MM = (-2.0, -0.9)
_EDGE_MM = (-1.1, 0.9)
_V_MM = np.arange(-1.2, 1.21, 0.1)
_PASSES = 5
_MOST_STEP_MM = 0.15
_LEAST_SEEN = 8


def end_shape_mm(
    crop: LightCrop,
    camera: CameraModel,
    model: NeckModel,
    theta: Array,
    side: int,
    image: Array,
    basis: Array,
) -> Array | None:
    """Offsets (N,) mm outwards of the ends of one side from where the model has them, their median taken out.

    image (N, 2), basis (N, 2, 2) : expected ends and px per mm outwards and along the neck (crowns' middles at 0).
    None where fewer than eight frets show a crown that differs from the board.
    """
    across = sample_patches(crop, image, basis, _S_MM, _V_MM)
    gaps = _gaps(crop, camera, model, theta, side, basis)
    crown = across - gaps[:, None, :]
    inside = (_CROWN_MM[0] <= _S_MM) & (_CROWN_MM[1] >= _S_MM)
    pattern = crown[:, :, inside].mean(axis=2)
    power = np.sum(pattern**2, axis=1)
    profile = np.einsum("kv,kvs->ks", pattern, crown) / np.maximum(power, 1e-12)[:, None]
    noise = np.std(profile[:, inside], axis=1)
    seen = noise < 0.35
    if np.count_nonzero(seen) < _LEAST_SEEN:
        return None
    return _register(profile, seen)


def _gaps(
    crop: LightCrop, camera: CameraModel, model: NeckModel, theta: Array, side: int, basis: Array
) -> Array:
    """(N, columns) light across board and background beside each fret: mean of the gaps before and behind it."""
    z = np.r_[0.0, model.z_mm]
    middle = 0.5 * (z[:-1] + z[1:])
    ends = surface_points(model, theta, middle, np.full(model.frets, -1.0 if side == 0 else 1.0))
    light = sample_patches(crop, project(ends, camera)[0], basis, _S_MM, np.linspace(-1.5, 1.5, 9))
    before = np.median(light, axis=1)
    behind = np.vstack([before[1:], before[-1:]])  # behind the last fret the board ends: the gap before it serves
    return np.asarray(0.5 * (before + behind))


def _register(profile: Array, seen: NDArray[np.bool_]) -> Array:
    """Shifts (N,) that lay every profile on their common curve, in turns with that curve; unseen ones from a line."""
    along = np.linspace(-1.0, 1.0, len(profile))
    shift = np.zeros(len(profile))
    window = (_EDGE_MM[0] <= _S_MM) & (_EDGE_MM[1] >= _S_MM)
    for _ in range(_PASSES):
        moved = np.array([np.interp(_S_MM + d, _S_MM, p) for d, p in zip(shift, profile, strict=True)])
        curve = np.median(moved[seen], axis=0)
        slope = np.gradient(curve, _STEP_MM)[window]
        misfit = moved[:, window] - curve[window]
        weight = 1.0 / (1.0 + (misfit / 0.15) ** 2)
        step = -np.sum(weight * slope * misfit, axis=1) / np.maximum(np.sum(weight * slope**2, axis=1), 1e-9)
        shift = shift + np.clip(step, -_MOST_STEP_MM, _MOST_STEP_MM)
        line = _robust_line(along[seen], shift[seen])
        off = np.abs(shift - np.polyval(line, along)) > 0.25
        shift = np.where(off | ~seen, np.polyval(line, along), shift)
    return np.asarray(shift - np.median(shift))


def _robust_line(x: Array, y: Array) -> Array:
    """Line through points by three passes of Cauchy weights."""
    weight = np.ones(len(x))
    line = np.polyfit(x, y, 1)
    for _ in range(3):
        weight = 1.0 / (1.0 + ((y - np.polyval(line, x)) / 0.08) ** 2)
        line = np.polyfit(x, y, 1, w=np.sqrt(weight))
    return np.asarray(line)
