"""Two or three inspections as rows of one table: what was asked, measured, found and decided."""

from app.contract_reading import outcome_from_contract
from app.deciding import checks_of, deal_of, verdict_of
from app.headline import headline
from app.limits import thresholds_of
from app.record.inspection import Inspection
from app.sightings import measured_indices
from app.wording import LengthUnit, degrees, higher_side, money
from vision.findings import judge, truss_rod_advice
from vision.results import Measured

NOTHING = "\N{EN DASH}"
Row = tuple[str, tuple[str, ...]]


def measured_of(inspection: Inspection) -> Measured | None:
    """The newest measured neck of an inspection."""
    places = measured_indices(inspection)
    if not places:
        return None
    measurement = inspection.sightings[places[-1]].measurement
    outcome = None if measurement is None else outcome_from_contract(measurement.contract)
    return outcome if isinstance(outcome, Measured) else None


def comparison_rows(inspections: tuple[Inspection, ...], unit: LengthUnit) -> tuple[Row, ...]:
    """Each row's name with one entry an inspection, a dash where there is nothing to say."""
    columns = [_column(inspection, unit) for inspection in inspections]
    return tuple((name, tuple(column.get(name, NOTHING) for column in columns)) for name in _NAMES)


_NAMES = (
    "Answer", "Asking", "Worth in good order", "Highest worth offering", "Likely repairs", "More than a rod turn",
    "Neck", "Relief, bass string", "Relief, treble string", "Twist", "Truss rod", "Faults", "Look closer",
    "Not looked at",
)  # fmt: skip


def _column(inspection: Inspection, unit: LengthUnit) -> dict[str, str]:
    return _money(inspection) | _neck(inspection, unit) | _checks(inspection)


def _money(inspection: Inspection) -> dict[str, str]:
    deal, currency = deal_of(inspection), inspection.guitar.currency
    found: dict[str, str] = {}
    if inspection.guitar.asking_price is not None:
        found["Asking"] = money(inspection.guitar.asking_price, currency)
    verdict = verdict_of(inspection)
    if deal is None or verdict is None:
        return found
    chance = verdict.chances
    return found | {
        "Answer": verdict.answer.capitalize(),
        "Worth in good order": money(deal.good_value, currency),
        "Highest worth offering": money(verdict.offer.highest, currency),
        "Likely repairs": f"{money(chance.cost_median, currency)}, 90 %: {money(chance.cost_low, '')} to "
        f"{money(chance.cost_high, currency)}",
        "More than a rod turn": f"{100 * chance.more_than_rod:.0f} %",
    }


def _neck(inspection: Inspection, unit: LengthUnit) -> dict[str, str]:
    measured = measured_of(inspection)
    if measured is None:
        return {}
    limits = thresholds_of(inspection)
    twist, interval = degrees(measured.twist.twist_deg, measured.twist.twist_u_deg)
    reliefs = {
        f"Relief, {curve.side} string": f"{unit.text(curve.relief_mm, sign=True)}, 95 %: "
        f"{unit.interval(curve.relief_mm, curve.relief_u_mm)}"
        for curve in (measured.bass, measured.treble)
    }
    return reliefs | {
        "Neck": headline(measured, judge(measured, limits), limits),
        "Twist": f"{twist}, 95 %: {interval}, {higher_side(measured.twist.twist_deg, measured.twist.twist_u_deg)}",
        "Truss rod": truss_rod_advice(measured, limits).direction.capitalize(),
    }


def _checks(inspection: Inspection) -> dict[str, str]:
    states = [result.state for result in checks_of(inspection).values()]
    return {
        "Faults": str(states.count("fault")),
        "Look closer": str(states.count("look closer")),
        "Not looked at": str(states.count("not checked")),
    }
