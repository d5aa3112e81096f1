"""Time and memory of every step of the measurement, beside well-known steps on the same photograph.

    python -m tests.benchmark.measure_benchmark [folder]

Runs on the first neck (by name) of which a folder holds photographs along both strings and from the front, with
the truth file that states its scale length and frets; the sample photographs by default. Every step runs in a
process of its own, so that its peak memory is its own; memory is what the process holds above a bare start
with all libraries loaded. Prints, asserts nothing: times depend on the machine.
"""

import argparse
import json
import multiprocessing
import os
import resource
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.feature import canny
from skimage.transform import probabilistic_hough_line

from app.workers import measure_side_by_side
from tests.sample_necks import SAMPLES
from vision.fit.joint import fit_jointly
from vision.fit.neck_model import NeckModel, build_neck_model
from vision.fit.observations import PhotoData
from vision.fit.rounds import View
from vision.fit.start import camera_prior, start_camera
from vision.fit.string_prior import centre_offset_u_mm, string_prior, string_radii_mm, usual_string_count
from vision.fit.width_prior import width_prior
from vision.locate import LocatedNeck, locate_neck
from vision.measure import measure_neck
from vision.photo import PhotoFile, Photograph, decode_photograph
from vision.results import Outcome
from vision.settings import StatedNeck
from vision.trace.photo_trace import PhotoMeasurement, measure_photo
from vision.trace.strip import neck_light

KINDS = ("bass", "treble", "front")
_REPEATS = 3  # of decoding, which is short enough to be drowned by a cold start: the best counts


@dataclass(frozen=True)
class Neck:
    """Bytes of the three photographs by kind, and what is stated of the neck."""

    name: str
    data: dict[str, bytes]
    stated: StatedNeck


@dataclass(frozen=True)
class Cost:
    """Seconds of the step alone; peak of its process above a bare start, MiB; a word on what came out."""

    seconds: float
    peak_mib: float
    outcome: str


Step = Callable[[Neck], tuple[float, str]]
"""Prepares, then times: seconds of the step alone, and a word on what came out."""


def main() -> int:
    parser = argparse.ArgumentParser(description="Time and memory of every step of the measurement.")
    parser.add_argument("folder", nargs="?", type=Path, default=SAMPLES, help="photographs and truth files")
    neck = first_neck(parser.parse_args().folder)
    bare = cost_of(nothing, neck, 0.0).peak_mib
    print(f"{neck.name}: {neck.stated.frets} frets, {neck.stated.scale_length_mm} mm; "
          f"{os.cpu_count()} cores; a bare start holds {bare:.0f} MiB")
    print(f"{'step':32s}{'s':>8s}{'MiB':>8s}{'decode':>10s}{'segments':>10s}{'Hough':>10s}  outcome")
    by_kind = []
    for kind in KINDS:
        only = Neck(neck.name, {kind: neck.data[kind]}, neck.stated)
        yards = [cost_of(step, only, bare) for step in (decode_only, line_segments, hough_lines)]
        by_kind.append(yards)
        for name, cost in zip(("decode the JPEG", "line segment detector", "probabilistic Hough"), yards,
                              strict=True):
            row(f"{kind}: {name} *", cost, yards)
        for name, step in (("decode", decode), ("locate", locate), ("trace once", trace)):
            row(f"{kind}: {name}", cost_of(step, only, bare), yards)
    whole = [total(costs) for costs in zip(*by_kind, strict=True)]
    row("joint fit once", cost_of(joint_fit, neck, bare), whole)
    row("whole, in one process", cost_of(everything, neck, bare), whole)
    row("whole, as the program does it **", cost_of(side_by_side, neck, bare), whole)
    print("* on the same frame, by others: OpenCV imdecode and line segment detector, scikit-image's Canny and "
          "probabilistic Hough.\nratio columns: the step's time over theirs; below the photographs, over the "
          "sum of all three. 'trace once' and 'joint fit once' run several times in a measurement.\n"
          "** by a process for each photograph; the seconds count their start, the memory is that of this one alone.")
    return 0


def first_neck(folder: Path) -> Neck:
    """Raises ValueError when the folder holds no whole set."""
    for bass in sorted(folder.glob("*_bass.jpg")):
        name = bass.name.removesuffix("_bass.jpg")
        paths = {kind: folder / f"{name}_{kind}.jpg" for kind in KINDS}
        record = bass.with_suffix(".json")
        if record.is_file() and all(path.is_file() for path in paths.values()):
            known = json.loads(record.read_text())
            stated = StatedNeck(float(known["scale_length_mm"]), int(known["frets"]))
            return Neck(name, {kind: path.read_bytes() for kind, path in paths.items()}, stated)
    raise ValueError(f"folder={str(folder)!r} holds no neck with *_bass.jpg, *_treble.jpg, *_front.jpg and .json")


def cost_of(step: Step, neck: Neck, bare_mib: float) -> Cost:
    """Run a step in a fresh process."""
    context = multiprocessing.get_context("spawn")
    receive, send = context.Pipe(duplex=False)
    process = context.Process(target=_child, args=(step, neck, send))
    process.start()
    send.close()  # ours: a child that dies then shows as an end of file
    try:
        seconds, peak, outcome = receive.recv()
    except EOFError:
        seconds, peak, outcome = float("nan"), float("nan"), "failed"
    process.join()
    return Cost(seconds, peak - bare_mib, outcome)


def _child(step: Step, neck: Neck, send: Connection) -> None:
    seconds, outcome = step(neck)
    unit = 1 if sys.platform == "darwin" else 1024  # bytes there, KiB elsewhere
    send.send((seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 2**20, outcome))
    send.close()


def row(name: str, cost: Cost, yards: list[Cost]) -> None:
    ratios = "".join(f"{cost.seconds / yard.seconds:9.2f}x" for yard in yards)
    print(f"{name:32s}{cost.seconds:8.2f}{cost.peak_mib:8.0f}{ratios}  {cost.outcome}", flush=True)


def total(costs: Sequence[Cost]) -> Cost:
    return Cost(sum(c.seconds for c in costs), max(c.peak_mib for c in costs), "")


# --- yardsticks ---


def nothing(neck: Neck) -> tuple[float, str]:
    return 0.0, ""


def _only(neck: Neck) -> tuple[str, bytes]:
    ((kind, data),) = neck.data.items()
    return f"{neck.name}_{kind}.jpg", data


def _grey(data: bytes) -> NDArray[np.uint8]:
    image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert image is not None
    return np.asarray(image, dtype=np.uint8)


def decode_only(neck: Neck) -> tuple[float, str]:
    _, data = _only(neck)
    seconds, size = [], 0.0
    for _ in range(_REPEATS):
        begun = time.perf_counter()
        image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
        seconds.append(time.perf_counter() - begun)
        assert image is not None
        size = image.shape[0] * image.shape[1] / 1e6
        del image
    return min(seconds), f"{size:.1f} megapixels"


def line_segments(neck: Neck) -> tuple[float, str]:
    grey = _grey(_only(neck)[1])
    begun = time.perf_counter()
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD).detect(grey)[0]
    return time.perf_counter() - begun, f"{0 if found is None else len(found)} segments"


def hough_lines(neck: Neck) -> tuple[float, str]:
    grey = _grey(_only(neck)[1])
    begun = time.perf_counter()
    edges = canny(grey, sigma=2.0)
    found = probabilistic_hough_line(edges, threshold=60, line_length=60, line_gap=4, rng=1)
    return time.perf_counter() - begun, f"{len(found)} lines"


# --- steps of the measurement ---


def _photograph(neck: Neck) -> Photograph:
    name, data = _only(neck)
    photo = decode_photograph(data, name)
    assert isinstance(photo, Photograph), photo
    return photo


def decode(neck: Neck) -> tuple[float, str]:
    seconds, shape = [], (0, 0)
    for _ in range(_REPEATS):
        begun = time.perf_counter()
        photo = _photograph(neck)
        seconds.append(time.perf_counter() - begun)
        shape = photo.rgb.shape[1], photo.rgb.shape[0]
        del photo
    return min(seconds), f"{shape[0]} x {shape[1]}"


def locate(neck: Neck) -> tuple[float, str]:
    photo = _photograph(neck)
    begun = time.perf_counter()
    found = locate_neck(photo.rgb, neck.stated.frets)
    seconds = time.perf_counter() - begun
    return seconds, f"score {found.score:.2f}" if isinstance(found, LocatedNeck) else found.reason


def _view(neck: Neck, model: NeckModel) -> View:
    photo = _photograph(neck)
    located = locate_neck(photo.rgb, neck.stated.frets)
    if not isinstance(located, LocatedNeck):
        raise ValueError(located.reason)
    height, width = photo.rgb.shape[:2]
    prior, prior_u = camera_prior(width, height, photo.focal_prior_px, photo.focal_prior_relative_u)
    camera, _ = start_camera(
        prior, photo.focal_prior_px is not None, float(np.hypot(width, height)), located.fret_ends_px, model,
        model.mean,
    )
    light = neck_light(photo.rgb, located.fret_ends_px.reshape(-1, 2), camera, model, model.mean)
    return View(photo.name, light, camera, prior, prior_u)


def _model(neck: Neck) -> NeckModel:
    widths = width_prior(neck.stated, with_front=True)
    return build_neck_model(neck.stated.scale_length_mm, neck.stated.frets, widths)


def _trace(view: View, model: NeckModel) -> PhotoMeasurement:
    count = usual_string_count(model.scale_length_mm)
    radius = string_radii_mm(model.scale_length_mm, count)
    strings, _ = string_prior(model, model.mean, radius)
    return measure_photo(
        view.light, view.camera, None, model=model, theta=model.mean, string_lines=strings, radius_mm=radius
    )


def trace(neck: Neck) -> tuple[float, str]:
    model = _model(neck)
    try:
        view = _view(neck, model)
    except ValueError as error:
        return float("nan"), str(error)
    begun = time.perf_counter()
    found = _trace(view, model)
    return time.perf_counter() - begun, f"{100 * found.usable.mean():.0f} % of stretches usable"


def joint_fit(neck: Neck) -> tuple[float, str]:
    model = _model(neck)
    count = usual_string_count(model.scale_length_mm)
    offset_u = centre_offset_u_mm(string_radii_mm(model.scale_length_mm, count))
    photos = []
    for kind, data in neck.data.items():
        try:
            view = _view(Neck(neck.name, {kind: data}, neck.stated), model)
        except ValueError:
            continue
        found = _trace(view, model)
        photos.append(PhotoData(
            view.camera, view.prior, view.prior_u, found.frets, found.ends, found.edges,
            found.string_data, offset_u,
        ))
    mean, covariance = string_prior(model, model.mean, string_radii_mm(model.scale_length_mm, count))
    begun = time.perf_counter()
    fit = fit_jointly(model, tuple(photos), model.mean, mean, mean, covariance)
    points = sum(len(p.frets.fret) for p in photos)
    word = "converged" if fit.converged else "not converged"
    return time.perf_counter() - begun, f"{len(photos)} photographs, {points} points, {word}"


def everything(neck: Neck) -> tuple[float, str]:
    return _whole(neck, measure_neck)


def side_by_side(neck: Neck) -> tuple[float, str]:
    return _whole(neck, measure_side_by_side)


def _whole(neck: Neck, measure: Callable[[list[PhotoFile], StatedNeck], Outcome]) -> tuple[float, str]:
    begun = time.perf_counter()
    outcome = measure([PhotoFile(data, f"{neck.name}_{kind}.jpg") for kind, data in neck.data.items()], neck.stated)
    used = sum(p.status == "measured" for p in outcome.photos)
    return time.perf_counter() - begun, f"{outcome.status}, {used} photographs used"


if __name__ == "__main__":
    sys.exit(main())
