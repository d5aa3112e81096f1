"""Processes that measure side by side: the same outcome as in one process, and what happens where there are none."""

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from concurrent.futures.process import BrokenProcessPool
from typing import Any

import numpy as np
import pytest

from app import processes, workers
from app.processes import start_workers
from app.workers import measure_side_by_side
from tests.sample_necks import SAMPLES
from vision.measure import measure_neck
from vision.photo import PhotoFile
from vision.results import Measured, Outcome
from vision.settings import StatedNeck

STATED = StatedNeck(647.7, 22)


def _files() -> list[PhotoFile]:
    names = ("back_bow_bass.jpg", "back_bow_treble.jpg")
    return [PhotoFile((SAMPLES / name).read_bytes(), name) for name in names]


@pytest.fixture(scope="module")
def alone() -> Measured:
    """The neck measured in this process."""
    outcome = measure_neck(_files(), STATED)
    assert isinstance(outcome, Measured)
    return outcome


def _told_alike(outcome: Outcome, alone: Measured) -> None:
    """Up to the last digits, which differ with the number of threads that linear algebra has."""
    assert isinstance(outcome, Measured)
    for side in ("bass", "treble"):
        one, other = getattr(alone, side), getattr(outcome, side)
        np.testing.assert_allclose(other.gap_mm, one.gap_mm, rtol=0, atol=0.003)
        assert other.relief_u_mm == pytest.approx(one.relief_u_mm, rel=0, abs=0.003)
    assert outcome.twist.twist_deg == pytest.approx(alone.twist.twist_deg, rel=0, abs=0.01)
    assert [(p.name, p.kind, p.status, p.flags) for p in outcome.photos] == [
        (p.name, p.kind, p.status, p.flags) for p in alone.photos
    ]


@pytest.mark.parametrize("here", [False, True])
def test_processes_tell_what_one_process_tells(
    here: bool, alone: Measured, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(processes, "cpu_count", lambda: 2)
    assert start_workers(2, here=here) is not None
    steps: list[str] = []
    outcome = measure_side_by_side(_files(), STATED, progress=steps.append, here=here)
    _told_alike(outcome, alone)
    assert len(steps) == len(set(steps)) == 8


def test_the_first_is_worked_on_here_and_the_others_elsewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(processes, "cpu_count", lambda: 2)
    pool = start_workers(3, here=True)
    assert pool is not None
    places = workers._helped(pool)(_place, ["a", "b", "c"], [1, 2, 3])
    assert [told for told, _ in places] == ["a1", "b2", "c3"]
    assert [place == os.getpid() for _, place in places] == [True, False, False]
    assert workers._helped(pool)(_place, [], []) == []


def _place(letter: str, number: int) -> tuple[str, int]:
    return f"{letter}{number}", os.getpid()


def _running(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.skipif(os.name != "posix", reason="elsewhere the system ends them")
def test_processes_end_with_a_program_that_is_killed() -> None:
    code = (
        "import os, time; from app import processes; processes.cpu_count = lambda: 2; "
        "pool = processes.start_workers(2); print(pool.submit(os.getpid).result(), flush=True); time.sleep(60)"
    )
    program = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, cwd=SAMPLES.parent)
    with program:
        assert program.stdout is not None
        process = int(program.stdout.readline())
        assert _running(process)
        program.kill()
    end = time.monotonic() + 20.0
    while _running(process) and time.monotonic() < end:
        time.sleep(0.2)
    assert not _running(process)


class Stopped(Executor):
    """Processes that the system stopped, for want of memory say."""

    def map(self, fn: Callable[..., Any], *iterables: Any, **options: Any) -> Iterator[Any]:
        raise BrokenProcessPool("stopped")

    def submit(self, fn: Callable[..., Any], /, *arguments: Any, **options: Any) -> Future[Any]:
        raise BrokenProcessPool("stopped")


@pytest.mark.parametrize("here", [False, True])
def test_stopped_processes_are_done_without(here: bool, alone: Measured, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers, "start_workers", lambda photographs, *, here: Stopped())
    _told_alike(measure_side_by_side(_files(), STATED, here=here), alone)


def test_where_no_process_can_be_started_there_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    def forbidden(**options: Any) -> Executor:
        raise PermissionError("no shared memory here")

    monkeypatch.setattr(processes, "cpu_count", lambda: 2)
    monkeypatch.setattr(processes, "get_reusable_executor", forbidden)
    assert start_workers(3) is None


@pytest.mark.parametrize(("photographs", "cores"), [(1, 8), (3, 1)])
def test_one_photograph_or_one_core_needs_no_process(
    photographs: int, cores: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(processes, "cpu_count", lambda: cores)
    assert start_workers(photographs) is None


def test_no_photographs_are_misuse() -> None:
    with pytest.raises(ValueError, match="photographs="):
        measure_side_by_side([], STATED)
