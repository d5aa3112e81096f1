"""Marking the fretted part by hand on a picture: four handles to drag or to move with the arrow keys."""

import base64
import hashlib
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import streamlit as st
from PIL import Image

from app.looking import Corners
from app.widgets.html import quiet
from vision.photo import Photograph, decode_photograph

SHOWN_PX = 2600
CORNER_WORDS = ("Nut, bass side", "Nut, treble side", "Last fret, treble side", "Last fret, bass side")
_HERE = Path(__file__).parent


@st.cache_resource
def _component() -> Any:
    return st.components.v2.component(
        "neck_sighting_corners",
        html='<div class="corners"></div>',
        css=(_HERE / "corners.css").read_text(encoding="utf-8"),
        js=(_HERE / "corners.js").read_text(encoding="utf-8"),
    )


@st.cache_data(show_spinner=False, max_entries=12)
def reduced(data: bytes, name: str) -> tuple[bytes, int, int] | None:
    """The picture reduced to SHOWN_PX as JPEG, with its full width and height; None if it is no picture."""
    photograph = decode_photograph(data, name)
    if not isinstance(photograph, Photograph):
        return None
    height, width = photograph.rgb.shape[:2]
    image = Image.fromarray(photograph.rgb)
    image.thumbnail((SHOWN_PX, SHOWN_PX), Image.Resampling.LANCZOS, reducing_gap=3.0)
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=80)
    return buffer.getvalue(), width, height


def ask_for_corners(data: bytes, name: str, start: Corners | None, key: str) -> Corners | None:
    """The four corners as marked so far; None when the file is no picture."""
    picture = reduced(data, name)
    if picture is None:
        return None
    jpeg, width, height = picture
    first = start or first_guess(width, height)
    quiet(
        "Drag the four rings to the ends of the nut and of the last fret, or go to one with the Tab key and move "
        "it with the arrow keys (Shift: bigger steps). 1 and 2 are the nut, bass string first; 3 and 4 the last fret, "
        "treble first. A hundredth of the neck's length is near enough."
    )
    result = _component()(
        data={
            "key": hashlib.sha256(data).hexdigest() + repr(start),
            "src": "data:image/jpeg;base64," + base64.b64encode(jpeg).decode(),
            "width": width,
            "height": height,
            "corners": [list(corner) for corner in first],
            "near": start is not None,
            "words": list(CORNER_WORDS),
            "alt": f"{name}, to mark the neck on",
        },
        key=key,
        default={"corners": [list(corner) for corner in first]},
        on_corners_change=lambda: None,
    )
    given = result.get("corners") if isinstance(result, Mapping) else None
    return corners_from(given, width, height) or first


def corners_from(given: object, width: int, height: int) -> Corners | None:
    """Corners as the browser sent them, inside a picture of width by height px; None if they are none."""
    if not isinstance(given, (list, tuple)) or len(given) != 4:
        return None
    corners = []
    for point in given:
        if not isinstance(point, (list, tuple)) or len(point) != 2:
            return None
        x, y = point
        if not all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in (x, y)):
            return None
        if not (0 <= x <= width - 1 and 0 <= y <= height - 1):
            return None
        corners.append((float(x), float(y)))
    return (corners[0], corners[1], corners[2], corners[3])


def first_guess(width: int, height: int) -> Corners:
    """A slim upright board in the middle of the picture, nut on top, as the eye expects one."""
    top, bottom = 0.25 * height, 0.75 * height
    return ((0.46 * width, top), (0.54 * width, top), (0.58 * width, bottom), (0.42 * width, bottom))
