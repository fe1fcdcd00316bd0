"""What is read from the database of batches; nothing here changes anything.

Each query is one transaction, so that what is read in several steps is of one moment.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Engine, Row, and_, exists, func, or_, select

from piecewright.service.batches import quotas
from piecewright.service.batches.model import OPEN, Batch, BatchItem, Claim, Collation, ItemState
from piecewright.service.batches.print_jobs import COLLATED
from piecewright.service.batches.quotas import Quota, is_kept_for
from piecewright.service.batches.tables import READ_ONLY, batches, items, print_jobs


class Queries:
    """Reads the state of batches.

    Args:
        clock: seconds since 1970, the one that the changes are made by.
        quota: of what is kept for one owner.
    """

    def __init__(self, engine: Engine, clock: Callable[[], float], quota: Quota) -> None:
        self._clock, self._quota = clock, quota
        options = dict(READ_ONLY)
        if engine.dialect.name == "postgresql":
            # One snapshot for the whole transaction, not one for each statement, as is
            # PostgreSQL's default; SQLite's transactions are so anyway.
            self._engine = engine.execution_options(isolation_level="REPEATABLE READ", **options)
        else:
            self._engine = engine.execution_options(**options)

    # --- for those who ask ---------------------------------------------------------------------

    def is_repeated(self, owner: str, key: str) -> bool:
        """Whether the owner has used an idempotency key for a batch that is still there."""
        same = and_(batches.c.owner == owner, batches.c.idempotency_key == key)
        with self._engine.connect() as connection:
            return connection.execute(select(batches.c.id).where(same)).first() is not None

    def batch(self, owner: str, id: str, after: int = 0, number: int | None = None) -> Batch | None:
        """A batch with its items.

        Args:
            after: a revision; only items that changed after it are given.
            number: of the one item to give.

        Returns:
            None if the owner has none by that id, or it has expired.
        """
        with self._engine.connect() as connection:
            row = connection.execute(
                select(batches).where(
                    batches.c.id == id,
                    is_kept_for(owner, self._clock()),
                )
            ).one_or_none()
            if row is None:
                return None
            by_state = connection.execute(
                select(items.c.state, func.count())
                .where(items.c.batch == id, items.c.number != COLLATED)
                .group_by(items.c.state)
            )
            counts = {row.state: row[1] for row in by_state}
            wanted = items.c.revision > after
            if number is not None:
                wanted = and_(wanted, items.c.number == number)
            found = [
                _read(item)
                for item in connection.execute(
                    select(items)
                    # All in one belongs to the batch itself, whichever items are asked for.
                    .where(items.c.batch == id, or_(wanted, items.c.number == COLLATED))
                    .order_by(items.c.number)
                )
            ]
        return Batch(
            id=row.id,
            title=row.title,
            state=row.state,
            revision=row.revision,
            total=row.total,
            done=counts.get("done", 0),
            failed=counts.get("failed", 0),
            created=row.created,
            ended=row.ended,
            expires=row.expires,
            items=tuple(item for item in found if item.number != COLLATED),
            collated=next((item for item in found if item.number == COLLATED), None),
        )

    # --- for the sweep -------------------------------------------------------------------------

    def expired(self) -> list[str]:
        """The batches that have been kept long enough."""
        with self._engine.connect() as connection:
            found = connection.execute(
                select(batches.c.id).where(batches.c.expires <= self._clock())
            )
            return list(found.scalars())

    def complete(self) -> list[str]:
        """The batches of which nothing will become any more."""
        to_collate = exists(items.c.number).where(
            items.c.batch == batches.c.id,
            items.c.number == COLLATED,
            items.c.state.in_(OPEN),
        )
        with self._engine.connect() as connection:
            found = connection.execute(
                select(batches.c.id).where(batches.c.state.not_in(OPEN), ~to_collate)
            )
            return list(found.scalars())

    def unknown(self, ids: Sequence[str]) -> list[str]:
        """Those of some ids by which there is no batch."""
        with self._engine.connect() as connection:
            known = set(connection.execute(select(batches.c.id)).scalars())
        return [id for id in ids if id not in known]

    def is_empty(self) -> bool:
        """Whether there is no batch at all."""
        with self._engine.connect() as connection:
            return not connection.execute(select(exists(select(batches.c.id)))).scalar_one()

    # --- for workers ---------------------------------------------------------------------------

    def has_room(self, claim: Claim) -> bool:
        """Whether there is room for one more document of the owner of a claimed job."""
        with self._engine.connect() as connection:
            return quotas.has_room(connection, claim.batch, self._quota, self._clock())

    def needs_master(self, claim: Claim) -> bool:
        """Whether anything will be made of the master of a claimed job, from now on.

        That is its items that are left; or, as long as the batch goes on or all in one is to be
        made, the sheets of all in one, which come from the masters of what is done.
        """
        id = claim.batch
        done_of_job = and_(items.c.batch == id, items.c.job == claim.job, items.c.state == "done")
        with self._engine.connect() as connection:
            found = connection.execute(
                select(
                    exists(items.c.number).where(are_open(id, claim.job)),
                    exists(items.c.number).where(done_of_job),
                    or_(
                        exists(items.c.number).where(are_open(id, COLLATED)),
                        batches.c.state.in_(OPEN),
                    ),
                ).where(batches.c.id == id)
            ).one_or_none()
        if found is None:
            return False
        open_, done, goes_on = found
        return bool(open_ or (done and goes_on))

    def collation(self, batch: str) -> Collation | None:
        """What all documents of a batch in one are made of; None if the batch was removed."""
        with self._engine.connect() as connection:
            title = connection.execute(
                select(batches.c.title).where(batches.c.id == batch)
            ).scalar_one_or_none()
            if title is None:
                return None
            done = connection.execute(
                select(items.c.name, items.c.job, items.c.pages)
                .where(are_documents(batch))
                .order_by(items.c.number)
            ).all()
        pages = sum(item.pages for item in done)
        return Collation(title, tuple((item.name, item.job) for item in done), pages)

    def state_of(self, claim: Claim, number: int) -> ItemState | None:
        """What an item of a claimed job is now; None if its batch was removed."""
        with self._engine.connect() as connection:
            state: ItemState | None = connection.execute(
                select(items.c.state).where(items.c.batch == claim.batch, items.c.number == number)
            ).scalar_one_or_none()
            return state

    # --- for those who see to it that there are workers ----------------------------------------

    def jobs(self, which: ColumnElement[bool]) -> list[tuple[str, int]]:
        """Print jobs by a condition: the ids of their batches, and their numbers."""
        with self._engine.connect() as connection:
            found = connection.execute(select(print_jobs.c.batch, print_jobs.c.number).where(which))
            return [(job.batch, job.number) for job in found]

    def waiting(self) -> int:
        """How many print jobs are to be claimed."""
        return self._count(are_free(self._clock()))

    def unfinished(self) -> int:
        """How many print jobs are to be claimed, or are somebody's."""
        return self._count(print_jobs.c.state != "ended")

    def _count(self, which: ColumnElement[bool]) -> int:
        with self._engine.connect() as connection:
            count: int = connection.execute(
                select(func.count()).select_from(print_jobs).where(which)
            ).scalar_one()
            return count

    def waiting_since(self) -> float | None:
        """Seconds that jobs have been waiting without any being claimed; None if none waits."""
        with self._engine.connect() as connection:
            waiting = connection.execute(
                select(func.min(print_jobs.c.created)).where(print_jobs.c.state == "queued")
            ).scalar_one()
            if waiting is None:
                return None
            claimed = connection.execute(select(func.max(print_jobs.c.claimed))).scalar_one()
            since: float = max(waiting, claimed or 0.0)
            return self._clock() - since


# --- conditions, of these queries and of the changes -----------------------------------------


def are_free(now: float) -> ColumnElement[bool]:
    """Print jobs that nobody has, or whose lease has run out."""
    return or_(
        print_jobs.c.state == "queued",
        and_(print_jobs.c.state == "claimed", print_jobs.c.lease < now),
    )


def are_open(batch: str, job: int, numbers: Sequence[int] | None = None) -> ColumnElement[bool]:
    """Items of a print job in which there is work left; for None of all numbers."""
    which = and_(items.c.batch == batch, items.c.job == job, items.c.state.in_(OPEN))
    return which if numbers is None else and_(which, items.c.number.in_(numbers))


def are_documents(batch: str) -> ColumnElement[bool]:
    """Items of a batch whose documents are there, but for all of them in one."""
    return and_(items.c.batch == batch, items.c.state == "done", items.c.number != COLLATED)


def _read(item: Row[Any]) -> BatchItem:
    return BatchItem(
        number=item.number,
        job=item.job,
        name=item.name,
        state=item.state,
        revision=item.revision,
        pages=item.pages,
        problem=None if item.problem is None else json.loads(item.problem),
    )
