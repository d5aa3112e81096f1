"""Procedural textures in linear light: board wood with position dots, planks, mottled paint and cloth."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sample_images.scenes.neck_shape import NeckShape

Picture = NDArray[np.float32]
Colour = tuple[float, float, float]


def wood_grain(rng: np.random.Generator, shape: tuple[int, int], pale: Colour, dark: Colour,
               pores: float) -> Picture:
    """Wood (rows along the grain, columns across, 3): growth bands, fibres and `pores` (0..1, dark short lines)."""
    rows, columns = shape
    bands = _streaks(rng, shape, (rows / 3.0, columns / 25.0))
    fibres = _streaks(rng, shape, (rows / 25.0, 0.8))
    pore = ndimage.gaussian_filter((rng.random(shape) > 0.9985).astype(np.float32), (min(rows / 150.0, 12.0), 0.6))
    pore = np.clip(pore / max(float(pore.max()), 1e-9) * 2.0, 0.0, 1.0)
    mix = np.clip(0.5 + 0.22 * bands + 0.13 * fibres + pores * 0.8 * pore, 0.0, 1.0)[..., None]
    return np.asarray((1.0 - mix) * np.array(pale) + mix * np.array(dark), dtype=np.float32)


def board_texture(rng: np.random.Generator, neck: NeckShape, pale: Colour, dark: Colour, pores: float,
                  dots: Colour) -> Picture:
    """Texture of a fingerboard with round position marks; rows run from the nut to the board's end."""
    px_per_mm = 8.0
    length = neck.board_end_z_mm
    rows, columns = round(length * px_per_mm), round(56.0 * px_per_mm)
    picture = wood_grain(rng, (rows, columns), pale, dark, pores)
    z_fret = np.r_[0.0, neck.fret_z_mm()]
    z = (np.arange(rows)[:, None] + 0.5) / rows * length
    across = (np.arange(columns)[None, :] + 0.5) / columns - 0.5
    x = across * neck.width_mm(z)
    for fret in (3, 5, 7, 9, 12, 15, 17, 19, 21, 24):
        if fret > neck.frets:
            continue
        middle = (z_fret[fret] + z_fret[fret - 1]) / 2.0
        for place in ((-9.0, 9.0) if fret % 12 == 0 else (0.0,)):
            inside = np.clip((3.1 - np.hypot(x - place, z - middle)) * px_per_mm + 0.5, 0.0, 1.0)[..., None]
            picture = (1.0 - inside) * picture + inside * np.array(dots)
    return picture.astype(np.float32)


def planks(rng: np.random.Generator, pale: Colour, dark: Colour, count: int) -> Picture:
    """`count` boards side by side with dark joints, square picture."""
    size = 1536
    parts = []
    for _ in range(count):
        tone = rng.uniform(0.8, 1.15)
        plank = wood_grain(rng, (size, size // count), pale, dark, 0.3) * tone
        plank[:, :2] *= 0.25
        parts.append(plank)
    return np.concatenate(parts, axis=1).astype(np.float32)


def mottled(rng: np.random.Generator, base: Colour, strength: float, grain_px: float = 40.0) -> Picture:
    """Uneven paint or cloth, 512 x 512."""
    cloud = sum(_streaks(rng, (512, 512), (g, g)) / 2.0**i for i, g in enumerate((grain_px, grain_px / 5, 1.0)))
    return np.clip(np.array(base) * (1.0 + strength * np.asarray(cloud)[..., None]), 0.005, 0.95).astype(np.float32)


def _streaks(rng: np.random.Generator, shape: tuple[int, int], sigma: tuple[float, float]) -> NDArray[np.float32]:
    """Noise smoothed by a Gaussian of `sigma` px (rows, columns), of unit standard deviation, periodic."""
    spectrum = np.fft.rfft2(rng.standard_normal(shape))
    rows = np.fft.fftfreq(shape[0])[:, None] * sigma[0]
    columns = np.fft.rfftfreq(shape[1])[None, :] * sigma[1]
    noise = np.fft.irfft2(spectrum * np.exp(-2.0 * np.pi**2 * (rows**2 + columns**2)), s=shape)
    return np.asarray(noise / noise.std(), dtype=np.float32)
