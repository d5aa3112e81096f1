"""`neck-sighting measure`: photographs in, a summary on stdout, a JSON file and drawn-on pictures out."""

import os
import sys
from collections.abc import Sequence
from pathlib import Path

from app import __version__
from app.contract import contract_text, outcome_to_contract
from app.files import check_target, display_names, make_folder, overlay_names, read_photographs, write_whole
from app.workers import measure_side_by_side
from vision.findings import summary_lines
from vision.photo import PhotoFile, Photograph, decode_photograph
from vision.results import Outcome
from vision.settings import StatedNeck, Thresholds


class MisuseError(ValueError):
    """The call asks for something that cannot be done; the message names it."""


def measure_to_files(
    paths: Sequence[Path], stated: StatedNeck, json_file: Path, overlay_folder: Path | None
) -> str:
    """Measure, print the summary and write the files. Returns "measured" or "refused".

    Raises MisuseError before anything is written when a path or a stated figure cannot be used, and KeyboardInterrupt
    with a message when it is stopped after the result has been written.
    """
    try:
        check_target(json_file, paths)
        data = read_photographs(paths)
        names = display_names(paths)
        files = [PhotoFile(whole, name) for whole, name in zip(data, names, strict=True)]
        if overlay_folder is not None:
            make_folder(overlay_folder)
        outcome = measure_side_by_side(files, stated, progress=say_progress, here=True)
    except ValueError as error:
        raise MisuseError(str(error)) from error
    thresholds = Thresholds()
    write_whole(json_file, contract_text(outcome_to_contract(outcome, thresholds, __version__)).encode())
    try:
        if overlay_folder is not None:
            write_overlays(overlay_folder, files, outcome)
        say_summary(summary_lines(outcome, thresholds))
    except KeyboardInterrupt:
        drawn = "" if overlay_folder is None else ", not every picture"
        raise KeyboardInterrupt(f"the result is in {str(json_file)!r}{drawn}") from None
    return outcome.status


def say_summary(lines: Sequence[str]) -> None:
    """To stdout; a reader that has gone (`... | head`) spoils nothing, the files are written."""
    try:
        print("\n".join(lines), flush=True)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # or Python complains when it ends


def write_overlays(folder: Path, files: Sequence[PhotoFile], outcome: Outcome) -> None:
    """One drawn-on JPEG a photograph that could be decoded, refused ones with their reason."""
    from app.overlay import overlay_jpeg

    for file, photo, name in zip(files, outcome.photos, overlay_names([p.name for p in outcome.photos]), strict=True):
        photograph = decode_photograph(file.data, file.name)
        if isinstance(photograph, Photograph):
            write_whole(folder / name, overlay_jpeg(photograph.rgb, photo))


def say_progress(step: str) -> None:
    """Progress goes to stderr, and only when someone watches, so that scripts see errors alone."""
    if sys.stderr.isatty():
        print(f"... {step}", file=sys.stderr)
