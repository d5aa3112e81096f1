"""The JSON contract: field names, lengths of the lists, null for what was not seen, no NaN ever."""

import dataclasses
import json
import math
from typing import Any

import numpy as np
import pytest

from app.contract import contract_text, outcome_to_contract
from tests import fixtures_results
from vision.results import Measured, Refused
from vision.settings import Thresholds


def as_read(outcome: Measured | Refused) -> dict[str, Any]:
    """What another program reads from the file."""

    def no_constant(name: str) -> float:
        raise AssertionError(f"{name} in the JSON")

    text = contract_text(outcome_to_contract(outcome, Thresholds(), "9.9"))
    read: dict[str, Any] = json.loads(text, parse_constant=no_constant)
    return read


def test_measured_has_the_agreed_fields_and_lengths(measured: Measured) -> None:
    read = as_read(measured)
    assert read["status"] == "measured"
    assert read["reason"] is None
    assert (read["scale_length_mm"], read["frets"]) == (647.7, 22)
    for side in ("bass", "treble"):
        curve = read[side]
        for name in ("gap_mm", "gap_u_mm", "deviation_mm", "deviation_u_mm"):
            assert len(curve[name]) == 22
        assert curve["relief_at_fret"] == 1 + int(np.argmax(np.abs(curve["gap_mm"])))
        assert curve["relief_u_mm"] == 0.012
    np.testing.assert_allclose(read["bass"]["gap_mm"], measured.bass.gap_mm, rtol=0, atol=0)
    np.testing.assert_allclose(read["treble"]["gap_mm"], measured.treble.gap_mm, rtol=0, atol=0)
    assert (read["twist_deg"], read["twist_u_deg"]) == (-0.4, 0.03)
    assert len(read["roll_deg"]) == 22
    assert read["shape"] in ("straight", "forward bow", "back-bow", "S-curve", "cannot tell")


def test_photographs_keep_their_order_and_their_points(measured: Measured) -> None:
    photos = as_read(measured)["photos"]
    assert [p["file"] for p in photos] == ["one.jpg", "two.jpg", "three.jpg"]
    assert [p["kind"] for p in photos] == ["bass", "treble", "front"]
    assert photos[0]["flags"] == ["glare"]
    assert photos[0]["camera"]["focal_px"] == 4000.0
    assert photos[0]["camera"]["view_angle_deg"] == 8.0
    tops = photos[0]["fret_top_px"]
    assert len(tops["bass"]) == len(tops["treble"]) == 22
    trace = measured.photos[0].trace
    assert trace is not None
    np.testing.assert_allclose(tops["bass"], trace.bass_top_px, rtol=0, atol=0)
    assert tops["treble"][0] is None, "a fret top that was not seen is null"
    assert all(point is not None for point in tops["treble"][1:])


@pytest.mark.parametrize("side", ["bass", "treble"])
def test_the_scoring_formulae_work_on_it(measured: Measured, side: str) -> None:
    read = as_read(measured)
    truth = [float(v) for v in getattr(measured, side).gap_mm]
    error = math.sqrt(sum((x - y) ** 2 for x, y in zip(read[side]["gap_mm"], truth, strict=True)))
    assert error == 0.0
    assert abs((read[side]["relief_mm"] - 0.0) / read[side]["relief_u_mm"]) > 10
    points = [p for p in read["photos"][0]["fret_top_px"][side] if p is not None]
    assert all(math.dist(p, p) == 0.0 for p in points)


def test_refused_says_why_and_what_next(refused: Refused) -> None:
    read = as_read(refused)
    assert read["status"] == "refused"
    assert read["reason"] == refused.reason
    assert read["advice"] == refused.advice
    assert read["bass"] is None
    assert read["twist_deg"] is None
    assert read["photos"][0]["kind"] is None
    assert read["photos"][0]["status"] == "refused"
    assert read["photos"][0]["fret_top_px"] == {"bass": [None] * 22, "treble": [None] * 22}


def test_missing_figures_become_null_and_missing_reliefs_are_refused(measured: Measured) -> None:
    deviation = measured.bass.deviation_mm.copy()
    deviation[3] = np.nan
    holed = dataclasses.replace(measured, bass=dataclasses.replace(measured.bass, deviation_mm=deviation))
    assert as_read(holed)["bass"]["deviation_mm"][3] is None
    broken = dataclasses.replace(measured, bass=dataclasses.replace(measured.bass, relief_mm=math.inf))
    with pytest.raises(ValueError, match="relief_mm=inf"):
        outcome_to_contract(broken, Thresholds(), "9.9")


def test_text_never_holds_nan() -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        contract_text({"relief_mm": float("nan")})


def test_findings_and_rod_advice_come_along() -> None:
    read = as_read(fixtures_results.measured(bass_mm=0.7, treble_mm=0.7))
    assert read["findings"]
    assert {"code", "title", "text", "severity", "side", "frets", "value", "u", "unit"} == set(
        read["findings"][0]
    )
    assert {"direction", "text", "reasons", "caution"} == set(read["truss_rod"])
    assert read["version"] == "9.9"
    assert read["provenance"]["depth_from"] == "front photograph"


def test_the_outcome_is_not_changed(measured: Measured) -> None:
    before = measured.bass.gap_mm.copy()
    outcome_to_contract(measured, Thresholds(), "9.9")
    np.testing.assert_array_equal(measured.bass.gap_mm, before)
