"""A measured or refused outcome as plain lines of text, in millimetres and thousandths of an inch."""

from vision.findings.finding import MM_PER_THOUSANDTH, WHOLE_FROM_THOU, Finding, interval_95, interval_mm
from vision.findings.frets import fret_list
from vision.findings.judge import judge
from vision.findings.truss_rod import truss_rod_advice
from vision.results import Flag, Measured, Outcome, PhotoResult, Refused, SideCurve
from vision.settings import Thresholds


def thousandths(length_mm: float) -> str:
    """A length in thousandths of an inch: "8 thousandths of an inch", a short one with a decimal."""
    thou = length_mm / MM_PER_THOUSANDTH
    return f"{thou:z.{0 if abs(thou) >= WHOLE_FROM_THOU else 1}f} thousandths of an inch"


def summary_lines(outcome: Outcome, thresholds: Thresholds) -> tuple[str, ...]:
    """Short readable report of an outcome, one line an entry, without line breaks inside.

    Raises
    ------
    ValueError : outcome is neither measured nor refused.
    """
    if isinstance(outcome, Refused):
        return (
            f"Not measured: {outcome.reason}",
            f"What to do: {outcome.advice}",
            *_photo_lines(outcome.photos),
        )
    if not isinstance(outcome, Measured):
        raise ValueError(f"outcome must be Measured or Refused, got {outcome!r:.60}")
    first, last = outcome.provenance.span_frets
    findings = judge(outcome, thresholds)
    rod = truss_rod_advice(outcome, thresholds)
    difference, difference_u = outcome.relief_difference_mm, outcome.relief_difference_u_mm
    twist = outcome.twist
    return (
        f"Relief over frets {first} to {last} of a {outcome.scale_length_mm:g} mm scale "
        "(+ is forward bow, - is back-bow):",
        *(_relief_line(curve) for curve in (outcome.bass, outcome.treble)),
        f"  bass minus treble: {difference:+z.2f} mm ({thousandths(difference)}), "
        f"95 % {interval_mm(difference, difference_u)}",
        f"Twist, last fret against fret {first}: {twist.twist_deg:+z.2f} degrees, 95 % "
        f"{interval_95(twist.twist_deg, twist.twist_u_deg)} (+ is treble side higher at the body)",
        _out_of_line_text(findings),
        "Findings:",
        *(f"  [{finding.severity}] {finding.title}. {finding.text}" for finding in findings),
        f"Truss rod: {rod.direction}. {rod.text}",
        *(f"  {reason}" for reason in rod.reasons),
        f"  Caution: {rod.caution}",
        *_flag_lines(outcome.flags),
        *_photo_lines(outcome.photos),
        f"Widths from: {outcome.provenance.depth_from}.",
    )


def _relief_line(curve: SideCurve) -> str:
    return (
        f"  {curve.side}: {curve.relief_mm:+z.2f} mm ({thousandths(curve.relief_mm)}) at fret "
        f"{curve.relief_at_fret}, 95 % {interval_mm(curve.relief_mm, curve.relief_u_mm)}"
    )


def _out_of_line_text(findings: tuple[Finding, ...]) -> str:
    out = sorted(
        {fret for finding in findings if finding.code in ("fret_high", "fret_low") for fret in finding.frets}
    )
    return f"Frets out of line: {fret_list(tuple(out)).split(' ', 1)[1] if out else 'none found'}"


def _photo_lines(photos: tuple[PhotoResult, ...]) -> tuple[str, ...]:
    lines = []
    for photo in photos:
        seen = photo.kind if photo.kind is not None else "no neck found"
        line = f"Photograph {photo.name}: {seen}, {photo.status}"
        if photo.camera is not None:
            line += f", {photo.camera.view_angle_deg:.0f} degrees above the board"
        lines.append(line)
        lines.extend(f"  {words}" for words in (photo.reason, photo.advice) if words)
        lines.extend(_flag_lines(photo.flags))
    return tuple(lines)


def _flag_lines(flags: tuple[Flag, ...]) -> tuple[str, ...]:
    return tuple(f"  Note: {flag.text} {flag.advice}" for flag in flags)
