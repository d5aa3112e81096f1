"""The whole instrument around the fingerboard: neck wood, nut, headstock, strings, body and bridge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_images.scenes.fret_crowns import Fretting, fret_surfaces
from sample_images.scenes.materials import (
    BLACK_PLASTIC,
    BONE,
    CHROME,
    NICKEL_SILVER,
    STEEL,
    Material,
    board_material,
)
from sample_images.scenes.neck_shape import Array, NeckShape
from sample_images.scenes.strings import StringSet, string_ends_mm, string_surface
from sample_images.scenes.surfaces import Surface, box, disc_post, grid_surface, joined, mirrored, slab
from sample_images.scenes.wood import Colour, mottled, wood_grain

NECK_DEPTH_MM = 15.0
HEAD_TOP_MM = -5.5
BODY_TOP_MM = -12.0
BODY_DEPTH_MM = 43.0


@dataclass(frozen=True, slots=True)
class Part:
    """One surface of one material."""

    name: str
    surface: Surface
    material: Material


@dataclass(frozen=True, slots=True)
class Guitar:
    """A bolt-on guitar or bass; a left-handed one is built as the mirror image."""

    neck: NeckShape
    fretting: Fretting
    strings: StringSet
    wood: str
    body_colour: Colour
    plate_colour: Colour
    left_handed: bool = False

    def parts(self, rng: np.random.Generator) -> list[Part]:
        """Every surface in the world's frame (mirrored for a left-handed instrument)."""
        neck_wood = Material(wood_grain(rng, (1024, 256), (0.60, 0.44, 0.26), (0.47, 0.32, 0.17), 0.05), 0.4,
                             clearcoat=0.3)
        body = Material(mottled(rng, self.body_colour, 0.02), 0.35, clearcoat=0.9)
        frets = [s for k in range(1, self.neck.frets + 1) for s in fret_surfaces(self.neck, self.fretting, k)]
        posts = _post_places(len(self.strings.diameter_mm))
        indices = range(len(posts))
        parts = [
            Part("board", _board(self.neck), board_material(rng, self.neck, self.wood)),
            Part("frets", joined(frets), NICKEL_SILVER),
            Part("neck", joined([_neck_back(self.neck), _headstock(self.neck)]), neck_wood),
            Part("nut", _nut(self.neck, self.fretting, self.strings), BONE),
            Part("posts", joined([s for p in posts for s in _post(p)]), CHROME),
            Part("strings", joined([string_surface(self.neck, self.strings, i, posts[i]) for i in indices]), STEEL),
            Part("body", _body(self.neck), body),
            Part("plate", _plate(self.neck), Material(self.plate_colour, 0.3, clearcoat=0.3)),
            Part("pickups", _pickups(self.neck), BLACK_PLASTIC),
            Part("bridge", _bridge(self.neck, self.strings), CHROME),
        ]
        if not self.left_handed:
            return parts
        return [Part(p.name, mirrored(p.surface), p.material) for p in parts]


def _board(neck: NeckShape) -> Surface:
    """Top with rounded long edges, the sides, and the far end."""
    z = np.linspace(-0.2, neck.board_end_z_mm, 320)[:, None]
    half = neck.width_mm(z) / 2.0
    edge = neck.edge_radius_mm
    angle = np.linspace(0.0, np.pi / 2.0, 9)
    inner = np.linspace(-1.0, 1.0, 81)[1:-1]
    shape = (len(z), 1)
    x_top = inner[None, :] * (half - edge)
    y_top = neck.crown_of_board_mm(x_top, z)
    y_edge = neck.crown_of_board_mm(half - edge, z)
    x_round = half - edge * (1.0 - np.sin(angle))[None, :]
    y_round = y_edge - edge * (1.0 - np.cos(angle))[None, :]
    bottom = np.full(shape, -neck.board_thickness_mm)
    x = np.concatenate([-half, -x_round[:, ::-1], x_top, x_round, half], axis=1)
    y = np.concatenate([bottom, y_round[:, ::-1], y_top, y_round, bottom], axis=1)
    uv = np.stack([0.5 + x / (2.0 * half), np.broadcast_to(z / neck.board_end_z_mm, x.shape)], axis=-1)
    top = grid_surface(neck.place(x, y, np.broadcast_to(z, x.shape)), uv)
    end_x, end_y = x[-1], y[-1]
    end_points = neck.place(np.stack([end_x, end_x]), np.stack([end_y, np.full_like(end_y, -neck.board_thickness_mm)]),
                            np.full((2, len(end_x)), neck.board_end_z_mm))
    return joined([top, grid_surface(end_points, 0.02 * np.ones((2, len(end_x), 2)), flip=True)])


def _neck_back(neck: NeckShape) -> Surface:
    """The round back under the board."""
    z = np.linspace(-6.0, neck.board_end_z_mm - 3.0, 120)[:, None]
    angle = np.linspace(0.0, np.pi, 41)[None, :]
    half = neck.width_mm(z) / 2.0
    depth = NECK_DEPTH_MM * (1.0 + 0.15 * z / neck.board_end_z_mm)
    x = half * np.sign(np.cos(angle)) * np.abs(np.cos(angle)) ** 0.7
    y = -neck.board_thickness_mm - depth * np.sin(angle) ** 0.8
    uv = np.stack([np.broadcast_to(angle / np.pi, x.shape), np.broadcast_to(z / 600.0, x.shape)], axis=-1)
    return grid_surface(neck.place(x, y, np.broadcast_to(z, x.shape)), uv)


def _headstock(neck: NeckShape) -> Surface:
    """A flat head below the board's plane."""
    half = neck.nut_width_mm / 2.0
    right = [(half, -4.6), (half + 3.0, -28.0), (half + 11.0, -58.0), (half + 12.0, -100.0), (half + 7.0, -150.0),
             (half - 3.0, -178.0), (6.0, -190.0)]
    left = [(-half - 2.0, -178.0), (-half - 9.0, -150.0), (-half - 9.0, -90.0), (-half - 6.0, -50.0),
            (-half - 1.0, -22.0), (-half, -4.6)]
    return slab(_rounded(np.array(right + left)), HEAD_TOP_MM - 14.0, HEAD_TOP_MM, 1.2)


def _rounded(corners: Array) -> Array:
    """Outline with its corners cut twice (Chaikin's rule), the first and last corner included."""
    outline = corners
    for _ in range(2):
        following = np.roll(outline, -1, axis=0)
        outline = np.stack([0.8 * outline + 0.2 * following, 0.2 * outline + 0.8 * following], axis=1).reshape(-1, 2)
    return outline


def _post_places(strings: int) -> list[Array]:
    """Where each string, bass to treble, meets its post: one row on the head's bass side."""
    spacing = 25.0 if strings == 6 else 38.0
    return [np.array([-21.0 + 30.0 * i / (strings - 1), HEAD_TOP_MM + 4.0, -38.0 - spacing * i])
            for i in range(strings)]


def _post(place: Array) -> list[Surface]:
    """Post with its washer."""
    at = (float(place[0]), float(place[2]))
    return [disc_post(at, HEAD_TOP_MM - 0.5, HEAD_TOP_MM + 12.0, 3.2),
            disc_post(at, HEAD_TOP_MM - 0.5, HEAD_TOP_MM + 2.0, 6.5)]


def _nut(neck: NeckShape, fretting: Fretting, strings: StringSet) -> Surface:
    """A bar whose top follows the board's radius; the strings lie half sunk in it."""
    half = neck.nut_width_mm / 2.0 - 0.2
    x = np.linspace(-half, half, 61)[None, :]
    section_z = np.array([0.0, 0.0, -0.15, -0.5, -4.2, -4.6, -4.6])[:, None]
    section_up = np.array([-neck.board_thickness_mm, -0.4, -0.1, 0.0, -0.5, -0.8, -9.0])[:, None]
    top = neck.crown_of_board_mm(x, np.float64(0.0)) + strings.height_at_nut_mm + 0.3 * max(strings.diameter_mm)
    y = np.where(section_up > -2.0, top + section_up, section_up)
    shape = (len(section_z), x.shape[1])
    points = neck.place(np.broadcast_to(x, shape), np.broadcast_to(y, shape), np.broadcast_to(section_z, shape))
    ends = []
    for column, flip in ((0, False), (-1, True)):
        edge = points[:, column]
        foot = edge.copy()
        foot[:, 1] = -9.0
        ends.append(grid_surface(np.stack([edge, foot]), flip=flip))
    return joined([grid_surface(points, flip=True), *ends])


def _body(neck: NeckShape) -> Surface:
    """A double-cutaway slab of our own outline, around a middle point on the strings' line."""
    joint = 0.62 * neck.scale_length_mm
    tail = neck.scale_length_mm + 110.0
    middle, half_length = (joint + tail) / 2.0, (tail - joint) / 2.0
    theta = np.linspace(0.0, 2.0 * np.pi, 241)[:-1]  # 0 points to the tail
    around = np.abs(np.angle(np.exp(1j * (theta - np.pi))))  # angle from the neck's direction
    radius = half_length * (0.93 + 0.07 * np.cos(theta) - 0.12 * np.cos(2.0 * theta - 0.25))
    radius += 0.34 * half_length * np.exp(-0.5 * ((around - 0.62) / 0.20) ** 2)
    outline = np.stack([radius * np.sin(theta) * 0.86, middle + radius * np.cos(theta)], axis=1)
    return slab(outline, BODY_TOP_MM - BODY_DEPTH_MM, BODY_TOP_MM, 7.0)


def _plate(neck: NeckShape) -> Surface:
    """A thin plate under the strings, off the middle."""
    start, end = neck.board_end_z_mm + 4.0, neck.scale_length_mm - 34.0
    theta = np.linspace(0.0, 2.0 * np.pi, 121)[:-1]
    half = (end - start) / 2.0
    outline = np.stack([8.0 + 62.0 * np.sin(theta) * (1.0 + 0.2 * np.cos(theta - 0.6)),
                        (start + end) / 2.0 + half * np.cos(theta)], axis=1)
    return slab(outline, BODY_TOP_MM - 1.0, BODY_TOP_MM + 1.8, 0.8)


def _pickups(neck: NeckShape) -> Surface:
    """Two plain dark bars across."""
    start, end = neck.board_end_z_mm + 22.0, neck.scale_length_mm - 52.0
    return joined([box((0.0, BODY_TOP_MM + 4.5, z), (86.0, 9.0, 22.0), 3.0) for z in (start, end)])


def _bridge(neck: NeckShape, strings: StringSet) -> Surface:
    """Base plate and one saddle a string."""
    z = neck.scale_length_mm
    parts = [box((0.0, BODY_TOP_MM + 1.2, z + 16.0), (84.0, 2.6, 44.0), 1.0)]
    for index, diameter in enumerate(strings.diameter_mm):
        _, end = string_ends_mm(neck, strings, index)
        top = end[1] - diameter / 2.0 + 0.2
        parts.append(box((float(end[0]), (BODY_TOP_MM + top) / 2.0, z + 7.0), (9.0, top - BODY_TOP_MM, 14.0), 1.2))
    return joined(parts)
