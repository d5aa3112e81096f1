"""Path tracing of a scene with Mitsuba 3 (the optional extra `scenes`)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import mitsuba as mi
import numpy as np
from numpy.typing import NDArray

from sample_images.scenes.camera import Camera
from sample_images.scenes.guitar import Part
from sample_images.scenes.materials import Material
from sample_images.scenes.picture import RENDER_MARGIN_PX
from sample_images.scenes.room import Light, Room

MAX_BOUNCES = 6
SAMPLES_AT_ONCE = 36  # a square number, as the sampler wants
BORDER_PX = 40


@dataclass(frozen=True, slots=True)
class PixelBox:
    """Part of the wider picture, px: `left` <= column < `right`, `top` <= row < `bottom`."""

    left: int
    top: int
    right: int
    bottom: int


def use_variant(name: str) -> None:
    """Choose Mitsuba's engine before anything is rendered, such as "cuda_ad_rgb" or "llvm_ad_rgb"."""
    mi.set_variant(name)


def scene_contents(parts: list[Part], room: Room) -> dict[str, Any]:
    """Everything but the camera, to be shared by the photographs of one guitar."""
    contents: dict[str, Any] = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": MAX_BOUNCES},
        "fill": {"type": "constant", "radiance": {"type": "rgb", "value": [room.fill] * 3},
                 "sampling_weight": 0.3},
    }
    for part in parts + room.parts:
        contents[f"part_{part.name}"] = _mesh(part)
    for index, light in enumerate(room.lights):
        contents[f"light_{index}"] = _light(light)
    return contents


def path_traced(contents: dict[str, Any], camera: Camera, samples: int, seed: int,
                box: PixelBox | None = None) -> NDArray[np.float32]:
    """Linear light (rows, columns, 3) of the undistorted view, `RENDER_MARGIN_PX` wider on every side.

    With `box` only that part of the wider picture. Raises ValueError if `samples` is less than 1.
    """
    if samples < 1:
        raise ValueError(f"samples must be at least 1, got {samples}")
    scene = mi.load_dict({**contents, "sensor": _sensor(camera, box)})
    total: NDArray[np.float64] | None = None
    for done in range(0, samples, SAMPLES_AT_ONCE):
        now = min(SAMPLES_AT_ONCE, samples - done)
        drawn = mi.UInt32((seed * 1009 + done) % 2**32)
        shot = now * np.array(mi.render(scene, spp=now, seed=drawn), dtype=np.float64)[..., :3]
        total = shot if total is None else total + shot
    return np.asarray(total, dtype=np.float32) / np.float32(samples)


def path_traced_finer_inside(contents: dict[str, Any], camera: Camera, samples: int, samples_inside: int,
                             box: PixelBox, seed: int) -> NDArray[np.float32]:
    """As `path_traced`, with `samples_inside` in `box` of the wider picture, the change spread over its border."""
    picture = path_traced(contents, camera, samples, seed)
    inside = path_traced(contents, camera, samples_inside, seed + 1, box)
    rows, columns = np.mgrid[0:inside.shape[0], 0:inside.shape[1]]
    to_border = np.minimum(np.minimum(rows, columns),
                           np.minimum(inside.shape[0] - 1 - rows, inside.shape[1] - 1 - columns))
    weight = np.clip(to_border / BORDER_PX, 0.0, 1.0)[..., None].astype(np.float32)
    part = picture[box.top:box.bottom, box.left:box.right]
    part[...] = weight * inside + (1.0 - weight) * part
    return picture


def _sensor(camera: Camera, box: PixelBox | None) -> dict[str, Any]:
    width, height = camera.width_px + 2 * RENDER_MARGIN_PX, camera.height_px + 2 * RENDER_MARGIN_PX
    whole = PixelBox(0, 0, width, height) if box is None else box
    target = camera.position_mm + camera.forward * 1000.0
    to_world = mi.ScalarTransform4f().look_at(origin=list(camera.position_mm), target=list(target),
                                              up=list(-camera.down))
    return {
        "type": "thinlens",
        "to_world": to_world,
        "fov": float(2.0 * np.rad2deg(np.arctan(width / 2.0 / camera.focal_px))),
        "fov_axis": "x",
        "aperture_radius": camera.aperture_mm / 2.0,
        "focus_distance": camera.focus_mm,
        "near_clip": 10.0,
        "far_clip": 20000.0,
        "sampler": {"type": "multijitter"},
        "film": {"type": "hdrfilm", "width": width, "height": height, "pixel_format": "rgb",
                 "component_format": "float32", "rfilter": {"type": "box"}, "crop_offset_x": whole.left,
                 "crop_offset_y": whole.top, "crop_width": whole.right - whole.left,
                 "crop_height": whole.bottom - whole.top},
    }


def _mesh(part: Part) -> Any:
    surface = part.surface
    properties = mi.Properties()
    properties["bsdf"] = mi.load_dict(_bsdf(part.material))
    mesh = mi.Mesh(part.name, len(surface.points), len(surface.triangles), properties, True, True)
    values = mi.traverse(mesh)
    values["vertex_positions"] = np.ravel(surface.points).astype(np.float32)
    values["vertex_normals"] = np.ravel(surface.normals).astype(np.float32)
    values["vertex_texcoords"] = np.ravel(surface.uv).astype(np.float32)
    values["faces"] = np.ravel(surface.triangles).astype(np.uint32)
    values.update()
    return mesh


def _bsdf(material: Material) -> dict[str, Any]:
    if isinstance(material.colour, tuple):
        colour: dict[str, Any] = {"type": "rgb", "value": list(material.colour)}
    else:
        colour = {"type": "bitmap", "bitmap": mi.Bitmap(np.ascontiguousarray(material.colour)), "raw": True,
                  "wrap_mode": "mirror"}
    return {
        "type": "twosided",
        "bsdf": {"type": "principled", "base_color": colour, "roughness": material.roughness,
                 "metallic": material.metallic, "specular": material.specular, "clearcoat": material.clearcoat,
                 "clearcoat_gloss": 0.9},
    }


def _light(light: Light) -> dict[str, Any]:
    a, b = light.edge_a / 2.0, light.edge_b / 2.0
    normal = np.cross(a, b)
    normal = normal / np.linalg.norm(normal)
    middle = light.corner + a + b
    towards = np.array([0.0, 0.0, 200.0]) - middle
    if normal @ towards < 0:
        a, normal = -a, -normal
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2], matrix[:3, 3] = a, b, normal, middle
    return {
        "type": "rectangle",
        "to_world": mi.ScalarTransform4f(matrix.tolist()),
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": list(light.radiance)}},
    }
