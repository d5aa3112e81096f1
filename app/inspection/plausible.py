"""The one test by which a typed-in or stored number is let in."""

import math
from typing import TypeGuard


def is_number(value: object) -> TypeGuard[int | float]:
    """A finite int or float; True and False are no numbers, nor is an int beyond a float's range."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return False
    try:
        return math.isfinite(float(value))
    except OverflowError:
        return False


def check_range(name: str, value: object, low: float, high: float) -> None:
    """Raise ValueError, naming the argument and its value, unless it is a finite number from low to high."""
    if not is_number(value) or not low <= value <= high:
        raise ValueError(f"{name}={value!r:.60} must be a number from {low:g} to {high:g}")
