"""Measured records made up for the tests of findings: any curve, any uncertainty, no photograph behind it."""

import numpy as np

from vision.fit.frets import fret_positions_mm
from vision.results import Array, Camera, Measured, PhotoKind, PhotoResult, Provenance, Side, SideCurve, Twist

FRETS, SCALE_MM = 22, 647.7
ALL_KINDS: tuple[PhotoKind, ...] = ("bass", "treble", "front")


def along(frets: int = FRETS) -> Array:
    """Place of each fret between fret 1 (0) and the last (1)."""
    z = fret_positions_mm(SCALE_MM, frets)
    return np.asarray((z - z[0]) / (z[-1] - z[0]))


def bow(relief_mm: float, frets: int = FRETS) -> Array:
    """A parabola whose largest sampled gap is relief_mm."""
    t = along(frets)
    shape = 4.0 * t * (1.0 - t)
    return np.asarray(relief_mm * shape / shape.max())


def s_curve(lobe_mm: float, frets: int = FRETS) -> Array:
    wave = np.sin(2.0 * np.pi * along(frets))
    return np.asarray(lobe_mm * wave)


def kink(size_mm: float, at_fret: int = 16, frets: int = FRETS) -> Array:
    """Gaps of a straight neck whose last frets leave it from a fret on, by size_mm (+ up) at the last."""
    z = fret_positions_mm(SCALE_MM, frets)
    height = size_mm * np.clip((z - z[at_fret - 1]) / (z[-1] - z[at_fret - 1]), 0.0, None)
    return np.asarray(height[0] + (height[-1] - height[0]) * along(frets) - height)


def side(
    name: Side, gap: Array, u_mm: float = 0.01, deviation: Array | None = None, deviation_u_mm: float = 0.008
) -> SideCurve:
    at = int(np.argmax(np.abs(gap)))
    gap_u = u_mm * bow(1.0, gap.size) + 1e-9 if np.isfinite(u_mm) else np.full(gap.size, u_mm)
    return SideCurve(
        name,
        float(gap[at]),
        u_mm,
        at + 1,
        gap,
        gap_u,
        np.zeros(gap.size) if deviation is None else deviation,
        np.full(gap.size, deviation_u_mm),
    )


def record(
    bass: SideCurve | Array | None = None,
    treble: SideCurve | Array | None = None,
    *,
    twist_deg: float = 0.0,
    twist_u_deg: float = 0.02,
    difference_u_mm: float = 0.006,
    kinds: tuple[PhotoKind, ...] = ALL_KINDS,
) -> Measured:
    """A whole record; a side left out is a bow of 0.2 mm, a treble side left out is as the bass side."""
    gap = bow(0.2) if bass is None else bass
    bass_side = gap if isinstance(gap, SideCurve) else side("bass", gap)
    other = bass_side.gap_mm if treble is None else treble
    treble_side = other if isinstance(other, SideCurve) else side("treble", other, bass_side.relief_u_mm)
    frets = bass_side.gap_mm.size
    camera = Camera(8600.0, 100.0, 8.0, 1240.0, 0.0, 0.08, 0.9)
    return Measured(
        SCALE_MM,
        frets,
        bass_side,
        treble_side,
        Twist(twist_deg, twist_u_deg, twist_deg * along(frets), np.full(frets, twist_u_deg)),
        bass_side.relief_mm - treble_side.relief_mm,
        difference_u_mm,
        tuple(PhotoResult(f"{kind}.jpg", "measured", kind, camera=camera) for kind in kinds),
        (),
        Provenance("0.1.0", (1, frets), "front photograph", 0.08, 0.0, 42.0, 0.1, 51.5, 0.1),
    )
