"""Bow, back-bow, straight, S-curve, rise at the last frets and hump at the body joint of one side.

The gaps' errors are strongly correlated along the neck: most of their uncertainty is one parabola, because
depth is what photographs know least. Three consequences shape the statistics here.

1. Bow and back-bow are judged by the relief and its full uncertainty.
2. An S-curve is stated only when both lobes, each with its full uncertainty, lie on their own side of the
   chord; a parabola added to them could otherwise have made one lobe.
3. Rise and hump are contrasts that vanish for every straight line and every parabola, so the badly known part
   cancels exactly. What is left is taken from the difference of the two sides, whose uncertainty holds no
   common error, as waves of two and three half-lengths, and from the last frets' own uncertainty.

Where a neck meets the body depends on its make; the joint is taken at 0.61 of the scale length, which is
fret 16 of any equal-tempered neck (common practice for bolted necks).
"""

import math

import numpy as np

from vision.findings.finding import Finding, Severity, better_photographs, interval_mm, standing
from vision.fit.frets import fret_positions_mm
from vision.results import Array, Measured, Shape, Side, SideCurve
from vision.settings import Thresholds

JOINT_SHARE_OF_SCALE = 0.61
_FIRST_FRET_OF_REFERENCE = 5  # the first frets bend more than a parabola on ordinary necks
_FRETS_BEFORE_JOINT = 6  # reach of the chord over the joint towards the nut
_MIN_FRETS_PAST_JOINT = 3


def side_shape(curve: SideCurve, thresholds: Thresholds) -> Shape:
    """Name the curve under one string; a bow shallower than the limit counts as straight.

    "cannot tell" when a figure is missing, or when the interval is wider than the limit and reaches over it.
    """
    relief, u, k = curve.relief_mm, curve.relief_u_mm, thresholds.coverage_k
    limit = thresholds.straight_within_mm
    if not (math.isfinite(relief) and math.isfinite(u)):
        return "cannot tell"
    crossing = _crossing(curve, thresholds)
    if crossing is not None:
        return "S-curve" if crossing else "cannot tell"
    if abs(relief) - k * u <= limit < k * u:
        return "cannot tell"
    if abs(relief) <= limit:
        return "straight"
    return "forward bow" if relief > 0.0 else "back-bow"


def shape_of(measured: Measured, thresholds: Thresholds) -> Shape:
    """One word for the neck from its two sides: an S on either side is an S, a bow beside straight a bow."""
    sides = {side_shape(curve, thresholds) for curve in (measured.bass, measured.treble)}
    if "S-curve" in sides:
        return "S-curve"
    if "cannot tell" in sides:
        return "cannot tell"
    if len(sides) > 1:
        sides.discard("straight")
    if len(sides) == 1:
        return sides.pop()
    mean = (measured.bass.relief_mm + measured.treble.relief_mm) / 2.0
    if abs(mean) <= thresholds.straight_within_mm:
        return "straight"
    return "forward bow" if mean > 0.0 else "back-bow"


def bow_finding(curve: SideCurve, measured: Measured, thresholds: Thresholds) -> Finding:
    """Bow, back-bow, straight or S-curve of one side, or why it cannot be told."""
    shape, side = side_shape(curve, thresholds), curve.side
    relief, u, k = curve.relief_mm, curve.relief_u_mm, thresholds.coverage_k
    low, high = thresholds.wanted_relief_low_mm, thresholds.wanted_relief_high_mm
    where = f"Under the {side} string"
    frets: tuple[int, ...] = (curve.relief_at_fret,)
    figure = f"{abs(relief):.2f} mm at fret {curve.relief_at_fret} (95 %: {interval_mm(relief, u)})"
    if shape == "cannot tell":
        reach = f" The relief lies between {interval_mm(relief, u, to='and')}." if math.isfinite(relief + u) else ""
        return Finding(
            "cannot_tell_bow",
            f"Bow on the {side} side: cannot tell",
            f"{where} the bow cannot be told from these photographs.{reach} {better_photographs(measured)}",
            "cannot tell",
            side,
            (),
            relief,
            u,
            "mm",
        )
    if shape == "S-curve":
        top, bottom = int(np.nanargmin(curve.gap_mm)), int(np.nanargmax(curve.gap_mm))
        return Finding(
            "s_curve",
            f"S-curve on the {side} side",
            f"{where} the neck bends both ways: {curve.gap_mm[bottom]:.2f} mm below the chord at fret "
            f"{bottom + 1} and {-curve.gap_mm[top]:.2f} mm above it at fret {top + 1}. "
            "A truss rod bends the neck one way only and cannot take this out.",
            "fault",
            side,
            tuple(sorted((top + 1, bottom + 1))),
            float(curve.gap_mm[bottom] - curve.gap_mm[top]),
            float(math.hypot(curve.gap_u_mm[bottom], curve.gap_u_mm[top])),
            "mm",
        )
    if shape == "back-bow":
        certain = relief + k * u < -thresholds.straight_within_mm
        return Finding(
            "back_bow",
            f"Back-bow on the {side} side",
            f"{where} the neck bends backwards by {figure}. "
            + ("Strings will buzz in the low positions." if certain else "It may be as good as straight."),
            "fault" if certain else "look closer",
            side,
            frets,
            relief,
            u,
            "mm",
        )
    if shape == "straight":
        return Finding(
            "straight",
            f"Straight on the {side} side",
            f"{where} the neck is straight within {thresholds.straight_within_mm:.2f} mm: relief "
            f"{relief:.2f} mm (95 %: {interval_mm(relief, u)}).",
            "fine",
            side,
            (),
            relief,
            u,
            "mm",
        )
    severity: Severity = "look closer"
    if relief - k * u > thresholds.excessive_relief_mm:
        severity = "fault"
        verdict = f"More than {thresholds.excessive_relief_mm:.2f} mm is excessive."
    elif relief - k * u > high:
        verdict = f"More than the usual {low:.2f} to {high:.2f} mm."
    else:
        verdict = f"The usual range is {low:.2f} to {high:.2f} mm."
        severity = "fine" if relief <= high + thresholds.leaf_mm else "look closer"
    return Finding(
        "forward_bow",
        f"Forward bow on the {side} side",
        f"{where} the neck bends forwards by {figure}. {verdict}",
        severity,
        side,
        frets,
        relief,
        u,
        "mm",
    )


def end_findings(measured: Measured, thresholds: Thresholds) -> tuple[Finding, ...]:
    """Rise at the last frets and hump at the body joint, for each side that shows one or hides it."""
    z_mm = fret_positions_mm(measured.scale_length_mm, measured.frets)
    joint = joint_index(z_mm, measured.scale_length_mm)
    if joint is None:
        return ()
    found: list[Finding] = []
    unknown: list[Side] = []
    for curve in (measured.bass, measured.treble):
        rise = contrast_mm(rise_weights(z_mm, joint), curve, measured)
        hump = contrast_mm(hump_weights(z_mm, joint), curve, measured)
        position = standing(*rise, thresholds.rise_mm, thresholds.coverage_k)
        if position == "unknown":
            unknown.append(curve.side)
        elif position == "beyond":
            found.extend(_end_finding(curve.side, joint, measured.frets, thresholds, rise, hump))
    if unknown:
        where = f"on the {unknown[0]} side" if len(unknown) == 1 else "on either side"
        found.append(
            Finding(
                "cannot_tell_rise",
                "Last frets: cannot tell",
                f"Whether the last frets rise or fall {where} cannot be told from these photographs. "
                + better_photographs(measured),
                "cannot tell",
                unknown[0] if len(unknown) == 1 else None,
                tuple(range(joint + 2, measured.frets + 1)),
                None,
                None,
                "mm",
            )
        )
    return tuple(found)


def joint_index(z_mm: Array, scale_length_mm: float) -> int | None:
    """Index of the last fret before the body, None on a neck with too few frets past it to judge."""
    joint = int(np.searchsorted(z_mm, JOINT_SHARE_OF_SCALE * scale_length_mm)) - 1
    return joint if z_mm.size - 1 - joint >= _MIN_FRETS_PAST_JOINT else None


def rise_weights(z_mm: Array, joint: int) -> Array:
    """Weights (N,) on the heights: last fret above the parabola through the frets from 5 to the joint."""
    first = _FIRST_FRET_OF_REFERENCE - 1
    # Values of the least-squares parabola at the last fret, as a linear function of the heights.
    scaled = (z_mm - z_mm[joint]) / (z_mm[-1] - z_mm[0])
    design = np.vander(scaled[first : joint + 1], 3)
    weights = np.zeros(z_mm.size)
    weights[first : joint + 1] = -np.vander(scaled[-1:], 3)[0] @ np.linalg.pinv(design)
    weights[-1] += 1.0
    return weights


def hump_weights(z_mm: Array, joint: int) -> Array:
    """Weights (N,) on the heights: joint above the chord from six frets before it to the last fret."""
    start = joint - _FRETS_BEFORE_JOINT
    share = (z_mm[joint] - z_mm[start]) / (z_mm[-1] - z_mm[start])
    weights = np.zeros(z_mm.size)
    weights[[start, joint, -1]] = share - 1.0, 1.0, -share
    return weights


def contrast_mm(weights: Array, curve: SideCurve, measured: Measured) -> tuple[float, float]:
    """A weighted sum of heights (minus the gaps) of the smooth curve, and its standard uncertainty.

    The parabola part of the error counts by what the weights leave of a parabola: nothing for the rise.
    """
    z_mm = fret_positions_mm(measured.scale_length_mm, measured.frets)
    t = (z_mm - z_mm[0]) / (z_mm[-1] - z_mm[0])
    value = -float(weights @ curve.gap_mm)
    wave_u = measured.relief_difference_u_mm / math.sqrt(2.0)
    waves = [wave_u * float(weights @ np.sin(n * math.pi * t)) for n in (2, 3)]
    parabola = curve.relief_u_mm * float(weights @ (4.0 * t * (1.0 - t)))
    ends = float(np.median(curve.deviation_u_mm[-3:])) / math.sqrt(3.0)
    return value, math.hypot(parabola, ends, *waves)


def _crossing(curve: SideCurve, thresholds: Thresholds) -> bool | None:
    """True for a certain S-curve, False when the figures cross the chord but not beyond doubt, else None."""
    gap, u, k = curve.gap_mm, curve.gap_u_mm, thresholds.coverage_k
    if not np.isfinite(gap).all():
        return None
    top, bottom = int(np.argmin(gap)), int(np.argmax(gap))
    if min(gap[bottom], -gap[top]) <= thresholds.leaf_mm:  # no lobe worth speaking of
        return None
    return bool(gap[bottom] > k * u[bottom] and -gap[top] > k * u[top])


def _end_finding(
    side: Side,
    joint: int,
    frets: int,
    thresholds: Thresholds,
    rise: tuple[float, float],
    hump: tuple[float, float],
) -> list[Finding]:
    """The finding for last frets that certainly leave the curve of the frets before, either way."""
    past = tuple(range(joint + 2, frets + 1))
    if rise[0] > 0.0:
        return [
            Finding(
                "rise",
                f"Last frets rise on the {side} side",
                f"From fret {joint + 2} on, the {side} side bends upwards: the last fret stands "
                f"{rise[0]:.2f} mm above the curve of the frets before. The truss rod does not reach there.",
                "fault",
                side,
                past,
                *rise,
                "mm",
            )
        ]
    # A fall of the last frets alone is often intended; with the joint above its surroundings it is a hump.
    if hump[0] - thresholds.coverage_k * hump[1] > thresholds.rise_mm / 2.0:
        return [
            Finding(
                "hump",
                f"Hump at the body joint on the {side} side",
                f"Around fret {joint + 1} the {side} side stands {hump[0]:.2f} mm above the line from fret "
                f"{joint + 1 - _FRETS_BEFORE_JOINT} to the last fret. The truss rod cannot take this out.",
                "fault",
                side,
                (joint + 1,),
                *hump,
                "mm",
            )
        ]
    return []
