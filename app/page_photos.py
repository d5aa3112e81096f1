"""Step 2 of the page: the photographs, uploaded or from a sample neck, with a look at each."""

import hashlib
import io
from dataclasses import dataclass

import streamlit as st
from PIL import Image

from app import page_state as state
from app.measuring import PhotoFile, distinct_names
from app.page_help import show_help
from app.page_html import esc, show_step
from app.samples import SAMPLES, available_samples
from vision.photo import Photograph, decode_photograph

FILE_TYPES = ["jpg", "jpeg", "png", "webp", "heic", "heif", "tif", "tiff"]
THUMBNAIL_PX = 420


@dataclass(frozen=True)
class Thumbnail:
    """A reduced picture as JPEG, or why there is none."""

    jpeg: bytes | None
    width: int
    height: int
    reason: str = ""
    advice: str = ""


def ask_for_photographs() -> tuple[PhotoFile, ...]:
    """The widgets of step 2. Returns the photographs to measure, of the user or of the open sample."""
    show_step(2, "The photographs", "Two down the neck and one from the front, in any order.")
    with st.expander("How to photograph the neck", expanded=not _has_photographs()):
        show_help()
    uploads = st.file_uploader(
        "Your photographs of one neck",
        type=FILE_TYPES,
        accept_multiple_files=True,
        key=state.UPLOADS,
        on_change=state.close_sample,
    )
    _offer_samples()
    sample = st.session_state[state.SAMPLE]
    if sample is not None:
        files = sample_files(sample)
        st.html(
            f'<p class="quiet">Open now: the sample neck <strong>{esc(SAMPLES[sample].title)}</strong>.</p>'
        )
    else:
        names = distinct_names(tuple(upload.name for upload in uploads))
        files = tuple(PhotoFile(n, upload.getvalue()) for n, upload in zip(names, uploads, strict=True))
    _show_thumbnails(files)
    return files


def _has_photographs() -> bool:
    return bool(st.session_state[state.SAMPLE] or st.session_state.get(state.UPLOADS))


@st.cache_data(show_spinner=False, max_entries=3)
def sample_files(key: str) -> tuple[PhotoFile, ...]:
    """The photographs of a sample neck."""
    return tuple(PhotoFile(path.name, path.read_bytes()) for path in SAMPLES[key].paths())


@st.cache_data(show_spinner=False, max_entries=24)
def thumbnail(data: bytes, name: str, long_side_px: int = THUMBNAIL_PX) -> Thumbnail:
    """A reduced picture, keyed on the bytes of the file."""
    photograph = decode_photograph(data, name)
    if not isinstance(photograph, Photograph):
        return Thumbnail(None, 0, 0, photograph.reason, photograph.advice)
    height, width = photograph.rgb.shape[:2]
    image = Image.fromarray(photograph.rgb)
    image.thumbnail((long_side_px, long_side_px), Image.Resampling.LANCZOS, reducing_gap=3.0)
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=85)
    return Thumbnail(buffer.getvalue(), width, height)


def digest(file: PhotoFile) -> str:
    """The sha256 of a file's bytes, by which the page recognises it."""
    return hashlib.sha256(file.data).hexdigest()


def _offer_samples() -> None:
    samples = available_samples()
    if not samples:
        return
    st.html(
        '<p class="quiet">No photographs at hand? Open a sample neck (rendered pictures, three of each):</p>'
    )
    with st.container(horizontal=True, gap="small"):
        for sample in samples:
            st.button(
                sample.title,
                key=f"_sample_{sample.key}",
                on_click=state.open_sample,
                args=(sample.key,),
                type="secondary",
            )
        if st.session_state[state.SAMPLE] is not None:
            st.button(
                "Back to my own photographs",
                key="_close_sample",
                on_click=state.close_sample,
                type="tertiary",
            )


def _show_thumbnails(files: tuple[PhotoFile, ...]) -> None:
    if not files:
        return
    with st.container(horizontal=True, gap="small"):
        for file in files:
            small = thumbnail(file.data, file.name)
            with st.container(width=106):
                if small.jpeg is None:
                    st.html(
                        f'<p class="photo-name">{esc(file.name)}</p>'
                        f'<p class="flag">Cannot be used: {esc(small.reason)}. '
                        f"<strong>{esc(small.advice)}</strong></p>"
                    )
                else:
                    st.image(small.jpeg, alt=f"Photograph {file.name}")
                    st.html(f'<p class="thumb-name">{esc(file.name).replace("_", "_<wbr>")}</p>')
