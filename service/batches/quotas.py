"""Quotas: how much is kept for one owner, in batches and in bytes of their documents.

The owner is whoever has a key, or all who ask without one together. What is counted and
what is added stand in one transaction, under a lock of the owner's, so that no two who add
at once go beyond the quota together. How large a document is is only known once it is
made, so the last one for which there was room may be larger than what was left.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256

from sqlalchemy import ColumnElement, Connection, and_, func, or_, select, text

from piecewright.service.batches.tables import batches


@dataclass(frozen=True, slots=True)
class Quota:
    """What may be kept for one owner; 0 stands for no limit.

    Attributes:
        bytes: of the documents of all batches together. At the quota no more are added.
    """

    batches: int = 0
    bytes: int = 0


@dataclass(frozen=True, slots=True)
class Usage:
    """What is kept for one owner.

    Attributes:
        bytes: of the documents of all batches together.
    """

    batches: int
    bytes: int


class QuotaExceeded(Exception):
    """As much is kept for the owner as may be.

    Attributes:
        usage: the owner's now.
        oldest: the id of the batch that expires first, or was made first if none has ended.
        expires: when it does, in seconds since 1970; None if none has ended.
    """

    def __init__(self, usage: Usage, oldest: str, expires: float | None) -> None:
        super().__init__()
        self.usage, self.oldest, self.expires = usage, oldest, expires


def lock_owner(connection: Connection, owner: str) -> None:
    """Keeps others from adding to what is kept for an owner until this change is in.

    Whoever holds this lock locks no batch that is there after that: locks are always taken in
    one order, and no two wait for each other (deadlock).
    """
    # SQLite has one that writes at a time anyway.
    if connection.dialect.name == "postgresql":
        # An owner has no row to lock; an advisory lock has any number of 64 bits, and who shares
        # one by chance only waits for no reason.
        number = int.from_bytes(sha256(owner.encode()).digest()[:8], "big", signed=True)
        connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": number})


def is_kept_for(owner: str, now: float) -> ColumnElement[bool]:
    """Whether a batch is the owner's, and has not expired."""
    there = or_(batches.c.expires.is_(None), batches.c.expires > now)
    return and_(batches.c.owner == owner, there)


def refuse_if_full(connection: Connection, owner: str, quota: Quota, now: float) -> None:
    """Sees whether one more batch may be kept for an owner who is locked.

    Raises:
        QuotaExceeded: it may not.
    """
    usage = _usage(connection, owner, now)
    if not (0 < quota.batches <= usage.batches or 0 < quota.bytes <= usage.bytes):
        return
    oldest = connection.execute(
        select(batches.c.id, batches.c.expires)
        .where(is_kept_for(owner, now))
        .order_by(batches.c.expires.is_(None), batches.c.expires, batches.c.created)
        .limit(1)
    ).one()
    raise QuotaExceeded(usage, oldest.id, oldest.expires)


def has_room(connection: Connection, batch: str, quota: Quota, now: float) -> bool:
    """Whether there is room for one more document of a batch; there is none if it is gone."""
    owner = connection.execute(
        select(batches.c.owner).where(batches.c.id == batch)
    ).scalar_one_or_none()
    if owner is None:
        return False
    return not quota.bytes or _usage(connection, owner, now).bytes < quota.bytes


def fitting(
    connection: Connection, batch: str, sizes: Mapping[int, int], quota: Quota, now: float
) -> set[int]:
    """Those documents of a batch for which there is room; its owner is locked from now on.

    Args:
        sizes: bytes of the documents, by the items' numbers, in the order of preference.
    """
    if not quota.bytes:
        return set(sizes)
    owner = connection.execute(select(batches.c.owner).where(batches.c.id == batch)).scalar_one()
    lock_owner(connection, owner)
    left = quota.bytes - _usage(connection, owner, now).bytes
    found = set()
    for number, size in sizes.items():
        if left > 0:
            found.add(number)
            left -= size
    return found


def _usage(connection: Connection, owner: str, now: float) -> Usage:
    count, size = connection.execute(
        select(func.count(), func.coalesce(func.sum(batches.c.bytes), 0)).where(
            is_kept_for(owner, now)
        )
    ).one()
    return Usage(count, int(size))
