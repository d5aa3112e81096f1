"""Command that builds the scenes, photographs them and writes the truth beside.

    python -m sample_images.scenes.build FOLDER [--random COUNT | --validity] [--seed N] [--variant llvm_ad_rgb]
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sample_images.scenes.camera import Camera, Lens, place_front, place_low
from sample_images.scenes.necks import NeckScene, random_necks, sample_necks
from sample_images.scenes.picture import RENDER_MARGIN_PX, developed, distorted, jpeg
from sample_images.scenes.room import workshop
from sample_images.scenes.truth import truth_of_photograph
from sample_images.scenes.validity_scenes import validity_scenes

FRAME_MARGIN_PX = 40
FINE_MARGIN_PX = 110
DEVELOPING_AT_ONCE = 4
KINDS = ("bass", "treble", "front")


def cameras(scene: NeckScene) -> dict[str, tuple[Camera, Lens]]:
    """The camera and lens of each of the three photographs; a left-handed guitar's strings change sides."""
    hand = -1.0 if scene.guitar.left_handed else 1.0
    neck, phone = scene.guitar.neck, scene.phone
    shift_x, shift_y = np.random.default_rng([scene.seed, 5]).uniform(-15.0, 15.0, 2)
    shift = (float(shift_x), float(shift_y))
    placed = {}
    for kind, view in (("bass", scene.bass_view), ("treble", scene.treble_view)):
        in_world = replace(view, side=hand * view.side)
        placed[kind] = (place_low(in_world, neck, phone, scene.low_lens, shift), scene.low_lens)
    placed["front"] = (place_front(scene.front_view, neck, phone, scene.front_lens, shift), scene.front_lens)
    return placed


def photograph_truths(scene: NeckScene, kinds: Iterable[str] = KINDS) -> dict[str, dict[str, Any]]:
    """Truth of the photographs of these `kinds`, checked to show every fret top.

    Raises ValueError naming the photograph in which a fret top falls outside the frame.
    """
    truths = {}
    placed = cameras(scene)
    for kind in kinds:
        camera, _ = placed[kind]
        truth = truth_of_photograph(scene.guitar, camera, f"{scene.name}_{kind}", scene.shape)
        tops = np.concatenate([truth["sides"][side]["fret_top_px"] for side in ("bass", "treble")])
        limit = np.array([camera.width_px, camera.height_px]) - 1 - FRAME_MARGIN_PX
        if (tops < FRAME_MARGIN_PX).any() or (tops > limit).any():
            raise ValueError(f"scene {scene.name}: a fret top of the {kind} photograph lies outside the frame")
        truths[kind] = truth
    return truths


def photograph(scene: NeckScene, truths: dict[str, dict[str, Any]], folder: Path, samples: int, samples_neck: int,
               pool: Executor) -> list[Future[None]]:
    """Render the photographs of one neck that have `truths`; `pool` develops and writes both to `folder`."""
    from sample_images.scenes.render import PixelBox, path_traced_finer_inside, scene_contents

    rng = np.random.default_rng([scene.seed, 11])
    room = workshop(rng, scene.bench, scene.daylight, scene.lamps)
    contents = scene_contents(scene.guitar.parts(rng), room)
    placed = cameras(scene)
    written = []
    for kind, truth in truths.items():
        camera, lens = placed[kind]
        left, top, right, bottom = _box_about_frets(truth, camera, FINE_MARGIN_PX)
        wider = PixelBox(left + RENDER_MARGIN_PX, top + RENDER_MARGIN_PX, right + RENDER_MARGIN_PX,
                         bottom + RENDER_MARGIN_PX)
        seed = 10 * (scene.seed + scene.take) + 2 * KINDS.index(kind)
        linear = path_traced_finer_inside(contents, camera, samples, samples_neck, wider, seed)
        written.append(pool.submit(_write, scene, kind, linear, camera, lens, truth, folder))
    return written


def _write(scene: NeckScene, kind: str, linear: NDArray[np.float32], camera: Camera, lens: Lens,
           truth: dict[str, Any], folder: Path) -> None:
    left, top, right, bottom = _box_about_frets(truth, camera, FRAME_MARGIN_PX)
    metered = np.zeros((camera.height_px, camera.width_px), dtype=bool)
    metered[top:bottom, left:right] = True
    noise = np.random.default_rng([scene.seed, KINDS.index(kind), 13, scene.take])
    picture = developed(distorted(linear, camera), metered, scene.processing, noise)
    (folder / f"{scene.name}_{kind}.jpg").write_bytes(jpeg(picture, lens, scene.processing))
    (folder / f"{scene.name}_{kind}.json").write_text(json.dumps(truth, indent=1) + "\n")


def _box_about_frets(truth: dict[str, Any], camera: Camera, margin_px: int) -> tuple[int, int, int, int]:
    """Left, top, right, bottom of the picture's part that shows the frets."""
    tops = np.concatenate([truth["sides"][side]["fret_top_px"] for side in ("bass", "treble")])
    left, top = np.maximum(tops.min(axis=0) - margin_px, 0).astype(int)
    right, bottom = np.minimum(tops.max(axis=0) + margin_px, [camera.width_px, camera.height_px]).astype(int)
    return int(left), int(top), int(right), int(bottom)


def main() -> None:
    """Parse the command line and build."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--random", type=int, default=0, metavar="COUNT", help="random necks instead of the samples")
    which.add_argument("--validity", action="store_true", help="one random neck seen from many places, see "
                       "validity_scenes.py")
    parser.add_argument("--seed", type=int, default=1, help="of the random necks")
    parser.add_argument("--only", default="", help="only scenes whose name contains this")
    parser.add_argument("--variant", default="llvm_ad_rgb", help="Mitsuba's engine; cuda_ad_rgb with a GPU")
    parser.add_argument("--samples", type=int, default=144, help="light paths a pixel of the whole picture")
    parser.add_argument("--samples-neck", type=int, default=576, help="light paths a pixel about the frets")
    options = parser.parse_args()

    from sample_images.scenes.render import use_variant

    use_variant(options.variant)
    options.folder.mkdir(parents=True, exist_ok=True)
    wanted: Iterable[tuple[NeckScene, tuple[str, ...]]]
    if options.validity:
        wanted = validity_scenes(options.seed)
    else:
        necks = random_necks(options.seed, options.random) if options.random else sample_necks()
        wanted = ((scene, KINDS) for scene in necks)
    written: list[Future[None]] = []
    with ThreadPoolExecutor(DEVELOPING_AT_ONCE) as pool:
        for scene, kinds in wanted:
            if options.only in scene.name:
                try:
                    truths = photograph_truths(scene, kinds)
                except ValueError as outside:
                    if not options.random:
                        raise
                    print(f"left out: {outside}", flush=True)  # a random view may miss the neck
                    continue
                written += photograph(scene, truths, options.folder, options.samples, options.samples_neck, pool)
                print(f"{scene.name}: rendered", flush=True)
    for photo in written:
        photo.result()


if __name__ == "__main__":
    main()
