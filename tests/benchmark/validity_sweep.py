"""Where the measurement holds: sample necks photographed worse and worse, against their known truth.

    python -m tests.benchmark.validity_sweep --out sweep.json --jobs 8

Each sample neck is measured from spoilt copies of its three photographs (fewer pixels, out of focus, noisy, hard
compressed, bent by a lens, a hand or a capo over frets) and with wrong or missing statements (scale length, front). A
row is measured, with its error in mm and in claimed standard uncertainties, or refused, with its reason. Not a test:
it takes minutes on many cores. Prints one line a condition and writes every row.
"""

import argparse
import json
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from sample_images.scenes.camera import Phone, look
from sample_images.scenes.necks import LENS_77
from tests.benchmark.known_neck import Picture, Record, compared, spoilt, stated_by_user, truth_up_to
from tests.sample_necks import SAMPLES

NECKS = ("forward_bow", "back_bow", "straight", "bow_and_twist")
KINDS = ("bass", "treble", "front")
CAPO_RGB = (42, 40, 44)
CAPO_MM = np.array([30.0, 20.0, 7.0])  # half its length across the neck, its height over the board, half its width
CAPO_BEFORE_FRET_MM = 9.0


@dataclass(frozen=True)
class Condition:
    """name and value for the table; spoil: picture in, picture out, `true_record` if its EXIF stays true of it; cover:
    the same, told where the neck is in this picture; scale and frets_more: changes to what is stated."""

    name: str
    value: str
    spoil: Callable[[Picture], Picture] | None = None
    true_record: bool = True
    cover: Callable[[Record, Picture], Picture] | None = None
    kinds: tuple[str, ...] = KINDS
    scale: float = 1.0
    frets_more: int = 0


def smaller(share: float, picture: Picture) -> Picture:
    return np.asarray(cv2.resize(picture, None, fx=share, fy=share, interpolation=cv2.INTER_AREA))


def _defocused(radius_px: float, picture: Picture) -> Picture:
    reach = int(np.ceil(radius_px))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = (x**2 + y**2 <= radius_px**2).astype(np.float32)
    return np.asarray(cv2.filter2D(picture, -1, disc / disc.sum()))


def _noisy(sigma: float, picture: Picture) -> Picture:
    noise = np.random.default_rng(3).normal(0.0, sigma, picture.shape)
    return np.clip(picture + noise, 0, 255).astype(np.uint8)


def _compressed(quality: int, picture: Picture) -> Picture:
    _, data = cv2.imencode(".jpg", cv2.cvtColor(picture, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR_RGB))


def _bent(corner: float, picture: Picture) -> Picture:
    """Radial distortion that moves the corner by a share of its distance from the middle."""
    height, width = picture.shape[:2]
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    x, y = x - (width - 1) / 2, y - (height - 1) / 2
    stretch = 1.0 + corner * (x**2 + y**2) / ((width / 2) ** 2 + (height / 2) ** 2)
    return np.asarray(
        cv2.remap(picture, x * stretch + (width - 1) / 2, y * stretch + (height - 1) / 2, cv2.INTER_CUBIC)
    )


def _hidden(share: float, picture: Picture) -> Picture:
    """A plain hand-coloured band across the middle of the picture."""
    height = picture.shape[0]
    covered = picture.copy()
    covered[int(height * (0.5 - share / 2)) : int(height * (0.5 + share / 2))] = (200, 150, 120)
    return covered


def with_capo(fret: int, known: Record, picture: Picture) -> Picture:
    """A plain bar across the neck just before a fret, standing as high as a capo does: seen low it hides more frets.

    The picture is taken as level, which is near enough for a bar.
    """
    known_camera = known["camera"]
    position, target = (np.array(known_camera[name]) for name in ("centre", "target"))
    phone = Phone(known_camera["width"], known_camera["height"])
    level = look(phone, LENS_77, position, target, 0.0, (0.0, 0.0), target)
    camera = replace(
        level,
        focal_px=known_camera["f"],
        centre_px=(known_camera["cx"], known_camera["cy"]),
        k1=known_camera["k1"],
        k2=known_camera["k2"],
    )
    z_mm = known["scale_length_mm"] * (1.0 - 2.0 ** (-fret / 12.0)) - CAPO_BEFORE_FRET_MM
    signs = np.array([(x, y, z) for x in (-1, 1) for y in (0, 1) for z in (-1, 1)])
    corners = camera.project(signs * CAPO_MM + (0.0, 0.0, z_mm))
    out = picture.copy()
    cv2.fillConvexPoly(out, cv2.convexHull(np.round(corners).astype(np.int32)), CAPO_RGB, cv2.LINE_AA)
    return out


def _cut(share: float, picture: Picture) -> Picture:
    """The picture cropped on one side: the lens's middle is no longer its middle."""
    return np.ascontiguousarray(picture[:, int(share * picture.shape[1]) :])


CONDITIONS = (
    Condition("as taken", ""),
    *(Condition("pixels", f"{s:g} of the size", partial(smaller, s)) for s in (0.7, 0.5, 0.35, 0.25)),
    *(Condition("defocus", f"{r:g} px", partial(_defocused, r)) for r in (2, 4, 8, 14)),
    *(Condition("noise", f"{s:g} of 255", partial(_noisy, s)) for s in (6, 15, 30)),
    *(Condition("JPEG quality", f"{q}", partial(_compressed, q)) for q in (80, 50, 20)),
    *(Condition("lens", f"{100 * c:+.1f} % at the corner", partial(_bent, c)) for c in (-0.02, -0.01, 0.01, 0.02)),
    *(Condition("hand over", f"{100 * s:g} % of the picture", partial(_hidden, s)) for s in (0.05, 0.12)),
    *(Condition("capo", f"before fret {k}", cover=partial(with_capo, k)) for k in (2, 7)),
    Condition("cropped", "a tenth off one side", partial(_cut, 0.1), true_record=False),
    *(Condition("scale length", f"{100 * (f - 1):+.1f} %", scale=f) for f in (0.98, 0.995, 1.005, 1.02)),
    *(Condition("frets stated", f"{n:+d}", frets_more=n) for n in (-1, 1)),
    Condition("photographs", "bass and treble", kinds=("bass", "treble")),
    Condition("photographs", "bass and front", kinds=("bass", "front")),
    Condition("photographs", "bass alone", kinds=("bass",)),
    Condition("photographs", "front alone", kinds=("front",)),
)


def _photograph(neck: str, kind: str, condition: Condition) -> bytes:
    data = (SAMPLES / f"{neck}_{kind}.jpg").read_bytes()
    if condition.cover is not None:
        data = spoilt(data, partial(condition.cover, json.loads((SAMPLES / f"{neck}_{kind}.json").read_text())))
    if condition.spoil is not None:
        data = spoilt(data, condition.spoil, keep_camera_record=condition.true_record)
    return data


def measure(neck: str, condition: Condition) -> Record:
    """One neck under one condition: a row for the table."""
    known = json.loads((SAMPLES / f"{neck}_bass.json").read_text())
    told = stated_by_user(known)
    stated = replace(
        told, scale_length_mm=told.scale_length_mm * condition.scale, frets=told.frets + condition.frets_more
    )
    photographs = {kind: _photograph(neck, kind, condition) for kind in condition.kinds}
    row = compared(photographs, stated, truth_up_to(known, known["frets"]))
    return {"neck": neck, "condition": condition.name, "value": condition.value} | row


def summary(rows: list[Record]) -> str:
    """One line: measured of all, relief error rms and worst, median claim, worst error in claims."""
    good = [row for row in rows if row["status"] == "measured"]
    if not good:
        return f"0 of {len(rows)} measured: {rows[0]['reason']}"
    relief = np.array([row["relief"][side] for row in good for side in ("bass", "treble")])
    twist = np.array([row["twist"] for row in good])
    in_u = np.abs(relief[:, 0] / relief[:, 1]).max(), np.abs(twist[:, 0] / twist[:, 1]).max()
    return (
        f"{len(good)} of {len(rows)} measured; relief error rms {np.sqrt(np.mean(relief[:, 0] ** 2)):.3f} worst "
        f"{np.abs(relief[:, 0]).max():.3f} mm, u {np.median(relief[:, 1]):.3f}, worst "
        f"{in_u[0]:.1f} u; twist worst {in_u[1]:.1f} u"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    with ProcessPoolExecutor(options.jobs) as pool:
        asked = [(c, [pool.submit(measure, neck, c) for neck in NECKS]) for c in CONDITIONS]
        rows = []
        for condition, results in asked:
            mine = [result.result() for result in results]
            rows += mine
            print(f"{condition.name:14s} {condition.value:24s} {summary(mine)}", flush=True)
    options.out.write_text(json.dumps(rows, indent=1))


if __name__ == "__main__":
    main()
