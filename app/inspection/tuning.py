"""What a guitar that is tuned down or slack would read at pitch: an estimate, with a range, never a measurement.

A string's tension is T = mu (2 L f)^2 (Mersenne). The strings pull at a distance e from the neck's neutral axis, a
moment T e that bends the neck by h = T e c^2 / (8 E I) over a chord c (Euler and Bernoulli's beam, end moment). What
the neck lacks in tension it lacks in relief. Rod, board and the share of the pull that bends the neck differ from neck
to neck: the range of stiffness is wide on purpose. The moment's growth with the bend itself (some 3 %) is left out.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.inspection.plausible import check_range
from vision.findings.sag import string_tension_n

WOUND_MASS_SHARE = 0.90  # a wound string against a solid wire of its diameter, +-10 % (common practice)


@dataclass(frozen=True, slots=True)
class TunedString:
    """One string: pitch it is meant for, outer diameter, and whether it is wound."""

    frequency_hz: float
    diameter_mm: float
    wound: bool = False


# A usual set for six strings, 0.010 to 0.046 in, highest first (common practice); pitches of equal temperament at
# A4 = 440 Hz (ISO 16).
USUAL_SET = (
    TunedString(329.63, 0.254),
    TunedString(246.94, 0.330),
    TunedString(196.00, 0.432),
    TunedString(146.83, 0.660, wound=True),
    TunedString(110.00, 0.914, wound=True),
    TunedString(82.41, 1.168, wound=True),
)


@dataclass(frozen=True, slots=True)
class NeckStiffness:
    """What bends against the strings, from limp to stiff.

    Bending stiffness E I in N m2: maple of 12.6 GPa +-22 % (Wood Handbook), a half-ellipse 45 mm wide and 19.5 to
    24 mm deep. arm_mm: from the neutral axis to the strings. Common practice and judgement beyond the elasticity.
    """

    stiffness_low_n_m2: float = 180.0
    stiffness_high_n_m2: float = 520.0
    arm_low_mm: float = 10.0
    arm_high_mm: float = 14.0

    def __post_init__(self) -> None:
        check_range("stiffness_low_n_m2", self.stiffness_low_n_m2, 10.0, 1e4)
        check_range("stiffness_high_n_m2", self.stiffness_high_n_m2, self.stiffness_low_n_m2, 1e4)
        check_range("arm_low_mm", self.arm_low_mm, 1.0, 50.0)
        check_range("arm_high_mm", self.arm_high_mm, self.arm_low_mm, 50.0)


@dataclass(frozen=True, slots=True)
class PitchEstimate:
    """How much relief is added (+) when the strings come up to pitch. An estimate: add it to no measured figure."""

    added_low_mm: float
    added_high_mm: float
    text: str


def tension_n(string: TunedString, scale_length_mm: float, semitones_down: float = 0.0) -> float:
    """Tension of one string, in newtons.

    Raises
    ------
    ValueError : a figure is outside what a guitar can have.
    """
    check_range("semitones_down", semitones_down, -12.0, 36.0)
    frequency_hz = string.frequency_hz * 2.0 ** (-semitones_down / 12.0)
    solid = string_tension_n(frequency_hz, scale_length_mm, string.diameter_mm)
    return solid * (WOUND_MASS_SHARE if string.wound else 1.0)


def bow_mm(tension_sum_n: float, arm_mm: float, span_mm: float, stiffness_n_m2: float) -> float:
    """Bow over a chord under the strings' pull, T e c^2 / (8 E I).

    Raises
    ------
    ValueError : a figure is negative or not finite, or the stiffness is nothing.
    """
    check_range("tension_sum_n", tension_sum_n, 0.0, 5e3)
    check_range("arm_mm", arm_mm, 0.0, 100.0)
    check_range("span_mm", span_mm, 0.0, 1e3)
    check_range("stiffness_n_m2", stiffness_n_m2, 1.0, 1e5)
    return tension_sum_n * arm_mm * span_mm**2 / (8.0 * stiffness_n_m2 * 1e6)


def relief_at_pitch(
    scale_length_mm: float,
    span_mm: float,
    semitones_down: float = 0.0,
    slack: bool = False,
    strings: Sequence[TunedString] = USUAL_SET,
    neck: NeckStiffness | None = None,
) -> PitchEstimate:
    """By about how much the relief grows from the tuning at hand to pitch (falls, where it is tuned up).

    Parameters
    ----------
    span_mm : from the first to the last fret.
    semitones_down : how far all strings are tuned down; slack : True when they hang without tension.

    Raises
    ------
    ValueError : no strings, or a figure outside what a guitar can have.
    """
    if not strings:
        raise ValueError("strings must hold at least one string")
    neck = neck or NeckStiffness()
    full = math.fsum(tension_n(string, scale_length_mm) for string in strings)
    now = 0.0 if slack else math.fsum(tension_n(string, scale_length_mm, semitones_down) for string in strings)
    change = abs(full - now)
    sign = math.copysign(1.0, full - now)
    least = bow_mm(change, neck.arm_low_mm, span_mm, neck.stiffness_high_n_m2)
    most = bow_mm(change, neck.arm_high_mm, span_mm, neck.stiffness_low_n_m2)
    low, high = sorted((sign * least, sign * most))
    if change < 0.01 * full:
        text = "The strings are at pitch: nothing to add."
    else:
        word = "more" if sign > 0.0 else "less"
        text = (
            f"At pitch the neck would show about {least:.2f} to {most:.2f} mm {word} relief than now. This is an "
            "estimate from the strings' tension and a usual range of stiffness: tune to pitch and photograph again."
        )
    return PitchEstimate(low, high, text)
