"""Marking the fretted part by hand, for a photograph in which it was not found."""

import io

import streamlit as st
from PIL import Image, ImageDraw, ImageFont

from app import page_state as state
from app.measuring import Corners, PhotoFile
from app.page_photos import digest, thumbnail
from app.palette import ACCENT, INK, rgb
from vision.photo import Photograph, decode_photograph

Box = tuple[int, int, int, int]  # first column, first row, end column, end row
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
            '<p class="quiet">Read the four corners of the fretted part off the scales: pixels of the '
            "full picture, "
            "across from its left edge and down from its top. Start roughly; the closer look follows "
            "what you type. "
            "A hundredth of the neck's length is near enough, the exact place is then searched for.</p>"
        )
        whole, close, numbers = st.columns([3, 3, 2], gap="medium")
        with numbers:
            corners = _ask_for_corners(file, picture.width, picture.height)
            st.button(
                "Measure again with these corners",
                key=f"_use_corners_{index}",
                on_click=state.mark_corners,
                args=(digest(file), corners),
            )
        with whole:
            full = (0, 0, picture.width, picture.height)
            st.image(
                with_scales(picture.jpeg, full, corners),
                caption="The whole photograph",
                alt=f"{file.name} with pixel scales and the four marked corners",
                width="stretch",
            )
        with close:
            box = box_around(corners, picture.width, picture.height)
            st.image(
                with_scales(cut_part(file.data, file.name, box), box, corners),
                caption="A closer look at the corners",
                alt=f"The marked part of {file.name}, enlarged, with pixel scales",
                width="stretch",
            )


@st.cache_data(show_spinner=False, max_entries=12)
def cut_part(data: bytes, name: str, box: Box) -> bytes:
    """A part of a photograph (first column, first row, end column, end row) at SHOWN_PX, as JPEG."""
    photograph = decode_photograph(data, name)
    if not isinstance(photograph, Photograph):
        raise ValueError(f"name={name!r} is no readable photograph: {photograph.reason}")
    left, top, right, bottom = box
    image = Image.fromarray(photograph.rgb[top:bottom, left:right])
    scale = SHOWN_PX / max(image.size)
    size = (max(1, round(image.width * scale)), max(1, round(image.height * scale)))
    buffer = io.BytesIO()
    image.resize(size, Image.Resampling.BICUBIC).save(buffer, "JPEG", quality=85)
    return buffer.getvalue()


def box_around(corners: Corners, width: int, height: int) -> Box:
    """The corners with a good margin, inside a picture of width by height px."""
    across, down = [x for x, _ in corners], [y for _, y in corners]
    margin = 0.3 * max(max(across) - min(across), max(down) - min(down)) + 20
    left, top = max(0, int(min(across) - margin)), max(0, int(min(down) - margin))
    return (left, top, min(width, int(max(across) + margin) + 1), min(height, int(max(down) + margin) + 1))


def with_scales(jpeg: bytes, box: Box, corners: Corners) -> bytes:
    """A reduced or enlarged part of a picture as JPEG with a scale of its pixels and the corners joined.

    box is the part shown (first column, first row, end column, end row); box and corners are in pixels of the
    full picture, pixel centres at integers.
    """
    image = Image.open(io.BytesIO(jpeg)).convert("RGB")
    left, top, right, bottom = box
    scale = image.width / (right - left)
    draw = ImageDraw.Draw(image)
    font = ImageFont.load_default(size=20)
    step = next((s for s in (10, 20, 50, 100, 200, 500, 1000) if s * scale >= 90), 2000)
    for at in range(0, max(right, bottom), step):
        x, y = (at - left + 0.5) * scale - 0.5, (at - top + 0.5) * scale - 0.5
        if left < at < right:
            draw.line((x, 0, x, image.height), fill=(255, 255, 255), width=1)
            _label(draw, (x, 4), str(at), "mt", font)
        if top < at < bottom:
            draw.line((0, y, image.width, y), fill=(255, 255, 255), width=1)
            _label(draw, (4, y), str(at), "lm", font)
    points = [((x - left + 0.5) * scale - 0.5, (y - top + 0.5) * scale - 0.5) for x, y in corners]
    draw.line([*points, points[0]], fill=(255, 255, 255), width=4)
    draw.line([*points, points[0]], fill=rgb(ACCENT), width=2)
    for number, (x, y) in enumerate(points, 1):
        draw.ellipse((x - 13, y - 13, x + 13, y + 13), outline=(255, 255, 255), width=5)
        draw.ellipse((x - 12, y - 12, x + 12, y + 12), outline=rgb(ACCENT), width=3)
        _label(draw, (x + 17, y - 17), str(number), "lm", font)
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=85)
    return buffer.getvalue()


def _ask_for_corners(file: PhotoFile, width: int, height: int) -> Corners:
    marked = state.corners_of(digest(file)) or _first_guess(width, height)
    corners = []
    for number, (words, start) in enumerate(zip(CORNER_WORDS, marked, strict=True), 1):
        st.html(f'<p class="corner">{number}. {words}</p>')
        across, down = st.columns(2, gap="small")
        key = f"_corner_{digest(file)[:16]}_{number}"
        with across:
            x = st.number_input("across", 0, width - 1, round(start[0]), key=key + "x")
        with down:
            y = st.number_input("down", 0, height - 1, round(start[1]), key=key + "y")
        corners.append((float(x), float(y)))
    return tuple(corners)


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
