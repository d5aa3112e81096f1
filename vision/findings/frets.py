"""Single frets above or below the smooth curve of the neck.

Each neck is asked 2 N questions at once, so k standard uncertainties would cry out about good frets far too
often. The factor against zero is widened so that the chance of any false statement on a neck stays what k
promises for one (Bonferroni): for k = 2 and 22 frets it is 3.3. A fret past that and past the limit is named
as one that may be out of line, and as out of line when the limit lies k standard uncertainties behind it.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from vision.findings.finding import Finding, better_photographs
from vision.results import Measured, Side, SideCurve
from vision.settings import Thresholds

_FLOOR_U_MM = 1e-6  # a stated uncertainty of zero is no knowledge


def family_coverage(k: float, questions: int) -> float:
    """Coverage factor for many questions with the joint error chance of one question at k.

    Raises
    ------
    ValueError : questions is below one.
    """
    if questions < 1:
        raise ValueError(f"questions={questions!r} must be at least 1")
    return float(-ndtri(ndtr(-k) / questions))  # scipy.stats says the same, but imports slowly


def fret_findings(measured: Measured, thresholds: Thresholds) -> tuple[Finding, ...]:
    """Frets out of line, those that cannot be judged, and a closing word when none is out of line."""
    k = family_coverage(thresholds.coverage_k, 2 * measured.frets)
    out = {curve.side: _out_of_line(curve, thresholds, k) for curve in (measured.bass, measured.treble)}
    found = [
        _fret_finding(fret, measured, thresholds, k, out)
        for fret in sorted(set(out["bass"]) | set(out["treble"]))
    ]
    hidden = {
        curve.side: tuple(
            int(i) + 1 for i in np.flatnonzero(_hidden(curve, thresholds, k)) if i + 1 not in out[curve.side]
        )
        for curve in (measured.bass, measured.treble)
    }
    for side, frets in hidden.items():
        if frets:
            found.append(
                Finding(
                    "cannot_tell_frets",
                    f"Frets on the {side} side: cannot tell",
                    f"{fret_list(frets)} could not be judged under the {side} string. "
                    + better_photographs(measured),
                    "cannot tell",
                    side,
                    frets,
                    None,
                    None,
                    "mm",
                )
            )
    seen = 2 * measured.frets - len(hidden["bass"]) - len(hidden["treble"])
    if not (out["bass"] or out["treble"]) and seen:
        reach = max(
            thresholds.fret_out_of_line_mm,
            *(
                float(k * curve.deviation_u_mm[i])
                for curve in (measured.bass, measured.treble)
                for i in range(measured.frets)
                if i + 1 not in hidden[curve.side]
            ),
        )
        found.append(
            Finding(
                "frets_in_line",
                "Frets in line",
                f"No fret that could be judged is out of line by more than {_rounded_up(reach):.2f} mm.",
                "fine",
                None,
                (),
                None,
                None,
                "mm",
            )
        )
    return tuple(found)


def _rounded_up(bound_mm: float) -> float:
    """A bound in hundredths of a millimetre that still holds."""
    return math.ceil(100.0 * bound_mm - 1e-6) / 100.0


def fret_list(frets: tuple[int, ...]) -> str:
    """ "Fret 5", "Frets 5 and 7", "Frets 1 to 4 and 9": runs of three or more are joined."""
    runs: list[list[int]] = []
    for fret in sorted(frets):
        if runs and fret == runs[-1][-1] + 1:
            runs[-1].append(fret)
        else:
            runs.append([fret])
    words = [
        word
        for run in runs
        for word in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(fret) for fret in run])
    ]
    joined = words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
    return f"{'Fret' if len(frets) == 1 else 'Frets'} {joined}"


def _hidden(curve: SideCurve, thresholds: Thresholds, k: float) -> NDArray[np.bool_]:
    """Frets whose interval is wider than a fault, or that hold no figure."""
    known = np.isfinite(curve.deviation_mm) & np.isfinite(curve.deviation_u_mm)
    return np.asarray(~(known & (k * curve.deviation_u_mm <= thresholds.fret_needs_levelling_mm)))


def _out_of_line(curve: SideCurve, thresholds: Thresholds, k: float) -> dict[int, float]:
    """Fret number to deviation, where it is past the limit and past its own uncertainty."""
    size = np.abs(curve.deviation_mm)
    reach = k * np.maximum(curve.deviation_u_mm, _FLOOR_U_MM)
    beyond = (size > thresholds.fret_out_of_line_mm) & (size > reach)
    return {int(i) + 1: float(curve.deviation_mm[i]) for i in np.flatnonzero(beyond)}


def _fret_finding(
    fret: int,
    measured: Measured,
    thresholds: Thresholds,
    k: float,
    out: dict[Side, dict[int, float]],
) -> Finding:
    by_side = {side: values[fret] for side, values in out.items() if fret in values}
    side = max(by_side, key=lambda name: abs(by_side[name]))
    value = by_side[side]
    both = len(by_side) == 2 and math.prod(by_side.values()) > 0.0
    curve = measured.bass if side == "bass" else measured.treble
    u = float(curve.deviation_u_mm[fret - 1])
    high = value > 0.0
    word = "high" if high else "low"
    certain = abs(value) - thresholds.coverage_k * u > thresholds.fret_out_of_line_mm
    fault = abs(value) - k * u > thresholds.fret_needs_levelling_mm
    place = "on both sides" if both else f"on the {side} side"
    if len(by_side) == 2 and not both:
        place += " and the other way on the other side"
    meaning = (
        "Notes behind it may buzz on it." if high else "Notes stopped on it may buzz on the fret after it."
    )
    if not certain:
        meaning += (
            f" The limit of {thresholds.fret_out_of_line_mm:.2f} mm is within its uncertainty: check it with "
            "a short straight rocker over three frets."
        )
    remedy = " It wants levelling." if fault and high else " It wants a fretwork repair." if fault else ""
    return Finding(
        f"fret_{'' if certain else 'maybe_'}{word}",
        f"Fret {fret} {'' if certain else 'maybe '}{word} {place}",
        f"Fret {fret} stands {abs(value):.2f} mm {'above' if high else 'below'} the curve of the neck "
        f"{place}. {meaning}{remedy} The truss rod does not change that.",
        "fault" if fault else "look closer",
        None if both else side,
        (fret,),
        value,
        u,
        "mm",
    )
