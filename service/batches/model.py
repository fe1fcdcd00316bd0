"""Batches, their items and print jobs, as they go in and out of the database."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, TypeAlias

from piecewright.service.batches.print_jobs import PrintJob

BatchState: TypeAlias = Literal["queued", "running", "done", "cancelled"]
ItemState: TypeAlias = Literal["queued", "running", "done", "failed", "cancelled"]

OPEN: Final = ("queued", "running")
"""States, of items and batches, in which there is work left; all others are final."""


@dataclass(frozen=True, slots=True)
class NewBatch:
    """A batch as it is put into the database.

    Attributes:
        names: of all items.
        key: the idempotency key, if there is one.
        digest: of the request, by which a repeated one is known.
    """

    title: str
    defaults: Mapping[str, Any]
    names: Sequence[str]
    jobs: Sequence[PrintJob]
    key: str | None
    digest: str


@dataclass(frozen=True, slots=True)
class BatchItem:
    """An item and what has become of it.

    Attributes:
        job: the number of the print job that makes it.
        revision: of the batch when the item last changed.
        problem: a problem's body, if it failed.
    """

    number: int
    job: int
    name: str
    state: ItemState
    revision: int
    pages: int | None
    problem: dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class Batch:
    """A batch at one moment.

    Attributes:
        done, failed: counts of its items.
        created, ended, expires: seconds since 1970.
        items: those asked for, by their numbers.
        collated: what has become of all documents in one; None before the batch has ended, and
            where there are no documents.
    """

    id: str
    title: str
    state: BatchState
    revision: int
    total: int
    done: int
    failed: int
    created: float
    ended: float | None
    expires: float | None
    items: tuple[BatchItem, ...]
    collated: BatchItem | None = None

    @property
    def has_ended(self) -> bool:
        """Whether nothing will become of its items any more."""
        return self.state not in OPEN

    @property
    def is_complete(self) -> bool:
        """Whether nothing will become of it any more: all in one is made too, or cannot be."""
        return self.has_ended and (self.collated is None or self.collated.state not in OPEN)


@dataclass(frozen=True, slots=True)
class Claim:
    """A print job that a worker has for as long as its lease lasts.

    Attributes:
        job: its number in the batch.
        packet: a patch on the defaults, or all of the request if it is ``whole``.
        left: the items to do: their numbers and names.
    """

    batch: str
    job: int
    worker: str
    defaults: Mapping[str, Any]
    packet: Mapping[str, Any]
    whole: bool
    left: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True)
class Collation:
    """What all documents of a batch in one are made of.

    Attributes:
        copies: names and the print jobs whose masters are lettered with them, in order.
        pages: of all together.
    """

    title: str
    copies: tuple[tuple[str, int], ...]
    pages: int
