"""How much fret wire is left, and how many levelling-and-crowning jobs that allows.

A job takes every fret down to the bottom of the deepest dent, and a little more for files and polish. Wire sizes and
figures are common practice; what counts is the height measured over the board.
"""

import math
from dataclasses import dataclass

from app.inspection.plausible import check_range


@dataclass(frozen=True, slots=True)
class WireSize:
    """A size of fret wire by its crown's height when new (common practice; makers differ)."""

    name: str
    new_height_mm: float


COMMON_WIRE = (
    WireSize("slim", 1.00),
    WireSize("medium", 1.10),
    WireSize("medium-jumbo", 1.22),
    WireSize("jumbo", 1.40),
)


@dataclass(frozen=True, slots=True)
class CrowningSettings:
    """Common practice: lowest_mm is the least height that still plays, spare_mm what a job takes beyond the dents.

    usual_dent_mm is the depth to which later dents are let go before the next job.
    """

    lowest_mm: float = 0.75
    spare_mm: float = 0.03
    usual_dent_mm: float = 0.09
    height_u_mm: float = 0.03

    def __post_init__(self) -> None:
        for name in ("lowest_mm", "spare_mm", "height_u_mm"):
            check_range(name, getattr(self, name), 0.0, 3.0)
        check_range("usual_dent_mm", self.usual_dent_mm, 0.001, 3.0)


@dataclass(frozen=True, slots=True)
class WireLeft:
    """What is left of the wire. jobs counts the one that takes the present dents out; with 0 the next is a refret.

    height_after_mm : height once the present dents are levelled, with its standard uncertainty.
    jobs_low, jobs_high : jobs for the height two standard uncertainties lower and higher.
    """

    height_after_mm: float
    height_after_u_mm: float
    jobs: int
    jobs_low: int
    jobs_high: int
    text: str


def wire_left(height_mm: float, dent_mm: float, settings: CrowningSettings | None = None) -> WireLeft:
    """Jobs left in the wire.

    Parameters
    ----------
    height_mm : height of the lowest unworn crown over the board.
    dent_mm : depth of the deepest dent.

    Raises
    ------
    ValueError : a height or depth is not a number from 0 to 3 mm, or a dent is deeper than the wire is tall.
    """
    settings = settings or CrowningSettings()
    check_range("height_mm", height_mm, 0.0, 3.0)
    check_range("dent_mm", dent_mm, 0.0, 3.0)
    if dent_mm > height_mm:
        raise ValueError(f"dent_mm={dent_mm!r} is deeper than the wire's height_mm={height_mm!r}")
    u_mm = math.sqrt(2.0) * settings.height_u_mm  # height and depth are read separately
    after_mm = height_mm - dent_mm - (settings.spare_mm if dent_mm > 0.0 else 0.0)
    jobs, low, high = (_jobs(after_mm + k * u_mm, dent_mm > 0.0, settings) for k in (0.0, -2.0, 2.0))
    span = f"{jobs}" if low == high else f"{low} to {high}, most likely {jobs}"
    counted = ", the present one counted" if dent_mm > 0.0 else ""
    text = (
        f"With the dents levelled {max(after_mm, 0.0):.2f} mm would be left; below {settings.lowest_mm:.2f} mm a "
        f"fret is too low (common practice). Levelling jobs left{counted}: {span}."
    )
    return WireLeft(after_mm, u_mm, jobs, low, high, text)


def _jobs(after_mm: float, dented: bool, settings: CrowningSettings) -> int:
    """The present job, if there are dents and the wire survives it, and one for each further depth a job takes."""
    step_mm = settings.usual_dent_mm + settings.spare_mm
    spare_mm = after_mm - settings.lowest_mm
    if spare_mm < 0.0:
        return 0
    return dented + math.floor(spare_mm / step_mm + 1e-9)
