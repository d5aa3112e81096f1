"""The measured neck as plain facts, read from the JSON document that a measurement leaves behind.

Stored documents outlive the program that wrote them and may have been edited by hand, so every figure that is used
is checked on the way in. Lengths mm, angles degrees, uncertainties 1 sigma; entry i of a tuple belongs to fret i + 1.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast, get_args

import numpy as np

from vision.findings.shape import contrast_mm, hump_weights, joint_index, rise_weights
from vision.fit.frets import fret_positions_mm
from vision.results import Array, Measured, PhotoKind, PhotoResult, Provenance, Side, SideCurve, Twist
from vision.settings import FRETS_MAX, FRETS_MIN, SCALE_LENGTH_MAX_MM, SCALE_LENGTH_MIN_MM


@dataclass(frozen=True, slots=True)
class FindingFact:
    """One finding as the measurement worded it."""

    code: str
    title: str
    text: str
    severity: str
    side: str | None
    frets: tuple[int, ...]
    value: float | None
    u: float | None
    unit: str


@dataclass(frozen=True, slots=True)
class SideFacts:
    """One side's curve. deviation: fret top above (+) or below (-) the smooth curve, None where not seen.

    rise_mm is the last fret above (+) the parabola through the frets before the body, hump_mm the body joint above
    (+) the frets around it; None on a neck with few frets past the body.
    """

    side: Side
    relief_mm: float
    relief_u_mm: float
    relief_at_fret: int
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
    """A measured neck. relief_correlation is that of the two sides' errors, from their difference."""

    scale_length_mm: float
    frets: int
    bass: SideFacts
    treble: SideFacts
    relief_difference_mm: float
    relief_difference_u_mm: float
    relief_correlation: float
    twist_deg: float
    twist_u_deg: float
    shape: str
    findings: tuple[FindingFact, ...]
    rod_direction: str
    photo_kinds: tuple[str, ...]  # of the photographs that were measured

    @property
    def mean_relief_mm(self) -> float:
        """Mean of the two sides, what the rod moves."""
        return (self.bass.relief_mm + self.treble.relief_mm) / 2.0

    @property
    def mean_relief_u_mm(self) -> float:
        """Standard uncertainty of the mean, the sides' common error included."""
        b, t = self.bass.relief_u_mm, self.treble.relief_u_mm
        return math.sqrt(max(b * b + t * t + 2.0 * self.relief_correlation * b * t, 0.0)) / 2.0


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
    status = document.get("status")
    if status == "refused":
        return RefusedFacts(str(document.get("reason") or "not measured"), str(document.get("advice") or ""))
    if status != "measured":
        raise ValueError(f"status={status!r:.60} must be 'measured' or 'refused'")
    measured = measured_from_document(document)
    correlation = _correlation(measured)
    rod = _mapping(document, "truss_rod")
    return CurveFacts(
        measured.scale_length_mm,
        measured.frets,
        _side_facts(measured.bass, measured),
        _side_facts(measured.treble, measured),
        measured.relief_difference_mm,
        measured.relief_difference_u_mm,
        correlation,
        measured.twist.twist_deg,
        measured.twist.twist_u_deg,
        str(document.get("shape")),
        _findings(document),
        str(rod.get("direction")),
        tuple(sorted(photo.kind for photo in measured.photos if photo.kind and photo.status == "measured")),
    )


def measured_from_document(document: Mapping[str, object]) -> Measured:
    """The measured record behind a document, without cameras, traces and flags.

    Raises
    ------
    ValueError : as `curve_facts`.
    """
    frets = _whole(document, "frets", FRETS_MIN, FRETS_MAX)
    scale_mm = _number(document, "scale_length_mm", SCALE_LENGTH_MIN_MM, SCALE_LENGTH_MAX_MM)
    return Measured(
        scale_mm,
        frets,
        _side(document, "bass", frets),
        _side(document, "treble", frets),
        Twist(
            _number(document, "twist_deg", -90.0, 90.0),
            _number(document, "twist_u_deg", 0.0, 90.0),
            _array(document, "roll_deg", frets, -90.0),
            _array(document, "roll_u_deg", frets, 0.0),
        ),
        _number(document, "relief_difference_mm", -50.0, 50.0),
        _number(document, "relief_difference_u_mm", 0.0, 50.0),
        _photos(document),
        (),
        Provenance(str(document.get("version")), (1, frets), "", math.nan, 0.0, math.nan, math.nan, math.nan, math.nan),
    )


def _side_facts(curve: SideCurve, measured: Measured) -> SideFacts:
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
        curve.relief_at_fret,
        _or_none(curve.gap_mm),
        _or_none(curve.gap_u_mm),
        _or_none(curve.deviation_mm),
        _or_none(curve.deviation_u_mm),
        *ends,
    )


def _correlation(measured: Measured) -> float:
    """Correlation of the two reliefs' errors: var(b - t) = var(b) + var(t) - 2 cov(b, t), GUM 5.2.2.

    Errors of opposite sign are not credited: they would make the mean of the sides look surer than either.
    """
    b, t, d = measured.bass.relief_u_mm, measured.treble.relief_u_mm, measured.relief_difference_u_mm
    return min(max((b * b + t * t - d * d) / (2.0 * b * t), 0.0), 1.0) if b * t > 0.0 else 0.0


def _side(document: Mapping[str, object], side: Side, frets: int) -> SideCurve:
    given = _mapping(document, side)
    return SideCurve(
        side,
        _number(given, "relief_mm", -50.0, 50.0),
        _number(given, "relief_u_mm", 0.0, 50.0),
        _whole(given, "relief_at_fret", 1, frets),
        _array(given, "gap_mm", frets, -50.0),
        _array(given, "gap_u_mm", frets, 0.0),
        _array(given, "deviation_mm", frets, -50.0),
        _array(given, "deviation_u_mm", frets, 0.0),
    )


def _photos(document: Mapping[str, object]) -> tuple[PhotoResult, ...]:
    given = document.get("photos")
    if not isinstance(given, list):
        raise ValueError(f"photos must be a list, got {given!r:.60}")
    photos = []
    for photo in given:
        if not isinstance(photo, Mapping):
            raise ValueError(f"photos must hold mappings, got {photo!r:.60}")
        kind = photo.get("kind")
        if kind is not None and kind not in get_args(PhotoKind):
            raise ValueError(f"kind={kind!r:.60} of a photograph is unknown")
        measured = photo.get("status") == "measured"
        photos.append(PhotoResult(str(photo.get("file")), "measured" if measured else "refused", kind))
    return tuple(photos)


def _findings(document: Mapping[str, object]) -> tuple[FindingFact, ...]:
    given = document.get("findings")
    if not isinstance(given, list) or not all(isinstance(finding, Mapping) for finding in given):
        raise ValueError(f"findings must be a list of mappings, got {given!r:.60}")
    return tuple(
        FindingFact(
            str(finding.get("code")),
            str(finding.get("title")),
            str(finding.get("text")),
            str(finding.get("severity")),
            None if finding.get("side") is None else str(finding["side"]),
            _fret_numbers(finding),
            None if finding.get("value") is None else _number(finding, "value", -1e3, 1e3),
            None if finding.get("u") is None else _number(finding, "u", 0.0, 1e3),
            str(finding.get("unit")),
        )
        for finding in given
    )


def _fret_numbers(finding: Mapping[str, object]) -> tuple[int, ...]:
    frets = finding.get("frets")
    if not isinstance(frets, list) or not all(type(fret) is int and 1 <= fret <= FRETS_MAX for fret in frets):
        raise ValueError(f"frets of a finding must be a list of fret numbers, got {frets!r:.60}")
    return tuple(frets)


def _mapping(document: Mapping[str, object], name: str) -> Mapping[str, object]:
    value = document.get(name)
    if not isinstance(value, Mapping):
        raise ValueError(f"{name} must be a mapping, got {value!r:.60}")
    return value


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def _number(document: Mapping[str, object], name: str, low: float, high: float) -> float:
    value = document.get(name)
    if not _is_number(value) or not low <= cast(float, value) <= high:
        raise ValueError(f"{name}={value!r:.60} must be a number from {low:g} to {high:g}")
    return float(cast(float, value))


def _whole(document: Mapping[str, object], name: str, low: int, high: int) -> int:
    value = document.get(name)
    if type(value) is not int or not low <= value <= high:
        raise ValueError(f"{name}={value!r:.60} must be a whole number from {low} to {high}")
    return value


def _array(document: Mapping[str, object], name: str, frets: int, low: float) -> Array:
    values = document.get(name)
    if not isinstance(values, list) or len(values) != frets:
        raise ValueError(f"{name} must be a list of {frets} numbers, got {values!r:.60}")
    for value in values:
        if value is not None and not (_is_number(value) and low <= value <= 90.0):
            raise ValueError(f"{name} holds {value!r:.60}, which is no number from {low:g} to 90")
    return np.array([math.nan if value is None else float(value) for value in values])


def _or_none(values: Array) -> tuple[float | None, ...]:
    return tuple(value if math.isfinite(value) else None for value in values.tolist())
