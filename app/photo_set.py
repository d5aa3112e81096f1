"""What a set of photographs still lacks, from a quick look at each."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from app.looking import Look
from app.record.inspection import Neck

Readiness = Literal["nothing", "not enough", "enough", "good"]


@dataclass(frozen=True, slots=True)
class SetAdvice:
    """How ready the set is, said in one line, and what to add or change next; empty when nothing is missing.

    wrong_count : nothing was found because another number of frets was stated than the neck seems to have.
    """

    readiness: Readiness
    text: str
    next_step: str = ""
    wrong_count: bool = False


def set_advice(looks: Sequence[Look], neck: Neck) -> SetAdvice:
    """Judge the set by what was found in its photographs."""
    if not looks:
        return SetAdvice("nothing", "No photographs yet.", "Add them above: phone pictures as they are, in any order.")
    found = [look for look in looks if look.found]
    along = sum(look.kind != "front" for look in found)
    front = len(found) - along
    miscounted = next((look for look in looks if look.code == "fret count"), None)
    if not found and miscounted is not None:
        return SetAdvice("not enough", miscounted.reason, "Count them on the instrument.", wrong_count=True)
    if not any(look.width_px for look in looks):
        return SetAdvice("not enough", "None of these files can be read as a photograph.", looks[0].advice)
    if not found:
        return SetAdvice(
            "not enough",
            "The neck was found in none of them.",
            "Mark its corners by hand below, or take them again.",
        )
    if along == 0:
        return SetAdvice(
            "not enough", "Only views from the front: they show widths, not relief.", "Add two looking down the neck."
        )
    widths = neck.nut_width_mm is not None and neck.width_at_12_mm is not None
    has = f"{along} down the neck, {front} from the front."
    lacks = []
    if along == 1:
        lacks.append("A second one down the neck, along the other outer string, makes twist sure.")
    if front == 0 and not widths:
        lacks.append("One from the front makes the relief about three times surer; two measured widths help a little.")
    if lacks:
        return SetAdvice("enough", has, " ".join(lacks))
    return SetAdvice("good", has + (" The widths are stated." if front == 0 else ""))
