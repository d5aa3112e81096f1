"""Photographs and pictures of other things are refused: all that come with scikit-image.

SciPy brings no pictures of its own any more (`scipy.datasets` downloads them).
"""

from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage
from PIL import Image

from tests.hostile.cases import measure_picture
from vision.photo import Photograph, Unreadable, decode_photograph
from vision.photo.photograph import Pixels
from vision.photo.refusal import MIN_SHORT_SIDE_PX

FOLDER = Path(skimage.__file__).parent / "data"
FILES = sorted(path for path in FOLDER.iterdir() if path.suffix in (".png", ".jpg", ".gif", ".tif", ".npy", ".npz"))
STACKS = {"multipage.tif", "multipage_rgb.tif"}  # two pages, a few pixels wide, one of 64-bit numbers


def pixels_of(path: Path) -> Pixels:
    """The picture as (H, W, 3), enlarged where it is smaller than the decoder takes."""
    if path.suffix in (".npy", ".npz"):
        stored = np.load(path)
        values = stored if path.suffix == ".npy" else stored[stored.files[0]]
        if values.ndim == 3:  # a stack of small pictures, put side by side
            values = np.hstack([np.vstack(list(part)) for part in np.array_split(values, 10)])
        values = np.where(np.isfinite(values), values, 0.0)
        grey = (values * (255.0 / values.max())).astype(np.uint8)
        rgb = np.repeat(grey[..., None], 3, axis=2)
    else:
        with Image.open(path) as image:
            rgb = np.asarray(image.convert("RGB"))
    scale = max(1.0, (MIN_SHORT_SIDE_PX + 1) / min(rgb.shape[:2]))
    enlarged = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    return np.ascontiguousarray(enlarged, dtype=np.uint8)


def test_the_pictures_are_there() -> None:
    assert len(FILES) >= 25
    assert {"astronaut.png", "page.png", "brick.png", "rocket.jpg"} <= {path.name for path in FILES}


@pytest.mark.parametrize("path", [path for path in FILES if path.name not in STACKS], ids=lambda path: path.name)
def test_a_picture_of_something_else_is_refused(path: Path) -> None:
    photo = Photograph(path.name, pixels_of(path), None, 0.04, "0" * 64, "PNG")
    assert measure_picture(photo) == "decoded, no neck"


@pytest.mark.parametrize("name", sorted(STACKS))
def test_a_stack_of_pictures_is_not_read(name: str) -> None:
    assert isinstance(decode_photograph((FOLDER / name).read_bytes(), name), Unreadable)
