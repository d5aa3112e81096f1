"""All straight lines within a few pixels of a string's path compared by least squares, to start in the right valley."""

import numpy as np
from numpy.typing import NDArray

from vision.trace.string_frame import FINE_PX, GROUPS, LEVELS, ROWS, SHADES, STEP, WAVES, StringFrame

Array = NDArray[np.float64]


def scan_lines(frame: StringFrame, radius_mm: float, widening: float) -> tuple[Array, float]:
    """Best straight line: shift at both ends (px), and the sum of squares it leaves."""
    steps = frame.scan_steps
    moves = np.arange(-steps, steps + 1)
    light = frame.light - frame.level
    weighted = light * frame.inside[:, None, :]
    total = weighted.sum(axis=1)
    power = float(np.sum(weighted * light))
    picture = frame.operators(widening)[0] @ np.concatenate(
        frame.sharp(np.zeros(GROUPS), radius_mm * frame.scale), axis=2
    )
    saved, normal, target = [], [], []
    for move in moves:
        blurred = picture[:, steps - move : steps - move + len(frame.offset)]
        shade, ground = blurred[..., :SHADES], blurred[..., SHADES:]
        gain, away, level = _explained_by_levels(ground, frame.inside, weighted)
        saved.append(gain)
        inside = shade * frame.inside[..., None]
        mixed = np.swapaxes(ground, 1, 2) @ inside
        normal.append(ROWS * (np.swapaxes(shade, 1, 2) @ inside - np.swapaxes(mixed, 1, 2) @ away @ mixed))
        target.append(
            (np.swapaxes(shade, 1, 2) @ total[..., None] - np.swapaxes(mixed, 1, 2) @ level[..., None])[..., 0]
        )
    near, far = np.meshgrid(np.arange(len(moves)), np.arange(len(moves)), indexing="ij")
    path = (1 - frame.share) * near[..., None] + frame.share * far[..., None]
    low = np.minimum(path.astype(np.int64), len(moves) - 2)
    part, group = path - low, np.arange(GROUPS)

    def along(values: list[Array]) -> Array:
        table = np.array(values)
        mix = part.reshape(part.shape + (1,) * (table.ndim - 2))
        return np.asarray(table[low, group] * (1 - mix) + table[low + 1, group] * mix)

    size = SHADES * WAVES
    shape = (*near.shape, SHADES, SHADES, WAVES, WAVES)
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
    """Sum of squares that levels free in every row explain (groups,), the inverse of their normal matrix, and the
    levels of the summed rows."""
    inverse = np.linalg.inv(np.swapaxes(ground, 1, 2) @ (ground * inside[..., None]) + 1e-6 * np.eye(LEVELS))
    value = weighted @ ground
    level = (inverse @ value.sum(axis=1)[..., None])[..., 0]
    gain: Array = np.sum((value @ inverse) * value, axis=(1, 2))
    return gain, np.asarray(inverse), np.asarray(level)
