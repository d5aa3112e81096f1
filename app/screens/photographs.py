"""Step 2: the photographs, with a quick look at each before anything is measured."""

from dataclasses import replace

import streamlit as st

from app import sightings
from app.jobs import Job
from app.looking import Look
from app.photo_set import SetAdvice, set_advice
from app.record.inspection import Photo, Sighting
from app.record.problems import RecordProblem
from app.widgets import session
from app.widgets.correct_photo import corrected, offer_correction, show_correction
from app.widgets.flow import show_next
from app.widgets.html import esc, flag_html, quiet, sentence, show_part, show_title, show_wrong
from app.widgets.looks import look_jobs
from app.widgets.numbers import ask_length, keep_length
from app.widgets.photo_help import show_help
from app.widgets.waiting import watch

FILE_TYPES = ["jpg", "jpeg", "png", "webp", "heic", "heif", "tif", "tiff"]
KIND_WORDS = {"bass": "down the neck", "treble": "down the neck", "front": "from the front"}
PHOTOS_A_ROW = 3
NUT_WIDTHS_MM, WIDTHS_AT_12_MM, WIDTH_US_MM = (25.0, 80.0), (30.0, 100.0), (0.01, 5.0)  # what can be typed
UPLOAD_ROUND = "upload_round"  # counts up so that the uploader starts empty once its files are kept
READY_CSS = {"nothing": "", "not enough": "serious", "enough": "notice", "good": "good"}


def show() -> None:
    """Draw the screen."""
    inspection = sightings.with_first_sighting(session.current())
    session.change(inspection)
    index = session.sighting_index()
    sighting = session.current().sightings[index]
    show_title("The photographs", "Two down the neck, one along each outer string, and one from the front.")
    _show_which(index)
    _ask_for_files(index)
    with st.expander("How to take them", expanded=not sighting.photos):
        show_help()
    _ask_for_widths()
    sighting = session.current().sightings[index]
    if sighting.photos:
        _show_photographs(index, sighting)
    else:
        quiet("Photographs appear here as soon as you add them, each with what was found in it.")


def _show_which(index: int) -> None:
    """Which set this is, when there are several."""
    count = len(session.current().sightings)
    if count > 1:
        sighting = session.current().sightings[index]
        st.html(f'<p class="which">Set {index + 1} of {count}: <strong>{esc(sighting.label)}</strong></p>')
        st.button("Remove this set", key="_remove_set", on_click=_remove_set, args=(index,), type="tertiary")


def _ask_for_files(index: int) -> None:
    round_ = st.session_state.setdefault(UPLOAD_ROUND, 0)
    uploads = st.file_uploader(
        "Photographs of this neck, several at once", type=FILE_TYPES, accept_multiple_files=True,
        key=f"_uploads_{round_}",
    )  # fmt: skip
    files = [(upload.name, upload.getvalue()) for upload in uploads]
    if st.toggle("Take one with this device's camera", key="_camera_on"):
        quiet("Through the browser a camera gives small pictures: the phone's own camera, then Upload, is better.")
        shot = st.camera_input("Camera", key=f"_camera_{round_}", resolution="1080p")
        if shot is not None:
            number = len(session.current().sightings[index].photos) + 1
            files.append((f"camera_{number}.jpg", shot.getvalue()))
    if files:
        _keep(index, files)


def _keep(index: int, files: list[tuple[str, bytes]]) -> None:
    """Put arrived files into the store and the inspection, and empty the uploader."""
    photos, problems = [], []
    for name, data in files:
        try:
            photos.append(Photo(session.photo_store().put(data), _plain_name(name)))
        except RecordProblem as problem:
            problems.append(f"{name}: {problem.reason} {problem.advice}")
    try:
        session.change(sightings.with_photos(session.current(), index, tuple(photos)))
    except ValueError as error:
        problems.append(f"Too many photographs in one set: {error}")
    if problems:
        session.notice(" ".join(problems))
    st.session_state[UPLOAD_ROUND] += 1
    st.rerun()


def _plain_name(name: str) -> str:
    """The file's own name, printable and short."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in last if c.isprintable())[:120] or "photograph"


def _ask_for_widths() -> None:
    neck = session.current().guitar.neck
    with st.expander("No picture from the front? Two measured widths instead"):
        st.caption("Across the board from edge to edge, beside the nut and at fret 12.")
        nut, twelve, sure = st.columns(3, gap="medium")
        with nut:
            nut_mm = ask_length("Width at the nut", *NUT_WIDTHS_MM, name="nut_width", start_mm=neck.nut_width_mm)
        with twelve:
            at_12_mm = ask_length("Width at fret 12", *WIDTHS_AT_12_MM, name="width_12", start_mm=neck.width_at_12_mm)
        with sure:
            u_mm = keep_length(
                "Good to", *WIDTH_US_MM, name="width_u", start_mm=neck.width_u_mm,
                help="One standard uncertainty: about 0.1 mm with callipers, 0.3 mm with a ruler.",
            )  # fmt: skip
        _change_neck(nut_mm, at_12_mm, u_mm)


def _change_neck(nut_mm: float | None, at_12_mm: float | None, u_mm: float) -> None:
    if nut_mm is not None and at_12_mm is not None and nut_mm >= at_12_mm:
        show_wrong("A board is narrower at the nut than at fret 12. Not kept.")
        return
    inspection = session.current()
    neck = replace(inspection.guitar.neck, nut_width_mm=nut_mm, width_at_12_mm=at_12_mm, width_u_mm=u_mm)
    changed = replace(inspection, guitar=replace(inspection.guitar, neck=neck))
    session.change(sightings.with_neck_stated(inspection, changed))


def _show_photographs(index: int, sighting: Sighting) -> None:
    inspection = session.current()
    try:
        stated = inspection.guitar.neck.stated()
    except ValueError:
        st.warning("State the scale length and the number of frets first, then each photograph can be looked at.")
        st.button("Back to the guitar", key="_to_guitar", on_click=session.go_to, args=("guitar",))
        return
    jobs = look_jobs(sighting, stated)
    show_part("What was found")
    if _show_correction(index, sighting, jobs):
        return
    pending = sum(job.status in ("waiting", "running") for job in jobs)
    if pending:
        watch(lambda: look_jobs(sighting, stated), f"Looking for the neck: {len(jobs) - pending} of {len(jobs)} done")
    else:
        _show_advice(set_advice([job.result for job in jobs if job.result is not None], inspection.guitar.neck))
    with st.container(key="_photos"):
        for first in range(0, len(jobs), PHOTOS_A_ROW):
            row = list(zip(sighting.photos, jobs, strict=True))[first : first + PHOTOS_A_ROW]
            for column, (photo, job) in zip(st.columns(PHOTOS_A_ROW, gap="medium"), row, strict=False):
                with column:
                    _show_photograph(index, photo, job)


def _show_correction(index: int, sighting: Sighting, jobs: tuple[Job[Look], ...]) -> bool:
    """The photograph that is being put right, alone on the screen; False when there is none."""
    for photo, job in zip(sighting.photos, jobs, strict=True):
        if photo.sha256 == corrected() and job.result is not None and job.result.width_px:
            show_correction(index, photo, job.result, session.current().guitar.neck.stated())
            return True
    return False


def _show_advice(advice: SetAdvice) -> None:
    st.html(
        f'<div class="finding {READY_CSS[advice.readiness]}"><p><strong>{esc(advice.text)}</strong> '
        f"{esc(advice.next_step)}</p></div>"
    )
    if advice.wrong_count:
        show_next("guitar", "Change the number of frets", key="_to_count")
        return
    show_next("curves", "Measure the neck", key="_measure", disabled=advice.readiness not in ("enough", "good"))


def _show_photograph(index: int, photo: Photo, job: Job[Look]) -> None:
    look = job.result
    if look is not None and look.picture is not None:
        st.image(look.picture, alt=f"{photo.name} with the numbered frets drawn on it", width="stretch")
    st.html(_verdict_html(photo, job))
    with st.container(horizontal=True, gap="small"):
        if look is not None and look.width_px:
            offer_correction(photo, look)
        st.button(
            "Remove", key=f"_remove_{photo.sha256}", on_click=_remove, args=(index, photo.sha256), type="tertiary",
        )  # fmt: skip


def _verdict_html(photo: Photo, job: Job[Look]) -> str:
    name = f'<p class="photo-name">{esc(photo.name).replace("_", "_<wbr>")}</p>'
    look = job.result
    if job.status == "failed":
        return f'{name}<p class="flag">{esc(sentence(job.error))}</p>'
    if look is None:
        return f'{name}<p class="quiet">Looking for the neck</p>'
    if not look.found:
        return (
            f'{name}<p class="verdict bad">Not found</p><p class="flag">{esc(sentence(look.reason))} '
            f"<strong>{esc(sentence(look.advice))}</strong></p>"
        )
    kind = KIND_WORDS[look.kind or "front"]
    by_hand = ", marked by hand" if photo.corners is not None else ""
    return (
        f'{name}<p class="verdict good">Found: {kind}{by_hand}</p>'
        f'<p class="quiet">About {look.view_angle_deg:.0f}° above the board, {look.sharpness}.</p>'
        + "".join(flag_html(change) for change in look.changes)
    )


def _remove_set(index: int) -> None:
    session.take_out(sightings.without_sighting(session.current(), index), "The set of photographs is removed.")
    session.go_to("photographs", sighting=max(0, index - 1))


def _remove(index: int, sha256: str) -> None:
    session.take_out(sightings.without_photo(session.current(), index, sha256), "The photograph is removed.")
