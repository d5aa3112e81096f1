"""The scenes behind the range of validity: one neck, the stated angles, lamps mirrored where they should be."""

from __future__ import annotations

import numpy as np
import pytest

from sample_images.scenes.build import cameras, photograph_truths
from sample_images.scenes.camera import Camera
from sample_images.scenes.room import Light
from sample_images.scenes.validity_scenes import (
    FRONT_ANGLES_DEG,
    LOW_ANGLES_DEG,
    hard_lamp,
    soft_lamp,
    validity_scenes,
)

SEED = 1
SCENES = {scene.name: (scene, kinds) for scene, kinds in validity_scenes(SEED)}


def _angle_deg(camera: Camera, middle_z_mm: float) -> float:
    _, y, z = camera.position_mm
    return float(np.rad2deg(np.arctan2(y, abs(z - middle_z_mm))))


@pytest.mark.parametrize("name", sorted(SCENES))
def test_every_photograph_shows_all_frets_of_the_same_neck(name: str) -> None:
    scene, kinds = SCENES[name]
    usual, _ = SCENES["angle08"]
    expected = photograph_truths(usual, ["bass"])["bass"]
    for truth in photograph_truths(scene, kinds).values():  # raises where a fret lies outside the frame
        assert truth["frets"] == 24
        for key in ("neck_roll_deg", "fret_height_error_mm", "scale_length_mm"):
            assert truth[key] == expected[key]
        for side in ("bass", "treble"):
            assert truth["sides"][side]["neck_gap_mm"] == expected["sides"][side]["neck_gap_mm"]


def test_there_are_35_photographs_each_with_its_own_noise() -> None:
    assert sum(len(kinds) for _, kinds in SCENES.values()) == 35
    assert len(SCENES) == 20
    assert len({scene.take for scene, _ in SCENES.values()}) == 20


def test_cameras_stand_at_the_angles_in_the_names() -> None:
    for prefix, angles, kind in (("angle", LOW_ANGLES_DEG, "treble"), ("height", FRONT_ANGLES_DEG, "front")):
        assert sorted(n for n in SCENES if n.startswith(prefix)) == [f"{prefix}{a:02.0f}" for a in angles]
        for angle in angles:
            scene, _ = SCENES[f"{prefix}{angle:02.0f}"]
            middle = float(scene.guitar.neck.fret_z_mm()[-1]) / 2.0
            assert _angle_deg(cameras(scene)[kind][0], middle) == pytest.approx(angle, rel=0, abs=1e-9)


def _mirrored_z_mm(camera: Camera, light: Light) -> float:
    """Where on the flat board at y = 0 the camera sees the light's middle mirrored."""
    middle = light.corner + light.edge_a / 2.0 + light.edge_b / 2.0
    share = camera.position_mm[1] / (camera.position_mm[1] + middle[1])
    return float(camera.position_mm[2] + share * (middle[2] - camera.position_mm[2]))


@pytest.mark.parametrize("kind", ["bass", "treble"])
def test_the_board_mirrors_the_hard_lamp_between_its_frets_and_the_soft_one_off_the_neck(kind: str) -> None:
    scene, _ = SCENES["board_pale_hard"]
    assert len(scene.lamps) == 1
    camera, _ = cameras(scene)[kind]
    assert 0.0 < _mirrored_z_mm(camera, hard_lamp()) < float(scene.guitar.neck.fret_z_mm()[-1])
    assert _mirrored_z_mm(camera, soft_lamp()) < -100.0
    area = [np.linalg.norm(np.cross(lamp.edge_a, lamp.edge_b)) for lamp in (hard_lamp(), soft_lamp())]
    assert area[0] * 50.0 < area[1]


def test_boards_and_lamps_differ_and_nothing_else_does() -> None:
    woods = {name: SCENES[name][0].guitar.wood for name in SCENES if name.startswith("board_")}
    assert woods == {"board_dark_hard": "dark brown", "board_middle_soft": "baked", "board_middle_hard": "baked",
                     "board_pale_soft": "pale lacquered", "board_pale_hard": "pale lacquered"}
    usual, _ = SCENES["angle08"]
    for name in woods:
        scene, kinds = SCENES[name]
        assert kinds == ("bass", "treble")
        assert (scene.bass_view, scene.treble_view, scene.processing) == (usual.bass_view, usual.treble_view,
                                                                          usual.processing)


def test_another_seed_is_another_neck() -> None:
    other, _ = next(validity_scenes(SEED + 1))
    assert other.guitar.neck.curve != SCENES["angle08"][0].guitar.neck.curve
