"""Photographs measured side by side by processes: threads would wait for one another's turn in the interpreter.

The processes stay a while for the next measurement. Where none can be started (no shared memory, no permission), or
one is stopped from outside (too little memory), the photographs are worked on one after the other in this process:
slower, with the same outcome.
"""

import os
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from concurrent.futures.process import BrokenProcessPool

from loky import cpu_count, get_reusable_executor

from app.one_thread import ONE_THREAD
from vision.measure import CornerStart, measure_neck
from vision.photo import PhotoFile
from vision.results import Outcome
from vision.settings import StatedNeck

_MOST = 3  # one for each photograph of a set, on two cores too: they share them better than a queue would
_STAY_S = 60  # without work
_WATCH_S = 2.0


def start_workers(photographs: int) -> Executor | None:
    """Processes for so many photographs; None where they would not help or cannot be had."""
    workers = min(photographs, _MOST)
    if workers < 2 or cpu_count() < 2:
        return None
    try:
        executor: Executor = get_reusable_executor(
            max_workers=workers, timeout=_STAY_S, env=ONE_THREAD, initializer=_end_with, initargs=(os.getpid(),)
        )
    except (OSError, ImportError):
        return None
    return executor


def _end_with(program: int) -> None:
    """In a process: watch the program that started it. One that is killed cannot tell its processes to end."""

    def watch() -> None:
        while os.getppid() == program:
            time.sleep(_WATCH_S)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


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
