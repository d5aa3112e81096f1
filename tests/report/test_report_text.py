"""User text made harmless: one line, bounded, nothing that steers what stands beside it."""

import unicodedata

import numpy as np
import pytest

from app.report.plain_text import ELLIPSIS, needs_shaping, plain, sentence, tied


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("  two\n\tlines \u2028 here ", "two lines here"),
        ("a\u202eb\u2066c\u200bd\ufeffe", "abcde"),
        ("\x00\x07bell\x7f\x9b", "bell"),
        ("\ud800lone", "lone"),
        ("\ue000private", "private"),
        ("e\u0301", "\u00e9"),
        ("x" + "\u0301" * 50, "x\u0301\u0301"),
        ("\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645", "\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645"),
        ("Łódź €₿ <b>", "Łódź €₿ <b>"),
        ("", ""),
    ],
)
def test_plain(text: str, wanted: str) -> None:
    assert plain(text, 200) == wanted


def test_plain_is_bounded_and_marks_the_cut() -> None:
    assert plain("abcdef", 6) == "abcdef"
    assert plain("abcdefg", 6) == "abcde" + ELLIPSIS
    assert plain("abcd efgh", 6) == "abcd" + ELLIPSIS
    assert plain("ab", 1) == ELLIPSIS


def test_plain_holds_its_promise_for_any_letters() -> None:
    rng = np.random.default_rng(7)
    for _ in range(200):
        text = "".join(chr(k) for k in rng.integers(0, 0x3000, 60))
        for most in (1, 5, 40):
            line = plain(text, most)
            assert len(line) <= most
            assert all(unicodedata.category(c) not in ("Cc", "Cs", "Co", "Cn", "Zl", "Zp") for c in line)
            assert "  " not in line
            assert line == line.strip()


@pytest.mark.parametrize("most", [0, -3])
def test_plain_wants_room_for_a_letter(most: int) -> None:
    with pytest.raises(ValueError, match=f"most={most} leaves no letter"):
        plain("x", most)


def test_sentences() -> None:
    assert sentence(" take it again ") == "Take it again."
    assert sentence("Really?") == "Really?"
    assert sentence("cut" + ELLIPSIS) == "Cut" + ELLIPSIS
    assert sentence("  ") == ""


def test_figures_stay_with_their_units() -> None:
    assert tied("0.21 mm and 95 % of 3 frets") == "0.21\u00a0mm and 95\u00a0% of 3 frets"


@pytest.mark.parametrize(
    ("text", "wanted"), [("plain Łódź", False), ("\u05d2", True), ("\u0643", True), ("x\u0301", True), ("₿ 3", False)]
)
def test_shaping_is_for_those_who_need_it(text: str, wanted: bool) -> None:
    assert needs_shaping(text) is wanted
