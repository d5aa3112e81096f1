"""The tones of a photograph in which frets are looked for: lightness, and how warm a colour is."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

BAND_ROWS = 128
"""Colours are worked out band by band: a whole picture of them would be as large as the photograph."""


@dataclass(frozen=True)
class PictureTones:
    """Lightness and two colour differences (4 x, 128 = neutral): some boards show their frets by colour
    only."""

    grey: NDArray[np.uint8]
    yellow: NDArray[np.uint8]
    red: NDArray[np.uint8]

    @staticmethod
    def of(rgb: NDArray[np.uint8]) -> PictureTones:
        stronger = np.clip(128 + 4 * (np.arange(256) - 128), 0, 255).astype(np.uint8)
        yellow, red = (np.empty(rgb.shape[:2], np.uint8) for _ in range(2))
        for top in range(0, len(rgb), BAND_ROWS):
            band = slice(top, top + BAND_ROWS)
            lab = cv2.LUT(cv2.cvtColor(rgb[band], cv2.COLOR_RGB2LAB), stronger)
            yellow[band], red[band] = lab[..., 2], lab[..., 1]
        return PictureTones(np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8), yellow, red)
