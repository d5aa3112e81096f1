"""What decoding returns: a photograph with upright pixels, or why the bytes cannot be used."""

import hashlib
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from vision.results import Flag

Pixels = NDArray[np.uint8]
SourceFormat = Literal["JPEG", "PNG", "WebP", "HEIF", "TIFF"]


@dataclass(frozen=True, eq=False)
class PhotoFile:
    """A file not yet decoded: data is the whole of it, name is only shown. A tenth of the size of its pixels."""

    data: bytes
    name: str

    @property
    def sha256(self) -> str:
        """As in Photograph."""
        return hashlib.sha256(self.data).hexdigest()


@dataclass(frozen=True, eq=False)
class Photograph:
    """One decoded photograph.

    Parameters
    ----------
    name : as given by the caller; never opened, only shown.
    rgb : (H, W, 3) uint8, upright, C-contiguous; grey pictures have three equal channels.
    focal_prior_px : focal length in pixels of the upright picture from its camera record, None when unknown.
    focal_prior_relative_u : relative standard uncertainty of that prior.
    sha256 : hex digest of the undecoded bytes, to recognise the same file twice.
    source_format : container the pixels came from.
    flags : what the user should know about the file.
    """

    name: str
    rgb: Pixels
    focal_prior_px: float | None
    focal_prior_relative_u: float
    sha256: str
    source_format: SourceFormat
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True)
class Unreadable:
    """A file that cannot be used: a short stable code, why, and what the user can do."""

    name: str
    code: str
    reason: str
    advice: str
