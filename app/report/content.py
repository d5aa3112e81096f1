"""All that the page says, gathered from an inspection once and before anything is drawn. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from app.contract_reading import outcome_from_contract
from app.deciding import causes_of, checks_of, played_notes, situation_of, verdict_of
from app.decision.chance import Chances, chances
from app.decision.repairs import PriceList
from app.decision.verdict import Verdict
from app.inspection.check import CheckResult
from app.inspection.evidence import ClaimWeight, weigh_evidence
from app.inspection.play_test import NoteCause
from app.limits import thresholds_of
from app.record.inspection import Inspection, Sighting
from app.rod_history import Turned, turn_at
from app.sightings import measured_indices
from app.wording import LengthUnit
from vision.findings import Finding, RodAdvice, judge, truss_rod_advice
from vision.results import Measured, Outcome
from vision.settings import Thresholds

NO_EVIDENCE = "says nothing either way"


@dataclass(frozen=True, slots=True)
class Content:
    """What is shown. sighting and outcome belong together; both may be None, outcome alone too.

    index is the sighting's place in the inspection, decided_index that of the set the decision rests on.
    """

    inspection: Inspection
    version: str
    made_on: datetime
    unit: LengthUnit
    index: int | None
    decided_index: int | None
    sighting: Sighting | None
    outcome: Outcome | None
    thresholds: Thresholds
    findings: tuple[Finding, ...]
    rod: RodAdvice | None
    turned: Turned | None
    checks: Mapping[str, CheckResult]
    evidence: tuple[ClaimWeight, ...]
    notes: Mapping[tuple[int, int], str]
    causes: tuple[NoteCause, ...]
    prices: PriceList
    chances: Chances
    verdict: Verdict | None


def gather(
    inspection: Inspection, version: str, made_on: datetime, unit: LengthUnit, index: int | None = None
) -> Content:
    """The content for the set of photographs at index; without one, for the set that the decision rests on.

    Raises
    ------
    ValueError : there is no such set, or an answer or measurement of the inspection cannot be read.
    """
    if index is not None and not 0 <= index < len(inspection.sightings):
        raise ValueError(f"index={index!r} is no set of photographs among {len(inspection.sightings)}")
    decided = _decided_index(inspection)
    shown = decided if index is None else index
    if shown is None and inspection.sightings:
        shown = len(inspection.sightings) - 1
    sighting = None if shown is None else inspection.sightings[shown]
    measurement = None if sighting is None else sighting.measurement
    outcome = None if measurement is None else outcome_from_contract(measurement.contract)
    thresholds = thresholds_of(inspection)
    measured = outcome if isinstance(outcome, Measured) else None
    situation = situation_of(inspection)
    verdict = verdict_of(inspection)
    return Content(
        inspection,
        version,
        made_on,
        unit,
        shown,
        decided,
        sighting,
        outcome,
        thresholds,
        judge(measured, thresholds) if measured else (),
        truss_rod_advice(measured, thresholds) if measured else None,
        None if shown is None else turn_at(inspection, shown),
        checks_of(inspection),
        tuple(weight for weight in weigh_evidence(situation.checks) if weight.words != NO_EVIDENCE),
        played_notes(inspection),
        causes_of(inspection),
        situation.prices,
        chances(situation) if verdict is None else verdict.chances,
        verdict,
    )


def _decided_index(inspection: Inspection) -> int | None:
    """The set `app.deciding.latest_curve` takes: the newest measured one, else the newest that was tried."""
    measured = measured_indices(inspection)
    if measured:
        return measured[-1]
    tried = [i for i, sighting in enumerate(inspection.sightings) if sighting.measurement is not None]
    return tried[-1] if tried else None
