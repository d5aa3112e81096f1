"""The law of fret positions along one line of the picture.

With Z = 1 - 2^(-k/12) (ISO 16 tempered semitones; distance from the nut in scale lengths) any projective map
of Z has a local spacing s(y) that is a quadratic in y of discriminant (ln 2 / 12)^2, whatever the camera.
Two numbers, the spacings at the two ends of the stretch, therefore fix the whole pattern except its phase.  The
same quadratic describes the neck read backwards and renumbered: numbering is not decided here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares, minimize

from vision.locate.segments import Floats

STEP = float(np.log(2.0) / 12.0)
HARMONICS = (1.0, 0.7, 0.4)
"""Weights of the first three harmonics of a fret's profile."""


@dataclass(frozen=True)
class Law:
    """Projective map from Z to y: y = (a + b Z) / (1 + c Z), Z = 1 - 2^(-k/12)."""

    a: float
    b: float
    c: float

    def y(self, k: Floats) -> Floats:
        z = 1.0 - 2.0 ** (-np.asarray(k, dtype=np.float64) / 12.0)
        return projected(z, np.array([self.a, self.b, self.c]))

    def step_px(self, k: Floats) -> Floats:
        """How far y goes from half a fret before k to half a fret after it; negative where y falls with k."""
        k = np.asarray(k, dtype=np.float64)
        return self.y(k + 0.5) - self.y(k - 0.5)

    def renumbered(self, shift: float) -> Law:
        """Law whose fret k is this law's fret k + shift."""
        r = 2.0 ** (-shift / 12.0)
        # Z_old = (1 - r) + r Z_new.
        a, b, c = self.a + self.b * (1 - r), self.b * r, self.c * r
        d = 1.0 + self.c * (1 - r)
        return Law(a / d, b / d, c / d)

    def reversed(self, last: float) -> Law:
        """Law whose fret k is this law's fret last - k."""
        r = 2.0 ** (-last / 12.0)
        # Z_old = 1 - r / (1 - Z_new).
        a, b = self.a * 1.0 + self.b * (1 - r), -(self.a + self.b)
        d, e = 1.0 + self.c * (1 - r), -(1.0 + self.c)
        return Law(a / d, b / d, e / d)


def fret_numbers(y: Floats, spacing_low: Floats, spacing_high: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Running fret number at y (increasing) for given spacings (n,) at its two ends; (n, len(y)), valid (n,).

    s = s_a + p x + A x^2 with p^2 - 4 A s_a = STEP^2 and s(L) = s_b; the root of A that keeps s positive.
    """
    x = y - y[0]
    length = float(x[-1])
    d = (spacing_high - spacing_low) / length
    total = 2.0 * (spacing_low + spacing_high)
    under = total**2 - 4.0 * length**2 * (d**2 - STEP**2)
    curve = (total - np.sqrt(np.maximum(under, 0.0))) / (2.0 * length**2)
    incline = d - curve * length
    spacing = spacing_low[:, None] + incline[:, None] * x + curve[:, None] * x**2
    valid = (under >= 0) & (spacing.min(axis=1) > 0.25 * np.minimum(spacing_low, spacing_high))
    rate = 1.0 / np.maximum(spacing, 1e-3)
    step = np.diff(x)
    number = np.concatenate(
        [np.zeros((len(d), 1)), np.cumsum(0.5 * (rate[:, 1:] + rate[:, :-1]) * step, axis=1)], axis=1
    )
    return number, np.asarray(valid)


def coherence(signal: Floats, number: Floats, window: float = 4.0) -> Floats:
    """How well the signal repeats with every whole fret number, 0..1; number (n, rows) -> (n,).

    The harmonics are summed inside stretches of `window` frets, so a small drift of phase costs little.
    """
    n, rows = number.shape
    weight = np.gradient(number, axis=1).astype(np.float32)
    # Single precision is plenty for a score and half the work.
    tone = signal.astype(np.float32)
    window_of = (number / window).astype(np.int32)
    opens = np.ones((n, rows), dtype=bool)
    opens[:, 1:] = window_of[:, 1:] != window_of[:, :-1]
    first = np.flatnonzero(opens)
    line = first // rows

    def in_windows(part: NDArray[np.float32]) -> NDArray[np.float32]:
        return np.asarray(np.add.reduceat(part.ravel(), first), dtype=np.float32)

    def of_lines(part: NDArray[np.float32]) -> Floats:
        return np.asarray(np.bincount(line, part, n), dtype=np.float64)

    weighted = weight * tone
    norm = of_lines(np.sqrt(np.maximum(in_windows(weighted * tone) * in_windows(weight), 0.0)))
    phase = (2.0 * np.pi * number).astype(np.float32)
    score = np.zeros(n)
    for harmonic, share in enumerate(HARMONICS, start=1):
        in_phase = in_windows(weighted * np.cos(harmonic * phase))
        across = in_windows(weighted * np.sin(harmonic * phase))
        score += share * np.sqrt(2.0) * of_lines(np.hypot(in_phase, across))
    return np.asarray(score / np.maximum(norm, 1e-9) / np.hypot.reduce(HARMONICS), dtype=np.float64)


def search_law(y: Floats, signal: Floats, smallest_px: float, most_frets: float) -> tuple[Law, float] | None:
    """Law (numbered from an arbitrary start, Z growing with y or against it) that repeats the signal best."""
    length = float(y[-1] - y[0])
    thin = max(1, len(y) // 500)
    yy, ss = y[::thin], signal[::thin]
    smallest_px = max(smallest_px, 2.5 * thin * (y[1] - y[0]))
    spacings = np.exp(np.arange(np.log(smallest_px), np.log(0.4 * length), 0.055))
    if len(spacings) == 0:
        return None
    low, high = (m.ravel() for m in np.meshgrid(spacings, spacings, indexing="ij"))
    rough = length / np.sqrt(low * high)
    keep = (np.abs(np.log(low / high)) < 3.2) & (rough > 5.0) & (rough < 1.5 * most_frets)
    low, high = low[keep], high[keep]
    score = np.zeros(len(low))
    for start in range(0, len(low), 500):
        part = slice(start, start + 500)
        number, valid = fret_numbers(yy, low[part], high[part])
        total = number[:, -1]
        good = np.flatnonzero(valid.astype(bool) & (total > 7.0) & (total < most_frets))
        if len(good):
            score[start + good] = coherence(ss, number[good])
    if score.max(initial=0.0) <= 0:
        return None
    best: tuple[float, float, float] | None = None
    for index in np.argsort(-score)[:6]:

        def loss(p: Floats) -> float:
            number, valid = fret_numbers(y, np.exp(p[:1]), np.exp(p[1:]))
            return -float(coherence(signal, number, 8.0)[0]) if valid[0] else 0.0

        start_at = np.log([low[index], high[index]])
        simplex = start_at + 0.02 * np.array([[0.0, 0.0], [1.0, 0.3], [-0.3, 1.0]])
        found = minimize(
            loss,
            start_at,
            method="Nelder-Mead",
            options={"maxfev": 60, "initial_simplex": simplex, "xatol": 1e-4, "fatol": 1e-4},
        )
        if best is None or -found.fun > best[0]:
            best = (-float(found.fun), float(np.exp(found.x[0])), float(np.exp(found.x[1])))
    assert best is not None
    number, _ = fret_numbers(y, np.array([best[1]]), np.array([best[2]]))
    return law_through(y, number[0]), best[0]


def projected(z: Floats, p: Floats) -> Floats:
    """Projective map (a + b Z) / (1 + c Z) of Z (n,) for p = (a, b, c)."""
    return np.asarray((p[0] + p[1] * z) / (1.0 + p[2] * z), dtype=np.float64)


def by_projection(z: Floats, p: Floats) -> Floats:
    """Its derivatives by a, b and c, (n, 3)."""
    share = 1.0 / (1.0 + p[2] * z)
    return np.stack([share, z * share, -z * share * projected(z, p)], axis=1)


def law_through(y: Floats, number: Floats) -> Law:
    """Law fitted to pairs (y, real fret number) by least squares in y."""
    y0, scale = float(np.mean(y)), float(np.ptp(y)) or 1.0
    t = (y - y0) / scale
    z = 1.0 - 2.0 ** (-number / 12.0)
    # Linear start: t (1 + c z) = a + b z.
    a, b, c = np.linalg.lstsq(np.stack([np.ones_like(z), z, -t * z], axis=1), t, rcond=None)[0]
    with np.errstate(divide="ignore", invalid="ignore"):  # a step may try a horizon on a fret; a shorter one follows
        fit = least_squares(
            lambda p: projected(z, p) - t, [a, b, c], jac=lambda p: by_projection(z, p), x_scale=[0.1, 0.1, 0.1]
        )
    a, b, c = fit.x
    return Law(float(a * scale + y0), float(b * scale + y0 * c), float(c))
