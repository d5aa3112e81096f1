"""Photographs measured side by side by processes: threads would wait for one another's turn in the interpreter.

Where no process can be started (no shared memory, no permission), or one is stopped from outside (too little memory),
the photographs are worked on one after the other in this process: slower, with the same outcome.
"""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures.process import BrokenProcessPool

from app.processes import start_workers
from vision.measure import CornerStart, measure_neck
from vision.photo import PhotoFile
from vision.results import Outcome
from vision.settings import StatedNeck


def measure_side_by_side(
    files: Sequence[PhotoFile],
    stated: StatedNeck,
    *,
    starts: Mapping[int, CornerStart] | None = None,
    progress: Callable[[str], None] | None = None,
) -> Outcome:
    """`measure_neck` by several processes; the same arguments, outcome and errors."""
    workers = start_workers(len(files))
    if workers is not None:
        try:
            return measure_neck(files, stated, starts=starts, progress=progress, each=workers.map)
        except (BrokenProcessPool, OSError):
            pass  # to be done again here
    return measure_neck(files, stated, starts=starts, progress=progress)
