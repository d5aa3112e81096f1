"""The stored JSON document back to the outcome it was written from, for plots, words and drawn-on photographs.

The other way round is `app.contract`. null becomes NaN inside arrays. Documents come from files, so whatever is
missing or of another kind is refused with the field's name.
"""

from collections.abc import Mapping
from typing import Any, Literal, cast

import numpy as np

from vision.results import (
    Array,
    Camera,
    Flag,
    Measured,
    Outcome,
    PhotoKind,
    PhotoResult,
    PhotoTrace,
    Provenance,
    Refused,
    Side,
    SideCurve,
    Twist,
)
from vision.settings import FRETS_MAX, FRETS_MIN

Json = Mapping[str, Any]

_LARGEST = 1e9  # px, mm or degrees


def outcome_from_contract(contract: Json) -> Outcome:
    """The outcome whose figures the document holds.

    Raises
    ------
    ValueError : the document is no measurement; the message names the field.
    """
    try:
        return _outcome(contract)
    except KeyError as error:
        raise ValueError(f"contract has no field {error.args[0]!r}") from None
    except (TypeError, AttributeError, IndexError) as error:
        raise ValueError(f"contract holds a field of another kind: {error}") from None


def _outcome(contract: Json) -> Outcome:
    frets = contract["frets"]
    if isinstance(frets, bool) or not isinstance(frets, int) or not FRETS_MIN <= frets <= FRETS_MAX:
        raise ValueError(f"contract frets={frets!r:.60} is no number of frets")
    scale_length_mm = _number("scale_length_mm", contract["scale_length_mm"])
    photos = tuple(_photo(photo, frets) for photo in contract["photos"])
    if contract["status"] == "refused":
        return Refused(
            scale_length_mm,
            frets,
            _text("code", contract["code"]),
            _text("reason", contract["reason"]),
            _text("advice", contract["advice"]),
            photos,
        )
    if contract["status"] != "measured":
        raise ValueError(f"contract status={contract['status']!r:.60} is neither measured nor refused")
    return Measured(
        scale_length_mm=scale_length_mm,
        frets=frets,
        bass=_side("bass", contract["bass"], frets),
        treble=_side("treble", contract["treble"], frets),
        twist=Twist(
            _number("twist_deg", contract["twist_deg"]),
            _number("twist_u_deg", contract["twist_u_deg"]),
            _numbers("roll_deg", contract["roll_deg"], frets),
            _numbers("roll_u_deg", contract["roll_u_deg"], frets),
        ),
        relief_difference_mm=_number("relief_difference_mm", contract["relief_difference_mm"]),
        relief_difference_u_mm=_number("relief_difference_u_mm", contract["relief_difference_u_mm"]),
        photos=photos,
        flags=tuple(_flag(flag) for flag in contract["flags"]),
        provenance=_provenance(contract["provenance"]),
    )


def _side(side: Side, stored: Json, frets: int) -> SideCurve:
    at = stored["relief_at_fret"]
    if isinstance(at, bool) or not isinstance(at, int) or not 1 <= at <= frets:
        raise ValueError(f"contract {side} relief_at_fret={at!r:.60} is no fret from 1 to {frets}")
    arrays = {
        name: _numbers(f"{side} {name}", stored[name], frets)
        for name in ("gap_mm", "gap_u_mm", "deviation_mm", "deviation_u_mm")
    }
    return SideCurve(
        side=side,
        relief_mm=_number(f"{side} relief_mm", stored["relief_mm"]),
        relief_u_mm=_number(f"{side} relief_u_mm", stored["relief_u_mm"]),
        relief_at_fret=at,
        **arrays,
    )


def _photo(stored: Json, frets: int) -> PhotoResult:
    camera, status, kind = stored["camera"], stored["status"], stored["kind"]
    if status not in ("measured", "refused") or kind not in ("bass", "treble", "front", None):
        raise ValueError(f"contract photos hold status={status!r:.60}, kind={kind!r:.60}")
    return PhotoResult(
        name=str(stored["file"]),
        status=cast(Literal["measured", "refused"], status),
        kind=cast(PhotoKind | None, kind),
        flags=tuple(_flag(flag) for flag in stored["flag_details"]),
        reason=None if stored["reason"] is None else _text("reason", stored["reason"]),
        advice=None if stored["advice"] is None else _text("advice", stored["advice"]),
        camera=None if camera is None else _camera(camera),
        trace=_trace(stored, frets),
    )


def _camera(stored: Json) -> Camera:
    names = (
        "focal_px", "focal_u_px", "view_angle_deg", "distance_mm", "k1", "residual_px", "usable_share",
    )  # fmt: skip
    return Camera(**{name: _number_or_nan(name, stored[name]) for name in names})


def _trace(stored: Json, frets: int) -> PhotoTrace | None:
    """None where nothing was traced, and for documents of before the drawing was kept."""
    seen, used = stored.get("seen"), stored.get("fret_used")
    if seen is None or used is None:
        return None
    lines = [_points("fret_line_px", line) for line in seen["fret_line_px"]]
    if len(lines) != frets or len({len(line) for line in lines}) != 1 or len(used) != frets:
        raise ValueError(f"contract fret_line_px must be {frets} lines of one length")
    return PhotoTrace(
        bass_top_px=_points("fret_top_px", stored["fret_top_px"]["bass"]),
        treble_top_px=_points("fret_top_px", stored["fret_top_px"]["treble"]),
        fret_line_px=np.stack(lines),
        used_fret=np.array([bool(each) for each in used]),
        nut_px=_points("nut_px", seen["nut_px"]),
        string_px=tuple(_points("string_px", string) for string in seen["string_px"]),
    )


def _provenance(stored: Json) -> Provenance:
    first, last = (_number("span_frets", fret) for fret in stored["span_frets"])
    names = (
        "residual_px", "string_sag_mm", "nut_width_mm", "nut_width_u_mm", "width_at_12_mm", "width_at_12_u_mm",
    )  # fmt: skip
    numbers = {name: _number_or_nan(name, stored[name]) for name in names}
    return Provenance(
        version=str(stored["measurement_version"]),
        span_frets=(int(first), int(last)),
        depth_from=str(stored["depth_from"]),
        **numbers,
    )


def _flag(stored: Json) -> Flag:
    return Flag(str(stored["code"]), str(stored["text"]), str(stored["advice"]))


def _numbers(name: str, values: object, frets: int) -> Array:
    if not isinstance(values, list) or len(values) != frets:
        raise ValueError(f"contract {name} must have {frets} entries")
    return np.array([_number_or_nan(name, value) for value in values])


def _points(name: str, points: object) -> Array:
    if not isinstance(points, list) or any(p is not None and (not isinstance(p, list) or len(p) != 2) for p in points):
        raise ValueError(f"contract {name} must be a list of points")
    pairs = [(np.nan, np.nan) if p is None else (_number(name, p[0]), _number(name, p[1])) for p in points]
    return np.array(pairs, dtype=np.float64).reshape(-1, 2)


def _number_or_nan(name: str, value: object) -> float:
    return np.nan if value is None else _number(name, value)


def _number(name: str, value: object) -> float:
    """A finite number of a size that a photograph or a neck can have, so that arithmetic with it stays finite."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) <= _LARGEST:
        raise ValueError(f"contract {name}={value!r:.60} is no number that a measurement gives")
    return float(value)


def _text(name: str, value: object) -> str:
    if not isinstance(value, str):
        raise ValueError(f"contract {name}={value!r:.60} is no text")
    return value
