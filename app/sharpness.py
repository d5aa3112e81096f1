"""How sharp the frets of a located neck are, from the steepness of their edges in the picture.

An edge between two even tones, blurred by a Gaussian of standard deviation s, has its steepest slope
(high - low) / (s sqrt(2 pi)). So the profile across a fret, its range and its steepest slope give s. Frets are
narrow, which can only make the range smaller and s too: the figure is a quick check, not a measurement.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
COLUMNS = (0.2, 0.35, 0.5, 0.65, 0.8)  # shares of the way along a fret that are looked at
REACH = 0.45  # of the distance to the neighbouring fret
FEWEST_SAMPLES, SAMPLES_A_PX = 31, 2.0
LEAST_CONTRAST = 12.0  # grey levels of 255, below which a profile says nothing


def edge_blur_px(rgb: NDArray[np.uint8], fret_ends_px: Array) -> Array:
    """Standard deviation of the blur at every fret, (N,) px, NaN where no edge stands out.

    Parameters
    ----------
    rgb : (H, W, 3) uint8, the upright photograph.
    fret_ends_px : (N, 2, 2) both ends of every fret, (x, y), pixel centres at integers; N at least 2.

    Raises
    ------
    ValueError : fret_ends_px has another shape.
    """
    if fret_ends_px.ndim != 3 or fret_ends_px.shape[1:] != (2, 2) or len(fret_ends_px) < 2:
        raise ValueError(f"fret_ends_px={fret_ends_px.shape} must be (N, 2, 2) with N at least 2")
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    middles = fret_ends_px.mean(axis=1)
    steps = np.gradient(middles, axis=0)
    shares = np.array(COLUMNS)[:, None]
    blur = np.full(len(fret_ends_px), np.nan)
    for k, ((left, right), step) in enumerate(zip(fret_ends_px, steps, strict=True)):
        # Only the part of the step that crosses the fret moves over its edge.
        across = right - left
        crossing = abs(float(across[0] * step[1] - across[1] * step[0])) / max(float(np.hypot(*across)), 1e-9)
        along = np.linspace(-REACH, REACH, max(FEWEST_SAMPLES, int(2 * REACH * crossing * SAMPLES_A_PX)))
        sample_px = crossing * (along[1] - along[0])
        points = (left + shares * (right - left))[:, None, :] + along[None, :, None] * step
        x, y = points[..., 0].astype(np.float32), points[..., 1].astype(np.float32)
        profile = cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float64)
        spread = np.ptp(profile, axis=1)
        steepest = np.abs(np.diff(profile, axis=1)).max(axis=1) / max(sample_px, 1e-9)
        seen = (spread >= LEAST_CONTRAST) & (steepest > 0)
        if seen.any():
            blur[k] = float(np.median(spread[seen] / steepest[seen])) / np.sqrt(2 * np.pi)
    return blur
