"""Draw on a photograph what was seen in it: fret tops, strings, fret numbers, and what was left out.

Pure: pixels and a record in, pixels out. Points are (x, y) px of the full picture with pixel centres at
integers; pictures are (H, W, 3) uint8 RGB arrays.
"""

import io
import math
from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from app.palette import CARD, INK, MUTED, SERIOUS, rgb
from vision.results import Array, PhotoResult, PhotoTrace

Picture = NDArray[np.uint8]
Colour = tuple[int, int, int]

LONG_SIDE_PX = 1400
SCALE_MAX = 6
REDUCED_LONG_SIDE_PX = 1000
NUMBER_SIZE_PX, NUMBER_ROOM_PX = 26, 34.0  # readable when shown a third as large
# Bright on wood and metal alike, and apart in lightness as well as hue for every kind of colour vision.
FRET: Colour = (64, 240, 255)
UNUSED: Colour = (255, 150, 235)
STRING: Colour = (255, 236, 120)
BASS_DOT: Colour = (40, 130, 255)
TREBLE_DOT: Colour = (255, 140, 30)
DARK: Colour = (20, 16, 12)
SHIFT_BITS = 5  # cv2 draws at 1/32 px
KIND_WORDS = {"bass": "along the bass string", "treble": "along the treble string", "front": "from the front"}


@dataclass(frozen=True)
class Crop:
    """A cut-out of the full picture, enlarged: x0, y0 its first column and row, scale the enlargement."""

    x0: int
    y0: int
    width: int
    height: int
    scale: float

    def to_crop_px(self, points_px: Array) -> Array:
        """Full-picture points (..., 2) in the enlarged cut-out; pixel centres stay at integers."""
        return np.asarray((points_px - [self.x0, self.y0] + 0.5) * self.scale - 0.5)


def overlay_jpeg(picture: Picture, photo: PhotoResult, *, strip: bool = True) -> bytes:
    """The drawn-on picture as JPEG bytes, with or without the strip of text below it."""
    buffer = io.BytesIO()
    Image.fromarray(draw_overlay(picture, photo, strip=strip)).save(buffer, "JPEG", quality=88, subsampling=0)
    return buffer.getvalue()


def draw_overlay(picture: Picture, photo: PhotoResult, *, strip: bool = True) -> Picture:
    """The neck cut out and enlarged with what was seen on it; without a trace the whole picture, reduced.

    Parameters
    ----------
    picture : (H, W, 3) uint8, the upright full-size photograph; it is not changed.
    photo : what the measurement gave for this photograph.
    strip : whether a strip of text below says which photograph it is and what the marks mean.

    Returns
    -------
    (h, w, 3) uint8 picture about LONG_SIDE_PX on its long side.
    """
    if photo.trace is None or not np.isfinite(photo.trace.fret_line_px).any():
        height, width = picture.shape[:2]
        crop = Crop(0, 0, width, height, min(1.0, REDUCED_LONG_SIDE_PX / max(width, height)))
        shown = cut_out(picture, crop)
    else:
        crop = neck_crop(photo.trace, picture.shape[1], picture.shape[0])
        shown = cut_out(picture, crop)
        _draw_lines(shown, photo.trace, crop)
        shown = _draw_numbers(shown, photo.trace, crop)
    return np.concatenate([shown, _text_strip(shown.shape[1], photo, crop.scale)]) if strip else shown


def neck_crop(trace: PhotoTrace, width: int, height: int) -> Crop:
    """The cut-out that holds nut and frets with a margin, inside a picture of width by height px."""
    points = np.concatenate([trace.fret_line_px.reshape(-1, 2), trace.nut_px])
    points = points[np.isfinite(points).all(axis=1)]
    low, high = points.min(axis=0), points.max(axis=0)
    long_side = float((high - low).max())
    # A front view is a thin sliver: keep at least half as much across, so that numbers and text find room.
    half = np.maximum((high - low) / 2 + 0.10 * long_side, 0.30 * long_side) + 4.0
    middle = (low + high) / 2
    first = np.clip(np.floor(middle - half), 0, [width - 1, height - 1]).astype(int)
    last = np.clip(np.ceil(middle + half), first + 1, [width, height]).astype(int)
    wide, tall = int(last[0] - first[0]), int(last[1] - first[1])
    scale = LONG_SIDE_PX / max(wide, tall)
    if scale >= 1:
        scale = min(float(SCALE_MAX), max(1.0, round(2 * scale) / 2))
    return Crop(int(first[0]), int(first[1]), wide, tall, scale)


def cut_out(picture: Picture, crop: Crop) -> Picture:
    """The crop of picture, enlarged or reduced, as a new array."""
    part = picture[crop.y0 : crop.y0 + crop.height, crop.x0 : crop.x0 + crop.width]
    size = (max(1, round(crop.width * crop.scale)), max(1, round(crop.height * crop.scale)))
    how = cv2.INTER_CUBIC if crop.scale > 1 else cv2.INTER_AREA
    return np.ascontiguousarray(cv2.resize(part, size, interpolation=how), dtype=np.uint8)


def numbered_frets(gap_px: Array, last: int) -> list[int]:
    """Which of `last` frets get a number when neighbours stand gap_px (last - 1,) apart.

    All of them where there is room; else the last fret and the ones with inlays come first. A number needs
    NUMBER_ROOM_PX to itself.
    """
    at = np.concatenate([[0.0], np.cumsum(gap_px)])
    order = [last, 1, 12, 5, 7, 3, 9, 15, 17, 19, 21, 24, *range(1, last + 1)]
    chosen: list[int] = []
    for fret in order:
        if 1 <= fret <= last and all(abs(at[fret - 1] - at[k - 1]) >= NUMBER_ROOM_PX for k in chosen):
            chosen.append(fret)
    return sorted(chosen)


def _draw_lines(shown: Picture, trace: PhotoTrace, crop: Crop) -> None:
    for string in trace.string_px:
        _polyline(shown, crop.to_crop_px(string), STRING)
    for line, used in zip(trace.fret_line_px, trace.used_fret, strict=True):
        points = crop.to_crop_px(line)
        if used:
            _polyline(shown, points, FRET)
        else:
            for piece in _dashes(points):
                _polyline(shown, piece, UNUSED)
    nut = crop.to_crop_px(trace.nut_px)
    _polyline(shown, nut, STRING, thickness=2)
    for tops, colour in ((trace.bass_top_px, BASS_DOT), (trace.treble_top_px, TREBLE_DOT)):
        for point in crop.to_crop_px(tops):
            if np.isfinite(point).all():
                _dot(shown, point, colour)


def _draw_numbers(shown: Picture, trace: PhotoTrace, crop: Crop) -> Picture:
    """Fret numbers beside the treble ends of the frets, outside the board."""
    lines = crop.to_crop_px(trace.fret_line_px)
    ends = [(line[seen[0]], line[seen[-1]]) for line in lines if len(seen := _seen(line)) >= 2]
    frets = [k for k, line in enumerate(lines, 1) if len(_seen(line)) >= 2]
    if len(frets) < 2:
        return shown
    image = Image.fromarray(shown)
    draw = ImageDraw.Draw(image)
    font = ImageFont.load_default(size=NUMBER_SIZE_PX)
    far = np.array([end for _, end in ends])
    gaps = np.linalg.norm(np.diff(far, axis=0), axis=1)
    for place in numbered_frets(gaps, len(frets)):
        near_end, far_end = ends[place - 1]
        outward = (far_end - near_end) / max(float(np.linalg.norm(far_end - near_end)), 1e-6)
        x, y = far_end + 30.0 * outward
        used = bool(trace.used_fret[frets[place - 1] - 1])
        draw.text(
            (x, y),
            str(frets[place - 1]),
            font=font,
            fill=(255, 255, 255) if used else UNUSED,
            anchor="mm",
            stroke_width=3,
            stroke_fill=DARK,
        )
    return np.array(image)


def _seen(line: Array) -> NDArray[np.intp]:
    return np.flatnonzero(np.isfinite(line).all(axis=1))


def _polyline(shown: Picture, points: Array, colour: Colour, thickness: int = 1) -> None:
    points = points[np.isfinite(points).all(axis=1)]
    if len(points) >= 2:
        fixed = np.rint(np.clip(points, -30000, 30000) * 2**SHIFT_BITS).astype(np.int32)
        cv2.polylines(shown, [fixed], False, colour, thickness, cv2.LINE_AA, SHIFT_BITS)


def _dashes(points: Array, on_px: float = 7.0, off_px: float = 5.0) -> Iterable[Array]:
    """Pieces of a polyline (M, 2), on_px long with off_px between them."""
    points = points[np.isfinite(points).all(axis=1)]
    if len(points) < 2:
        return
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    for start in np.arange(0.0, float(along[-1]), on_px + off_px):
        ends = np.array([start, min(start + on_px, float(along[-1]))])
        yield np.stack([np.interp(ends, along, points[:, 0]), np.interp(ends, along, points[:, 1])], axis=1)


def _dot(shown: Picture, point: Array, colour: Colour) -> None:
    x, y = (round(float(value) * 2**SHIFT_BITS) for value in point)
    for radius, fill in ((4.0, (255, 255, 255)), (2.9, colour)):
        cv2.circle(shown, (x, y), round(radius * 2**SHIFT_BITS), fill, -1, cv2.LINE_AA, SHIFT_BITS)


def _text_strip(width: int, photo: PhotoResult, scale: float) -> Picture:
    """A strip of text below the picture: which photograph, what the marks mean, or why it was refused."""
    size = 16 if width < 900 else 19
    font = ImageFont.load_default(size=size)
    line_height = round(1.5 * size)
    words = KIND_WORDS[photo.kind] if photo.kind else "not used"
    title = f"{photo.name}: {words}" + (f", shown {scale:g}x" if scale > 1 else "")
    lines: list[tuple[str, str]] = [(part, INK) for part in _wrapped(title, font, width - 24)]
    if photo.status == "refused":
        for text, colour in ((photo.reason, SERIOUS), (photo.advice, INK)):
            lines += [(part, colour) for part in _wrapped(text or "", font, width - 24)]
    keys = _key_rows(font, width - 24) if photo.trace is not None else []
    strip = Image.new("RGB", (width, 14 + line_height * (len(lines) + len(keys))), rgb(CARD))
    draw = ImageDraw.Draw(strip)
    y = 7 + line_height / 2
    for text, colour in lines:
        draw.text((12, y), text, font=font, fill=rgb(colour), anchor="lm")
        y += line_height
    for row in keys:
        for x, mark, text in row:
            _draw_key(draw, 12 + x, y, mark)
            draw.text((12 + x + 34, y), text, font=font, fill=rgb(MUTED), anchor="lm")
        y += line_height
    return np.array(strip)


def _key_rows(
    font: "ImageFont.FreeTypeFont | ImageFont.ImageFont", width: int
) -> list[list[tuple[float, str, str]]]:
    """Rows of (x, mark, words) that fit into width px."""
    rows: list[list[tuple[float, str, str]]] = [[]]
    x = 0.0
    for mark, text in (
        ("fret", "fret top"),
        ("unused", "fret not used"),
        ("string", "string and nut"),
        ("bass", "under the bass string"),
        ("treble", "under the treble string"),
    ):
        needed = 34 + font.getlength(text)
        if rows[-1] and x + needed > width:
            rows.append([])
            x = 0.0
        rows[-1].append((x, mark, text))
        x += needed + 22
    return rows


def _draw_key(draw: ImageDraw.ImageDraw, x: float, y: float, mark: str) -> None:
    draw.rectangle((x, y - 8, x + 26, y + 8), fill=(74, 52, 40))
    if mark in ("fret", "string"):
        draw.line((x + 2, y, x + 24, y), fill=FRET if mark == "fret" else STRING, width=2)
    elif mark == "unused":
        for start in (2, 10, 18):
            draw.line((x + start, y, x + start + 5, y), fill=UNUSED, width=2)
    else:
        draw.ellipse((x + 8, y - 5, x + 18, y + 5), fill=(255, 255, 255))
        draw.ellipse((x + 10, y - 3, x + 16, y + 3), fill=BASS_DOT if mark == "bass" else TREBLE_DOT)


def _wrapped(text: str, font: "ImageFont.FreeTypeFont | ImageFont.ImageFont", width: int) -> list[str]:
    """Text broken into lines of at most width px; a word that is too long alone is broken inside."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        while font.getlength(word) > width and len(word) > 1:
            keep = max(1, math.floor(len(word) * width / font.getlength(word)) - 1)
            if line:
                lines.append(line)
                line = ""
            lines.append(word[:keep])
            word = word[keep:]
        if line and font.getlength(f"{line} {word}") > width:
            lines.append(line)
            line = word
        else:
            line = f"{line} {word}".strip()
    return [*lines, line] if line else lines
