"""The whole measurement on the sample photographs, whose truth is known, and what it must refuse."""

import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.sample_necks import KINDS, NECKS, SAMPLES, photograph, photographs, truth_of
from vision import measure
from vision.fit import rounds
from vision.fit.joint import JointFit
from vision.fit.rounds import FittedNeck, View
from vision.locate import COUNT_OPEN, LocatedNeck, NotLocated, locate_neck
from vision.measure import CornerStart, measure_neck
from vision.photo import PhotoFile, Photograph, Unreadable, decode_photograph
from vision.quality import PhotoProblem
from vision.results import Measured, Outcome, Refused
from vision.settings import StatedNeck

Array = NDArray[np.float64]


@pytest.fixture(scope="module")
def outcomes() -> dict[str, tuple[Outcome, list[str]]]:
    """Every sample neck measured once, with the steps that were named."""
    done = {}
    for neck in NECKS:
        steps: list[str] = []
        done[neck] = measure_neck(photographs(neck), truth_of(neck).stated, progress=steps.append), steps
    return done


def measured(outcomes: dict[str, tuple[Outcome, list[str]]], neck: str) -> Measured:
    outcome = outcomes[neck][0]
    assert isinstance(outcome, Measured), outcome
    return outcome


@pytest.mark.parametrize("neck", NECKS)
def test_every_photograph_is_measured(outcomes: dict[str, tuple[Outcome, list[str]]], neck: str) -> None:
    photos = measured(outcomes, neck).photos
    assert [p.name for p in photos] == [f"{neck}_{kind}.jpg" for kind in KINDS]
    assert [(p.name, p.status, p.reason) for p in photos if p.status != "measured"] == []
    assert [p.kind == "front" for p in photos] == [False, False, True]
    for photo in photos:
        assert photo.camera is not None
        assert 0.005 < photo.camera.residual_px < 0.3
        assert 0.6 <= photo.camera.usable_share <= 1.0


def leave_count_open(
    monkeypatch: pytest.MonkeyPatch, pictures: list[Photograph | Unreadable], doubtful: set[int]
) -> list[tuple[int, bool]]:
    """Let the photographs in `doubtful` be located only where another tells their number of frets; each asking."""
    asked: list[tuple[int, bool]] = []
    number_of = {id(p.rgb): i for i, p in enumerate(pictures) if isinstance(p, Photograph)}

    def locate(rgb: NDArray[np.uint8], frets: int, **how: Any) -> LocatedNeck | NotLocated:
        index = number_of[id(rgb)]
        asked.append((index, how["counted"]))
        if index in doubtful and not how["counted"]:
            return NotLocated(COUNT_OPEN, "22 or 24", "Show the nut.")
        return locate_neck(rgb, frets, **how)

    monkeypatch.setattr(measure, "locate_neck", locate)
    return asked


def test_a_count_left_open_in_one_photograph_is_taken_from_another(monkeypatch: pytest.MonkeyPatch) -> None:
    pictures, stated = photographs("straight"), truth_of("straight").stated
    asked = leave_count_open(monkeypatch, pictures, {2})
    found = measure._views_of(pictures, [None] * 3, stated, map)
    assert [one.counted for one in found if isinstance(one, View)] == [False, False, True]
    assert asked == [(0, False), (1, False), (2, False), (2, True)]
    asked = leave_count_open(monkeypatch, pictures, {0, 1, 2})
    found = measure._views_of(pictures, [None] * 3, stated, map)
    assert [one.reason for one in found if isinstance(one, PhotoProblem)] == ["22 or 24"] * 3
    assert asked == [(i, False) for i in range(3)], "no photograph can vouch for the others"


def test_a_photograph_numbered_after_others_goes_first_where_they_disagree(monkeypatch: pytest.MonkeyPatch) -> None:
    pictures = photographs("straight")
    leave_count_open(monkeypatch, pictures, {1})
    judge = measure._trouble

    def trouble(fitted: FittedNeck) -> PhotoProblem | None:
        disagree = PhotoProblem("photographs disagree", "two necks", "one neck")
        return disagree if len(fitted.photos) > 2 else judge(fitted)

    monkeypatch.setattr(measure, "_trouble", trouble)
    outcome = measure_neck(pictures, truth_of("straight").stated)
    assert isinstance(outcome, Measured)
    assert [photo.status for photo in outcome.photos] == ["measured", "refused", "measured"]
    assert "contradicts the other photographs" in str(outcome.photos[1].reason)


@pytest.mark.parametrize("neck", NECKS)
@pytest.mark.parametrize("side", ["bass", "treble"])
def test_relief_holds(outcomes: dict[str, tuple[Outcome, list[str]]], neck: str, side: str) -> None:
    truth = truth_of(neck)
    found = getattr(measured(outcomes, neck), side)
    error = found.relief_mm - truth.relief_mm[side]
    assert 0.003 < found.relief_u_mm < 0.13
    assert abs(error) < 2.5 * found.relief_u_mm
    assert abs(error) < 0.06  # the worst that may happen with three photographs
    off = found.gap_mm - truth.gap_mm[side]
    assert np.sqrt(np.mean(off**2)) < 0.05
    assert np.all(np.abs(off[1:-1]) < 3.0 * found.gap_u_mm[1:-1] + 0.01)
    np.testing.assert_allclose(found.gap_mm[[0, -1]], 0.0, rtol=0, atol=1e-9)
    assert abs(found.relief_mm) == pytest.approx(np.abs(found.gap_mm).max(), rel=0, abs=1e-9)
    assert found.relief_at_fret == int(np.argmax(np.abs(found.gap_mm))) + 1


@pytest.mark.parametrize("neck", NECKS)
def test_twist_holds(outcomes: dict[str, tuple[Outcome, list[str]]], neck: str) -> None:
    twist, truth = measured(outcomes, neck).twist, truth_of(neck).twist_deg
    assert 0.005 < twist.twist_u_deg < 0.2
    assert abs(twist.twist_deg - truth) < 2.5 * twist.twist_u_deg
    assert abs(twist.twist_deg - truth) < 0.15
    assert twist.roll_deg[0] == pytest.approx(0.0, rel=0, abs=1e-9)
    assert twist.roll_deg[-1] == pytest.approx(twist.twist_deg, rel=0, abs=1e-9)


@pytest.mark.parametrize("neck", NECKS)
def test_difference_of_the_sides_is_sharper_than_either(
    outcomes: dict[str, tuple[Outcome, list[str]]], neck: str
) -> None:
    found, truth = measured(outcomes, neck), truth_of(neck)
    error = found.relief_difference_mm - (truth.relief_mm["bass"] - truth.relief_mm["treble"])
    assert abs(error) < 0.035
    assert abs(error) < 3.0 * found.relief_difference_u_mm
    assert 0.001 < found.relief_difference_u_mm < min(found.bass.relief_u_mm, found.treble.relief_u_mm)


@pytest.mark.parametrize("neck", NECKS)
def test_fret_tops_lie_on_the_true_ones(
    outcomes: dict[str, tuple[Outcome, list[str]]], neck: str
) -> None:
    for photo in measured(outcomes, neck).photos:
        assert photo.trace is not None, photo.reason
        record = json.loads((SAMPLES / photo.name).with_suffix(".json").read_text())
        for side, found in (("bass", photo.trace.bass_top_px), ("treble", photo.trace.treble_top_px)):
            line, seen = photo.trace.fret_line_px, np.isfinite(found).all(axis=1)
            assert seen.mean() > 0.8
            along = line[:, -1] - line[:, 0]
            along /= np.hypot(*along.T)[:, None]
            # Across the fret line: along it the point slides with the string, which bends no neck.
            normal = np.column_stack([-along[:, 1], along[:, 0]])
            off = np.sum((found - np.array(record["sides"][side]["fret_top_px"])) * normal, axis=1)[seen]
            # A false twist of 0.1 degrees shifts the lanes of one side by half a pixel along the neck.
            assert np.median(np.abs(off - np.median(off))) < (1.2 if photo.kind == "front" else 0.6)
            assert np.abs(np.median(off)) < 3.0


def test_steps_are_named_in_order(outcomes: dict[str, tuple[Outcome, list[str]]]) -> None:
    steps = outcomes["back_bow"][1]
    rounds = []
    for turn in (1, 2, 3):
        rounds += [
            f"Tracing strings and frets in every photograph ({turn} of 3)",
            f"Fitting the cameras and the neck together ({turn} of 3)",
        ]
    assert steps == ["Finding the neck in every photograph", *rounds, "Judging the curves"]


def test_order_and_an_unreadable_file_among_them_do_not_matter(
    outcomes: dict[str, tuple[Outcome, list[str]]],
) -> None:
    first = measured(outcomes, "back_bow")
    mixed = photographs("back_bow", ("front", "treble", "bass"))
    mixed.insert(1, decode_photograph(b"no picture", "notes.txt"))
    outcome = measure_neck(mixed, truth_of("back_bow").stated)
    assert isinstance(outcome, Measured)
    assert [p.name for p in outcome.photos] == [
        "back_bow_front.jpg", "notes.txt", "back_bow_treble.jpg", "back_bow_bass.jpg"
    ]
    refused = outcome.photos[1]
    assert (refused.status, refused.kind, refused.trace) == ("refused", None, None)
    assert refused.reason
    assert refused.advice
    for side in ("bass", "treble"):
        one, other = getattr(first, side), getattr(outcome, side)
        np.testing.assert_allclose(other.gap_mm, one.gap_mm, rtol=0, atol=0.004)
        assert other.relief_u_mm == pytest.approx(one.relief_u_mm, rel=0, abs=0.003)
    assert outcome.twist.twist_deg == pytest.approx(first.twist.twist_deg, rel=0, abs=0.01)


@pytest.fixture(scope="module")
def pair() -> Measured:
    """Back-bowed neck from its two low photographs alone."""
    outcome = measure_neck(photographs("back_bow", ("bass", "treble")), truth_of("back_bow").stated)
    assert isinstance(outcome, Measured), outcome
    return outcome


def test_without_a_front_photograph_the_relief_is_wide_and_the_difference_is_not(
    outcomes: dict[str, tuple[Outcome, list[str]]], pair: Measured
) -> None:
    whole, truth = measured(outcomes, "back_bow"), truth_of("back_bow")
    assert [f.code for f in pair.flags] == ["no front photograph"]
    assert pair.provenance.depth_from == "usual widths"
    for side in ("bass", "treble"):
        found, with_front = getattr(pair, side), getattr(whole, side)
        assert 1.5 * with_front.relief_u_mm < found.relief_u_mm < 0.3
        assert abs(found.relief_mm - truth.relief_mm[side]) < 2.5 * found.relief_u_mm
    error = pair.relief_difference_mm - (truth.relief_mm["bass"] - truth.relief_mm["treble"])
    assert abs(error) < 0.035
    assert abs(pair.twist.twist_deg - truth.twist_deg) < 2.5 * pair.twist.twist_u_deg < 0.5


def test_two_stated_widths_of_the_board_stand_for_the_front() -> None:
    """Widths from edge to edge, as a calliper takes them; frets end half a millimetre inside."""
    truth = truth_of("straight")
    stated = replace(truth.stated, nut_width_mm=42.0, width_at_12_mm=51.8)
    outcome = measure_neck(photographs("straight", ("bass", "treble")), stated)
    assert isinstance(outcome, Measured), outcome
    known = outcome.provenance
    assert known.depth_from == "stated widths"
    assert (known.nut_width_mm, known.width_at_12_mm) == pytest.approx((42.0, 51.8), rel=0, abs=0.1)
    assert 0.1 <= known.nut_width_u_mm < 0.25
    for side in ("bass", "treble"):
        assert abs(getattr(outcome, side).relief_mm - truth.relief_mm[side]) < 0.06
        assert 0.03 < getattr(outcome, side).relief_u_mm < 0.12


def test_the_board_is_as_wide_as_it_is_said_to_be() -> None:
    """The truth tells the board's width from edge to edge, and so does the measurement."""
    board = json.loads((SAMPLES / "back_bow_compound_bass.json").read_text())["board"]
    outcome = measure_neck(photographs("back_bow_compound"), truth_of("back_bow_compound").stated)
    assert isinstance(outcome, Measured), outcome
    found = outcome.provenance
    for width_mm, u_mm, true_mm in (
        (found.nut_width_mm, found.nut_width_u_mm, board["nut_width_mm"]),
        (found.width_at_12_mm, found.width_at_12_u_mm, board["width_at_12_mm"]),
    ):
        assert abs(width_mm - true_mm) < 2.0 * u_mm
        assert 0.1 < u_mm < 0.9


def test_one_photograph_alone_is_measured_with_the_width_it_deserves(pair: Measured) -> None:
    truth = truth_of("back_bow")
    one = measure_neck(photographs("back_bow", ("treble",)), truth.stated)
    assert isinstance(one, Measured)
    assert [(p.status, p.kind) for p in one.photos] == [("measured", "treble")]
    for side in ("bass", "treble"):
        found = getattr(one, side)
        assert 0.8 * getattr(pair, side).relief_u_mm < found.relief_u_mm < 0.5
        assert abs(found.relief_mm - truth.relief_mm[side]) < 2.5 * found.relief_u_mm
    assert one.relief_difference_u_mm > pair.relief_difference_u_mm


def test_files_side_by_side_give_what_photographs_give_one_after_the_other(pair: Measured) -> None:
    names = [f"back_bow_{kind}.jpg" for kind in ("bass", "treble")]
    files = [PhotoFile((SAMPLES / name).read_bytes(), name) for name in names]
    with ThreadPoolExecutor(2) as pool:
        again = measure_neck(files, truth_of("back_bow").stated, each=pool.map)
    assert isinstance(again, Measured)
    for side in ("bass", "treble"):
        one, other = getattr(pair, side), getattr(again, side)
        np.testing.assert_allclose(other.gap_mm, one.gap_mm, rtol=0, atol=1e-6)
        np.testing.assert_allclose(other.deviation_mm, one.deviation_mm, rtol=0, atol=1e-6)
    assert again.twist.twist_deg == pytest.approx(pair.twist.twist_deg, rel=0, abs=1e-6)
    assert [p.kind for p in again.photos] == [p.kind for p in pair.photos]
    assert [p.flags for p in again.photos] == [p.flags for p in pair.photos]


def test_a_mirrored_neck_is_the_same_left_handed_neck(
    outcomes: dict[str, tuple[Outcome, list[str]]],
) -> None:
    first, truth = measured(outcomes, "back_bow"), truth_of("back_bow")
    mirrored = [
        replace(photo, rgb=np.ascontiguousarray(photo.rgb[:, ::-1]))
        for photo in photographs("back_bow")
        if isinstance(photo, Photograph)
    ]
    outcome = measure_neck(mirrored, replace(truth.stated, left_handed=True))
    assert isinstance(outcome, Measured)
    assert [p.kind for p in outcome.photos] == [p.kind for p in first.photos]
    for side in ("bass", "treble"):
        one, other = getattr(first, side), getattr(outcome, side)
        # Crop and first camera are not the mirror image to the last digit; the relief follows within its uncertainty.
        np.testing.assert_allclose(other.gap_mm, one.gap_mm, rtol=0, atol=0.05)
        assert np.all(np.abs(other.gap_mm - one.gap_mm) <= 2.0 * one.gap_u_mm + 1e-9)
        assert other.relief_u_mm == pytest.approx(one.relief_u_mm, rel=0, abs=0.006)
    assert outcome.twist.twist_deg == pytest.approx(first.twist.twist_deg, rel=0, abs=0.03)
    for one, other in zip(first.photos, outcome.photos, strict=True):
        assert one.trace is not None
        assert other.trace is not None
        width = mirrored[0].rgb.shape[1] if one.kind != "front" else mirrored[2].rgb.shape[1]
        flipped = np.array([width - 1.0, 0.0]) + other.trace.bass_top_px * np.array([-1.0, 1.0])
        seen = np.isfinite(flipped + one.trace.bass_top_px).all(axis=1)
        np.testing.assert_allclose(flipped[seen], one.trace.bass_top_px[seen], rtol=0, atol=2.0)


def test_a_left_handed_neck_with_a_high_fret() -> None:
    """Its strings run the other way round, and fret 9 stands 0.12 mm high."""
    neck = "high_fret_left_handed"
    truth = truth_of(neck)
    outcome = measure_neck(photographs(neck), replace(truth.stated, left_handed=True))
    assert isinstance(outcome, Measured)
    used = [p for p in outcome.photos if p.status == "measured"]
    assert sorted(str(p.kind) for p in used) == ["bass", "front", "treble"]
    assert [p.kind for p in used if p.name.endswith("_bass.jpg")] == ["bass"]
    for side in ("bass", "treble"):
        found = getattr(outcome, side)
        assert abs(found.relief_mm - truth.relief_mm[side]) < 2.5 * found.relief_u_mm < 0.12
        assert found.deviation_mm[8] == pytest.approx(0.12, rel=0, abs=0.03)
        assert np.abs(np.delete(found.deviation_mm, 8)).max() < 0.05
    strings = [len(p.trace.string_px) for p in used if p.trace is not None]
    assert min(strings) >= 4  # of six


def refused(outcome: Outcome, code: str) -> Refused:
    """A refusal with its code, a reason and advice, and no photograph that claims to be measured."""
    assert isinstance(outcome, Refused), outcome
    assert outcome.code == code
    assert outcome.reason
    assert outcome.advice
    for photo in outcome.photos:
        assert photo.status == "refused"
        assert photo.reason
        assert photo.advice
    return outcome


def test_photographs_from_the_front_alone_are_refused() -> None:
    outcome = refused(measure_neck(photographs("back_bow", ("front",)), StatedNeck(647.7, 22)), "front only")
    assert "widths, not relief" in outcome.reason
    assert "along each outer string" in outcome.advice


def test_photographs_of_two_necks_are_refused() -> None:
    mixed = [photograph("back_bow", "bass"), photograph("twist", "treble")]
    outcome = refused(measure_neck(mixed, StatedNeck(647.7, 22)), "photographs disagree")
    assert "same neck" in outcome.reason


def test_a_fit_that_does_not_settle_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    def unsettled(*given: Any, **named: Any) -> FittedNeck:
        fitted = rounds.trace_and_fit(*given, **named)
        return replace(fitted, fit=replace(fitted.fit, converged=False))

    monkeypatch.setattr(measure, "trace_and_fit", unsettled)
    outcome = measure_neck(photographs("back_bow", ("treble",)), StatedNeck(647.7, 22))
    assert "settles" in refused(outcome, "fit unsettled").reason


def test_cameras_that_lost_the_neck_are_refused_and_not_traced_by(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fit may end at a lens that no one has, with the neck out of the picture."""
    fit_jointly, fits = rounds.fit_jointly, []

    def astray(*given: Any, **named: Any) -> JointFit:
        fit = fit_jointly(*given, **named)
        fits.append(fit)
        cameras = tuple(replace(camera, focal_px=40.0 * camera.focal_px) for camera in fit.cameras)
        return replace(fit, cameras=cameras)

    monkeypatch.setattr(rounds, "fit_jointly", astray)
    outcome = measure_neck(photographs("back_bow", ("treble",)), StatedNeck(647.7, 22))
    assert "settles" in refused(outcome, "fit unsettled").reason
    assert 1 <= len(fits) <= 2  # of the first round alone


def test_only_the_front_left_says_why_the_others_were_refused() -> None:
    given = [*photographs("back_bow", ("front",)), Unreadable("cut.jpg", "damaged", "the picture is cut off", "again")]
    outcome = refused(measure_neck(given, StatedNeck(647.7, 22)), "front only")
    assert "the picture is cut off" in outcome.reason
    assert outcome.advice == "again"


def test_a_photograph_given_again_counts_once(pair: Measured) -> None:
    """Counted twice, its errors would pass for two sightings that agree, and the claim would be too sure."""
    again = replace(photograph("back_bow", "bass"), name="copy.jpg")
    outcome = measure_neck([*photographs("back_bow", ("bass", "treble")), again], truth_of("back_bow").stated)
    assert isinstance(outcome, Measured)
    copy = outcome.photos[2]
    assert (copy.status, copy.flags[0].code) == ("refused", "given twice")
    assert "same file as back_bow_bass.jpg" in copy.flags[0].text
    for side in ("bass", "treble"):
        assert getattr(outcome, side).relief_u_mm == pytest.approx(getattr(pair, side).relief_u_mm, rel=0, abs=1e-9)
        assert getattr(outcome, side).relief_mm == pytest.approx(getattr(pair, side).relief_mm, rel=0, abs=1e-9)


def test_views_of_one_neck_from_its_two_strings_are_told_apart(pair: Measured) -> None:
    assert [p.kind for p in pair.photos] == ["bass", "treble"]


@pytest.mark.parametrize("stated", [21, 24])
def test_a_wrong_number_of_frets_is_refused_with_the_one_that_fits(stated: int) -> None:
    wrong = measure_neck(photographs("back_bow", ("treble",)), StatedNeck(647.7, stated))
    outcome = refused(wrong, "fret count")
    assert f"{stated} frets were stated" in outcome.reason
    assert "22 frets" in outcome.reason


def test_a_picture_without_a_neck_is_refused() -> None:
    blank = replace(photograph("back_bow", "bass"), rgb=np.full((1200, 900, 3), 128, dtype=np.uint8))
    outcome = refused(measure_neck([blank], StatedNeck(647.7, 22)), "no neck")
    assert [p.name for p in outcome.photos] == ["back_bow_bass.jpg"]


def test_unreadable_files_alone_are_refused_with_their_own_reason() -> None:
    broken = decode_photograph(b"", "empty.jpg")
    assert isinstance(broken, Unreadable)
    outcome = refused(measure_neck([broken], StatedNeck(647.7, 22)), "empty")
    assert broken.reason in outcome.reason
    assert outcome.advice == broken.advice


def test_no_photographs_are_misuse() -> None:
    with pytest.raises(ValueError, match=r"photographs=\[\] must hold at least one"):
        measure_neck([], StatedNeck(647.7, 22))


@pytest.mark.parametrize("index", [-1, 1])
def test_corners_of_a_photograph_that_is_not_there_are_misuse(index: int) -> None:
    broken = decode_photograph(b"", "empty.jpg")
    start = CornerStart(np.zeros((4, 2)))
    with pytest.raises(ValueError, match=rf"starts=\[{index}\] names photograph {index}, there are 1"):
        measure_neck([broken], StatedNeck(647.7, 22), starts={index: start})
