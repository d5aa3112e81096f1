"""Every sample photograph is found and numbered, checked against where its renderer put the frets."""

import json

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.sample_necks import SAMPLES
from vision.locate import LocatedNeck, locate_neck
from vision.photo import Photograph, decode_photograph

PHOTOGRAPHS = sorted(path.stem for path in SAMPLES.glob("*.jpg"))
SHARE = 0.35  # of the spacing: a wrong number would be off by 1, the foot of a crown taken for its top by 0.5 or so


def offsets(found: LocatedNeck, tops_px: NDArray[np.float64]) -> NDArray[np.float64]:
    """(N,) how far true tops under one string lie from the located frets there, along the neck, in spacings."""
    left, right = found.fret_ends_px[:, 0], found.fret_ends_px[:, 1]
    across = right - left
    share = np.sum((tops_px - left) * across, axis=1) / np.sum(across**2, axis=1)
    bow = found.fret_middles_px - (left + right) / 2.0
    places = left + share[:, None] * across + 4.0 * (share * (1.0 - share))[:, None] * bow
    along = np.gradient(places, axis=0)
    return np.asarray(np.sum((tops_px - places) * along, axis=1) / np.sum(along**2, axis=1))


@pytest.mark.parametrize("name", PHOTOGRAPHS)
def test_sample_photographs_are_numbered_as_they_were_made(name: str) -> None:
    known = json.loads((SAMPLES / f"{name}.json").read_text())
    photo = decode_photograph((SAMPLES / f"{name}.jpg").read_bytes(), name)
    assert isinstance(photo, Photograph)
    found = locate_neck(photo.rgb, known["frets"])
    assert isinstance(found, LocatedNeck), found
    for side in ("bass", "treble"):
        off = offsets(found, np.array(known["sides"][side]["fret_top_px"]))
        assert np.abs(off).max() < SHARE
    assert found.sureness >= 1.0
