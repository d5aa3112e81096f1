"""Which way the truss rod would have to go, if any, and the caution that always goes with it."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vision.curves.relief import gap_to_chord_mm, relief_from_gap
from vision.findings.finding import Finding, better_photographs
from vision.findings.judge import judge
from vision.findings.shape import joint_index
from vision.fit.frets import fret_positions_mm
from vision.results import Measured
from vision.settings import Thresholds

Direction = Literal["tighten", "slacken", "leave alone", "nothing to gain", "cannot tell"]

CAUTION = (
    "Work with the strings tuned to pitch. Turn an eighth to a quarter turn at most, retune, wait for the "
    "neck to settle, then photograph or sight again. Stop at any resistance. A nut that is stuck, stripped "
    "or bottomed (at the end of its thread) is work for a qualified repairer."
)
_VIEWPOINT = (
    "Seen end on, looking at the adjusting nut, {turn} {verb} a rod with a right-hand thread; some rods have "
    "a left-hand thread and go the other way, so check the first eighth of a turn."
)
TIGHTEN_TEXT = "Tighten the rod: it straightens a neck that bends forwards. " + _VIEWPOINT.format(
    turn="clockwise", verb="tightens"
)
SLACKEN_TEXT = "Slacken the rod: the strings then pull the neck forwards. " + _VIEWPOINT.format(
    turn="anticlockwise", verb="slackens"
)
SINGLE_ACTION_TEXT = (
    "A single-action rod only pulls against the strings: once it is slack it cannot push a back-bow out. "
    "A double-action rod can."
)
_NOT_BY_ROD = {
    "twist": "Twist is not changed by the rod.",
    "s_curve": "An S-curve is not taken out by the rod; straightening one half bends the other more.",
    "rise": "The rise at the last frets lies past the rod's reach.",
    "hump": "A hump at the body joint is not taken out by the rod.",
    "sides_differ": "The rod moves both sides together and does not even them out.",
    "fret_high": "A high fret is levelled, not adjusted by the rod.",
}


@dataclass(frozen=True)
class RodAdvice:
    """Direction for the truss rod, in words with reasons; the caution is never empty."""

    direction: Direction
    text: str
    reasons: tuple[str, ...]
    caution: str


def truss_rod_advice(measured: Measured, thresholds: Thresholds) -> RodAdvice:
    """Direction for the truss rod from the mean relief of both sides and the findings.

    The rod moves both sides together, so their mean decides. The relief's error is nearly common to both
    sides, so the mean keeps the larger of the two uncertainties. Where the last frets rise or the joint has
    a hump, only the frets up to the joint count, with the wanted relief scaled to that shorter span (relief
    of a steady bend goes with span squared); otherwise the rod would be used against what it cannot reach.

    Raises
    ------
    ValueError : an argument is of another type.
    """
    findings = judge(measured, thresholds)
    stated = {finding.code for finding in findings if finding.severity in ("look closer", "fault")}
    reasons = tuple(text for code, text in _NOT_BY_ROD.items() if code in stated)
    k, leaf_mm = thresholds.coverage_k, thresholds.leaf_mm
    sides_mm, scale = _reliefs_mm(measured, findings)
    low = thresholds.wanted_relief_low_mm if scale == 1.0 else 0.0  # with a rise, no bow is worth letting in
    high = thresholds.wanted_relief_high_mm * scale
    mean = (sides_mm[0] + sides_mm[1]) / 2.0
    u = max(measured.bass.relief_u_mm, measured.treble.relief_u_mm)
    if not math.isfinite(mean + u):
        return _advice("cannot tell", "The relief is not known. " + better_photographs(measured), reasons)
    span = "" if scale == 1.0 else " over the frets up to the body"
    figure = f"Mean relief of the two sides{span}: {mean:.2f} mm, wanted {low:.2f} to {high:.2f} mm."
    reasons = (figure, *reasons)
    if "s_curve" in stated:
        return _advice("nothing to gain", "The rod cannot straighten an S-curve.", reasons)
    if min(sides_mm) + k * u < low and max(sides_mm) - k * u > high:
        text = "The two sides ask for opposite directions; the rod moves both together."
        return _advice("nothing to gain", text, reasons)
    if mean - k * u > high:
        return _advice("tighten", TIGHTEN_TEXT, reasons)
    if mean + k * u < low:
        if mean + k * u < 0.0:
            return _advice("slacken", f"{SLACKEN_TEXT} {SINGLE_ACTION_TEXT}", reasons)
        text = f"{SLACKEN_TEXT} Only if strings buzz in the low positions; a straight neck can play well."
        return _advice("slacken", text, reasons)
    if (mean - k * u < low and mean + k * u > high) or not low - leaf_mm <= mean <= high + leaf_mm:
        text = "Whether the rod should be turned cannot be told from these photographs. "
        return _advice("cannot tell", text + better_photographs(measured), reasons)
    if len(reasons) > 1:
        text = "The bow is in the wanted range; what is wrong with this neck is not cured by the rod."
        return _advice("nothing to gain", text, reasons)
    text = "The relief is in the wanted range, or at its edge: leave the rod alone."
    return _advice("leave alone", text, reasons)


def _advice(direction: Direction, text: str, reasons: tuple[str, ...]) -> RodAdvice:
    return RodAdvice(direction, text, reasons, CAUTION)


def _reliefs_mm(measured: Measured, findings: tuple[Finding, ...]) -> tuple[tuple[float, float], float]:
    """Reliefs of both sides on the span the rod can act on, and that span's share squared."""
    z_mm = fret_positions_mm(measured.scale_length_mm, measured.frets)
    joint = joint_index(z_mm, measured.scale_length_mm)
    if joint is None or not any(finding.code in ("rise", "hump") for finding in findings):
        return (measured.bass.relief_mm, measured.treble.relief_mm), 1.0
    reliefs = [
        relief_from_gap(gap_to_chord_mm(z_mm[: joint + 1], -np.asarray(curve.gap_mm[: joint + 1])))[0]
        for curve in (measured.bass, measured.treble)
    ]
    share = float((z_mm[joint] - z_mm[0]) / (z_mm[-1] - z_mm[0]))
    return (reliefs[0], reliefs[1]), share**2
