"""The database's tables and how each connection is set up, so that a save is whole and lasts."""

from pathlib import Path
from typing import Any

from sqlalchemy import Column, Connection, Engine, Float, ForeignKey, Integer, MetaData, String, Table, event
from sqlalchemy import create_engine as create_any_engine
from sqlalchemy.engine import URL
from sqlalchemy.pool import NullPool

APPLICATION_ID = 0x4E53_4731  # in the file's header: tells this program's databases from any other
TABLES_VERSION = 1  # user_version in the header
LOCK_WAIT_MS = 10_000
WRITES = {"neck_sighting_writes": True}  # execution option of connections that will write

_metadata = MetaData()

inspections = Table(
    "inspections",
    _metadata,
    Column("id", String, primary_key=True),
    Column("revision", Integer, nullable=False),
    Column("created_at", String, nullable=False),
    Column("changed_at", String, nullable=False),
    Column("binned_at", String),
    # The columns from here to the document repeat what a list shows, so that it need not read every document.
    Column("title", String, nullable=False),
    Column("place_seen", String, nullable=False),
    Column("asking_price", Float),
    Column("currency", String, nullable=False),
    Column("step", String, nullable=False),
    Column("photos", Integer, nullable=False),
    Column("measured", Integer, nullable=False),
    Column("document", String, nullable=False),
)

photo_uses = Table(
    "photo_uses",
    _metadata,
    Column("inspection_id", ForeignKey("inspections.id", ondelete="CASCADE"), primary_key=True),
    Column("sha256", String, primary_key=True),
)


def create_engine(path: Path) -> Engine:
    """An engine whose connections write ahead, sync every commit and open and close with each use.

    Nothing is pooled: a connection belongs to one operation, whichever browser session or process does it.
    """
    engine = create_any_engine(URL.create("sqlite", database=str(path)), poolclass=NullPool)
    event.listen(engine, "connect", _set_up)
    event.listen(engine, "begin", _begin)
    return engine


def create_tables(connection: Connection) -> None:
    """Make the tables and mark the file as this program's."""
    _metadata.create_all(connection)
    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.exec_driver_sql(f"PRAGMA user_version = {TABLES_VERSION}")


def _set_up(connection: Any, _record: object) -> None:
    connection.isolation_level = None  # transactions begin where _begin says, not where the driver guesses
    for pragma in (
        f"busy_timeout = {LOCK_WAIT_MS}",
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
        "cell_size_check = ON",
        "trusted_schema = OFF",
    ):
        connection.execute(f"PRAGMA {pragma}").close()


def _begin(connection: Connection) -> None:
    """A writer takes its lock at once: one that turns from reader to writer could be refused halfway."""
    writes = connection.get_execution_options().get("neck_sighting_writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
