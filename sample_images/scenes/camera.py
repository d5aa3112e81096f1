"""The camera: where it stands, what its lens does to straight lines, and the three kinds of view."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_images.scenes.neck_shape import Array, NeckShape

FULL_FRAME_DIAGONAL_MM = 43.2666


@dataclass(frozen=True, slots=True)
class Camera:
    """A phone's camera in the world's frame.

    `right`, `down`, `forward` (3,) are unit axes of the picture. Points project to
    `centre_px + focal_px * d * (1 + k1 |d|^2 + k2 |d|^4)` with d = (right, down) / forward of the point: the radial
    terms of Brown's model (D. C. Brown, Close-range camera calibration, 1971), pixel centres at integers.
    `aperture_mm` is the diameter of the lens opening, `focus_mm` the distance of the sharp plane along `forward`.
    """

    position_mm: Array
    target_mm: Array
    right: Array
    down: Array
    forward: Array
    focal_px: float
    centre_px: tuple[float, float]
    k1: float
    k2: float
    width_px: int
    height_px: int
    aperture_mm: float
    focus_mm: float

    def ideal(self, points: Array) -> Array:
        """Directions d of world points (..., 3), undistorted, (..., 2)."""
        seen = points - self.position_mm
        depth = seen @ self.forward
        return np.stack([seen @ self.right / depth, seen @ self.down / depth], axis=-1)

    def project(self, points: Array) -> Array:
        """Picture places of world points (..., 3), px, (..., 2)."""
        d = self.ideal(points)
        r2 = np.sum(d**2, axis=-1, keepdims=True)
        return np.asarray(np.array(self.centre_px) + self.focal_px * d * (1.0 + self.k1 * r2 + self.k2 * r2**2))

    def undistort(self, places_px: Array) -> Array:
        """Directions d of picture places (..., 2): the inverse of the lens, by Newton's method on the radius."""
        seen = (places_px - np.array(self.centre_px)) / self.focal_px
        radius = np.linalg.norm(seen, axis=-1, keepdims=True)
        straight = radius.copy()
        for _ in range(5):
            r2 = straight**2
            value = straight * (1.0 + self.k1 * r2 + self.k2 * r2**2) - radius
            straight = straight - value / (1.0 + 3.0 * self.k1 * r2 + 5.0 * self.k2 * r2**2)
        return np.asarray(seen * np.where(radius > 0, straight / np.where(radius > 0, radius, 1.0), 1.0))


@dataclass(frozen=True, slots=True)
class Phone:
    """What all photographs of one neck share: picture size and, per lens, opening and distortion.

    `lens_35mm` is the focal length equivalent to full frame by the picture's diagonal; `f_number` and
    `real_focal_mm` give the opening.
    """

    width_px: int = 3024
    height_px: int = 4032

    def focal_px(self, lens_35mm: float) -> float:
        """Focal length in pixels."""
        return lens_35mm / FULL_FRAME_DIAGONAL_MM * float(np.hypot(self.width_px, self.height_px))


@dataclass(frozen=True, slots=True)
class Lens:
    """One lens of a phone."""

    equivalent_mm: float
    real_focal_mm: float
    f_number: float
    k1: float
    k2: float = 0.0


def look(phone: Phone, lens: Lens, position: Array, target: Array, tilt_deg: float,
         centre_shift_px: tuple[float, float], focus_point: Array) -> Camera:
    """Camera at `position` looking at `target`, turned about its axis by `tilt_deg`, sharp at `focus_point`."""
    forward = (target - position) / np.linalg.norm(target - position)
    level = np.cross(forward, [0.0, 1.0, 0.0])
    level /= np.linalg.norm(level)
    upright_down = np.cross(forward, level)
    tilt = np.deg2rad(tilt_deg)
    right = level * np.cos(tilt) + upright_down * np.sin(tilt)
    centre = ((phone.width_px - 1) / 2.0 + centre_shift_px[0], (phone.height_px - 1) / 2.0 + centre_shift_px[1])
    return Camera(position, target, right, np.cross(forward, right), forward, phone.focal_px(lens.equivalent_mm),
                  centre, lens.k1, lens.k2, phone.width_px, phone.height_px,
                  lens.real_focal_mm / lens.f_number, float((focus_point - position) @ forward))


@dataclass(frozen=True, slots=True)
class LowView:
    """Down the neck along the string of `side` (-1 bass, +1 treble), from the headstock or the body end.

    `angle_deg` is the elevation of the lens over the board's plane seen from the middle of the frets, `distance_mm`
    the way along the neck from the lens to the nearest end of the frets; `outward_mm` is how far the lens stands
    outside the string's place at that end, `off_centre` moves the neck in the picture (fractions of its width and
    height).
    """

    side: float
    from_head: bool
    angle_deg: float
    distance_mm: float
    outward_mm: float = 0.0
    off_centre: tuple[float, float] = (0.0, 0.0)
    tilt_deg: float = 0.0
    focus_fraction: float = 0.4


@dataclass(frozen=True, slots=True)
class FrontView:
    """From above the board: `angle_deg` over the board's plane (90 is square on), the whole fretted part in view."""

    angle_deg: float
    distance_mm: float
    from_head: bool
    aside_mm: float = 0.0
    off_centre: tuple[float, float] = (0.0, 0.0)
    tilt_deg: float = 0.0


def place_low(view: LowView, neck: NeckShape, phone: Phone, lens: Lens, shift_px: tuple[float, float]) -> Camera:
    """Camera of a low view."""
    fret_z = neck.fret_z_mm()
    middle = fret_z[-1] / 2.0
    z = -view.distance_mm if view.from_head else fret_z[-1] + view.distance_mm
    y = abs(z - middle) * np.tan(np.deg2rad(view.angle_deg))
    near_end = 0.0 if view.from_head else fret_z[-1]
    x = float(neck.string_line_mm(view.side, np.float64(near_end))) + np.sign(view.side) * view.outward_mm
    position = np.array([x, y, z])
    focus = np.array([0.0, 0.0, fret_z[-1] * (view.focus_fraction if view.from_head else 1.0 - view.focus_fraction)])
    return _off_centre(view.off_centre, view.tilt_deg, phone, lens, position, np.array([0.0, 0.0, middle]), shift_px,
                       focus)


def place_front(view: FrontView, neck: NeckShape, phone: Phone, lens: Lens, shift_px: tuple[float, float]) -> Camera:
    """Camera of a front view."""
    middle = neck.fret_z_mm()[-1] / 2.0
    away = view.distance_mm * np.cos(np.deg2rad(view.angle_deg))
    position = np.array([view.aside_mm, view.distance_mm * np.sin(np.deg2rad(view.angle_deg)),
                         middle + (-away if view.from_head else away)])
    target = np.array([0.0, 0.0, middle])
    return _off_centre(view.off_centre, view.tilt_deg, phone, lens, position, target, shift_px, target)


def _off_centre(off_centre: tuple[float, float], tilt_deg: float, phone: Phone, lens: Lens, position: Array,
                target: Array, shift_px: tuple[float, float], focus: Array) -> Camera:
    """Aim beside the target, so that it appears `off_centre` of the picture's middle."""
    straight = look(phone, lens, position, target, tilt_deg, shift_px, focus)
    distance = float(np.linalg.norm(target - position))
    aside = -off_centre[0] * phone.width_px / straight.focal_px * distance
    below = -off_centre[1] * phone.height_px / straight.focal_px * distance
    aimed = target + aside * straight.right + below * straight.down
    return look(phone, lens, position, aimed, tilt_deg, shift_px, focus)
