"""The measured neck as plain figures, from the JSON document that a measurement leaves behind.

Stored documents outlive the program that wrote them and may have been edited by hand, so every figure that a decision
rests on is checked. Lengths mm, angles degrees, uncertainties 1 sigma; entry i of a tuple belongs to fret i + 1.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from app.contract_reading import outcome_from_contract
from vision.findings.finding import better_photographs
from vision.findings.shape import contrast_mm, hump_weights, joint_index, rise_weights
from vision.fit.frets import fret_positions_mm
from vision.results import Array, Measured, Outcome, Side, SideCurve
from vision.settings import SCALE_LENGTH_MAX_MM, SCALE_LENGTH_MIN_MM

_HEIGHT_MAX_MM = 50.0


@dataclass(frozen=True, slots=True)
class SideFacts:
    """One side's curve. deviation: fret top above (+) or below (-) the smooth curve, None where not seen.

    rise_mm is the last fret above (+) the parabola through the frets before the body, hump_mm the body joint above
    (+) the frets around it; None on a neck with few frets past the body.
    """

    side: Side
    relief_mm: float
    relief_u_mm: float
    gap_mm: tuple[float | None, ...]
    gap_u_mm: tuple[float | None, ...]
    deviation_mm: tuple[float | None, ...]
    deviation_u_mm: tuple[float | None, ...]
    rise_mm: float | None
    rise_u_mm: float | None
    hump_mm: float | None
    hump_u_mm: float | None


@dataclass(frozen=True, slots=True)
class CurveFacts:
    """A measured neck. relief_correlation is that of the two sides' errors, from their difference.

    photo_advice says which photographs would make the figures surer.
    """

    scale_length_mm: float
    frets: int
    bass: SideFacts
    treble: SideFacts
    relief_correlation: float
    twist_deg: float
    twist_u_deg: float
    photo_advice: str

    @property
    def mean_relief_mm(self) -> float:
        """Mean of the two sides, what the rod moves."""
        return (self.bass.relief_mm + self.treble.relief_mm) / 2.0

    @property
    def mean_relief_u_mm(self) -> float:
        """Standard uncertainty of the mean, the sides' common error included."""
        b, t = self.bass.relief_u_mm, self.treble.relief_u_mm
        return math.sqrt(b * b + t * t + 2.0 * self.relief_correlation * b * t) / 2.0


@dataclass(frozen=True, slots=True)
class RefusedFacts:
    """A measurement that gave no figures, with its reason and what to do."""

    reason: str
    advice: str


def curve_facts(document: Mapping[str, object]) -> CurveFacts | RefusedFacts:
    """Facts of a measurement's JSON document.

    Raises
    ------
    ValueError : a field is missing or holds what it cannot hold; the message names the field.
    """
    if not isinstance(document, Mapping):
        raise ValueError(f"document must be a mapping, got {document!r:.60}")
    return facts_of(outcome_from_contract(document))


def facts_of(outcome: Outcome) -> CurveFacts | RefusedFacts:
    """Facts of an outcome in memory.

    Raises
    ------
    ValueError : a figure cannot be that of a neck; the message names it.
    """
    if not isinstance(outcome, Measured):
        return RefusedFacts(outcome.reason, outcome.advice)
    _check("scale_length_mm", outcome.scale_length_mm, SCALE_LENGTH_MIN_MM, SCALE_LENGTH_MAX_MM)
    _check("relief_difference_u_mm", outcome.relief_difference_u_mm, 0.0, _HEIGHT_MAX_MM)
    _check("twist_deg", outcome.twist.twist_deg, -90.0, 90.0)
    _check("twist_u_deg", outcome.twist.twist_u_deg, 0.0, 90.0)
    return CurveFacts(
        outcome.scale_length_mm,
        outcome.frets,
        _side_facts(outcome.bass, outcome),
        _side_facts(outcome.treble, outcome),
        _correlation(outcome),
        outcome.twist.twist_deg,
        outcome.twist.twist_u_deg,
        better_photographs(outcome),
    )


def _side_facts(curve: SideCurve, measured: Measured) -> SideFacts:
    _check(f"{curve.side} relief_mm", curve.relief_mm, -_HEIGHT_MAX_MM, _HEIGHT_MAX_MM)
    _check(f"{curve.side} relief_u_mm", curve.relief_u_mm, 0.0, _HEIGHT_MAX_MM)
    z_mm = fret_positions_mm(measured.scale_length_mm, measured.frets)
    joint = joint_index(z_mm, measured.scale_length_mm)
    ends: tuple[float | None, ...] = (None,) * 4
    if joint is not None:
        rise, hump = (contrast_mm(weights(z_mm, joint), curve, measured) for weights in (rise_weights, hump_weights))
        ends = tuple(value if math.isfinite(value) else None for value in (*rise, *hump))
    return SideFacts(
        curve.side,
        curve.relief_mm,
        curve.relief_u_mm,
        _heights(f"{curve.side} gap_mm", curve.gap_mm, -_HEIGHT_MAX_MM),
        _heights(f"{curve.side} gap_u_mm", curve.gap_u_mm, 0.0),
        _heights(f"{curve.side} deviation_mm", curve.deviation_mm, -_HEIGHT_MAX_MM),
        _heights(f"{curve.side} deviation_u_mm", curve.deviation_u_mm, 0.0),
        *ends,
    )


def _correlation(measured: Measured) -> float:
    """Correlation of the two reliefs' errors: var(b - t) = var(b) + var(t) - 2 cov(b, t), GUM 5.2.2.

    Errors of opposite sign are not credited: they would make the mean of the sides look surer than either.
    """
    b, t, d = measured.bass.relief_u_mm, measured.treble.relief_u_mm, measured.relief_difference_u_mm
    return min(max((b * b + t * t - d * d) / (2.0 * b * t), 0.0), 1.0) if b * t > 0.0 else 0.0


def _heights(name: str, values_mm: Array, low_mm: float) -> tuple[float | None, ...]:
    known = values_mm[~np.isnan(values_mm)]
    wrong = known[(known < low_mm) | (known > _HEIGHT_MAX_MM)]
    if wrong.size:
        raise ValueError(f"{name} holds {float(wrong[0])!r}, outside {low_mm:g} to {_HEIGHT_MAX_MM:g}")
    return tuple(None if math.isnan(value) else value for value in values_mm.tolist())


def _check(name: str, value: float, low: float, high: float) -> None:
    if not math.isfinite(value) or not low <= value <= high:
        raise ValueError(f"{name}={value!r} is outside {low:g} to {high:g}")
