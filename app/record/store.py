"""Inspections in one SQLite file: every save is one synced transaction and checks that it overwrites nothing new.

A save is refused with `Conflict` when the stored revision is not the one the caller started from, so the same
inspection open in two windows never loses a side. Deleted inspections lie in a bin until erased from it.
"""

import threading
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, RowMapping, delete, insert, select, update

from app.record.database_errors import damaged, plain_errors
from app.record.document import inspection_from_text, inspection_to_text
from app.record.folder import sync_folder
from app.record.inspection import Inspection, now_utc, photos_of
from app.record.problems import Conflict, NotStored, StoreProblem
from app.record.tables import (
    APPLICATION_ID,
    TABLES_VERSION,
    WRITES,
    create_engine,
    create_tables,
    inspections,
    photo_uses,
)

DATABASE_NAME = "inspections.sqlite3"
_opening = threading.Lock()


@dataclass(frozen=True)
class Summary:
    """One line of the list of inspections. photos: how many; measured: how many sightings gave figures."""

    id: str
    changed_at: datetime
    title: str
    place_seen: str
    asking_price: float | None
    currency: str
    step: str
    photos: int
    measured: int


class InspectionStore:
    """The inspections kept in a folder. Safe to use from several threads, sessions and processes at once.

    Every method raises StoreProblem when the file cannot be read or written, StoreDamaged when it is damaged;
    a damaged file is left as it is (`app.record.recovery` sets it aside and saves what can be read).
    """

    def __init__(self, folder: Path) -> None:
        """Open the folder's database, or make folder and database where there is none yet."""
        self.path = folder / DATABASE_NAME
        self._engine = create_engine(self.path)
        self._writing = self._engine.execution_options(**WRITES)
        with _opening, plain_errors(self.path):
            folder.mkdir(parents=True, exist_ok=True)
            _open(self._engine, self._writing, self.path)

    def save(self, inspection: Inspection, *, over: int | None = None) -> Inspection:
        """Store inspection over the revision it was loaded with (0: never stored) and return it as stored.

        over : the stored revision it is to replace, where that is not its own, as for one from a file.

        Raises Conflict, carrying both sides, when the stored inspection is not at that revision or in the bin.
        """
        expected = inspection.revision if over is None else over
        saved = replace(inspection, revision=max(inspection.revision, expected) + 1, changed_at=now_utc())
        with self._write() as connection:
            _check_unchanged(connection, inspection, expected)
            _put(connection, saved)
        return saved

    def insert(self, inspection: Inspection) -> None:
        """Store an inspection that came from elsewhere as it is, its revision and times kept.

        Raises Conflict when its id is already here, in the bin or out of it.
        """
        with self._write() as connection:
            _check_unchanged(connection, inspection, 0)
            _put(connection, inspection)

    def save_copy(self, inspection: Inspection) -> Inspection:
        """Store inspection beside the stored one, under an id of its own and " (copy)" after its title."""
        now = now_utc()
        title = f"{inspection.guitar.title[:190]} (copy)".lstrip()
        copy = replace(
            inspection,
            id=str(uuid.uuid4()),
            revision=1,
            created_at=now,
            changed_at=now,
            guitar=replace(inspection.guitar, title=title),
        )
        self.insert(copy)
        return copy

    def load(self, inspection_id: str) -> Inspection:
        """The stored inspection, from the bin as well.

        Raises NotStored for an unknown id, DocumentProblem when what is stored under it is not readable.
        """
        with self._read() as connection:
            row = _row(connection, inspection_id)
        if row is None:
            raise _not_stored()
        return inspection_from_text(row.document)

    def summaries(self, *, binned: bool = False) -> tuple[Summary, ...]:
        """The list of inspections, or of those in the bin, newest change first."""
        columns = [inspections.c[name] for name in Summary.__dataclass_fields__]
        in_bin = inspections.c.binned_at.is_not(None) if binned else inspections.c.binned_at.is_(None)
        newest = inspections.c.binned_at if binned else inspections.c.changed_at
        query = select(*columns).where(in_bin).order_by(newest.desc(), inspections.c.id)
        with self._read() as connection:
            rows = connection.execute(query).mappings().all()
        return tuple(_summary(row) for row in rows)

    def move_to_bin(self, inspection_id: str) -> None:
        """Take an inspection off the list; it stays restorable. Raises NotStored when it is not on the list."""
        self._set_binned(inspection_id, now_utc())

    def restore(self, inspection_id: str) -> None:
        """Put an inspection back on the list from the bin. Raises NotStored when it is not in the bin."""
        self._set_binned(inspection_id, None)

    def erase(self, inspection_id: str) -> None:
        """Remove an inspection for good. Raises NotStored when it is not in the bin: only the bin is emptied."""
        query = delete(inspections).where(inspections.c.id == inspection_id, inspections.c.binned_at.is_not(None))
        with self._write() as connection:
            if connection.execute(query).rowcount == 0:
                raise _not_stored()

    def photos_in_use(self) -> frozenset[str]:
        """Hashes of all photographs that stored inspections point to, those in the bin included."""
        with self._read() as connection:
            return frozenset(connection.execute(select(photo_uses.c.sha256).distinct()).scalars())

    def _set_binned(self, inspection_id: str, binned_at: datetime | None) -> None:
        before = inspections.c.binned_at.is_(None) if binned_at else inspections.c.binned_at.is_not(None)
        query = update(inspections).where(inspections.c.id == inspection_id, before)
        with self._write() as connection:
            stamp = binned_at.isoformat() if binned_at else None
            if connection.execute(query.values(binned_at=stamp)).rowcount == 0:
                raise _not_stored()

    @contextmanager
    def _read(self) -> Iterator[Connection]:
        with plain_errors(self.path), self._engine.begin() as connection:
            yield connection

    @contextmanager
    def _write(self) -> Iterator[Connection]:
        with plain_errors(self.path), self._writing.begin() as connection:
            yield connection


def _open(engine: Engine, writing: Engine, path: Path) -> None:
    with engine.begin() as connection:
        application, version = (
            connection.exec_driver_sql(f"PRAGMA {name}").scalar_one() for name in ("application_id", "user_version")
        )
        empty = connection.exec_driver_sql("SELECT count(*) FROM sqlite_schema").scalar_one() == 0
        check = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar_one()
    if check != "ok":
        raise damaged(path)
    if empty and application == 0:  # new, or a process was killed before it had made the tables
        with writing.begin() as connection:
            create_tables(connection)
        sync_folder(path.parent)
    elif application != APPLICATION_ID:
        raise StoreProblem(
            f"The file {path.name} in the data folder is a database of another program.",
            "Move it elsewhere, then start again.",
        )
    elif version > TABLES_VERSION:
        raise StoreProblem(
            "The stored inspections were written by a newer version of this program.",
            "Bring this program up to date, then start again.",
        )


def _check_unchanged(connection: Connection, mine: Inspection, expected: int) -> None:
    row = _row(connection, mine.id)
    if row is None:
        if expected != 0:
            raise Conflict(mine, None, False)
    elif row.revision != expected or row.binned:
        raise Conflict(mine, inspection_from_text(row.document), row.binned)


@dataclass(frozen=True)
class _Stored:
    """What a stored row says about one inspection."""

    revision: int
    binned: bool
    document: str


def _row(connection: Connection, inspection_id: str) -> _Stored | None:
    columns = (inspections.c.revision, inspections.c.binned_at, inspections.c.document)
    row = connection.execute(select(*columns).where(inspections.c.id == inspection_id)).one_or_none()
    return None if row is None else _Stored(row.revision, row.binned_at is not None, row.document)


def _put(connection: Connection, inspection: Inspection) -> None:
    photos = photos_of(inspection)
    measured = [s for s in inspection.sightings if s.measurement and s.measurement.contract["status"] == "measured"]
    values = {
        "revision": inspection.revision,
        "created_at": inspection.created_at.isoformat(),
        "changed_at": inspection.changed_at.isoformat(),
        "title": inspection.guitar.title,
        "place_seen": inspection.guitar.place_seen,
        "asking_price": inspection.guitar.asking_price,
        "currency": inspection.guitar.currency,
        "step": inspection.step,
        "photos": len(photos),
        "measured": len(measured),
        "document": inspection_to_text(inspection),
    }
    changed = connection.execute(update(inspections).where(inspections.c.id == inspection.id).values(**values))
    if changed.rowcount == 0:
        connection.execute(insert(inspections).values(id=inspection.id, **values))
    connection.execute(delete(photo_uses).where(photo_uses.c.inspection_id == inspection.id))
    if photos:
        uses = [{"inspection_id": inspection.id, "sha256": photo.sha256} for photo in photos]
        connection.execute(insert(photo_uses), uses)


def _summary(row: RowMapping) -> Summary:
    values: dict[str, Any] = {name: row[name] for name in Summary.__dataclass_fields__}
    return Summary(**values | {"changed_at": datetime.fromisoformat(row["changed_at"])})


def _not_stored() -> NotStored:
    return NotStored("There is no such inspection here.", "Look in the list and in the bin.")
