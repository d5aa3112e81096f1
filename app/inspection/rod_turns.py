"""Before and after a part turn of the truss rod: what it did, whether more would help, and when to stop.

Both sightings share errors of their method (widths typed in, lens), which cancel in their difference by an amount that
is not known. The difference's uncertainty is taken as if nothing cancelled, sqrt(u1^2 + u2^2): too wide where errors
are shared, never too narrow for errors of one sign. Bass and treble of one sighting share most of their error: the
mean of the sides and their difference use that correlation.
"""

import math
from dataclasses import dataclass
from typing import Literal

from app.inspection.facts import CurveFacts, SideFacts
from app.inspection.plausible import check_range
from app.wording import COVERAGE_95
from vision.findings.truss_rod import CAUTION
from vision.settings import Thresholds

Action = Literal["leave alone", "another turn", "stop", "cannot tell"]
Direction = Literal["tighten", "slacken"]


@dataclass(frozen=True, slots=True)
class TurnSettings:
    """Common practice: turns of an eighth to a quarter; turn_u is how well a part turn is judged by eye.

    least_response_mm is what an eighth of a turn moves on a rod that works; total_turns_max is where to stop and ask.
    """

    smallest_turn: float = 0.125
    largest_turn: float = 0.25
    turn_u: float = 0.03
    least_response_mm: float = 0.02
    total_turns_max: float = 1.0
    k: float = 2.0

    def __post_init__(self) -> None:
        check_range("smallest_turn", self.smallest_turn, 0.01, 1.0)
        check_range("largest_turn", self.largest_turn, self.smallest_turn, 1.0)
        check_range("turn_u", self.turn_u, 0.0, 0.25)
        check_range("least_response_mm", self.least_response_mm, 0.0, 1.0)
        check_range("total_turns_max", self.total_turns_max, 0.125, 10.0)
        check_range("k", self.k, 0.0, 10.0)


@dataclass(frozen=True, slots=True)
class Change:
    """After minus before, with its standard uncertainty; and the same a whole turn of tightening."""

    change_mm: float
    u_mm: float
    per_turn_mm: float
    per_turn_u_mm: float


@dataclass(frozen=True, slots=True)
class TurnAdvice:
    """What the turn did and what to do. turns_needed: to the middle of the wanted range (+ tighten), None if unknown.

    next_turn is what to make now, at most a quarter, None unless the action is another turn.
    """

    bass: Change
    treble: Change
    mean: Change
    action: Action
    direction: Direction | None
    next_turn: float | None
    turns_needed: float | None
    turns_needed_u: float | None
    text: str
    caution: str


def turn_advice(
    before: CurveFacts,
    after: CurveFacts,
    turns: float,
    thresholds: Thresholds | None = None,
    settings: TurnSettings | None = None,
    total_turns: float | None = None,
) -> TurnAdvice:
    """What a part turn did.

    Parameters
    ----------
    turns : the turn made between the two sightings, + tighten, - slacken.
    total_turns : all turns made the same way since the first sighting, this one included; `turns` if not given.

    Raises
    ------
    ValueError : turns is zero or beyond four, the two necks are not one, or total_turns goes the other way.
    """
    thresholds, settings = thresholds or Thresholds(), settings or TurnSettings()
    check_range("turns", turns, -4.0, 4.0)
    if turns == 0.0:
        raise ValueError(f"turns={turns!r} must say how far the rod was turned")
    total = turns if total_turns is None else total_turns
    check_range("total_turns", total, -20.0, 20.0)
    if total * turns <= 0.0:
        raise ValueError(f"total_turns={total!r} and turns={turns!r} must go the same way")
    if (before.scale_length_mm, before.frets) != (after.scale_length_mm, after.frets):
        raise ValueError(
            f"after={after.scale_length_mm!r} mm, {after.frets!r} frets is not the neck before, "
            f"{before.scale_length_mm!r} mm, {before.frets!r} frets"
        )
    bass, treble = (
        _change(b.relief_mm, b.relief_u_mm, a.relief_mm, a.relief_u_mm, turns, settings)
        for b, a in ((before.bass, after.bass), (before.treble, after.treble))
    )
    mean = _change(
        before.mean_relief_mm, before.mean_relief_u_mm, after.mean_relief_mm, after.mean_relief_u_mm, turns, settings
    )
    uneven = abs(bass.change_mm - treble.change_mm)
    uneven_u = math.hypot(_difference_u_mm(before), _difference_u_mm(after))
    needed, needed_u = _turns_needed(before, after, turns, thresholds, settings)
    action, text = _judge(mean, uneven, uneven_u, after, turns, total, (needed, needed_u), thresholds, settings)
    go = action == "another turn" and needed is not None
    direction: Direction | None = ("tighten" if needed > 0.0 else "slacken") if go and needed is not None else None
    step = min(max(abs(needed), settings.smallest_turn), settings.largest_turn) if go and needed is not None else None
    return TurnAdvice(bass, treble, mean, action, direction, step, needed, needed_u, text, CAUTION)


def _change(
    before_mm: float, before_u_mm: float, after_mm: float, after_u_mm: float, turns: float, settings: TurnSettings
) -> Change:
    change, u = after_mm - before_mm, math.hypot(before_u_mm, after_u_mm)
    rate_u = math.hypot(u, change / turns * settings.turn_u) / abs(turns)
    return Change(change, u, change / turns, rate_u)


def _difference_u_mm(curve: CurveFacts) -> float:
    """Standard uncertainty of bass minus treble relief, their common error taken out."""

    def u(side: SideFacts) -> float:
        return side.relief_u_mm

    b, t = u(curve.bass), u(curve.treble)
    return math.sqrt(max(b * b + t * t - 2.0 * curve.relief_correlation * b * t, 0.0))


def _turns_needed(
    before: CurveFacts, after: CurveFacts, turns: float, thresholds: Thresholds, settings: TurnSettings
) -> tuple[float | None, float | None]:
    """n = t (w - a) / (a - b) to the middle w of the wanted range, and its uncertainty (JCGM 100 eq. 10).

    a and b are taken as independent; a enters twice and its sensitivity is that of both places together.
    """
    a, b = after.mean_relief_mm, before.mean_relief_mm
    a_u, b_u = after.mean_relief_u_mm, before.mean_relief_u_mm
    wanted = (thresholds.wanted_relief_low_mm + thresholds.wanted_relief_high_mm) / 2.0
    moved = a - b
    if abs(moved) <= settings.k * math.hypot(a_u, b_u):
        return None, None
    needed = turns * (wanted - a) / moved
    by_a = -turns * (wanted - b) / moved**2
    by_b = turns * (wanted - a) / moved**2
    by_turns = (wanted - a) / moved
    return needed, math.hypot(by_a * a_u, by_b * b_u, by_turns * settings.turn_u)


def _judge(
    mean: Change,
    uneven_mm: float,
    uneven_u_mm: float,
    after: CurveFacts,
    turns: float,
    total: float,
    turns_needed: tuple[float | None, float | None],
    thresholds: Thresholds,
    settings: TurnSettings,
) -> tuple[Action, str]:
    needed, needed_u = turns_needed
    k, now = settings.k, after.mean_relief_mm
    low, high = thresholds.wanted_relief_low_mm, thresholds.wanted_relief_high_mm
    expected = -math.copysign(1.0, turns)  # tightening takes relief out
    least = settings.least_response_mm * abs(turns) / settings.smallest_turn
    response = expected * mean.change_mm
    if abs(turns) > settings.largest_turn + settings.turn_u:
        return "stop", (
            f"{abs(turns):.2f} turn at once is more than the quarter that is safe. Let it settle a day, sight again, "
            "and go on in eighths only if it moved as expected."
        )
    if response + k * mean.u_mm < 0.0:
        return "stop", (
            f"The neck moved the wrong way ({mean.change_mm:+.2f} mm). The rod may have a left-hand thread, or the "
            "strings were not at the same pitch. Turn no further before that is known."
        )
    if response + k * mean.u_mm < least:
        return "stop", (
            f"The rod hardly moves the neck ({mean.change_mm:+.2f} mm). It may be slack, at its end, or stuck: "
            "work for a qualified repairer."
        )
    if uneven_mm - k * uneven_u_mm > thresholds.sides_differ_mm:
        return "stop", (
            f"The two sides answer differently, by {uneven_mm:.2f} mm: the rod is twisting the neck. Turn it back "
            "and ask a qualified repairer."
        )
    if low <= now <= high:
        return "leave alone", f"Mean relief {now:.2f} mm is in the wanted range of {low:.2f} to {high:.2f} mm."
    if needed is None or needed_u is None:
        return "cannot tell", (
            f"The change of {mean.change_mm:+.2f} mm is within its uncertainty (95 %: +- "
            f"{COVERAGE_95 * mean.u_mm:.2f} mm). Let the neck settle and take sharper photographs before turning again."
        )
    if abs(total) + settings.smallest_turn > settings.total_turns_max and needed * turns > 0.0:
        return "stop", (
            f"{abs(total):.2f} turn so far and {abs(needed):.2f} more would be needed: ask a qualified repairer."
        )
    way = "tighten" if needed > 0.0 else "slacken"
    step = min(max(abs(needed), settings.smallest_turn), settings.largest_turn)
    known = f"{abs(needed):.2f} turn (95 %: +- {COVERAGE_95 * needed_u:.2f})"
    rest = "" if abs(needed) <= settings.largest_turn else f", the first of about {known}"
    return "another turn", (
        f"A turn moves the mean relief by {mean.per_turn_mm:+.2f} mm (tightening), so {way} by {step:.3g} turn{rest}; "
        "retune, let it settle, and sight again."
    )
