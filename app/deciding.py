"""From the record of an inspection to all that its decision rests on. Pure: a record in, the answer out."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from app.decision.repairs import PriceList, with_costs
from app.decision.rules import RULES
from app.decision.settings import DecisionSettings
from app.decision.situation import Deal, Situation
from app.decision.verdict import Verdict, decide
from app.inspection.check import CheckResult
from app.inspection.checks import CHECKS, read_results
from app.inspection.facts import CurveFacts, RefusedFacts, curve_facts
from app.inspection.play_test import NoteCause, note_causes
from app.limits import thresholds_of
from app.record.inspection import Inspection, Setting, Sighting
from app.wear import CHECK_ID as WEAR_CHECK
from app.wear import deepest_dent_mm

MARGIN = "margin"  # key in the record's settings: what the buyer keeps for trouble and time
USUAL_MARGIN_SHARE = 0.05  # of the worth, where the user has not said; an example
UNNAMED_REPAIR = "Other work"  # an own repair without a name, as one from another version of this program may be
CAREFUL_PREFIX = "careful_"
CAREFUL_SETTINGS = ("look_closer_chance", "dearest_share", "lowest_share_of_asking", "twist_beyond_repair_deg")


def curve_of(sighting: Sighting) -> CurveFacts | RefusedFacts | None:
    """What a set of photographs gave; None while it is not measured."""
    return None if sighting.measurement is None else curve_facts(sighting.measurement.contract)


def latest_curve(inspection: Inspection) -> CurveFacts | RefusedFacts | None:
    """The newest measured neck; where there is none, why the newest set was refused; None without any."""
    curves = [curve for sighting in inspection.sightings if (curve := curve_of(sighting)) is not None]
    measured = [curve for curve in curves if isinstance(curve, CurveFacts)]
    return measured[-1] if measured else curves[-1] if curves else None


def checks_of(inspection: Inspection) -> dict[str, CheckResult]:
    """Every check of the catalogue with what was seen. Entries of other versions' checks are left alone.

    Raises
    ------
    ValueError : an answer cannot be read; the message names it.
    """
    stored: dict[str, object] = {}
    for check in CHECKS:
        result = inspection.checks.get(check.id)
        if result is not None:
            known = {r.id for r in check.readings} | {c.id for c in check.choices}
            readings = {key: value for key, value in result.readings.items() if key in known}
            dent_mm = deepest_dent_mm(inspection) if check.id == WEAR_CHECK else None
            if dent_mm is not None:
                readings["deepest_dent_mm"] = dent_mm
            stored[check.id] = {"state": result.state, "note": result.note, "readings": readings}
    return read_results(stored)


def prices_of(inspection: Inspection) -> PriceList:
    """The repairs with the user's own costs; the examples where there are none."""
    usual = PriceList()
    known = {repair.id for repair in usual.repairs}
    edits = {key: (cost.low, cost.high) for key, cost in inspection.costs.items() if key in known}
    own = {
        key: (cost.label.strip() or UNNAMED_REPAIR, cost.low, cost.high)
        for key, cost in inspection.costs.items()
        if key not in known
    }
    currency = inspection.guitar.currency or usual.currency
    if not edits and not own:
        return PriceList(currency, usual.repairs)
    return with_costs(usual, edits, own, currency)


def careful_of(inspection: Inspection) -> DecisionSettings:
    """How careful the offer is, as the user set it; what is no possible setting is the usual one."""
    stored = inspection.decision_settings
    usual = DecisionSettings()
    values: dict[str, Any] = {
        name: _number(stored, CAREFUL_PREFIX + name, getattr(usual, name)) for name in CAREFUL_SETTINGS
    }
    try:
        return replace(usual, **values)
    except ValueError:
        return usual


def situation_of(inspection: Inspection) -> Situation:
    """All that the decision rests on. Raises ValueError as `checks_of`."""
    return Situation(
        latest_curve(inspection),
        checks_of(inspection),
        thresholds_of(inspection),
        prices_of(inspection),
        careful_of(inspection),
    )


def margin_of(inspection: Inspection) -> float:
    """What the buyer keeps for trouble and time, in the guitar's currency."""
    usual = USUAL_MARGIN_SHARE * (inspection.guitar.value_in_good_order or 0.0)
    return _number(inspection.decision_settings, MARGIN, round(usual))


def deal_of(inspection: Inspection) -> Deal | None:
    """The money; None while the worth in good order is not stated."""
    guitar = inspection.guitar
    if guitar.value_in_good_order is None:
        return None
    return Deal(guitar.value_in_good_order, margin_of(inspection), guitar.asking_price)


def verdict_of(inspection: Inspection) -> Verdict | None:
    """The answer; None while the worth in good order is not stated. Raises ValueError as `checks_of`."""
    deal = deal_of(inspection)
    if deal is None:
        return None
    known = {rule.id for rule in RULES}
    switched = {key: on for key, on in inspection.rules.items() if key in known}
    return decide(situation_of(inspection), deal, switched)


def played_notes(inspection: Inspection) -> dict[tuple[int, int], str]:
    """(string, fret) to sound, for the notes that this neck has."""
    neck = inspection.guitar.neck
    last = neck.frets or 0
    return {
        (note.string, note.fret): note.sound
        for note in inspection.play_test
        if note.string <= neck.strings and note.fret <= last
    }


def causes_of(inspection: Inspection) -> tuple[NoteCause, ...]:
    """For each bad note, which measured cause fits; empty while nothing is measured."""
    curve = latest_curve(inspection)
    if not isinstance(curve, CurveFacts):
        return ()
    notes = {place: sound for place, sound in played_notes(inspection).items() if place[1] <= curve.frets}
    return note_causes(curve, notes, inspection.guitar.neck.strings, thresholds_of(inspection))


def _number(stored: Mapping[str, Setting], key: str, usual: float) -> float:
    value = stored.get(key)
    return value if isinstance(value, float) and value >= 0.0 else usual
