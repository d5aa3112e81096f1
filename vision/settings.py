"""What the user states about the neck, and the thresholds findings are judged by.

Every figure of the trade is a setting, marked "common practice" where no standard stands behind it.
Lengths are mm, angles degrees, uncertainties one standard deviation (1 sigma).
"""

import math
from dataclasses import dataclass

COMMON_SCALE_LENGTHS_MM = (647.7, 628.65, 635.0, 609.6, 863.6, 762.0)
FRETS_MIN, FRETS_MAX = 12, 36
SCALE_LENGTH_MIN_MM, SCALE_LENGTH_MAX_MM = 400.0, 1000.0


@dataclass(frozen=True)
class StatedNeck:
    """What the user knows about the neck before the photographs are read.

    Parameters
    ----------
    scale_length_mm : twice the distance from the nut to fret 12 (open strings' length without compensation).
    frets : number of frets, the nut (and a zero fret) not counted.
    left_handed : mirrored instrument; the bass string is then on the other side.
    nut_width_mm, width_at_12_mm : measured widths of the board, from edge to edge, at the nut and at fret 12.
    width_u_mm : standard uncertainty of those two widths, as measured by the user.
    lowest_string_hz : pitch of the lowest string; None when unknown.
    lies_level : True when the guitar lay on its back, so that strings sag towards the board. Neither changes a figure
        (vision.findings.sag says why); they go with the record.

    Raises
    ------
    ValueError : a figure is not finite or outside what a guitar can have; the message names it and its value.
    """

    scale_length_mm: float
    frets: int
    left_handed: bool = False
    nut_width_mm: float | None = None
    width_at_12_mm: float | None = None
    width_u_mm: float = 0.1
    lowest_string_hz: float | None = 82.41
    lies_level: bool = False

    def __post_init__(self) -> None:
        _check_range("scale_length_mm", self.scale_length_mm, SCALE_LENGTH_MIN_MM, SCALE_LENGTH_MAX_MM)
        if isinstance(self.frets, bool) or not isinstance(self.frets, int):
            raise ValueError(f"frets must be a whole number, got {self.frets!r}")
        _check_range("frets", self.frets, FRETS_MIN, FRETS_MAX)
        if self.nut_width_mm is not None:
            _check_range("nut_width_mm", self.nut_width_mm, 25.0, 80.0)
        if self.width_at_12_mm is not None:
            _check_range("width_at_12_mm", self.width_at_12_mm, 30.0, 100.0)
        _check_range("width_u_mm", self.width_u_mm, 0.01, 5.0)
        if self.lowest_string_hz is not None:
            _check_range("lowest_string_hz", self.lowest_string_hz, 15.0, 500.0)


@dataclass(frozen=True)
class Thresholds:
    """Limits that turn figures into findings. Defaults are common practice of the trade, not a standard."""

    wanted_relief_low_mm: float = 0.10  # common practice: 0 to 0.30 mm, usually 0.15 to 0.28
    wanted_relief_high_mm: float = 0.30
    excessive_relief_mm: float = 0.50  # common practice: above this, excessive
    straight_within_mm: float = 0.05  # two feeler leaves: no practical bow either way
    sides_differ_mm: float = 0.10
    twist_noticed_deg: float = 0.3  # weakest figure: from memory, common practice
    twist_serious_deg: float = 1.0
    fret_out_of_line_mm: float = 0.04  # common practice: a high fret shows from 0.03 to 0.05 mm
    fret_needs_levelling_mm: float = 0.10
    rise_mm: float = 0.08  # last frets above the line of the frets before them
    coverage_k: float = 2.0  # a finding is stated only beyond this many standard uncertainties

    @property
    def leaf_mm(self) -> float:
        """One feeler leaf: no one acts on less."""
        return self.straight_within_mm / 2.0

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            _check_range(name, value, 0.0, 10.0)
        if self.wanted_relief_low_mm > self.wanted_relief_high_mm:
            raise ValueError(
                f"wanted_relief_low_mm={self.wanted_relief_low_mm} is above "
                f"wanted_relief_high_mm={self.wanted_relief_high_mm}"
            )


def _check_range(name: str, value: float, low: float, high: float) -> None:
    if not isinstance(value, (int, float)) or not math.isfinite(value) or not low <= value <= high:
        raise ValueError(f"{name}={value!r} is outside {low:g} to {high:g}")
