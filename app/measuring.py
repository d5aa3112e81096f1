"""Measuring one set of photographs in the background, so that its result outlives page and session.

A result is kept as a file under a key made of the photographs' bytes, the corners marked by hand, what was stated
and the program's version: asking the same question again, after a reload or a correction taken back, answers at
once, and a measurement that ends while nobody looks is not lost. Never keyed on pixels, of which a cache would see
only a sample.
"""

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import astuple, dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from app import __version__
from app.contract import contract_text, outcome_to_contract
from app.files import write_whole
from app.jobs import Job, Jobs, Progress
from app.overlay import overlay_jpeg
from app.record.inspection import Measurement, Photo, Sighting, now_utc
from app.workers import measure_side_by_side
from vision.measure import CornerStart
from vision.photo import PhotoFile, Photograph, decode_photograph
from vision.results import PhotoResult
from vision.settings import StatedNeck, Thresholds

ReadPhoto = Callable[[str], bytes]  # SHA-256 of a kept photograph to its bytes
RESULTS_KEPT = 300
MEASURING: Jobs[Measurement] = Jobs(workers=1, kept=20)


@dataclass(frozen=True, slots=True)
class Question:
    """What is to be measured: photographs with names that differ, and what is stated."""

    photos: tuple[Photo, ...]
    stated: StatedNeck

    def __post_init__(self) -> None:
        if not self.photos:
            raise ValueError("photos=(): there is no photograph to measure")

    def key(self) -> str:
        """What tells two questions apart, as a file name."""
        parts = ([(p.sha256, p.name, p.corners) for p in self.photos], astuple(self.stated), __version__)
        return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def question_of(sighting: Sighting, stated: StatedNeck) -> Question:
    """The question a sighting asks. Raises ValueError when it has no photographs."""
    names = distinct_names(tuple(photo.name or "photograph" for photo in sighting.photos))
    photos = tuple(Photo(p.sha256, name, p.corners) for p, name in zip(sighting.photos, names, strict=True))
    return Question(photos, stated)


class KeptMeasurements:
    """Finished measurements in a folder, one file each, written whole or not at all."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def find(self, key: str) -> Measurement | None:
        """The measurement kept under key; None when there is none that can be read."""
        try:
            stored = json.loads((self._folder / f"{key}.json").read_text(encoding="utf-8"))
            return Measurement(stored["version"], datetime.fromisoformat(stored["measured_at"]), stored["contract"])
        except (OSError, ValueError, KeyError, TypeError):
            return None  # to be measured again

    def keep(self, key: str, measurement: Measurement) -> None:
        """Keep a measurement; the oldest beyond RESULTS_KEPT leave."""
        self._folder.mkdir(parents=True, exist_ok=True)
        stored = {
            "version": measurement.version,
            "measured_at": measurement.measured_at.isoformat(),
            "contract": measurement.contract,
        }
        write_whole(self._folder / f"{key}.json", json.dumps(stored, allow_nan=False).encode())
        files = sorted(self._folder.glob("*.json"), key=lambda file: file.stat().st_mtime)
        for old in files[: max(0, len(files) - RESULTS_KEPT)]:
            old.unlink(missing_ok=True)


def ask(question: Question, read_photo: ReadPhoto, kept: KeptMeasurements) -> Job[Measurement]:
    """The state of this question's measurement, which is begun if it was not; the result is kept when it ends."""
    key = question.key()
    if MEASURING.state(key) is None and (found := kept.find(key)) is not None:
        return Job("done", result=found)

    def work(progress: Progress) -> Measurement:
        measurement = measure(question, read_photo, progress)
        kept.keep(key, measurement)
        return measurement

    return MEASURING.ask(key, work)


def ask_again(question: Question) -> None:
    """Forget a measurement that failed, so that the next `ask` begins it anew."""
    MEASURING.forget(question.key())


def measure(question: Question, read_photo: ReadPhoto, progress: Progress) -> Measurement:
    """Measure by processes beside this one.

    Raises ValueError when something stated cannot be; an unusable photograph is part of the outcome.
    """
    files = [PhotoFile(read_photo(photo.sha256), photo.name) for photo in question.photos]
    starts: Mapping[int, CornerStart] = {
        index: CornerStart(np.array(photo.corners, dtype=np.float64))
        for index, photo in enumerate(question.photos)
        if photo.corners is not None
    }
    outcome = measure_side_by_side(files, question.stated, starts=starts or None, progress=progress)
    contract = json.loads(contract_text(outcome_to_contract(outcome, Thresholds(), __version__)))
    return Measurement(__version__, now_utc(), contract)


def drawn_photograph(data: bytes, photo: PhotoResult) -> bytes | None:
    """The photograph with what was seen in it, as JPEG without any camera record; None if it is no picture."""
    photograph = decode_photograph(data, photo.name)
    if not isinstance(photograph, Photograph):
        return None
    return overlay_jpeg(photograph.rgb, photo, strip=False)


def distinct_names(names: tuple[str, ...]) -> tuple[str, ...]:
    """The names, a repeated one followed by (2), (3) and so on."""
    result: list[str] = []
    for name in names:
        wanted, count = name, 1
        while wanted in result:
            count += 1
            wanted = f"{name} ({count})"
        result.append(wanted)
    return tuple(result)
