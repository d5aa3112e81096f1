"""JSON text read strictly: bounded size and depth, no repeated names, no NaN, no number beyond exact doubles."""

import json
import math
from typing import Any

MAX_DEPTH = 24
MAX_WHOLE_NUMBER = 2**53  # beyond it a double no longer holds every whole number
_BEYOND_WHOLE = "it holds a whole number beyond 2^53"


def read_json(data: bytes, max_bytes: int) -> dict[str, Any]:
    """The JSON object in data. Raises ValueError saying what is not plain about it."""
    if len(data) > max_bytes:
        raise ValueError(f"it has {len(data)} bytes, more than the {max_bytes} allowed")
    try:
        value = json.loads(
            data.decode("utf-8"), object_pairs_hook=_unrepeated, parse_constant=_no_constant, parse_int=_bounded_int
        )
    except RecursionError:
        raise ValueError(f"it is nested deeper than {MAX_DEPTH} levels") from None
    except UnicodeDecodeError:
        raise ValueError("it is not UTF-8 text") from None
    except json.JSONDecodeError as error:
        raise ValueError(f"it is not JSON: {error.msg} at character {error.pos}") from None
    if not isinstance(value, dict):
        raise ValueError("it is not a JSON object")
    check_plain(value)
    return value


def check_plain(value: object) -> None:
    """Raise ValueError unless value is made of dicts with text keys, lists, text, finite numbers, bools and None."""
    pending: list[tuple[object, int]] = [(value, 1)]
    while pending:
        item, depth = pending.pop()
        if depth > MAX_DEPTH:
            raise ValueError(f"it is nested deeper than {MAX_DEPTH} levels")
        if isinstance(item, dict):
            for key in item:
                _check_text(key)
            pending.extend((inner, depth + 1) for inner in item.values())
        elif isinstance(item, list):
            pending.extend((inner, depth + 1) for inner in item)
        elif isinstance(item, str):
            _check_text(item)
        elif isinstance(item, float):
            if not math.isfinite(item):
                raise ValueError(f"it holds the number {item!r}, which is not finite")
        elif isinstance(item, int):
            if abs(item) > MAX_WHOLE_NUMBER:
                raise ValueError(_BEYOND_WHOLE)
        elif item is not None:
            raise ValueError(f"it holds a {type(item).__name__}, which JSON does not have")


def _check_text(text: object) -> None:
    if not isinstance(text, str):
        raise ValueError(f"it holds the name {text!r:.40}, which is not text")
    if any(0xD800 <= ord(c) < 0xE000 or (ord(c) < 32 and c not in "\n\t") for c in text):
        raise ValueError("it holds text with control characters or half characters")


def _unrepeated(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result = dict(pairs)
    if len(result) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"the name {twice!r:.60} stands twice in one object")
    return result


def _bounded_int(digits: str) -> int:
    """Refused by length before Python refuses some thousand digits in words of its own."""
    if len(digits) > 20:
        raise ValueError(_BEYOND_WHOLE)
    return int(digits)


def _no_constant(name: str) -> None:
    raise ValueError(f"it holds {name}, which is not a number")
