"""Small drawings for the page, as SVG text: the neck at the top, and how to photograph.

All are drawn from the same fret ladder, so that the frets stand where they stand on a neck.
"""

import base64
import html

from app.palette import ACCENT, BASS, CARD, GOOD, INK, LINE, MUTED, PAPER, SERIOUS, TREBLE

INLAYS = (3, 5, 7, 9, 12, 15, 17, 19, 21)
FRETS = 22


def svg_image(svg: str, description: str, css_class: str = "drawing") -> str:
    """The drawing as an HTML image with its description for those who do not see it."""
    data = base64.b64encode(svg.encode()).decode()
    return f'<img class="{css_class}" alt="{html.escape(description)}" src="data:image/svg+xml;base64,{data}">'


def masthead() -> str:
    """A neck lying along the page, a straight line above it and the dip below exaggerated."""
    parts = [_rect(0, 26, 1000, 34, "#5A3B2A"), _rect(0, 26, 7, 34, "#EFE7D3")]
    for k in range(1, FRETS + 1):
        x = 1000 * _along(k) / _along(FRETS + 1)
        parts.append(_line(x, 26, x, 60, "#D9D5CC", 3))
    for k in INLAYS:
        x = 1000 * (_along(k) + _along(k - 1)) / 2 / _along(FRETS + 1)
        for y in (34, 52) if k == 12 else (43,):
            parts.append(f'<circle cx="{x:.1f}" cy="{y}" r="4" fill="#EFE7D3"/>')
    parts.append(_line(0, 9, 1000, 9, INK, 1.2))
    parts.append(f'<path d="M0 9 Q 420 31 1000 9" fill="none" stroke="{ACCENT}" stroke-width="2.2"/>')
    return _svg(1000, 62, "".join(parts))


def where_to_stand() -> str:
    """Side view: the guitar on a table, the phone a hand's width above the line of the board."""
    eye_x, eye_y, board_y = 318.0, 62.0, 104.0
    parts = [
        _line(8, 128, 340, 128, LINE, 2),
        '<path d="M22 106 h46 v16 h-40 z" fill="#B98F62"/>',
        _rect(62, board_y, 108, 7, "#B98F62"),
        _rect(66, board_y - 3, 112, 4, "#5A3B2A"),
        f'<path d="M150 {board_y + 2} h84 q10 0 10 10 v4 q0 8 -10 8 h-84 z" fill="{ACCENT}"/>',
        _line(66, board_y - 7, 226, board_y - 8, MUTED, 1.4),
        _line(66, board_y - 4, eye_x, eye_y, INK, 1.4, "5 4"),
        _line(178, board_y - 4, 334, board_y - 4, INK, 1, "2 3"),
        _rect(eye_x - 4, eye_y - 15, 8, 30, INK),
        _line(eye_x + 13, eye_y, eye_x + 13, board_y - 4, ACCENT, 1.6),
        _line(eye_x + 9, eye_y, eye_x + 17, eye_y, ACCENT, 1.6),
        _line(eye_x + 9, board_y - 4, eye_x + 17, board_y - 4, ACCENT, 1.6),
        _text(302, 40, "a hand's width up", "end"),
        _text(192, 154, "one to two metres: step back and zoom in", "middle"),
        _line(66, 137, eye_x, 137, MUTED, 1.2),
        _line(66, 133, 66, 141, MUTED, 1.2),
        _line(eye_x, 133, eye_x, 141, MUTED, 1.2),
    ]
    return _svg(348, 160, "".join(parts))


def along_each_string() -> str:
    """Two frames: the neck in perspective, once the bass string upright in the middle, once the treble."""
    parts = []
    for left, side, colour in ((8, -1, BASS), (180, 1, TREBLE)):
        parts.append(_frame(left, 8, 160, 132))
        parts.append(_neck_in_perspective(left + 80, side, colour))
        parts.append(_text(left + 80, 154, "bass string" if side < 0 else "treble string", "middle"))
    return _svg(348, 160, "".join(parts))


def in_the_frame() -> str:
    """Two frames: the whole neck through the middle, and one too near with its ends and an edge cut off."""
    parts = [_frame(8, 8, 160, 132), _neck_in_perspective(88, 0, BASS, string=False)]
    parts += [
        _text(88, 154, "edges and all frets in", "middle"),
        f'<path d="M142 124 l7 8 l13 -18" fill="none" stroke="{GOOD}" stroke-width="4"/>',
    ]
    clip = '<clipPath id="cut"><rect x="181" y="9" width="158" height="130" rx="3"/></clipPath>'
    near = _neck_in_perspective(0, 0, BASS, string=False)
    parts += [
        _frame(180, 8, 160, 132),
        f'{clip}<g clip-path="url(#cut)"><g transform="translate(216 -58) scale(1.75)">{near}</g></g>',
        f'<path d="M312 112 l20 20 m0 -20 l-20 20" stroke="{CARD}" stroke-width="8"/>',
        f'<path d="M312 112 l20 20 m0 -20 l-20 20" stroke="{SERIOUS}" stroke-width="4"/>',
        _text(260, 154, "cut off, too near", "middle"),
    ]
    return _svg(348, 160, "".join(parts))


def from_the_front() -> str:
    """One upright frame with the whole fretted part, seen squarely from the front."""
    left, top, tall = 124, 6, 136
    parts = [_frame(left, top, 100, tall)]
    y0, y1 = top + 12, top + 110
    corners = f"{left + 43},{y0} {left + 57},{y0} {left + 60},{y1} {left + 40},{y1}"
    parts.append(f'<path d="M{left + 22} {y1 + 18} q-4 -32 20 -34 h16 q24 2 20 34 z" fill="{ACCENT}"/>')
    parts.append(f'<polygon points="{corners}" fill="#5A3B2A"/>')
    for k in range(FRETS + 1):
        y = y0 + (y1 - y0) * _along(k) / _along(FRETS)
        half = 7 + 3 * (y - y0) / (y1 - y0)
        parts.append(_line(left + 50 - half, y, left + 50 + half, y, "#E6E1D6", 1))
    parts += [
        _line(left + 112, y0, left + 112, y1, MUTED, 1.2),
        _line(left + 108, y0, left + 116, y0, MUTED, 1.2),
        _line(left + 108, y1, left + 116, y1, MUTED, 1.2),
        _text(left + 120, (y0 + y1) / 2 - 3, "nut to last fret,", "start"),
        _text(left + 120, (y0 + y1) / 2 + 12, "nothing cut off", "start"),
        _text(left + 50, 155, "from well above", "middle"),
    ]
    return _svg(348, 160, "".join(parts))


def _neck_in_perspective(middle: float, side: int, colour: str, *, string: bool = True) -> str:
    """The board from nut (far) to last fret (near); what lies on `side` (0: centre) runs upright in the middle."""
    far_y, near_y, far_half, near_half = 26.0, 118.0, 15.0, 34.0
    parts = []

    def edges(share: float) -> tuple[float, float, float]:
        # Perspective: equal steps along the neck crowd towards the far end.
        ratio = far_half / near_half
        scale = ratio / (1 - share * (1 - ratio))
        y = far_y + (near_y - far_y) * (scale - ratio) / (1 - ratio)
        half = near_half * scale
        centre = middle - side * 0.8 * half
        return centre - half, centre + half, y

    far, near = edges(0.0), edges(1.0)
    parts.append(
        f'<polygon points="{far[0]:.1f},{far[2]:.1f} {far[1]:.1f},{far[2]:.1f} '
        f'{near[1]:.1f},{near[2]:.1f} {near[0]:.1f},{near[2]:.1f}" fill="#5A3B2A"/>'
    )
    for k in range(FRETS + 1):
        low, high, y = edges(_along(k) / _along(FRETS))
        parts.append(_line(low, y, high, y, "#E6E1D6", 1.1))
    if string:
        parts.append(_line(middle, far[2] - 4, middle, near[2] + 14, colour, 2.4))
    return "".join(parts)


def _along(fret: float) -> float:
    """Share of the scale length between the nut and a fret."""
    return float(1.0 - 2.0 ** (-fret / 12.0))


def _svg(width: int, height: int, body: str) -> str:
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}">{body}</svg>'


def _rect(x: float, y: float, width: float, height: float, fill: str) -> str:
    return f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" fill="{fill}"/>'


def _frame(x: float, y: float, width: float, height: float) -> str:
    return (
        f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="4" fill="{PAPER}" '
        f'stroke="{INK}" stroke-width="1.4"/>'
    )


def _line(x0: float, y0: float, x1: float, y1: float, colour: str, width: float, dash: str = "") -> str:
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}" stroke="{colour}" '
        f'stroke-width="{width:g}"{dashes}/>'
    )


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" font-family="sans-serif" font-size="12.5" fill="{INK}" '
        f'text-anchor="{anchor}" stroke="{CARD}" stroke-width="3" '
        f'paint-order="stroke">{html.escape(words)}</text>'
    )
