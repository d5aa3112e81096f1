"""Figures as people read them: millimetres or thousandths of an inch with 95 % intervals, sums, moments."""

import re
from dataclasses import dataclass
from datetime import datetime

from vision.findings import finding

COVERAGE_95 = finding.COVERAGE_95
MM_PER_THOUSANDTH = finding.MM_PER_THOUSANDTH
MINUS = "\N{MINUS SIGN}"
PLUS_MINUS = "\N{PLUS-MINUS SIGN}"


@dataclass(frozen=True)
class LengthUnit:
    """A unit lengths are shown in: its key, its short name, and how a length in mm is written in it."""

    key: str
    short: str
    mm: float  # one unit in mm
    decimals: int

    def of(self, length_mm: float) -> float:
        """The length in this unit."""
        return length_mm / self.mm

    def number(self, length_mm: float, *, sign: bool = False) -> str:
        """The length as a number with a true minus sign, and a plus sign when asked for."""
        return signed(self.of(length_mm), self.decimals, sign=sign)

    def text(self, length_mm: float, *, sign: bool = False) -> str:
        """The length with its unit."""
        return f"{self.number(length_mm, sign=sign)} {self.short}"

    def interval(self, value_mm: float, u_mm: float) -> str:
        """The 95 % interval in words."""
        half = COVERAGE_95 * u_mm
        return f"{self.number(value_mm - half)} to {self.number(value_mm + half)} {self.short}"


MILLIMETRES = LengthUnit("mm", "mm", 1.0, 2)
THOUSANDTHS = LengthUnit("thousandths", "thou", MM_PER_THOUSANDTH, 1)
UNITS = {unit.key: unit for unit in (MILLIMETRES, THOUSANDTHS)}


def signed(value: float, decimals: int, *, sign: bool = False) -> str:
    """A number with a true minus sign; what rounds to nothing is written without a sign."""
    text = f"{abs(value):.{decimals}f}"
    if float(text) == 0.0:
        return text
    return (MINUS if value < 0 else "+" if sign else "") + text


def degrees(value_deg: float, u_deg: float) -> tuple[str, str]:
    """A small angle and its 95 % interval."""
    half = COVERAGE_95 * u_deg
    return f"{signed(value_deg, 2, sign=True)}°", f"{signed(value_deg - half, 2)}° to {signed(value_deg + half, 2)}°"


def higher_side(twist_deg: float, u_deg: float) -> str:
    """Which side stands higher at the last fret, where the 95 % interval tells."""
    if abs(twist_deg) <= COVERAGE_95 * u_deg:
        return "higher side not certain"
    return f"{'treble' if twist_deg > 0 else 'bass'} side higher"


def money(sum_: float, currency: str) -> str:
    """A sum of money as the user's currency is written: whole, with thin spaces between thousands."""
    return f"{sum_:,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}") + (f" {currency}" if currency else "")


def when(time: datetime) -> str:
    """A moment in the time of this computer."""
    return time.astimezone().strftime("%d %b %Y, %H:%M")


def in_unit(text: str, unit: LengthUnit) -> str:
    """A finding's text with its lengths, written in mm with decimals, in unit and with true signs."""

    def one(match: re.Match[str]) -> str:
        texts = match["lengths"].split(" to ")
        lengths = [unit.of(float(text)) for text in texts]
        # Hundredths of a millimetre hold no tenths of a thousandth: 0.33 mm may be 12.9 or 13.1 thou.
        decimals = 0 if unit == THOUSANDTHS and max(map(abs, lengths)) >= finding.WHOLE_FROM_THOU else unit.decimals
        numbers = (signed(n, decimals, sign=text[0] == "+") for n, text in zip(lengths, texts, strict=True))
        return " to ".join(numbers) + f" {unit.short}"

    return _MINUS.sub(MINUS, _LENGTHS.sub(one, text)).replace("+- ", PLUS_MINUS)


_MINUS = re.compile(r"(?<![\w.)-])-(?=\d)")
_LENGTHS = re.compile(r"(?<![\w.-])(?P<lengths>[+-]?\d+\.\d+(?: to -?\d+\.\d+)?) mm\b")
