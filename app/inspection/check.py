"""The form of one thing to look at, and of what was seen.

States are plain words so that a stored record needs no knowledge of this package: a mapping from the check's
id to its state, note and readings is enough.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, cast, get_args

from app.inspection.plausible import check_range, is_number

State = Literal["fine", "look closer", "fault", "not checked"]
STATES: tuple[State, ...] = get_args(State)

# "decides" can end the deal, "costs" is repair money, "upkeep" is ordinary wear, "hint" is evidence of origin or
# of later change and never proof.
Weight = Literal["decides", "costs", "upkeep", "hint"]


@dataclass(frozen=True, slots=True)
class Reading:
    """A number asked for. low and high are what is physically plausible, in the unit; outside is a slip."""

    id: str
    label: str
    unit: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words asked for; left out when not known.

    A record of numbers stores the word's place in options, from 0: new words are only ever added at the end.
    """

    id: str
    label: str
    options: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Check:
    """One thing to look at.

    Parameters
    ----------
    id : short and stable, for records.
    title : a few words for lists; names what is looked at, since any answer may stand beside it.
    group : heading under which it is shown.
    question, how_to_look : for people.
    fine, look_closer, fault : what counts as each.
    weight : what the answer weighs.
    readings, choices : figures and words asked for; all may be left out.
    caution : what can hurt the person or the instrument, None where nothing can.
    """

    id: str
    title: str
    group: str
    question: str
    how_to_look: str
    fine: str
    look_closer: str
    fault: str
    weight: Weight
    readings: tuple[Reading, ...] = ()
    choices: tuple[Choice, ...] = ()
    caution: str | None = None


@dataclass(frozen=True, slots=True)
class CheckResult:
    """What was seen for one check. readings holds numbers in the reading's unit and words of a choice."""

    check_id: str
    state: State = "not checked"
    note: str = ""
    readings: Mapping[str, float | str] = field(default_factory=dict)

    def number(self, reading_id: str) -> float | None:
        """The number read, None when it was not."""
        value = self.readings.get(reading_id)
        return value if isinstance(value, float) else None

    def word(self, choice_id: str) -> str | None:
        """The word chosen, None when it is not known."""
        value = self.readings.get(choice_id)
        return value if isinstance(value, str) else None


def read_result(check: Check, stored: object) -> CheckResult:
    """One stored answer, checked: a state alone, or a mapping with state, note and readings.

    Raises
    ------
    ValueError : the state is none of the four, or a reading is unknown, not a number, or implausible.
    """
    if isinstance(stored, str):
        stored = {"state": stored}
    if not isinstance(stored, Mapping):
        raise ValueError(f"{check.id} must be a state or a mapping, got {stored!r:.60}")
    state = stored.get("state", "not checked")
    if state not in STATES:
        raise ValueError(f"{check.id} state={state!r:.60} must be one of {', '.join(STATES)}")
    note = stored.get("note") or ""
    if not isinstance(note, str):
        raise ValueError(f"{check.id} note must be text, got {note!r:.60}")
    given = stored.get("readings") or {}
    if not isinstance(given, Mapping):
        raise ValueError(f"{check.id} readings must be a mapping, got {given!r:.60}")
    readings = {str(key): _value(check, str(key), value) for key, value in given.items() if value is not None}
    return CheckResult(check.id, cast(State, state), note, readings)


def _value(check: Check, key: str, value: object) -> float | str:
    for choice in check.choices:
        if choice.id == key:
            return _word(check, choice, value)
    for reading in check.readings:
        if reading.id == key:
            check_range(f"{check.id} {key}", value, reading.low, reading.high)
            return float(cast(float, value))
    raise ValueError(f"{check.id} has no reading named {key!r:.60}")


def _word(check: Check, choice: Choice, value: object) -> str:
    """A word of the choice, from the word or from its place among the options."""
    if isinstance(value, str) and value in choice.options:
        return value
    if is_number(value) and value in range(len(choice.options)):
        return choice.options[int(value)]
    raise ValueError(f"{check.id} {choice.id}={value!r:.60} must be one of {', '.join(choice.options)}, or its place")
