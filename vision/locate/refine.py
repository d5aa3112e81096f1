"""Straightening a strip on the picture: rung curves by column blocks, edges where the frets end."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.locate.comb import Law, law_through
from vision.locate.ladder import Strip
from vision.locate.rectify import COLUMNS, cut_sheet
from vision.locate.segments import Floats, rotation

SAMPLES = 24
"""Rows across one fret spacing."""
BLOCKS = 12
"""Groups of columns: strings and dirt spoil some of them, seldom most."""
SHIFTS = 6
"""Registration of a block looks this many samples (a quarter of a spacing) either way."""


def slot_samples(
    tone: NDArray[np.uint8], strip: Strip, law: Law, k: Floats, u: Floats, half: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """(n, samples, columns) tone around each slot in steps of 1/SAMPLES spacing, and (n,) whether all
    inside."""
    count = round(2 * half * SAMPLES) + 1
    offset = (np.arange(count) - count // 2) / SAMPLES
    y = law.y(k[:, None] + offset)
    sheet = cut_sheet(tone, strip, y.ravel(), u)
    values = sheet.values.reshape(len(k), count, len(u)).astype(np.float64)
    return np.asarray(values), np.asarray(sheet.inside.reshape(len(k), -1).all(axis=1))


def _templates(profile: Floats, reach: int = 3) -> Floats:
    """(n, samples) mean profile of each slot's neighbourhood, slow change along the neck removed."""
    n = len(profile)
    centred = profile - profile.mean(axis=1, keepdims=True)
    apart = np.abs(np.arange(n)[:, None] - np.arange(n)[None, :])
    weight = (apart <= reach).astype(np.float64)
    return np.asarray(weight @ centred / weight.sum(axis=1, keepdims=True))


def align_rungs(tone: NDArray[np.uint8], strip: Strip, law: Law, k: Floats) -> tuple[Strip, Law]:
    """Tilt and bow of the rungs from the shifts of column blocks against the mean profile of all columns."""
    for _ in range(2):
        values, inside = slot_samples(tone, strip, law, k, COLUMNS, 0.5 + SHIFTS / SAMPLES)
        if inside.sum() < 6:
            return strip, law
        kk, values = k[inside], values[inside]
        u = COLUMNS.reshape(BLOCKS, -1).mean(axis=1)
        block = values.reshape(len(kk), values.shape[1], BLOCKS, -1).mean(axis=3)
        template = _templates(np.median(block, axis=2)[:, SHIFTS:-SHIFTS])
        shift, quality = _block_shifts(block, template)
        y = law.y(kk)
        spacing = law.step_px(kk)
        width = strip.width(y)
        t = (y - y.mean()) / max(float(np.ptp(y)), 1.0)
        # Shift of a block in px over the width = tilt (u - 1/2) + bow 4u(1-u), each linear along the neck.
        target = shift * (spacing / width)[:, None]
        across = np.broadcast_to(u - 0.5, target.shape)
        bulge = np.broadcast_to(4.0 * u * (1.0 - u), target.shape)
        along = np.broadcast_to(t[:, None], target.shape)
        one = np.broadcast_to((1.0 / width * np.abs(spacing))[:, None], target.shape)
        basis = np.stack([across, across * along, bulge, bulge * along, one, one * along], axis=-1).reshape(
            -1, 6
        )
        flat, weight = target.ravel(), (quality * width[:, None]).ravel()
        good = np.isfinite(flat) & (weight > 0)
        if good.sum() < 40:
            return strip, law
        basis, flat, base = basis[good], flat[good], weight[good]
        weight = base
        for _ in range(5):
            fit = np.linalg.lstsq(basis * weight[:, None], flat * weight, rcond=1e-8)[0]
            left = np.abs(flat - basis @ fit)
            scale = 1.5 * float(np.median(left)) + 1e-6
            weight = base / np.sqrt(1.0 + (left / scale) ** 2)
        length = max(float(np.ptp(y)), 1.0)
        strip = replace(
            strip,
            tilt=_added(strip.tilt, fit[0], fit[1], float(y.mean()), length),
            bow=_added(strip.bow, fit[2], fit[3], float(y.mean()), length),
        )
        step = fit[4] + fit[5] * t
        law = law_through(y + step * np.abs(spacing), kk)
    return strip, law


def _added(
    line: tuple[float, float], at_mean: float, change: float, mean: float, length: float
) -> tuple[float, float]:
    slope = change / length
    return line[0] + at_mean - slope * mean, line[1] + slope


def _block_shifts(block: Floats, template: Floats) -> tuple[Floats, Floats]:
    """Shift (spacings) of every slot and block against its template, and its quality 0..1."""
    n, _, blocks = block.shape
    m = template.shape[1]
    value = np.empty((2 * SHIFTS + 1, n, blocks))
    t = template - template.mean(axis=1, keepdims=True)
    tt = np.sqrt(np.sum(t**2, axis=1))[:, None]
    for s in range(2 * SHIFTS + 1):
        part = block[:, s : s + m]
        part = part - part.mean(axis=1, keepdims=True)
        norm = np.sqrt(np.sum(part**2, axis=1)) * tt + 1.0 * m
        value[s] = np.einsum("nsb,ns->nb", part, t) / norm
    best = np.argmax(value, axis=0)
    edge = (best == 0) | (best == 2 * SHIFTS)
    middle = np.clip(best, 1, 2 * SHIFTS - 1)
    i, j = np.meshgrid(np.arange(n), np.arange(blocks), indexing="ij")
    below, here, above = value[middle - 1, i, j], value[middle, i, j], value[middle + 1, i, j]
    bend = below - 2 * here + above
    fine = np.where(bend < -1e-9, 0.5 * (below - above) / np.minimum(bend, -1e-9), 0.0)
    shift = (middle + np.clip(fine, -1, 1) - SHIFTS) / SAMPLES
    quality = np.where(edge, 0.0, np.clip(here - 0.3, 0.0, 1.0))
    return np.where(edge, np.nan, shift), quality


def find_edges(tone: NDArray[np.uint8], strip: Strip, law: Law, k: Floats) -> tuple[Strip, Law]:
    """Edges moved to where the frets end: inside, each column repeats the frets' profile, outside it does
    not."""
    u = np.arange(-0.9, 1.9001, 0.02)
    values, _ = slot_samples(tone, strip, law, k, u, 0.5)
    core = (u > 0.15) & (u < 0.85)
    template = _templates(np.median(values[:, :, core], axis=2))
    t = template - template.mean(axis=1, keepdims=True)
    energy = np.sum(t**2, axis=1) + 0.5 * t.shape[1]
    part = values - values.mean(axis=1, keepdims=True)
    present = np.einsum("nsu,ns->nu", part, t) / energy[:, None]
    present = np.clip(present, -0.5, 1.5)
    # Gain of calling columns inside; beside the outer string frets show at a third of their strength or more.
    gain = np.cumsum(present - 0.25, axis=1)
    y = law.y(k)
    tau = (y - y.min()) / max(float(np.ptp(y)), 1.0)
    right = _half_height(present, u, tau, _edge_line(gain, u, tau, u > 0.55), 1.0)
    left = _half_height(present, u, tau, _edge_line(-gain, u, tau, u < 0.45), -1.0)
    return _with_edges(strip, law, k, tau, left, right)


def _edge_line(gain: Floats, u: Floats, tau: Floats, allowed: NDArray[np.bool_]) -> tuple[float, float]:
    """Ends (u at tau 0, u at tau 1) of the line that collects the most gain over all frets."""
    grid = u[allowed]
    a, b = np.meshgrid(grid, grid, indexing="ij")
    keep = np.abs(a - b) < 0.6
    a, b = a[keep], b[keep]
    where = a[:, None] * (1.0 - tau) + b[:, None] * tau
    index = np.clip(np.rint((where - u[0]) / (u[1] - u[0])).astype(np.intp), 0, len(u) - 1)
    total = gain[np.arange(len(tau))[None, :], index].sum(axis=1)
    best = total > total.max() - max(0.01 * len(tau), 0.2)
    return float(a[best].mean()), float(b[best].mean())


def _half_height(
    present: Floats, u: Floats, tau: Floats, line: tuple[float, float], outward: float
) -> tuple[float, float]:
    """The edge line moved to where the frets' presence falls to half of what it is just inside."""
    offset = np.arange(-0.10, 0.0801, 0.005)
    centre = line[0] * (1.0 - tau) + line[1] * tau
    profile = np.mean(
        [np.interp(c + outward * offset, u, row) for c, row in zip(centre, present, strict=True)], axis=0
    )
    plateau = float(np.max(profile[(offset > -0.07) & (offset < 0.0)]))
    above = np.flatnonzero(profile >= 0.5 * plateau)
    if plateau < 0.2 or len(above) == 0:
        return line
    i = int(above[-1])
    if i + 1 >= len(offset):
        return line
    share = (profile[i] - 0.5 * plateau) / max(float(profile[i] - profile[i + 1]), 1e-6)
    move = outward * float(offset[i] + share * (offset[1] - offset[0]))
    return line[0] + move, line[1] + move


def _with_edges(
    strip: Strip, law: Law, k: Floats, tau: Floats, left: tuple[float, float], right: tuple[float, float]
) -> tuple[Strip, Law]:
    """The strip with its edges moved to u = left[0] (1 - tau) + left[1] tau and likewise right; rungs
    unchanged."""
    y = law.y(k)
    sides = []
    for ends in (left, right):
        u = ends[0] * (1.0 - tau) + ends[1] * tau
        at = strip.points(u, y) @ rotation(strip.angle_rad)
        slope, start = np.polyfit(at[:, 1], at[:, 0], 1)
        sides.append((float(start), float(slope)))
    u_left = left[0] * (1.0 - tau) + left[1] * tau
    u_right = right[0] * (1.0 - tau) + right[1] * tau
    v = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
    at = strip.points(u_left[:, None] + (u_right - u_left)[:, None] * v, y[:, None]) @ rotation(
        strip.angle_rad
    )
    down = at[..., 1]
    # New rung: y' + w' (tilt (v - 1/2) + bow 4v(1-v)), by exact interpolation of each rung's parabola.
    basis = np.stack([np.ones_like(v), v - 0.5, 4.0 * v * (1.0 - v)], axis=1)
    fit = np.linalg.lstsq(basis, down.T, rcond=None)[0]
    new_y = fit[0]
    width = (sides[1][0] - sides[0][0]) + (sides[1][1] - sides[0][1]) * new_y
    tilt = np.polyfit(new_y, fit[1] / width, 1)
    bow = np.polyfit(new_y, fit[2] / width, 1)
    moved = replace(
        strip,
        left=sides[0],
        right=sides[1],
        tilt=(float(tilt[1]), float(tilt[0])),
        bow=(float(bow[1]), float(bow[0])),
        y_range=(float(new_y.min()), float(new_y.max())),
    )
    return moved, law_through(new_y, k)
