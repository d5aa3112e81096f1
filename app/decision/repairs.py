"""The table of repairs: what calls for each, and what it may cost. Costs and hours are examples to be edited.

Repairs on one ladder do each other's work: a refret makes levelling needless. Of those called for on a ladder only
the dearest is paid, so that one more fault can never make the sum smaller.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from app.decision.settings import COST_MAX
from app.inspection.checks import check_by_id
from app.inspection.plausible import check_range

Cause = Literal[
    "relief out of range",
    "relief past the rod",
    "twist",
    "S-curve",
    "last frets rise",
    "hump at the body joint",
    "few frets out of line",
    "many frets out of line",
    "frets too low to level",
]
CURRENCY_MAX_LETTERS = 12


@dataclass(frozen=True, slots=True)
class Repair:
    """One repair.

    Parameters
    ----------
    id, name : for records and for people.
    low_cost, high_cost : what a local repairer asks, parts included, in the user's currency.
    hours : bench time behind the example.
    condition : in words, what calls for it.
    causes : measured causes that call for it.
    checks : checks whose fault calls for it.
    unseen_chance : chance that it is needed where neither was looked at (judgement, per cause or check).
    more_than_rod : True when it is work on the neck that no turn of the rod can spare.
    ladder : repairs on one ladder do each other's work.
    always : True for a row of the user's own, paid in any case.
    """

    id: str
    name: str
    low_cost: float
    high_cost: float
    hours: float
    condition: str
    causes: tuple[Cause, ...] = ()
    checks: tuple[str, ...] = ()
    unseen_chance: float = 0.05
    more_than_rod: bool = False
    ladder: str | None = None
    always: bool = False

    def __post_init__(self) -> None:
        check_range("low_cost", self.low_cost, 0.0, COST_MAX)
        check_range("high_cost", self.high_cost, 0.0, COST_MAX)
        check_range("hours", self.hours, 0.0, 1000.0)
        check_range("unseen_chance", self.unseen_chance, 0.0, 1.0)
        if self.low_cost > self.high_cost:
            raise ValueError(f"low_cost={self.low_cost!r} of {self.id} is above high_cost={self.high_cost!r}")
        for check_id in self.checks:
            check_by_id(check_id)


_FRETWORK = "fretwork"

EXAMPLE_REPAIRS = (
    Repair(
        "set_up",
        "Set-up with a turn of the rod",
        50.0,
        90.0,
        1.0,
        "the relief is outside the wanted range",
        causes=("relief out of range",),
        unseen_chance=0.5,
    ),
    Repair(
        "rod_nut",
        "Truss-rod nut freed, replaced or given new thread",
        60.0,
        200.0,
        2.0,
        "the rod's nut is stripped, stuck, at its end, rattles or cannot be reached",
        checks=("rod_nut_place", "rod_nut_stripped", "rod_travel", "rod_play"),
        unseen_chance=0.02,
        more_than_rod=True,
    ),
    Repair(
        "spot_level",
        "Single frets seated or levelled",
        40.0,
        90.0,
        1.0,
        "one or two frets are out of line",
        causes=("few frets out of line",),
        unseen_chance=0.15,
        more_than_rod=True,
        ladder=_FRETWORK,
    ),
    Repair(
        "level_and_crown",
        "All frets levelled, crowned and polished",
        110.0,
        220.0,
        3.0,
        "more frets are out of line or worn, the last frets rise, the joint has a hump, or notes buzz or choke",
        causes=("many frets out of line", "last frets rise", "hump at the body joint"),
        checks=("play_test", "fret_wear"),
        unseen_chance=0.05,
        more_than_rod=True,
        ladder=_FRETWORK,
    ),
    Repair(
        "refret",
        "New frets",
        250.0,
        450.0,
        7.0,
        "the frets are worn too low to be levelled once more, or badly set",
        causes=("frets too low to level",),
        checks=("refret_marks",),
        unseen_chance=0.03,
        more_than_rod=True,
        ladder=_FRETWORK,
    ),
    Repair(
        "board_and_refret",
        "Board planed true or neck straightened, with new frets",
        350.0,
        650.0,
        10.0,
        "twist, an S-curve, or a bow that the rod cannot take out of both sides",
        causes=("twist", "S-curve", "relief past the rod"),
        unseen_chance=0.03,
        more_than_rod=True,
        ladder=_FRETWORK,
    ),
    Repair(
        "neck_break",
        "Crack or break in the neck glued and made good",
        150.0,
        500.0,
        6.0,
        "the wood of the neck is cracked or was broken",
        checks=("neck_crack",),
        unseen_chance=0.02,
        more_than_rod=True,
    ),
    Repair("stripe", "Stripe on the back glued", 50.0, 120.0, 1.5, "the stripe lifts", checks=("stripe_back",)),
    Repair(
        "fret_ends",
        "Fret ends dressed",
        40.0,
        80.0,
        1.0,
        "fret ends stand proud beyond what dry air explains",
        checks=("fret_ends",),
        unseen_chance=0.1,
        ladder=_FRETWORK,
    ),
    Repair("inlays", "Position markers glued or replaced", 30.0, 90.0, 1.0, "a marker lifts", checks=("inlays",)),
    Repair("tuners", "Tuners replaced", 50.0, 130.0, 0.5, "a tuner slips, grinds or is missing", checks=("tuners",)),
    Repair(
        "nut", "Nut filled, cut or replaced", 40.0, 100.0, 1.0, "the nut is cracked or cut too deep", checks=("nut",)
    ),
    Repair("switch", "Switch replaced", 30.0, 70.0, 0.5, "a position of the switch is dead", checks=("switch",)),
    Repair("pots", "Controls cleaned or replaced", 20.0, 80.0, 1.0, "a control has dead spots", checks=("pots",)),
    Repair(
        "pickup",
        "Pickup rewound or replaced",
        60.0,
        180.0,
        1.0,
        "a pickup is open, shorted or far from its stated resistance",
        checks=("pickup_resistance",),
    ),
    Repair("bridge", "Bridge parts replaced", 40.0, 180.0, 1.0, "the bridge lifts or is worn", checks=("bridge",)),
    Repair(
        "springs", "Springs or claw made good", 15.0, 60.0, 0.5, "a spring or claw screw fails", checks=("springs",)
    ),
    Repair(
        "pocket",
        "Neck screws, tilt screw and pocket made good",
        30.0,
        150.0,
        1.5,
        "the neck is not held firmly",
        checks=("neck_plate", "tilt_screw"),
    ),
    Repair(
        "pickguard_holes",
        "Pickguard's screw holes plugged",
        10.0,
        40.0,
        0.5,
        "screws do not bite",
        checks=("pickguard_screws",),
    ),
)


@dataclass(frozen=True, slots=True)
class PriceList:
    """Repairs with the costs that hold for this user. is_example stays True until the user has edited it."""

    currency: str = "EUR"
    repairs: tuple[Repair, ...] = EXAMPLE_REPAIRS
    is_example: bool = True

    def __post_init__(self) -> None:
        text = self.currency
        if not isinstance(text, str) or len(text) > CURRENCY_MAX_LETTERS or not text.isprintable():
            raise ValueError(f"currency={text!r:.60} must be at most {CURRENCY_MAX_LETTERS} printable letters")
        ids = [repair.id for repair in self.repairs]
        if len(set(ids)) != len(ids):
            raise ValueError(f"repairs must have different ids, got {ids!r:.200}")


def with_costs(
    prices: PriceList,
    edits: Mapping[str, tuple[float, float]],
    own_rows: Mapping[str, tuple[str, float, float]] | None = None,
    currency: str | None = None,
) -> PriceList:
    """The list with the user's own figures.

    Parameters
    ----------
    edits : repair id to low and high cost.
    own_rows : new id to name, low and high cost of work that will be paid in any case.

    Raises
    ------
    ValueError : an id is unknown or taken, a cost is not a number from 0 up, or low is above high.
    """
    known = {repair.id for repair in prices.repairs}
    for repair_id in edits:
        if repair_id not in known:
            raise ValueError(f"repair {repair_id!r:.60} is not in the list")
    repairs = tuple(
        replace(repair, low_cost=edits[repair.id][0], high_cost=edits[repair.id][1]) if repair.id in edits else repair
        for repair in prices.repairs
    )
    own = tuple(
        Repair(repair_id, name, low, high, 0.0, "you added it", always=True)
        for repair_id, (name, low, high) in (own_rows or {}).items()
    )
    return PriceList(prices.currency if currency is None else currency, repairs + own, is_example=False)
