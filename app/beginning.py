"""A new inspection as its first screen shows it, and whether anything has been entered in it yet."""

from dataclasses import replace

from app.record.inspection import CheckResult, Guitar, Inspection, Neck, new_inspection
from app.tunings import TUNINGS
from vision.settings import COMMON_SCALE_LENGTHS_MM

USUAL_CURRENCY = "EUR"
USUAL_FRETS = 22


def blank_inspection(currency: str = "") -> Inspection:
    """A new inspection with the usual neck already stated, so that only what differs need be typed."""
    neck = Neck(COMMON_SCALE_LENGTHS_MM[0], USUAL_FRETS, tuning=TUNINGS[0])
    return new_inspection(Guitar(currency=currency or USUAL_CURRENCY, neck=neck))


def nothing_entered(inspection: Inspection) -> bool:
    """True while an inspection says no more than a blank one: steps were looked at, nothing typed or added."""
    blank = blank_inspection(inspection.guitar.currency)
    said = replace(
        inspection,
        sightings=tuple(sighting for sighting in inspection.sightings if sighting.photos),
        checks={key: result for key, result in inspection.checks.items() if result != CheckResult()},
    )
    same = replace(blank, id=said.id, created_at=said.created_at, changed_at=said.changed_at, step=said.step)
    return replace(said, revision=same.revision) == same
