"""Synthetic results for tests only: a made-up neck seen by pinhole cameras, with plain drawn pictures.

Nothing here is measured from a photograph. The product never imports this module.
"""

import dataclasses

import numpy as np
from numpy.typing import NDArray

from vision.results import (
    Array,
    Camera,
    Flag,
    Measured,
    PhotoKind,
    PhotoResult,
    PhotoTrace,
    Provenance,
    Refused,
    Side,
    SideCurve,
    Twist,
)

WIDTH_PX, HEIGHT_PX = 1500, 2000
NUT_WIDTH_MM, WIDTH_AT_12_MM = 42.0, 51.5
CENTRES_MM: dict[PhotoKind, tuple[float, float, float]] = {
    "bass": (-60.0, 190.0, 1900.0),
    "treble": (60.0, 190.0, 1900.0),
    "front": (20.0, 1400.0, 500.0),
}
FOCALS_PX: dict[PhotoKind, float] = {"bass": 4000.0, "treble": 4000.0, "front": 2600.0}


def fret_positions_mm(scale_length_mm: float, frets: int) -> Array:
    return scale_length_mm * (1.0 - 2.0 ** (-np.arange(1, frets + 1) / 12.0))


def project_px(points_mm: Array, kind: PhotoKind) -> Array:
    """Pinhole image (x, y) of points in the frame of the neck; the camera looks at the board's middle."""
    centre = np.array(CENTRES_MM[kind])
    ahead = np.array([0.0, 0.0, 220.0]) - centre
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    down = np.cross(ahead, right)
    seen = (points_mm - centre) @ np.stack([right, down, ahead]).T
    middle = np.array([(WIDTH_PX - 1) / 2, (HEIGHT_PX - 1) / 2])
    return np.asarray(FOCALS_PX[kind] * seen[..., :2] / seen[..., 2:] + middle)


def side_curve(side: Side, scale_length_mm: float, frets: int, relief_mm: float, u_mm: float) -> SideCurve:
    z = fret_positions_mm(scale_length_mm, frets)
    t = (z - z[0]) / (z[-1] - z[0])
    gap = 4.0 * relief_mm * t * (1.0 - t)
    deviation = np.random.default_rng(5 if side == "bass" else 6).normal(0.0, 0.006, frets)
    at = int(np.argmax(np.abs(gap)))
    return SideCurve(
        side=side,
        relief_mm=float(gap[at]),
        relief_u_mm=u_mm,
        relief_at_fret=at + 1,
        gap_mm=gap,
        gap_u_mm=u_mm * 4.0 * t * (1.0 - t),
        deviation_mm=deviation,
        deviation_u_mm=np.full(frets, 0.008),
    )


def trace(scale_length_mm: float, frets: int, kind: PhotoKind) -> PhotoTrace:
    z = fret_positions_mm(scale_length_mm, frets)

    def across(fractions: Array, at_mm: Array) -> Array:
        width = NUT_WIDTH_MM + (WIDTH_AT_12_MM - NUT_WIDTH_MM) * at_mm / (scale_length_mm / 2)
        x = fractions[None, :] * width[:, None] / 2
        y = np.zeros_like(x)
        return np.stack([x, y, np.broadcast_to(at_mm[:, None], x.shape)], axis=-1)

    strings = across(np.array([-0.84, 0.84]), np.linspace(0.0, z[-1], 12))
    strings[..., 1] += np.linspace(0.5, 2.0, 12)[:, None]
    tops = project_px(across(np.array([-0.84, 0.84]), z), kind)
    tops[0, 1] = np.nan  # one fret top that was not seen
    used = np.ones(frets, dtype=bool)
    used[[0, 4]] = False
    return PhotoTrace(
        bass_top_px=tops[:, 0],
        treble_top_px=tops[:, 1],
        fret_line_px=project_px(across(np.linspace(-1.0, 1.0, 9), z), kind),
        used_fret=used,
        nut_px=project_px(across(np.array([-1.0, 1.0]), np.zeros(1)), kind)[0],
        string_px=(project_px(strings[:, 0], kind), project_px(strings[:, 1], kind)),
    )


def photo_result(name: str, kind: PhotoKind, frets: int = 22, scale_length_mm: float = 647.7) -> PhotoResult:
    flags = (Flag("glare", "Part of the board is in glare.", "Turn the guitar away from the lamp."),)
    return PhotoResult(
        name=name,
        status="measured",
        kind=kind,
        flags=flags if kind == "bass" else (),
        camera=Camera(FOCALS_PX[kind], 40.0, 8.0, 1700.0, -0.02, 0.08, 0.9),
        trace=trace(scale_length_mm, frets, kind),
    )


def refused_photo(name: str = "carpet.jpg") -> PhotoResult:
    return PhotoResult(
        name=name,
        status="refused",
        kind=None,
        reason="No neck was found in this photograph.",
        advice="Take it so that all frets and both edges of the board are in view.",
    )


def measured(
    frets: int = 22,
    scale_length_mm: float = 647.7,
    bass_mm: float = 0.32,
    treble_mm: float = 0.30,
    twist_deg: float = -0.4,
    u_mm: float = 0.012,
    names: tuple[str, ...] = ("one.jpg", "two.jpg", "three.jpg"),
) -> Measured:
    kinds: tuple[PhotoKind, ...] = ("bass", "treble", "front")
    roll = twist_deg * (np.arange(frets) / (frets - 1.0))
    return Measured(
        scale_length_mm=scale_length_mm,
        frets=frets,
        bass=side_curve("bass", scale_length_mm, frets, bass_mm, u_mm),
        treble=side_curve("treble", scale_length_mm, frets, treble_mm, u_mm),
        twist=Twist(twist_deg, 0.03, roll, np.full(frets, 0.03)),
        relief_difference_mm=bass_mm - treble_mm,
        relief_difference_u_mm=0.007,
        photos=tuple(photo_result(n, k, frets, scale_length_mm) for n, k in zip(names, kinds, strict=False)),
        flags=(Flag("no_front", "No photograph from the front.", "Add one from the front."),),
        provenance=Provenance("0.1.0", (1, frets), "front photograph", 0.09, 0.0, 42.0, 0.1, 51.5, 0.1),
    )


def with_high_fret(outcome: Measured, fret: int, height_mm: float) -> Measured:
    """The same neck with one fret standing proud by height_mm on both sides."""

    def raised(curve: SideCurve) -> SideCurve:
        deviation = curve.deviation_mm.copy()
        deviation[fret - 1] = height_mm
        return dataclasses.replace(curve, deviation_mm=deviation)

    return dataclasses.replace(outcome, bass=raised(outcome.bass), treble=raised(outcome.treble))


def refused(photos: tuple[PhotoResult, ...] | None = None) -> Refused:
    return Refused(
        scale_length_mm=647.7,
        frets=22,
        code="no_neck",
        reason="No neck was found in any of the photographs.",
        advice="Photograph the whole fretted part from one end of the guitar.",
        photos=(refused_photo(),) if photos is None else photos,
    )


def picture(
    kind: PhotoKind | None = "bass", frets: int = 22, scale_length_mm: float = 647.7
) -> NDArray[np.uint8]:
    """A plain drawn picture (H, W, 3) of the neck as its camera sees it, or of nothing at all."""
    import cv2

    rgb = np.full((HEIGHT_PX, WIDTH_PX, 3), (96, 120, 126), dtype=np.uint8)
    if kind is None:
        return rgb
    seen = trace(scale_length_mm, frets, kind)
    lines = np.rint(np.concatenate([seen.nut_px[None], seen.fret_line_px[:, [0, -1]]])).astype(np.int32)
    outline = np.concatenate([lines[0], lines[-1][::-1]])
    cv2.fillPoly(rgb, [outline], (92, 58, 40), lineType=cv2.LINE_AA)
    for line in lines:
        cv2.line(rgb, tuple(map(int, line[0])), tuple(map(int, line[1])), (212, 212, 208), 2, cv2.LINE_AA)
    return rgb
