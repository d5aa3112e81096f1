"""What the readings of a check come to, in words: fret ends, pickups, wire left."""

from app.inspection.crowning import wire_left
from app.inspection.fret_ends import compare_fret_ends, predict_fret_ends
from app.inspection.pickups import Coil, JackReading, coil_resistance, coil_words, compare_with_stated
from app.record.inspection import CheckResult, Inspection
from app.wear import deepest_dent_mm, usual_height_mm

PROUD_U_MM = 0.03  # a fret end judged with a feeler leaf; common practice
METER_SHARE, METER_FLOOR_OHM = 0.01, 10.0  # standard uncertainty of a hand meter; common practice
USUAL_WIDTH_MM = 54.0  # of the board at its last frets, where none is known; common practice
STATED_LOW, STATED_HIGH = "stated_{pickup}_low_ohm", "stated_{pickup}_high_ohm"  # keys in the record's settings
PICKUPS = ("neck", "middle", "bridge")


def figure_lines(check_id: str, inspection: Inspection) -> tuple[str, ...]:
    """Sentences on the readings of one check; empty where there is nothing to reckon.

    Raises
    ------
    ValueError : a reading is outside what can be; the message names it.
    """
    result = inspection.checks.get(check_id)
    if result is None:
        return ()
    if check_id == "fret_ends":
        return _fret_ends(result, inspection)
    if check_id == "pickup_resistance":
        return _pickups(result, inspection)
    if check_id == "fret_wear":
        return _wire(result, inspection)
    return ()


def _fret_ends(result: CheckResult, inspection: Inspection) -> tuple[str, ...]:
    humidity = result.readings.get("room_humidity_pct")
    if humidity is None:
        return ()
    width = inspection.guitar.neck.width_at_12_mm or USUAL_WIDTH_MM
    predicted = predict_fret_ends(width, result.readings.get("room_temperature_c", 20.0), humidity)
    proud = result.readings.get("fret_end_proud_mm")
    if proud is None:
        return (predicted.text,)
    return (predicted.text, compare_fret_ends(proud, PROUD_U_MM, predicted)[1])


def _pickups(result: CheckResult, inspection: Inspection) -> tuple[str, ...]:
    lines = []
    for pickup in PICKUPS:
        reading = result.readings.get(f"{pickup}_ohm")
        if reading is None or reading < 1.0:
            continue
        coil = coil_resistance(
            JackReading(
                reading,
                max(METER_SHARE * reading, METER_FLOOR_OHM),
                volume_pot_ohm=result.readings.get("volume_pot_ohm", 250e3),
                temperature_c=result.readings.get("coil_temperature_c", 20.0),
            )
        )
        if not isinstance(coil, Coil):
            lines.append(f"{pickup.capitalize()} pickup: {coil.reason} {coil.advice}")
            continue
        low, high = stated_range(inspection, pickup)
        if low is not None and high is not None and low <= high:
            words = compare_with_stated(coil, low, high)[1]
        else:
            words = f"the coil by itself has {coil_words(coil)}."
        lines.append(f"{pickup.capitalize()} pickup: {words}")
    return tuple(lines)


def stated_range(inspection: Inspection, pickup: str) -> tuple[float | None, float | None]:
    """What is stated for a pickup's resistance, in ohm."""
    low, high = (inspection.decision_settings.get(key.format(pickup=pickup)) for key in (STATED_LOW, STATED_HIGH))
    return (low if isinstance(low, float) else None, high if isinstance(high, float) else None)


def _wire(result: CheckResult, inspection: Inspection) -> tuple[str, ...]:
    height, dent = result.readings.get("fret_height_mm"), deepest_dent_mm(inspection) or 0.0
    if height is not None:
        return (wire_left(height, dent).text,)
    usual = usual_height_mm(inspection)
    if usual is None:
        return ()
    guess = f"Not measured: wire of this size and past would be about {usual:.2f} mm high (common practice)."
    return (guess, wire_left(usual, min(dent, usual)).text)
