"""The fingerboard of a neck: outline, radius, smooth curve along it, and twist."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Values = Array | float


@dataclass(frozen=True, slots=True)
class NeckCurve:
    """Smooth vertical shape of the board's centre line from fret 1 (s = 0) to the last fret (s = 1).

    `bow_mm` positive is forward bow (the middle lies low); `skew` moves the lowest place towards the nut (positive)
    or the body; `s_curve_mm` positive is low in the half near the nut and high in the other; `rise_mm` lifts the
    last fret, starting smoothly at `rise_from`; `twist_deg` is the roll of the last fret against fret 1, positive
    with the treble side higher.
    """

    bow_mm: float = 0.0
    skew: float = 0.0
    s_curve_mm: float = 0.0
    rise_mm: float = 0.0
    rise_from: float = 0.7
    twist_deg: float = 0.0

    def height_mm(self, s: Values) -> Array:
        """Height of the centre line, any shape of `s`."""
        between = s * (1.0 - s)
        bow = -4.0 * self.bow_mm * between * (1.0 + self.skew * (1.0 - 2.0 * s))
        s_peak = np.sqrt(3.0) / 18.0  # the largest value of s (1 - s) (1 - 2 s)
        s_curve = -self.s_curve_mm * between * (1.0 - 2.0 * s) / s_peak
        ramp = np.clip((s - self.rise_from) / (1.0 - self.rise_from), 0.0, None)
        return np.asarray(bow + s_curve + self.rise_mm * ramp**2)


@dataclass(frozen=True, slots=True)
class NeckShape:
    """A fingerboard with frets at the published rule; widths and radii change linearly along it.

    `string_inset_nut_mm` and `string_inset_12_mm` are the distances of the outer strings' lines from the board's
    edge at the nut and at fret 12. `edge_radius_mm` rounds the board's long edges.
    """

    scale_length_mm: float
    frets: int
    nut_width_mm: float
    width_at_12_mm: float
    radius_nut_mm: float
    radius_end_mm: float
    curve: NeckCurve
    string_inset_nut_mm: float = 3.3
    string_inset_12_mm: float = 3.8
    edge_radius_mm: float = 1.0
    board_thickness_mm: float = 6.0
    overhang_mm: float = 9.0

    def fret_z_mm(self) -> Array:
        """Distance of frets 1..N from the nut, (N,): the rule of twelve equal steps an octave."""
        k = np.arange(1, self.frets + 1)
        return self.scale_length_mm * (1.0 - 2.0 ** (-k / 12.0))

    @property
    def board_end_z_mm(self) -> float:
        """Where the board ends, past the last fret."""
        return float(self.fret_z_mm()[-1]) + self.overhang_mm

    def width_mm(self, z: Values) -> Array:
        """Width of the board at distance `z` from the nut."""
        slope = (self.width_at_12_mm - self.nut_width_mm) / (self.scale_length_mm / 2.0)
        return np.asarray(self.nut_width_mm + slope * z)

    def radius_mm(self, z: Values) -> Array:
        """Radius of the board's cross-section at `z`; a compound radius changes from nut to board end."""
        return np.asarray(self.radius_nut_mm + (self.radius_end_mm - self.radius_nut_mm) * z / self.board_end_z_mm)

    def string_line_mm(self, side: float, z: Values) -> Array:
        """X of the outer string's line at `z`; `side` is -1 for bass, +1 for treble, fractions between."""
        at_nut = self.nut_width_mm / 2.0 - self.string_inset_nut_mm
        at_12 = self.width_at_12_mm / 2.0 - self.string_inset_12_mm
        return np.asarray(side * (at_nut + (at_12 - at_nut) * z / (self.scale_length_mm / 2.0)))

    def crown_of_board_mm(self, x: Values, z: Values) -> Array:
        """Height of the unbent board at `x` from its centre line: a circular arc, 0 in the middle."""
        radius = self.radius_mm(z)
        return np.asarray(np.sqrt(radius**2 - x**2) - radius)

    def place(self, x: Values, y: Values, z: Values) -> Array:
        """Points of the straight neck moved by its curve and twist, (..., 3); the section turns about its middle."""
        fret_z = self.fret_z_mm()
        s = (z - fret_z[0]) / (fret_z[-1] - fret_z[0])
        roll = np.deg2rad(self.curve.twist_deg) * s
        moved_x = x * np.cos(roll) - y * np.sin(roll)
        moved_y = x * np.sin(roll) + y * np.cos(roll) + self.curve.height_mm(s)
        return np.stack(np.broadcast_arrays(moved_x, moved_y, z), axis=-1)
