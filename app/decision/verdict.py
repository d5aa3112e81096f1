"""Buy, negotiate, walk away, or take better photographs: the answer with the reasons that tipped it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from app.decision.chance import CalledRepair, Chances, chances
from app.decision.offer import Offer, offer
from app.decision.rules import BrokenRule, broken_rules
from app.decision.situation import Deal, Situation
from app.inspection.facts import CurveFacts, RefusedFacts
from app.wording import money

Answer = Literal["buy", "negotiate", "walk away", "take better photographs"]
HALF_UNIT = 0.5  # sums are shown in whole units and compared as they are shown
NOTABLE_SHARE = 0.005  # of the worth: less is no reason, and not worth another photograph


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason in words. money is how far it lowers the offer, None for a reason that is no sum."""

    text: str
    money: float | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer and all it rests on. reasons come ranked, the weightiest first."""

    answer: Answer
    text: str
    reasons: tuple[Reason, ...]
    broken: tuple[BrokenRule, ...]
    chances: Chances
    offer: Offer
    currency: str


def decide(situation: Situation, deal: Deal, switched: Mapping[str, bool] | None = None) -> Verdict:
    """The answer for one guitar.

    1. A rule that is on and applies ends the deal.
    2. Without a measured neck, better photographs come first.
    3. Asking at or below the highest offer: buy.
    4. Otherwise, if the offer would reach the asking price once photographs confirmed the best estimates: take them.
    5. Otherwise negotiate, if the offer is within what a seller may come down to; photographs first, if only their
       sharpness keeps it from there; else walk away.

    Without an asking price the answer is to negotiate up to the highest offer, or to walk away when that is nothing.

    Raises
    ------
    ValueError : as `broken_rules`.
    """
    broken = broken_rules(situation, switched)
    chance = chances(situation)
    price = offer(deal, chance)
    answer, text = _answer(situation, deal, price, broken)
    return Verdict(
        answer, text, _reasons(situation, deal, chance, price, broken), broken, chance, price, situation.prices.currency
    )


def _answer(situation: Situation, deal: Deal, price: Offer, broken: tuple[BrokenRule, ...]) -> tuple[Answer, str]:
    if broken:
        return "walk away", f"{broken[0].rule.title} ends the deal whatever the price. {broken[0].why}"
    if not isinstance(situation.curve, CurveFacts):
        return "take better photographs", _not_measured(situation.curve)
    asking, currency = deal.asking, situation.prices.currency
    highest, sharp, checked = (
        money(sum_, currency) for sum_ in (price.highest, price.highest_if_sharp, price.highest_if_checked)
    )
    if asking is None:
        if price.highest <= 0.0:
            return "walk away", "Repairs and margin leave nothing to offer."
        return "negotiate", f"No asking price is named. Offer up to {highest}."
    asked = money(asking, currency)
    if asking <= price.highest + HALF_UNIT:
        return "buy", f"The asking price of {asked} is within the {highest} it is worth to you as it stands."
    least = NOTABLE_SHARE * price.good_value
    notable = price.highest_if_sharp - price.highest > least
    could = f"Sharper figures could raise the offer from {highest} to {sharp}, if they confirm what is seen now"
    advice = situation.curve.photo_advice
    if notable and asking <= price.highest_if_sharp + HALF_UNIT:
        return "take better photographs", f"{could}. That would reach the asking price of {asked}. {advice}"
    look = ""
    if price.highest_if_checked - price.highest > least:
        look = f" Look at the rest first: were all of it fine, it would be {checked}."
    lowest = situation.settings.lowest_share_of_asking * asking
    if price.highest >= lowest:
        return "negotiate", f"{asked} is too much; offer up to {highest}.{look}"
    if notable and price.highest_if_sharp >= lowest:
        return "take better photographs", f"{could}: near enough to {asked} to talk about it. {advice}"
    return "walk away", f"The most it is worth to you is {highest}, too far below the {asked} asked.{look}"


def _not_measured(curve: RefusedFacts | CurveFacts | None) -> str:
    if isinstance(curve, RefusedFacts):
        return f"The neck could not be measured: {curve.reason} {curve.advice}".strip()
    return "The neck is not measured yet: photograph it along both outer strings and from the front."


def _reasons(
    situation: Situation, deal: Deal, chance: Chances, price: Offer, broken: tuple[BrokenRule, ...]
) -> tuple[Reason, ...]:
    """Rules first, then what stands between price and worth, by how far; small change is left out."""
    least = NOTABLE_SHARE * price.good_value
    unseen = sum(result.state == "not checked" for result in situation.checks.values())
    sums = [(_repair_text(called), called.lowers_offer_by) for called in chance.repairs if called.seen]
    if unseen:
        text = f"{unseen} of {len(situation.checks)} other things are not looked at yet: were all fine, this much more."
        sums.append((text, _as_shown(price.highest_if_checked, price.highest)))
    sums.append(("Uncertainty of the photographs.", _as_shown(price.highest_if_sharp, price.highest)))
    if deal.asking is not None:
        sums.append(("The asking price is above the worth in good order.", _as_shown(deal.asking, deal.good_value)))
    ranked = [Reason(text, lowers) for text, lowers in sorted(sums, key=lambda item: -item[1]) if lowers > least]
    if isinstance(situation.curve, CurveFacts) and not ranked and not broken:
        return (Reason("Nothing found that calls for a repair worth speaking of."),)
    return (*(Reason(f"{item.rule.title}: {item.why}") for item in broken), *ranked)


def _as_shown(sum_: float, less: float) -> float:
    """The difference of two sums in whole units, as they are shown: readers take one from the other."""
    return float(round(sum_) - round(less))


def _repair_text(called: CalledRepair) -> str:
    if called.repair.always:
        return f"{called.repair.name}, which you added."
    why = f" ({'; '.join(called.why)})" if called.why else ""
    return f"{called.repair.name}, chance {100.0 * called.probability:.0f} %{why}."
