"""Small pieces of HTML for the page. Everything that came from outside is escaped here."""

import html
from pathlib import Path

import streamlit as st

from app.drawings import masthead, svg_image
from vision.results import Flag

CSS_FILE = Path(__file__).with_name("page.css")


def esc(text: object) -> str:
    """Text made harmless inside HTML."""
    return html.escape(str(text))


def show_masthead() -> None:
    """Style sheet, name and what the page does."""
    st.html(CSS_FILE)
    neck = svg_image(
        masthead(), "A neck seen from the front under a straight line and a curve that bows away", ""
    )
    st.html(
        '<div class="masthead"><h1>Neck Sighting</h1>'
        "<p>Is this neck straight? Photographs down the neck become relief under both outer strings, "
        "twist and "
        f"uneven frets, each with how sure it is.</p>{neck}</div>"
    )


def show_step(number: int, title: str, words: str = "") -> None:
    """The head of one part of the page."""
    quiet = f'<p class="quiet">{esc(words)}</p>' if words else ""
    st.html(f'<div class="step"><span class="dot">{number}</span><h2>{esc(title)}</h2></div>{quiet}')


def flag_html(flag: Flag) -> str:
    """A flag with what to do about it."""
    return f'<p class="flag">{esc(flag.text)} <strong>{esc(flag.advice)}</strong></p>'


def sentence(text: str | None) -> str:
    """Text that starts with a capital and ends with a full stop; empty for None."""
    text = (text or "").strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")
