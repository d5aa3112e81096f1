"""Killed at any moment, two hundred times: no acknowledged save is lost and none is half there."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

KILLS = 200


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the writer is forked and killed by signal")
def test_two_hundred_kills_lose_nothing_and_leave_nothing_half_written(tmp_path: Path) -> None:
    root = Path(__file__).resolve().parents[2]
    program = Path(__file__).with_name("kill_while_saving.py")
    environment = os.environ | {"PYTHONPATH": str(root), "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    run = subprocess.run(
        [sys.executable, str(program), str(tmp_path), str(KILLS), "20260504"],
        capture_output=True,
        text=True,
        env=environment,
        check=False,
    )
    assert run.returncode == 0, run.stderr[-2000:]
    seen = json.loads(run.stdout)
    assert seen["kills"] == KILLS
    # The kills must have struck where it matters, or the test shows nothing.
    assert seen["killed_while_saving"] >= 40
    assert seen["saved"] >= 40
    assert seen["untold"] <= seen["killed_while_saving"]
