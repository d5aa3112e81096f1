"""A damaged database: set aside whole, never overwritten, and every inspection that can still be read saved anew."""

import shutil
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Integer, Select, literal_column, select
from sqlalchemy.exc import DatabaseError

from app.record.database_errors import plain_errors
from app.record.document import inspection_from_text
from app.record.folder import sync_folder
from app.record.inspection import Inspection, now_utc
from app.record.problems import DocumentProblem, StoreDamaged
from app.record.store import DATABASE_NAME, InspectionStore
from app.record.tables import create_engine, inspections

_COMPANIONS = ("", "-wal", "-shm")  # the write-ahead log may hold the newest saves


@dataclass(frozen=True)
class Recovery:
    """Where the damaged file now lies, how many inspections were saved from it, and how many were unreadable."""

    kept_in: Path
    recovered: int
    unreadable: int


def recover_damaged(folder: Path) -> Recovery:
    """Set the folder's damaged database aside and put a new one with all readable inspections in its place.

    The new database is finished before the damaged one is moved, so that a crash on the way loses nothing.
    Raises ValueError when the database is not damaged, StoreProblem when the folder cannot be written.
    """
    if not _is_damaged(folder):
        raise ValueError(f"folder={str(folder)!r} holds no damaged database")
    path = folder / DATABASE_NAME
    with plain_errors(path), tempfile.TemporaryDirectory(prefix="recovering-", dir=folder) as temporary:
        old, new = Path(temporary) / "old", Path(temporary) / "new"
        old.mkdir()
        for name in _present(folder):
            shutil.copy2(folder / name, old / name)  # reading may change a database's files: read a copy
        readable, unreadable = _read_rows(old / DATABASE_NAME)
        store = InspectionStore(new)
        for inspection, binned in readable:
            store.insert(inspection)
            if binned:
                store.move_to_bin(inspection.id)
        kept_in = Path(tempfile.mkdtemp(prefix=f"damaged-{now_utc():%Y%m%d-%H%M%S}-", dir=folder))
        for name in reversed(_present(folder)):
            (folder / name).rename(kept_in / name)
        store.path.rename(path)
        sync_folder(folder)
    return Recovery(kept_in, len(readable), unreadable)


def _is_damaged(folder: Path) -> bool:
    try:
        InspectionStore(folder)
    except StoreDamaged:
        return True
    return False


def _present(folder: Path) -> list[str]:
    return [name for suffix in _COMPANIONS if (folder / (name := DATABASE_NAME + suffix)).exists()]


def _read_rows(path: Path) -> tuple[list[tuple[Inspection, bool]], int]:
    """Readable inspections, each with whether it was in the bin, and the number of rows that were not readable."""
    rows: dict[int, tuple[object, bool]] = {}
    engine = create_engine(path)
    number = literal_column("rowid", Integer)
    query = select(number, inspections.c.document, inspections.c.binned_at)

    def read(part: Select[Any]) -> None:
        with suppress(DatabaseError), engine.connect() as connection:
            for row_number, document, binned_at in connection.execute(part):
                rows[row_number] = (document, binned_at is not None)

    read(query.order_by(number))  # up to the damaged place
    upwards = max(rows, default=0)
    read(query.order_by(number.desc()))  # down to it from the other end
    for missing in range(upwards + 1, min((n for n in rows if n > upwards), default=upwards + 1)):
        read(query.where(number == missing))  # and what stands between two damaged places
    readable: list[tuple[Inspection, bool]] = []
    for document, binned in rows.values():
        if isinstance(document, str):  # a damaged cell may hold any type
            with suppress(DocumentProblem):
                readable.append((inspection_from_text(document), binned))
    return readable, len(rows) - len(readable)
