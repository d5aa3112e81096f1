"""The light around a string's expected path, straightened, and the blurred bases a string is drawn with there."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from vision.trace.blur import Blur, line_spread
from vision.trace.strip import LightCrop

Array = NDArray[np.float64]

GROUPS = 18  # their rows share scale and blur
FINE_PX = 0.25
STEP = 3  # fine steps from sample to sample across the line
_BESIDE_PX, _BESIDE_MM = 2.0, 0.15
_SHADES = 7  # hat functions across the cylinder
WAVES = 3  # constant, slope and bend of the shading along the string
LEVELS = 3  # of a row: left, right, slope
_SHADOW_STEP_MM = 0.4
# Prior standard uncertainties; those of light in units of its spread.
_SHADE_U, _SHADE_CHANGE_U, SLOPE_U = 2.0, 0.5, 0.5
_SHADOW_U, _SHADOW_CHANGE_U = 0.5, 0.15


@dataclass(frozen=True)
class Sampling:
    """How the light around a string is read.

    rows : of a group.  lines : along the string, averaged within a row.  shadows : hat functions on either side of the
    string for what it does to the light of the board beside it.
    """

    rows: int
    lines: int
    shadows: int


LOW_VIEW = Sampling(rows=8, lines=2, shadows=0)
FRONT_VIEW = Sampling(rows=32, lines=1, shadows=2)
"""From the front a string's shadow lies close beside it and moves away where the string stands higher. Taken for a part
of the string it draws the centre to its side, by 0.2 mm and not everywhere alike. Once it is drawn as well, only frets
that vanish tell where the string ends, and frets are a few pixels high: hence more rows."""


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


def form_of(share: Array) -> Array:
    return np.column_stack([1 - share, share, 4 * share * (1 - share)])


class StringFrame:
    """Light around a path, straightened, and the blur there; lives only inside refine_string."""

    def __init__(
        self,
        crop: LightCrop,
        path: StringPath,
        start: Array,
        blur: Blur,
        radius_mm: float,
        scan: int,
        sampling: Sampling,
    ) -> None:
        self.path, self.start, self.scan_steps, self.sampling = path, start, scan, sampling
        self.shades = _SHADES + 2 * sampling.shadows
        near, far, between = path.points_px
        self.chord = far - near
        self.length = float(np.hypot(*self.chord))
        self.normal = path.normal
        place = float((between - near) @ self.chord) / self.length**2
        self.bow = float((between - near) @ self.normal) / (4 * place * (1 - place))
        edge = np.linspace(0.0, 1.0, GROUPS + 1)
        self.share = 0.5 * (edge[:-1] + edge[1:])
        # 1 / depth is linear along the picture of a straight line.
        inverse = (1 - self.share) / path.depth_m[0] + self.share / path.depth_m[1]
        self.scale = path.px_per_mm[0] * path.depth_m[0] * inverse
        disc = blur.disc_px(1.0 / inverse)
        sigma = float(np.exp(blur.log_sigma))
        beside = 1.3 * radius_mm * self.scale + disc + 2.0 * sigma + _BESIDE_PX + _BESIDE_MM * self.scale
        step = STEP * FINE_PX
        count = int(np.ceil(beside.max() / step))
        self.offset = np.arange(-count - scan, count + scan + 1) * step
        self.inside = np.abs(self.offset)[None, :] <= (beside + scan * step)[:, None]
        self.light = self._sample(crop)
        self.within = np.broadcast_to(self.inside[:, None, :], self.light.shape)
        self.spread = max(float(self.light[self.within].std()), 1e-6)
        self.level = float(np.median(self.light))
        self.disc, self.sigma, self.sharpening = disc, sigma, float(np.clip(blur.sharpening, 0.0, 1.0))
        margin = int(np.ceil((1.5 * disc.max() + 6.0 * sigma + 3.0) / FINE_PX))
        middle = STEP * (len(self.offset) // 2 + scan) + margin
        self.fine = (np.arange(2 * middle + 1) - middle) * FINE_PX
        self.sample_at = margin + STEP * np.arange(len(self.offset) + 2 * scan)
        tau = 2.0 * self.share - 1.0
        self.waves = np.column_stack([np.ones_like(tau), tau, 1.5 * tau**2 - 0.5])
        self.form = form_of(self.share)

    def points(self, share: Array, shift: Array) -> Array:
        """Image points of the path at shares of its length, moved by the start and by a shift (px)."""
        move = 4 * share * (1 - share) * self.bow + (1 - share) * self.start[0] + share * self.start[1] + shift
        return np.asarray(self.path.points_px[0] + share[:, None] * self.chord + move[:, None] * self.normal)

    def _sample(self, crop: LightCrop) -> Array:
        """(groups, rows, samples): means of a few lines along the frets."""
        rows, lines = self.sampling.rows, self.sampling.lines
        total = GROUPS * rows * lines
        share = (np.arange(total) + 0.5) / total
        along = self.chord / self.length
        slant = (self.path.fret_direction @ along) / (self.path.fret_direction @ self.normal)
        lean = np.clip((1 - share) * slant[0] + share * slant[1], -1.0, 1.0)
        across = self.normal + lean[:, None] * along
        base = self.points(share, np.zeros(total))
        light = crop.sample(base[:, None, :] + self.offset[None, :, None] * across[:, None, :])
        return np.asarray(light.reshape(GROUPS, rows, lines, -1).mean(axis=2), dtype=np.float64)

    def operator(self, widening: float) -> Array:
        """Blur from fine grid to samples, (groups, samples, fine)."""
        return self._at_samples(self._kernel(widening))

    def operators(self, widening: float) -> tuple[Array, Array]:
        """The operator and its derivative by the log of its width."""
        kernel = self._kernel(widening)
        reach = np.arange(len(self.fine)) * FINE_PX
        # K(x / s) / s changes with log s by -(K + x dK/dx).
        change = -(kernel + reach * np.gradient(kernel, FINE_PX, axis=1))
        return self._at_samples(kernel), self._at_samples(change)

    def _kernel(self, widening: float) -> Array:
        """Right half of every group's blur, (groups, fine)."""
        scaled = np.arange(len(self.fine)) * FINE_PX / widening
        kernel = line_spread(np.tile(scaled, (GROUPS, 1)), self.disc[:, None], self.sigma, self.sharpening)
        return np.asarray(kernel / (2.0 * kernel.sum(axis=1, keepdims=True) - kernel[:, :1]))

    def _at_samples(self, kernel: Array) -> Array:
        size = len(self.fine)
        whole = np.concatenate([kernel[:, :0:-1], kernel], axis=1)
        return np.asarray(sliding_window_view(whole, size, axis=1)[:, size - 1 - self.sample_at])

    def shading(self, centre: Array, half_px: Array) -> Array:
        """Unblurred shading of every group, then its shadows left and right of it, (groups, fine, shades)."""
        away, left, right = self._outside(centre, half_px)
        knots = np.linspace(-1.0, 1.0, _SHADES)
        across = np.clip(away / np.maximum(half_px, 1e-9)[:, None], -1.0, 1.0)
        hats = np.clip(1.0 - np.abs(across[..., None] - knots) / (knots[1] - knots[0]), 0.0, 1.0)
        hats *= (1.0 - left - right)[..., None]
        beyond = np.maximum(np.abs(away) - half_px[:, None], 0.0) / (self.scale[:, None] * _SHADOW_STEP_MM)
        beside = np.clip(1.0 - np.abs(beyond[..., None] - np.arange(self.sampling.shadows)), 0.0, 1.0)
        return np.concatenate([hats, beside * left[..., None], beside * right[..., None]], axis=2)

    def ground(self, centre: Array, half_px: Array) -> Array:
        """Unblurred background of every group, (groups, fine, levels)."""
        away, left, right = self._outside(centre, half_px)
        return np.stack([left, right, away * (left + right) / self.fine[-1]], axis=-1)

    def sharp(self, centre: Array, half_px: Array) -> Array:
        """Shading and background side by side."""
        return np.concatenate([self.shading(centre, half_px), self.ground(centre, half_px)], axis=2)

    def _outside(self, centre: Array, half_px: Array) -> tuple[Array, Array, Array]:
        """Distance from the string's middle, and shares of every fine cell left and right of the string."""
        away = self.fine[None, :] - centre[:, None]
        half = half_px[:, None]
        left = np.clip((-half - away) / FINE_PX + 0.5, 0.0, 1.0)
        right = np.clip((away - half) / FINE_PX + 0.5, 0.0, 1.0)
        return away, left, right

    def shade_precision(self) -> Array:
        shadows = 2 * self.sampling.shadows
        mean = np.repeat([_SHADE_U, _SHADOW_U], [_SHADES, shadows])
        change = np.repeat([_SHADE_CHANGE_U, _SHADOW_CHANGE_U], [_SHADES, shadows])
        return np.asarray((np.r_[mean, np.tile(change, WAVES - 1)] * self.spread) ** -2.0)
