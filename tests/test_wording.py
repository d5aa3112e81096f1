"""Figures as people read them, in either unit."""

from app.wording import MILLIMETRES, THOUSANDTHS, degrees, higher_side, in_unit, signed


def test_numbers_as_people_read_them() -> None:
    assert MILLIMETRES.text(-0.213) == "\N{MINUS SIGN}0.21 mm"
    assert MILLIMETRES.text(0.213, sign=True) == "+0.21 mm"
    assert MILLIMETRES.number(-0.001) == "0.00"
    assert THOUSANDTHS.text(0.254) == "10.0 thou"
    assert MILLIMETRES.interval(0.32, 0.01) == "0.30 to 0.34 mm"
    assert signed(0.0, 2, sign=True) == "0.00"
    assert degrees(-0.4, 0.03) == ("\N{MINUS SIGN}0.40°", "\N{MINUS SIGN}0.46° to \N{MINUS SIGN}0.34°")
    assert degrees(0.4, 0.03)[0] == "+0.40°"


def test_a_higher_side_is_named_only_where_the_interval_tells() -> None:
    assert higher_side(0.2, 0.1) == "treble side higher"
    assert higher_side(-0.2, 0.1) == "bass side higher"
    assert {higher_side(sign * 0.19, 0.1) for sign in (-1, 1)} == {"higher side not certain"}


def test_lengths_in_findings_follow_the_unit() -> None:
    text = "Fret 5 stands 0.25 mm above it (95 %: -0.03 to 0.51 mm); twist -0.40 degrees, 24 mm."
    inches = in_unit(text, THOUSANDTHS)
    assert "stands 10 thou above it (95 %: \N{MINUS SIGN}1 to 20 thou)" in inches
    assert in_unit("by 0.04 mm", THOUSANDTHS) == "by 1.6 thou"
    assert inches.endswith("twist \N{MINUS SIGN}0.40 degrees, 24 mm.")
    assert in_unit(text, MILLIMETRES) == text.replace("-", "\N{MINUS SIGN}")


def test_signs_in_findings_are_true_signs() -> None:
    text = "The change of +0.00 mm, once +0.10 mm, is about 3 turns (95 %: +- 0.2)."
    expected = "The change of 0.00 mm, once +0.10 mm, is about 3 turns (95 %: \N{PLUS-MINUS SIGN}0.2)."
    assert in_unit(text, MILLIMETRES) == expected
    assert "once +3.9 thou" in in_unit(text, THOUSANDTHS)
