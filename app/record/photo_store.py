"""Original photographs, each kept once under the SHA-256 of its bytes, written whole or not at all."""

import hashlib
import os
import re
import tempfile
import time
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

from app.record.folder import sync_folder
from app.record.problems import PhotoProblem
from vision.photo.refusal import MAX_BYTES

PHOTOS_FOLDER = "photographs"
SPARED = timedelta(days=7)  # a photograph just uploaded may belong to an inspection not yet saved
_HASH = re.compile(r"[0-9a-f]{64}")
_TEMPORARY = ".arriving-"


class PhotoStore:
    """The photographs kept in a folder. Safe to use from several threads, sessions and processes at once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / PHOTOS_FOLDER

    def put(self, data: bytes) -> str:
        """Keep data and return its hash. Whether it is a readable picture is for the decoder to say.

        Raises PhotoProblem when it is empty or too large, or when the folder cannot be written.
        """
        if not data:
            raise PhotoProblem("The photograph's file is empty.", "Choose it again; the upload may have been cut off.")
        if len(data) > MAX_BYTES:
            raise PhotoProblem(
                f"The photograph's file has {len(data) / 2**20:.0f} MiB; the limit is {MAX_BYTES // 2**20} MiB.",
                "Save it as a JPEG at full size and use that file.",
            )
        sha256 = hashlib.sha256(data).hexdigest()
        path = self._path(sha256)
        with _plain_errors():
            if not _holds(path, sha256):  # a damaged one is replaced by these good bytes
                path.parent.mkdir(parents=True, exist_ok=True)
                _write_durably(path, data)
                sync_folder(self.folder)
        return sha256

    def get(self, sha256: str) -> bytes:
        """The photograph's bytes, checked against their hash. Raises PhotoProblem when missing or damaged."""
        path = self._path(sha256)
        with _plain_errors():
            data = path.read_bytes() if path.exists() else None
        if data is None:
            raise PhotoProblem("The photograph is not in the data folder.", "Add it again from where it was taken.")
        if hashlib.sha256(data).hexdigest() != sha256:
            raise PhotoProblem("The kept photograph is damaged.", "Add it again from where it was taken.")
        return data

    def remove_unused(self, in_use: Collection[str], spared: timedelta = SPARED) -> int:
        """Remove photographs not in in_use and half-arrived files, if older than spared; return how many.

        in_use : `InspectionStore.photos_in_use()`. What else lies in the folder is left alone.
        """
        removed = 0
        newest = time.time() - spared.total_seconds()
        with _plain_errors():
            for path in self.folder.glob("*/*"):
                ours = _HASH.fullmatch(path.name) or path.name.startswith(_TEMPORARY)
                if ours and path.name not in in_use and path.is_file() and path.stat().st_mtime <= newest:
                    path.unlink(missing_ok=True)
                    removed += 1
        return removed

    def _path(self, sha256: str) -> Path:
        if not _HASH.fullmatch(sha256):
            raise ValueError(f"sha256={sha256!r:.80} is not a SHA-256 in lower-case hexadecimal")
        return self.folder / sha256[:2] / sha256


def _holds(path: Path, sha256: str) -> bool:
    """True when the photograph is already kept, undamaged; its age then starts anew."""
    if not path.exists() or hashlib.sha256(path.read_bytes()).hexdigest() != sha256:
        return False
    try:
        os.utime(path)
    except FileNotFoundError:  # removed as unused in this very moment
        return False
    return True


def _write_durably(path: Path, data: bytes) -> None:
    handle, name = tempfile.mkstemp(prefix=_TEMPORARY, dir=path.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
        sync_folder(path.parent)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise


@contextmanager
def _plain_errors() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise PhotoProblem(
            f"The folder of photographs cannot be used: {error.strerror or error}.",
            "Check that the data folder exists, may be written to and has space left.",
        ) from error
