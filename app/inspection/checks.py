"""The catalogue of the rest of the inspection, in the order in which it is walked through."""

from collections.abc import Mapping

from app.inspection.catalogue_body import BODY_CHECKS
from app.inspection.catalogue_electrics import ELECTRIC_CHECKS
from app.inspection.catalogue_neck import NECK_CHECKS
from app.inspection.check import Check, CheckResult, read_result

CHECKS: tuple[Check, ...] = (*NECK_CHECKS, *BODY_CHECKS[:2], *ELECTRIC_CHECKS, *BODY_CHECKS[2:])
GROUPS: tuple[str, ...] = tuple(dict.fromkeys(check.group for check in CHECKS))
_BY_ID = {check.id: check for check in CHECKS}


def check_by_id(check_id: str) -> Check:
    """The check with this id.

    Raises
    ------
    ValueError : there is none.
    """
    if not isinstance(check_id, str) or check_id not in _BY_ID:
        raise ValueError(f"check_id={check_id!r:.60} is no check of the catalogue")
    return _BY_ID[check_id]


def checks_in(group: str) -> tuple[Check, ...]:
    """The checks under one heading.

    Raises
    ------
    ValueError : there is no such heading.
    """
    found = tuple(check for check in CHECKS if check.group == group)
    if not found:
        raise ValueError(f"group={group!r:.60} is none of {', '.join(GROUPS)}")
    return found


def read_results(stored: Mapping[str, object]) -> dict[str, CheckResult]:
    """All checks with what was seen; one that is not in the stored mapping is "not checked".

    Parameters
    ----------
    stored : check id to a state, or to a mapping with "state", "note" and "readings" (other keys are left alone).

    Raises
    ------
    ValueError : an id is unknown, or an answer cannot be read; the message names it.
    """
    if not isinstance(stored, Mapping):
        raise ValueError(f"stored must be a mapping of checks, got {stored!r:.60}")
    for check_id in stored:
        check_by_id(check_id)
    return {
        check.id: read_result(check, stored[check.id]) if check.id in stored else CheckResult(check.id)
        for check in CHECKS
    }
