"""Turn decoded pictures of any mode into (H, W, 3) uint8, and turn stored pixels upright."""

import cv2
import numpy as np
from PIL import Image, ImageChops

from vision.photo.photograph import Pixels
from vision.photo.refusal import UnreadableError

_STRIP_ROWS = 256  # converting in strips keeps the extra memory near one picture
_BACKGROUND = (128, 128, 128)  # behind transparent parts: mid grey makes no strong edge
_PLAIN_MODES = {"1", "L", "P", "RGB", "RGBX", "CMYK", "YCbCr"}
_ALPHA_MODES = {"LA", "PA", "La", "RGBA", "RGBa"}
_SIXTEEN_BIT_MODES = {"I;16", "I;16L", "I;16B", "I;16N"}


def rgb_from_image(image: Image.Image, *, inverted_ink: bool = False, sixteen_bit: bool = False) -> Pixels:
    """Convert a loaded picture to (H, W, 3) uint8 RGB, colour profile left alone.

    Parameters
    ----------
    image : loaded picture.
    inverted_ink : True when a CMYK picture was read as inverted although it was stored the plain way.
    sixteen_bit : True when mode "I" is known to hold 0 to 65535.

    Raises
    ------
    UnreadableError : the mode has no defined black and white (32-bit, floating point, Lab).
    """
    mode = image.mode
    sixteen = mode in _SIXTEEN_BIT_MODES or (mode == "I" and sixteen_bit)
    if not sixteen and mode not in _PLAIN_MODES | _ALPHA_MODES:
        raise UnreadableError("pixel_kind", f"mode {mode}")
    see_through = mode in _ALPHA_MODES or "transparency" in image.info
    width, height = image.size
    rgb = np.empty((height, width, 3), np.uint8)
    for top in range(0, height, _STRIP_ROWS):
        bottom = min(top + _STRIP_ROWS, height)
        strip = image.crop((0, top, width, bottom))
        if sixteen:
            tones = np.asarray(strip).astype(np.int64)
            rgb[top:bottom] = ((np.clip(tones, 0, 65535) * 255 + 32767) // 65535).astype(np.uint8)[..., None]
            continue
        if inverted_ink:
            strip = ImageChops.invert(strip)
        if see_through:
            layer = strip.convert("RGBA")
            strip = Image.new("RGB", layer.size, _BACKGROUND)
            strip.paste(layer, mask=layer.getchannel("A"))
        rgb[top:bottom] = np.asarray(strip.convert("RGB"))
    return rgb


def rgb_from_array(array: Pixels) -> Pixels:
    """Contiguous RGB from (H, W), (H, W, 1), (H, W, 3) or (H, W, 4) uint8; a fourth channel is alpha.

    Raises
    ------
    UnreadableError : another shape or sample type.
    """
    if array.dtype != np.uint8 or array.ndim not in (2, 3):
        raise UnreadableError("pixel_kind", f"{array.dtype} samples")
    planes = array if array.ndim == 3 else array[..., None]
    channels = planes.shape[2]
    if channels == 1:
        return np.repeat(planes, 3, axis=2)
    if channels == 3:
        return np.ascontiguousarray(planes)
    if channels == 4:
        return rgb_from_image(Image.fromarray(np.ascontiguousarray(planes)))
    raise UnreadableError("pixel_kind", f"{channels} channels")


def upright(rgb: Pixels, orientation: int) -> Pixels:
    """Apply EXIF orientation 1 to 8 once (CIPA DC-008: which edge of the scene row 0 and column 0 hold)."""
    match orientation:
        case 2:
            turned = cv2.flip(rgb, 1)
        case 3:
            turned = cv2.rotate(rgb, cv2.ROTATE_180)
        case 4:
            turned = cv2.flip(rgb, 0)
        case 5:
            turned = cv2.transpose(rgb)
        case 6:
            turned = cv2.rotate(rgb, cv2.ROTATE_90_CLOCKWISE)
        case 7:
            turned = cv2.rotate(cv2.transpose(rgb), cv2.ROTATE_180)
        case 8:
            turned = cv2.rotate(rgb, cv2.ROTATE_90_COUNTERCLOCKWISE)
        case _:
            return rgb
    return np.ascontiguousarray(turned, dtype=np.uint8)
