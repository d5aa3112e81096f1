"""How to photograph the neck, with small drawings."""

import streamlit as st

from app.drawings import along_each_string, from_the_front, svg_image, where_to_stand

CARDS = (
    (
        where_to_stand(),
        "Side view: a phone one to two metres from the nut, a hand's width above the line of the board",
        "Where to stand",
        "Tune to pitch. Lay the guitar down or lean it, and stand at either end. Hold the phone a "
        "hand's width above "
        "the line of the board. Step back one to two metres and zoom in: near pictures blur and bend.",
    ),
    (
        along_each_string(),
        "Two pictures: the neck from low behind, once with the bass and once with the treble string upright",
        "Two along the outer strings",
        "One looking along the bass string, one along the treble string. The neck runs through the "
        "middle of the "
        "picture; both edges and every fret from the first to the last are in view and sharp.",
    ),
    (
        from_the_front(),
        "One upright picture of the whole fretted part from the front",
        "And one from the front",
        "The whole fretted part from above or the front, nothing cut off. It fixes the widths of the "
        "board and makes "
        "the relief about ten times surer. Without it, twist and single frets are still sharp.",
    ),
)


def show_help() -> None:
    """Three cards, side by side where there is room."""
    cards = "".join(
        f'<div class="card">{svg_image(svg, words)}<h3>{title}</h3><p>{text}</p></div>'
        for svg, words, title, text in CARDS
    )
    st.html(f'<div class="grid wide">{cards}</div>')
    st.html(
        '<p class="quiet">Soft daylight from the side is best; turn the board out of the glare of a lamp. '
        "Send the pictures as the phone made them, not cropped, straightened or edited.</p>"
    )
