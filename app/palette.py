"""The colours of the page, the plots and the drawn-on pictures. Text colours hold 4.5:1 on PAPER and CARD."""

PAPER = "#F6F1E6"
CARD = "#FFFDF8"
INK = "#29231D"
MUTED = "#5D5348"
LINE = "#CFC4B0"
ACCENT = "#7B3420"  # rosewood
BASS = "#1B5A7D"  # blue and orange stay apart for every kind of colour vision
TREBLE = "#AD4A10"
WANTED = "#DFE6CF"  # the range usually wanted, as a shade
GOOD, NOTICE, SERIOUS = "#3F5E2A", "#7A5200", "#9B1C1C"


def rgb(colour: str) -> tuple[int, int, int]:
    """(red, green, blue), 0 to 255, of a "#RRGGBB" colour."""
    if len(colour) != 7 or colour[0] != "#":
        raise ValueError(f"colour={colour!r} is not of the form #RRGGBB")
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def rgba(colour: str, opacity: float) -> str:
    """The colour as CSS text with an opacity from 0 to 1."""
    red, green, blue = rgb(colour)
    return f"rgba({red}, {green}, {blue}, {opacity:g})"
