"""Which necks are photographed: the samples by name, and as many random ones as wanted from a seed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from sample_images.scenes.camera import FrontView, Lens, LowView, Phone
from sample_images.scenes.fret_crowns import Fretting, FretWire
from sample_images.scenes.guitar import Guitar
from sample_images.scenes.materials import WOODS
from sample_images.scenes.neck_shape import Array, NeckCurve, NeckShape
from sample_images.scenes.picture import Processing
from sample_images.scenes.room import Light
from sample_images.scenes.strings import BASS_STRINGS, GUITAR_STRINGS
from sample_images.scenes.wood import Colour

DENTED_FRETS = 7


@dataclass(frozen=True, slots=True)
class NeckScene:
    """A guitar in its room and the three photographs of it.

    `lamps` shine besides the room's own lights. `take` numbers photographs of one guitar in one room: each has its
    own noise.
    """

    name: str
    shape: str
    seed: int
    guitar: Guitar
    bench: str
    daylight: float
    phone: Phone
    low_lens: Lens
    front_lens: Lens
    bass_view: LowView
    treble_view: LowView
    front_view: FrontView
    processing: Processing
    lamps: tuple[Light, ...] = ()
    take: int = 0


LENS_26 = Lens(26.0, 6.8, 1.8, 0.012)
LENS_52 = Lens(52.0, 6.8, 1.8, -0.008)
LENS_77 = Lens(77.0, 9.0, 2.8, 0.02)
LENS_120 = Lens(120.0, 15.7, 2.8, -0.015)


def sample_necks() -> Iterator[NeckScene]:
    """The necks kept beside the program."""
    phone = Phone()
    straight = _guitar(1, NeckShape(647.7, 22, 42.0, 51.8, 241.3, 241.3, NeckCurve(bow_mm=0.02)), "dark brown",
                       (0.50, 0.46, 0.36), (0.06, 0.06, 0.06))
    yield NeckScene("straight", "flat", 1, straight, "mat", 0.8, phone, LENS_77, LENS_52,
                    LowView(-1, True, 8.0, 950.0, 4.0, (-0.05, -0.04), 1.5),
                    LowView(1, True, 9.0, 1000.0, 9.0, (0.06, 0.02), -1.0),
                    FrontView(62.0, 900.0, True, 15.0, (0.03, 0.02), 3.0), Processing())
    high = _guitar(2, NeckShape(628.65, 22, 42.5, 52.6, 305.0, 305.0, NeckCurve(bow_mm=0.18, skew=0.25)), "red brown",
                   (0.16, 0.32, 0.34), (0.60, 0.58, 0.52), high_fret=(9, 0.12))
    yield NeckScene("high_fret_left_handed", "bow", 2, replace(high, left_handed=True), "planks", 0.5, phone, LENS_77,
                    LENS_52, LowView(-1, True, 9.0, 920.0, 6.0, (0.04, -0.05), -1.0),
                    LowView(1, True, 8.0, 960.0, 0.0, (-0.06, 0.03), 1.0),
                    FrontView(74.0, 880.0, True, -20.0, (-0.04, 0.0), -4.0), Processing(exposure=0.13, sideways=True))
    back = _guitar(3, NeckShape(647.7, 24, 43.0, 52.8, 254.0, 406.0, NeckCurve(bow_mm=-0.24, skew=0.2)), "near black",
                   (0.42, 0.10, 0.07), (0.55, 0.52, 0.45))
    yield NeckScene("back_bow_compound", "back", 3, back, "cloth", 0.3, phone, LENS_120, LENS_52,
                    LowView(-1, False, 9.0, 1050.0, 14.0, (0.03, 0.05), 0.5),
                    LowView(1, False, 8.0, 1000.0, -4.0, (-0.04, 0.0), 2.0),
                    FrontView(55.0, 920.0, False, 30.0, (0.0, 0.03), 2.0), Processing(full_well=6000.0))
    twisted = _guitar(4, NeckShape(635.0, 22, 41.3, 51.0, 184.0, 184.0, NeckCurve(bow_mm=0.34, twist_deg=0.28)),
                      "baked", (0.30, 0.36, 0.22), (0.65, 0.63, 0.58))
    yield NeckScene("bow_and_twist", "twist", 4, twisted, "planks", 0.9, phone, LENS_77, LENS_26,
                    LowView(-1, True, 10.0, 980.0, 2.0, (-0.03, 0.03), -1.5),
                    LowView(1, True, 8.0, 900.0, 12.0, (0.05, -0.02), 0.5),
                    FrontView(48.0, 620.0, True, 10.0, (0.02, 0.0), 0.0), Processing(with_exif=False))
    shape = NeckShape(864.0, 20, 41.5, 55.5, 254.0, 254.0, NeckCurve(bow_mm=0.20, rise_mm=0.16, rise_from=0.68),
                      string_inset_nut_mm=4.6, string_inset_12_mm=4.2, overhang_mm=12.0)
    bass = _guitar(5, shape, "pale", (0.08, 0.10, 0.16), (0.50, 0.30, 0.22), strings=4)
    yield NeckScene("bass_rise", "rise", 5, bass, "mat", 0.6, phone, LENS_77, LENS_52,
                    LowView(-1, True, 9.0, 1100.0, 5.0, (0.02, 0.02), 1.0),
                    LowView(1, True, 10.0, 1150.0, 8.0, (-0.05, -0.02), -1.0),
                    FrontView(58.0, 1150.0, True, 0.0, (-0.02, 0.0), -2.0), Processing())


def random_necks(seed: int, count: int) -> Iterator[NeckScene]:
    """`count` right-handed necks named n000, n001, ... drawn from `seed`; neck i does not depend on `count`."""
    for index in range(count):
        yield _random_neck(np.random.default_rng([seed, index]), f"n{index:03d}", 1000 * seed + index)


def _random_neck(rng: np.random.Generator, name: str, seed: int) -> NeckScene:
    shape = str(rng.choice(["flat", "bow", "bow", "back", "s", "rise"]))
    curve = _random_curve(rng, shape)
    scale, frets = float(rng.choice([647.7, 647.7, 628.65, 635.0])), int(rng.choice([21, 22, 22, 24]))
    radius = rng.uniform(184.0, 330.0)
    end_radius = radius if rng.random() < 0.65 else rng.uniform(radius, 406.0)
    neck = NeckShape(scale, frets, rng.uniform(41.0, 43.5), rng.uniform(50.5, 53.5), radius, end_radius, curve,
                     rng.uniform(2.9, 3.7), rng.uniform(3.3, 4.3), rng.uniform(0.5, 1.6), 6.0, rng.uniform(6.0, 12.0))
    guitar = _guitar(seed, neck, str(rng.choice(list(WOODS))), _random_colour(rng), _random_colour(rng),
                     error_rms=rng.uniform(0.005, 0.02), wire=FretWire(rng.uniform(2.0, 2.8), rng.uniform(0.9, 1.3),
                                                                       rng.uniform(25.0, 38.0)))
    long_lens = LENS_77 if rng.random() < 0.6 else LENS_120
    front = LENS_52 if rng.random() < 0.65 else LENS_26
    from_head = bool(rng.random() < 0.7)
    lenses = [replace(lens, k1=rng.uniform(-0.02, 0.02)) for lens in (long_lens, front)]
    low = [LowView(side, from_head, rng.uniform(6.0, 13.0), rng.uniform(900.0, 1300.0), rng.uniform(-8.0, 35.0),
                   (rng.uniform(-0.1, 0.1), rng.uniform(-0.1, 0.1)), rng.uniform(-2.5, 2.5), rng.uniform(0.3, 0.6))
           for side in (-1.0, 1.0)]
    angle = rng.uniform(32.0, 84.0)
    phone = Phone()
    reach = float(neck.fret_z_mm()[-1]) * phone.focal_px(front.equivalent_mm) / phone.height_px
    front_view = FrontView(angle, reach * np.sin(np.deg2rad(angle)) / rng.uniform(0.58, 0.72) + 60.0, from_head,
                           rng.uniform(-40.0, 40.0), (rng.uniform(-0.08, 0.08), rng.uniform(-0.04, 0.04)),
                           rng.uniform(-5.0, 5.0))
    sideways = bool(rng.random() < 0.2)
    processing = Processing(rng.uniform(2500.0, 12000.0), rng.uniform(2.0, 8.0), rng.uniform(0.5, 0.9),
                            rng.uniform(0.0, 0.9), rng.uniform(0.8, 1.6), int(rng.integers(82, 96)),
                            rng.uniform(0.08, 0.17), sideways or bool(rng.random() < 0.7), sideways)
    return NeckScene(name, shape, seed, guitar, str(rng.choice(["planks", "mat", "cloth"])), rng.random(), phone,
                     lenses[0], lenses[1], low[0], low[1], front_view, processing)


def _random_curve(rng: np.random.Generator, shape: str) -> NeckCurve:
    skew, twist = rng.uniform(-0.1, 0.4), (rng.uniform(-0.3, 0.3) if rng.random() < 0.6 else 0.0)
    if shape == "flat":
        return NeckCurve(rng.uniform(-0.03, 0.05), skew, twist_deg=twist)
    if shape == "bow":
        return NeckCurve(rng.uniform(0.08, 0.6), skew, twist_deg=twist)
    if shape == "back":
        return NeckCurve(rng.uniform(-0.3, -0.06), skew, twist_deg=twist)
    if shape == "s":
        return NeckCurve(rng.uniform(0.0, 0.2), skew, rng.uniform(0.06, 0.14) * rng.choice([-1.0, 1.0]),
                         twist_deg=twist)
    return NeckCurve(rng.uniform(0.05, 0.3), skew, 0.0, rng.uniform(0.08, 0.22), rng.uniform(0.62, 0.76), twist)


def _random_colour(rng: np.random.Generator) -> Colour:
    tone = rng.uniform(0.04, 0.6) * (0.3 + 0.7 * rng.random(3))
    return float(tone[0]), float(tone[1]), float(tone[2])


def _guitar(seed: int, neck: NeckShape, wood: str, body: Colour, plate: Colour, *, strings: int = 6,
            error_rms: float = 0.008, wire: FretWire | None = None,
            high_fret: tuple[int, float] | None = None) -> Guitar:
    """A guitar whose frets have normal height errors and dents worn under every string at the first frets."""
    rng = np.random.default_rng([seed, 77])
    error: Array = error_rms * rng.standard_normal(neck.frets)
    if high_fret is not None:
        error[high_fret[0] - 1] = high_fret[1]
    wear = np.where(np.arange(1, neck.frets + 1) <= DENTED_FRETS, 0.02, 0.003)
    dents = wear[:, None] * rng.exponential(1.0, (neck.frets, strings))
    fretting = Fretting(wire or FretWire(), error, np.clip(dents, 0.0, 0.08), np.linspace(-1.0, 1.0, strings))
    return Guitar(neck, fretting, GUITAR_STRINGS if strings == 6 else BASS_STRINGS, wood, body, plate)
