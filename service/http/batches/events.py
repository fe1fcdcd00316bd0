"""Progress as it happens: Server-Sent Events (WHATWG HTML, section 9.2).

An event's id is the batch's revision, so that who comes back with ``Last-Event-ID`` gets
every item that has changed since. A stream is closed after a while, as no thread of the
service should be one client's for good; an ``EventSource`` comes back.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from threading import Lock
from typing import Any, Final

from piecewright.service.batches.model import Batch
from piecewright.service.batches.schemas import BatchItem, BatchProgress
from piecewright.service.json_text import write_json

MEDIA_TYPE: Final = "text/event-stream"

MOST_STREAMS: Final = 8
"""Streams at once in one process of the service: each takes one of its threads, most of which are
to be left for requests (``gunicorn_config``)."""

MOST_OF_ONE: Final = MOST_STREAMS // 2
"""Of these those of one owner, so that nobody takes them all; all who ask without a key are no one
owner in this."""


class Streams:
    """The streams that last, counted by their owners."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._taken: Counter[str] = Counter()

    def take(self, owner: str) -> int:
        """Begins a stream of an owner, "" for one without a key.

        Returns:
            0, or how many there are when no more may begin: of the owner, or of all.
        """
        with self._lock:
            if self._taken.total() >= MOST_STREAMS:
                return MOST_STREAMS
            if owner and self._taken[owner] >= MOST_OF_ONE:
                return MOST_OF_ONE
            self._taken[owner] += 1
            return 0

    def give_back(self, owner: str) -> None:
        """Ends a stream of an owner."""
        with self._lock:
            self._taken[owner] -= 1
            if not self._taken[owner]:
                del self._taken[owner]


streams = Streams()
"""Those of this process."""


@dataclass(frozen=True, slots=True)
class Pace:
    """How a stream goes.

    Attributes:
        look: seconds between looks at the batch.
        comment: seconds of silence before a comment keeps the connection open.
        last: seconds until the stream is closed, and the client comes back.
        retry: milliseconds until it does.
    """

    look: float = 0.5
    comment: float = 15.0
    last: float = 90.0
    retry: int = 2000


def events(
    first: Batch,
    after: int,
    address: str,
    look_again: Callable[[int], Batch | None],
    pace: Pace,
    wait: Callable[[float], None] = time.sleep,
) -> Iterator[bytes]:
    """What happens to a batch, until it is complete.

    Args:
        first: the batch with the items that have changed since ``after``.
        after: the revision that the client has seen; 0 for none.
        address: of the batch.
        look_again: gives the batch with the items that have changed since a revision; None if
            it is gone.
    """
    # Sent at once, before anything has happened: it opens the stream for whoever listens.
    yield f"retry: {pace.retry}\n\n".encode()
    batch: Batch | None = first
    began = spoken = time.monotonic()
    seen = after
    while batch is not None:
        now = time.monotonic()
        if batch.revision > seen:
            yield _changes(batch, address)
            seen, spoken = batch.revision, now
        elif now - spoken >= pace.comment:
            # Proxies close what is silent, and a client that has left is found by writing.
            yield b": still at work\n\n"
            spoken = now
        if batch.is_complete or now - began >= pace.last:
            return
        wait(pace.look)
        batch = look_again(seen)


def _changes(batch: Batch, address: str) -> bytes:
    """An event for each item, in the order of the changes, and one for the batch."""
    items = sorted(batch.items, key=lambda item: (item.revision, item.number))
    following = [item.revision for item in items[1:]] + [batch.revision + 1]
    # A revision is the id of the last of its items only: who is cut off before gets it again.
    parts = [
        event("item", BatchItem.to_json(item, address), item.revision - (item.revision == next_one))
        for item, next_one in zip(items, following, strict=False)
    ]
    name = "end" if batch.is_complete else "progress"
    parts.append(event(name, BatchProgress.to_json(batch, address), batch.revision))
    return b"".join(parts)


def event(name: str, data: Any, id: int) -> bytes:
    r"""One event in the stream; JSON in UTF-8 is one line.

    >>> event("progress", {"done": 3}, 7)
    b'id: 7\nevent: progress\ndata: {"done":3}\n\n'
    """
    return f"id: {id}\nevent: {name}\ndata: ".encode() + write_json(data) + b"\n"
