"""What a failed check says: the field, its value, and what is wrong, in one line."""

import functools
from dataclasses import fields
from typing import Any, TypeVar

from pydantic import ValidationError
from pydantic_core import ArgsKwargs

T = TypeVar("T")


def names_its_fields(record: type[T]) -> type[T]:
    """Class decorator for checked records: a wrong argument raises ValueError naming it, given by position or name."""
    check: Any = record.__init__
    names = [entry.name for entry in fields(record)]  # type: ignore[arg-type]

    @functools.wraps(check)
    def init(self: T, *args: Any, **named: Any) -> None:
        if len(args) > len(names):
            raise TypeError(f"{record.__name__} takes {len(names)} arguments, got {len(args)}")
        try:
            check(self, **dict(zip(names, args, strict=False)), **named)
        except ValidationError as error:
            raise ValueError(f"{record.__name__}: {first_error(error, with_value=True)}") from None

    record.__init__ = init  # type: ignore[assignment,method-assign]
    return record


def first_error(error: ValidationError, *, with_value: bool = False) -> str:
    """The first thing a check found, as "field: what is wrong" or "field=value: what is wrong"."""
    first = error.errors(include_url=False, include_context=False)[0]
    where = ".".join(str(part)[:60] for part in first["loc"])[:200]
    wrong = first["msg"].removeprefix("Value error, ")[:300].rstrip(".")
    if not where:  # a check of several fields, which names them itself
        return wrong
    value = first["input"]
    if with_value and not isinstance(value, ArgsKwargs):
        where = f"{where}={value!r:.80}"
    return f"{where}: {wrong}"
