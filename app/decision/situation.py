"""All that a decision rests on, in one record."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from app.decision.repairs import PriceList
from app.decision.settings import COST_MAX, DecisionSettings
from app.inspection.check import CheckResult
from app.inspection.checks import CHECKS, read_results
from app.inspection.crowning import CrowningSettings
from app.inspection.facts import CurveFacts, RefusedFacts
from app.inspection.plausible import check_range
from vision.settings import Thresholds


@dataclass(frozen=True, slots=True)
class Situation:
    """One guitar as found.

    Parameters
    ----------
    curve : the measured neck, why it was refused, or None when no photograph was measured yet.
    checks : every check of the catalogue by id; see `app.inspection.checks.read_results`.

    Raises
    ------
    ValueError : curve is something else, or a check is missing.
    """

    curve: CurveFacts | RefusedFacts | None
    checks: Mapping[str, CheckResult] = field(default_factory=lambda: read_results({}))
    thresholds: Thresholds = field(default_factory=Thresholds)
    prices: PriceList = field(default_factory=PriceList)
    settings: DecisionSettings = field(default_factory=DecisionSettings)
    crowning: CrowningSettings = field(default_factory=CrowningSettings)

    def __post_init__(self) -> None:
        if self.curve is not None and not isinstance(self.curve, (CurveFacts, RefusedFacts)):
            raise ValueError(f"curve={self.curve!r:.60} must be facts of a neck, or None")
        missing = [check.id for check in CHECKS if check.id not in self.checks]
        if missing:
            raise ValueError(f"checks lacks {', '.join(missing)}")


@dataclass(frozen=True, slots=True)
class Deal:
    """The money, in the currency of the price list.

    good_value : what the guitar is worth in good order, as stated. margin : what the buyer wants to keep for trouble
    and time. asking : the seller's price, None when not named yet.
    """

    good_value: float
    margin: float = 0.0
    asking: float | None = None

    def __post_init__(self) -> None:
        check_range("good_value", self.good_value, 0.0, COST_MAX)
        check_range("margin", self.margin, 0.0, COST_MAX)
        if self.asking is not None:
            check_range("asking", self.asking, 0.0, COST_MAX)
