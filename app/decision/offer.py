"""The highest price worth offering: worth in good order, less margin, less a cautious cost of repairs."""

import math
from dataclasses import dataclass

from app.decision.chance import Chances
from app.decision.settings import COST_MAX
from app.decision.situation import Deal
from app.inspection.plausible import check_range


@dataclass(frozen=True, slots=True)
class Offer:
    """The sum, in the price list's currency. highest is never below zero.

    highest_if_sharp : the same if better photographs confirmed the best estimates; never below highest.
    highest_if_checked : the same if all that nobody looked at were fine; never below highest.
    """

    good_value: float
    margin: float
    cautious_cost: float
    highest: float
    highest_if_sharp: float
    highest_if_checked: float


def offer(deal: Deal, chance: Chances) -> Offer:
    """The highest price worth offering.

    No faults: the worth less the margin. A certain fault: less its cost too. More uncertainty never raises it, since
    the cautious cost never falls with it (see `app.decision.causes`).
    """
    return Offer(
        deal.good_value,
        deal.margin,
        chance.cautious_cost,
        highest_offer(deal.good_value, deal.margin, chance.cautious_cost),
        highest_offer(deal.good_value, deal.margin, min(chance.cautious_cost_sharp, chance.cautious_cost)),
        highest_offer(deal.good_value, deal.margin, min(chance.cautious_cost_checked, chance.cautious_cost)),
    )


def highest_offer(good_value: float, margin: float, cautious_cost: float) -> float:
    """max(0, worth - margin - cost).

    Raises
    ------
    ValueError : a sum is not a finite number from 0 up.
    """
    check_range("good_value", good_value, 0.0, COST_MAX)
    check_range("margin", margin, 0.0, COST_MAX)
    if not math.isfinite(cautious_cost) or cautious_cost < 0.0:
        raise ValueError(f"cautious_cost={cautious_cost!r} must be a finite number from 0 up")
    return max(0.0, good_value - margin - cautious_cost)
