"""Situations for the tests of the decision."""

from collections.abc import Mapping

from app.decision.repairs import EXAMPLE_REPAIRS, PriceList, Repair
from app.decision.settings import DecisionSettings
from app.decision.situation import Situation
from app.inspection.check import CheckResult
from app.inspection.checks import CHECKS, read_results
from app.inspection.facts import CurveFacts, RefusedFacts
from tests.inspection.necks import neck

FEW = DecisionSettings(samples=2000)


def all_fine(**other: object) -> dict[str, CheckResult]:
    """Every check fine but those named."""
    return read_results({check.id: "fine" for check in CHECKS} | other)


def situation(
    curve: CurveFacts | RefusedFacts | None = None,
    checks: Mapping[str, CheckResult] | None = None,
    prices: PriceList | None = None,
    settings: DecisionSettings | None = None,
) -> Situation:
    """A good neck with everything fine, but for what is named."""
    return Situation(
        neck() if curve is None else curve,
        all_fine() if checks is None else checks,
        prices=prices or PriceList(),
        settings=settings or DecisionSettings(),
    )


def only(repair_id: str, low: float, high: float) -> PriceList:
    """A price list of one repair."""
    (repair,) = (repair for repair in EXAMPLE_REPAIRS if repair.id == repair_id)
    row = Repair(
        repair.id, repair.name, low, high, 1.0, repair.condition, repair.causes, repair.checks, more_than_rod=True
    )
    return PriceList("EUR", (row,))
