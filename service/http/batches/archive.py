"""The documents of a batch together: a ZIP with a file an item, and other large answers.

A ZIP is put together while it is sent: that costs no more than reading the documents.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from typing import IO, Final

from piecewright.render.output.zip import zip_entry
from piecewright.service.batches.files import Files, item_key
from piecewright.service.batches.model import Batch, BatchItem
from piecewright.service.responses.answer import Answer, file_name

_PIECE: Final = 64 * 1024
"""Bytes of a document that are read at once, few enough that many may load documents together."""


class _Outlet(io.RawIOBase):
    """Where the archive is written: what has come in is taken out again piece by piece."""

    def __init__(self) -> None:
        super().__init__()
        self._waiting = bytearray()

    def writable(self) -> bool:
        return True

    def write(self, content: object) -> int:
        piece = bytes(content)  # type: ignore[call-overload]
        self._waiting += piece
        return len(piece)

    def taken(self) -> bytes:
        piece = bytes(self._waiting)
        self._waiting.clear()
        return piece


def zipped(batch: Batch, files: Files) -> Iterator[bytes]:
    """A ZIP of the items that are done, in pieces, with an index of all.

    Args:
        batch: with all its items.
    """
    out = _Outlet()
    # ``out`` cannot be rewound, so zipfile writes sizes and checksums after each entry's content.
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr(zip_entry(f"{0:0{_digits(batch)}} index.txt"), index(batch))
        for item in batch.items:
            if item.state != "done":
                continue
            # Compressing a PDF again would gain next to nothing.
            with (
                files.open(item_key(batch.id, item.number)) as document,
                archive.open(zip_entry(document_name(batch, item)), "w") as entry,
            ):
                for piece in _pieces(document):
                    entry.write(piece)
                    yield out.taken()
    yield out.taken()


def document_name(batch: Batch, item: BatchItem) -> str:
    """An item's file name, such as ``03 Ada.pdf``: no two of a batch are the same."""
    return file_name(Answer("pdf", b"", f"{item.number:0{_digits(batch)}} {item.name}"))


def _digits(batch: Batch) -> int:
    return max(2, len(str(batch.total)))


def index(batch: Batch) -> str:
    """All items as a list to read, with what is wrong with those that failed."""
    lines = [_heading(batch), f"{batch.done} of {batch.total} done, {batch.failed} failed"]
    lines.append("")
    for item in batch.items:
        lines.append(
            f"{item.number:0{_digits(batch)}} {item.name}".rstrip() + f": {_outcome(item)}"
        )
        problem = item.problem or {}
        lines += [f"    {e['pointer']}: {e['detail']}" for e in problem.get("errors", ())]
    return "\r\n".join(lines) + "\r\n"


def _outcome(item: BatchItem) -> str:
    if item.problem is not None:
        return f"failed. {item.problem['detail']}"
    if item.pages is not None:
        return f"{item.pages} page{'' if item.pages == 1 else 's'}"
    return item.state


def in_pieces(files: Files, key: str) -> Iterator[bytes]:
    """A document piece by piece.

    Raises:
        FileNotFoundError: it is not there.
    """
    with files.open(key) as document:
        yield from _pieces(document)


def _pieces(document: IO[bytes]) -> Iterator[bytes]:
    while piece := document.read(_PIECE):
        yield piece


def _heading(batch: Batch) -> str:
    return batch.title or "Batch"
