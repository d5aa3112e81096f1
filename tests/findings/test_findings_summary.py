"""The readable summary: figures in both units, intervals, every photograph, and refusals."""

import pytest

from tests.findings.records import bow, record, side
from vision.findings import summary_lines
from vision.findings.summary import thousandths
from vision.results import Flag, PhotoResult, Refused
from vision.settings import Thresholds

LIMITS = Thresholds()


def test_thousandths_of_an_inch() -> None:
    assert thousandths(0.254) == "10 thousandths of an inch"
    assert thousandths(-0.0254) == "-1.0 thousandths of an inch"
    assert thousandths(-0.001) == "0.0 thousandths of an inch"


def test_a_measured_neck_is_told_in_full() -> None:
    measured = record(side("bass", bow(0.25)), bow(0.15), twist_deg=-0.6)
    lines = summary_lines(measured, LIMITS)
    text = "\n".join(lines)
    assert all("\n" not in line for line in lines)
    assert "Relief over frets 1 to 22 of a 647.7 mm scale" in text
    at = measured.bass.relief_at_fret
    assert f"bass: +0.25 mm (10 thousandths of an inch) at fret {at}, 95 % 0.23 to 0.27 mm" in text
    assert f"treble: +0.15 mm (6 thousandths of an inch) at fret {at}, 95 % 0.13 to 0.17 mm" in text
    assert "bass minus treble: +0.10 mm (3.9 thousandths of an inch), 95 % 0.09 to 0.11 mm" in text
    assert "fret 1: -0.60 degrees, 95 % -0.64 to -0.56" in text
    assert "Frets out of line: none found" in text
    assert "[look closer] Twist." in text
    assert "Truss rod: nothing to gain." in text
    assert "Caution: Work with the strings tuned to pitch." in text
    for kind in ("bass", "treble", "front"):
        assert f"Photograph {kind}.jpg: {kind}, measured, 8 degrees above the board" in text
    assert "Widths from: front photograph." in text


def test_frets_out_of_line_are_listed() -> None:
    curve = side("bass", bow(0.2))
    curve.deviation_mm[[3, 4, 5, 11]] = 0.09
    assert "Frets out of line: 4 to 6 and 12" in summary_lines(record(curve, bow(0.2)), LIMITS)


def test_a_refusal_gives_reason_and_advice() -> None:
    flag = Flag("glare", "Glare on the board.", "Turn away from the lamp.")
    photo = PhotoResult("a.jpg", "refused", None, (flag,), "No neck was found.", "Show the whole neck.")
    lines = summary_lines(Refused(647.7, 22, "no_neck", "No neck anywhere.", "Try again.", (photo,)), LIMITS)
    assert lines == (
        "Not measured: No neck anywhere.",
        "What to do: Try again.",
        "Photograph a.jpg: no neck found, refused",
        "  No neck was found.",
        "  Show the whole neck.",
        "  Note: Glare on the board. Turn away from the lamp.",
    )


def test_misuse_names_the_argument() -> None:
    with pytest.raises(ValueError, match="outcome must be Measured or Refused, got 7"):
        summary_lines(7, LIMITS)  # type: ignore[arg-type]
