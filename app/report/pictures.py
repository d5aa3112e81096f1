"""The photographs on the page: drawn on, cut to the neck, made small, without any record but their pixels."""

import io
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from app.overlay import BASS_DOT, FRET, KIND_WORDS, TREBLE_DOT, Crop, draw_overlay, neck_crop
from app.record.inspection import Photo
from app.record.privacy import without_location
from app.record.problems import RecordProblem
from app.report.plain_text import plain, sentence
from vision.photo import Photograph, decode_photograph
from vision.results import PhotoResult, PhotoTrace

ReadPhoto = Callable[[str], bytes]  # SHA-256 of a kept photograph to its bytes; RecordProblem where it is missing
FRET_WIDTH_PX, DOT_RADIUS_PX = 3, 7
LONG_SIDE_PX = 1000
QUALITY = 82
NAME_LETTERS = 48
FLAGS_SHOWN = 3


@dataclass(frozen=True, slots=True)
class Picture:
    """One photograph for the page: JPEG bytes with their size in px, or None with the reason in words."""

    jpeg: bytes | None
    width_px: int
    height_px: int
    title: str
    lines: tuple[str, ...]
    problem: str = ""


def sighted_picture(photo: Photo, result: PhotoResult | None, read_photo: ReadPhoto) -> Picture:
    """A photograph of the neck with what was seen in it; as it is where nothing was."""
    seen = result or _unmeasured(photo)
    words = KIND_WORDS[seen.kind] if seen.kind else ("kind not recognised" if result else "not measured")
    return _picture(photo, seen, read_photo, sentence(words), _lines(seen))


def check_picture(photo: Photo, title: str, read_photo: ReadPhoto) -> Picture:
    """A photograph kept with a finding, as it is."""
    return _picture(photo, _unmeasured(photo), read_photo, title, ())


def _unmeasured(photo: Photo) -> PhotoResult:
    """Nothing is known of it but its name."""
    return PhotoResult(name=photo.name, status="measured", kind=None)


def _picture(photo: Photo, result: PhotoResult, read_photo: ReadPhoto, title: str, lines: tuple[str, ...]) -> Picture:
    try:
        decoded = decode_photograph(read_photo(photo.sha256), photo.name)
    except RecordProblem as problem:
        return Picture(None, 4, 3, title, lines, problem.reason)
    if not isinstance(decoded, Photograph):
        return Picture(None, 4, 3, title, lines, sentence(decoded.reason or "It is no picture that can be read"))
    image = Image.fromarray(draw_overlay(decoded.rgb, result, strip=False))
    if result.trace is not None:
        _strengthen(image, result.trace, neck_crop(result.trace, decoded.rgb.shape[1], decoded.rgb.shape[0]))
    image.thumbnail((LONG_SIDE_PX, LONG_SIDE_PX), Image.Resampling.LANCZOS)
    file = io.BytesIO()
    image.save(file, "JPEG", quality=QUALITY)
    # Written from pixels alone, and through the one gate that every picture leaving the machine passes.
    return Picture(without_location(file.getvalue()).data, *image.size, title, lines)


def _strengthen(image: Image.Image, trace: PhotoTrace, crop: Crop) -> None:
    """Draw the frets that were used and the points measured once more, bolder: paper shows them smaller than a screen.

    Frets that were not used keep their broken lines.
    """
    draw = ImageDraw.Draw(image)
    for line, used in zip(trace.fret_line_px, trace.used_fret, strict=True):
        points = crop.to_crop_px(line[np.isfinite(line).all(axis=1)])
        if used and len(points) >= 2:
            draw.line([(x, y) for x, y in points.tolist()], fill=FRET, width=FRET_WIDTH_PX)
    for tops, colour in ((trace.bass_top_px, BASS_DOT), (trace.treble_top_px, TREBLE_DOT)):
        for x, y in crop.to_crop_px(tops[np.isfinite(tops).all(axis=1)]).tolist():
            draw.circle((x, y), DOT_RADIUS_PX, fill=colour, outline="white", width=2)


def _lines(result: PhotoResult) -> tuple[str, ...]:
    """File name, place of the camera, and flags with what to do."""
    lines = [f"{plain(result.name, NAME_LETTERS)}."]
    if result.status == "refused":
        lines.append(f"Not used. {sentence(result.reason or '')} {sentence(result.advice or '')}")
    if result.camera is not None:
        lines.append(
            f"Seen from {result.camera.view_angle_deg:.0f}° above the board at "
            f"{result.camera.distance_mm / 1000:.1f} m; {100 * result.camera.usable_share:.0f} % of the frets usable."
        )
    # The flag that led to a refusal says the same as its reason.
    flags = [flag for flag in result.flags if result.reason is None or flag.text != result.reason]
    lines += [f"Note: {sentence(flag.text)}" for flag in flags[:FLAGS_SHOWN]]
    if not flags and result.camera is not None:
        lines.append("No flags.")
    return tuple(lines)
