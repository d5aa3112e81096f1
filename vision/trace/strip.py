"""The neck straightened: one strip of linear light per photograph, rows along the neck, columns across it.

Row r of the strip follows the surface through the fret tops of the current model at one distance from the nut,
near end of the neck first; columns are equal steps of the lateral fraction (-1 bass-side end, +1 treble-side
end of the frets). Whatever stands above or below that surface appears displaced along the rows: 1 mm of height
is `rows_per_mm` rows. A strip is the only place where pixels are resampled.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.fit.camera import CameraModel, project, view_angle_deg
from vision.fit.neck_model import NeckModel, fret_points, middle_of, surface_points, width_mm

Array = NDArray[np.float64]

FRONT_FROM_DEG = 22.0
"""Above this elevation a photograph counts as taken from the front."""

LUMINANCE = (0.2126, 0.7152, 0.0722)  # IEC 61966-2-1 (sRGB) primaries
_RED, _BLUE = (0.8, 0.2, 0.0), (0.0, 0.25, 0.75)
_WITHOUT_RED = (0.0, 0.5, 0.5)  # where wood is dark, in front of crowns as well as mirrored by them
_CLEARER = 1.5
_SIDE_REACH = 1.18
_ROW_PX, _COLUMNS = 0.9, 224  # of a strip


@dataclass(frozen=True, eq=False)
class Strip:
    """light (rows, columns) float32; z_mm, depth_m (rows,); lateral (columns,).

    order : (N,) fret index of the j-th fret from near to far.  top_row, rows_per_mm : (N,), in that order, at
    the neck's middle.  direction_mm : what one unit of shift means, (3,) neck frame: up for a view along the
    strings, along the neck for the front.  front : True for the latter.
    """

    light: NDArray[np.float32]
    z_mm: Array
    depth_m: Array
    lateral: Array
    order: NDArray[np.int64]
    top_row: Array
    rows_per_mm: Array
    px_per_row: float
    direction_mm: Array
    front: bool
    columns_per_px: Array  # (rows,) strip columns per image pixel across the neck

    @property
    def forward(self) -> float:
        """1 where direction_mm leads from near to far, -1 where it leads back."""
        return 1.0 if not self.front or self.z_mm[-1] > self.z_mm[0] else -1.0

    def perspective_share(self, rows: NDArray[np.int64], near_row: int, far_row: int) -> Array:
        """Share 0 (near_row) to 1 (far_row) of a line that is straight in the picture, in lateral fraction.

        Along an image line the lateral fraction changes as 1 / (width in px): a column is narrower far away.
        """
        # In the picture x = x0 + s t; lateral = (x - middle(t)) / half-width(t), t the picture's own length.
        weight = self.columns_per_px
        length = np.arange(len(weight), dtype=np.float64)
        share: Array = (length[rows] - near_row) / (far_row - near_row) * weight[rows] / weight[far_row]
        return share


def linear_light(rgb: NDArray[np.uint8], mix: tuple[float, float, float] = LUMINANCE) -> NDArray[np.float32]:
    """Weighted mean of the channels in linear light, 0 to 1, of sRGB pixels (H, W, 3); IEC 61966-2-1."""
    code = np.arange(256, dtype=np.float32) / 255.0
    table = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4).astype(np.float32)
    light = table[rgb[..., 0]] * mix[0]
    light += table[rgb[..., 1]] * mix[1]
    light += table[rgb[..., 2]] * mix[2]
    return np.asarray(light, dtype=np.float32)


@dataclass(frozen=True, eq=False)
class LightCrop:
    """The part of a photograph around the neck in linear light; origin_px is (x, y) of its first pixel."""

    light: NDArray[np.float32]
    origin_px: Array

    def sample(self, points_px: Array) -> NDArray[np.float32]:
        """Cubic interpolation at image points (rows, columns, 2) of the full picture."""
        place = (points_px - self.origin_px).astype(np.float32)
        sampled = cv2.remap(
            self.light, place[..., 0], place[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
        )
        return np.asarray(sampled, dtype=np.float32)


@dataclass(frozen=True, eq=False)
class NeckLight:
    """The same part of a photograph in two lights: in which frets stand out best, and in which wood is dark.

    Both are one where a colour stands out best, and from the front, where nobody asks for the second.
    """

    clearest: LightCrop
    wood_dark: LightCrop


def sample_patches(crop: LightCrop, image_px: Array, basis: Array, s_mm: Array, v_mm: Array) -> Array:
    """Light (N, rows, columns) around N image points at (s, v) in mm; basis (N, 2, 2): px per mm of s and v."""
    grid = np.stack(np.broadcast_arrays(s_mm[None, :], v_mm[:, None]), axis=-1)
    points = image_px[:, None, None, :] + np.einsum("nij,vsj->nvsi", basis, grid)
    light = crop.sample(points.reshape(len(image_px), -1, 2)).astype(np.float64)
    return light.reshape(len(image_px), len(v_mm), len(s_mm))


def crop_light(
    rgb: NDArray[np.uint8],
    around_px: Array,
    margin: float = 0.25,
    mix: tuple[float, float, float] = LUMINANCE,
) -> LightCrop:
    """Light of the box around image points (n, 2), widened by `margin` of its shorter side; mix as in linear_light."""
    low, high = around_px.min(axis=0), around_px.max(axis=0)
    pad = max(40.0, margin * float(np.min(high - low)))
    height, width = rgb.shape[:2]
    x0, y0 = np.maximum(np.floor(low - pad), 0).astype(int)
    x1, y1 = np.minimum(np.ceil(high + pad), [width - 1, height - 1]).astype(int)
    return LightCrop(linear_light(rgb[y0 : y1 + 1, x0 : x1 + 1], mix), np.array([x0, y0], dtype=np.float64))


def neck_light(
    rgb: NDArray[np.uint8], around_px: Array, camera: CameraModel, model: NeckModel, theta: Array
) -> NeckLight:
    """Both lights of a neck: the clearest is brightness, or red or blue where metal and wood are equally bright.

    Judged by the change of light along the neck about the frets over the noise between neighbouring columns. Colours
    are stored more coarsely than brightness, so they must be much clearer to be preferred.
    """
    crops = [crop_light(rgb, around_px, mix=mix) for mix in (LUMINANCE, _RED, _BLUE)]
    clear = [_clearness(strip) for strip in make_strips(crops, camera, model, theta)]
    best = int(np.argmax(np.array(clear) / [1.0, _CLEARER, _CLEARER]))
    one_light = best > 0 or is_front(camera, model)
    return NeckLight(crops[best], crops[best] if one_light else crop_light(rgb, around_px, mix=_WITHOUT_RED))


def _clearness(strip: "Strip") -> float:
    inner = strip.light[:, np.abs(strip.lateral) < 0.9]
    along = np.median(inner, axis=1)
    noise = float(np.median(np.abs(np.diff(inner, axis=1))))
    reach = np.abs(strip.rows_per_mm)
    first = np.maximum(strip.top_row - 4.0 * reach, 0).astype(int)
    last = np.maximum(strip.top_row + 3.0 * reach, 0).astype(int)
    spread = [float(np.std(along[a : b + 1])) for a, b in zip(first, last, strict=True) if b > a]
    return float(np.median(spread)) / (noise + 1e-6) if spread else 0.0


def is_front(camera: CameraModel, model: NeckModel) -> bool:
    return view_angle_deg(camera, middle_of(model)) > FRONT_FROM_DEG


def make_strips(
    crops: Sequence[LightCrop],
    camera: CameraModel,
    model: NeckModel,
    theta: Array,
) -> list[Strip]:
    """Resample several lights of one photograph along the current model: strips that differ in their light alone."""
    front = is_front(camera, model)
    direction = np.array([0.0, 0.0, 1.0]) if front else np.array([0.0, 1.0, 0.0])
    spacing = model.z_mm[0]
    z_fine = np.linspace(-0.3 * spacing, model.z_mm[-1] + 14.0, 3000)
    middle_px, _ = project(surface_points(model, theta, z_fine, np.zeros_like(z_fine)), camera)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(middle_px, axis=0).T))])
    rows = max(int(along[-1] / _ROW_PX), 64)
    z = np.interp(np.linspace(0.0, along[-1], rows), along, z_fine)
    px_per_row = float(along[-1]) / (rows - 1)
    position = camera.position_mm
    if np.abs(position[2] - z[-1]) < np.abs(position[2] - z[0]):
        z = z[::-1]
    lateral = np.linspace(-_SIDE_REACH, _SIDE_REACH, _COLUMNS)
    surface = surface_points(model, theta, z[:, None], lateral[None, :])
    image, depth = project(surface.reshape(-1, 3), camera)
    image = image.reshape(rows, _COLUMNS, 2)
    across_px = np.hypot(*(image[:, -1] - image[:, 0]).T)
    ascending = z[-1] > z[0]
    order = np.arange(model.frets) if ascending else np.arange(model.frets)[::-1]
    row_index = np.arange(rows, dtype=np.float64)
    rising_z, rising_row = (z, row_index) if ascending else (z[::-1], row_index[::-1])
    top_row = np.interp(model.z_mm[order], rising_z, rising_row)
    tops, _ = fret_points(model, theta, order, np.zeros(model.frets))
    strip = Strip(
        light=crops[0].sample(image),
        z_mm=z,
        depth_m=depth.reshape(rows, _COLUMNS)[:, _COLUMNS // 2] / 1000.0,
        lateral=lateral,
        order=order,
        top_row=top_row,
        rows_per_mm=_rows_per_mm(tops, direction, camera, model, theta, px_per_row, ascending),
        px_per_row=px_per_row,
        direction_mm=direction,
        front=front,
        columns_per_px=(_COLUMNS - 1) / across_px,
    )
    others = (strip if crop is crops[0] else replace(strip, light=crop.sample(image)) for crop in crops[1:])
    return [strip, *others]


def _rows_per_mm(
    tops: Array,
    direction: Array,
    camera: CameraModel,
    model: NeckModel,
    theta: Array,
    px_per_row: float,
    ascending: bool,
) -> Array:
    """How many rows a feature moves towards the far end per mm of shift, at the neck's middle."""
    here, _ = project(tops, camera)
    moved = project(tops + direction, camera)[0] - here
    width = width_mm(model, theta, tops[:, 2])[:, None]
    across = project(tops + np.array([0.5, 0.0, 0.0]) * 0.2 * width, camera)[0] - here
    step = 0.5 if ascending else -0.5
    ahead = surface_points(model, theta, tops[:, 2] + step, np.zeros(len(tops)))
    along = project(ahead, camera)[0] - here
    along /= np.hypot(*along.T)[:, None]
    # moved = a along + b across
    det = along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0]
    rows: Array = (moved[:, 0] * across[:, 1] - moved[:, 1] * across[:, 0]) / det / px_per_row
    return rows
