"""The documents of batches: a local folder or whatever else fsspec reaches.

A document is there whole or not at all: a local one is written beside its place and moved
there; object stores put an object in one piece.
"""

from __future__ import annotations

import errno
import os
import secrets
import shutil
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import IO, Any, Final

import fsspec
from fsspec.implementations.local import LocalFileSystem

from piecewright.service.batches.print_jobs import COLLATED

_MASTER: Final = "master-"

_MOST_ROUNDS: Final = 100
"""Times that a folder is emptied in which others write meanwhile. A worker stops when it finds its
batch gone, so a few are enough, and so many mean that something else is wrong."""


class Files:
    """Documents by keys such as ``<batch>/00003.pdf``."""

    def __init__(self, place: str) -> None:
        """Args:
        place: a folder, or a URL as fsspec takes it, such as ``s3://bucket/batches``.
        """
        found, root = fsspec.url_to_fs(place)
        self._system: Any = found
        self._root = str(root).rstrip("/")

    def write(self, key: str, content: bytes) -> None:
        """Puts a document in its place; one that was there is replaced.

        Raises:
            OSError: it cannot be kept.
        """
        path = self._path(key)
        if not isinstance(self._system, LocalFileSystem):
            self._system.pipe_file(path, content)
            return
        # In the same folder, as only a move within one file system is atomic; with a name of its
        # own, as another worker may be writing the same document.
        target = Path(path)
        target.parent.mkdir(parents=True, exist_ok=True)
        draft = target.with_name(f".{target.name}-{secrets.token_hex(8)}")
        try:
            draft.write_bytes(content)
            os.replace(draft, target)
        except BaseException:
            draft.unlink(missing_ok=True)
            raise

    def read(self, key: str) -> bytes:
        """A document.

        Raises:
            FileNotFoundError: it is not there.
        """
        content: bytes = self._system.cat_file(self._path(key))
        return content

    def open(self, key: str) -> IO[bytes]:
        """A document to be read piece by piece.

        Raises:
            FileNotFoundError: it is not there.
        """
        opened: IO[bytes] = self._system.open(self._path(key), "rb")
        return opened

    def size(self, key: str) -> int:
        """Bytes of a document.

        Raises:
            FileNotFoundError: it is not there.
        """
        size: int = self._system.size(self._path(key))
        return size

    def remove(self, key: str) -> None:
        """Removes a document, if it is there."""
        with suppress(FileNotFoundError):
            self._system.rm_file(self._path(key))

    def remove_working(self, batch: str) -> None:
        """Removes what a batch that is complete needs no more: masters, and drafts of documents
        whose writers were ended amid them."""
        path = self._path(batch)
        self._system.invalidate_cache(path)
        with suppress(FileNotFoundError):
            for found in self._system.ls(path, detail=False):
                if str(found).rpartition("/")[2].startswith((_MASTER, ".")):
                    with suppress(FileNotFoundError):
                        self._system.rm_file(found)

    def remove_all(self, batch: str) -> None:
        """Removes all documents of a batch, those too that are written meanwhile.

        Raises:
            OSError: they cannot be removed, or more come again and again.
        """
        path = self._path(batch)
        for _ in range(_MOST_ROUNDS):
            # What another process wrote is not in this one's listing of an object store.
            self._system.invalidate_cache(path)
            if not self._system.exists(path):
                return
            if isinstance(self._system, LocalFileSystem):
                shutil.rmtree(path, onerror=_unless_vanished)
            else:
                with suppress(FileNotFoundError):  # what else there is comes in the next round
                    self._system.rm(path, recursive=True)
        raise OSError(errno.EBUSY, "documents are written as fast as they are removed", path)

    def folders(self) -> list[str]:
        """The names of all folders, those of batches and whatever others there are."""
        self._system.invalidate_cache(self._root)
        try:
            found = self._system.ls(self._root, detail=True)
        except FileNotFoundError:
            return []
        folders = [one["name"] for one in found if one["type"] == "directory"]
        return [str(name).rstrip("/").rpartition("/")[2] for name in folders]

    def unchanged_for(self, batch: str) -> float:
        """Seconds since a batch's folder, or a document in it, was last written; 0 if there is
        neither."""
        path = self._path(batch)
        with suppress(FileNotFoundError):
            if isinstance(self._system, LocalFileSystem):
                return time.time() - Path(path).stat().st_mtime
            self._system.invalidate_cache(path)
            written = [self._system.modified(found) for found in self._system.find(path)]
            if written:
                return time.time() - float(max(written).timestamp())
        return 0.0

    def _path(self, key: str) -> str:
        return f"{self._root}/{key}"


def _unless_vanished(
    remove: Callable[..., Any], path: str, error: tuple[type[BaseException], BaseException, Any]
) -> None:
    """Goes on when another was faster to remove, or when a document has come meanwhile."""
    raised = error[1]
    if isinstance(raised, FileNotFoundError):
        return
    if isinstance(raised, OSError) and raised.errno in (errno.ENOTEMPTY, errno.EEXIST):
        return
    raise raised


def item_key(batch: str, number: int) -> str:
    """Where an item's document is.

    >>> item_key("b", 3), item_key("b", COLLATED)
    ('b/00003.pdf', 'b/collated.pdf')
    """
    return f"{batch}/collated.pdf" if number == COLLATED else f"{batch}/{number:05}.pdf"


def master_key(batch: str, job: int) -> str:
    """Where the document is from which those of a print job are made."""
    return f"{batch}/{_MASTER}{job:05}.pdf"
