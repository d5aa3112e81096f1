"""What surfaces are made of, independent of the renderer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_images.scenes.neck_shape import NeckShape
from sample_images.scenes.wood import Colour, Picture, board_texture


@dataclass(frozen=True, slots=True)
class Material:
    """Reflectance in linear light as one colour or a texture (rows, columns, 3), with its gloss."""

    colour: Colour | Picture
    roughness: float
    metallic: float = 0.0
    clearcoat: float = 0.0
    specular: float = 0.5


NICKEL_SILVER = Material((0.60, 0.575, 0.53), 0.32, metallic=1.0)
STEEL = Material((0.62, 0.62, 0.62), 0.33, metallic=1.0)
CHROME = Material((0.66, 0.67, 0.68), 0.16, metallic=1.0)
BONE = Material((0.78, 0.74, 0.63), 0.35)
BLACK_PLASTIC = Material((0.02, 0.02, 0.022), 0.4)

WOODS: dict[str, tuple[Colour, Colour, float, Colour, float]] = {
    # pale tone, dark tone, pores, position marks, clear coat
    "dark brown": ((0.115, 0.062, 0.040), (0.040, 0.020, 0.013), 1.0, (0.72, 0.70, 0.64), 0.0),
    "near black": ((0.040, 0.030, 0.026), (0.014, 0.010, 0.009), 0.6, (0.72, 0.70, 0.66), 0.0),
    "red brown": ((0.21, 0.100, 0.056), (0.095, 0.042, 0.022), 0.8, (0.74, 0.71, 0.64), 0.0),
    "baked": ((0.30, 0.165, 0.082), (0.18, 0.090, 0.040), 0.1, (0.015, 0.015, 0.015), 0.0),
    "pale": ((0.58, 0.43, 0.25), (0.44, 0.30, 0.155), 0.05, (0.015, 0.015, 0.015), 0.0),
    "pale lacquered": ((0.58, 0.42, 0.23), (0.46, 0.31, 0.15), 0.05, (0.015, 0.015, 0.015), 0.8),
}


def board_material(rng: np.random.Generator, neck: NeckShape, wood: str) -> Material:
    """Fingerboard of one of `WOODS`."""
    pale, dark, pores, dots, coat = WOODS[wood]
    return Material(board_texture(rng, neck, pale, dark, pores, dots), 0.5 if coat == 0.0 else 0.35, clearcoat=coat)
