"""Twist of the neck, and relief that differs between the two sides."""

from vision.findings.finding import Finding, Severity, better_photographs, interval_95, standing
from vision.results import Measured
from vision.settings import Thresholds


def twist_finding(measured: Measured, thresholds: Thresholds) -> Finding:
    """Roll of the last fret against fret 1, held against what is noticed and what is serious."""
    value, u, k = measured.twist.twist_deg, measured.twist.twist_u_deg, thresholds.coverage_k
    noticed, serious = thresholds.twist_noticed_deg, thresholds.twist_serious_deg
    position = standing(value, u, noticed, k)
    if position == "unknown":
        return Finding(
            "cannot_tell_twist",
            "Twist: cannot tell",
            f"Twist cannot be told from these photographs. {better_photographs(measured)}",
            "cannot tell",
            None,
            (),
            value,
            u,
            "deg",
        )
    way = "treble" if value > 0.0 else "bass"
    figure = f"{abs(value):.2f} degrees (95 %: {interval_95(value, u)})"
    if position == "within":
        return Finding(
            "no_twist",
            "No twist to notice",
            f"The last fret is turned against fret 1 by {figure}; below {noticed:.1f} nobody notices.",
            "fine",
            None,
            (),
            value,
            u,
            "deg",
        )
    severity: Severity = "look closer"
    if position == "borderline":
        verdict = f"That is about the {noticed:.1f} degrees from which twist is noticed."
    elif standing(value, u, serious, k) == "beyond":
        severity = "fault"
        verdict = f"More than {serious:.1f} degree is serious: plan fretwork on the board, or walk away."
    elif standing(value, u, serious, k) == "within":
        verdict = "A set-up can usually live with that."
    else:
        verdict = f"That is about the {serious:.1f} degree from which twist is serious."
    return Finding(
        "twist",
        "Twist",
        f"At the last fret the {way} side stands higher than at fret 1: {figure}. {verdict} "
        "The truss rod cannot take twist out.",
        severity,
        None,
        (1, measured.frets),
        value,
        u,
        "deg",
    )


def sides_finding(measured: Measured, thresholds: Thresholds) -> Finding | None:
    """Bass relief against treble relief; None when they agree within the limit."""
    value, u, k = measured.relief_difference_mm, measured.relief_difference_u_mm, thresholds.coverage_k
    limit = thresholds.sides_differ_mm
    position = standing(value, u, limit, k)
    if position == "unknown":
        return Finding(
            "cannot_tell_sides",
            "Sides against each other: cannot tell",
            "Whether the two sides have the same relief cannot be told from these photographs. "
            + better_photographs(measured),
            "cannot tell",
            None,
            (),
            value,
            u,
            "mm",
        )
    if position != "beyond":
        return None
    more = "bass" if value > 0.0 else "treble"
    return Finding(
        "sides_differ",
        "The two sides differ",
        f"The {more} side bends forwards by {abs(value):.2f} mm more than the other. "
        "The truss rod moves both sides together and cannot even them out.",
        "look closer",
        None,
        (),
        value,
        u,
        "mm",
    )
