"""Text of users and of imported files made harmless for a printed page: one line, bounded, nothing that steers.

The PDF library writes text as glyphs, so markup in it is only ever seen, never obeyed. What is left to guard against
are characters that reorder, hide or pile up on what stands beside them.
"""

import re
import unicodedata

_JOINERS = "\u200c\u200d"  # spelling of some scripts needs them; they reorder nothing
_MARKS_MAX = 2  # combining marks on one letter; more would climb over the lines above and below
_RIGHT_TO_LEFT = {"R", "AL", "AN"}
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|mm\b|thou\b|degrees\b|px\b))")
ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"


def plain(text: str, most: int) -> str:
    """The text on one line, of at most `most` letters, the last an ellipsis where it was cut.

    Control and formatting characters (direction marks, zero-width spaces, surrogates, private use) are left out and
    combining marks are bounded.

    Raises
    ------
    ValueError : most is below 1.
    """
    if most < 1:
        raise ValueError(f"most={most!r} leaves no letter")
    kept: list[str] = []
    marks = 0
    # More than can be kept need not be looked at: texts may be long, and marks are dropped before counting.
    for letter in unicodedata.normalize("NFC", text[: 8 * most + 64]):
        kind = unicodedata.category(letter)
        if letter.isspace() and letter != "\N{NARROW NO-BREAK SPACE}":
            letter = " "
        elif kind.startswith("C") and letter not in _JOINERS:
            continue
        marks = marks + 1 if kind.startswith("M") else 0
        if marks <= _MARKS_MAX:
            kept.append(letter)
    line = " ".join("".join(kept).split(" ")).strip()
    while "  " in line:
        line = line.replace("  ", " ")
    return line if len(line) <= most else line[: most - 1].rstrip() + ELLIPSIS


def sentence(text: str) -> str:
    """The text with a capital first and a full stop at its end; empty stays empty."""
    text = text.strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" + ELLIPSIS else ".")


def tied(text: str) -> str:
    """The text with figures kept on the line of their units."""
    return _BEFORE_UNIT.sub("\N{NO-BREAK SPACE}", text)


def needs_shaping(text: str) -> bool:
    """True where letters change with their neighbours or run from right to left."""
    return any(
        unicodedata.combining(letter) or letter in _JOINERS or unicodedata.bidirectional(letter) in _RIGHT_TO_LEFT
        for letter in text
    )
