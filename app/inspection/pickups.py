"""A pickup's own resistance at 20 degrees Celsius, from what an ohmmeter reads at the jack.

With the volume full up its track lies in parallel to the coil, R = S + Rc Rp / (Rc + Rp), S being what lies in
series (lead, switch, a resistor). Copper's resistance grows by 0.393 % a kelvin from its value at 20 degrees
(IEC 60028). A tone control behind its capacitor carries no direct current and does not count.
Uncertainty: law of propagation, JCGM 100:2008 eq. 10, inputs independent.
"""

import math
from dataclasses import dataclass
from typing import Literal

from app.inspection.plausible import check_range
from app.wording import COVERAGE_95

COPPER_ALPHA_PER_K = 0.00393
REFERENCE_C = 20.0
Standing = Literal["inside", "below", "above", "cannot tell"]


@dataclass(frozen=True, slots=True)
class JackReading:
    """What was read, and how well it is known.

    Parameters
    ----------
    reading_ohm : at the jack, one pickup, volume full up; reading_u_ohm its standard uncertainty (the meter's).
    volume_pot_ohm : nominal track; None where there is none, or it is disconnected at full.
    pot_tolerance : half-width of the track's relative tolerance, taken as rectangular (GUM 4.3.7);
        20 % is usual (common practice).
    series_ohm, series_u_ohm : what lies between coil and jack.
    temperature_c, temperature_u_c : of the coil, which is that of the guitar after an hour in the room.

    Raises
    ------
    ValueError : a figure is not finite or outside what can be; the message names it.
    """

    reading_ohm: float
    reading_u_ohm: float
    volume_pot_ohm: float | None = 250e3
    pot_tolerance: float = 0.20
    series_ohm: float = 0.0
    series_u_ohm: float = 0.0
    temperature_c: float = 20.0
    temperature_u_c: float = 2.0

    def __post_init__(self) -> None:
        check_range("reading_ohm", self.reading_ohm, 1.0, 1e7)
        check_range("reading_u_ohm", self.reading_u_ohm, 0.0, 1e6)
        if self.volume_pot_ohm is not None:
            check_range("volume_pot_ohm", self.volume_pot_ohm, 1e3, 1e7)
        check_range("pot_tolerance", self.pot_tolerance, 0.0, 0.5)
        check_range("series_ohm", self.series_ohm, 0.0, 1e6)
        check_range("series_u_ohm", self.series_u_ohm, 0.0, 1e6)
        check_range("temperature_c", self.temperature_c, -20.0, 60.0)
        check_range("temperature_u_c", self.temperature_u_c, 0.0, 30.0)
        if self.reading_ohm <= self.series_ohm:
            raise ValueError(f"reading_ohm={self.reading_ohm!r} must be above series_ohm={self.series_ohm!r}")


@dataclass(frozen=True, slots=True)
class Coil:
    """Resistance of the coil at 20 degrees with its standard uncertainty, and what of it each input brings."""

    resistance_ohm: float
    u_ohm: float
    from_reading_ohm: float
    from_pot_ohm: float
    from_series_ohm: float
    from_temperature_ohm: float


@dataclass(frozen=True, slots=True)
class NoCoil:
    """No resistance can be given: why, and what to do."""

    reason: str
    advice: str


def coil_resistance(jack: JackReading) -> Coil | NoCoil:
    """The coil's own resistance at 20 degrees, or why the reading does not give one."""
    parallel = jack.reading_ohm - jack.series_ohm
    pot = jack.volume_pot_ohm
    if pot is None:
        coil, by_parallel, by_pot, pot_u = parallel, 1.0, 0.0, 0.0
    else:
        if parallel >= pot * (1.0 - jack.pot_tolerance):
            return NoCoil(
                f"{jack.reading_ohm:.0f} ohm is what the volume control of {pot:.0f} ohm alone may read: "
                "no coil seems to be connected.",
                "Check the switch's position and the volume, then the pickup's leads. It may be open.",
            )
        coil = parallel * pot / (pot - parallel)
        by_parallel = (pot / (pot - parallel)) ** 2
        by_pot = -((parallel / (pot - parallel)) ** 2)
        pot_u = pot * jack.pot_tolerance / math.sqrt(3.0)
    warm = 1.0 + COPPER_ALPHA_PER_K * (jack.temperature_c - REFERENCE_C)
    parts = (
        by_parallel / warm * jack.reading_u_ohm,
        by_pot / warm * pot_u,
        by_parallel / warm * jack.series_u_ohm,
        coil / warm**2 * COPPER_ALPHA_PER_K * jack.temperature_u_c,
    )
    return Coil(coil / warm, math.hypot(*parts), *(abs(part) for part in parts))


def coil_words(coil: Coil) -> str:
    """The resistance with its 95 % interval, and which input makes up most of that (no half, no word)."""
    parts = {
        "the meter": coil.from_reading_ohm,
        "the control's tolerance": coil.from_pot_ohm,
        "what lies in series": coil.from_series_ohm,
        "the temperature": coil.from_temperature_ohm,
    }
    most = max(parts, key=lambda name: parts[name])
    why = f", mostly from {most}" if 2.0 * parts[most] ** 2 > coil.u_ohm**2 else ""
    return f"{coil.resistance_ohm:.0f} ohm at 20 °C (95 %: +- {COVERAGE_95 * coil.u_ohm:.0f}{why})"


def compare_with_stated(coil: Coil, low_ohm: float, high_ohm: float, k: float = 2.0) -> tuple[Standing, str]:
    """Hold the coil against the range stated for it, k standard uncertainties to either side.

    Raises
    ------
    ValueError : the range is not from a positive low to a high, or k is negative.
    """
    check_range("low_ohm", low_ohm, 1.0, 1e7)
    check_range("high_ohm", high_ohm, low_ohm, 1e7)
    check_range("k", k, 0.0, 10.0)
    figure = coil_words(coil)
    stated = f"the stated {low_ohm:.0f} to {high_ohm:.0f} ohm"
    reach = k * coil.u_ohm
    if coil.resistance_ohm + reach < low_ohm:
        return "below", f"{figure}, below {stated}: a shorted turn, or another pickup."
    if coil.resistance_ohm - reach > high_ohm:
        return "above", f"{figure}, above {stated}: another pickup, or a poor joint."
    if low_ohm <= coil.resistance_ohm - reach and coil.resistance_ohm + reach <= high_ohm:
        return "inside", f"{figure}, within {stated}."
    return "cannot tell", f"{figure}: too uncertain to hold against {stated}."
