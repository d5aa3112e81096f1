"""Which causes for a repair are present, in each of many draws of what the neck may truly be.

A figure x known as m with standard uncertainty u is drawn as m + u z, z standard normal (JCGM 101). Two readings of
one draw are used. The plain one counts a cause where the drawn figure passes its limit: its share of draws is the
chance that is shown. The cautious one, for the offer, also counts it wherever the best estimate passes the limit: a
poor photograph must not talk a visible fault away. Cautious sets of draws only grow when every uncertainty grows, so
more uncertainty never raises an offer.

Deviations of single frets are drawn independently: what neighbouring frets have in common lies in the smooth curve.
The two sides' reliefs share most of their error and are drawn with that correlation.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.decision.repairs import Cause
from app.decision.situation import Situation
from app.inspection.check import CheckResult
from app.inspection.checks import CHECKS
from app.inspection.crowning import wire_left
from app.inspection.facts import CurveFacts, SideFacts
from vision.results import Array
from vision.settings import FRETS_MAX

Events = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Draws:
    """Random numbers behind every draw, made once so that situations can be compared draw by draw.

    normal : (K, samples) standard normal for named figures; fret : (2, FRETS_MAX, samples) for deviations;
    uniform : by check or cause id, (samples,); rate : (samples,) where in its range a repairer's price lies.
    """

    normal: dict[str, Array]
    fret: NDArray[np.float32]
    fret_uniform: NDArray[np.float32]
    uniform: dict[str, Array]
    rate: Array


_NORMAL = ("twist", "wire", *(f"{n} {side}" for n in ("relief", "S", "rise", "hump") for side in ("bass", "treble")))
_UNIFORM = ("unmeasured", "rod slack", "wire", *(check.id for check in CHECKS))


def make_draws(seed: int, samples: int) -> Draws:
    """The random numbers for a seed. Raises nothing of its own."""
    rng = np.random.default_rng(seed)
    normal = {name: rng.standard_normal(samples) for name in _NORMAL}
    uniform = {name: rng.random(samples) for name in _UNIFORM}
    rate = rng.random(samples)
    shape = (2, FRETS_MAX, samples)
    return Draws(normal, rng.standard_normal(shape, np.float32), rng.random(shape, np.float32), uniform, rate)


def cause_events(situation: Situation, draws: Draws, cautious: bool) -> dict[Cause, Events]:
    """Draws in which each cause is present, each (samples,). Without a measured curve only the wire is known of."""
    wire: dict[Cause, Events] = {"frets too low to level": _wire_too_low(situation, draws, cautious)}
    if not isinstance(situation.curve, CurveFacts):
        return wire
    return (
        wire
        | _bow_events(situation.curve, situation, draws, cautious)
        | _fret_events(situation.curve, situation, draws, cautious)
    )


def check_events(result: CheckResult, unseen_chance: float, look_closer_chance: float, draws: Draws) -> Events:
    """Draws in which what a check asks about is a fault: certain when marked so, by a stated chance when unsure."""
    chance = {"fine": 0.0, "look closer": look_closer_chance, "fault": 1.0, "not checked": unseen_chance}[result.state]
    return np.asarray(draws.uniform[result.check_id] < chance)


def _bow_events(curve: CurveFacts, situation: Situation, draws: Draws, cautious: bool) -> dict[Cause, Events]:
    limits, sides = situation.thresholds, (curve.bass, curve.treble)

    def passes(value: float, error: Array, limit: float, sign: int) -> Events:
        """Where sign * (value + error) passes the limit."""
        if cautious and sign * value > limit:
            return np.ones(draws.rate.size, bool)
        return np.asarray(sign * (value + error) > limit)

    def beyond(value: float | None, u: float | None, limit: float, name: str, sign: int = 1) -> Events:
        if value is None or u is None:
            return np.zeros(draws.rate.size, bool)
        return passes(value, u * draws.normal[name], limit, sign)

    bass_error, treble_error = _relief_errors_mm(curve, draws)
    reliefs = ((curve.bass.relief_mm, bass_error), (curve.treble.relief_mm, treble_error))

    def mean_beyond(limit_mm: float, sign: int) -> Events:
        return passes(curve.mean_relief_mm, (bass_error + treble_error) / 2.0, limit_mm, sign)

    def opposite(high: int, low: int) -> Events:
        """Where one side has more than the wanted relief and the other less: the rod moves both together.

        That the sides differ by so much follows, but is far better known than either: most of their error is shared.
        """
        (over, over_error), (under, under_error) = reliefs[high], reliefs[low]
        apart = limits.wanted_relief_high_mm - limits.wanted_relief_low_mm
        return (
            passes(over, over_error, limits.wanted_relief_high_mm, 1)
            & passes(under, under_error, -limits.wanted_relief_low_mm, -1)
            & passes(over - under, over_error - under_error, apart, 1)
        )

    def rises(side: SideFacts, sign: int) -> Events:
        return beyond(side.rise_mm, side.rise_u_mm, limits.rise_mm, f"rise {side.side}", sign)

    def hump(side: SideFacts) -> Events:
        return beyond(side.hump_mm, side.hump_u_mm, limits.rise_mm / 2.0, f"hump {side.side}") & rises(side, -1)

    # No one pays for a turn that moves the neck by less than a feeler leaf; the advice on the rod takes it so, too.
    too_high = mean_beyond(limits.wanted_relief_high_mm + limits.leaf_mm, 1)
    too_low = mean_beyond(-(limits.wanted_relief_low_mm - limits.leaf_mm), -1)
    back_bow = mean_beyond(limits.straight_within_mm, -1)
    twist = [beyond(curve.twist_deg, curve.twist_u_deg, limits.twist_serious_deg, "twist", sign) for sign in (1, -1)]
    lobes = [beyond(*_smaller_lobe(side), limits.leaf_mm, f"S {side.side}") for side in sides]
    return {
        "relief out of range": too_high | too_low,
        "relief past the rod": (too_high & rod_at_end(situation))
        | (back_bow & _rod_slack(situation, draws))
        | opposite(0, 1)
        | opposite(1, 0),
        "twist": twist[0] | twist[1],
        "S-curve": lobes[0] | lobes[1],
        "last frets rise": rises(curve.bass, 1) | rises(curve.treble, 1),
        "hump at the body joint": hump(curve.bass) | hump(curve.treble),
    }


def _relief_errors_mm(curve: CurveFacts, draws: Draws) -> tuple[Array, Array]:
    """Errors of the bass and the treble relief, drawn with their correlation."""
    rho = curve.relief_correlation
    bass, own = draws.normal["relief bass"], draws.normal["relief treble"]
    treble = rho * bass + math.sqrt(1.0 - rho * rho) * own
    return curve.bass.relief_u_mm * bass, curve.treble.relief_u_mm * treble


def _smaller_lobe(side: SideFacts) -> tuple[float | None, float | None]:
    """How far the curve crosses to the other side of the chord, with that place's uncertainty."""
    gaps = [(gap, u) for gap, u in zip(side.gap_mm, side.gap_u_mm, strict=True) if gap is not None and u is not None]
    if not gaps:
        return None, None
    below, above = max(gaps), max((-gap, u) for gap, u in gaps)
    return min(below, above)


def _fret_events(curve: CurveFacts, situation: Situation, draws: Draws, cautious: bool) -> dict[Cause, Events]:
    """One fret out of line, on either side, and more than the few that are treated singly."""
    settings, limit_mm = situation.settings, situation.thresholds.fret_needs_levelling_mm
    count = np.zeros(draws.rate.size, int)
    for fret in range(curve.frets):
        out = np.zeros(draws.rate.size, bool)
        for row, side in enumerate((curve.bass, curve.treble)):
            value, u = side.deviation_mm[fret], side.deviation_u_mm[fret]
            if value is None or u is None:
                out |= draws.fret_uniform[row, fret] < settings.unseen_fret_chance
            elif cautious and abs(value) > limit_mm:
                out[:] = True
            else:
                out |= np.abs(value + u * draws.fret[row, fret]) > limit_mm
        count += out
    return {"few frets out of line": count >= 1, "many frets out of line": count > settings.spot_frets_max}


def rod_at_end(situation: Situation) -> bool:
    """The rod cannot be tightened any more, as far as was looked."""
    travel = situation.checks["rod_travel"]
    position = travel.word("rod_position")
    return position == "at its end" or (position is None and travel.state == "fault")


def rod_cannot_push(situation: Situation) -> bool:
    """The rod is slack and, being single-action, can do nothing against a back-bow."""
    travel = situation.checks["rod_travel"]
    return travel.word("rod_position") == "slack" and travel.word("rod_type") == "single-action"


def _rod_slack(situation: Situation, draws: Draws) -> Events:
    """Draws in which a back-bow finds the rod slack and unable to push; a rod of unknown kind counts as unable."""
    travel = situation.checks["rod_travel"]
    position = travel.word("rod_position")
    loaded = position in ("under load", "at its end") or (position is None and travel.state == "fine")
    if travel.word("rod_type") == "double-action" or loaded:
        return np.zeros(draws.rate.size, bool)
    if position == "slack":
        return np.ones(draws.rate.size, bool)
    return np.asarray(draws.uniform["rod slack"] < situation.settings.rod_slack_chance)


def _wire_too_low(situation: Situation, draws: Draws, cautious: bool) -> Events:
    """Draws in which no levelling is left in the wire; by the stated chances where its height was not read."""
    wear = situation.checks["fret_wear"]
    height_mm, dent_mm = wear.number("fret_height_mm"), wear.number("deepest_dent_mm")
    if wear.state == "fine":
        return np.zeros(draws.rate.size, bool)
    if height_mm is None or dent_mm is None:
        unsure = wear.state != "not checked"
        chance = situation.settings.look_closer_chance if unsure else situation.settings.unseen_wire_chance
        return np.asarray(draws.uniform["wire"] < chance)
    left = wire_left(height_mm, dent_mm, situation.crowning)
    short_mm = situation.crowning.lowest_mm - left.height_after_mm
    if cautious and short_mm > 0.0:
        return np.ones(draws.rate.size, bool)
    return np.asarray(short_mm + left.height_after_u_mm * draws.normal["wire"] > 0.0)
