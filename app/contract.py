"""The outcome as plain data: the dictionary that `neck-sighting measure --json` writes.

Field names are a contract with other programs and keep their meaning; new fields may be added.
Lengths mm, angles degrees, uncertainties 1 sigma, image points (x, y) px in the upright full-size
photograph with pixel centres at integers. A figure that does not exist is null, never NaN.
"""

import json
import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.findings import RodAdvice, judge, shape_of, truss_rod_advice
from vision.results import Camera, Flag, Measured, Outcome, PhotoResult, PhotoTrace, SideCurve
from vision.settings import Thresholds

Json = dict[str, Any]


def outcome_to_contract(outcome: Outcome, thresholds: Thresholds, version: str) -> Json:
    """Every figure, flag and finding of an outcome as plain dicts, lists, strings and finite numbers.

    Raises ValueError when a figure that every measured neck has (relief, twist, their uncertainties) is not
    finite.
    """
    common: Json = {
        "status": outcome.status,
        "reason": None,
        "scale_length_mm": outcome.scale_length_mm,
        "frets": outcome.frets,
    }
    photos = [_photo(photo, outcome.frets) for photo in outcome.photos]
    if not isinstance(outcome, Measured):
        nothing = dict.fromkeys(("bass", "treble", "twist_deg", "twist_u_deg", "roll_deg", "shape"))
        return (
            common
            | {"reason": outcome.reason, "code": outcome.code, "advice": outcome.advice}
            | nothing
            | {
                "photos": photos,
                "flags": [],
                "version": version,
            }
        )
    findings = judge(outcome, thresholds)
    return common | {
        "bass": _side(outcome.bass),
        "treble": _side(outcome.treble),
        "relief_difference_mm": _must("relief_difference_mm", outcome.relief_difference_mm),
        "relief_difference_u_mm": _must("relief_difference_u_mm", outcome.relief_difference_u_mm),
        "twist_deg": _must("twist_deg", outcome.twist.twist_deg),
        "twist_u_deg": _must("twist_u_deg", outcome.twist.twist_u_deg),
        "roll_deg": _numbers(outcome.twist.roll_deg),
        "roll_u_deg": _numbers(outcome.twist.roll_u_deg),
        "shape": shape_of(outcome, thresholds),
        "photos": photos,
        "flags": [_flag(flag) for flag in outcome.flags],
        "findings": [
            {
                "code": f.code,
                "title": f.title,
                "text": f.text,
                "severity": f.severity,
                "side": f.side,
                "frets": [int(k) for k in f.frets],
                "value": _number(f.value),
                "u": _number(f.u),
                "unit": f.unit,
            }
            for f in findings
        ],
        "truss_rod": _rod(truss_rod_advice(outcome, thresholds)),
        "provenance": _provenance(outcome),
        "thresholds": vars(thresholds).copy(),
        "version": version,
    }


def contract_text(contract: Json) -> str:
    """The contract as JSON text. Raises ValueError rather than write NaN or Infinity."""
    return json.dumps(contract, allow_nan=False, indent=1, ensure_ascii=False) + "\n"


def _side(curve: SideCurve) -> Json:
    return {
        "relief_mm": _must("relief_mm", curve.relief_mm),
        "relief_u_mm": _must("relief_u_mm", curve.relief_u_mm),
        "relief_at_fret": int(curve.relief_at_fret),
        "gap_mm": _numbers(curve.gap_mm),
        "gap_u_mm": _numbers(curve.gap_u_mm),
        "deviation_mm": _numbers(curve.deviation_mm),
        "deviation_u_mm": _numbers(curve.deviation_u_mm),
    }


def _photo(photo: PhotoResult, frets: int) -> Json:
    trace = photo.trace
    nowhere: list[list[float] | None] = [None] * frets
    return {
        "file": photo.name,
        "kind": photo.kind,
        "status": photo.status,
        "reason": photo.reason,
        "advice": photo.advice,
        "flags": [flag.code for flag in photo.flags],
        "flag_details": [_flag(flag) for flag in photo.flags],
        "fret_top_px": {
            "bass": _points(trace.bass_top_px) if trace else nowhere,
            "treble": _points(trace.treble_top_px) if trace else list(nowhere),
        },
        "fret_used": [bool(used) for used in trace.used_fret] if trace else None,
        "seen": _seen(trace) if trace else None,
        "camera": _camera(photo.camera) if photo.camera else None,
    }


def _seen(trace: PhotoTrace) -> Json:
    """What else was seen, to draw it on the photograph again; to 0.001 px, which no drawing shows."""
    return {
        "fret_line_px": [_points(np.round(line, 3)) for line in trace.fret_line_px],
        "nut_px": _points(np.round(trace.nut_px, 3)),
        "string_px": [_points(np.round(string, 3)) for string in trace.string_px],
    }


def _camera(camera: Camera) -> Json:
    return {
        "focal_px": _number(camera.focal_px),
        "focal_u_px": _number(camera.focal_u_px),
        "view_angle_deg": _number(camera.view_angle_deg),
        "distance_mm": _number(camera.distance_mm),
        "k1": _number(camera.k1),
        "residual_px": _number(camera.residual_px),
        "usable_share": _number(camera.usable_share),
    }


def _flag(flag: Flag) -> Json:
    return {"code": flag.code, "text": flag.text, "advice": flag.advice}


def _rod(advice: RodAdvice) -> Json:
    return {
        "direction": advice.direction,
        "text": advice.text,
        "reasons": list(advice.reasons),
        "caution": advice.caution,
    }


def _provenance(outcome: Measured) -> Json:
    p = outcome.provenance
    return {
        "measurement_version": p.version,
        "span_frets": [int(fret) for fret in p.span_frets],
        "depth_from": p.depth_from,
        "residual_px": _number(p.residual_px),
        "string_sag_mm": _number(p.string_sag_mm),
        "nut_width_mm": _number(p.nut_width_mm),
        "nut_width_u_mm": _number(p.nut_width_u_mm),
        "width_at_12_mm": _number(p.width_at_12_mm),
        "width_at_12_u_mm": _number(p.width_at_12_u_mm),
    }


def _must(name: str, value: float) -> float:
    if not math.isfinite(value):
        raise ValueError(f"{name}={value!r} of a measured neck must be finite")
    return float(value)


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def _numbers(values: NDArray[np.float64]) -> list[float | None]:
    return [_number(value) for value in values.tolist()]


def _points(points_px: NDArray[np.float64]) -> list[list[float] | None]:
    """(N, 2) points as [x, y], null where either coordinate is missing."""
    return [[x, y] if math.isfinite(x) and math.isfinite(y) else None for x, y in points_px.tolist()]
