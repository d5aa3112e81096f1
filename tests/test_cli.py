"""The command: exit statuses, the file it writes, and what it leaves alone.

The first part runs the command as a user does; the second stands a made-up measurement in for the real one,
to reach outcomes that photographs reach only by chance.
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest
from PIL import Image

from app import __version__, cli, files, measure_command, overlay, processes, serve
from tests import fixtures_results
from vision.results import Outcome

ROOT = Path(__file__).resolve().parent.parent
STATED = ["--scale-length", "647.7", "--frets", "22"]
TO_JSON = ["--json", "r.json"]
ONE = ["measure", "carpet.png"]


def command(*arguments: str | Path, folder: Path) -> "subprocess.CompletedProcess[str]":
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    return subprocess.run(
        [sys.executable, "-m", "app.cli", *map(str, arguments)],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


@pytest.fixture
def carpet(tmp_path: Path) -> Path:
    """A photograph with no neck in it."""
    path = tmp_path / "carpet.png"
    Image.fromarray(fixtures_results.picture(None)).save(path)
    return path


def test_version(tmp_path: Path) -> None:
    done = command("--version", folder=tmp_path)
    assert (done.returncode, done.stdout.strip()) == (0, f"neck-sighting {__version__}")


def test_linear_algebra_keeps_to_one_thread_unless_told_otherwise() -> None:
    """numpy reads this when it is first imported: the command must have said it, and must not have imported it."""
    says = "import sys, os; from app import cli; early = 'numpy' in sys.modules; cli.misuse = str; "
    says += "cli.main(['measure', 'no.jpg', '--scale-length', '1', '--frets', '22', '--json', 'no.json']); "
    says += "print(early, os.environ['OPENBLAS_NUM_THREADS'], os.environ['OMP_NUM_THREADS'])"
    free = {key: value for key, value in os.environ.items() if not key.endswith("_NUM_THREADS")}
    for given, told in ((free, "False 1 1"), (free | {"OMP_NUM_THREADS": "3"}, "False 1 3")):
        run = subprocess.run([sys.executable, "-c", says], env=given, capture_output=True, text=True, check=True)
        assert run.stdout.split("\n")[-2] == told


def test_the_sample_neck_is_measured(tmp_path: Path, sample_folder: Path) -> None:
    photos = [sample_folder / f"forward_bow_{kind}.jpg" for kind in ("front", "treble", "bass")]
    done = command(
        "measure", *photos, "--scale-length", "647.7", "--frets", "24",
        "--json", "r.json", "--overlay", "seen/here", folder=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    read = json.loads((tmp_path / "r.json").read_text())
    truth = json.loads((sample_folder / "forward_bow_bass.json").read_text())
    assert read["status"] == "measured"
    assert [p["file"] for p in read["photos"]] == [path.name for path in photos], "the order given"
    kinds = [p["kind"] for p in read["photos"]]
    assert (kinds[0], kinds[2]) == ("front", "bass")
    assert kinds[1] in ("bass", "treble"), "its camera stood almost above the middle of the neck"
    for side in ("bass", "treble"):
        assert read[side]["relief_mm"] == pytest.approx(truth["sides"][side]["relief_mm"], rel=0, abs=0.06)
        # The claim covers lens and width errors too, which on this neck are larger than the error made.
        assert 0.001 < read[side]["relief_u_mm"] < 0.15
    assert read["twist_deg"] == pytest.approx(truth["neck_twist_deg"], rel=0, abs=0.15)
    assert "mm" in done.stdout
    assert sorted(p.name for p in (tmp_path / "seen/here").iterdir()) == [
        f"forward_bow_{kind}_overlay.jpg" for kind in ("bass", "front", "treble")
    ]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["r.json", "seen"], "no temporary file is left"


def test_a_photograph_without_a_neck_is_refused_with_its_reason(tmp_path: Path, carpet: Path) -> None:
    done = command("measure", carpet, *STATED, "--json", "r.json", "--overlay", "seen", folder=tmp_path)
    assert done.returncode == 3, done.stderr
    read = json.loads((tmp_path / "r.json").read_text())
    assert read["status"] == "refused"
    assert len(read["reason"]) > 10
    assert len(read["advice"]) > 10
    assert read["photos"][0]["status"] == "refused"
    assert (tmp_path / "seen" / "carpet_overlay.jpg").is_file()
    assert done.stdout.strip()


def test_a_file_that_is_no_picture_is_refused(tmp_path: Path) -> None:
    (tmp_path / "notes.jpg").write_text("not a picture")
    done = command("measure", "notes.jpg", *STATED, "--json", "r.json", "--overlay", "seen", folder=tmp_path)
    assert done.returncode == 3, done.stderr
    assert json.loads((tmp_path / "r.json").read_text())["photos"][0]["status"] == "refused"
    assert list((tmp_path / "seen").iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["measure", "none.jpg", *STATED, *TO_JSON], "none.jpg"),
        (["measure", ".", *STATED, *TO_JSON], "'.'"),
        (["measure", *STATED, *TO_JSON], "PHOTO"),
        ([*ONE, *STATED], "--json"),
        ([*ONE, *STATED, "--json", "no/such/r.json"], "no/such"),
        ([*ONE, *STATED, "--json", "."], "folder"),
        ([*ONE, *STATED, "--json", "carpet.png"], "one of the photographs"),
        ([*ONE, *STATED, *TO_JSON, "--overlay", "carpet.png"], "carpet.png"),
        ([*ONE, "--frets", "22", *TO_JSON], "--scale-length"),
        ([*ONE, "--scale-length", "nan", "--frets", "22", *TO_JSON], "scale_length_mm=nan"),
        ([*ONE, "--scale-length", "25.5", "--frets", "22", *TO_JSON], "scale_length_mm=25.5"),
        ([*ONE, "--scale-length", "647.7", "--frets", "22.5", *TO_JSON], "--frets"),
        ([*ONE, "--scale-length", "647.7", "--frets", "99", *TO_JSON], "frets=99"),
        ([*ONE, *STATED, "--nut-width", "-4", *TO_JSON], "nut_width_mm=-4"),
        ([*ONE, *STATED, "--width-at-12", "500", *TO_JSON], "width_at_12_mm=500"),
        ([*ONE, *STATED, "--width-uncertainty", "0", *TO_JSON], "width_u_mm=0"),
        (["--port", "0"], "port"),
        (["--sample", "unheard-of"], "unheard-of"),
        (["weigh"], "weigh"),
    ],
)
def test_misuse_is_named_and_writes_nothing(
    tmp_path: Path, carpet: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
    arguments: list[str], words: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    before = carpet.read_bytes()
    try:
        status = cli.main(arguments)
    except SystemExit as stop:
        status = stop.code  # type: ignore[assignment]
    told = capsys.readouterr()
    assert status == 2
    assert words in told.err
    assert told.out == ""
    assert told.err.strip().splitlines()[-1].startswith("neck-sighting")
    assert [p.name for p in tmp_path.iterdir()] == ["carpet.png"]
    assert carpet.read_bytes() == before


def made_up(outcome: Outcome, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(measure_command, "measure_side_by_side", lambda *a, **k: outcome)


@pytest.mark.parametrize(
    ("outcome", "status"),
    [(fixtures_results.measured(names=("carpet.png",)), 0), (fixtures_results.refused(), 3)],
)
def test_exit_status_follows_the_outcome(
    tmp_path: Path, carpet: Path, monkeypatch: pytest.MonkeyPatch, outcome: Outcome, status: int
) -> None:
    made_up(outcome, monkeypatch)
    target = tmp_path / "r.json"
    target.write_text("old")
    assert cli.main(["measure", str(carpet), *STATED, "--json", str(target)]) == status
    assert json.loads(target.read_text())["status"] == outcome.status


def test_processes_are_started_while_the_command_loads_but_not_for_a_file_that_is_not_there(
    tmp_path: Path, carpet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[int] = []
    monkeypatch.setattr(processes, "start_workers", lambda photographs, *, here: started.append(photographs))
    made_up(fixtures_results.refused(), monkeypatch)
    target = str(tmp_path / "r.json")
    assert cli.main(["measure", str(carpet), str(carpet), *STATED, "--json", target]) == 3
    assert started == [2]
    missing = str(tmp_path / "missing.png")
    assert cli.main(["measure", str(carpet), missing, *STATED, "--json", target]) == 2
    assert started == [2]


@pytest.mark.parametrize(
    ("module", "step"), [(processes, "start_workers"), (measure_command, "measure_side_by_side")]
)
def test_stopped_while_it_loads_or_measures_it_ends_without_a_traceback(
    module: ModuleType,
    step: str,
    tmp_path: Path,
    carpet: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def stopped(*given: object, **named: object) -> Outcome:
        raise KeyboardInterrupt

    monkeypatch.setattr(module, step, stopped)
    target = tmp_path / "r.json"
    target.write_text("old")
    assert cli.main(["measure", str(carpet), *STATED, "--json", str(target)]) == 130
    assert capsys.readouterr().err == "neck-sighting: stopped, nothing was measured\n"
    assert target.read_text() == "old"


def test_stopped_while_drawing_it_says_that_the_result_is_written(
    tmp_path: Path, carpet: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stopped(*given: object) -> bytes:
        raise KeyboardInterrupt

    made_up(fixtures_results.measured(names=("carpet.png",)), monkeypatch)
    monkeypatch.setattr(overlay, "overlay_jpeg", stopped)
    target, seen = tmp_path / "r.json", tmp_path / "seen"
    assert cli.main(["measure", str(carpet), *STATED, "--json", str(target), "--overlay", str(seen)]) == 130
    told = capsys.readouterr()
    assert told.err == f"neck-sighting: stopped, the result is in {str(target)!r}, not every picture\n"
    assert told.out == ""
    assert json.loads(target.read_text())["status"] == "measured"
    assert list(seen.iterdir()) == []


def test_a_reader_that_has_gone_spoils_nothing(tmp_path: Path, carpet: Path) -> None:
    target = tmp_path / "r.json"
    call = [sys.executable, "-m", "app.cli", "measure", str(carpet), *STATED, "--json", str(target)]
    with subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.close()
        told = running.stderr.read()
        assert running.wait(timeout=120) == 3
    assert told == ""
    assert json.loads(target.read_text())["status"] == "refused"


def test_an_old_file_survives_a_failed_write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "r.json"
    target.write_text("old")

    def fails(self: Path, other: Path) -> Path:
        raise OSError("disk full")

    monkeypatch.setattr(Path, "replace", fails)
    with pytest.raises(OSError, match="disk full"):
        files.write_whole(target, b"new")
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["r.json"]


def test_a_written_file_has_ordinary_permissions(tmp_path: Path) -> None:
    plain, whole = tmp_path / "plain", tmp_path / "whole"
    plain.write_bytes(b"")
    files.write_whole(whole, b"")
    assert whole.stat().st_mode == plain.stat().st_mode


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        (["a.jpg", "b.HEIC"], ["a_overlay.jpg", "b_overlay.jpg"]),
        (["../../a.jpg", "..\\a.png"], ["a_overlay.jpg", "a_overlay_2.jpg"]),
        (["..", "", "/"], ["photograph_overlay.jpg", "photograph_overlay_2.jpg", "photograph_overlay_3.jpg"]),
        (["A.jpg", "a.jpg"], ["A_overlay.jpg", "a_overlay_2.jpg"]),
        (["r\u00e9sum\u00e9\n\x00:*.jpg"], ["r\u00e9sum\u00e9_____overlay.jpg"]),
        (["x" * 300 + ".jpg"], ["x" * 50 + "_overlay.jpg"]),
    ],
)
def test_overlay_names_stay_in_their_folder(names: list[str], expected: list[str]) -> None:
    assert files.overlay_names(names) == expected


def test_photographs_of_the_same_name_are_told_apart() -> None:
    paths = [Path("a/x.jpg"), Path("b/x.jpg"), Path("b/y.jpg")]
    assert files.display_names(paths) == [str(Path("a/x.jpg")), str(Path("b/x.jpg")), "y.jpg"]


def test_the_page_is_served_on_this_machine_alone_without_statistics() -> None:
    call = serve.page_command(8600, headless=True, sample="twist")
    options = dict(zip(call[5::2], call[6::2], strict=False))
    assert options["--server.address"] == "localhost"
    assert options["--browser.gatherUsageStats"] == "false"
    assert options["--server.maxUploadSize"] == "64"
    assert options["--server.port"] == "8600"
    assert options["--server.headless"] == "true"
    assert call[-3:] == ["--", "--sample", "twist"]
    assert Path(call[4]).is_file()


@pytest.mark.parametrize(
    ("environment", "platform", "expected"),
    [
        ({"CI": "true", "DISPLAY": ":0"}, "linux", True),
        ({}, "linux", True),
        ({"DISPLAY": ":0"}, "linux", False),
        ({"WAYLAND_DISPLAY": "wayland-0"}, "linux", False),
        ({}, "darwin", False),
        ({}, "win32", False),
    ],
)
def test_a_browser_is_opened_where_there_can_be_one(
    environment: dict[str, str], platform: str, expected: bool
) -> None:
    assert serve.no_browser_here(environment, platform) is expected


def loaded_by(statement: str) -> set[str]:
    code = f"{statement}\nimport sys; print('\\n'.join(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT, timeout=120
    )
    return set(done.stdout.split())


def test_measuring_loads_neither_page_nor_plots() -> None:
    everything = (
        "import pkgutil, vision\n"
        "for module in pkgutil.walk_packages(vision.__path__, 'vision.'): __import__(module.name)"
    )
    assert not {"streamlit", "plotly"} & loaded_by(everything)
    assert not {"streamlit", "plotly"} & loaded_by("import app.cli, app.measure_command, app.overlay")


def test_the_installed_command_is_this_one() -> None:
    found = shutil.which("neck-sighting", path=str(Path(sys.executable).parent))
    assert found is not None, "install the project first: pip install -e ."
    done = subprocess.run([found, "--version"], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.strip() == f"neck-sighting {__version__}"
