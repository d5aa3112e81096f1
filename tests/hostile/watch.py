"""A child process that runs cases one by one while its time and memory are watched from outside.

A codec that hangs, crashes the process or takes too much memory cannot report it itself. Memory is the peak of the
resident set as the Linux kernel counts it, reset before every case.
"""

import multiprocessing
import os
import time
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path

from tests.hostile.cases import Case, kind_of, run_case

MOST_SECONDS = 30.0  # of processor time
MOST_MIB = 1536.0
_MOST_WALL_SECONDS = 300.0  # a hang that waits; wide, since other work may keep the processor
_LOOK_EVERY_SECONDS = 0.25
_TICKS = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True, slots=True)
class Result:
    """What became of one case. failure: what was broken, None where all promises held."""

    number: int
    kind: str
    became: str
    failure: str | None
    seconds: float
    peak_mib: float


class Child:
    """Runs cases of one seed in a process of its own, a new one after every crash or hang. Use as a context."""

    def __init__(
        self, seed: int, case: Case = run_case, *, most_seconds: float = MOST_SECONDS, most_mib: float = MOST_MIB
    ) -> None:
        self._seed, self._case = seed, case
        self._most_seconds, self._most_mib = most_seconds, most_mib
        self._context = multiprocessing.get_context("spawn")

    def __enter__(self) -> "Child":
        self._start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop()

    def run(self, number: int) -> Result:
        """Run one case, and name what went wrong with it."""
        kind = kind_of(self._seed, number)
        pid = self._process.pid
        assert pid is not None
        began, cpu_began = time.monotonic(), _cpu_seconds(pid)
        self._pipe.send(number)
        broken = None
        while broken is None and not self._pipe.poll(_LOOK_EVERY_SECONDS):
            broken = self._broken(pid, began, cpu_began)
        if broken is None:
            try:
                return Result(number, kind, *self._pipe.recv())
            except EOFError:
                self._process.join(10)
                broken = f"crashed, exit code {self._process.exitcode}"
        self._stop()
        self._start()
        return Result(number, kind, "stopped", broken, time.monotonic() - began, float("nan"))

    def _broken(self, pid: int, began: float, cpu_began: float) -> str | None:
        if not self._process.is_alive():
            return f"crashed, exit code {self._process.exitcode}"
        if _cpu_seconds(pid) - cpu_began > self._most_seconds or time.monotonic() - began > _MOST_WALL_SECONDS:
            return f"hung for more than {self._most_seconds:g} s"
        if _memory_mib(pid, "VmRSS") > self._most_mib:
            return f"took more than {self._most_mib:g} MiB"
        return None

    def _start(self) -> None:
        self._pipe, theirs = self._context.Pipe()
        given = (theirs, self._seed, self._case, self._most_mib)
        self._process = self._context.Process(target=_serve, args=given, daemon=True)
        self._process.start()
        theirs.close()
        try:
            self._pipe.recv()
        except EOFError:
            raise RuntimeError("the child process did not start; what it wrote stands above") from None

    def _stop(self) -> None:
        self._process.kill()
        self._process.join()
        self._pipe.close()


def _serve(pipe: Connection, seed: int, case: Case, most_mib: float) -> None:
    """In the child: answer every number with what became of its case."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # codecs write about damaged files as they please
    pipe.send("ready")
    while True:
        number = pipe.recv()
        Path("/proc/self/clear_refs").write_text("5")  # peak memory starts anew
        began = time.process_time()
        became, failure = "failed", None
        try:
            became = case(seed, number)
        except Exception as error:
            failure = f"{type(error).__name__}: {error}"[:300]
        peak_mib = _memory_mib(os.getpid(), "VmHWM")
        if failure is None and peak_mib > most_mib:
            failure = f"took more than {most_mib:g} MiB: {peak_mib:.0f}"
        pipe.send((became, failure, time.process_time() - began, peak_mib))


def _cpu_seconds(pid: int) -> float:
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    except OSError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / _TICKS


def _memory_mib(pid: int, name: str) -> float:
    try:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    except OSError:
        return 0.0
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith(f"{name}:")), 0.0)
