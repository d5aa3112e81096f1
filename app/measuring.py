"""One measurement as the page asks for it: uploaded bytes and stated neck in, outcome and drawn pictures out.

Results are kept for a while, keyed on the bytes themselves and on the frozen settings, never on pixel arrays.
No photograph is kept here and nothing is written to disk.
"""

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from app.overlay import overlay_jpeg
from vision.measure import CornerStart, measure_neck
from vision.photo import Photograph, decode_photograph
from vision.results import Outcome
from vision.settings import StatedNeck

Corners = tuple[tuple[float, float], ...]  # (x, y) px: nut bass, nut treble, last treble, last bass
RESULTS_KEPT = 8


@dataclass(frozen=True)
class PhotoFile:
    """An uploaded file: its name, distinct among the files of one request, and its bytes."""

    name: str
    data: bytes


@dataclass(frozen=True)
class Request:
    """What is to be measured. starts holds marked corners, each with the index of its photograph."""

    files: tuple[PhotoFile, ...]
    stated: StatedNeck
    starts: tuple[tuple[int, Corners], ...] = ()

    def key(self) -> tuple[object, ...]:
        """What tells two requests apart, without the bytes themselves."""
        files = tuple((file.name, hashlib.sha256(file.data).hexdigest()) for file in self.files)
        return (files, self.stated, self.starts)


@dataclass(frozen=True)
class Run:
    """An outcome with one drawn-on JPEG a photograph, None where the file was no readable picture."""

    outcome: Outcome
    pictures: tuple[bytes | None, ...]


class RunCache:
    """The last few runs, the oldest leaving first; safe for several browser tabs."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._runs: OrderedDict[tuple[object, ...], Run] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: tuple[object, ...]) -> Run | None:
        """The run kept under key, or None."""
        with self._lock:
            if key in self._runs:
                self._runs.move_to_end(key)
            return self._runs.get(key)

    def put(self, key: tuple[object, ...], run: Run) -> None:
        """Keep run under key."""
        with self._lock:
            self._runs[key] = run
            self._runs.move_to_end(key)
            while len(self._runs) > self._size:
                self._runs.popitem(last=False)


_cache = RunCache(RESULTS_KEPT)


def run_request(request: Request, progress: Callable[[str], None], cache: RunCache = _cache) -> Run:
    """Decode, measure and draw, or return the kept run of the same request.

    Raises ValueError when something stated cannot be; an unusable photograph is part of the outcome.
    """
    key = request.key()
    if (kept := cache.get(key)) is not None:
        return kept
    photographs = []
    for file in request.files:
        progress(f"Opening {file.name}")
        photographs.append(decode_photograph(file.data, file.name))
    starts = {index: CornerStart(np.array(corners, dtype=np.float64)) for index, corners in request.starts}
    outcome = measure_neck(photographs, request.stated, starts=starts or None, progress=progress)
    progress("Drawing the result")
    pictures = tuple(
        overlay_jpeg(photograph.rgb, photo, strip=False) if isinstance(photograph, Photograph) else None
        for photograph, photo in zip(photographs, outcome.photos, strict=True)
    )
    run = Run(outcome, pictures)
    cache.put(key, run)
    return run


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
