"""Marking the fretted part by hand, for a photograph in which it was not found."""

import io

import streamlit as st
from PIL import Image, ImageDraw, ImageFont

from app import page_state as state
from app.measuring import Corners, PhotoFile
from app.page_html import esc
from app.page_photos import digest, thumbnail
from app.palette import ACCENT, INK, rgb

SHOWN_PX = 1000
CORNER_WORDS = (
    "Nut, bass side",
    "Nut, treble side",
    "Last fret, treble side",
    "Last fret, bass side",
)


def offer_corners(file: PhotoFile, index: int) -> None:
    """Four corners to type, shown on the picture with pixel scales, and a button that measures again."""
    picture = thumbnail(file.data, file.name, SHOWN_PX)
    if picture.jpeg is None:
        return
    with st.expander(f"Mark the neck in {file.name} yourself"):
        st.html(
            '<p class="quiet">Read the four corners of the fretted part off the scales, in pixels of '
            "the full picture "
            "(across, then down). Within about one part in a hundred of the picture is enough; the "
            "exact place is "
            "then searched for.</p>"
        )
        marked = state.corners_of(digest(file)) or _first_guess(picture.width, picture.height)
        corners = []
        for number, (words, start) in enumerate(zip(CORNER_WORDS, marked, strict=True), 1):
            across, down = st.columns(2)
            key = f"_corner_{digest(file)[:16]}_{number}"
            with across:
                x = st.number_input(
                    f"{number}. {words}: across", 0, picture.width - 1, round(start[0]), key=key + "x"
                )
            with down:
                y = st.number_input(
                    f"{number}. {words}: down", 0, picture.height - 1, round(start[1]), key=key + "y"
                )
            corners.append((float(x), float(y)))
        st.image(
            with_scales(picture.jpeg, picture.width, picture.height, tuple(corners)),
            alt=f"{file.name} with pixel scales and the four marked corners",
        )
        st.button(
            "Measure again with these corners",
            key=f"_use_corners_{index}",
            on_click=state.mark_corners,
            args=(digest(file), tuple(corners)),
        )
        st.html(f'<p class="quiet">The corners are used for {esc(file.name)} only.</p>')


def with_scales(jpeg: bytes, width: int, height: int, corners: Corners) -> bytes:
    """The reduced picture as JPEG with a scale of full-size pixels along two sides and the corners joined.

    width, height and corners are in pixels of the full picture, pixel centres at integers.
    """
    image = Image.open(io.BytesIO(jpeg)).convert("RGB")
    scale = image.width / width
    draw = ImageDraw.Draw(image)
    font = ImageFont.load_default(size=14)
    step = next(s for s in (50, 100, 200, 500, 1000, 2000) if s * scale >= 55 or s == 2000)
    for at in range(step, max(width, height), step):
        place = (at + 0.5) * scale - 0.5
        if at < width:
            draw.line((place, 0, place, image.height), fill=(255, 255, 255), width=1)
            _label(draw, (place, 3), str(at), "mt", font)
        if at < height:
            draw.line((0, place, image.width, place), fill=(255, 255, 255), width=1)
            _label(draw, (3, place), str(at), "lm", font)
    points = [((x + 0.5) * scale - 0.5, (y + 0.5) * scale - 0.5) for x, y in corners]
    draw.line([*points, points[0]], fill=(255, 255, 255), width=4)
    draw.line([*points, points[0]], fill=rgb(ACCENT), width=2)
    for number, (x, y) in enumerate(points, 1):
        draw.ellipse((x - 10, y - 10, x + 10, y + 10), fill=rgb(ACCENT), outline=(255, 255, 255), width=2)
        draw.text((x, y), str(number), fill=(255, 255, 255), anchor="mm", font=font)
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=85)
    return buffer.getvalue()


def _first_guess(width: int, height: int) -> Corners:
    left, right, top, bottom = 0.45 * width, 0.55 * width, 0.3 * height, 0.7 * height
    return ((left, top), (right, top), (right, bottom), (left, bottom))


def _label(
    draw: ImageDraw.ImageDraw,
    at: tuple[float, float],
    text: str,
    anchor: str,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
) -> None:
    draw.text(at, text, fill=(255, 255, 255), anchor=anchor, font=font, stroke_width=2, stroke_fill=rgb(INK))
