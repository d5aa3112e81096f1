"""A camera first placed much too near, as where the lens is unknown: the next pass still draws the frets."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from tests.sample_necks import photograph, truth_of
from vision.fit.neck_model import middle_of
from vision.fit.start import first_camera
from vision.fit.string_prior import string_prior, string_radii_mm
from vision.locate import LocatedNeck, locate_neck
from vision.trace.photo_trace import measure_photo
from vision.trace.strip import NeckLight, crop_light


@pytest.mark.parametrize(("neck", "share"), [("back_bow_compound", 0.6), ("back_bow", 0.5)])
def test_the_blur_goes_with_the_camera(neck: str, share: float) -> None:
    photo, stated = photograph(neck, "front"), truth_of(neck).stated
    assert photo.focal_prior_px is not None
    located = locate_neck(photo.rgb, stated.frets)
    assert isinstance(located, LocatedNeck)
    right = first_camera(photo, located.fret_ends_px, stated)
    shorter = replace(photo, focal_prior_px=share * photo.focal_prior_px)
    near = first_camera(shorter, located.fret_ends_px, stated)
    distances_mm = [np.linalg.norm(first.camera.position_mm - middle_of(right.model)) for first in (near, right)]
    assert distances_mm[0] / distances_mm[1] == pytest.approx(0.6, rel=0, abs=0.15)
    model, radius_mm = right.model, string_radii_mm(stated.scale_length_mm, 6)
    lines = string_prior(model, model.mean, radius_mm)[0]
    crop = crop_light(photo.rgb, located.fret_ends_px.reshape(-1, 2))
    light = NeckLight(crop, crop)
    trace = partial(measure_photo, light, model=model, theta=model.mean, string_lines=lines, radius_mm=radius_mm)
    again = trace(right.camera, trace(near.camera, None))
    assert 0.9 < again.usable.mean() <= 1.0
    fresh, rows = trace(right.camera, None), again.strip.top_row.astype(int)
    depth_m = again.strip.depth_m[rows]
    np.testing.assert_allclose(again.blur.spread_px(depth_m), fresh.blur.spread_px(depth_m), rtol=0, atol=0.15)
