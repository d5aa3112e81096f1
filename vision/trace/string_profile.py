"""The centre line of a string: a lit cylinder laid over the neck, fitted along its whole image.

A string hides what is behind it. Across its image the light is background, string, background; along it the
string stays nearly the same (a straight string has the same normals everywhere) while the background changes at
every fret. So one shading curve, changing slowly, serves the whole line, and every short row brings its own
background levels on either side. Both edges of the string are found where the frets vanish behind it, even
where one half of it is as bright as the board. Rows follow the direction of the frets; the light is blurred as
the photograph is.

Scan first: all straight lines within a few pixels are compared by least squares, so that the fit starts in the
right valley. A bare edge of no width, fitted likewise, says how well the place is explained without a string.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.trace.blur import Blur
from vision.trace.string_frame import (
    FINE_PX,
    GROUPS,
    LEVELS,
    SLOPE_U,
    STEP,
    WAVES,
    Sampling,
    StringFrame,
    StringPath,
    form_of,
)
from vision.trace.string_scan import scan_lines
from vision.trace.strip import LightCrop

Array = NDArray[np.float64]

_SCAN_STEPS, _SCANS = 6, 3
_WIDENINGS = (1.0, 0.45)  # of the blur: that found from the frets, and a sharper one
_SHIFTS = 3
_ITERATIONS = 5
_RADIUS_LEAST_MM, _RADIUS_MOST_MM = 0.08, 2.0
_SHIFT_U_PX, _BOW_U_PX, _LOG_BLUR_U = 3.0, 0.3, 0.5
_TEMPER = 3.0  # neighbouring samples and rows share their errors: about nine count as one
_STUDENT = 3.0  # residuals beyond this many sigma lose their weight
_MOST_SHIFT_PX = 4.0
_MOST_RADIUS_ERROR, _RADIUS_FLOOR_U_MM = 3.5, 0.02
_BARE_PLACES = (-1.0, -0.5, 0.0, 0.5, 1.0)  # of the half-width: where an edge alone is tried


@dataclass(frozen=True, eq=False)
class StringCentre:
    """points_px (3, 2): centre line at its two ends and its middle; u_px (3,): uncertainty across the line there.

    normal (2,) : unit normal of the chord.  radius_mm : half the string's apparent width.
    explained : share of what an edge of no width leaves unexplained that the string explains.
    """

    points_px: Array
    u_px: Array
    normal: Array
    radius_mm: float
    explained: float


def refine_string(
    crop: LightCrop, path: StringPath, blur: Blur, radius_mm: float, radius_u_mm: float, sampling: Sampling
) -> StringCentre | None:
    """Fit one string near its expected path. radius_mm, radius_u_mm: what is believed of its radius.

    Returns None where the best line runs off or its width is not that of the string.
    """
    start = np.zeros(2)
    for _ in range(_SCANS):
        wide = StringFrame(crop, path, start, blur, radius_mm, _SCAN_STEPS, sampling)
        found = [(*scan_lines(wide, radius_mm, widening), widening) for widening in _WIDENINGS]
        move, _, widening = min(found, key=lambda one: one[1])
        start = start + move
        if np.abs(move).max() < _SCAN_STEPS * STEP * FINE_PX:
            break
    frame = StringFrame(crop, path, start, blur, radius_mm, 0, sampling)
    solved = _fit(frame, radius_mm, radius_u_mm, widening)
    if solved is None:
        return None
    shift, covariance, radius, explained = solved
    at = np.array([0.0, 1.0, 0.5])
    form = form_of(at)
    points = frame.points(at, form @ shift)
    u = np.sqrt(np.diag(form @ covariance @ form.T))
    return StringCentre(points, u, frame.normal, radius, explained)


def _fit(
    frame: StringFrame, radius_mm: float, radius_u_mm: float, widening: float
) -> tuple[Array, Array, float, float] | None:
    """Shift at near end, far end and middle (px), its covariance, radius, explained share."""
    unknown = np.array([0.0, 0.0, 0.0, radius_mm, float(np.log(widening))])
    prior_mean = np.array([0.0, 0.0, 0.0, radius_mm, 0.0])
    prior_u = np.array([_SHIFT_U_PX, _SHIFT_U_PX, _BOW_U_PX, radius_u_mm, _LOG_BLUR_U])
    light = frame.light - frame.level
    weight = frame.within.astype(np.float64)
    sigma = 0.1 * frame.spread
    shades = frame.shades * WAVES
    covariance = np.eye(5)
    for turn in range(_ITERATIONS):
        centre, half = frame.form @ unknown[:_SHIFTS], unknown[3] * frame.scale
        both = frame.sharp(centre, half)
        operator, softening = frame.operators(float(np.exp(unknown[4])))
        blurred = operator @ both
        shade, ground = blurred[..., : frame.shades], blurred[..., frame.shades :]
        design = _with_waves(frame, shade)
        precision = frame.shade_precision()
        shared, rows = _solve(design, ground, light, weight, sigma, precision, frame.spread)
        coefficient = shared.reshape(WAVES, frame.shades).T @ frame.waves.T  # (shades, groups)
        model = np.einsum("gts,sg->gt", shade, coefficient)[:, None, :] + rows @ np.swapaxes(ground, 1, 2)
        residual = light - model
        sigma, noise = _noise(frame, residual)
        weight = frame.within / (noise**2 * (1.0 + (residual / (_STUDENT * sigma * noise)) ** 2))
        # Moving the string moves its sharp picture: d/dc = -d/dx; widening stretches it about its centre.
        slope = -np.gradient(both, FINE_PX, axis=1)
        # What stands beside it moves with its edge.
        reach = frame.scale[:, None]
        near = np.clip((frame.fine[None, :] - centre[:, None]) / unknown[3], -reach, reach)
        across, wider = operator @ slope, operator @ (slope * near[..., None])
        softer = softening @ both
        motions = []
        for part in (across, wider, softer):
            motions.append(
                np.einsum("gts,sg->gt", part[..., : frame.shades], coefficient)[:, None, :]
                + rows @ np.swapaxes(part[..., frame.shades :], 1, 2)
            )
        moved = np.stack(
            [*(motions[0] * frame.form[:, i, None, None] for i in range(_SHIFTS)), *motions[1:]], axis=-1
        )
        pull = np.concatenate([-shared * precision, (prior_mean - unknown) / prior_u**2])
        believed = np.r_[precision, 1.0 / prior_u**2]
        step, covariance = _newton(
            design, moved, ground, residual, weight, _TEMPER * sigma, believed, pull, frame.spread
        )
        limit = np.array([1.0, 1.0, 0.3, 0.1 * radius_mm + 0.01, 0.2])
        if turn < _ITERATIONS - 1:
            unknown = unknown + np.clip(step[shades:], -limit, limit)
            unknown[3] = np.clip(unknown[3], _RADIUS_LEAST_MM, _RADIUS_MOST_MM)
    bare = min(
        _bare_edge(frame, operator, frame.form @ unknown[:_SHIFTS] + place * unknown[3] * frame.scale, weight, sigma)
        for place in _BARE_PLACES
    )
    explained = 1.0 - float(np.sum(weight * residual**2)) / max(bare, 1e-12)
    radius_limit = _MOST_RADIUS_ERROR * np.hypot(radius_u_mm, _RADIUS_FLOOR_U_MM)
    if np.abs(unknown[:2]).max() > _MOST_SHIFT_PX or abs(unknown[3] - radius_mm) > radius_limit:
        return None
    covariance = covariance[shades : shades + _SHIFTS, shades : shades + _SHIFTS]
    return unknown[:_SHIFTS], covariance, float(unknown[3]), explained


def _bare_edge(frame: StringFrame, operator: Array, centre: Array, weight: Array, sigma: float) -> float:
    """Sum of squares that an edge of no width leaves."""
    edge = operator @ frame.ground(centre, np.zeros(GROUPS))
    light = frame.light - frame.level
    level = np.linalg.solve(_own(edge, weight, sigma, frame.spread), ((weight * light) @ edge)[..., None])[..., 0]
    return float(np.sum(weight * (light - level @ np.swapaxes(edge, 1, 2)) ** 2))


def _noise(frame: StringFrame, residual: Array) -> tuple[float, Array]:
    """Typical residual, and how much noisier each place across the string is (samples,)."""
    sigma = max(1.4826 * float(np.median(np.abs(residual[frame.within]))), 1e-3 * frame.spread)
    scatter = np.where(frame.within, np.abs(residual - residual.mean(axis=1, keepdims=True)), np.inf)
    ordered = np.sort(scatter.reshape(-1, scatter.shape[2]), axis=0)
    middle = frame.inside.sum(axis=0) * frame.sampling.rows // 2
    noise = np.where(middle > 0, ordered[middle, np.arange(len(middle))], sigma) * 1.4826 / sigma
    noise = np.convolve(np.pad(noise, 1, mode="edge"), np.full(3, 1 / 3), mode="valid")
    return sigma, np.maximum(noise, 0.5)


def _with_waves(frame: StringFrame, shade: Array) -> Array:
    """(groups, samples, waves * shades)"""
    return np.asarray(
        (frame.waves[:, None, :, None] * shade[:, :, None, :]).reshape(*shade.shape[:2], -1)
    )


def _own(ground: Array, weight: Array, sigma: float, spread: float) -> Array:
    """Normal matrix of every row's own levels, (groups, rows, levels, levels); the slope is held near zero."""
    pairs = (ground[:, :, :, None] * ground[:, :, None, :]).reshape(*ground.shape[:2], -1)
    normal = (weight @ pairs).reshape(*weight.shape[:2], LEVELS, LEVELS)
    return np.asarray(normal + np.diag([1e-4, 1e-4, (sigma / (SLOPE_U * spread)) ** 2]))


def _shaded(design: Array, weight: Array) -> Array:
    """Normal matrix of the shading alone."""
    return np.asarray(np.einsum("gts,gt,gtu->su", design, weight.sum(axis=1), design, optimize=True))


def _crossed(ground: Array, design: Array, weight: Array) -> Array:
    """What ties every row's own levels to the shading, (groups, rows, levels, shading)."""
    mixed = (ground[:, :, :, None] * design[:, :, None, :]).reshape(*ground.shape[:2], -1)
    return np.asarray((weight @ mixed).reshape(*weight.shape[:2], LEVELS, -1))


def _solve(
    design: Array, ground: Array, light: Array, weight: Array, sigma: float, precision: Array, spread: float
) -> tuple[Array, Array]:
    """Best shading (shared) and levels (per row): arrow-shaped normal equations."""
    own = _own(ground, weight, sigma, spread)
    cross = _crossed(ground, design, weight)
    value = (weight * light) @ ground
    both = np.linalg.solve(own, np.concatenate([cross, value[..., None]], axis=3))
    system = _shaded(design, weight) + np.diag(precision * sigma**2)
    system = system - np.einsum("grls,grlu->su", cross, both[..., :-1], optimize=True)
    target = np.einsum("gts,gt->s", design, (weight * light).sum(axis=1))
    target = target - np.einsum("grls,grl->s", cross, both[..., -1])
    shared = np.linalg.solve(system, target)
    return shared, both[..., -1] - both[..., :-1] @ shared


def _newton(
    design: Array,
    moved: Array,
    ground: Array,
    residual: Array,
    weight: Array,
    sigma: float,
    precision: Array,
    pull: Array,
    spread: float,
) -> tuple[Array, Array]:
    """Step of all shared unknowns and its covariance by the scores of the groups (Huber 1967).

    design (groups, samples, shading), the same in all rows of a group.  moved (groups, rows, samples, others).
    """
    own = _own(ground, weight, sigma, spread)
    weighted, light = moved * weight[..., None], weight * residual
    others = moved.shape[3]
    cross = np.concatenate(
        [_crossed(ground, design, weight), np.swapaxes(ground, 1, 2)[:, None] @ weighted], axis=3
    )
    away = np.linalg.solve(own, cross)
    tied = np.einsum("gts,gtm->sm", design, weighted.sum(axis=1), optimize=True)
    alone = weighted.reshape(-1, others).T @ moved.reshape(-1, others)
    system = np.block([[_shaded(design, weight), tied], [tied.T, alone]])
    system = system - np.einsum("grls,grlu->su", cross, away, optimize=True)
    score = np.concatenate(
        [
            np.einsum("gts,gt->gs", design, light.sum(axis=1)),
            np.einsum("grtm,grt->gm", weighted, residual, optimize=True),
        ],
        axis=1,
    )
    score = (score - np.einsum("grls,grl->gs", away, light @ ground)) / sigma**2
    inverse = np.linalg.inv(system / sigma**2 + np.diag(precision))
    step = inverse @ (score.sum(axis=0) + pull)
    centred = score - score.mean(axis=0)
    spread_of = inverse @ (centred.T @ centred * (GROUPS / (GROUPS - 4.0))) @ inverse
    return step, np.asarray(inverse + spread_of)
