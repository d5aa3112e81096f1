"""Evidence of origin and of later change, weighed as evidence and never as proof.

Each piece carries a likelihood ratio: how many times more often it is met on a guitar that was changed than on one
that was not. The ratios are rough figures of common practice, to be changed by whoever knows better; the words follow
the verbal scale of the ENFSI guideline for evaluative reporting (2015) [from memory], cut off well below "strong".
Pieces that point to one claim are seldom independent (who refrets also files ends): the weightiest counts in full,
every further one only by its square root.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from app.inspection.check import CheckResult, State
from app.inspection.checks import check_by_id
from app.inspection.plausible import check_range

Claim = Literal["refretted", "refinished or sanded", "electrics changed", "body reworked", "parts of other origin"]
RATIO_CAP = 100.0  # what is seen in a room is never worth more

_WORDS = ((2.0, "says nothing either way"), (10.0, "speaks weakly"), (RATIO_CAP, "speaks moderately"))


@dataclass(frozen=True, slots=True)
class Piece:
    """What one check says about one claim, by its state. Ratios above 1 speak for the claim, below against."""

    check_id: str
    claim: Claim
    fine: float
    look_closer: float
    fault: float

    def __post_init__(self) -> None:
        check_by_id(self.check_id)
        for name in ("fine", "look_closer", "fault"):
            check_range(name, getattr(self, name), 1.0 / RATIO_CAP, RATIO_CAP)

    def ratio(self, state: State) -> float:
        """Likelihood ratio of what was seen; 1 where nobody looked."""
        return {"fine": self.fine, "look closer": self.look_closer, "fault": self.fault, "not checked": 1.0}[state]


COMMON_PIECES = (  # common practice, rough
    Piece("refret_marks", "refretted", 0.4, 6.0, 15.0),
    Piece("fret_ends", "refretted", 0.9, 1.2, 1.5),
    Piece("fret_wear", "refretted", 1.0, 0.8, 0.6),
    Piece("body_thickness", "refinished or sanded", 0.5, 5.0, 10.0),
    Piece("neck_plate", "refinished or sanded", 0.9, 1.5, 2.0),
    Piece("marks_inside", "refinished or sanded", 0.7, 1.5, 3.0),
    Piece("pots", "electrics changed", 0.9, 1.2, 1.5),
    Piece("pickup_resistance", "electrics changed", 0.5, 3.0, 8.0),
    Piece("marks_inside", "electrics changed", 0.5, 2.0, 6.0),
    Piece("routs", "body reworked", 0.2, 10.0, 30.0),
    Piece("pickguard_screws", "body reworked", 0.8, 2.0, 2.5),
    Piece("marks_inside", "parts of other origin", 0.3, 3.0, 15.0),
    Piece("neck_plate", "parts of other origin", 0.8, 1.5, 4.0),
    Piece("tilt_screw", "parts of other origin", 0.9, 1.2, 1.5),
    Piece("body_thickness", "parts of other origin", 0.6, 2.0, 8.0),
    Piece("pickguard_screws", "parts of other origin", 0.8, 1.5, 2.0),
)

WOULD_SETTLE: dict[Claim, str] = {
    "refretted": "A fret pulled by a repairer, a dated bill, or photographs of the neck from before.",
    "refinished or sanded": "A repairer's look under ultraviolet light and at the lacquer in pocket and routs.",
    "electrics changed": "Codes on controls and pickups read with the pickguard off, and untouched solder.",
    "body reworked": "The routs seen with the pickguard off, the lead pulled and the owner's leave.",
    "parts of other origin": "Marks in heel and pocket seen with the neck off, and the maker's own records.",
}


@dataclass(frozen=True, slots=True)
class ClaimWeight:
    """One claim with the ratio of all that speaks for or against it, in words, and what would settle it."""

    claim: Claim
    ratio: float
    words: str
    settles: str


def weigh_evidence(
    checks: Mapping[str, CheckResult], pieces: tuple[Piece, ...] = COMMON_PIECES
) -> tuple[ClaimWeight, ...]:
    """Every claim that something was looked at for, the one with the most behind it first."""
    weights = []
    for claim in WOULD_SETTLE:
        seen = [
            piece.ratio(checks[piece.check_id].state)
            for piece in pieces
            if piece.claim == claim and piece.check_id in checks and checks[piece.check_id].state != "not checked"
        ]
        if seen:
            ratio = combined_ratio(tuple(seen))
            weights.append(ClaimWeight(claim, ratio, ratio_words(ratio), WOULD_SETTLE[claim]))
    return tuple(sorted(weights, key=lambda weight: -weight.ratio))


def combined_ratio(ratios: tuple[float, ...]) -> float:
    """Ratio of pieces that hang together: the weightiest in full, others by their square root, within the cap.

    Raises
    ------
    ValueError : a ratio is not a positive finite number.
    """
    for ratio in ratios:
        check_range("ratio", ratio, 1e-9, 1e9)
    logs = sorted((math.log(ratio) for ratio in ratios), key=abs, reverse=True)
    total = math.fsum(log if i == 0 else log / 2.0 for i, log in enumerate(logs))
    return min(max(math.exp(total), 1.0 / RATIO_CAP), RATIO_CAP)


def ratio_words(ratio: float) -> str:
    """ "speaks weakly for it", "says nothing either way", "speaks moderately against it".

    Raises
    ------
    ValueError : the ratio is not a positive number within the cap.
    """
    check_range("ratio", ratio, 1.0 / RATIO_CAP, RATIO_CAP)
    size = max(ratio, 1.0 / ratio)
    word = next(text for limit, text in _WORDS if size < limit or limit == RATIO_CAP)
    return word if size < _WORDS[0][0] else f"{word} {'for' if ratio > 1.0 else 'against'} it"
