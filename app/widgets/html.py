"""Small pieces of HTML for the screens. Everything that came from outside is escaped here."""

import hashlib
import html
from pathlib import Path

import streamlit as st

from app.drawings import masthead, svg_image
from vision.results import Flag

CSS_FILE = Path(__file__).parent.parent / "page.css"


def esc(text: object) -> str:
    """Text made harmless inside HTML."""
    return html.escape(str(text))


def show_masthead() -> None:
    """Name and what the program does, for the first screen."""
    neck = svg_image(masthead(), "A neck seen from the front under a straight line and a curve that bows away", "")
    st.html(
        '<div class="masthead"><h1>Neck Sighting</h1>'
        "<p>Is this neck straight, and is the guitar worth its price? Photographs down the neck become relief, "
        "twist and uneven frets, each with how sure it is; with a look at the rest they become an offer.</p>"
        f"{neck}</div>"
    )


def show_title(title: str, words: str = "") -> None:
    """The head of a screen."""
    quiet = f'<p class="quiet">{esc(words)}</p>' if words else ""
    st.html(f'<div class="screen-title"><h1>{esc(title)}</h1>{quiet}</div>')


def show_part(title: str, words: str = "") -> None:
    """The head of one part of a screen."""
    quiet = f'<p class="quiet">{esc(words)}</p>' if words else ""
    st.html(f'<div class="part"><h2>{esc(title)}</h2>{quiet}</div>')


def quiet(text: str) -> None:
    """A line of small print; text is trusted HTML."""
    st.html(f'<p class="quiet">{text}</p>')


def show_wrong(text: str) -> None:
    """Why what was typed is not kept; text is trusted HTML."""
    st.html(f'<p class="field-wrong" role="alert">{text}</p>')


def flag_html(flag: Flag) -> str:
    """A flag with what to do about it."""
    return f'<p class="flag">{esc(flag.text)} <strong>{esc(flag.advice)}</strong></p>'


def caution_html(text: str) -> str:
    """A warning that something can hurt a person or the instrument."""
    return f'<p class="caution"><strong>Caution.</strong> {esc(text)}</p>'


def start_at_top(place: str) -> None:
    """Show a screen from its top when place differs from the place shown before, as any page does that is opened.

    place may come from the address, so only its hash is written into the script.
    """
    name = hashlib.sha256(place.encode()).hexdigest()
    st.html(
        f"<script>if (window.neckSightingPlace !== '{name}') {{ window.neckSightingPlace = '{name}';"
        "document.querySelector('[data-testid=stMain]')?.scrollTo({ top: 0, behavior: 'instant' }); }</script>",
        unsafe_allow_javascript=True,
    )


def table_html(rows: tuple[tuple[str, str], ...]) -> str:
    """Names and values in two columns."""
    body = "".join(f"<tr><th scope=row>{esc(name)}</th><td>{esc(value)}</td></tr>" for name, value in rows)
    return f'<table class="facts">{body}</table>'


def sentence(text: str | None) -> str:
    """Text that starts with a capital and ends with a full stop; empty for None."""
    text = (text or "").strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")
