"""Where batches are kept, opened: the database with their state, and the files."""

from __future__ import annotations

import logging
import os
import re
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Final

from sqlalchemy.exc import SQLAlchemyError

from piecewright.service.batches.files import Files
from piecewright.service.batches.queries import Queries
from piecewright.service.batches.quotas import Quota
from piecewright.service.batches.store import Store
from piecewright.service.batches.tables import open_database
from piecewright.service.settings import Settings

_HOUR: Final = 3600.0

_STRAY: Final = _HOUR
"""Seconds for which nothing was written in a folder before it is taken for one left over: longer
than any worker that has not yet found its batch gone is at work."""

_FOLDER: Final = re.compile(r"[A-Za-z0-9_-]{32}")
"""What the folders of batches are named like; others are none of ours."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Storage:
    """The database, to be changed by ``store`` and read by ``queries``, and the files.

    Attributes:
        tidied: complete batches whose working files were removed from here before.
    """

    store: Store
    files: Files
    tidied: set[str] = field(default_factory=set, compare=False)

    @property
    def queries(self) -> Queries:
        """Reads the database."""
        return self.store.queries

    def remove(self, batch: str) -> None:
        """Removes a batch and its documents.

        The batch goes first: a worker that writes a document after that finds that it is gone,
        and removes what it has written. What cannot be removed now is left to ``sweep``.
        """
        self.store.remove(batch)
        try:
            self.files.remove_all(batch)
        except OSError:
            _log.exception("the documents of a batch could not be removed; this is tried again")

    def remove_expired(self) -> None:
        """Removes the batches that have been kept long enough."""
        for batch in self.queries.expired():
            self.remove(batch)

    def sweep(self) -> None:
        """Removes all that nobody needs: batches that have been kept long enough, working files
        of those that are complete, and documents whose batch is gone."""
        self.remove_expired()
        complete = set(self.queries.complete())
        for batch in complete - self.tidied:
            self.files.remove_working(batch)
        self.tidied.clear()
        self.tidied.update(complete)
        # A batch is in the database before it has a folder: one that has a folder and is not in
        # the database after that was removed.
        folders = [name for name in self.files.folders() if _FOLDER.fullmatch(name)]
        for batch in self.queries.unknown(folders):
            if self.files.unchanged_for(batch) > _STRAY:
                _log.warning("documents of a batch that is gone are removed")
                self.files.remove_all(batch)


def open_storage(settings: Settings) -> Storage:
    """The database, with its tables, and the files; opened once in each process.

    Raises:
        WrongVersion: the database is another version's.
        sqlalchemy.exc.SQLAlchemyError, OSError: they cannot be opened.
        ImportError, ValueError: something that such a database or files need is not installed.
    """
    return _open(settings, os.getpid())


@cache
def _open(settings: Settings, process: int) -> Storage:
    # A connection that a process got from its parent (gunicorn and Celery fork) would be the
    # parent's too: each has its own.
    if not (settings.database and settings.files):
        make_data_folder(settings)
    engine = open_database(_database(settings))
    return Storage(
        Store(
            engine,
            settings.keep_hours * _HOUR,
            quota=Quota(settings.keep_batches, settings.keep_bytes),
        ),
        Files(settings.files or str(settings.data_folder / "documents")),
    )


def refuse_wrong_version(settings: Settings) -> None:
    """Looks at the database, if it can be opened now.

    Raises:
        WrongVersion: it is another version's.
    """
    try:
        if not settings.database:
            make_data_folder(settings)
        open_database(_database(settings)).dispose()
    except (SQLAlchemyError, OSError):
        _log.exception("the database of batches cannot be opened yet")


def _database(settings: Settings) -> str:
    return settings.database or f"sqlite:///{database_file(settings)}"


def is_in_use(settings: Settings) -> bool:
    """Whether there is a database of batches, so that it must be possible to open it."""
    return bool(settings.database) or database_file(settings).exists()


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
