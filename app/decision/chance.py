"""From causes to chances and costs, by Monte Carlo (JCGM 101): one draw is one neck that the findings allow.

In each draw the repairs called for are summed, each at the same place between its low and high cost: one repairer is
dear or cheap throughout, which is more careful than letting dear and cheap work cancel.
"""

from dataclasses import dataclass, replace

import numpy as np

from app.decision.causes import Draws, Events, cause_events, check_events, make_draws
from app.decision.repairs import Cause, Repair
from app.decision.situation import Situation
from app.inspection.check import CheckResult
from app.inspection.checks import check_by_id
from app.inspection.facts import CurveFacts, SideFacts
from vision.results import Array

NOTABLE_CHANCE = 0.005  # less is not named as a cause


@dataclass(frozen=True, slots=True)
class CalledRepair:
    """A repair with the chance that it is needed, what calls for it, and how far it lowers the offer.

    lowers_offer_by is what the offer would gain were this repair ruled out; on a ladder the next one then counts.
    seen is False where nothing but a lack of looking calls for it.
    """

    repair: Repair
    probability: float
    lowers_offer_by: float
    why: tuple[str, ...]
    seen: bool


@dataclass(frozen=True, slots=True)
class Chances:
    """What the repairs may come to.

    Parameters
    ----------
    more_than_rod : chance that the neck needs work that no turn of the rod can spare.
    repairs : those with any chance, the one that lowers the offer most first.
    cost_median, cost_low, cost_high : median and central 90 % range of the sum.
    cautious_cost : what the offer reckons with, see `cautious_mean`.
    cautious_cost_sharp : the same if better photographs confirmed every best estimate.
    cautious_cost_checked : the same if all that nobody looked at were fine.
    """

    more_than_rod: float
    repairs: tuple[CalledRepair, ...]
    cost_median: float
    cost_low: float
    cost_high: float
    cautious_cost: float
    cautious_cost_sharp: float
    cautious_cost_checked: float


def chances(situation: Situation) -> Chances:
    """Chance of each repair, distribution of the cost, and the cautious cost behind the offer."""
    settings = situation.settings
    draws = make_draws(settings.seed, settings.samples)
    causes = cause_events(situation, draws, cautious=False)
    plain = _called(situation, draws, causes)
    cautious = _called(situation, draws, cause_events(situation, draws, cautious=True))
    looked = replace(situation, checks=_looked_at(situation))
    rest_fine = _called(looked, draws, cause_events(looked, draws, cautious=True))
    cost = total_cost(plain, draws.rate)
    careful = cautious_mean(total_cost(cautious, draws.rate), settings.dearest_share)
    neck = np.zeros(settings.samples, bool)
    for repair, needed in plain.items():
        if repair.more_than_rod:
            neck |= needed
    called = tuple(
        CalledRepair(
            repair,
            float(plain[repair].mean()),
            careful - _without(cautious, repair, draws, settings.dearest_share),
            _why(repair, situation, causes),
            bool(rest_fine[repair].mean() >= NOTABLE_CHANCE),
        )
        for repair in cautious
        if cautious[repair].any()
    )
    low, median, high = (float(value) for value in np.quantile(cost, (0.05, 0.5, 0.95)))
    return Chances(
        float(neck.mean()),
        tuple(sorted(called, key=lambda item: (-item.lowers_offer_by, -item.probability))),
        median,
        low,
        high,
        careful,
        _sharp(situation, draws),
        cautious_mean(total_cost(rest_fine, draws.rate), settings.dearest_share),
    )


def total_cost(called: dict[Repair, Events], rate: Array) -> Array:
    """Sum of the repairs called for in each draw; on a ladder only the dearest counts."""
    total = np.zeros_like(rate)
    ladders: dict[str, Array] = {}
    for repair, needed in called.items():
        cost = np.where(needed, repair.low_cost + rate * (repair.high_cost - repair.low_cost), 0.0)
        if repair.ladder is None:
            total += cost
        else:
            ladders[repair.ladder] = np.maximum(ladders.get(repair.ladder, np.zeros_like(rate)), cost)
    return total + sum(ladders.values(), np.zeros_like(rate))


def cautious_mean(cost: Array, dearest_share: float) -> float:
    """Average of the dearest share of the outcomes (expected shortfall, a coherent measure of risk).

    It never falls when a cost is spread about its mean or made likelier, unlike a quantile, which does not see what
    lies beyond it, and unlike mean plus a multiple of the spread, which can pass the dearest outcome. Source:
    Acerbi and Tasche, On the coherence of expected shortfall, J. Banking and Finance 26(7), 2002.

    Parameters
    ----------
    cost : (samples,) equally likely outcomes.
    dearest_share : above 0, up to 1; 1 is the plain mean.

    Raises
    ------
    ValueError : no outcomes, or the share is out of its range.
    """
    if cost.size == 0:
        raise ValueError("cost holds no outcomes")
    if not 0.0 < dearest_share <= 1.0:
        raise ValueError(f"dearest_share={dearest_share!r} must be above 0 and at most 1")
    ordered = np.sort(cost)[::-1]
    count = dearest_share * cost.size
    whole = int(count)
    part = (count - whole) * float(ordered[whole]) if whole < cost.size else 0.0
    return (float(ordered[:whole].sum()) + part) / count


def _called(situation: Situation, draws: Draws, causes: dict[Cause, Events]) -> dict[Repair, Events]:
    """Draws in which each repair is called for."""
    settings = situation.settings
    measured = isinstance(situation.curve, CurveFacts)
    called = {}
    for repair in situation.prices.repairs:
        needed = np.full(settings.samples, repair.always)
        for cause in repair.causes:
            if cause in causes:
                needed |= causes[cause]
        if repair.causes and not measured:
            needed |= draws.uniform["unmeasured"] < repair.unseen_chance
        for check_id in repair.checks:
            result = situation.checks[check_id]
            needed |= check_events(result, repair.unseen_chance, settings.look_closer_chance, draws)
        called[repair] = needed
    return called


def _why(repair: Repair, situation: Situation, causes: dict[Cause, Events]) -> tuple[str, ...]:
    """What calls for a repair: measured causes with their chance, and checks with their state."""
    measured = isinstance(situation.curve, CurveFacts)
    seen = {cause: float(causes[cause].mean()) for cause in repair.causes if cause in causes}
    return (
        *(("you added it",) if repair.always else ()),
        *(f"{cause}, chance {100.0 * chance:.0f} %" for cause, chance in seen.items() if chance >= NOTABLE_CHANCE),
        *(("the neck is not measured",) if repair.causes and not measured else ()),
        *(
            f"{check_by_id(check_id).title.lower()}: {situation.checks[check_id].state}"
            for check_id in repair.checks
            if situation.checks[check_id].state != "fine"
        ),
    )


def _without(called: dict[Repair, Events], repair: Repair, draws: Draws, dearest_share: float) -> float:
    others = {other: needed for other, needed in called.items() if other is not repair}
    return cautious_mean(total_cost(others, draws.rate), dearest_share)


def _sharp(situation: Situation, draws: Draws) -> float:
    """The cautious cost if better photographs showed every fret and confirmed every best estimate."""
    ones = np.ones(situation.settings.samples)
    seen = replace(draws, uniform=draws.uniform | {"unmeasured": ones}, fret_uniform=np.ones_like(draws.fret_uniform))
    curve = situation.curve
    sharp = replace(situation, curve=_certain(curve)) if isinstance(curve, CurveFacts) else situation
    called = _called(sharp, seen, cause_events(sharp, seen, cautious=True))
    return cautious_mean(total_cost(called, draws.rate), situation.settings.dearest_share)


def _looked_at(situation: Situation) -> dict[str, CheckResult]:
    """The checks, what nobody looked at taken as fine."""
    return {
        check_id: replace(result, state="fine") if result.state == "not checked" else result
        for check_id, result in situation.checks.items()
    }


def _certain(curve: CurveFacts) -> CurveFacts:
    """The same figures without uncertainty."""
    return replace(curve, bass=_certain_side(curve.bass), treble=_certain_side(curve.treble), twist_u_deg=0.0)


def _certain_side(side: SideFacts) -> SideFacts:
    def none(us: tuple[float | None, ...]) -> tuple[float | None, ...]:
        return tuple(None if u is None else 0.0 for u in us)

    return replace(
        side,
        relief_u_mm=0.0,
        gap_u_mm=none(side.gap_u_mm),
        deviation_u_mm=none(side.deviation_u_mm),
        rise_u_mm=None if side.rise_u_mm is None else 0.0,
        hump_u_mm=None if side.hump_u_mm is None else 0.0,
    )
