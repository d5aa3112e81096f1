"""How far fret ends stand proud in a dry room: the board shrinks across the grain, the metal does not.

Source: Wood Handbook, FPL-GTR-282, chapter 4: equilibrium moisture content by eq. 4-5 (Hailwood and Horrobin's model)
with its Celsius constants, and the table of dimensional change coefficients, dD = D C dM, for moisture contents of 6
to 14 %. Wood needs weeks to reach the moisture of a room, and lacquer slows it: the figures are where it is heading.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from app.inspection.plausible import check_range

COEFFICIENT_RANGE_PCT = (6.0, 14.0)


@dataclass(frozen=True, slots=True)
class Wood:
    """Change of width per width and per cent of moisture, radial (quarter-sawn) and tangential (flat-sawn)."""

    name: str
    radial: float
    tangential: float


# The rosewood and mahogany rows are quoted from memory of the same table; the board follows the neck it is glued to,
# so the range from the least to the greatest is what is claimed.
WOODS = (Wood("maple", 0.00165, 0.00353), Wood("rosewood", 0.00094, 0.00201), Wood("mahogany", 0.00172, 0.00238))


@dataclass(frozen=True, slots=True)
class FretEnds:
    """Predicted protrusion at each end of a fret, from the steadiest to the liveliest wood and cut."""

    low_mm: float
    high_mm: float
    text: str


def equilibrium_moisture_pct(temperature_c: float, humidity_pct: float) -> float:
    """Moisture content of wood at rest in air, per cent of its dry mass.

    Raises
    ------
    ValueError : temperature outside -10 to 60 degrees, or relative humidity outside 0 to 100 %.
    """
    check_range("temperature_c", temperature_c, -10.0, 60.0)
    check_range("humidity_pct", humidity_pct, 0.0, 100.0)
    t, h = temperature_c, humidity_pct / 100.0
    w = 349.0 + 1.29 * t + 0.0135 * t**2
    kh = (0.805 + 0.000736 * t - 0.00000273 * t**2) * h
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    bound = (k1 * kh + 2.0 * k1 * k2 * kh**2) / (1.0 + k1 * kh + k1 * k2 * kh**2)
    return 1800.0 / w * (kh / (1.0 - kh) + bound)


def shrinkage_mm(width_mm: float, coefficient: float, moisture_before_pct: float, moisture_now_pct: float) -> float:
    """Loss of width, D C (M before - M now); negative where the wood swells.

    Raises
    ------
    ValueError : a width, coefficient or moisture content that no board has.
    """
    check_range("width_mm", width_mm, 0.0, 200.0)
    check_range("coefficient", coefficient, 0.0, 0.01)
    check_range("moisture_before_pct", moisture_before_pct, 0.0, 30.0)
    check_range("moisture_now_pct", moisture_now_pct, 0.0, 30.0)
    return width_mm * coefficient * (moisture_before_pct - moisture_now_pct)


def predict_fret_ends(
    width_mm: float,
    room_temperature_c: float,
    room_humidity_pct: float,
    made_temperature_c: float = 20.0,
    made_humidity_pct: float = 50.0,
    woods: Sequence[Wood] = WOODS,
) -> FretEnds:
    """Protrusion at each end once the board is at rest in the room's air; half the shrinkage goes to each end.

    Parameters
    ----------
    width_mm : of the board, at the fret in question.
    made_temperature_c, made_humidity_pct : of the workshop where the ends were dressed flush (common practice: 50 %).

    Raises
    ------
    ValueError : as the functions above, or no woods.
    """
    if not woods:
        raise ValueError("woods must hold at least one wood")
    before = equilibrium_moisture_pct(made_temperature_c, made_humidity_pct)
    now = equilibrium_moisture_pct(room_temperature_c, room_humidity_pct)
    ends = [
        max(0.0, shrinkage_mm(width_mm, c, before, now)) / 2.0 for wood in woods for c in (wood.radial, wood.tangential)
    ]
    dry, wet = COEFFICIENT_RANGE_PCT
    outside = not (dry <= now <= wet and dry <= before <= wet)
    low, high = min(ends), max(ends)
    if high == 0.0:
        text = f"In this air ({room_humidity_pct:.0f} % humidity) the board is no narrower than when it was made."
    else:
        text = (
            f"In this air ({room_humidity_pct:.0f} % humidity) fret ends would stand out by {low:.2f} to {high:.2f} mm "
            "at each edge once the wood has settled, which takes weeks."
        )
        if outside:
            text += " That is drier or damper than the coefficients are stated for: take it as a rough figure."
    return FretEnds(low, high, text)


def compare_fret_ends(
    proud_mm: float, proud_u_mm: float, predicted: FretEnds
) -> tuple[Literal["explained", "more than dry air", "cannot tell"], str]:
    """Hold the protrusion found against the prediction, two standard uncertainties to either side.

    Raises
    ------
    ValueError : the protrusion or its uncertainty is not a number from 0 to 5 mm.
    """
    check_range("proud_mm", proud_mm, 0.0, 5.0)
    check_range("proud_u_mm", proud_u_mm, 0.0, 5.0)
    if proud_mm + 2.0 * proud_u_mm <= predicted.high_mm or proud_mm <= 2.0 * proud_u_mm:
        return "explained", "No more than the dry air explains: humid air may bring it back."
    if proud_mm - 2.0 * proud_u_mm > predicted.high_mm:
        return "more than dry air", "More than the dry air explains: the ends want dressing."
    return "cannot tell", "About what the dry air explains: look again in a room at 50 % humidity."
