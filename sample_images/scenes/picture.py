"""What a phone makes of the light: lens distortion, sensor noise, tone curve, sharpening, JPEG with EXIF."""

from __future__ import annotations

import io
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from sample_images.scenes.camera import Camera, Lens

RENDER_MARGIN_PX = 72
EXIF_IFD, FOCAL_LENGTH, FOCAL_35MM, F_NUMBER, ORIENTATION = 0x8769, 0x920A, 0xA405, 0x829D, 0x0112


@dataclass(frozen=True, slots=True)
class Processing:
    """Sensor and in-camera processing.

    `full_well` electrons at white and `read_noise` electrons make the noise; `blur_px` is the lens's own blur
    (standard deviation); sharpening adds `sharpen` times the detail finer than `sharpen_px`. `sideways` stores the
    picture turned, with its EXIF orientation; `with_exif` false leaves EXIF out (then it must not be sideways).
    """

    full_well: float = 9000.0
    read_noise: float = 4.0
    blur_px: float = 0.6
    sharpen: float = 0.5
    sharpen_px: float = 1.1
    jpeg_quality: int = 88
    exposure: float = 0.12
    with_exif: bool = True
    sideways: bool = False


def distorted(linear: NDArray[np.float32], camera: Camera) -> NDArray[np.float32]:
    """The camera's picture from an undistorted one, rendered `RENDER_MARGIN_PX` larger on every side.

    The rendered picture has the same focal length and its own middle as principal point; linear light.
    """
    rows, columns = np.mgrid[0:camera.height_px, 0:camera.width_px].astype(np.float64)
    straight = camera.undistort(np.stack([columns, rows], axis=-1)) * camera.focal_px
    middle_x = (linear.shape[1] - 1) / 2.0
    middle_y = (linear.shape[0] - 1) / 2.0
    map_x, map_y = straight[..., 0] + middle_x, straight[..., 1] + middle_y
    if map_x.min() < 0 or map_y.min() < 0 or map_x.max() > linear.shape[1] - 1 or map_y.max() > linear.shape[0] - 1:
        raise ValueError(f"RENDER_MARGIN_PX is too small for camera: k1 {camera.k1}, centre {camera.centre_px}")
    out = cv2.remap(linear, map_x.astype(np.float32), map_y.astype(np.float32), cv2.INTER_CUBIC)
    return np.clip(np.asarray(out, dtype=np.float32), 0.0, None)


def developed(linear: NDArray[np.float32], metered: NDArray[np.bool_], processing: Processing,
              rng: np.random.Generator) -> NDArray[np.uint8]:
    """Eight-bit sRGB picture from linear light, exposed for the `metered` pixels."""
    light = cv2.GaussianBlur(linear, (0, 0), processing.blur_px) if processing.blur_px > 0 else linear
    grey = light @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    light = light * np.float32(processing.exposure / np.exp(np.mean(np.log(grey[metered] + 1e-4))))
    neutral = light.reshape(-1, 3).mean(axis=0)
    gains = (neutral.mean() / neutral) ** 0.7  # a white balance that does not go all the way
    light = light * gains.astype(np.float32)
    electrons = np.minimum(light, 1.6) * processing.full_well
    noise = rng.standard_normal(light.shape, dtype=np.float32)
    noise = cv2.GaussianBlur(noise, (0, 0), 0.5) * np.float32(1.35)  # demosaicing ties neighbours together
    light = light + noise * np.sqrt(electrons + processing.read_noise**2) / processing.full_well
    shown = _tone(np.clip(light, 0.0, None))
    if processing.sharpen > 0:
        luma = shown @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
        detail = luma - cv2.GaussianBlur(luma, (0, 0), processing.sharpen_px)
        shown = shown + np.float32(processing.sharpen) * np.clip(detail, -0.12, 0.12)[..., None]
    return np.asarray(np.clip(shown * 255.0 + 0.5, 0, 255), dtype=np.uint8)


def _tone(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """sRGB encoding (IEC 61966-2-1) after a soft shoulder that starts at 0.7 of white."""
    knee = 0.7
    soft = np.where(light > knee, knee + (1.0 - knee) * (1.0 - np.exp(-(light - knee) / (1.0 - knee))), light)
    return np.where(soft <= 0.0031308, 12.92 * soft, 1.055 * np.maximum(soft, 1e-6) ** (1 / 2.4) - 0.055).astype(
        np.float32)


def jpeg(picture: NDArray[np.uint8], lens: Lens, processing: Processing) -> bytes:
    """The file a phone would keep."""
    image = Image.fromarray(picture)
    exif = Image.Exif()
    if processing.with_exif:
        exif[ORIENTATION] = 1
        exif.get_ifd(EXIF_IFD).update({FOCAL_LENGTH: lens.real_focal_mm, F_NUMBER: lens.f_number,
                                       FOCAL_35MM: round(lens.equivalent_mm)})
    if processing.sideways:
        image = image.transpose(Image.Transpose.ROTATE_90)
        exif[ORIENTATION] = 6
    out = io.BytesIO()
    image.save(out, "JPEG", quality=processing.jpeg_quality, subsampling="4:2:0", exif=exif, optimize=True)
    return out.getvalue()
