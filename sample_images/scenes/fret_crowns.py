"""The frets: crowns with bevelled ends, each with its height error and the dents that strings have worn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_images.scenes.neck_shape import Array, NeckShape, Values
from sample_images.scenes.surfaces import Surface, grid_surface

ACROSS_CROWN = 65
STEP_ALONG_FRET_MM = 0.4
BELOW_BOARD_MM = 0.3


@dataclass(frozen=True, slots=True)
class FretWire:
    """Crown of circular section standing on the board, ends cut at `bevel_deg` from the vertical."""

    crown_width_mm: float = 2.4
    crown_height_mm: float = 1.1
    bevel_deg: float = 32.0
    end_inset_mm: float = 0.15


@dataclass(frozen=True, slots=True)
class Fretting:
    """All frets of a neck: the wire, `height_error_mm` (N,), and dents.

    `dents_mm` is (N, D) depths worn at the D places `dent_places` (D,), given as fractions of the outer strings'
    lines (-1 bass, +1 treble); `dent_width_mm` is the standard deviation of a dent's Gaussian outline.
    """

    wire: FretWire
    height_error_mm: Array
    dents_mm: Array
    dent_places: Array
    dent_width_mm: float = 1.2

    def top_mm(self, neck: NeckShape, fret: int, x: Values, *, as_made: bool = False) -> Array:
        """Height of the top of fret `fret` (1..N) over the straight neck's frame at `x`.

        With `as_made` the height error and the dents are left out: the frets as the smooth neck carries them.
        """
        z = neck.fret_z_mm()[fret - 1]
        top = neck.crown_of_board_mm(x, z) + self.wire.crown_height_mm
        if as_made:
            return top
        return np.asarray(top + self.height_error_mm[fret - 1] - self.dent_mm(neck, fret, x))

    def dent_mm(self, neck: NeckShape, fret: int, x: Values) -> Array:
        """Depth worn into fret `fret` at `x`."""
        z = neck.fret_z_mm()[fret - 1]
        centres = neck.string_line_mm(1.0, z) * self.dent_places
        outline = np.exp(-0.5 * ((np.asarray(x)[..., None] - centres) / self.dent_width_mm) ** 2)
        return np.asarray(outline @ self.dents_mm[fret - 1])


def crown_section(wire: FretWire) -> tuple[Array, Array]:
    """Section of an unworn crown: distance along the neck and height above the board, each (ACROSS_CROWN + 2,)."""
    half, height = wire.crown_width_mm / 2.0, wire.crown_height_mm
    radius = (half**2 + height**2) / (2.0 * height)
    edge_angle = np.arctan2(half, radius - height)
    angle = np.linspace(-edge_angle, edge_angle, ACROSS_CROWN)
    along, up = radius * np.sin(angle), radius * np.cos(angle) - (radius - height)
    return np.r_[-half, along, half], np.r_[-BELOW_BOARD_MM, up, -BELOW_BOARD_MM]


def fret_surfaces(neck: NeckShape, fretting: Fretting, fret: int) -> list[Surface]:
    """Crown and the two bevelled end faces of fret `fret`, fine enough for silhouettes within 0.001 mm."""
    wire = fretting.wire
    z_fret = neck.fret_z_mm()[fret - 1]
    along, up = crown_section(wire)
    half_width = float(neck.width_mm(z_fret)) / 2.0 - wire.end_inset_mm
    reach = half_width - np.clip(up, 0.0, None) * np.tan(np.deg2rad(wire.bevel_deg))
    count = int(np.ceil(2.0 * half_width / STEP_ALONG_FRET_MM)) + 1
    x = np.linspace(-1.0, 1.0, count)[:, None] * reach[None, :]
    # Height errors stretch the crown, wear flattens it: the foot stays on the board.
    stretched = up + fretting.height_error_mm[fret - 1] * np.clip(up, 0.0, None) / wire.crown_height_mm
    full = wire.crown_height_mm + fretting.height_error_mm[fret - 1]
    worn = np.minimum(stretched[None, :], full - fretting.dent_mm(neck, fret, x))
    y = neck.crown_of_board_mm(x, z_fret) + worn
    z = np.broadcast_to(z_fret + along, x.shape)
    crown = grid_surface(neck.place(x, y, z))
    return [crown, _end_face(neck, x[0], y[0], z[0], flip=True), _end_face(neck, x[-1], y[-1], z[-1], flip=False)]


def _end_face(neck: NeckShape, x: Array, y: Array, z: Array, *, flip: bool) -> Surface:
    """The flat face that closes one end, as a strip between the section and its foot."""
    foot_x, foot_y = np.full_like(x, x[0]), np.full_like(y, y[0])
    points = neck.place(np.stack([x, foot_x]), np.stack([y, foot_y]), np.stack([z, z]))
    return grid_surface(points, flip=flip)
