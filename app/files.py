"""Reading photographs and writing results: paths are checked first, files appear whole or not at all."""

import os
import re
import tempfile
from collections.abc import Sequence
from pathlib import Path

from vision.photo.refusal import MAX_BYTES


def read_photographs(paths: Sequence[Path]) -> list[bytes]:
    """The bytes of every path, of a file larger than the decoder takes only so many that it says so.

    Raises ValueError naming the first path that cannot be read or is no file: a device or pipe may never end.
    """
    return [_read_photograph(path) for path in paths]


def _read_photograph(path: Path) -> bytes:
    try:
        if path.exists() and not path.is_file():
            kind = "a folder" if path.is_dir() else "not a file"
            raise ValueError(f"cannot read photograph {str(path)!r}: it is {kind}")
        with path.open("rb") as file:
            return file.read(MAX_BYTES + 1)
    except OSError as error:
        raise ValueError(f"cannot read photograph {str(path)!r}: {error.strerror or error}") from None


def display_names(paths: Sequence[Path]) -> list[str]:
    """File names for messages and results; the path as given where two photographs share a file name."""
    names = [path.name for path in paths]
    return [name if names.count(name) == 1 else str(path) for path, name in zip(paths, names, strict=True)]


def check_target(target: Path, photos: Sequence[Path]) -> None:
    """Raise ValueError when target cannot be written, or is one of the photographs themselves."""
    folder = target.parent
    if target.is_dir() or not folder.is_dir():
        raise ValueError(
            f"cannot write {str(target)!r}: {'it' if target.is_dir() else str(folder)!r} is "
            f"{'a folder' if target.is_dir() else 'not a folder'}"
        )
    if not os.access(folder, os.W_OK):
        raise ValueError(f"cannot write {str(target)!r}: no permission in {str(folder)!r}")
    if target.exists() and any(photo.exists() and target.samefile(photo) for photo in photos):
        raise ValueError(f"cannot write {str(target)!r}: it is one of the photographs")


def make_folder(folder: Path) -> None:
    """Create folder where it is missing. Raises ValueError naming it when that is impossible."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ValueError(f"cannot make folder {str(folder)!r}: {error.strerror or error}") from None


def write_whole(target: Path, data: bytes) -> None:
    """Write data so that target is either as before or complete, never half."""
    handle, temporary = tempfile.mkstemp(prefix=".neck-sighting-", dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(temporary).chmod(0o666 & ~_umask())
        Path(temporary).replace(target)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def overlay_names(names: Sequence[str]) -> list[str]:
    """One distinct, harmless file name a photograph: NAME_overlay.jpg, without any part of a path."""
    taken: set[str] = set()
    result = []
    for name in names:
        last = re.split(r"[/\\]", name)[-1]
        stem = re.sub(r"[^\w .()+-]", "_", last.rsplit(".", 1)[0] if "." in last else last).strip(" .")[:50]
        wanted, count = f"{stem or 'photograph'}_overlay", 1
        unique = wanted
        while unique.casefold() in taken:
            count += 1
            unique = f"{wanted}_{count}"
        taken.add(unique.casefold())
        result.append(f"{unique}.jpg")
    return result


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
