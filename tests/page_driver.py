"""Running the page without a browser, in a data folder of its own, with the measurement stood in for."""

import io
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest

from app import measuring
from app.jobs import Jobs
from app.looking import Look
from app.record.folder import FOLDER_VARIABLE
from app.record.inspection import Inspection
from app.record.photo_store import PhotoStore
from app.record.store import InspectionStore
from app.samples import SAMPLES, prepared_inspection
from app.widgets import looks
from tests import fixtures_results
from vision.results import Outcome
from vision.settings import StatedNeck

PAGE = Path(__file__).resolve().parent.parent / "app" / "page.py"
Measure = Callable[..., Outcome]
SETTLED_S = 30.0
BUSY = '<span class="spinner"'


def measure_well(photographs: list[object], stated: StatedNeck, **_: object) -> Outcome:
    """A made-up measured neck for any photographs."""
    names = tuple(getattr(p, "name", "?") for p in photographs)
    return fixtures_results.measured(stated.frets, stated.scale_length_mm, names=names)


def refuse(photographs: list[object], stated: StatedNeck, **_: object) -> Outcome:
    """A refusal of every photograph."""
    return fixtures_results.refused(tuple(fixtures_results.refused_photo(getattr(p, "name", "?")) for p in photographs))


def png(kind: str | None = "bass") -> bytes:
    """A small drawn picture as PNG."""
    buffer = io.BytesIO()
    picture = fixtures_results.picture(kind)  # type: ignore[arg-type]
    Image.fromarray(picture).resize((750, 1000)).save(buffer, "PNG")
    return buffer.getvalue()


def look_found(data: bytes, name: str, stated: StatedNeck, corners: object = None, *, counted: bool = False) -> Look:
    """A look that finds the neck; front where the name says so, and how many frets it has only where that is told."""
    if "doubtful" in name and not counted:
        return Look(False, 750, 1000, png(None), reason="22 or 24 frets are seen", code="numbering unsure")
    kind = "front" if "front" in name else "bass"
    corners_px = ((10.0, 10.0), (60.0, 10.0), (80.0, 300.0), (0.0, 300.0))
    return Look(True, 750, 1000, png(None), kind, 8.0, "sharp", corners_px)  # type: ignore[arg-type]


def look_in_vain(
    data: bytes, name: str, stated: StatedNeck, corners: object = None, *, counted: bool = False
) -> Look:
    """A look that finds nothing."""
    return Look(False, 750, 1000, png(None), reason="no ladder of frets was found", advice="show the whole neck")


@dataclass
class Desk:
    """A data folder and what stands in for looking and measuring."""

    folder: Path
    measured: list[object] = field(default_factory=list)

    def page(self, **address: str) -> AppTest:
        """The page at an address, drawn once."""
        app = AppTest.from_file(str(PAGE), default_timeout=60)
        for key, value in address.items():
            app.query_params[key] = value
        return app.run()

    def store(self) -> InspectionStore:
        return InspectionStore(self.folder)

    def photos(self) -> PhotoStore:
        return PhotoStore(self.folder)

    def only(self) -> Inspection:
        """The one inspection in the folder."""
        (summary,) = self.store().summaries()
        return self.store().load(summary.id)


@pytest.fixture
def desk(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Desk:
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    monkeypatch.setattr(measuring, "MEASURING", Jobs(workers=1, kept=9))
    monkeypatch.setattr(looks, "LOOKS", Jobs(workers=1, kept=9))
    monkeypatch.setattr(measuring, "measure_side_by_side", measure_well)
    monkeypatch.setattr(looks, "look_at", look_found)
    return Desk(tmp_path)


def settled(app: AppTest) -> AppTest:
    """The page once everything in the background has ended and is shown."""
    end = time.monotonic() + SETTLED_S
    while BUSY in text_of(app) and time.monotonic() < end:
        time.sleep(0.05)
        app.run()
    assert BUSY not in text_of(app), "work in the background did not end"
    return app


def text_of(app: AppTest) -> str:
    """Everything the page says."""
    kinds = ("html", "warning", "error", "info")
    return " ".join(str(element.value) for kind in kinds for element in app.get(kind))


def begun(desk: Desk, step: str = "guitar") -> AppTest:
    """A page with a new inspection that has a name and is therefore stored, at one of its steps."""
    app = desk.page()
    app.button(key="_new").click().run()
    widget(app, "text_input", "What do you call it").set_value("Begun").run()
    return at(app, step) if step != "guitar" else app


def at(app: AppTest, step: str) -> AppTest:
    """The same page at another step."""
    app.button(key=f"_step_{step}").click().run()
    assert not app.exception
    return app


def widget(app: AppTest, kind: str, label: str) -> Any:
    """The first element of a kind whose label starts so."""
    return next(element for element in app.get(kind) if element.label.startswith(label))


def sample_page(desk: Desk, step: str) -> AppTest:
    """A sample guitar, measured, at one of its steps."""
    inspection = prepared_inspection(SAMPLES["forward_bow"], desk.photos())
    saved = desk.store().save(inspection)
    app = settled(desk.page(inspection=saved.id, step="curves"))
    assert not app.exception
    return app if step == "curves" else at(app, step)
