"""Processes that photographs are measured in, started by the command while it still loads itself.

They stay a while for the next measurement.
"""

import os
import threading
import time
from concurrent.futures import Executor
from concurrent.futures.process import BrokenProcessPool
from importlib import import_module

from loky import cpu_count, get_reusable_executor

from app.one_thread import ONE_THREAD

_MOST = 3  # at work at once, one for each photograph of a set; two cores too are better shared than by a queue
_STAY_S = 60  # without work
_WATCH_S = 2.0


def start_workers(photographs: int, *, here: bool = False) -> Executor | None:
    """Processes for so many photographs, those of before if they are still there; None where they would not help or
    cannot be had.

    here : this process works on one of them itself.
    """
    if photographs < 2 or cpu_count() < 2:
        return None
    workers = min(photographs, _MOST) - here
    try:
        executor: Executor = get_reusable_executor(
            max_workers=workers, timeout=_STAY_S, env=ONE_THREAD, initializer=_begin, initargs=(os.getpid(),)
        )
        executor.submit(os.getpid)  # processes start with the first job
    except (OSError, ImportError, BrokenProcessPool):
        return None
    return executor


def _begin(program: int) -> None:
    """In a process: load what will be needed, and watch the program that started it. One that is killed cannot tell
    its processes to end."""

    def watch() -> None:
        while os.getppid() == program:
            time.sleep(_WATCH_S)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
    import_module("vision.measure")
