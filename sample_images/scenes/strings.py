"""The strings: straight from nut to bridge, plain or wound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_images.scenes.neck_shape import Array, NeckShape
from sample_images.scenes.surfaces import Surface, joined, tube


@dataclass(frozen=True, slots=True)
class StringSet:
    """Strings from bass to treble: diameters, and the wrap wire's diameter of the wound ones (0 = plain).

    `height_at_nut_mm` is the clearance under the strings over the straight board's middle at the nut (above the
    crown height), `height_at_bridge_mm` the height of the string's underside over the board's plane at the bridge.
    """

    diameter_mm: tuple[float, ...]
    wrap_mm: tuple[float, ...]
    height_at_nut_mm: float = 1.6
    height_at_bridge_mm: float = 4.9


GUITAR_STRINGS = StringSet((1.17, 0.91, 0.66, 0.43, 0.33, 0.254), (0.28, 0.23, 0.19, 0.0, 0.0, 0.0))
BASS_STRINGS = StringSet((2.67, 2.16, 1.65, 1.14), (0.55, 0.48, 0.40, 0.32), 2.0, 5.6)


def string_ends_mm(neck: NeckShape, strings: StringSet, index: int) -> tuple[Array, Array]:
    """Centre of string `index` (0 = bass) at the nut and at the bridge, each (3,).

    The outer strings follow `NeckShape.string_line_mm`; the others lie evenly between. Heights follow the board's
    arc, so that every string stands about equally high above its frets.
    """
    side = -1.0 + 2.0 * index / (len(strings.diameter_mm) - 1)
    ends = []
    for z, underside in ((0.0, strings.height_at_nut_mm), (neck.scale_length_mm, strings.height_at_bridge_mm)):
        x = float(neck.string_line_mm(side, np.float64(z)))
        radius = float(neck.radius_mm(np.float64(min(z, neck.board_end_z_mm))))
        arc = np.sqrt(radius**2 - x**2) - radius
        ends.append(np.array([x, arc + underside + strings.diameter_mm[index] / 2.0, z]))
    return ends[0], ends[1]


def string_surface(neck: NeckShape, strings: StringSet, index: int, post: Array) -> Surface:
    """String `index` from its post (3,) over the nut to the bridge; a wound one shows its helix past the nut."""
    nut, bridge = string_ends_mm(neck, strings, index)
    radius = strings.diameter_mm[index] / 2.0
    wrap = strings.wrap_mm[index]
    behind = tube(post, nut, np.array(radius), np.array([0.0, 1.0]))
    if wrap == 0.0:
        return joined([tube(nut, bridge, np.array(radius), np.linspace(0.0, 1.0, 3)), behind])
    length = float(np.linalg.norm(bridge - nut))
    around = 16
    along = np.arange(0.0, length, wrap / 5.0) / length
    turn = np.linspace(0.0, np.pi, around + 1)
    groove = np.abs(np.sin(np.pi * along[:, None] * length / wrap + turn[None, :]))
    bulge = wrap / 2.0 * (1.0 - np.sqrt(np.clip(1.0 - (1.0 - groove) ** 2, 0.0, 1.0)))
    return joined([tube(nut, bridge, radius - 0.8 * bulge, along, around), behind])
