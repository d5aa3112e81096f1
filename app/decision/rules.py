"""Faults that end the deal regardless of price, as rules that the user sees and can switch."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from scipy.special import ndtr

from app.decision.causes import rod_at_end, rod_cannot_push
from app.decision.situation import Situation
from app.inspection.facts import CurveFacts


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. text says when it ends the deal; on is its state when the user has not switched it."""

    id: str
    title: str
    text: str
    on: bool = True


@dataclass(frozen=True, slots=True)
class BrokenRule:
    """A switched-on rule that applies, and what it rests on."""

    rule: Rule
    why: str


def _stripped(situation: Situation) -> str | None:
    marked = situation.checks["rod_nut_stripped"].state == "fault"
    return "No wrench grips the truss-rod nut." if marked else None


def _rod_used_up(situation: Situation) -> str | None:
    curve, limit_mm = situation.curve, situation.thresholds.wanted_relief_high_mm
    if not isinstance(curve, CurveFacts) or not rod_at_end(situation):
        return None
    chance = chance_above(curve.mean_relief_mm, curve.mean_relief_u_mm, limit_mm)
    if chance < situation.settings.certain_chance:
        return None
    return f"The rod is at its end and the mean relief is {curve.mean_relief_mm:.2f} mm, above {limit_mm:.2f} mm."


def _back_bow_rod_slack(situation: Situation) -> str | None:
    curve, limit_mm = situation.curve, situation.thresholds.straight_within_mm
    if not isinstance(curve, CurveFacts) or not rod_cannot_push(situation):
        return None
    chance = chance_above(-curve.mean_relief_mm, curve.mean_relief_u_mm, limit_mm)
    if chance < situation.settings.certain_chance:
        return None
    return f"Mean relief {curve.mean_relief_mm:.2f} mm with the single-action rod slack: nothing pushes the bow out."


def _neck_break(situation: Situation) -> str | None:
    marked = situation.checks["neck_crack"].state == "fault"
    return "The wood of the neck is cracked or was broken." if marked else None


def _twist(situation: Situation) -> str | None:
    curve, limit_deg = situation.curve, situation.settings.twist_beyond_repair_deg
    if not isinstance(curve, CurveFacts):
        return None
    # One tail: the other side's is nothing where this one is near certain.
    chance = chance_above(abs(curve.twist_deg), curve.twist_u_deg, limit_deg)
    if chance < situation.settings.certain_chance:
        return None
    return f"Twist {abs(curve.twist_deg):.2f} degrees, above {limit_deg:.1f}."


def _pocket(situation: Situation) -> str | None:
    marked = situation.checks["neck_plate"].state == "fault" and situation.checks["tilt_screw"].state == "fault"
    return "The neck's screws do not bite and the neck moves in its pocket." if marked else None


def _marks(situation: Situation) -> str | None:
    marked = situation.checks["marks_inside"].state == "fault"
    return "Marks inside contradict what is stated, or were removed." if marked else None


RULES: tuple[Rule, ...] = (
    Rule("rod_nut_stripped", "Stripped rod nut", "No wrench grips the truss-rod nut."),
    Rule(
        "rod_used_up",
        "Rod at its end",
        "The rod is at its end and the neck still bows forwards beyond the wanted range.",
    ),
    Rule(
        "back_bow_rod_slack",
        "Back-bow with the rod slack",
        "The neck bends backwards and its single-action rod is slack already.",
    ),
    Rule("neck_break", "Cracked or broken neck", "The wood of the neck is cracked or was broken and glued."),
    Rule("twist_beyond_repair", "Twist beyond repair", "The twist is more than work on the board can take out."),
    Rule("loose_neck", "Neck not held", "Neck screws do not bite and the neck moves in its pocket."),
    Rule(
        "marks_contradict",
        "Not what it is said to be",
        "Marks inside contradict what is stated. Off at first: they are evidence, not proof.",
        on=False,
    ),
)
_APPLIES: dict[str, Callable[[Situation], str | None]] = {
    "rod_nut_stripped": _stripped,
    "rod_used_up": _rod_used_up,
    "back_bow_rod_slack": _back_bow_rod_slack,
    "neck_break": _neck_break,
    "twist_beyond_repair": _twist,
    "loose_neck": _pocket,
    "marks_contradict": _marks,
}


def broken_rules(situation: Situation, switched: Mapping[str, bool] | None = None) -> tuple[BrokenRule, ...]:
    """The rules that are on and apply.

    Parameters
    ----------
    switched : rule id to on or off; a rule left out keeps its own state.

    Raises
    ------
    ValueError : an id is no rule, or a switch is not True or False.
    """
    switched = switched or {}
    for rule_id, on in switched.items():
        if rule_id not in _APPLIES:
            raise ValueError(f"rule {rule_id!r:.60} is not known")
        if not isinstance(on, bool):
            raise ValueError(f"rule {rule_id} must be switched True or False, got {on!r:.60}")
    broken = []
    for rule in RULES:
        why = _APPLIES[rule.id](situation) if switched.get(rule.id, rule.on) else None
        if why is not None:
            broken.append(BrokenRule(rule, why))
    return tuple(broken)


def chance_above(value: float, u: float, limit: float) -> float:
    """Chance that a figure known as value with standard uncertainty u lies above a limit (normal)."""
    if u == 0.0:
        return float(value > limit)
    return float(ndtr((value - limit) / u))
