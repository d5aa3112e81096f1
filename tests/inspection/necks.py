"""Facts of made-up necks for the tests of inspection and decision: any curve, any uncertainty."""

import dataclasses

import numpy as np

from app.contract import outcome_to_contract
from app.inspection.facts import CurveFacts, SideFacts, facts_of
from tests.findings.records import bow, record, side
from vision.results import Array
from vision.settings import Thresholds


def neck(
    relief_mm: float = 0.2,
    u_mm: float = 0.01,
    *,
    treble_mm: float | None = None,
    twist_deg: float = 0.0,
    twist_u_deg: float = 0.02,
    difference_u_mm: float = 0.006,
    deviation: Array | None = None,
    deviation_u_mm: float = 0.008,
    gap: Array | None = None,
) -> CurveFacts:
    """A bow of relief_mm on both sides, or any gap; deviations, if given, on both sides alike."""
    bass_gap = bow(relief_mm) if gap is None else gap
    treble_gap = bass_gap if treble_mm is None else bow(treble_mm)
    bass, treble = (
        side(name, curve, u_mm, deviation, deviation_u_mm)  # type: ignore[arg-type]
        for name, curve in (("bass", bass_gap), ("treble", treble_gap))
    )
    facts = facts_of(
        record(bass, treble, twist_deg=twist_deg, twist_u_deg=twist_u_deg, difference_u_mm=difference_u_mm)
    )
    assert isinstance(facts, CurveFacts)
    return facts


def single(fret: int, height_mm: float, frets: int = 22) -> Array:
    """Deviations of a neck with one fret out of line."""
    deviation = np.zeros(frets)
    deviation[fret - 1] = height_mm
    return deviation


def document() -> dict[str, object]:
    """A whole stored document of a plain neck."""
    return outcome_to_contract(record(), Thresholds(), "0.1.0")


def scaled(curve: CurveFacts, factor: float) -> CurveFacts:
    """The same best estimates with every uncertainty times factor."""

    def times(us: tuple[float | None, ...]) -> tuple[float | None, ...]:
        return tuple(None if u is None else factor * u for u in us)

    def one(facts: SideFacts) -> SideFacts:
        return dataclasses.replace(
            facts,
            relief_u_mm=factor * facts.relief_u_mm,
            gap_u_mm=times(facts.gap_u_mm),
            deviation_u_mm=times(facts.deviation_u_mm),
            rise_u_mm=None if facts.rise_u_mm is None else factor * facts.rise_u_mm,
            hump_u_mm=None if facts.hump_u_mm is None else factor * facts.hump_u_mm,
        )

    return dataclasses.replace(
        curve, bass=one(curve.bass), treble=one(curve.treble), twist_u_deg=factor * curve.twist_u_deg
    )
