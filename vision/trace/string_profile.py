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

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.trace.blur import Blur, line_spread
from vision.trace.strip import LightCrop

Array = NDArray[np.float64]

_GROUPS, _ROWS = 18, 8  # rows of a group share scale and blur
_SAMPLES = 2  # averaged along the line within a row
_FINE_PX = 0.25
_STEP = 3  # fine steps from sample to sample across the line
_SCAN_STEPS, _SCANS = 6, 3
_WIDENINGS = (1.0, 0.45)  # of the blur: that found from the frets, and a sharper one
_BESIDE_PX, _BESIDE_MM = 2.0, 0.15
_SHADES = 7  # hat functions across the cylinder
_WAVES = 3  # constant, slope and bend of the shading along the string
_LEVELS = 3  # of a row: left, right, slope
_SHIFTS = 3
_ITERATIONS = 5
_RADIUS_LEAST_MM, _RADIUS_MOST_MM = 0.08, 2.0
# Prior standard uncertainties; those of light in units of its spread.
_SHADE_U, _SHADE_CHANGE_U, _SLOPE_U = 2.0, 0.7, 0.5
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


@dataclass(frozen=True, eq=False)
class StringPath:
    """Where a string is expected: its image at near end, far end and between, (3, 2) px.

    px_per_mm, depth_m (2,): scale and depth at its ends.  fret_direction (2, 2): along the frets in the picture there.
    """

    points_px: Array
    px_per_mm: Array
    depth_m: Array
    fret_direction: Array

    @property
    def normal(self) -> Array:
        """Unit normal of the chord."""
        chord = self.points_px[1] - self.points_px[0]
        return np.asarray(np.array([-chord[1], chord[0]]) / float(np.hypot(*chord)))

    def moved(self, move_px: Array) -> "StringPath":
        """The path with its two ends moved along the normal, (2,) px."""
        move = np.append(move_px, move_px.mean())
        return replace(self, points_px=self.points_px + move[:, None] * self.normal)


def refine_string(
    crop: LightCrop, path: StringPath, blur: Blur, radius_mm: float, radius_u_mm: float
) -> StringCentre | None:
    """Fit one string near its expected path. radius_mm, radius_u_mm: what is believed of its radius.

    Returns None where the best line runs off or its width is not that of the string.
    """
    start = np.zeros(2)
    for _ in range(_SCANS):
        wide = _Frame(crop, path, start, blur, radius_mm, _SCAN_STEPS)
        found = [(*wide.scan(radius_mm, widening), widening) for widening in _WIDENINGS]
        move, _, widening = min(found, key=lambda one: one[1])
        start = start + move
        if np.abs(move).max() < _SCAN_STEPS * _STEP * _FINE_PX:
            break
    frame = _Frame(crop, path, start, blur, radius_mm, 0)
    solved = frame.fit(radius_mm, radius_u_mm, widening)
    if solved is None:
        return None
    shift, covariance, radius, explained = solved
    at = np.array([0.0, 1.0, 0.5])
    form = _form(at)
    points = frame.points(at, form @ shift)
    u = np.sqrt(np.diag(form @ covariance @ form.T))
    return StringCentre(points, u, frame.normal, radius, explained)


def _form(share: Array) -> Array:
    return np.column_stack([1 - share, share, 4 * share * (1 - share)])


class _Frame:
    """Light around a path, straightened, and the blur there; lives only inside refine_string."""

    def __init__(
        self, crop: LightCrop, path: StringPath, start: Array, blur: Blur, radius_mm: float, scan: int
    ) -> None:
        self.path, self.start, self.scan_steps = path, start, scan
        near, far, between = path.points_px
        self.chord = far - near
        self.length = float(np.hypot(*self.chord))
        self.normal = path.normal
        place = float((between - near) @ self.chord) / self.length**2
        self.bow = float((between - near) @ self.normal) / (4 * place * (1 - place))
        edge = np.linspace(0.0, 1.0, _GROUPS + 1)
        self.share = 0.5 * (edge[:-1] + edge[1:])
        # 1 / depth is linear along the picture of a straight line.
        inverse = (1 - self.share) / path.depth_m[0] + self.share / path.depth_m[1]
        self.scale = path.px_per_mm[0] * path.depth_m[0] * inverse
        disc = blur.disc_px(1.0 / inverse)
        sigma = float(np.exp(blur.log_sigma))
        beside = 1.3 * radius_mm * self.scale + disc + 2.0 * sigma + _BESIDE_PX + _BESIDE_MM * self.scale
        step = _STEP * _FINE_PX
        count = int(np.ceil(beside.max() / step))
        self.offset = np.arange(-count - scan, count + scan + 1) * step
        self.inside = np.abs(self.offset)[None, :] <= (beside + scan * step)[:, None]
        self.light = self._sample(crop)
        self.within = np.broadcast_to(self.inside[:, None, :], self.light.shape)
        self.spread = max(float(self.light[self.within].std()), 1e-6)
        self.level = float(np.median(self.light))
        self.disc, self.sigma, self.sharpening = disc, sigma, float(np.clip(blur.sharpening, 0.0, 1.0))
        margin = int(np.ceil((1.5 * disc.max() + 6.0 * sigma + 3.0) / _FINE_PX))
        middle = _STEP * (len(self.offset) // 2 + scan) + margin
        self.fine = (np.arange(2 * middle + 1) - middle) * _FINE_PX
        self.sample_at = margin + _STEP * np.arange(len(self.offset) + 2 * scan)
        tau = 2.0 * self.share - 1.0
        self.waves = np.column_stack([np.ones_like(tau), tau, 1.5 * tau**2 - 0.5])
        self.form = _form(self.share)

    def points(self, share: Array, shift: Array) -> Array:
        """Image points of the path at shares of its length, moved by the start and by a shift (px)."""
        move = 4 * share * (1 - share) * self.bow + (1 - share) * self.start[0] + share * self.start[1] + shift
        return np.asarray(self.path.points_px[0] + share[:, None] * self.chord + move[:, None] * self.normal)

    def _sample(self, crop: LightCrop) -> Array:
        """(groups, rows, samples): means of a few lines along the frets."""
        total = _GROUPS * _ROWS * _SAMPLES
        share = (np.arange(total) + 0.5) / total
        along = self.chord / self.length
        slant = (self.path.fret_direction @ along) / (self.path.fret_direction @ self.normal)
        lean = np.clip((1 - share) * slant[0] + share * slant[1], -1.0, 1.0)
        across = self.normal + lean[:, None] * along
        base = self.points(share, np.zeros(total))
        light = crop.sample(base[:, None, :] + self.offset[None, :, None] * across[:, None, :])
        return np.asarray(light.reshape(_GROUPS, _ROWS, _SAMPLES, -1).mean(axis=2), dtype=np.float64)

    def operators(self, widening: float) -> tuple[Array, Array]:
        """Blur from fine grid to samples, (groups, samples, fine), and its derivative by the log of its width."""
        size = len(self.fine)
        reach = np.arange(size) * _FINE_PX
        scaled = np.broadcast_to(reach / widening, (_GROUPS, size))
        kernel = line_spread(scaled, self.disc[:, None], self.sigma, self.sharpening)
        kernel /= 2.0 * kernel.sum(axis=1, keepdims=True) - kernel[:, :1]
        # K(x / s) / s changes with log s by -(K + x dK/dx).
        change = -(kernel + reach * np.gradient(kernel, _FINE_PX, axis=1))
        away = np.abs(np.arange(size)[None, :] - self.sample_at[:, None])
        return kernel[:, away], change[:, away]

    def sharp(self, centre: Array, half_px: Array) -> tuple[Array, Array]:
        """Unblurred bases of every group: shading (groups, fine, shades) and background (groups, fine, levels)."""
        away = self.fine[None, :] - centre[:, None]
        half = half_px[:, None]
        left = np.clip((-half - away) / _FINE_PX + 0.5, 0.0, 1.0)
        right = np.clip((away - half) / _FINE_PX + 0.5, 0.0, 1.0)
        band = 1.0 - left - right
        knots = np.linspace(-1.0, 1.0, _SHADES)
        across = np.clip(away / np.maximum(half, 1e-9), -1.0, 1.0)
        hats = np.clip(1.0 - np.abs(across[..., None] - knots) / (knots[1] - knots[0]), 0.0, 1.0)
        ground = np.stack([left, right, away * (left + right) / self.fine[-1]], axis=-1)
        return hats * band[..., None], ground

    def scan(self, radius_mm: float, widening: float) -> tuple[Array, float]:
        """Best straight line: shift at both ends (px), and the sum of squares it leaves."""
        steps = self.scan_steps
        moves = np.arange(-steps, steps + 1)
        light = self.light - self.level
        weighted = light * self.inside[:, None, :]
        total = weighted.sum(axis=1)
        power = float(np.sum(weighted * light))
        picture = self.operators(widening)[0] @ np.concatenate(
            self.sharp(np.zeros(_GROUPS), radius_mm * self.scale), axis=2
        )
        saved, normal, target = [], [], []
        for move in moves:
            blurred = picture[:, steps - move : steps - move + len(self.offset)]
            shade, ground = blurred[..., :_SHADES], blurred[..., _SHADES:]
            gain, away, level = _explained_by_levels(ground, self.inside, weighted)
            saved.append(gain)
            inside = shade * self.inside[..., None]
            mixed = np.swapaxes(ground, 1, 2) @ inside
            normal.append(_ROWS * (np.swapaxes(shade, 1, 2) @ inside - np.swapaxes(mixed, 1, 2) @ away @ mixed))
            target.append(
                (np.swapaxes(shade, 1, 2) @ total[..., None] - np.swapaxes(mixed, 1, 2) @ level[..., None])[..., 0]
            )
        near, far = np.meshgrid(np.arange(len(moves)), np.arange(len(moves)), indexing="ij")
        path = (1 - self.share) * near[..., None] + self.share * far[..., None]
        low = np.minimum(path.astype(np.int64), len(moves) - 2)
        part, group = path - low, np.arange(_GROUPS)

        def along(values: list[Array]) -> Array:
            table = np.array(values)
            mix = part.reshape(part.shape + (1,) * (table.ndim - 2))
            return np.asarray(table[low, group] * (1 - mix) + table[low + 1, group] * mix)

        size = _SHADES * _WAVES
        shape = (*near.shape, _SHADES, _SHADES, _WAVES, _WAVES)
        pairs = (self.waves[:, :, None] * self.waves[:, None, :]).reshape(_GROUPS, -1)
        blocks = (np.moveaxis(along(normal), 2, -1) @ pairs).reshape(shape)
        system = blocks.transpose(0, 1, 4, 2, 5, 3).reshape(*near.shape, size, size)
        right = np.swapaxes(np.swapaxes(along(target), 2, 3) @ self.waves, 2, 3).reshape(*near.shape, size)
        system = system + np.diag(self._shade_precision() * (0.1 * self.spread) ** 2)
        shading = np.sum(right * np.linalg.solve(system, right[..., None])[..., 0], axis=-1)
        cost = power - along(saved).sum(axis=-1) - shading
        index = np.unravel_index(int(np.argmin(cost)), cost.shape)
        shift = np.array([moves[index[0]], moves[index[1]]]) * _STEP * _FINE_PX
        return shift, float(cost[index])

    def _shade_precision(self) -> Array:
        u = np.r_[np.full(_SHADES, _SHADE_U), np.full(_SHADES * (_WAVES - 1), _SHADE_CHANGE_U)] * self.spread
        return np.asarray(1.0 / u**2)

    def fit(self, radius_mm: float, radius_u_mm: float, widening: float) -> tuple[Array, Array, float, float] | None:
        """Shift at near end, far end and middle (px), its covariance, radius, explained share."""
        unknown = np.array([0.0, 0.0, 0.0, radius_mm, float(np.log(widening))])
        prior_mean = np.array([0.0, 0.0, 0.0, radius_mm, 0.0])
        prior_u = np.array([_SHIFT_U_PX, _SHIFT_U_PX, _BOW_U_PX, radius_u_mm, _LOG_BLUR_U])
        light = self.light - self.level
        weight = self.within.astype(np.float64)
        sigma = 0.1 * self.spread
        shades = _SHADES * _WAVES
        covariance = np.eye(5)
        for turn in range(_ITERATIONS):
            centre, half = self.form @ unknown[:_SHIFTS], unknown[3] * self.scale
            sharp_shade, sharp_ground = self.sharp(centre, half)
            operator, softening = self.operators(float(np.exp(unknown[4])))
            both = np.concatenate([sharp_shade, sharp_ground], axis=2)
            blurred = operator @ both
            shade, ground = blurred[..., :_SHADES], blurred[..., _SHADES:]
            design = self._with_waves(shade)
            precision = self._shade_precision()
            shared, rows = _solve(design, ground, light, weight, sigma, precision, self.spread)
            coefficient = shared.reshape(_WAVES, _SHADES).T @ self.waves.T  # (shades, groups)
            model = np.einsum("gts,sg->gt", shade, coefficient)[:, None, :] + rows @ np.swapaxes(ground, 1, 2)
            residual = light - model
            sigma, noise = self._noise(residual)
            weight = self.within / (noise**2 * (1.0 + (residual / (_STUDENT * sigma * noise)) ** 2))
            # Moving the string moves its sharp picture: d/dc = -d/dx; widening stretches it about its centre.
            slope = -np.gradient(both, _FINE_PX, axis=1)
            reach = 1.5 * self.scale[:, None]
            near = np.clip((self.fine[None, :] - centre[:, None]) / unknown[3], -reach, reach)
            across, wider = operator @ slope, operator @ (slope * near[..., None])
            softer = softening @ both
            motions = []
            for part in (across, wider, softer):
                motions.append(
                    np.einsum("gts,sg->gt", part[..., :_SHADES], coefficient)[:, None, :]
                    + rows @ np.swapaxes(part[..., _SHADES:], 1, 2)
                )
            moved = np.stack(
                [*(motions[0] * self.form[:, i, None, None] for i in range(_SHIFTS)), *motions[1:]], axis=-1
            )
            full = np.concatenate([np.broadcast_to(design[:, None], (*light.shape, shades)), moved], axis=-1)
            pull = np.concatenate([-shared * precision, (prior_mean - unknown) / prior_u**2])
            step, covariance = _newton(
                full, ground, residual, weight, _TEMPER * sigma, np.r_[precision, 1.0 / prior_u**2], pull, self.spread
            )
            limit = np.array([1.0, 1.0, 0.3, 0.1 * radius_mm + 0.01, 0.2])
            if turn < _ITERATIONS - 1:
                unknown = unknown + np.clip(step[shades:], -limit, limit)
                unknown[3] = np.clip(unknown[3], _RADIUS_LEAST_MM, _RADIUS_MOST_MM)
        bare = min(
            self._bare_edge(operator, self.form @ unknown[:_SHIFTS] + place * unknown[3] * self.scale, weight, sigma)
            for place in _BARE_PLACES
        )
        explained = 1.0 - float(np.sum(weight * residual**2)) / max(bare, 1e-12)
        radius_limit = _MOST_RADIUS_ERROR * np.hypot(radius_u_mm, _RADIUS_FLOOR_U_MM)
        if np.abs(unknown[:2]).max() > _MOST_SHIFT_PX or abs(unknown[3] - radius_mm) > radius_limit:
            return None
        covariance = covariance[shades : shades + _SHIFTS, shades : shades + _SHIFTS]
        return unknown[:_SHIFTS], covariance, float(unknown[3]), explained

    def _bare_edge(self, operator: Array, centre: Array, weight: Array, sigma: float) -> float:
        """Sum of squares that an edge of no width leaves."""
        edge = operator @ self.sharp(centre, np.zeros(_GROUPS))[1]
        light = self.light - self.level
        level = np.linalg.solve(_own(edge, weight, sigma, self.spread), ((weight * light) @ edge)[..., None])[..., 0]
        return float(np.sum(weight * (light - level @ np.swapaxes(edge, 1, 2)) ** 2))

    def _noise(self, residual: Array) -> tuple[float, Array]:
        """Typical residual, and how much noisier each place across the string is (samples,)."""
        sigma = max(1.4826 * float(np.median(np.abs(residual[self.within]))), 1e-3 * self.spread)
        scatter = np.where(self.within, np.abs(residual - residual.mean(axis=1, keepdims=True)), np.inf)
        ordered = np.sort(scatter.reshape(-1, scatter.shape[2]), axis=0)
        middle = self.inside.sum(axis=0) * _ROWS // 2
        noise = np.where(middle > 0, ordered[middle, np.arange(len(middle))], sigma) * 1.4826 / sigma
        noise = np.convolve(np.pad(noise, 1, mode="edge"), np.full(3, 1 / 3), mode="valid")
        return sigma, np.maximum(noise, 0.5)

    def _with_waves(self, shade: Array) -> Array:
        """(groups, samples, waves * shades)"""
        return np.asarray(
            (self.waves[:, None, :, None] * shade[:, :, None, :]).reshape(*shade.shape[:2], _WAVES * _SHADES)
        )


def _explained_by_levels(ground: Array, inside: NDArray[np.bool_], weighted: Array) -> tuple[Array, Array, Array]:
    """Sum of squares that levels free in every row explain (groups,), the inverse of their normal matrix, and the
    levels of the summed rows."""
    inverse = np.linalg.inv(np.swapaxes(ground, 1, 2) @ (ground * inside[..., None]) + 1e-6 * np.eye(_LEVELS))
    value = weighted @ ground
    level = (inverse @ value.sum(axis=1)[..., None])[..., 0]
    gain: Array = np.sum((value @ inverse) * value, axis=(1, 2))
    return gain, np.asarray(inverse), np.asarray(level)


def _own(ground: Array, weight: Array, sigma: float, spread: float) -> Array:
    """Normal matrix of every row's own levels, (groups, rows, levels, levels); the slope is held near zero."""
    pairs = (ground[:, :, :, None] * ground[:, :, None, :]).reshape(*ground.shape[:2], -1)
    normal = (weight @ pairs).reshape(*weight.shape[:2], _LEVELS, _LEVELS)
    return np.asarray(normal + np.diag([1e-4, 1e-4, (sigma / (_SLOPE_U * spread)) ** 2]))


def _solve(
    design: Array, ground: Array, light: Array, weight: Array, sigma: float, precision: Array, spread: float
) -> tuple[Array, Array]:
    """Best shading (shared) and levels (per row): arrow-shaped normal equations."""
    own = _own(ground, weight, sigma, spread)
    mixed = (ground[:, :, :, None] * design[:, :, None, :]).reshape(*ground.shape[:2], -1)
    cross = (weight @ mixed).reshape(*weight.shape[:2], _LEVELS, -1)
    value = (weight * light) @ ground
    both = np.linalg.solve(own, np.concatenate([cross, value[..., None]], axis=3))
    total = weight.sum(axis=1)
    system = np.einsum("gts,gt,gtu->su", design, total, design, optimize=True)
    system = system - np.einsum("grls,grlu->su", cross, both[..., :-1], optimize=True) + np.diag(precision * sigma**2)
    target = np.einsum("gts,gt->s", design, (weight * light).sum(axis=1))
    target = target - np.einsum("grls,grl->s", cross, both[..., -1])
    shared = np.linalg.solve(system, target)
    return shared, both[..., -1] - both[..., :-1] @ shared


def _newton(
    full: Array,
    ground: Array,
    residual: Array,
    weight: Array,
    sigma: float,
    precision: Array,
    pull: Array,
    spread: float,
) -> tuple[Array, Array]:
    """Step of all shared unknowns and its covariance by the scores of the groups (Huber 1967)."""
    own = _own(ground, weight, sigma, spread)
    weighted = full * weight[..., None]
    cross = np.swapaxes(ground, 1, 2)[:, None] @ weighted
    away = np.linalg.solve(own, cross)
    flat, reduced = full.reshape(-1, full.shape[3]), weighted.reshape(-1, full.shape[3])
    system = flat.T @ reduced - np.einsum("grls,grlu->su", cross, away, optimize=True)
    score = np.einsum("grts,grt->grs", weighted, residual, optimize=True)
    score = score - np.einsum("grls,grl->grs", away, (weight * residual) @ ground, optimize=True)
    score = score.sum(axis=1) / sigma**2
    inverse = np.linalg.inv(system / sigma**2 + np.diag(precision))
    step = inverse @ (score.sum(axis=0) + pull)
    centred = score - score.mean(axis=0)
    spread_of = inverse @ (centred.T @ centred * (_GROUPS / (_GROUPS - 4.0))) @ inverse
    return step, np.asarray(inverse + spread_of)
