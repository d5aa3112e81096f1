"""The centre line of a string to a twentieth of a pixel: a cylinder's profile fitted along its whole image.

Across its image a string is a band of known kind: background, cylinder, background. The cylinder is lit the
same way along its length (a straight string has the same normals everywhere), so one shading curve, changing
slowly, serves all stations; the band's half-width r (mm, times the scale at each depth), a straight line and the
backgrounds at each station are fitted to the light, blurred as the photograph is. The centre is the middle
between the band's two edges, so that one-sided shading does not pull it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.trace.blur import Blur, line_spread
from vision.trace.strip import LightCrop

Array = NDArray[np.float64]

_STATIONS = 20
_STEP_PX = 0.5
_FINE_PX = 0.25
_REACH_PX, _REACH_MM = 3.5, 1.6
_SHADES = 5  # shading: hat functions across the cylinder
_ITERATIONS = 6
_RADIUS_LEAST_MM, _RADIUS_MOST_MM = 0.08, 1.6


@dataclass(frozen=True, eq=False)
class StringCentre:
    """points_px (3, 2): centre line at its two ends and its middle; u_px (3,): uncertainty across the line there.

    normal (2,) : unit normal of the chord.
    radius_mm : half the string's apparent width.  explained : share of the light's variance explained.
    """

    points_px: Array
    u_px: Array
    normal: Array
    radius_mm: float
    explained: float


def refine_string(
    crop: LightCrop,
    ends_px: Array,
    px_per_mm: Array,
    depth_m: Array,
    blur: Blur,
    radius_mm: float,
    radius_u_mm: float,
) -> StringCentre | None:
    """Fit one string. ends_px (2, 2): the line so far; px_per_mm, depth_m (2,): scale and depth at its ends.

    radius_mm, radius_u_mm : what is believed of the string's radius.
    Returns None where no band stands out within a few pixels of the line.
    """
    chord = ends_px[1] - ends_px[0]
    length = float(np.hypot(*chord))
    normal = np.array([-chord[1], chord[0]]) / length
    edge = np.linspace(0.0, 1.0, _STATIONS + 1)
    share = 0.5 * (edge[:-1] + edge[1:])
    # 1 / depth is linear along the picture of a straight line.
    inverse = (1 - share) / depth_m[0] + share / depth_m[1]
    scale = px_per_mm[0] * depth_m[0] * inverse
    offset = np.arange(-1.0, 1.0 + 1e-9, _STEP_PX / (_REACH_PX + _REACH_MM * float(scale.max())))
    offset *= _REACH_PX + _REACH_MM * float(scale.max())
    along = max(2, int(length / _STATIONS))
    light = np.zeros((_STATIONS, len(offset)))
    for j in range(_STATIONS):
        place = np.linspace(edge[j], edge[j + 1], along, endpoint=False) + 0.5 / (along * _STATIONS)
        points = ends_px[0] + place[:, None, None] * chord + offset[None, :, None] * normal
        light[j] = np.median(crop.sample(points), axis=0)
    inside = np.abs(offset)[None, :] <= (_REACH_PX + _REACH_MM * scale)[:, None]
    band = _Band(light, inside, offset, share, scale, blur, blur.disc_px(1.0 / inverse))
    solved = band.fit(radius_mm, radius_u_mm)
    if solved is None:
        return None
    shift, covariance, radius, explained = solved
    at = np.array([0.0, 1.0, 0.5])
    form = np.column_stack([1 - at, at, 4 * at * (1 - at)])
    points = ends_px[0] + at[:, None] * chord + (form @ shift)[:, None] * normal
    # Neighbouring samples share blur and interpolation: about two samples to one independent value.
    u = np.sqrt(2.0 * np.diag(form @ covariance @ form.T))
    return StringCentre(points, u, normal, radius, explained)


class _Band:
    """Working state of one string's fit; lives only inside refine_string."""

    def __init__(
        self,
        light: Array,
        inside: NDArray[np.bool_],
        offset: Array,
        share: Array,
        scale: Array,
        blur: Blur,
        disc: Array,
    ) -> None:
        self.light, self.inside, self.share, self.scale = light, inside, share, scale
        self.fine = np.arange(offset[0] - 5.0, offset[-1] + 5.0, _FINE_PX)
        sigma = float(np.exp(blur.log_sigma))
        self.operators = []
        for radius in disc:
            spread = line_spread(
                self.fine[None, :] - offset[:, None],
                np.full((len(offset), 1), radius),
                sigma,
                blur.sharpening,
            )
            self.operators.append(spread / spread.sum(axis=1, keepdims=True))
        self.form = np.column_stack([1 - share, share, 4 * share * (1 - share)])

    def bases(self, shift: Array, radius: float) -> tuple[Array, Array]:
        centre = self.form @ shift
        parts = [
            _bases(self.fine, c, radius * k, operator, 2.0 * t - 1.0)
            for c, k, operator, t in zip(centre, self.scale, self.operators, self.share, strict=True)
        ]
        return np.array([p[0] for p in parts]), np.array([p[1] for p in parts])

    def motions(self, unknown: Array, coefficient: Array, ground: Array) -> list[Array]:
        """Derivative of the model with respect to the three shifts and the radius, each (stations, samples).

        Moving the band moves the sharp signal: d/dc = -d/dx; widening it stretches it about its centre.
        """
        centre = self.form @ unknown[:3]
        across = np.zeros_like(self.light)
        wider = np.zeros_like(self.light)
        for j, (c, k, operator, t) in enumerate(
            zip(centre, self.scale, self.operators, self.share, strict=True)
        ):
            shade, level = _sharp_bases(self.fine, c, unknown[3] * k, 2.0 * t - 1.0)
            slope = np.gradient(shade @ coefficient + level @ ground[j], _FINE_PX)
            across[j] = operator @ -slope
            near = np.clip((self.fine - c) / unknown[3], -1.5 * k, 1.5 * k)
            wider[j] = operator @ (-slope * near)
        return [*(across * self.form[:, i : i + 1] for i in range(3)), wider]

    def fit(self, radius_mm: float, radius_u_mm: float) -> tuple[Array, Array, float, float] | None:
        """Shift at near end, far end and middle (px), its covariance, radius, share of variance explained."""
        unknown = np.array([0.0, 0.0, 0.0, radius_mm])
        prior_mean = unknown.copy()
        prior_u = np.array([3.0, 3.0, 0.4, radius_u_mm])
        weight = self.inside.astype(np.float64)
        covariance, explained = np.eye(4), 0.0
        for _ in range(_ITERATIONS):
            shades, grounds = self.bases(unknown[:3], unknown[3])
            coefficient, ground, model = _linear(self.light, weight, shades, grounds)
            residual = (self.light - model) * self.inside
            motions = self.motions(unknown, coefficient, ground)
            # Variable projection (Golub and Pereyra 1973): remove what shading and background can imitate.
            jacobian = np.stack([m - _linear(m, weight, shades, grounds)[2] for m in motions], axis=-1)
            sigma = 1.4826 * float(np.median(np.abs(residual[self.inside]))) + 1e-6
            weight = self.inside / (1.0 + (residual / (3.0 * sigma)) ** 2)
            flat = jacobian.reshape(-1, 4)
            system = flat.T @ (flat * weight.reshape(-1, 1)) / sigma**2 + np.diag(1.0 / prior_u**2)
            gradient = flat.T @ (weight * residual).ravel() / sigma**2 - (unknown - prior_mean) / prior_u**2
            covariance = np.asarray(np.linalg.inv(system), dtype=np.float64)
            unknown = unknown + np.clip(covariance @ gradient, -1.0, 1.0) * np.array([1.0, 1.0, 0.3, 0.1])
            unknown[3] = np.clip(unknown[3], _RADIUS_LEAST_MM, _RADIUS_MOST_MM)
            without = self.light - np.einsum("jtk,jk->jt", grounds, ground)
            power = max(float(np.sum(weight * without**2)), 1e-12)
            explained = 1.0 - float(np.sum(weight * residual**2)) / power
        if np.abs(unknown[:2]).max() > 5.0:
            return None
        return unknown[:3], covariance[:3, :3], float(unknown[3]), explained


def _bases(fine: Array, centre: float, half_px: float, operator: Array, tau: float) -> tuple[Array, Array]:
    """Blurred bases at one station: shading (samples, 2 shades) and background (level left, right, slope)."""
    shade, ground = _sharp_bases(fine, centre, half_px, tau)
    blurred = operator @ np.hstack([shade[:, :_SHADES], ground])
    return np.hstack([blurred[:, :_SHADES], blurred[:, :_SHADES] * tau]), blurred[:, _SHADES:]


def _sharp_bases(fine: Array, centre: float, half_px: float, tau: float) -> tuple[Array, Array]:
    across = (fine - centre) / half_px
    left = np.clip((centre - half_px - fine) / _FINE_PX + 0.5, 0.0, 1.0)
    right = np.clip((fine - centre - half_px) / _FINE_PX + 0.5, 0.0, 1.0)
    band = 1.0 - left - right
    knots = np.linspace(-1.0, 1.0, _SHADES)
    hats = np.clip(
        1.0 - np.abs(np.clip(across, -1.0, 1.0)[:, None] - knots) / (knots[1] - knots[0]), 0.0, 1.0
    )
    shade = hats * band[:, None]
    ground = np.column_stack([left, right, (fine - centre) * (left + right) * 0.2])
    return np.hstack([shade, shade * tau]), ground


def _linear(light: Array, weight: Array, shades: Array, grounds: Array) -> tuple[Array, Array, Array]:
    """Best shading (shared) and backgrounds (per station): arrow-shaped normal equations."""
    size = shades.shape[2]
    level = float(np.median(light))
    system = np.diag(np.r_[np.full(size // 2, 1e-3), np.full(size // 2, 3e-1)])
    target = np.zeros(size)
    target[: size // 2] = 1e-3 * level
    parts = []
    for shade, ground, value, w in zip(shades, grounds, light, weight, strict=True):
        own = ground.T @ (ground * w[:, None]) + np.diag([1e-4, 1e-4, 3e-2])
        cross = ground.T @ (shade * w[:, None])
        right = ground.T @ (w * value) + np.array([1e-4, 1e-4, 0.0]) * level
        inverse = np.linalg.inv(own)
        system = system + shade.T @ (shade * w[:, None]) - cross.T @ inverse @ cross
        target = target + shade.T @ (w * value) - cross.T @ inverse @ right
        parts.append((inverse, cross, right))
    coefficient = np.linalg.solve(system, target)
    ground_level = np.array([inverse @ (right - cross @ coefficient) for inverse, cross, right in parts])
    model = shades @ coefficient + np.einsum("jtk,jk->jt", grounds, ground_level)
    return coefficient, ground_level, model
