"""Number fields that say what is wrong with a number, and lengths typed in the unit that lengths are shown in.

A number outside its range is never kept: the field says the range, and the value kept before stays.
"""

from dataclasses import dataclass
from typing import Any

import streamlit as st

from app.decision.settings import COST_MAX
from app.widgets import session
from app.widgets.html import esc, show_wrong
from app.widgets.session import widget_key
from app.wording import MILLIMETRES, MM_PER_THOUSANDTH

MM_PER_INCH = 25.4
INCHES_FROM_MM = 5.0  # lengths that may be longer than this are typed in inches, shorter ones in thousandths


@dataclass(frozen=True, slots=True)
class EntryUnit:
    """A unit lengths are typed in: its name, its size in mm, decimals shown, and one step of the field."""

    short: str
    mm: float
    decimals: int
    step: float

    def shown(self, length_mm: float) -> float:
        """The length as the field shows it."""
        return round(length_mm / self.mm, self.decimals)

    def text(self, length_mm: float) -> str:
        """The length with its unit."""
        return f"{self.shown(length_mm):.{self.decimals}f} {self.short}"

    def read(self, shown: float, kept_mm: float | None) -> float:
        """The length typed, mm; the one kept where it is shown like this, so that looking never rounds it."""
        if kept_mm is not None and shown == self.shown(kept_mm):
            return kept_mm
        return round(shown * self.mm, 5)


def entry_units(high_mm: float) -> tuple[EntryUnit, EntryUnit]:
    """The unit to type a length up to high_mm in, as the user chose it, and the other one."""
    long = high_mm > INCHES_FROM_MM
    metric = EntryUnit("mm", 1.0, 2, 0.1 if long else 0.01)
    inch = EntryUnit("inch", MM_PER_INCH, 3, 0.01) if long else EntryUnit("thou", MM_PER_THOUSANDTH, 1, 0.5)
    return (metric, inch) if session.unit() == MILLIMETRES else (inch, metric)


def ask_length(
    label: str, low_mm: float, high_mm: float, *, name: str, start_mm: float | None, help: str | None = None
) -> float | None:
    """A length in mm within its range, typed in the user's unit, with the other unit below; None when left empty.

    name : of the field, for its key.  start_mm : as kept.
    """
    return _ask_length(label, low_mm, high_mm, name, start_mm, help, {"value": None})


def keep_length(
    label: str, low_mm: float, high_mm: float, *, name: str, start_mm: float, help: str | None = None
) -> float:
    """As `ask_length`, for a length there must be: an empty field keeps start_mm."""
    length_mm = _ask_length(label, low_mm, high_mm, name, start_mm, help, {})
    return start_mm if length_mm is None else length_mm


def ask_number(
    label: str, low: float, high: float, *, name: str, start: float | None, step: float, decimals: int = 2,
    help: str | None = None,
) -> float | None:  # fmt: skip
    """A number from low to high; None when left empty. name, start : as in `ask_length`."""
    return _ask_number(label, low, high, name, start, step, decimals, help, {"value": None})


def keep_number(
    label: str, low: float, high: float, *, name: str, start: float, step: float, decimals: int = 2,
    help: str | None = None,
) -> float:  # fmt: skip
    """As `ask_number`, for a number there must be: an empty field keeps start."""
    number = _ask_number(label, low, high, name, start, step, decimals, help, {})
    return start if number is None else number


def ask_sum(
    label: str, *, name: str, start: float | None, help: str | None = None, placeholder: str | None = None
) -> float | None:
    """A sum of money in whole units; None when left empty. name, start : as in `ask_length`."""
    options = {"value": None, "placeholder": placeholder}
    return _ask_number(label, 0.0, COST_MAX, name, start, 10.0, 0, help, options)


def keep_sum(label: str, *, name: str, start: float, help: str | None = None) -> float:
    """As `ask_sum`, for a sum there must be: an empty field keeps start."""
    return keep_number(label, 0.0, COST_MAX, name=name, start=start, step=10.0, decimals=0, help=help)


def ask_count(label: str, low: int, high: int, *, name: str, start: int | None, help: str | None = None) -> int | None:
    """A whole number from low to high; None when left empty. name, start : as in `ask_length`."""
    number = _ask_number(label, low, high, name, start, 1, 0, help, {"value": None})
    return None if number is None else int(number)


def keep_count(label: str, low: int, high: int, *, name: str, start: int, help: str | None = None) -> int:
    """As `ask_count`, for a number there must be: an empty field keeps start."""
    number = _ask_number(label, low, high, name, start, 1, 0, help, {})
    return start if number is None else int(number)


def _ask_length(
    label: str, low_mm: float, high_mm: float, name: str, start_mm: float | None, help_: str | None,
    options: dict[str, Any],
) -> float | None:  # fmt: skip
    unit, other = entry_units(high_mm)
    start = None if start_mm is None else unit.shown(start_mm)
    typed: float | None = st.number_input(
        f"{label}, {unit.short}", step=unit.step, format=f"%.{unit.decimals}f", help=help_,
        key=widget_key(f"{name}_{unit.short}", start), **options,
    )  # fmt: skip
    if typed is None:
        return None
    length_mm = unit.read(typed, start_mm)
    if not low_mm <= length_mm <= high_mm:
        _say_range(unit.text(low_mm), unit.text(high_mm), None if start_mm is None else unit.text(start_mm))
        return start_mm
    st.html(f'<p class="other-unit">= {esc(other.text(length_mm))}</p>')
    return length_mm


def _ask_number(
    label: str, low: float, high: float, name: str, start: float | None, step: float, decimals: int,
    help_: str | None, options: dict[str, Any],
) -> float | None:  # fmt: skip
    number_format = "%d" if isinstance(step, int) else f"%.{decimals}f"
    typed: float | None = st.number_input(
        label, step=step, format=number_format, help=help_, key=widget_key(name, start), **options
    )
    if typed is not None and not low <= typed <= high:
        low_text, high_text = (_plain(value, decimals) for value in (low, high))
        _say_range(low_text, high_text, None if start is None else _plain(start, decimals))
        return start
    return typed


def _plain(value: float, decimals: int) -> str:
    return f"{value:,.{decimals}f}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def _say_range(low: str, high: str, kept: str | None) -> None:
    stays = "It is not kept." if kept is None else f"{kept} is kept instead."
    show_wrong(f"This must be from {esc(low)} to {esc(high)}. {esc(stays)}")
