"""Long work outside the page's script: it goes on when the page reloads, and two pages asking for it share it.

A job is known by a key made of what goes into it, so the same question is never worked on twice at once. Its
result stays here only while the program runs; work that must outlive the program stores its own result.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Generic, Literal, TypeVar

Result = TypeVar("Result")
Progress = Callable[[str], None]
Work = Callable[[Progress], Result]


@dataclass(frozen=True, slots=True)
class Job(Generic[Result]):
    """How far one piece of work has come; steps are the names of the steps begun so far."""

    status: Literal["waiting", "running", "done", "failed"]
    steps: tuple[str, ...] = ()
    result: Result | None = None
    error: str = ""


class Jobs(Generic[Result]):
    """Work in the background, `workers` pieces at a time; the last `kept` finished ones are remembered."""

    def __init__(self, workers: int, kept: int) -> None:
        if workers < 1 or kept < 1:
            raise ValueError(f"workers={workers!r} and kept={kept!r} must be at least 1")
        self._pool = ThreadPoolExecutor(workers, thread_name_prefix="neck-sighting")
        self._kept = kept
        self._jobs: OrderedDict[str, Job[Result]] = OrderedDict()
        self._lock = threading.Lock()

    def ask(self, key: str, work: Work[Result]) -> Job[Result]:
        """The job under key, started if it is not yet known."""
        with self._lock:
            known = self._jobs.get(key)
            if known is not None:
                self._jobs.move_to_end(key)
                return known
            job: Job[Result] = Job("waiting")
            self._jobs[key] = job
            self._forget_oldest()
        self._pool.submit(self._run, key, work)
        return job

    def state(self, key: str) -> Job[Result] | None:
        """The job under key, or None if it was never asked for or has been forgotten."""
        with self._lock:
            return self._jobs.get(key)

    def forget(self, key: str) -> None:
        """Drop a finished job, so that asking again works again; one still at work is left alone."""
        with self._lock:
            job = self._jobs.get(key)
            if job is not None and job.status in ("done", "failed"):
                del self._jobs[key]

    def _run(self, key: str, work: Work[Result]) -> None:
        def progress(step: str) -> None:
            self._update(key, lambda job: replace(job, status="running", steps=(*job.steps, step)))

        self._update(key, lambda job: replace(job, status="running"))
        try:
            result = work(progress)
        except ValueError as error:  # what was stated cannot be: for the person to put right
            message = str(error)
            self._update(key, lambda job: replace(job, status="failed", error=message))
        except BaseException as error:
            message = f"an error in the program ({type(error).__name__}: {error})"
            self._update(key, lambda job: replace(job, status="failed", error=message))
            raise
        else:
            self._update(key, lambda job: replace(job, status="done", result=result))

    def _update(self, key: str, change: Callable[[Job[Result]], Job[Result]]) -> None:
        with self._lock:
            if key in self._jobs:
                self._jobs[key] = change(self._jobs[key])

    def _forget_oldest(self) -> None:
        finished = [key for key, job in self._jobs.items() if job.status in ("done", "failed")]
        for key in finished[: max(0, len(self._jobs) - self._kept)]:
            del self._jobs[key]
