"""What everyone who has to do with batches opens first: the database and the files."""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from service.batches.bounds import Bounds
from service.batches.files import Files
from service.batches.store import Store
from service.batches.tables import open_database
from service.settings import Settings

_HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Parts:
    """Where batches are kept."""

    store: Store
    files: Files

    def remove(self, batch: str) -> None:
        """Removes a batch and its documents."""
        self.files.remove_all(batch)
        self.store.remove(batch)

    def remove_expired(self) -> None:
        """Removes the batches that have been kept long enough."""
        for batch in self.store.expired():
            self.remove(batch)


def parts(settings: Settings) -> Parts:
    """The database, with its tables, and the files; opened once in each process.

    Raises:
        WrongVersion: the database is another version's.
        sqlalchemy.exc.SQLAlchemyError, OSError: they cannot be opened.
        ImportError, ValueError: something that such a database or files need is not installed.
    """
    return _opened(settings, os.getpid())


@cache
def _opened(settings: Settings, process: int) -> Parts:
    # A connection that a process got from its parent would be the parent's too: each has its own.
    if not (settings.database and settings.files):
        make_data_folder(settings)
    engine = open_database(settings.database or f"sqlite:///{database_file(settings)}")
    return Parts(
        Store(
            engine,
            settings.keep_hours * _HOUR,
            bounds=Bounds(settings.keep_batches, settings.keep_bytes),
        ),
        Files(settings.files or str(settings.data_folder / "documents")),
    )


def make_data_folder(settings: Settings) -> Path:
    """The data folder; what is in it is nobody's but the service's.

    Raises:
        OSError: it cannot be made.
    """
    settings.data_folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return settings.data_folder


def database_file(settings: Settings) -> Path:
    """The SQLite file, where no other database is set."""
    return settings.data_folder / "batches.sqlite"
