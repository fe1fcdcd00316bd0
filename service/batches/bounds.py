"""How much is kept for one owner: batches, and bytes of their documents.

The owner is whoever has a key, or all who ask without one together. What is counted and
what is added stand in one transaction, under a lock of the owner's, so that no two who add
at once go beyond the bounds together. How large a document is is only known once it is
made, so the last one for which there was room may be larger than what was left.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256

from sqlalchemy import ColumnElement, Connection, and_, func, or_, select, text

from piecewright.service.batches.tables import batches


@dataclass(frozen=True, slots=True)
class Bounds:
    """What is kept for one owner, or may be: then 0 stands for no limit.

    Attributes:
        bytes: of the documents of all batches together. At the bound no more are added.
    """

    batches: int = 0
    bytes: int = 0


class NoRoom(Exception):
    """As much is kept for the owner as may be.

    Attributes:
        kept: for the owner now.
        oldest: the id of the batch that lapses first, or was made first if none has ended.
        lapses: when it does, in seconds since 1970; None if none has ended.
    """

    def __init__(self, kept: Bounds, oldest: str, lapses: float | None) -> None:
        super().__init__()
        self.kept, self.oldest, self.lapses = kept, oldest, lapses


def hold(connection: Connection, owner: str) -> None:
    """Keeps others from adding to what is kept for an owner until this change is in.

    Whoever holds an owner locks no batch that is there after that, so that no two wait for each
    other.
    """
    # SQLite has one that writes at a time anyway.
    if connection.dialect.name == "postgresql":
        number = int.from_bytes(sha256(owner.encode()).digest()[:8], "big", signed=True)
        connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": number})


def is_kept_for(owner: str, now: float) -> ColumnElement[bool]:
    """Whether a batch is the owner's, and has not expired."""
    there = or_(batches.c.expires.is_(None), batches.c.expires > now)
    return and_(batches.c.owner == owner, there)


def refuse_if_full(connection: Connection, owner: str, most: Bounds, now: float) -> None:
    """Sees whether one more batch may be kept for an owner who is held.

    Raises:
        NoRoom: it may not.
    """
    kept = _kept(connection, owner, now)
    if not (0 < most.batches <= kept.batches or 0 < most.bytes <= kept.bytes):
        return
    oldest = connection.execute(
        select(batches.c.id, batches.c.expires)
        .where(is_kept_for(owner, now))
        .order_by(batches.c.expires.is_(None), batches.c.expires, batches.c.created)
        .limit(1)
    ).one()
    raise NoRoom(kept, oldest.id, oldest.expires)


def has_room(connection: Connection, batch: str, most: Bounds, now: float) -> bool:
    """Whether there is room for one more document of a batch; there is none if it is gone."""
    owner = connection.execute(
        select(batches.c.owner).where(batches.c.id == batch)
    ).scalar_one_or_none()
    if owner is None:
        return False
    return not most.bytes or _kept(connection, owner, now).bytes < most.bytes


def fitting(
    connection: Connection, batch: str, sizes: Mapping[int, int], most: Bounds, now: float
) -> set[int]:
    """Those documents of a batch for which there is room; its owner is held from now on.

    Args:
        sizes: bytes of the documents, by the items' numbers, in the order of preference.
    """
    if not most.bytes:
        return set(sizes)
    owner = connection.execute(select(batches.c.owner).where(batches.c.id == batch)).scalar_one()
    hold(connection, owner)
    left = most.bytes - _kept(connection, owner, now).bytes
    found = set()
    for number, size in sizes.items():
        if left > 0:
            found.add(number)
            left -= size
    return found


def _kept(connection: Connection, owner: str, now: float) -> Bounds:
    count, size = connection.execute(
        select(func.count(), func.coalesce(func.sum(batches.c.bytes), 0)).where(
            is_kept_for(owner, now)
        )
    ).one()
    return Bounds(count, int(size))
