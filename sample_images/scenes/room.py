"""A made-up workshop: bench, neck rest, wall with shelf, clutter, and the lights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sample_images.scenes.guitar import BODY_DEPTH_MM, BODY_TOP_MM, Part
from sample_images.scenes.materials import Material
from sample_images.scenes.neck_shape import Array
from sample_images.scenes.surfaces import box, disc_post, grid_surface, tube
from sample_images.scenes.wood import Colour, mottled, planks

BENCH_Y_MM = BODY_TOP_MM - BODY_DEPTH_MM - 0.5


@dataclass(frozen=True, slots=True)
class Light:
    """A rectangle of light: corner (3,), two edges (3,), and its radiance."""

    corner: Array
    edge_a: Array
    edge_b: Array
    radiance: Colour


@dataclass(frozen=True, slots=True)
class Room:
    """What surrounds the guitar; `fill` is the radiance from everywhere."""

    parts: list[Part]
    lights: list[Light]
    fill: float


def workshop(rng: np.random.Generator, bench: str, daylight: float, lamps: Sequence[Light] = ()) -> Room:
    """A room drawn from `rng`; `bench` is "planks", "mat" or "cloth"; `daylight` 0..1 sets window against lamps.

    `lamps` are added to the lights drawn.
    """
    return Room(_bench(rng, bench) + _walls(rng) + _clutter(rng), [*_lights(rng, daylight), *lamps], 0.12)


def _bench(rng: np.random.Generator, kind: str) -> list[Part]:
    if kind == "planks":
        picture = planks(rng, (0.42, 0.28, 0.16), (0.26, 0.15, 0.08), 7)
    elif kind == "mat":
        picture = mottled(rng, _pick(rng, [(0.05, 0.13, 0.10), (0.10, 0.11, 0.13), (0.22, 0.20, 0.18)]), 0.05)
    else:
        picture = mottled(rng, _pick(rng, [(0.30, 0.13, 0.12), (0.16, 0.20, 0.32), (0.42, 0.38, 0.30)]), 0.22, 60.0)
    top = _rectangle((-900.0, BENCH_Y_MM, -900.0), (1800.0, 0.0, 0.0), (0.0, 0.0, 2600.0),
                     Material(picture, 0.6), "bench")
    floor = _rectangle((-4000.0, -950.0, -4000.0), (8000.0, 0.0, 0.0), (0.0, 0.0, 9000.0),
                       Material(mottled(rng, (0.20, 0.18, 0.16), 0.15), 0.7), "floor")
    cork = Material(mottled(rng, (0.36, 0.22, 0.11), 0.2, 10.0), 0.9)
    height = -24.0 - BENCH_Y_MM
    rest = Part("rest", box((0.0, BENCH_Y_MM + height / 2.0, 62.0), (95.0, height, 46.0), 4.0), cork)
    return [top, floor, rest]


def _walls(rng: np.random.Generator) -> list[Part]:
    """Walls behind either end and on the sides, shelves with things on them."""
    tone = _pick(rng, [(0.55, 0.52, 0.46), (0.34, 0.40, 0.42), (0.48, 0.36, 0.26), (0.25, 0.27, 0.25)])
    paint = Material(mottled(rng, tone, 0.06, 80.0), 0.8)
    shelf_wood = Material(planks(rng, (0.45, 0.31, 0.18), (0.30, 0.18, 0.09), 3), 0.5)
    parts = []
    for index, z in enumerate((1900.0, -2600.0)):
        parts.append(_rectangle((-2500.0, -950.0, z), (5000.0, 0.0, 0.0), (0.0, 3500.0, 0.0), paint, f"wall{index}"))
        inside = z - 120.0 if z > 0 else z + 120.0
        for shelf, y in enumerate((150.0 + rng.uniform(-60, 60), 620.0 + rng.uniform(-60, 60))):
            parts.append(Part(f"shelf{index}{shelf}", box((0.0, y, inside), (2600.0, 26.0, 230.0), 2.0), shelf_wood))
            x = -1150.0
            while x < 1150.0:
                width, height = rng.uniform(30, 190), rng.uniform(60, 330)
                thing = box((x + width / 2, y + 13 + height / 2, inside), (width, height, rng.uniform(60, 180)), 3.0)
                parts.append(Part(f"thing{index}{shelf}{int(x)}", thing, _paint(rng)))
                x += width + rng.uniform(10, 160)
    for index, x in enumerate((-2500.0, 2500.0)):
        parts.append(_rectangle((x, -950.0, -2600.0), (0.0, 0.0, 4500.0), (0.0, 3500.0, 0.0), paint, f"side{index}"))
    return parts


def _clutter(rng: np.random.Generator) -> list[Part]:
    """Boxes, tins and tools lying about on the bench, clear of the guitar."""
    parts = []
    for index in range(9):
        side = -1.0 if index % 2 else 1.0
        x, z = side * rng.uniform(250.0, 520.0), rng.uniform(-350.0, 1300.0)
        kind = index % 3
        if kind == 0:
            size = (rng.uniform(50, 150), rng.uniform(20, 90), rng.uniform(50, 150))
            surface = box((x, BENCH_Y_MM + size[1] / 2, z), size, 3.0, rng.uniform(0, 90))
        elif kind == 1:
            height = rng.uniform(40, 120)
            surface = disc_post((x, z), BENCH_Y_MM, BENCH_Y_MM + height, rng.uniform(20, 45), 3.0)
        else:
            angle, length, radius = rng.uniform(0, np.pi), rng.uniform(90, 240), rng.uniform(5, 13)
            start = np.array([x, BENCH_Y_MM + radius, z])
            end = start + length * np.array([np.cos(angle), 0.0, np.sin(angle)])
            surface = tube(start, end, np.array(radius), np.linspace(0, 1, 2))
        parts.append(Part(f"clutter{index}", surface, _paint(rng)))
    return parts


def _lights(rng: np.random.Generator, daylight: float) -> list[Light]:
    """A window at one side, a row of ceiling panels, a lamp over the bench."""
    side = float(rng.choice([-1.0, 1.0]))
    window_z = rng.uniform(-400.0, 900.0)
    blue, warm = np.array([0.85, 0.97, 1.15]), np.array([1.15, 1.0, 0.80])
    window = Light(np.array([side * 2300.0, 200.0, window_z - 600.0]), np.array([0.0, 0.0, 1200.0 * side]),
                   np.array([0.0, 1300.0, 0.0]), _colour(9.0 * daylight * blue))
    lights = [window]
    for z in (-700.0, 700.0):
        lights.append(Light(np.array([-700.0 + rng.uniform(-300, 300), 2100.0, z]), np.array([1400.0, 0.0, 0.0]),
                            np.array([0.0, 0.0, 320.0]), _colour((12.0 - 9.0 * daylight) * warm)))
    lamp_x = -side * rng.uniform(250.0, 600.0)
    lights.append(Light(np.array([lamp_x, 900.0, rng.uniform(0.0, 500.0)]), np.array([260.0, 0.0, 0.0]),
                        np.array([0.0, 0.0, 260.0]), _colour(rng.uniform(4.0, 16.0) * warm)))
    return lights


def _rectangle(corner: tuple[float, float, float], edge_a: tuple[float, float, float],
               edge_b: tuple[float, float, float], material: Material, name: str) -> Part:
    a, b = np.array(edge_a), np.array(edge_b)
    grid = np.array(corner) + np.array([[0 * a, a], [b, a + b]])
    return Part(name, grid_surface(grid), material)


def _pick(rng: np.random.Generator, colours: list[Colour]) -> Colour:
    return colours[int(rng.integers(len(colours)))]


def _paint(rng: np.random.Generator) -> Material:
    tone = rng.uniform(0.03, 0.6) * (0.35 + 0.65 * rng.random(3))
    return Material(_colour(tone), float(rng.uniform(0.25, 0.8)))


def _colour(rgb: Array) -> Colour:
    return float(rgb[0]), float(rgb[1]), float(rgb[2])
