"""Figures of the decision that the user may change. All are common practice or plain judgement, none a standard."""

from dataclasses import dataclass

from app.inspection.plausible import check_range

COST_MAX = 1e9


@dataclass(frozen=True, slots=True)
class DecisionSettings:
    """How findings become chances, and how careful the offer is.

    Parameters
    ----------
    look_closer_chance : chance that something marked "look closer" turns out to need its repair.
    unseen_fret_chance : chance that a fret which no photograph shows is out of line.
    unseen_wire_chance : chance that the frets are too low to be levelled, where nobody looked at their wear.
    rod_slack_chance : chance that the rod is slack already where nobody looked.
    spot_frets_max : up to so many high or low frets are treated singly, more ask for levelling the whole neck.
    certain_chance : a rule that ends the deal on a measured figure wants at least this chance.
    twist_beyond_repair_deg : more than board work can take out (common practice, from memory).
    dearest_share : the offer reckons with the average cost of this share of the outcomes, the dearest ones;
        1 is the plain average, smaller is more careful.
    lowest_share_of_asking : a seller rarely goes below this share of the asking price (common practice).
    samples, seed : of the Monte Carlo draw.

    Raises
    ------
    ValueError : a figure is not finite or out of its range; the message names it.
    """

    look_closer_chance: float = 0.3
    unseen_fret_chance: float = 0.02
    unseen_wire_chance: float = 0.05
    rod_slack_chance: float = 0.2
    spot_frets_max: int = 2
    certain_chance: float = 0.95
    twist_beyond_repair_deg: float = 2.0
    dearest_share: float = 0.5
    lowest_share_of_asking: float = 0.75
    samples: int = 20_000
    seed: int = 20_010

    def __post_init__(self) -> None:
        for name in (
            "look_closer_chance",
            "unseen_fret_chance",
            "unseen_wire_chance",
            "rod_slack_chance",
            "certain_chance",
        ):
            check_range(name, getattr(self, name), 0.0, 1.0)
        for name in ("dearest_share", "lowest_share_of_asking"):
            check_range(name, getattr(self, name), 0.01, 1.0)
        check_range("twist_beyond_repair_deg", self.twist_beyond_repair_deg, 0.1, 45.0)
        for name, low, high in (("spot_frets_max", 0, 36), ("samples", 1000, 1_000_000), ("seed", 0, 2**63)):
            value = getattr(self, name)
            if type(value) is not int:
                raise ValueError(f"{name}={value!r:.60} must be a whole number")
            check_range(name, value, low, high)
