"""The inspection and its document: round trips, refusals that name the field, and seeded fuzz of edited text."""

import json
import random
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from typing import Any

import pytest

from app.record.document import MAX_DOCUMENT_BYTES, SCHEMA_VERSION, inspection_from_text, inspection_to_text
from app.record.inspection import (
    CheckResult,
    CostEdit,
    Guitar,
    Inspection,
    Measurement,
    Neck,
    PlayedNote,
    Sighting,
    new_inspection,
    photos_of,
)
from app.record.plain_json import MAX_DEPTH
from app.record.problems import DocumentProblem
from tests.fixtures_results import measured
from tests.record.records import WHEN, full_inspection, measurement_of
from vision.settings import StatedNeck

HASH = "ab" * 32
OTHER = "cd" * 32


def full_document() -> dict[str, Any]:
    document: dict[str, Any] = json.loads(inspection_to_text(full_inspection(HASH, OTHER)))
    return document


def test_a_full_inspection_survives_the_round_trip() -> None:
    inspection = full_inspection(HASH, OTHER)
    text = inspection_to_text(inspection)
    again = inspection_from_text(text)
    assert again == inspection
    assert again.sightings[0].measurement == inspection.sightings[0].measurement
    assert inspection_to_text(again) == text
    assert inspection_from_text(text.encode()) == inspection


def test_the_contract_comes_back_with_every_figure_bit_for_bit() -> None:
    contract = measurement_of(measured()).contract
    again = inspection_from_text(inspection_to_text(full_inspection(HASH))).sightings[0].measurement
    assert again is not None
    assert again.contract == contract
    assert again.contract["bass"]["gap_mm"] == contract["bass"]["gap_mm"]


def test_an_empty_inspection_survives_and_ids_differ() -> None:
    first, second = new_inspection(), new_inspection()
    assert first.id != second.id
    assert first.revision == 0
    assert inspection_from_text(inspection_to_text(first)) == first


def test_every_photograph_is_found_once() -> None:
    assert [photo.sha256 for photo in photos_of(full_inspection(HASH, OTHER))] == [HASH, OTHER]
    check = CheckResult("fault", photo=full_inspection(OTHER).sightings[0].photos[0])
    assert [p.sha256 for p in photos_of(replace(new_inspection(), checks={"nut": check}))] == [OTHER]


def test_times_are_kept_in_utc() -> None:
    local = datetime(2026, 5, 4, 11, 30, tzinfo=timezone(timedelta(hours=2)))
    sighting = Sighting("before", local)
    assert sighting.made_at == WHEN
    assert sighting.made_at.utcoffset() == timedelta(0)


def test_the_stated_neck_is_what_the_measurement_takes() -> None:
    neck = full_inspection(HASH).guitar.neck
    assert neck.stated() == StatedNeck(647.7, 22, False, 42.1, 52.0, 0.1, 82.41, True)
    with pytest.raises(ValueError, match="scale_length_mm=None"):
        Neck(frets=22).stated()
    with pytest.raises(ValueError, match="frets=None"):
        Neck(scale_length_mm=647.7).stated()


@pytest.mark.parametrize(
    ("build", "named"),
    [
        (lambda: Neck(scale_length_mm=399.0), "scale_length_mm=399.0"),
        (lambda: Neck(frets=37), "frets=37"),
        (lambda: Neck(nut_width_mm=81.0), "nut_width_mm=81.0"),
        (lambda: Neck(strings=3), r"strings="),
        (lambda: Guitar(asking_price=float("nan")), r"asking_price="),
        (lambda: Guitar(asking_price=-0.01), r"asking_price="),
        (lambda: Guitar(title="a\x00b"), r"title=.*control characters"),
        (lambda: Guitar(title="a" * 201), r"title="),
        (lambda: Guitar(asking_price="12"), r"asking_price='12'"),
        (lambda: CostEdit(3.0, 2.0), r"low=3.0 is above high=2.0"),
        (lambda: CheckResult("broken"), r"state='broken'"),
        (lambda: CheckResult(readings={"ohm": float("inf")}), r"readings.ohm="),
        (lambda: PlayedNote(13, 0, "fine"), r"string="),
        (lambda: PlayedNote(1, 37, "fine"), r"fret="),
        (lambda: Sighting("x", datetime(2026, 1, 1)), r"made_at=.*timezone"),
        (lambda: Sighting("x", WHEN, 4.01), r"part_turn="),
        (lambda: replace(new_inspection(), id="../../etc"), r"id="),
        (lambda: replace(new_inspection(), revision=-1), r"revision="),
        (
            lambda: replace(new_inspection(), play_test=(PlayedNote(1, 2, "fine"), PlayedNote(1, 2, "buzz"))),
            "string 1, fret 2 stands twice",
        ),
        (lambda: Measurement("1", WHEN, {"status": "measured"}), "the measurement's field"),
    ],
)
def test_what_cannot_be_is_refused_by_name(build: Callable[[], object], named: str) -> None:
    with pytest.raises(ValueError, match=named) as error:
        build()
    assert "\n" not in str(error.value)


def test_too_many_arguments_are_refused() -> None:
    with pytest.raises(TypeError, match="CostEdit takes 3 arguments, got 4"):
        CostEdit(1.0, 2.0, "x", 3)  # type: ignore[call-arg]


@pytest.mark.parametrize("low_high", [(0.0, 0.0), (2.0, 2.0)])
def test_bounds_themselves_are_allowed(low_high: tuple[float, float]) -> None:
    assert CostEdit(*low_high).low == low_high[0]
    assert Neck(scale_length_mm=400.0, frets=36, strings=12).frets == 36
    assert Guitar(title="a" * 200, asking_price=1e9).asking_price == 1e9


def _edit(path: str, value: object) -> Callable[[dict[str, Any]], None]:
    def apply(document: dict[str, Any]) -> None:
        *parts, last = path.split("/")
        at: Any = document
        for part in parts:
            at = at[int(part)] if isinstance(at, list) else at[part]
        at[int(last) if isinstance(at, list) else last] = value

    return apply


@pytest.mark.parametrize(
    ("edit", "says"),
    [
        (_edit("schema", "another"), "not an inspection's document"),
        (_edit("schema_version", SCHEMA_VERSION + 1), "newer version"),
        (_edit("schema_version", 0), "no known schema version: 0"),
        (_edit("schema_version", True), "no known schema version: True"),
        (_edit("schema_version", "1"), "no known schema version: '1'"),
        (_edit("extra", 1), "missing or unknown parts"),
        (_edit("inspection/surprise", 1), "surprise"),
        (_edit("inspection", []), "cannot be read"),
        (_edit("inspection/guitar/neck/frets", "22"), "guitar.neck.frets"),
        (_edit("inspection/guitar/neck/frets", 22.5), "guitar.neck.frets"),
        (_edit("inspection/guitar/neck/scale_length_mm", 1e6), "scale_length_mm=1000000.0"),
        (_edit("inspection/sightings/0/photos/0/sha256", "../../../etc/passwd"), "sightings.0.photos.0.sha256"),
        (_edit("inspection/sightings/0/photos/0/corners", [[0, 0]]), "corners"),
        (_edit("inspection/sightings/0/measurement/contract/bass/gap_mm", [0.0]), "bass.gap_mm has 1 entries"),
        (_edit("inspection/sightings/0/measurement/contract/bass/relief_mm", None), "bass.relief_mm"),
        (_edit("inspection/sightings/0/measurement/contract/status", "perfect"), "status"),
        (_edit("inspection/sightings/0/measurement/contract/photos/0/fret_top_px/bass/0", [1.0]), "fret_top_px.bass"),
        (_edit("inspection/checks/rod_nut/state", "sold"), "checks.rod_nut.state"),
        (_edit("inspection/created_at", "yesterday"), "created_at"),
        (_edit("inspection/created_at", "2026-01-01T00:00:00"), "created_at"),
        (_edit("inspection/revision", 2**60), r"2\^53"),
        (_edit("inspection/step", "a\ud800"), "half characters"),
        (_edit("inspection/costs/fret_dress/low", 1e8), "above high"),
    ],
)
def test_hand_edited_documents_are_refused_by_the_field(edit: Callable[[dict[str, Any]], None], says: str) -> None:
    document = full_document()
    edit(document)
    with pytest.raises(DocumentProblem, match=says) as problem:
        inspection_from_text(json.dumps(document))
    assert problem.value.advice


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"", "not JSON"),
        (b"[]", "not a JSON object"),
        (b"null", "not a JSON object"),
        (b'{"schema": NaN}', "NaN"),
        (b'{"schema": -Infinity}', "-Infinity"),
        (b'{"schema": 1e999}', "not finite"),
        (b'{"schema": ' + b"9" * 5000 + b"}", "cannot be read"),
        (b'{"a": 1, "a": 2}', "'a' stands twice"),
        (b"\xff\xfe{}", "UTF-8"),
        (b"[" * 200_000, "nested deeper"),
        (b'{"a":' * 100_000, "nested deeper"),
        (b'{"a": ' + b"[" * MAX_DEPTH + b"]" * MAX_DEPTH + b"}", "nested deeper"),
        (b" " * (MAX_DOCUMENT_BYTES + 1), "bytes, more than"),
    ],
)
def test_text_that_is_no_plain_json_is_refused(text: bytes, says: str) -> None:
    with pytest.raises(DocumentProblem, match=says):
        inspection_from_text(text)


def test_an_inspection_too_large_to_be_read_again_is_not_written() -> None:
    checks = {f"{k}": CheckResult("fine", "\U0001f3b8" * 4000) for k in range(300)}
    long = measurement_of(measured())
    sightings = tuple(Sighting("x", WHEN, measurement=long) for _ in range(40))
    fits = replace(new_inspection(), checks=checks, sightings=sightings)
    assert inspection_from_text(inspection_to_text(fits)) == fits
    padded = replace(long, contract=long.contract | {"more": ["x" * 4000] * 2000})
    with pytest.raises(ValueError, match=f"more than the {MAX_DOCUMENT_BYTES} allowed"):
        inspection_to_text(replace(fits, sightings=(Sighting("x", WHEN, measurement=padded),)))


@pytest.mark.parametrize("value", [float("nan"), float("inf"), {1, 2}, {3: "x"}, 2**60, "a\x00"])
def test_a_contract_with_what_json_lacks_is_refused_before_it_is_kept(value: object) -> None:
    contract = measurement_of(measured()).contract
    with pytest.raises(ValueError, match="contract"):
        Measurement("1", WHEN, contract | {"more": value})


def test_seeded_fuzz_of_documents_gives_an_inspection_or_a_clear_problem() -> None:
    """Bytes flipped, cut, repeated, and values exchanged: never another error, and what is read is whole."""
    rng = random.Random(20260504)
    text = inspection_to_text(full_inspection(HASH, OTHER)).encode()
    read = refused = 0
    for _ in range(250):
        edited = bytearray(text)
        for _ in range(rng.randint(1, 3)):
            at = rng.randrange(len(edited))
            match rng.randrange(4):
                case 0:
                    edited[at] = rng.randrange(256)
                case 1:
                    del edited[at : at + rng.randint(1, 40)]
                case 2:
                    edited[at:at] = edited[at : at + rng.randint(1, 40)]
                case _:
                    edited[at:at] = rng.choice([b"null", b"-1", b"1e400", b'"', b"[", b"}", b"NaN", b"\\u0000"])
        try:
            inspection = inspection_from_text(bytes(edited))
        except DocumentProblem:
            refused += 1
        else:
            read += 1
            assert inspection_from_text(inspection_to_text(inspection)) == inspection
    assert read > 5
    assert refused > 100


def test_seeded_fuzz_of_values_gives_an_inspection_or_a_clear_problem() -> None:
    rng = random.Random(7)
    odd: list[object] = [None, -1, 0, 1e308, "", "x" * 5000, [], {}, True, [[[]]], {"a": None}, "\u202e", 2**53]
    read = refused = 0
    text = inspection_to_text(full_inspection(HASH, OTHER))
    for _ in range(200):
        document = json.loads(text)
        at: Any = document["inspection"]
        while True:  # walk to a random place and put something odd there
            keys = list(at) if isinstance(at, dict) else list(range(len(at)))
            key = rng.choice(keys)
            if isinstance(at[key], (dict, list)) and at[key] and rng.random() < 0.8:
                at = at[key]
                continue
            at[key] = rng.choice(odd)
            break
        try:
            inspection = inspection_from_text(json.dumps(document))
        except DocumentProblem:
            refused += 1
        else:
            read += 1
            assert isinstance(inspection, Inspection)
            assert inspection_from_text(inspection_to_text(inspection)) == inspection
    assert read > 10
    assert refused > 50
