"""Stored documents to facts: what is kept, how the sides' errors hang together, and what is refused."""

import copy
import dataclasses
import json
import math
from typing import Any

import numpy as np
import pytest

from app.contract import outcome_to_contract
from app.inspection.facts import CurveFacts, RefusedFacts, curve_facts, facts_of
from tests.damaging import with_value_at
from tests.findings.records import bow, kink, record, side
from tests.inspection.necks import document, neck
from vision.findings.shape import contrast_mm, rise_weights
from vision.fit.frets import fret_positions_mm
from vision.results import Refused
from vision.settings import Thresholds


def test_a_document_read_back_is_the_outcome_it_came_from() -> None:
    measured = record(twist_deg=0.31)
    stored = json.loads(json.dumps(outcome_to_contract(measured, Thresholds(), "0.1.0")))
    facts = curve_facts(stored)
    assert facts == facts_of(measured)
    assert isinstance(facts, CurveFacts)
    assert facts.bass.relief_mm == measured.bass.relief_mm
    assert facts.twist_deg == 0.31
    assert "glare" in facts.photo_advice  # all three kinds are there: only better ones help
    assert facts.frets == len(facts.treble.deviation_mm) == 22


def test_a_refused_document_keeps_its_reason() -> None:
    refused = Refused(647.7, 22, "no_neck", "No neck was found.", "Step back.")
    facts = curve_facts(outcome_to_contract(refused, Thresholds(), "0.1.0"))
    assert facts == RefusedFacts("No neck was found.", "Step back.")


def test_sides_that_share_their_error() -> None:
    # var(b - t) = var(b) + var(t) - 2 cov (GUM 5.2.2): u 0.05 each, difference 0.01: 1 - 0.01^2 / 2 / 0.05^2
    facts = neck(u_mm=0.05, difference_u_mm=0.01)
    assert facts.relief_correlation == pytest.approx(0.98, abs=1e-12, rel=0)
    assert facts.mean_relief_u_mm == pytest.approx(math.sqrt(0.05**2 - 0.01**2 / 4.0), abs=1e-12, rel=0)


def test_the_mean_of_the_sides_is_what_the_rod_moves() -> None:
    assert neck(0.30, treble_mm=0.20).mean_relief_mm == pytest.approx(0.25, abs=1e-12, rel=0)


def test_a_difference_surer_than_can_be_counts_as_fully_shared() -> None:
    # u 0.05 and 0.10 with no uncertainty of the difference would be a correlation of 1.25.
    facts = facts_of(record(side("bass", bow(0.2), 0.05), side("treble", bow(0.2), 0.10), difference_u_mm=0.0))
    assert isinstance(facts, CurveFacts)
    assert facts.relief_correlation == 1.0


@pytest.mark.parametrize(("difference_u_mm", "correlation"), [(0.05 * math.sqrt(2.0), 0.0), (0.2, 0.0), (0.0, 1.0)])
def test_errors_of_opposite_sign_are_not_credited(difference_u_mm: float, correlation: float) -> None:
    facts = neck(u_mm=0.05, difference_u_mm=difference_u_mm)
    assert facts.relief_correlation == pytest.approx(correlation, abs=1e-12, rel=0)


def test_the_rise_is_that_of_the_findings() -> None:
    measured = record(side("bass", kink(0.15)))
    facts = facts_of(measured)
    assert isinstance(facts, CurveFacts)
    z_mm = fret_positions_mm(measured.scale_length_mm, 22)
    expected = contrast_mm(rise_weights(z_mm, 15), measured.bass, measured)
    assert (facts.bass.rise_mm, facts.bass.rise_u_mm) == expected
    assert facts.bass.rise_mm == pytest.approx(0.15, abs=0.02, rel=0)


def test_a_short_neck_has_no_last_frets_to_rise() -> None:
    flat = np.zeros(15)
    facts = facts_of(record(side("bass", flat), side("treble", flat)))
    assert isinstance(facts, CurveFacts)
    assert facts.bass.rise_mm is None
    assert facts.treble.hump_u_mm is None


def test_an_unseen_fret_stays_unseen() -> None:
    stored: Any = copy.deepcopy(document())
    stored["bass"]["deviation_mm"][4] = None
    stored["bass"]["deviation_u_mm"][4] = None
    facts = curve_facts(stored)
    assert isinstance(facts, CurveFacts)
    assert facts.bass.deviation_mm[4] is None
    assert facts.bass.deviation_mm[3] is not None


@pytest.mark.parametrize(
    ("path", "value", "match"),
    [
        (("status",), "fine", "status="),
        (("frets",), 3, "frets=3"),
        (("frets",), True, "frets=True"),
        (("scale_length_mm",), -1.0, "scale_length_mm="),
        (("twist_deg",), float("nan"), "twist_deg=nan"),
        (("twist_u_deg",), -0.1, "twist_u_deg=-0.1"),
        (("bass", "relief_u_mm"), float("inf"), "bass relief_u_mm=inf"),
        (("treble", "relief_mm"), 1e9, "treble relief_mm="),
        (("bass", "gap_u_mm"), [-0.1] * 22, "bass gap_u_mm holds -0.1"),
        (("treble", "deviation_mm"), [1e30] * 22, "treble deviation_mm=1e\\+30"),
        (("treble", "deviation_mm"), [0.0] * 21, "treble deviation_mm must have 22"),
        (("bass",), None, "another kind"),
        (("photos",), 7, "another kind"),
        (("twist_deg",), 10**400, "twist_deg=1000"),
    ],
)
def test_a_document_edited_by_hand_is_refused_by_field(path: tuple[str, ...], value: object, match: str) -> None:
    with pytest.raises(ValueError, match=match):
        curve_facts(with_value_at(document(), path, value))


@pytest.mark.parametrize("stored", [None, [], "measured", 3])
def test_what_is_no_document_is_refused(stored: Any) -> None:
    with pytest.raises(ValueError, match="document must be a mapping"):
        curve_facts(stored)


def test_an_empty_document_is_refused() -> None:
    with pytest.raises(ValueError, match="no field"):
        curve_facts({})


def test_facts_are_frozen() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError, match="twist_deg"):
        neck().twist_deg = 0.0  # type: ignore[misc]
