"""Background work: asked for once, watched by name of step, its failures said and not swallowed."""

import threading
import time

import pytest

from app.jobs import Job, Jobs, Progress


def ended(jobs: Jobs[int], key: str) -> Job[int]:
    end = time.monotonic() + 20
    while time.monotonic() < end:
        job = jobs.state(key)
        assert job is not None
        if job.status in ("done", "failed"):
            return job
        time.sleep(0.01)
    raise AssertionError(f"{key} did not end")


def test_the_same_question_is_worked_on_once() -> None:
    jobs: Jobs[int] = Jobs(workers=2, kept=4)
    gate, calls = threading.Event(), []

    def work(progress: Progress) -> int:
        calls.append(1)
        progress("first step")
        gate.wait(20)
        progress("second step")
        return 7

    assert jobs.ask("a", work).status == "waiting"
    for _ in range(5):
        jobs.ask("a", work)
    gate.set()
    job = ended(jobs, "a")
    assert (job.status, job.result, job.steps) == ("done", 7, ("first step", "second step"))
    assert len(calls) == 1


def test_misuse_and_faults_of_the_program_are_told_apart() -> None:
    jobs: Jobs[int] = Jobs(workers=1, kept=4)

    def misuse(progress: Progress) -> int:
        raise ValueError("frets=3 is outside 12 to 36")

    def fault(progress: Progress) -> int:
        raise RuntimeError("broken")

    jobs.ask("misuse", misuse)
    jobs.ask("fault", fault)
    assert ended(jobs, "misuse").error == "frets=3 is outside 12 to 36"
    assert "error in the program (RuntimeError: broken)" in ended(jobs, "fault").error
    jobs.forget("misuse")
    assert jobs.state("misuse") is None
    jobs.ask("misuse", lambda progress: 1)
    assert ended(jobs, "misuse").result == 1


def test_only_finished_work_is_forgotten() -> None:
    jobs: Jobs[int] = Jobs(workers=1, kept=2)
    gate = threading.Event()

    def wait(progress: Progress) -> int:
        gate.wait(20)
        return 0

    for key in ("a", "b", "c"):
        jobs.ask(key, wait)
    jobs.forget("a")
    assert all(jobs.state(key) is not None for key in ("a", "b", "c")), "nothing at work may be lost"
    gate.set()
    for key in ("a", "b", "c"):
        ended(jobs, key)
    jobs.ask("d", wait)
    assert jobs.state("a") is None
    assert jobs.state("d") is not None


@pytest.mark.parametrize(("workers", "kept"), [(0, 1), (1, 0)])
def test_nonsense_sizes_are_refused(workers: int, kept: int) -> None:
    with pytest.raises(ValueError, match="must be at least 1"):
        Jobs(workers, kept)
