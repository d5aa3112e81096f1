"""The limits findings are judged by, as the user set them for one inspection: stored under a prefix of their own."""

from dataclasses import fields, replace

from app.record.inspection import Inspection
from vision.settings import Thresholds

PREFIX = "limit_"


def thresholds_of(inspection: Inspection) -> Thresholds:
    """The user's limits; those never set, or stored as something else than a possible limit, are the usual ones."""
    stored = {
        field.name: value
        for field in fields(Thresholds)
        if isinstance(value := inspection.decision_settings.get(PREFIX + field.name), float)
    }
    try:
        return Thresholds(**stored)
    except ValueError:
        return Thresholds()


def with_thresholds(inspection: Inspection, thresholds: Thresholds) -> Inspection:
    """The inspection with these limits; only what differs from the usual is stored."""
    usual = Thresholds()
    others = {k: v for k, v in inspection.decision_settings.items() if not k.startswith(PREFIX)}
    own = {
        PREFIX + field.name: float(getattr(thresholds, field.name))
        for field in fields(Thresholds)
        if getattr(thresholds, field.name) != getattr(usual, field.name)
    }
    settings = others | own
    return inspection if settings == inspection.decision_settings else replace(inspection, decision_settings=settings)
