"""The page, run from its entry file without a browser: empty, with a sample, refused, misuse, marked corners.

The measurement behind it is stood in for by made-up outcomes; the browser test runs the real one.
"""

import dataclasses
import io
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest

from app import measuring
from app.headline import decision, headline
from app.measuring import PhotoFile, Request, Run, RunCache, distinct_names, run_request
from app.page_corners import box_around, with_scales
from tests import fixtures_results
from vision.findings import judge
from vision.results import Measured, Outcome
from vision.settings import StatedNeck, Thresholds

PAGE = Path(__file__).resolve().parent.parent / "app" / "page.py"
Measure = Callable[..., Outcome]


def png(kind: str | None = "bass") -> bytes:
    buffer = io.BytesIO()
    picture = fixtures_results.picture(kind)  # type: ignore[arg-type]
    Image.fromarray(picture).resize((750, 1000)).save(buffer, "PNG")
    return buffer.getvalue()


def measure_well(photographs: list[object], stated: StatedNeck, **_: object) -> Outcome:
    names = tuple(getattr(p, "name", "?") for p in photographs)
    return fixtures_results.measured(stated.frets, stated.scale_length_mm, names=names)


def refuse(photographs: list[object], stated: StatedNeck, **_: object) -> Outcome:
    return fixtures_results.refused(
        tuple(fixtures_results.refused_photo(getattr(p, "name", "?")) for p in photographs)
    )


@pytest.fixture
def page(monkeypatch: pytest.MonkeyPatch) -> Callable[[Measure], AppTest]:
    def start(measure: Measure) -> AppTest:
        monkeypatch.setattr(measuring, "measure_neck", measure)
        monkeypatch.setattr(measuring, "_cache", RunCache(4))
        monkeypatch.setattr(run_request, "__defaults__", (RunCache(4),))
        return AppTest.from_file(str(PAGE), default_timeout=60).run()

    return start


def text_of(page: AppTest) -> str:
    return " ".join(str(element.value) for kind in ("html", "warning", "error") for element in page.get(kind))


def test_empty_page_offers_what_to_do_next(page: Callable[[Measure], AppTest]) -> None:
    app = page(measure_well)
    assert not app.exception
    assert app.button(key="_measure").disabled
    assert app.selectbox(key="_scale").value == 647.7
    assert "One looking along the bass string" in text_of(app)
    assert "The result" not in text_of(app)


@pytest.mark.parametrize(
    ("sample", "scale_length_mm", "frets"),
    [("forward_bow", 647.7, 24), ("back_bow", 647.7, 22), ("twist", 628.65, 22)],
)
def test_a_sample_neck_shows_a_whole_result(
    page: Callable[[Measure], AppTest], sample: str, scale_length_mm: float, frets: int
) -> None:
    app = page(measure_well)
    app.button(key=f"_sample_{sample}").click().run()
    assert not app.exception
    text = text_of(app)
    for words in (
        "The result",
        "Relief under the bass string",
        "95 %",
        "Truss rod",
        "Caution",
        f"{sample}_front.jpg",
    ):
        assert words in text
    assert (app.selectbox(key="_scale").value, app.number_input(key="_frets").value) == (
        scale_length_mm,
        frets,
    )
    assert len(app.get("plotly_chart")) == 3
    assert app.get("download_button")


def test_the_command_can_open_the_page_on_a_sample(
    page: Callable[[Measure], AppTest], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "argv", ["page.py", "--sample", "twist"])
    app = page(measure_well)
    assert not app.exception
    assert "twist_front.jpg" in text_of(app)
    assert "The result" in text_of(app)


def test_thousandths_of_an_inch_change_every_length(page: Callable[[Measure], AppTest]) -> None:
    app = page(measure_well)
    app.button(key="_sample_twist").click().run()
    assert "+0.32 mm under the bass string" in text_of(app)
    app.get("button_group")[0].set_value("thousandths").run()
    assert not app.exception
    assert "+12.6 thou under the bass string" in text_of(app)
    assert "+0.32 mm" not in text_of(app)


def test_uploads_are_measured_and_kept_when_refused(page: Callable[[Measure], AppTest]) -> None:
    app = page(refuse)
    app.file_uploader(key="_uploads").set_value(
        [("one.png", png(), "image/png"), ("two.png", png(None), "image/png")]
    )
    app.run()
    assert not app.button(key="_measure").disabled
    app.button(key="_measure").click().run()
    assert not app.exception
    text = text_of(app)
    assert "No measurement" in text
    assert "Photograph the whole fretted part from one end" in text
    assert len(app.file_uploader(key="_uploads").value) == 2, "nothing uploaded is lost"
    assert [e.label for e in app.expander if e.label.startswith("Mark the neck")] == [
        "Mark the neck in one.png yourself",
        "Mark the neck in two.png yourself",
    ]


def test_marked_corners_reach_the_measurement(page: Callable[[Measure], AppTest]) -> None:
    given: list[object] = []

    def refuse_first(photographs: list[object], stated: StatedNeck, **more: object) -> Outcome:
        given.append(more["starts"])
        return refuse(photographs, stated)

    app = page(refuse_first)
    app.file_uploader(key="_uploads").set_value([("one.png", png(), "image/png")]).run()
    app.button(key="_measure").click().run()
    corner = next(n for n in app.number_input if n.label == "across")
    corner.set_value(123).run()
    app.button(key="_use_corners_0").click().run()
    assert not app.exception
    assert given[0] is None
    start = given[1][0]  # type: ignore[index]
    assert start.corners_px.shape == (4, 2)
    assert start.corners_px[0, 0] == 123.0


def test_misuse_is_shown_and_nothing_breaks(page: Callable[[Measure], AppTest]) -> None:
    def misuse(photographs: list[object], stated: StatedNeck, **_: object) -> Outcome:
        raise ValueError("frets=22 does not suit <b>this</b>")

    app = page(misuse)
    app.button(key="_sample_twist").click().run()
    assert not app.exception
    assert "frets=22 does not suit" in app.error[0].value


def test_a_changed_neck_asks_to_measure_again(page: Callable[[Measure], AppTest]) -> None:
    app = page(measure_well)
    app.button(key="_sample_twist").click().run()
    app.number_input(key="_frets").set_value(21).run()
    assert "Measure again" in app.warning[0].value
    assert "Relief under the bass string" not in text_of(app)
    app.button(key="_measure").click().run()
    assert "between frets 1 and 21" in text_of(app)


def test_leaving_a_sample_brings_back_what_was_stated(page: Callable[[Measure], AppTest]) -> None:
    app = page(measure_well)
    app.number_input(key="_frets").set_value(21).run()
    app.button(key="_sample_forward_bow").click().run()
    assert app.number_input(key="_frets").value == 24
    app.button(key="_sample_twist").click().run()
    app.button(key="_close_sample").click().run()
    assert not app.exception
    assert app.number_input(key="_frets").value == 21


def test_names_from_outside_are_escaped(page: Callable[[Measure], AppTest]) -> None:
    app = page(refuse)
    app.file_uploader(key="_uploads").set_value([("<script>x</script>.png", png(), "image/png")]).run()
    app.button(key="_measure").click().run()
    assert "<script>" not in text_of(app)
    assert "&lt;script&gt;" in text_of(app)


def test_runs_are_kept_by_bytes_and_settings(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[str] = []

    def counted(photographs: list[object], stated: StatedNeck, **_: object) -> Outcome:
        calls.append("measured")
        return measure_well(photographs, stated)

    monkeypatch.setattr(measuring, "measure_neck", counted)
    cache, stated = RunCache(2), StatedNeck(647.7, 22)
    request = Request((PhotoFile("a.png", png()),), stated)
    first = run_request(request, calls.append, cache)
    assert run_request(Request((PhotoFile("a.png", png()),), stated), calls.append, cache) is first
    assert calls.count("measured") == 1
    for other in (
        Request((PhotoFile("a.png", png("treble")),), stated),
        Request((PhotoFile("a.png", png()),), dataclasses.replace(stated, left_handed=True)),
        Request((PhotoFile("a.png", png()),), stated, ((0, ((1.0, 2.0),) * 4),)),
    ):
        run_request(other, calls.append, cache)
    assert calls.count("measured") == 4
    assert cache.get(request.key()) is None, "the oldest run has left"


def test_files_that_are_no_pictures_get_no_drawing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(measuring, "measure_neck", refuse)
    request = Request((PhotoFile("a.jpg", b"not a picture"),), StatedNeck(647.7, 22))
    run = run_request(request, lambda step: None, RunCache(1))
    assert isinstance(run, Run)
    assert run.pictures == (None,)


def test_repeated_names_are_told_apart() -> None:
    assert distinct_names(("image.jpg", "image.jpg", "b", "image.jpg")) == (
        "image.jpg", "image.jpg (2)", "b", "image.jpg (3)",
    )  # fmt: skip


def test_corner_picture_shows_the_corners_in_place() -> None:
    buffer = io.BytesIO()
    Image.new("RGB", (500, 400), (120, 130, 140)).save(buffer, "JPEG")
    shown = Image.open(io.BytesIO(with_scales(buffer.getvalue(), (0, 0, 1000, 800), ((200.0, 100.0),) * 4)))
    ring = [shown.getpixel((round(99.75 + dx), round(49.75 + dy))) for dx, dy in ((11, 0), (-11, 0), (0, 11))]
    assert all(max(abs(a - b) for a, b in zip(px, (123, 52, 32), strict=True)) < 60 for px in ring)  # type: ignore[arg-type]
    assert shown.size == (500, 400)


def test_the_closer_look_holds_every_corner_and_stays_in_the_picture() -> None:
    assert box_around(((100.0, 200.0), (140.0, 200.0), (150.0, 400.0), (90.0, 400.0)), 1000, 800) == (
        10,
        120,
        231,
        481,
    )
    assert box_around(((0.0, 0.0), (999.0, 0.0), (999.0, 799.0), (0.0, 799.0)), 1000, 800) == (
        0,
        0,
        1000,
        800,
    )
    assert box_around(((5.0, 5.0),) * 4, 1000, 800) == (0, 0, 26, 26), (
        "corners on one spot still show something"
    )


@pytest.mark.parametrize(
    ("outcome", "words"),
    [
        (fixtures_results.measured(bass_mm=0.2, treble_mm=0.2, twist_deg=0.0), "usual forward bow, no twist"),
        (fixtures_results.measured(bass_mm=0.8, treble_mm=0.8, twist_deg=0.0), "Too much forward bow"),
        (fixtures_results.measured(bass_mm=-0.3, treble_mm=-0.3), "bends backwards"),
        (fixtures_results.measured(bass_mm=0.01, treble_mm=0.01, twist_deg=2.0), "straight neck, twisted"),
        (fixtures_results.measured(u_mm=0.4), "cannot be told"),
        (fixtures_results.with_high_fret(fixtures_results.measured(), 9, 0.2), "one fret out of line"),
    ],
)
def test_headline_says_it_in_plain_words(outcome: Measured, words: str) -> None:
    findings = judge(outcome, Thresholds())
    assert words in headline(outcome, findings, Thresholds())
    assert decision(findings).endswith((".", "below."))


def test_a_good_neck_is_called_good_and_faults_come_first() -> None:
    good = judge(fixtures_results.measured(bass_mm=0.2, treble_mm=0.2, twist_deg=0.0), Thresholds())
    assert decision(good) == "Nothing was found that speaks against this neck."
    bad = judge(fixtures_results.measured(bass_mm=0.8, treble_mm=0.8, twist_deg=3.0), Thresholds())
    assert decision(bad) == "Weigh this before you buy: forward bow on both sides and twist."
