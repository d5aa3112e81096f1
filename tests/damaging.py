"""Stored documents with one value changed, for tests of what is refused."""

import copy
from collections.abc import Mapping
from typing import Any


def with_value_at(document: Mapping[str, Any], path: tuple[Any, ...], value: object) -> dict[str, Any]:
    """A copy of the document in which the value at a path of keys and indices is another one."""
    damaged = copy.deepcopy(dict(document))
    place: Any = damaged
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    return damaged
