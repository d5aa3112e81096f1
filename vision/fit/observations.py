"""What one photograph tells the joint fit: points on fret tops, fret ends and strings, each with its uncertainty.

Errors of the tracing that are common to many points (a lane, a side of fret ends, a string) are unknowns of the fit;
here stand their standard uncertainties.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CAMERA_PARAMETERS, CameraModel

Array = NDArray[np.float64]
Index = NDArray[np.int64]

SIDE_UNKNOWNS = 6
"""Per photograph, for fret ends and for board edges: constant of either side, drift of either side, bend of either
side (mm)."""
STRING_UNKNOWNS = 4
"""Order: X at fret 1, X at the last fret, height there and there above the chord of the fret tops (mm)."""


@dataclass(frozen=True, eq=False)
class FretData:
    """Points on fret tops: fret, lane (n,) indices, lateral (n,), point and unit normal (n, 2) px, u (n,) px.

    lift_mm (n,): how far above the crown's top the seen silhouette lies. direction_mm (3,): what an error of
    the tracing moves (up, or along the neck for a front view). offset_u_mm, drift_u_mm, lane_bend_u_mm: its standard
    uncertainty as a constant of a lane, as a drift of a lane from the middle to either end and as its bend; tilt_u_mm,
    bend_u_mm: as a drift and a bend common to all lanes of the photograph.
    """

    fret: Index
    lane: Index
    lateral: Array
    point_px: Array
    normal: Array
    u_px: Array
    lift_mm: Array
    direction_mm: Array
    offset_u_mm: float
    drift_u_mm: float
    lane_bend_u_mm: float
    tilt_u_mm: float
    bend_u_mm: float
    lanes: int

    @property
    def unknowns(self) -> int:
        return 3 * self.lanes + 2

    @property
    def unknowns_u_mm(self) -> Array:
        own = np.repeat([self.offset_u_mm, self.drift_u_mm, self.lane_bend_u_mm], self.lanes)
        return np.concatenate([own, [self.tilt_u_mm, self.bend_u_mm]])


@dataclass(frozen=True, eq=False)
class EndData:
    """Ends of frets: fret, side (n,) (0 or 1), point (n, 2), unit tangent along the fret (n, 2), u (n,) px.

    offset_u_mm, drift_u_mm, bend_u_mm: errors common to a side: constant, from the middle to either end of the neck,
    and of the middle against both ends.
    """

    fret: Index
    side: Index
    point_px: Array
    tangent: Array
    u_px: Array
    offset_u_mm: float
    drift_u_mm: float
    bend_u_mm: float


@dataclass(frozen=True, eq=False)
class EdgeData:
    """Points of the board's edges: gap, side (n,), share (n,) of the way from fret index gap to the next, point and
    unit normal (n, 2) px, u (n,) px.

    offset_u_mm, and drift_u_mm, bend_u_mm (2,): errors common to a side, as in EndData.
    """

    gap: Index
    share: Array
    side: Index
    point_px: Array
    normal: Array
    u_px: Array
    offset_u_mm: float
    drift_u_mm: Array
    bend_u_mm: Array


@dataclass(frozen=True, eq=False)
class StringData:
    """Points on string lines: string (n,) index, point, unit normal (n, 2), u (n,) px."""

    string: Index
    point_px: Array
    normal: Array
    u_px: Array


@dataclass(frozen=True, eq=False)
class PhotoData:
    """One photograph's measured points, its camera so far and the prior of its camera (10,)."""

    camera: CameraModel
    camera_prior: CameraModel
    camera_u: Array
    frets: FretData
    ends: EndData
    edges: EdgeData
    strings: StringData
    string_offset_u_mm: Array  # (S,) lateral error of a string's apparent centre, constant along it

    @property
    def unknowns(self) -> int:
        return CAMERA_PARAMETERS + self.frets.unknowns + 2 * SIDE_UNKNOWNS + len(self.string_offset_u_mm)
