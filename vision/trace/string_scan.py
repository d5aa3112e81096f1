"""All straight lines within a few pixels of a string's path compared by least squares, to start in the right valley."""

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from vision.trace.string_frame import FINE_PX, GROUPS, LEVELS, STEP, WAVES, StringFrame

Array = NDArray[np.float64]


def scan_lines(frame: StringFrame, radius_mm: float, widening: float) -> tuple[Array, float]:
    """Best straight line: shift at both ends (px), and the sum of squares it leaves."""
    moves = np.arange(-frame.scan_steps, frame.scan_steps + 1)
    light = frame.light - frame.level
    weighted = light * frame.inside[:, None, :]
    power = float(np.sum(weighted * light))
    picture = frame.operator(widening) @ frame.sharp(np.zeros(GROUPS), radius_mm * frame.scale)
    # The string moved one way is its picture sampled the other way: (moves, groups, shades or levels, samples).
    moved = np.moveaxis(sliding_window_view(picture, len(frame.offset), axis=1)[:, ::-1], 1, 0)
    shade, ground = np.split(np.ascontiguousarray(moved), [frame.shades], axis=2)
    saved, away, level = _explained_by_levels(ground, frame.inside, weighted)
    inside = np.swapaxes(shade * frame.inside[:, None, :], 2, 3)
    mixed = ground @ inside
    across = np.swapaxes(mixed, 2, 3)
    normal = frame.sampling.rows * (shade @ inside - across @ away @ mixed)
    target = (shade @ weighted.sum(axis=1)[..., None] - across @ level[..., None])[..., 0]
    near, far = np.meshgrid(np.arange(len(moves)), np.arange(len(moves)), indexing="ij")
    path = (1 - frame.share) * near[..., None] + frame.share * far[..., None]
    low = np.minimum(path.astype(np.int64), len(moves) - 2)
    part, group = path - low, np.arange(GROUPS)

    def along(table: Array) -> Array:
        mix = part.reshape(part.shape + (1,) * (table.ndim - 2))
        return np.asarray(table[low, group] * (1 - mix) + table[low + 1, group] * mix)

    size = frame.shades * WAVES
    shape = (*near.shape, frame.shades, frame.shades, WAVES, WAVES)
    pairs = (frame.waves[:, :, None] * frame.waves[:, None, :]).reshape(GROUPS, -1)
    blocks = (np.moveaxis(along(normal), 2, -1) @ pairs).reshape(shape)
    system = blocks.transpose(0, 1, 4, 2, 5, 3).reshape(*near.shape, size, size)
    right = np.swapaxes(np.swapaxes(along(target), 2, 3) @ frame.waves, 2, 3).reshape(*near.shape, size)
    system = system + np.diag(frame.shade_precision() * (0.1 * frame.spread) ** 2)
    shading = np.sum(right * np.linalg.solve(system, right[..., None])[..., 0], axis=-1)
    cost = power - along(saved).sum(axis=-1) - shading
    index = np.unravel_index(int(np.argmin(cost)), cost.shape)
    shift = np.array([moves[index[0]], moves[index[1]]]) * STEP * FINE_PX
    return shift, float(cost[index])


def _explained_by_levels(ground: Array, inside: NDArray[np.bool_], weighted: Array) -> tuple[Array, Array, Array]:
    """Sum of squares that levels free in every row explain (moves, groups), the inverse of their normal matrix, and
    the levels of the summed rows."""
    upright = np.swapaxes(ground, 2, 3)
    inverse = np.linalg.inv(ground @ (upright * inside[..., None]) + 1e-6 * np.eye(LEVELS))
    value = weighted @ upright
    level = (inverse @ value.sum(axis=2)[..., None])[..., 0]
    gain: Array = np.sum((value @ inverse) * value, axis=(2, 3))
    return gain, np.asarray(inverse), np.asarray(level)
