"""Judging photographs: what is refused, what is flagged, and the advice that goes with it."""

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from vision.fit.camera import CameraModel
from vision.fit.neck_model import NeckModel, WidthPrior, build_neck_model, middle_of
from vision.quality import (
    LEAST_USABLE,
    PhotoProblem,
    disagreeing,
    neck_flags,
    photo_flags,
    problem_of,
    robust_rms,
)
from vision.trace.blur import Blur
from vision.trace.photo_trace import PhotoMeasurement

_FRETS, _LANES = 22, 8


@pytest.fixture(scope="module")
def model() -> NeckModel:
    return build_neck_model(647.7, _FRETS, WidthPrior(42.2, 0.8, 51.8, 0.9))


def _camera(model: NeckModel, elevation_deg: float, *, distance_mm: float = 1200.0) -> CameraModel:
    up = np.radians(elevation_deg)
    position = middle_of(model) + distance_mm * np.array([0.0, np.sin(up), -np.cos(up)])
    return CameraModel(np.eye(3), -position, 8600.0, 0.0, np.zeros(2))


def _trace(
    *, hidden: int = 0, lanes: int = _LANES, blurred_px: float = 0.0, front: bool = False
) -> PhotoMeasurement:
    """hidden : frets without any usable stretch.  lanes : usable ones of the others.  blurred_px : radius."""
    usable = np.zeros((_FRETS, _LANES), dtype=bool)
    usable[hidden:, :lanes] = True
    strip = SimpleNamespace(front=front, top_row=np.linspace(10.0, 90.0, _FRETS), depth_m=np.full(100, 1.25))
    blur = Blur(float(np.log(max(blurred_px, 1e-6))), -0.2, float(np.log(0.9)), 0.5)  # 1 / 1.25 + 0.2 = 1
    return cast(PhotoMeasurement, SimpleNamespace(usable=usable, strip=strip, blur=blur))


def _problem(trace: PhotoMeasurement, camera: CameraModel, model: NeckModel) -> PhotoProblem:
    found = problem_of(trace, camera, model)
    assert found is not None
    assert found.reason.endswith(".")
    assert found.advice.endswith(".")
    return found


def test_a_good_photograph_has_neither_problem_nor_flag(model: NeckModel) -> None:
    assert problem_of(_trace(), _camera(model, 8.0), model) is None
    assert photo_flags(_trace(), _camera(model, 8.0), model) == ()
    for elevation_deg in (30.0, 60.0, 80.0):
        assert photo_flags(_trace(front=True), _camera(model, elevation_deg), model) == ()


@pytest.mark.parametrize(
    ("trace", "elevation_deg", "code", "words"),
    [
        (_trace(hidden=11), 3.0, "too low", "(3.0 degrees): frets hide one another"),
        (_trace(hidden=11, blurred_px=12.0), 8.0, "blurred", "too blurred"),
        (_trace(blurred_px=12.0), 8.0, "blurred", "too blurred"),
        (_trace(blurred_px=12.0, front=True), 60.0, "blurred", "too blurred"),
        (_trace(hidden=11), 8.0, "too few frets", "Only 11 frets can be made out, 12 are needed"),
        (_trace(lanes=4), 8.0, "glare", "Only 50 % of the frets' lengths"),
        (_trace(hidden=11, front=True), 60.0, "too few frets", "Only 11 frets"),
        (_trace(hidden=_FRETS), 8.0, "too few frets", "No frets can be made out, 12 are needed"),
    ],
)
def test_what_cannot_carry_the_figure_is_refused_with_its_reason(
    model: NeckModel, trace: PhotoMeasurement, elevation_deg: float, code: str, words: str
) -> None:
    found = _problem(trace, _camera(model, elevation_deg), model)
    assert found.code == code
    assert words in found.reason


def test_the_least_share_is_where_the_refusal_begins(model: NeckModel) -> None:
    camera = _camera(model, 8.0)
    assert 4 / _LANES < LEAST_USABLE < 5 / _LANES
    assert problem_of(_trace(lanes=5), camera, model) is None
    assert _problem(_trace(lanes=4), camera, model).code == "glare"


@pytest.mark.parametrize(
    ("trace", "elevation_deg", "distance_mm", "codes"),
    [
        (_trace(), 4.0, 1200.0, ["too low"]),
        (_trace(), 18.0, 1200.0, ["too high"]),
        (_trace(front=True), 88.0, 1200.0, ["straight above"]),
        (_trace(), 8.0, 2600.0, ["too small"]),
        (_trace(blurred_px=7.0), 8.0, 1200.0, ["blurred"]),
        (_trace(hidden=2), 8.0, 1200.0, ["frets hidden"]),
        (_trace(lanes=6), 8.0, 1200.0, ["glare"]),
        (_trace(hidden=8), 18.0, 2600.0, ["too high", "too small", "frets hidden"]),
    ],
)
def test_what_could_be_better_is_flagged(
    model: NeckModel, trace: PhotoMeasurement, elevation_deg: float, distance_mm: float, codes: list[str]
) -> None:
    flags = photo_flags(trace, _camera(model, elevation_deg, distance_mm=distance_mm), model)
    assert [f.code for f in flags] == codes
    assert all(f.text and f.advice for f in flags)


def test_hidden_frets_are_named_and_not_all_of_many(model: NeckModel) -> None:
    few, many = (photo_flags(_trace(hidden=n), _camera(model, 8.0), model)[0].text for n in (2, 8))
    assert few == "Not seen well: fret 1, 2."
    assert many == "Not seen well: fret 1, 2, 3, 4, 5, 6 and more."


def test_the_set_of_photographs_is_judged_as_a_whole() -> None:
    assert neck_flags(["bass", "treble", "front"], widths_stated=False) == ()
    assert neck_flags(["bass", "treble"], widths_stated=True) == ()
    assert [f.code for f in neck_flags(["bass"], widths_stated=False)] == ["no front photograph"]
    twice = neck_flags(["bass", "bass", "front"], widths_stated=False)
    assert [f.code for f in twice] == ["same string twice"]
    assert "bass side" in twice[0].text
    assert neck_flags(["bass", "bass", "treble", "front"], widths_stated=False) == ()


def test_robust_rms_is_the_standard_deviation_of_normal_data_and_deaf_to_outliers() -> None:
    normal = np.random.default_rng(9).normal(0.0, 2.0, 4000)
    spoiled = normal.copy()
    spoiled[::20] = 1e3
    assert robust_rms(normal) == pytest.approx(2.0, rel=0, abs=0.1)
    assert robust_rms(spoiled) == pytest.approx(2.0, rel=0, abs=0.25)
    assert robust_rms(np.zeros(0)) == 0.0


def test_residuals_far_beyond_their_uncertainty_are_a_disagreement() -> None:
    rng = np.random.default_rng(10)
    fine, bad = rng.normal(0.0, 1.0, 200), rng.normal(0.0, 5.0, 200)
    assert not disagreeing([fine, fine])
    assert disagreeing([fine, bad])
