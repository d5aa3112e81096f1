"""The database's errors in words that a user can act on."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import DatabaseError

from app.record.problems import StoreDamaged, StoreProblem

_DAMAGE = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
_IN_USE = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_CHECK_FOLDER = "Check that the data folder exists, may be written to and has space left."


@contextmanager
def plain_errors(path: Path) -> Iterator[None]:
    """Turn what the database at path or its folder raises inside the block into a StoreProblem."""
    try:
        yield
    except DatabaseError as error:
        code = getattr(error.orig, "sqlite_errorcode", 0) & 0xFF  # the low byte is the primary code
        if code in _DAMAGE:
            raise damaged(path) from error
        if code in _IN_USE:
            raise StoreProblem("Another window is writing at this moment.", "Wait a little and try again.") from error
        if code == sqlite3.SQLITE_FULL:
            raise StoreProblem("The disk is full; nothing was saved.", "Free some space and save again.") from error
        raise StoreProblem(f"The inspections cannot be read or written: {error.orig}.", _CHECK_FOLDER) from error
    except OSError as error:
        raise StoreProblem(f"The data folder cannot be used: {error.strerror or error}.", _CHECK_FOLDER) from error


def damaged(path: Path) -> StoreDamaged:
    """The problem of a damaged database file, which stays as it is."""
    return StoreDamaged(
        f"The file {path.name} in the data folder is damaged; it has been left as it is.",
        "Let the program set it aside and recover what can still be read, or put back a backup of it.",
    )
