"""Photographs measured side by side by processes: threads would wait for one another's turn in the interpreter.

Where no process can be started (no shared memory, no permission), or one is stopped from outside (too little memory),
the photographs are worked on one after the other in this process: slower, with the same outcome.
"""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from concurrent.futures.process import BrokenProcessPool
from typing import Any

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
    here: bool = False,
) -> Outcome:
    """`measure_neck` by several processes; the same arguments, outcome and errors.

    here : this process works on the first photograph itself, which saves loading one more; for programs that have
        nothing else to answer meanwhile.
    """
    workers = start_workers(len(files), here=here)
    if workers is not None:
        try:
            each = _helped(workers) if here else workers.map
            return measure_neck(files, stated, starts=starts, progress=progress, each=each)
        except (BrokenProcessPool, OSError):
            pass  # to be done again here
    return measure_neck(files, stated, starts=starts, progress=progress)


def _helped(workers: Executor) -> Callable[..., list[Any]]:
    """A `map` that does the first call in this process and the others by the workers."""

    def each(function: Callable[..., Any], *arguments: Sequence[Any]) -> list[Any]:
        calls = list(zip(*arguments, strict=True))
        others = [workers.submit(function, *call) for call in calls[1:]]
        first = [function(*call) for call in calls[:1]]
        return [*first, *(other.result() for other in others)]

    return each
