"""Writing an export file: the inspection with its photographs, each freed of location data first."""

import hashlib
import io
import zipfile
from dataclasses import dataclass, replace

from app.record.document import inspection_to_text
from app.record.export_file import (
    DOCUMENT,
    ENDINGS,
    FORMAT,
    FORMAT_VERSION,
    MANIFEST,
    MAX_FILE_BYTES,
    LeftOut,
    Manifest,
    PhotoEntry,
    manifest_to_bytes,
)
from app.record.inspection import Inspection, Photo, now_utc, photos_of
from app.record.photo_store import PhotoStore
from app.record.privacy import without_location
from app.record.problems import ExchangeProblem, PhotoProblem
from vision.photo.refusal import MAX_BYTES

_MEMBER_TIME = (1980, 1, 1, 0, 0, 0)  # the archive's own dates say nothing; the manifest has the time


@dataclass(frozen=True)
class Export:
    """The file's bytes, and a line for every photograph that could not go along: its name and why."""

    data: bytes
    left_out: tuple[str, ...]


def export_inspection(inspection: Inspection, photos: PhotoStore, version: str) -> Export:
    """One inspection with its photographs as a single file, no picture in it holding a location.

    A photograph that is missing, or that cannot be read and so not be freed of its location, stays behind and is
    named in left_out. version : of this program, for the manifest.

    Raises ExchangeProblem when the file would be larger than an import accepts.
    """
    entries: dict[str, PhotoEntry] = {}  # by the original's hash
    clean: dict[str, bytes] = {}  # by the member's name
    left_out: dict[str, str] = {}
    for photo in photos_of(inspection):
        try:
            picture = without_location(photos.get(photo.sha256))
            if len(picture.data) > MAX_BYTES:
                raise PhotoProblem("Without its location data the photograph is too large.", "Save it as a JPEG.")
        except PhotoProblem as problem:
            left_out[photo.sha256] = problem.reason
            continue
        entry = PhotoEntry(_sha256(picture.data), ENDINGS[picture.format], len(picture.data))
        entries[photo.sha256] = entry
        clean[entry.member] = picture.data
        if sum(map(len, clean.values())) > MAX_FILE_BYTES // 2:
            raise ExchangeProblem(
                "The photographs are too many and too large for one file.",
                "Copy the inspection and remove sets of photographs from the copy.",
            )
    document = inspection_to_text(_pointing_to(inspection, entries)).encode()
    manifest = Manifest(
        FORMAT,
        FORMAT_VERSION,
        version,
        now_utc(),
        _sha256(document),
        len(document),
        tuple({entry.member: entry for entry in entries.values()}.values()),
        tuple(LeftOut(sha256, reason) for sha256, reason in left_out.items()),
    )
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        _add(archive, MANIFEST, manifest_to_bytes(manifest), zipfile.ZIP_DEFLATED)
        _add(archive, DOCUMENT, document, zipfile.ZIP_DEFLATED)
        for member, data in clean.items():
            _add(archive, member, data, zipfile.ZIP_STORED)
    names = [f"{photo.name}: {left_out[photo.sha256]}" for photo in photos_of(inspection) if photo.sha256 in left_out]
    return Export(file.getvalue(), tuple(names))


def _pointing_to(inspection: Inspection, entries: dict[str, PhotoEntry]) -> Inspection:
    """The inspection with every hash that of the photograph as it leaves; those left out keep theirs."""

    def moved(photo: Photo) -> Photo:
        entry = entries.get(photo.sha256)
        return photo if entry is None else replace(photo, sha256=entry.sha256)

    return replace(
        inspection,
        sightings=tuple(replace(s, photos=tuple(moved(p) for p in s.photos)) for s in inspection.sightings),
        checks={
            key: check if check.photo is None else replace(check, photo=moved(check.photo))
            for key, check in inspection.checks.items()
        },
    )


def _add(archive: zipfile.ZipFile, member: str, data: bytes, method: int) -> None:
    info = zipfile.ZipInfo(member, _MEMBER_TIME)
    info.compress_type = method
    archive.writestr(info, data)


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
