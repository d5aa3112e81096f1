"""The rod's turns so far and what each did, from the sets of photographs of an inspection."""

from dataclasses import dataclass

from app.deciding import curve_of
from app.inspection.facts import CurveFacts
from app.inspection.rod_turns import TurnAdvice, turn_advice
from app.limits import thresholds_of
from app.record.inspection import Inspection


@dataclass(frozen=True, slots=True)
class Turned:
    """One sighting after a turn: places of both sets in the inspection, turns between them, and what it did."""

    before_index: int
    after_index: int
    turns: float
    advice: TurnAdvice


def turn_at(inspection: Inspection, index: int) -> Turned | None:
    """What the turns before the set at index did, against the newest measured set before it.

    None while either is not measured, where no turn was made in between, or where the necks stated differ.
    """
    after = curve_of(inspection.sightings[index])
    earlier = [place for place in range(index) if isinstance(curve_of(inspection.sightings[place]), CurveFacts)]
    if not earlier or not isinstance(after, CurveFacts):
        return None
    place = earlier[-1]
    before = curve_of(inspection.sightings[place])
    turns = sum(sighting.part_turn for sighting in inspection.sightings[place + 1 : index + 1])
    same = isinstance(before, CurveFacts) and (before.frets, before.scale_length_mm) == (
        after.frets, after.scale_length_mm,
    )  # fmt: skip
    if not isinstance(before, CurveFacts) or not same or turns == 0:
        return None
    total = sum(s.part_turn for s in inspection.sightings[: index + 1] if s.part_turn * turns > 0)
    try:
        advice = turn_advice(before, after, turns, thresholds_of(inspection), total_turns=total)
    except ValueError:
        return None  # turns beyond what a rod is turned
    return Turned(place, index, turns, advice)
