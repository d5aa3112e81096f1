"""Reading an export file from anywhere, hostile ones included, and storing it once all of it has been checked.

Nothing is ever unpacked to a path named in the file: members are read into memory, within the sizes declared,
and photographs are kept under the hash of their bytes.
"""

import hashlib
import io
import zipfile
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from app.record.document import inspection_from_text
from app.record.export_file import (
    DOCUMENT,
    ENDINGS,
    MANIFEST,
    MAX_FILE_BYTES,
    MAX_MANIFEST_BYTES,
    MAX_PHOTOS,
    Manifest,
    manifest_from_bytes,
    refused,
)
from app.record.inspection import Inspection, photos_of
from app.record.photo_store import PhotoStore
from app.record.privacy import picture_format
from app.record.problems import DocumentProblem, ExchangeProblem, NotStored
from app.record.store import InspectionStore

Choice = Literal["store", "copy", "replace"]

_END_RECORD, _LARGE_LOCATOR = b"PK\x05\x06", b"PK\x06\x07"  # ZIP application note, 4.3.16 and 4.3.15
_END_BYTES, _LOCATOR_BYTES = 22, 20
_DIRECTORY_BYTES_A_MEMBER = 256
_ENCRYPTED = 0x1
_UNIX_KIND, _UNIX_FILE = 0o170000, 0o100000  # file kind in the upper half of external_attr


@dataclass(frozen=True)
class Incoming:
    """A checked import file, not yet stored. left_out: hashes of photographs that were not sent along."""

    inspection: Inspection
    photos: tuple[bytes, ...]
    left_out: frozenset[str]
    made_at: datetime


def read_export(data: bytes) -> Incoming:
    """Check every part of an export file and return what it holds; nothing is stored.

    Raises ExchangeProblem saying what is wrong with the file.
    """
    if len(data) > MAX_FILE_BYTES:
        raise refused(f"it has {len(data) / 2**20:.0f} MiB, more than the {MAX_FILE_BYTES // 2**20} allowed")
    _check_directory(data)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _read_archive(archive, len(data))
    except ExchangeProblem:
        raise
    except DocumentProblem as problem:
        raise ExchangeProblem(problem.reason, f"Nothing has been stored. {problem.advice}") from problem
    except Exception as error:  # the reader raises nearly any type on hostile bytes; all of it means damaged
        raise refused("it is damaged or cut off") from error


def choices(incoming: Incoming, store: InspectionStore) -> tuple[Choice, ...]:
    """What may be done: "store" when its id is new here, otherwise "copy", and "replace" unless it is older."""
    try:
        stored = store.load(incoming.inspection.id)
    except NotStored:
        return ("store",)
    return ("copy", "replace") if incoming.inspection.revision >= stored.revision else ("copy",)


def store_incoming(incoming: Incoming, choice: Choice, store: InspectionStore, photos: PhotoStore) -> Inspection:
    """Store a checked file as chosen, photographs first, and return the inspection as stored.

    Raises ValueError when the choice is not among `choices`, Conflict when the store changed in between,
    PhotoProblem or StoreProblem when the disk does not take it.
    """
    if choice not in (allowed := choices(incoming, store)):
        raise ValueError(f"choice={choice!r} is not one of {allowed}")
    for data in incoming.photos:
        photos.put(data)
    inspection = incoming.inspection
    if choice == "copy":
        return store.save_copy(inspection)
    if choice == "replace":
        with suppress(NotStored):
            store.restore(inspection.id)  # it may lie in the bin
        return store.save(inspection, over=store.load(inspection.id).revision)
    stored = replace(inspection, revision=max(inspection.revision, 1))
    store.insert(stored)
    return stored


def _check_directory(data: bytes) -> None:
    """Bound the archive's directory before it is read: it alone decides how much memory the reader takes."""
    end = data[-_END_BYTES:]
    locator = data[-_END_BYTES - _LOCATOR_BYTES : -_END_BYTES]
    if end[:4] != _END_RECORD or end[20:] != b"\0\0" or locator[:4] == _LARGE_LOCATOR:
        raise refused("it is not an export file, or it is cut off")
    members, size = int.from_bytes(end[10:12], "little"), int.from_bytes(end[12:16], "little")
    if members > MAX_PHOTOS + 2 or size > members * _DIRECTORY_BYTES_A_MEMBER:
        raise refused("it holds more files than an inspection has")


def _read_archive(archive: zipfile.ZipFile, file_bytes: int) -> Incoming:
    members = _plain_members(archive)
    manifest = manifest_from_bytes(_read(archive, members, MANIFEST, MAX_MANIFEST_BYTES))
    _check_members(manifest, members)
    if sum(entry.bytes for entry in manifest.photos) > file_bytes:  # members that overlap, each one unpacked anew
        raise refused("its photographs together are larger than the file itself")
    document = _read(archive, members, DOCUMENT, manifest.document_bytes)
    _check_bytes(DOCUMENT, document, manifest.document_bytes, manifest.document_sha256)
    inspection = inspection_from_text(document)
    _check_photos_belong(manifest, inspection)
    photos = []
    for entry in manifest.photos:
        photo = _read(archive, members, entry.member, entry.bytes)
        _check_bytes(entry.member, photo, entry.bytes, entry.sha256)
        found = picture_format(photo)
        if found is None or ENDINGS[found] != entry.ending:
            raise refused(f"{entry.member} is not the kind of picture its name says")
        photos.append(photo)
    left_out = frozenset(left.sha256 for left in manifest.left_out)
    return Incoming(inspection, tuple(photos), left_out, manifest.made_at)


def _plain_members(archive: zipfile.ZipFile) -> dict[str, zipfile.ZipInfo]:
    members: dict[str, zipfile.ZipInfo] = {}
    for info in archive.infolist():
        name = info.orig_filename
        kind = info.external_attr >> 16 & _UNIX_KIND
        if name in members:
            raise refused(f"it holds {name!r:.80} twice")
        if info.flag_bits & _ENCRYPTED:
            raise refused("it is encrypted")
        if kind not in (0, _UNIX_FILE):
            raise refused(f"{name!r:.80} in it is a link or a folder, not a file")
        stored = name.startswith("photos/")  # photographs do not shrink, so a bomb cannot hide in them
        if info.compress_type not in ((zipfile.ZIP_STORED,) if stored else (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)):
            raise refused(f"{name!r:.80} in it is packed in a way that is not used")
        members[name] = info
    return members


def _check_members(manifest: Manifest, members: dict[str, zipfile.ZipInfo]) -> None:
    """The members must be exactly those of the manifest, which also rules out any name with a path in it."""
    expected = [MANIFEST, DOCUMENT, *(entry.member for entry in manifest.photos)]
    if len(set(expected)) != len(expected):
        raise refused("its manifest names a photograph twice")
    if missing := sorted(set(expected) - set(members)):
        raise refused(f"{missing[0]!r} is missing in it")
    if surplus := sorted(set(members) - set(expected)):
        raise refused(f"it holds {surplus[0]!r:.120}, which is not in its manifest")


def _check_photos_belong(manifest: Manifest, inspection: Inspection) -> None:
    pointed_to = {photo.sha256 for photo in photos_of(inspection)}
    there = {entry.sha256 for entry in manifest.photos}
    left_out = {left.sha256 for left in manifest.left_out}
    if missing := sorted(pointed_to - there - left_out):
        raise refused(f"the photograph {missing[0]} is missing in it")
    if surplus := sorted(there - pointed_to):
        raise refused(f"the photograph {surplus[0]} in it belongs to nothing")


def _read(archive: zipfile.ZipFile, members: dict[str, zipfile.ZipInfo], name: str, limit: int) -> bytes:
    if name not in members:
        raise refused(f"{name!r} is missing in it")
    if members[name].file_size > limit:
        raise refused(f"{name!r} in it is larger than it may be")
    with archive.open(members[name]) as member:
        data = member.read(limit + 1)
    if len(data) > limit:
        raise refused(f"{name!r} in it is larger than it may be")
    return data


def _check_bytes(name: str, data: bytes, size: int, sha256: str) -> None:
    if len(data) != size or hashlib.sha256(data).hexdigest() != sha256:
        raise refused(f"{name!r} in it is not what its manifest says: it was changed or damaged")
