"""The truth files beside the photographs are what the scenes say, and stay so."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from sample_images.scenes.build import cameras, photograph_truths
from sample_images.scenes.camera import FrontView
from sample_images.scenes.necks import NeckScene, random_necks, sample_necks
from tests.sample_necks import SAMPLES

SCENES = {scene.name: scene for scene in sample_necks()}


@pytest.mark.parametrize("name", sorted(SCENES))
def test_the_kept_truth_is_the_scenes_truth_and_the_picture_has_its_size(name: str) -> None:
    for kind, truth in photograph_truths(SCENES[name]).items():
        kept = json.loads((SAMPLES / f"{name}_{kind}.json").read_text())
        assert kept == json.loads(json.dumps(truth))
        with Image.open(SAMPLES / f"{name}_{kind}.jpg") as image:
            assert sorted(image.size) == sorted((truth["camera"]["width"], truth["camera"]["height"]))


def _sides(name: str) -> tuple[dict[str, object], dict[str, object]]:
    truth = photograph_truths(SCENES[name])["bass"]
    return truth["sides"]["bass"], truth["sides"]["treble"]


@pytest.mark.parametrize(("name", "low_mm", "high_mm"), [
    ("straight", -0.01, 0.01), ("high_fret_left_handed", 0.14, 0.19), ("back_bow_compound", -0.26, -0.22),
    ("bow_and_twist", 0.28, 0.34), ("bass_rise", 0.20, 0.30)])
def test_each_sample_has_the_relief_its_name_promises(name: str, low_mm: float, high_mm: float) -> None:
    for side in _sides(name):
        assert low_mm < side["relief_mm"] < high_mm


def test_the_twisted_sample_is_twisted_and_the_others_are_not() -> None:
    for name, scene in SCENES.items():
        twist = photograph_truths(scene)["front"]["neck_twist_deg"]
        assert twist == pytest.approx(0.28 if name == "bow_and_twist" else 0.0, rel=0, abs=0.002)


def test_the_high_fret_stands_0_12_mm_above_the_smooth_neck_apart_from_wear() -> None:
    for side in _sides("high_fret_left_handed"):
        rise = np.array(side["neck_gap_mm"]) - np.array(side["gap_to_chord_mm"])
        assert int(np.argmax(rise)) + 1 == 9
        assert 0.09 < rise[8] < 0.15


def test_a_left_handed_guitar_is_the_mirror_picture_of_the_right_handed_one() -> None:
    left = SCENES["high_fret_left_handed"]
    level = {"tilt_deg": 0.0, "off_centre": (0.0, 0.0)}
    left = replace(left, bass_view=replace(left.bass_view, **level), treble_view=replace(left.treble_view, **level))
    right = replace(left, guitar=replace(left.guitar, left_handed=False))
    seen_left, seen_right = (photograph_truths(scene)["bass"] for scene in (left, right))
    for side in ("bass", "treble"):
        a = np.array(seen_left["sides"][side]["fret_top_px"])
        b = np.array(seen_right["sides"][side]["fret_top_px"])
        centre = seen_left["camera"]["cx"]
        np.testing.assert_allclose(a[:, 0] - centre, centre - b[:, 0], rtol=0, atol=0.003)
        np.testing.assert_allclose(a[:, 1], b[:, 1], rtol=0, atol=0.003)
    assert seen_left["known_to_the_user"]["left_handed"] is True
    assert "left_handed" not in seen_right["known_to_the_user"]
    np.testing.assert_allclose(seen_left["camera"]["centre"], seen_right["camera"]["centre"], rtol=0, atol=1e-6)


def test_string_lines_pass_over_the_fret_tops() -> None:
    scene = SCENES["straight"]
    for kind, (camera, _) in cameras(scene).items():
        truth = photograph_truths(scene)[kind]
        for side in ("bass", "treble"):
            line = truth["sides"][side]["string_px"]
            tops = np.array(truth["sides"][side]["fret_top_px"])
            assert len(line) == 11
            assert 0.3 < truth["sides"][side]["string_over_fret_mm"][0] < 1.0
            assert tops.min() > 0
            assert (tops < [camera.width_px, camera.height_px]).all()


def test_a_view_that_cuts_frets_off_is_refused_by_name() -> None:
    scene = SCENES["straight"]
    close = replace(scene, front_view=FrontView(60.0, 420.0, True))
    with pytest.raises(ValueError, match="scene straight: a fret top of the front photograph lies outside the frame"):
        photograph_truths(close)


def _necks(seed: int, count: int) -> list[NeckScene]:
    return list(random_necks(seed, count))


def test_random_necks_repeat_from_their_seed_and_do_not_depend_on_how_many() -> None:
    few, many = _necks(9, 3), _necks(9, 6)
    assert [s.guitar.neck for s in few] == [s.guitar.neck for s in many[:3]]
    assert _necks(10, 1)[0].guitar.neck != few[0].guitar.neck
    for scene in many:
        assert 41.0 <= scene.guitar.neck.nut_width_mm <= 43.5
        assert 50.5 <= scene.guitar.neck.width_at_12_mm <= 53.5
        photograph_truths(scene)
