"""The tables in which the state of batches stands, for SQLite and PostgreSQL alike.

Times are seconds since 1970 in UTC. JSON is kept as text in ASCII, which every database
takes whatever it stands for.
"""

from __future__ import annotations

import sqlite3
from typing import Any, Final

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Connection,
    Engine,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    create_engine,
    event,
    insert,
    inspect,
    select,
    text,
)

VERSION: Final = 2
"""Of the tables; a database with another one is left alone."""

READ_ONLY: Final = {"read_only": True}
"""Execution options of a connection that will not write, so that it waits for no writer."""

_BUSY: Final = 30.0
"""Seconds to wait for another process that writes to the SQLite file: changes take milliseconds,
but many may queue, and a slow disk must not fail them."""

_CREATING: Final = 0x7069656365
"""Number of the PostgreSQL advisory lock under which tables are made: any, but always the same."""

metadata = MetaData()

version = Table("piecewright_version", metadata, Column("version", Integer, primary_key=True))

batches = Table(
    "piecewright_batches",
    metadata,
    Column("id", String(64), primary_key=True),
    Column("owner", String(200), nullable=False),
    Column("title", Text, nullable=False),
    Column("defaults", Text, nullable=False),
    Column("idempotency_key", String(255)),
    Column("body_digest", String(64), nullable=False),
    Column("total", Integer, nullable=False),
    Column("state", String(16), nullable=False),
    # Counts every change of the batch or one of its items.
    Column("revision", Integer, nullable=False),
    Column("bytes", BigInteger, nullable=False),  # of its documents
    Column("created", Float, nullable=False),
    Column("ended", Float),
    Column("expires", Float, index=True),
    UniqueConstraint("owner", "idempotency_key", name="piecewright_one_batch_a_key"),
)

# Print jobs are lots in the database, whose tables and columns keep their names.
print_jobs = Table(
    "piecewright_lots",
    metadata,
    Column(
        "batch",
        String(64),
        ForeignKey("piecewright_batches.id", ondelete="CASCADE"),
        primary_key=True,
    ),
    Column("number", Integer, primary_key=True),
    Column("packet", Text, nullable=False),
    Column("whole", Boolean, nullable=False),
    Column("state", String(16), nullable=False),  # queued, claimed or ended
    # Claims since an item of it was last finished.
    Column("attempts", Integer, nullable=False),
    # All claims there were, so that a claim can tell whether another came first.
    Column("claims", Integer, nullable=False),
    Column("worker", String(100)),
    Column("lease", Float),  # until when it is the worker's
    Column("created", Float, nullable=False),
    Column("claimed", Float),
    Index("piecewright_lots_waiting", "state", "number"),
    Index("piecewright_lots_of_batch", "batch", "state"),
    Index("piecewright_lots_worker", "worker"),
)

items = Table(
    "piecewright_items",
    metadata,
    Column("batch", String(64), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("lot", Integer, key="job", nullable=False),
    Column("name", Text, nullable=False),
    Column("state", String(16), nullable=False),
    Column("revision", Integer, nullable=False),  # of the batch when it last changed
    Column("pages", Integer),
    Column("problem", Text),
    ForeignKeyConstraint(
        ["batch", "job"], ["piecewright_lots.batch", "piecewright_lots.number"], ondelete="CASCADE"
    ),
    Index("piecewright_items_of_lot", "batch", "job", "state"),
    Index("piecewright_items_changed", "batch", "revision"),
)


# When a print job of a batch was last claimed, by which batches and their owners take turns.
turns = Table(
    "piecewright_turns",
    metadata,
    Column(
        "batch",
        String(64),
        ForeignKey("piecewright_batches.id", ondelete="CASCADE"),
        primary_key=True,
    ),
    Column("owner", String(200), nullable=False),
    Column("claimed", Float, nullable=False),
)


class WrongVersion(RuntimeError):
    """The database's tables are of another version of the program."""


def open_database(url: str) -> Engine:
    """An engine for the database, which has the tables then.

    Args:
        url: as SQLAlchemy takes it.

    Raises:
        WrongVersion: the tables there are not ours.
    """
    # A server may have closed a connection that was idle; a file does not.
    engine = create_engine(url, pool_pre_ping=not url.startswith("sqlite"))
    if engine.dialect.name == "sqlite":
        _serve_many_processes(engine)
    with engine.begin() as connection:
        _create(connection)
    return engine


def _create(connection: Connection) -> None:
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _CREATING})
    if not inspect(connection).has_table(version.name):
        metadata.create_all(connection)
        connection.execute(insert(version), {"version": VERSION})
    found = connection.execute(select(version.c.version)).scalars().all()
    if found != [VERSION]:
        raise WrongVersion(
            f"the database of batches has tables of version {found}, this program needs {VERSION}; "
            "let its batches end and give this one an empty database"
        )
    turns.create(connection, checkfirst=True)  # later than the rest; none of it is changed by it


def _serve_many_processes(engine: Engine) -> None:
    """Sets SQLite up for readers beside one writer, and writers that wait for each other."""

    @event.listens_for(engine, "connect")
    def connect(connection: sqlite3.Connection, record: Any) -> None:
        connection.isolation_level = None  # transactions begin where we say, below
        connection.execute(f"PRAGMA busy_timeout = {int(_BUSY * 1000)}")
        # A log of its own lets readers go on beside a writer. With it NORMAL is safe: a loss of
        # power may undo the last changes, and breaks nothing.
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = NORMAL")
        connection.execute("PRAGMA foreign_keys = ON")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        # A transaction that reads first and then writes would fail at once if another wrote in
        # between (SQLITE_BUSY_SNAPSHOT); one that means to write says so at its start.
        read_only = connection.get_execution_options().get("read_only", False)
        connection.exec_driver_sql("BEGIN" if read_only else "BEGIN IMMEDIATE")
