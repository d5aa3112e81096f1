"""How to photograph the neck, with small drawings of our own."""

import streamlit as st

from app.drawings import along_each_string, from_the_front, in_the_frame, svg_image, where_to_stand

CARDS = (
    (
        where_to_stand(),
        "Side view: a phone one to two metres from the nut, a hand's width above the line of the board",
        "1. Where to stand",
        "At either end of the guitar, one to two metres away. Hold the phone a hand's width above the line of the "
        "board, step back and zoom in: near pictures blur and bend.",
    ),
    (
        in_the_frame(),
        "Two frames: the neck through the middle with both edges and all frets in view; and one cut off, crossed out",
        "2. What must be in the picture",
        "The neck through the middle, both edges of the board and every fret from first to last, sharp. Tune to pitch; "
        "no capo, no hand, no strong lamp in the frets.",
    ),
    (
        along_each_string(),
        "Two pictures: the neck from low behind, once with the bass and once with the treble string upright",
        "3. Two along the outer strings",
        "One looking along the bass string, one along the treble string. They show twist and single frets sharply.",
    ),
    (
        from_the_front(),
        "One upright picture of the whole fretted part from the front",
        "4. And one from the front",
        "In a low view a gentle bow looks like a slightly different distance. The front view fixes the board's widths, "
        "and with them the distance: the relief becomes about three times surer. Best from well above the "
        "board, not from straight over it.",
    ),
)


def show_help() -> None:
    """Four cards, side by side where there is room."""
    cards = "".join(
        f'<div class="card">{svg_image(svg, words)}<h3>{title}</h3><p>{text}</p></div>'
        for svg, words, title, text in CARDS
    )
    st.html(f'<div class="grid two">{cards}</div>')
    st.html(
        '<p class="quiet">Soft daylight from the side is best. Give the pictures as the phone made them: not cropped, '
        "not straightened, not edited. No front picture? Two widths of the board, measured, help a little.</p>"
        '<p class="quiet">Strings are under tension: keep your eyes out of their plane, and ask before you touch.</p>'
    )
