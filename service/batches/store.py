"""The state of batches in the database: every change that there is, each in one transaction.

A transaction that changes a batch begins by counting up the batch's revision, which locks
its row. So the changes of one batch come one after another, their revisions in the order
in which others see them, and exactly one of them finds that nothing is left to do.
"""

from __future__ import annotations

import json
import secrets
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal, TypeAlias

from sqlalchemy import (
    ColumnElement,
    Connection,
    Engine,
    and_,
    case,
    delete,
    exists,
    func,
    insert,
    or_,
    select,
    update,
)
from sqlalchemy.exc import IntegrityError

from service.batches.lots import Lot, canonical
from service.batches.tables import READING, batches, items, lots
from service.json_text import NotJson, read_json

BatchState: TypeAlias = Literal["queued", "running", "done", "cancelled"]
ItemState: TypeAlias = Literal["queued", "running", "done", "failed", "cancelled"]

MOST_ATTEMPTS: Final = 3
"""Times that a lot is claimed without an item of it getting done; then it is given up."""

_OPEN: Final = ("queued", "running")
"""States, of items and batches, in which there is work left."""


class KeyUsed(Exception):
    """The owner has used this idempotency key for another request."""


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
    lots: Sequence[Lot]
    key: str | None
    digest: str


@dataclass(frozen=True, slots=True)
class BatchItem:
    """An item and what has become of it.

    Attributes:
        lot: that it belongs to, by its number.
        revision: of the batch when the item last changed.
        problem: a problem's body, if it failed.
    """

    number: int
    lot: int
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

    @property
    def has_ended(self) -> bool:
        return self.state not in _OPEN


@dataclass(frozen=True, slots=True)
class Claim:
    """A lot that a worker has for a while.

    Attributes:
        packet: a patch on the defaults, or all of the request if it is ``whole``.
        left: the items to do: their numbers and names.
    """

    batch: str
    lot: int
    worker: str
    defaults: Mapping[str, Any]
    packet: Mapping[str, Any]
    whole: bool
    left: tuple[tuple[int, str], ...]


class Store:
    """Batches in a database.

    Args:
        keep: seconds that a batch is kept after it has ended.
        clock: seconds since 1970. Where several machines share a database theirs must agree to
            within a lease.
    """

    def __init__(self, engine: Engine, keep: float, clock: Callable[[], float] = time.time) -> None:
        self.engine, self._keep, self._clock = engine, keep, clock
        options = dict(READING)
        if engine.dialect.name == "postgresql":
            # What is read in several steps is of one moment, as it is in SQLite anyway.
            self._reading = engine.execution_options(isolation_level="REPEATABLE READ", **options)
        else:
            self._reading = engine.execution_options(**options)

    # --- for those who ask ---------------------------------------------------------------------

    def add(self, owner: str, new: NewBatch) -> str:
        """Puts a batch in, ready to be worked on.

        Returns:
            Its id; that of the batch made before if the request is a repeated one.

        Raises:
            KeyUsed: its key was used for another request.
        """
        try:
            return self._add(owner, new)
        except IntegrityError:
            # Another request with the same key came in between, and is found now.
            return self._add(owner, new)

    def _add(self, owner: str, new: NewBatch) -> str:
        with self.engine.begin() as connection:
            if new.key is not None:
                same = and_(batches.c.owner == owner, batches.c.idempotency_key == new.key)
                before = connection.execute(
                    select(batches.c.id, batches.c.body_digest).where(same)
                ).one_or_none()
                if before is not None and before.body_digest != new.digest:
                    raise KeyUsed
                if before is not None:
                    return str(before.id)
            id, now = secrets.token_urlsafe(24), self._clock()
            connection.execute(
                insert(batches),
                {
                    "id": id,
                    "owner": owner,
                    "title": new.title,
                    "defaults": canonical(new.defaults).decode(),
                    "idempotency_key": new.key,
                    "body_digest": new.digest,
                    "total": len(new.names),
                    "state": "queued",
                    "revision": 1,
                    "created": now,
                },
            )
            connection.execute(
                insert(lots),
                [
                    {
                        "batch": id,
                        "number": number,
                        "packet": canonical(lot.packet).decode(),
                        "whole": lot.whole,
                        "state": "queued",
                        "attempts": 0,
                        "claims": 0,
                        "created": now,
                    }
                    for number, lot in enumerate(new.lots, 1)
                ],
            )
            connection.execute(
                insert(items),
                [
                    {
                        "batch": id,
                        "number": number,
                        "lot": lot,
                        "name": new.names[number - 1],
                        "state": "queued",
                        "revision": 1,
                    }
                    for lot, of_lot in enumerate(new.lots, 1)
                    for number in of_lot.numbers
                ],
            )
            return id

    def is_repeated(self, owner: str, key: str) -> bool:
        """Whether the owner has used an idempotency key for a batch that is still there."""
        same = and_(batches.c.owner == owner, batches.c.idempotency_key == key)
        with self._reading.connect() as connection:
            return connection.execute(select(batches.c.id).where(same)).first() is not None

    def batch(self, owner: str, id: str, after: int = 0, number: int | None = None) -> Batch | None:
        """A batch with its items.

        Args:
            after: a revision; only items that changed after it are given.
            number: of the one item to give.

        Returns:
            None if the owner has none by that id, or it has expired.
        """
        with self._reading.connect() as connection:
            row = connection.execute(
                select(batches).where(
                    batches.c.id == id,
                    batches.c.owner == owner,
                    or_(batches.c.expires.is_(None), batches.c.expires > self._clock()),
                )
            ).one_or_none()
            if row is None:
                return None
            by_state = connection.execute(
                select(items.c.state, func.count())
                .where(items.c.batch == id)
                .group_by(items.c.state)
            )
            counts = {row.state: row[1] for row in by_state}
            wanted = [items.c.batch == id, items.c.revision > after]
            if number is not None:
                wanted.append(items.c.number == number)
            found = connection.execute(select(items).where(*wanted).order_by(items.c.number)).all()
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
            items=tuple(
                BatchItem(
                    number=item.number,
                    lot=item.lot,
                    name=item.name,
                    state=item.state,
                    revision=item.revision,
                    pages=item.pages,
                    problem=None if item.problem is None else json.loads(item.problem),
                )
                for item in found
            ),
        )

    def cancel(self, id: str) -> None:
        """Ends a batch that has not ended: every item that is not done is cancelled."""
        with self.engine.begin() as connection:
            revision = _count_up(connection, id)
            if revision is None:
                return
            of_batch = batches.c.id == id
            stopped = connection.execute(
                update(batches)
                .where(of_batch, batches.c.state.in_(_OPEN))
                .values(state="cancelled", **self._end())
            )
            if not stopped.rowcount:
                return
            connection.execute(
                update(items)
                .where(items.c.batch == id, items.c.state.in_(_OPEN))
                .values(state="cancelled", revision=revision)
            )
            connection.execute(
                update(lots).where(lots.c.batch == id).values(state="ended", worker=None)
            )

    def remove(self, id: str) -> None:
        """Forgets a batch; its documents are the caller's to remove, before."""
        with self.engine.begin() as connection:
            connection.execute(delete(batches).where(batches.c.id == id))

    def expired(self) -> list[str]:
        """The batches that have been kept long enough."""
        with self._reading.connect() as connection:
            found = connection.execute(
                select(batches.c.id).where(batches.c.expires <= self._clock())
            )
            return list(found.scalars())

    def is_empty(self) -> bool:
        """Whether there is no batch at all."""
        with self._reading.connect() as connection:
            return not connection.execute(select(exists(select(batches.c.id)))).scalar_one()

    # --- for workers ---------------------------------------------------------------------------

    def claim(self, worker: str, lease: float, given_up: Mapping[str, Any]) -> Claim | None:
        """Gives a worker the next lot that nobody has, or had until its lease ran out.

        Lots come in turn, batch by batch, so that a small batch does not wait for the end of a
        large one.

        Args:
            worker: its name, unlike any other's.
            lease: seconds for which the lot is the worker's; see ``renew``.
            given_up: the problem of the items of a lot that has stopped several workers.

        Returns:
            None if there is none.
        """
        while True:
            with self.engine.begin() as connection:
                claimed = self._claim(connection, worker, lease, given_up)
            if claimed is None or isinstance(claimed, Claim):
                return claimed

    def _claim(
        self, connection: Connection, worker: str, lease: float, given_up: Mapping[str, Any]
    ) -> Claim | Literal["again"] | None:
        in_turn = (lots.c.number, lots.c.created, lots.c.batch)
        free = self._is_free()
        id = connection.execute(
            select(lots.c.batch).where(free).order_by(*in_turn).limit(1)
        ).scalar_one_or_none()
        if id is None:
            return None
        revision = _count_up(connection, id)
        if revision is None:
            return "again"
        lot = connection.execute(
            select(lots).where(lots.c.batch == id, free).order_by(lots.c.number).limit(1)
        ).one_or_none()
        if lot is None:
            return "again"
        defaults = connection.execute(
            select(batches.c.defaults).where(batches.c.id == id)
        ).scalar_one()
        try:
            read = read_json(defaults.encode()), read_json(lot.packet.encode())
        except NotJson:
            read = None  # nothing can be made of it, by no worker
        if read is None or lot.attempts >= MOST_ATTEMPTS:
            self._fail(connection, revision, id, lot.number, None, given_up)
            return "again"
        mine = connection.execute(
            update(lots)
            .where(lots.c.batch == id, lots.c.number == lot.number, lots.c.claims == lot.claims)
            .values(
                state="claimed",
                worker=worker,
                attempts=lot.attempts + 1,
                claims=lot.claims + 1,
                lease=self._clock() + lease,
                claimed=self._clock(),
            )
        )
        if not mine.rowcount:
            return "again"
        connection.execute(
            update(batches)
            .where(batches.c.id == id, batches.c.state == "queued")
            .values(state="running")
        )
        of_lot = and_(items.c.batch == id, items.c.lot == lot.number)
        connection.execute(
            update(items)
            .where(of_lot, items.c.state == "queued")
            .values(state="running", revision=revision)
        )
        left = connection.execute(
            select(items.c.number, items.c.name)
            .where(of_lot, items.c.state.in_(_OPEN))
            .order_by(items.c.number)
        ).all()
        return Claim(
            batch=id,
            lot=lot.number,
            worker=worker,
            defaults=read[0],
            packet=read[1],
            whole=lot.whole,
            left=tuple((number, name) for number, name in left),
        )

    def renew(self, claim: Claim, lease: float) -> bool:
        """Makes the lease of a lot last from now on; whether the lot is still the worker's."""
        with self.engine.begin() as connection:
            renewed = connection.execute(
                update(lots).where(_is_claimed(claim)).values(lease=self._clock() + lease)
            )
            return renewed.rowcount > 0

    def finish(self, claim: Claim, numbers: Sequence[int], pages: int) -> set[int]:
        """Says that the documents of items are in their places.

        Returns:
            Those that were wanted. The others have been done by another worker before, or the
            batch was cancelled or removed.
        """
        with self.engine.begin() as connection:
            revision = _count_up(connection, claim.batch)
            done = connection.execute(
                update(items)
                .where(
                    items.c.batch == claim.batch,
                    items.c.number.in_(numbers),
                    items.c.state.in_(_OPEN),
                )
                .values(state="done", pages=pages, revision=revision)
                .returning(items.c.number)
            )
            wanted = set(done.scalars())
            if wanted:
                self._settle(connection, claim.batch, claim.lot)
            return wanted

    def fail(self, claim: Claim, problem: Mapping[str, Any], number: int | None = None) -> None:
        """Says what is wrong with an item, or with all of the lot that are not done."""
        with self.engine.begin() as connection:
            revision = _count_up(connection, claim.batch)
            if revision is not None:
                self._fail(connection, revision, claim.batch, claim.lot, number, problem)

    def state_of(self, claim: Claim, number: int) -> ItemState | None:
        """What an item of a claimed lot is now; None if its batch was removed."""
        with self._reading.connect() as connection:
            state: ItemState | None = connection.execute(
                select(items.c.state).where(items.c.batch == claim.batch, items.c.number == number)
            ).scalar_one_or_none()
            return state

    def release(self, workers: str) -> int:
        """Gives back the lots of workers that are gone.

        Args:
            workers: the name of one, or what the names of several begin with.

        Returns:
            How many lots wait for another worker now.
        """
        theirs = and_(lots.c.state == "claimed", lots.c.worker.startswith(workers, autoescape=True))
        return self._requeue(theirs)

    def requeue_lost(self) -> int:
        """Gives back the lots whose lease has run out, and says how many."""
        return self._requeue(and_(lots.c.state == "claimed", lots.c.lease < self._clock()))

    def _requeue(self, which: ColumnElement[bool]) -> int:
        with self._reading.connect() as connection:
            lost = connection.execute(select(lots.c.batch, lots.c.number).where(which)).all()
        count = 0
        for id, number in lost:
            with self.engine.begin() as connection:
                revision = _count_up(connection, id)
                given_back = connection.execute(
                    update(lots)
                    .where(lots.c.batch == id, lots.c.number == number, which)
                    .values(state="queued", worker=None)
                )
                if given_back.rowcount:
                    count += 1
                    connection.execute(
                        update(items)
                        .where(
                            items.c.batch == id, items.c.lot == number, items.c.state == "running"
                        )
                        .values(state="queued", revision=revision)
                    )
        return count

    def waiting(self) -> int:
        """How many lots are to be claimed."""
        return self._count(self._is_free())

    def unfinished(self) -> int:
        """How many lots are to be claimed, or are somebody's."""
        return self._count(lots.c.state != "ended")

    def _count(self, which: ColumnElement[bool]) -> int:
        with self._reading.connect() as connection:
            count: int = connection.execute(
                select(func.count()).select_from(lots).where(which)
            ).scalar_one()
            return count

    def waiting_since(self) -> float | None:
        """Seconds that lots have been waiting without any being claimed; None if none waits."""
        with self._reading.connect() as connection:
            waiting = connection.execute(
                select(func.min(lots.c.created)).where(lots.c.state == "queued")
            ).scalar_one()
            if waiting is None:
                return None
            claimed = connection.execute(select(func.max(lots.c.claimed))).scalar_one()
            since: float = max(waiting, claimed or 0.0)
            return self._clock() - since

    # --- what several changes have in common ---------------------------------------------------

    def _is_free(self) -> ColumnElement[bool]:
        return or_(
            lots.c.state == "queued",
            and_(lots.c.state == "claimed", lots.c.lease < self._clock()),
        )

    def _fail(
        self,
        connection: Connection,
        revision: int,
        id: str,
        lot: int,
        number: int | None,
        problem: Mapping[str, Any],
    ) -> None:
        which = [items.c.batch == id, items.c.lot == lot, items.c.state.in_(_OPEN)]
        if number is not None:
            which.append(items.c.number == number)
        connection.execute(
            update(items)
            .where(*which)
            .values(state="failed", problem=json.dumps(problem), revision=revision)
        )
        self._settle(connection, id, lot)

    def _settle(self, connection: Connection, id: str, lot: int) -> None:
        """Ends the lot if none of its items is left, and then the batch if no lot is."""
        left_of_lot = exists(items.c.number).where(
            items.c.batch == id, items.c.lot == lot, items.c.state.in_(_OPEN)
        )
        state = connection.execute(
            update(lots)
            .where(lots.c.batch == id, lots.c.number == lot)
            .values(attempts=0, state=case((left_of_lot, lots.c.state), else_="ended"))
            .returning(lots.c.state)
        ).scalar_one_or_none()
        if state != "ended":
            return
        left = exists(lots.c.number).where(lots.c.batch == id, lots.c.state != "ended")
        connection.execute(
            update(batches)
            .where(batches.c.id == id, batches.c.state.in_(_OPEN), ~left)
            .values(state="done", **self._end())
        )

    def _end(self) -> dict[str, float]:
        now = self._clock()
        return {"ended": now, "expires": now + self._keep}


def _count_up(connection: Connection, id: str) -> int | None:
    """Counts a change of a batch, and keeps others from changing it until that is in.

    Returns:
        The batch's revision; None if there is no such batch.
    """
    revision: int | None = connection.execute(
        update(batches)
        .where(batches.c.id == id)
        .values(revision=batches.c.revision + 1)
        .returning(batches.c.revision)
    ).scalar_one_or_none()
    return revision


def _is_claimed(claim: Claim) -> ColumnElement[bool]:
    return and_(
        lots.c.batch == claim.batch,
        lots.c.number == claim.lot,
        lots.c.state == "claimed",
        lots.c.worker == claim.worker,
    )
