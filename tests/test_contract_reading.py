"""The stored document gives back every figure it was written from, and says what is wrong with a damaged one."""

import dataclasses
import json
from typing import Any

import numpy as np
import pytest

from app.contract import contract_text, outcome_to_contract
from app.contract_reading import outcome_from_contract
from tests import fixtures_results
from tests.damaging import with_value_at
from vision.results import Measured, Outcome, Refused
from vision.settings import Thresholds


def stored(outcome: Outcome) -> dict[str, Any]:
    read: dict[str, Any] = json.loads(contract_text(outcome_to_contract(outcome, Thresholds(), "1")))
    return read


def assert_same(one: object, other: object) -> None:
    assert type(one) is type(other)
    if dataclasses.is_dataclass(one):
        for field in dataclasses.fields(one):
            assert_same(getattr(one, field.name), getattr(other, field.name))
    elif isinstance(one, np.ndarray):
        np.testing.assert_allclose(other, one, rtol=0, atol=0.0006)  # type: ignore[call-overload]
    elif isinstance(one, tuple):
        assert isinstance(other, tuple)
        assert len(one) == len(other)
        for a, b in zip(one, other, strict=True):
            assert_same(a, b)
    else:
        assert one == other


@pytest.mark.parametrize("outcome", [fixtures_results.measured(), fixtures_results.refused()])
def test_what_was_written_is_read_again(outcome: Outcome) -> None:
    assert_same(outcome, outcome_from_contract(stored(outcome)))


def test_a_document_without_drawing_has_no_trace() -> None:
    document = stored(fixtures_results.measured())
    for photo in document["photos"]:
        del photo["seen"]
    outcome = outcome_from_contract(document)
    assert isinstance(outcome, Measured)
    assert all(photo.trace is None for photo in outcome.photos)


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("status",), "perfect", "status='perfect'"),
        (("frets",), 400, "frets=400"),
        (("frets",), True, "frets=True"),
        (("bass", "gap_mm"), [0.0], "bass gap_mm must have 22 entries"),
        (("bass", "relief_at_fret"), 0, "relief_at_fret=0"),
        (("roll_deg",), None, "roll_deg must have 22 entries"),
        (("photos",), 3, "another kind"),
        (("photos", 0, "seen", "fret_line_px"), [], "22 lines"),
        (("photos", 0, "seen", "nut_px"), [[1.0]], "nut_px must be a list of points"),
        (("provenance", "span_frets"), None, "another kind"),
    ],
)
def test_damaged_documents_are_refused_by_field(path: tuple[Any, ...], value: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        outcome_from_contract(with_value_at(stored(fixtures_results.measured()), path, value))


def test_a_missing_field_is_named() -> None:
    document = stored(fixtures_results.measured())
    del document["twist_deg"]
    with pytest.raises(ValueError, match="no field 'twist_deg'"):
        outcome_from_contract(document)
    assert isinstance(outcome_from_contract(stored(fixtures_results.refused())), Refused)
