"""What was corrected in the figures, and what was not but should be known: for showing, never hidden."""

from app.inspection.tuning import relief_at_pitch
from app.tunings import SLACK, TUNINGS, semitones_down
from app.wording import LengthUnit, in_unit
from vision.fit.frets import fret_positions_mm
from vision.results import Measured

Row = tuple[str, str]


def correction_rows(measured: Measured, tuning: str, lies_level: bool, unit: LengthUnit) -> tuple[Row, ...]:
    """Name and words of each correction: string sag, tuning, single frets."""
    return (
        ("String sag", _sag_words(lies_level)),
        ("Tuning", _tuning_words(measured, tuning, unit)),
        (
            "Single frets",
            "Left out of the relief: it is that of the smooth neck curve, so one high or worn fret does not move it.",
        ),
    )


def provenance_rows(measured: Measured) -> tuple[Row, ...]:
    """How the figures came about."""
    p = measured.provenance
    first, last = p.span_frets
    return (
        ("Scale length and frets, as stated", f"{measured.scale_length_mm:g} mm, {measured.frets} frets"),
        ("Span", f"top of fret {first} to top of fret {last}"),
        ("Widths of the board from", p.depth_from),
        ("Width at the nut", f"{p.nut_width_mm:.2f} mm, standard uncertainty {p.nut_width_u_mm:.2f} mm"),
        ("Width at fret 12", f"{p.width_at_12_mm:.2f} mm, standard uncertainty {p.width_at_12_u_mm:.2f} mm"),
        ("Fret lines fit the pictures within", f"{p.residual_px:.2f} px"),
        ("Intervals", "95 %, which is 1.96 standard uncertainties either side"),
        ("Version", p.version),
    )


def _sag_words(lies_level: bool) -> str:
    if not lies_level:
        return "None: the guitar was not stated to lie flat on its back."
    return (
        "None needed: frets are measured against one another, not against the string. Lying flat, the lowest string "
        "hangs about 0.05 mm on a guitar and 0.2 mm on a bass."
    )


def _tuning_words(measured: Measured, tuning: str, unit: LengthUnit) -> str:
    if tuning not in TUNINGS:
        return "Not stated. Tuned down or slack, a neck shows less relief than at pitch."
    if tuning == TUNINGS[0]:
        return "To pitch, as stated: nothing to correct."
    z_mm = fret_positions_mm(measured.scale_length_mm, measured.frets)
    slack = tuning == SLACK
    down = 0.0 if slack else float(semitones_down(tuning))
    estimate = relief_at_pitch(measured.scale_length_mm, float(z_mm[-1] - z_mm[0]), down, slack)
    return f"{tuning.capitalize()}. {in_unit(estimate.text, unit)} It is not added to the figures."
