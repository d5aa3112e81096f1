"""Dents under the strings, fret by fret, and the height of the wire where it was not measured.

Dents are kept among the readings of the check on fret wear, one key a place, so that they travel with the record.
"""

import re
from collections.abc import Mapping
from dataclasses import replace

from app.inspection.crowning import COMMON_WIRE, CrowningSettings
from app.record.inspection import CheckResult, Inspection

CHECK_ID = "fret_wear"
WIRE_KEY = "wire_size"  # in the record's settings: the name of a size of fret wire
DEEPEST_MM = 1.5
_DENT = re.compile(r"dent_s(\d{1,2})_f(\d{1,2})")


def dents_of(inspection: Inspection) -> dict[tuple[int, int], float]:
    """(fret, string) to the depth of the dent, mm, for the frets and strings that this neck has."""
    readings = inspection.checks.get(CHECK_ID, CheckResult()).readings
    neck = inspection.guitar.neck
    dents = {}
    for key, depth_mm in readings.items():
        match = _DENT.fullmatch(key)
        if match is not None:
            string, fret = int(match[1]), int(match[2])
            if 1 <= string <= neck.strings and 1 <= fret <= (neck.frets or 0) and 0.0 < depth_mm <= DEEPEST_MM:
                dents[fret, string] = depth_mm
    return dents


def with_dents(inspection: Inspection, dents: Mapping[tuple[int, int], float]) -> Inspection:
    """The inspection with these dents and no others.

    Raises
    ------
    ValueError : a depth is not a number from 0 to DEEPEST_MM.
    """
    for (fret, string), depth_mm in dents.items():
        if not 0.0 <= depth_mm <= DEEPEST_MM:
            raise ValueError(f"dents fret {fret}, string {string}={depth_mm!r} mm is outside 0 to {DEEPEST_MM:g}")
    result = inspection.checks.get(CHECK_ID, CheckResult())
    others = {key: value for key, value in result.readings.items() if _DENT.fullmatch(key) is None}
    own = {f"dent_s{string}_f{fret}": float(depth) for (fret, string), depth in dents.items() if depth > 0.0}
    return replace(inspection, checks=inspection.checks | {CHECK_ID: replace(result, readings=others | own)})


def deepest_dent_mm(inspection: Inspection) -> float | None:
    """The deepest dent known, typed in by itself or in the table; None where none was measured."""
    single = inspection.checks.get(CHECK_ID, CheckResult()).readings.get("deepest_dent_mm")
    known = [*dents_of(inspection).values(), *(() if single is None else (single,))]
    return max(known, default=None)


def usual_height_mm(inspection: Inspection, settings: CrowningSettings | None = None) -> float | None:
    """Height to be expected of this wire after its past levelling jobs (common practice); None for unknown wire."""
    settings = settings or CrowningSettings()
    size = next((w for w in COMMON_WIRE if w.name == inspection.decision_settings.get(WIRE_KEY)), None)
    jobs = inspection.checks.get(CHECK_ID, CheckResult()).readings.get("past_jobs", 0.0)
    if size is None:
        return None
    return max(0.0, size.new_height_mm - jobs * (settings.usual_dent_mm + settings.spare_mm))
