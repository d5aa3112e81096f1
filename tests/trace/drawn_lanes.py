"""Lanes of a low view as they would be seen: crowns that hide one another, mirror a lamp and are blurred."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.trace.blur import Blur
from vision.trace.lane_scene import LaneGeometry

Array = NDArray[np.float64]

_FOCAL_PX, _EYE_MM, BEFORE_MM = 8000.0, 150.0, 1000.0  # height above the tops, distance before the nut
FRETS, _SCALE_MM = 20, 647.7
_CROWN_MM, _HALF_CROWN_MM = 1.05, 1.15
_SUB = 16  # parts of a row
SIGMA_PX = 0.9
APERTURE_PX_M, FOCUS_M = 14.0, 1.15
NOISE = 0.003
LANES = 8
DOTTED = (3, 4)


@dataclass(frozen=True)
class Lanes:
    """Signals (lanes, rows), geometry without errors, and true tops against it (lanes, N) mm."""

    signal: Array
    geometry: LaneGeometry
    truth_mm: Array


def z_mm_of_frets() -> Array:
    return np.asarray(_SCALE_MM * (1.0 - 2.0 ** (-np.arange(1, FRETS + 1) / 12.0)))


def _row_of(z_mm: Array, y_mm: Array | float, first: float) -> Array:
    return np.asarray(_FOCAL_PX * (y_mm - _EYE_MM) / (z_mm + BEFORE_MM) - first)


def _first_row() -> float:
    return float(np.floor(_FOCAL_PX * (-_CROWN_MM - _EYE_MM) / (z_mm_of_frets()[0] - 8.0 + BEFORE_MM)))


def _side_view(
    error_mm: Array, bow_mm: float, shine: float, turn_rad: float, grain: float
) -> tuple[Array, Array, Array, Array]:
    """Outline of board and crowns cut along the neck: z, y, light and the board's height, near to far."""
    z = np.arange(z_mm_of_frets()[0] - 9.0, z_mm_of_frets()[-1] + 9.0, 0.004)
    along = (z - z_mm_of_frets()[0]) / (z_mm_of_frets()[-1] - z_mm_of_frets()[0])
    board = -_CROWN_MM - 4.0 * bow_mm * along * (1.0 - along)
    y = board.copy()
    light = 0.07 + grain * np.sin(z / 40.0)
    # Where a crown mirrors the lamp, as a share of its half width; the normal turns towards the near side far away.
    lamp = np.sin(np.arcsin(-0.45) - turn_rad * _even(z_mm_of_frets()))
    for at, error, mirrored in zip(z_mm_of_frets(), error_mm, lamp, strict=True):
        on = np.abs(z - at) < _HALF_CROWN_MM
        across = (z[on] - at) / _HALF_CROWN_MM
        arch = np.sqrt(1.0 - across**2)
        y[on] += (_CROWN_MM + error) * arch
        light[on] = 0.16 + shine * np.exp(-0.5 * ((across - mirrored) / 0.25) ** 2)
    return z, y, light, board


def _seen(
    error_mm: Array,
    bow_mm: float,
    shine: float,
    turn_rad: float,
    grain: float,
    rows: int,
    inlays: tuple[int, ...],
) -> tuple[Array, Array]:
    """Sharp light of every part of a row; and the row of each fret's silhouette."""
    first = _first_row()
    z, y, light, board = _side_view(error_mm, bow_mm, shine, turn_rad, grain)
    for fret in inlays:  # a dot between this fret and the one before it
        middle = 0.5 * (z_mm_of_frets()[fret] + z_mm_of_frets()[fret - 1])
        light[(np.abs(z - middle) < 3.0) & (y == board)] = 0.45
    row = _row_of(z, y, first)
    visible = row > np.maximum.accumulate(np.r_[-np.inf, row[:-1]])
    part = (np.arange((rows + 80) * _SUB) + 0.5) / _SUB - 40.0 - 0.5
    sharp = np.interp(part, row[visible], light[visible])
    top = np.array([row[np.abs(z - at) < _HALF_CROWN_MM].max() for at in z_mm_of_frets()])
    return sharp, top


def _blurred(sharp: Array, depth_m: Array) -> Array:
    """Every row through its own disc (by the area of a disc's slices) and the lens' Gaussian."""
    reach = np.arange(-30 * _SUB, 30 * _SUB + 1) / _SUB
    gauss = np.exp(-0.5 * (np.arange(-5 * _SUB, 5 * _SUB + 1) / _SUB / SIGMA_PX) ** 2)
    smooth = np.convolve(sharp, gauss / gauss.sum(), mode="same")
    light = np.empty(len(depth_m))
    for row, depth in enumerate(depth_m):
        disc = max(APERTURE_PX_M * abs(1.0 / depth - 1.0 / FOCUS_M), 1e-3)
        edge = np.clip(np.r_[reach - 0.5 / _SUB, reach[-1] + 0.5 / _SUB] / disc, -1.0, 1.0)
        area = (edge * np.sqrt(1.0 - edge**2) + np.arcsin(edge)) / np.pi
        centre = int((row + 40.5) * _SUB)
        # Sub-rows lie half a part beside the row's middle: the mean of the two cells that touch it.
        first, stop = centre - 30 * _SUB, centre + 30 * _SUB + 1
        light[row] = np.diff(area) @ (0.5 * (smooth[first:stop] + smooth[first - 1 : stop - 1]))
    return light


def draw(
    seed: int, *, bow_mm: float = 0.2, high: tuple[int, float] | None = None, inlays: tuple[int, ...] = (),
    shine: float = 0.5, uneven: float = 0.4, turn_rad: float = 0.0, grain: float = 0.015,
) -> Lanes:
    """A bowed board whose frets are uneven by 0.015 mm; `high`: one fret raised; `inlays`: in two lanes.

    shine : of the lamp mirrored in the crowns, `uneven` the share by which it grows from the first lane on.
    turn_rad : how far the mirroring normal turns from the middle of the neck to either end.
    grain : of the board, from its mean to its brightest.
    """
    rng = np.random.default_rng(seed)
    z, first = z_mm_of_frets(), _first_row()
    rows = int(_row_of(z[-1:], 0.0, first)[0]) + 12
    depth_m = _FOCAL_PX * _EYE_MM / -(np.arange(rows) + first) / 1000.0
    top = _row_of(z, 0.0, first)
    distance = z + BEFORE_MM
    tangent = _EYE_MM / distance
    geometry = LaneGeometry(
        top, _FOCAL_PX / distance, depth_m, 1.0, _even(tangent), _even(z), tangent=tangent
    )
    errors = rng.normal(0.0, 0.015, (LANES, FRETS))
    if high is not None:
        errors[:, high[0]] += high[1]
    signals, truth = [], []
    for lane in range(LANES):
        strength = shine * (1.0 + uneven * (lane / LANES - 0.5))
        sharp, seen_top = _seen(errors[lane], bow_mm, strength, turn_rad, grain, rows, inlays if lane in DOTTED else ())
        signals.append(_blurred(sharp, depth_m) + rng.normal(0.0, NOISE, rows))
        truth.append((seen_top - top) / geometry.rows_per_mm)
    return Lanes(np.clip(np.array(signals), 0.0, 1.0), geometry, np.array(truth))


def _even(values: Array) -> Array:
    return np.asarray((values - values.mean()) * 2.0 / np.ptp(values))


def usual_start() -> Blur:
    """A start that is wrong by a fifth in the aperture and a row in the disc."""
    return Blur(float(np.log(1.2 * APERTURE_PX_M)), 1.0 / FOCUS_M + 0.03, float(np.log(1.1)), 0.2)
