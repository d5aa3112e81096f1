"""Where the crowns lie along the neck in a picture from the front: the band between their feet.

From the front a fret's brightest line is a reflection that may stand anywhere on the crown, up to a millimetre from
its top. The crown as a whole differs from the board on both sides of it, so the place of the band in which the light
departs from the board's tells where the crown is, whatever it mirrors. One place serves all frets.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def crown_place_mm(light: Array, v_mm: Array, width_mm: float) -> float:
    """Middle of the band of width width_mm, among rows v_mm (R,), that departs most from the board beside it.

    light : (N, R) of every fret, mean along the fret.
    """
    outer = np.abs(v_mm) > 0.8 * np.abs(v_mm).max()
    near, far = outer & (v_mm < 0), outer & (v_mm > 0)
    level = [np.median(light[:, part], axis=1) for part in (near, far)]
    at = [float(np.mean(v_mm[part])) for part in (near, far)]
    share = (v_mm[None, :] - at[0]) / (at[1] - at[0])
    board = level[0][:, None] * (1 - share) + level[1][:, None] * share
    departure = np.abs(light - board)
    departure /= np.median(departure.max(axis=1))
    profile = np.median(np.minimum(departure, 1.0), axis=0)
    step = float(v_mm[1] - v_mm[0])
    places = np.arange(v_mm[0] + 0.5 * width_mm, v_mm[-1] - 0.5 * width_mm, 0.5 * step)
    inside = np.clip((0.5 * width_mm - np.abs(v_mm[None, :] - places[:, None])) / step + 0.5, 0.0, 1.0)
    contrast = inside @ profile / inside.sum(axis=1) - (1 - inside) @ profile / (1 - inside).sum(axis=1)
    weight = np.exp(40.0 * (contrast - contrast.max()))
    return float(np.sum(weight * places) / weight.sum())
