"""Drawing on photographs: the marks lie where the record says, the rest of the picture stays visible."""

import dataclasses
import io
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image

from app import overlay
from app.overlay import Crop, draw_overlay, neck_crop, numbered_frets, overlay_jpeg
from tests import fixtures_results
from vision.results import PhotoTrace

KINDS = ("bass", "treble", "front")


def near(picture: overlay.Picture, at: tuple[float, float], colour: overlay.Colour, within: int = 2) -> bool:
    """Whether a pixel about like colour lies within a few px of (x, y)."""
    x, y = round(at[0]), round(at[1])
    part = picture[max(0, y - within) : y + within + 1, max(0, x - within) : x + within + 1].astype(int)
    return bool((np.abs(part - np.array(colour)).max(axis=-1) <= 60).any())


@pytest.mark.parametrize("kind", KINDS)
def test_size_and_place_of_the_cut_out(kind: str) -> None:
    picture = fixtures_results.picture(kind)  # type: ignore[arg-type]
    photo = fixtures_results.photo_result("x.jpg", kind)  # type: ignore[arg-type]
    drawn = draw_overlay(picture, photo, strip=False)
    assert drawn.dtype == np.uint8
    assert 900 <= max(drawn.shape[:2]) <= 1700
    assert photo.trace is not None
    crop = neck_crop(photo.trace, picture.shape[1], picture.shape[0])
    lines = crop.to_crop_px(photo.trace.fret_line_px)
    assert lines.min() > 0
    assert (lines.reshape(-1, 2).max(axis=0) < [drawn.shape[1], drawn.shape[0]]).all()


@pytest.mark.parametrize("kind", KINDS)
def test_marks_lie_on_the_fret_tops(kind: str) -> None:
    picture = fixtures_results.picture(kind)  # type: ignore[arg-type]
    photo = fixtures_results.photo_result("x.jpg", kind)  # type: ignore[arg-type]
    trace = photo.trace
    assert trace is not None
    crop = neck_crop(trace, picture.shape[1], picture.shape[0])
    drawn = draw_overlay(picture, photo, strip=False)
    for k in range(1, 22):
        x, y = crop.to_crop_px(trace.treble_top_px[k])
        assert near(drawn, (x, y), overlay.TREBLE_DOT), f"treble dot of fret {k + 1}"
    x, y = crop.to_crop_px(trace.fret_line_px[9, 4])
    assert near(drawn, (x, y), overlay.FRET)


def test_unused_frets_are_drawn_differently() -> None:
    photo = fixtures_results.photo_result("x.jpg", "bass")
    trace = photo.trace
    assert trace is not None
    picture = fixtures_results.picture("bass")
    crop = neck_crop(trace, picture.shape[1], picture.shape[0])
    all_used = dataclasses.replace(photo, trace=dataclasses.replace(trace, used_fret=np.ones(22, dtype=bool)))
    one, other = draw_overlay(picture, photo, strip=False), draw_overlay(picture, all_used, strip=False)
    changed = np.abs(one.astype(int) - other.astype(int)).max(axis=-1) > 30
    rows = np.flatnonzero(changed.any(axis=1))
    unused = crop.to_crop_px(trace.fret_line_px[[0, 4]])[..., 1]
    assert changed.sum() > 200
    assert min(abs(rows.min() - unused[0].min()), abs(rows.min() - unused[0].max())) < 14
    assert rows.max() < crop.to_crop_px(trace.fret_line_px[5, 0])[1] + 14, "used frets are left as they were"


def test_the_picture_given_is_not_changed_and_stays_visible() -> None:
    picture = fixtures_results.picture("bass")
    before = picture.copy()
    photo = fixtures_results.photo_result("x.jpg", "bass")
    drawn = draw_overlay(picture, photo, strip=False)
    np.testing.assert_array_equal(picture, before)
    assert photo.trace is not None
    bare = overlay.cut_out(picture, neck_crop(photo.trace, picture.shape[1], picture.shape[0]))
    same = (drawn == bare).all(axis=-1).mean()
    assert 0.90 < same < 0.999


def test_pixel_centres_are_kept_by_the_enlargement() -> None:
    crop = Crop(x0=10, y0=20, width=40, height=40, scale=4.0)
    np.testing.assert_allclose(crop.to_crop_px(np.array([9.5, 19.5])), [-0.5, -0.5], rtol=0, atol=1e-12)
    np.testing.assert_allclose(crop.to_crop_px(np.array([10.0, 20.0])), [1.5, 1.5], rtol=0, atol=1e-12)


def test_refused_photographs_carry_their_reason() -> None:
    picture = fixtures_results.picture(None)
    photo = fixtures_results.refused_photo()
    bare, drawn = draw_overlay(picture, photo, strip=False), draw_overlay(picture, photo)
    assert max(bare.shape[:2]) == overlay.REDUCED_LONG_SIDE_PX
    strip = drawn[bare.shape[0] :]
    assert strip.shape[0] >= 60
    assert (strip.min(axis=-1) < 120).sum() > 300, "there is dark text on it"


def test_nothing_seen_at_all_does_not_fail() -> None:
    nowhere = np.full((22, 2), np.nan)
    trace = PhotoTrace(
        nowhere, nowhere, np.full((22, 5, 2), np.nan), np.zeros(22, dtype=bool), np.full((2, 2), np.nan), ()
    )
    photo = dataclasses.replace(fixtures_results.refused_photo(), trace=trace)
    assert draw_overlay(fixtures_results.picture(None), photo).shape[2] == 3


def test_partly_seen_frets_are_drawn() -> None:
    photo = fixtures_results.photo_result("x.jpg", "bass")
    assert photo.trace is not None
    lines = photo.trace.fret_line_px.copy()
    lines[7] = np.nan
    lines[8, :4] = np.nan
    trace = dataclasses.replace(photo.trace, fret_line_px=lines, nut_px=np.full((2, 2), np.nan))
    drawn = draw_overlay(fixtures_results.picture("bass"), dataclasses.replace(photo, trace=trace))
    assert drawn.shape[2] == 3


def test_numbers_do_not_crowd() -> None:
    assert numbered_frets(np.full(21, 40.0), 22) == list(range(1, 23))
    few = numbered_frets(np.full(21, 6.0), 22)
    assert {1, 12, 22} <= set(few)
    assert all(b - a >= 3 for a, b in pairwise(few))


def test_jpeg_can_be_read_back() -> None:
    photo = fixtures_results.photo_result("x.jpg", "front")
    data = overlay_jpeg(fixtures_results.picture("front"), photo)
    image = Image.open(io.BytesIO(data))
    assert image.format == "JPEG"
    assert image.size == draw_overlay(fixtures_results.picture("front"), photo).shape[1::-1]
