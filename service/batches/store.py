"""The state of batches in the database: every change that there is, each in one transaction.

A transaction that changes a batch begins by locking its row, and counts up its revision if
there is something to change. So the changes of one batch come one after another, their
revisions in the order in which others see them, and exactly one of them finds that nothing
is left to do.
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
    Row,
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

from piecewright.service.batches.bounds import (
    Bounds,
    fitting,
    has_room,
    hold,
    is_kept_for,
    refuse_if_full,
)
from piecewright.service.batches.lots import COLLATED, Lot
from piecewright.service.batches.tables import READING, batches, items, lots, turns
from piecewright.service.json_text import NotJson, canonical, read_json

BatchState: TypeAlias = Literal["queued", "running", "done", "cancelled"]
ItemState: TypeAlias = Literal["queued", "running", "done", "failed", "cancelled"]

MOST_ATTEMPTS: Final = 3
"""Times that a lot is claimed without an item of it getting done; then it is given up."""

_OPEN: Final = ("queued", "running")
"""States, of items and batches, in which there is work left."""


_NEW_LOT: Final = {"state": "queued", "attempts": 0, "claims": 0}
_NEW_ITEM: Final = {"state": "queued"}


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
        return self.state not in _OPEN

    @property
    def is_complete(self) -> bool:
        """Whether nothing will become of it any more: all in one is made too, or cannot be."""
        return self.has_ended and (self.collated is None or self.collated.state not in _OPEN)


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


@dataclass(frozen=True, slots=True)
class ToCollate:
    """What all documents of a batch in one are made of.

    Attributes:
        copies: names and the lots whose masters are lettered with them, in order.
        pages: of all together.
    """

    title: str
    copies: tuple[tuple[str, int], ...]
    pages: int


class Store:
    """Batches in a database.

    Args:
        keep: seconds that a batch is kept after it has ended.
        bounds: of what is kept for one owner.
        clock: seconds since 1970. Where several machines share a database theirs must agree to
            within a lease.
    """

    def __init__(
        self,
        engine: Engine,
        keep: float,
        clock: Callable[[], float] = time.time,
        bounds: Bounds | None = None,
    ) -> None:
        self.engine, self._keep, self._clock = engine, keep, clock
        self._bounds = bounds or Bounds()
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
            NoRoom: as many batches of the owner are kept as may be, or as many bytes.
        """
        try:
            return self._add(owner, new)
        except IntegrityError:
            # Another request with the same key came in between, and is found now.
            return self._add(owner, new)

    def _add(self, owner: str, new: NewBatch) -> str:
        with self.engine.begin() as connection:
            hold(connection, owner)
            if new.key is not None:
                same = and_(batches.c.owner == owner, batches.c.idempotency_key == new.key)
                before = connection.execute(
                    select(batches.c.id, batches.c.body_digest).where(same)
                ).one_or_none()
                if before is not None and before.body_digest != new.digest:
                    raise KeyUsed
                if before is not None:
                    return str(before.id)
            refuse_if_full(connection, owner, self._bounds, self._clock())
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
                    "bytes": 0,
                    "created": now,
                },
            )
            connection.execute(
                insert(lots),
                [
                    {**_NEW_LOT, "batch": id, "number": number, "created": now}
                    | {"packet": canonical(lot.packet).decode(), "whole": lot.whole}
                    for number, lot in enumerate(new.lots, 1)
                ],
            )
            connection.execute(
                insert(items),
                [
                    {**_NEW_ITEM, "batch": id, "number": number, "lot": lot, "revision": 1}
                    | {"name": new.names[number - 1]}
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

    def cancel(self, id: str) -> None:
        """Ends a batch that has not ended: every item that is not done is cancelled.

        What is done is still to be put into one document.
        """
        with self.engine.begin() as connection:
            if not _lock(connection, id):
                return
            of_batch = batches.c.id == id
            stopped = connection.execute(
                update(batches)
                .where(of_batch, batches.c.state.in_(_OPEN))
                .values(state="cancelled", **self._end())
            )
            if not stopped.rowcount:
                return
            revision = _count_up(connection, id)
            connection.execute(
                update(items)
                .where(items.c.batch == id, items.c.state.in_(_OPEN))
                .values(state="cancelled", revision=revision)
            )
            connection.execute(
                update(lots).where(lots.c.batch == id).values(state="ended", worker=None)
            )
            self._have_collated(connection, id, revision)

    def remove(self, id: str) -> None:
        """Forgets a batch; its documents are the caller's to remove, after that: whoever still
        writes one learns that it is not wanted."""
        with self.engine.begin() as connection:
            connection.execute(delete(batches).where(batches.c.id == id))

    def expired(self) -> list[str]:
        """The batches that have been kept long enough."""
        with self._reading.connect() as connection:
            found = connection.execute(
                select(batches.c.id).where(batches.c.expires <= self._clock())
            )
            return list(found.scalars())

    def complete(self) -> list[str]:
        """The batches of which nothing will become any more."""
        to_collate = exists(items.c.number).where(
            items.c.batch == batches.c.id,
            items.c.number == COLLATED,
            items.c.state.in_(_OPEN),
        )
        with self._reading.connect() as connection:
            found = connection.execute(
                select(batches.c.id).where(batches.c.state.not_in(_OPEN), ~to_collate)
            )
            return list(found.scalars())

    def unknown(self, ids: Sequence[str]) -> list[str]:
        """Those of some ids by which there is no batch."""
        with self._reading.connect() as connection:
            known = set(connection.execute(select(batches.c.id)).scalars())
        return [id for id in ids if id not in known]

    def is_empty(self) -> bool:
        """Whether there is no batch at all."""
        with self._reading.connect() as connection:
            return not connection.execute(select(exists(select(batches.c.id)))).scalar_one()

    # --- for workers ---------------------------------------------------------------------------

    def claim(
        self, worker: str, lease: float, given_up: Callable[[int], Mapping[str, Any]]
    ) -> Claim | None:
        """Gives a worker the next lot that nobody has, or had until its lease ran out.

        Owners take turns, and so do the batches of each, so that neither a small batch nor an
        owner's only one waits for the end of what others have asked for.

        Args:
            worker: its name, unlike any other's.
            lease: seconds for which the lot is the worker's; see ``renew``.
            given_up: the problem of the items of a lot, given its number, that has stopped
                several workers.

        Returns:
            None if there is none.
        """
        while True:
            with self.engine.begin() as connection:
                claimed = self._claim(connection, worker, lease, given_up)
            if claimed is None or isinstance(claimed, Claim):
                return claimed

    def _claim(
        self,
        connection: Connection,
        worker: str,
        lease: float,
        given_up: Callable[[int], Mapping[str, Any]],
    ) -> Claim | Literal["again"] | None:
        free = self._is_free()
        id = self._next_batch(connection)
        if id is None:
            return None
        if not _lock(connection, id):
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
            self._fail(connection, id, lot.number, None, given_up(lot.number))
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
        revision = _count_up(connection, id)
        self._take_turn(connection, id)
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
            .where(_open_of_lot(id, lot.number))
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

    def _next_batch(self, connection: Connection) -> str | None:
        """The batch with a free lot whose turn it is: of all owners the one who has had none for
        longest, and of their batches likewise."""
        free = self._is_free()
        # Workers that wait ask often, and batches that have ended may be many.
        if not connection.execute(select(exists(lots.c.number).where(free))).scalar_one():
            return None
        free_lot = exists(lots.c.number).where(lots.c.batch == batches.c.id, free)
        of_owner = (
            select(turns.c.owner, func.max(turns.c.claimed).label("claimed"))
            .group_by(turns.c.owner)
            .subquery()
        )
        in_turn = (
            func.coalesce(of_owner.c.claimed, 0.0),
            func.coalesce(turns.c.claimed, 0.0),
            batches.c.created,
            batches.c.id,
        )
        id: str | None = connection.execute(
            select(batches.c.id)
            .outerjoin(turns, turns.c.batch == batches.c.id)
            .outerjoin(of_owner, of_owner.c.owner == batches.c.owner)
            .where(free_lot)
            .order_by(*in_turn)
            .limit(1)
        ).scalar_one_or_none()
        return id

    def _take_turn(self, connection: Connection, id: str) -> None:
        """Writes down that a lot of a batch, which is locked, is claimed now."""
        now = self._clock()
        had = connection.execute(update(turns).where(turns.c.batch == id).values(claimed=now))
        if not had.rowcount:
            owner = select(batches.c.owner).where(batches.c.id == id)
            owner_of = connection.execute(owner).scalar_one()
            connection.execute(insert(turns), {"batch": id, "owner": owner_of, "claimed": now})

    def has_room(self, claim: Claim) -> bool:
        """Whether there is room for one more document of the owner of a claimed lot."""
        with self._reading.connect() as connection:
            return has_room(connection, claim.batch, self._bounds, self._clock())

    def needs_master(self, claim: Claim) -> bool:
        """Whether anything will be made of the master of a claimed lot, from now on."""
        id = claim.batch
        done_of_lot = and_(items.c.batch == id, items.c.lot == claim.lot, items.c.state == "done")
        with self._reading.connect() as connection:
            found = connection.execute(
                select(
                    exists(items.c.number).where(_open_of_lot(id, claim.lot)),
                    exists(items.c.number).where(done_of_lot),
                    or_(
                        exists(items.c.number).where(_open_of_lot(id, COLLATED)),
                        batches.c.state.in_(_OPEN),
                    ),
                ).where(batches.c.id == id)
            ).one_or_none()
        if found is None:
            return False
        open_, done, goes_on = found
        return bool(open_ or (done and goes_on))

    def renew(self, claim: Claim, lease: float) -> bool:
        """Makes the lease of a lot last from now on; whether the lot is still the worker's."""
        with self.engine.begin() as connection:
            renewed = connection.execute(
                update(lots).where(_is_claimed(claim)).values(lease=self._clock() + lease)
            )
            return renewed.rowcount > 0

    def to_collate(self, batch: str) -> ToCollate | None:
        """What all documents of a batch in one are made of; None if the batch was removed."""
        with self._reading.connect() as connection:
            title = connection.execute(
                select(batches.c.title).where(batches.c.id == batch)
            ).scalar_one_or_none()
            if title is None:
                return None
            done = connection.execute(
                select(items.c.name, items.c.lot, items.c.pages)
                .where(_is_in_archive(batch))
                .order_by(items.c.number)
            ).all()
        pages = sum(item.pages for item in done)
        return ToCollate(title, tuple((item.name, item.lot) for item in done), pages)

    def finish(
        self, claim: Claim, sizes: Mapping[int, int], pages: int, no_room: Mapping[str, Any]
    ) -> set[int]:
        """Says that the documents of items are in their places.

        Args:
            sizes: bytes of the documents, by the items' numbers.
            pages: of each.
            no_room: the problem of items whose documents are more than is kept for one owner.

        Returns:
            Those that were wanted. The others have been done by another worker before, or the
            batch was cancelled or removed, or there is no room for them.
        """
        with self.engine.begin() as connection:
            if not _lock(connection, claim.batch):
                return set()
            open_ = connection.execute(
                select(items.c.number)
                .where(_open_of_lot(claim.batch, claim.lot, list(sizes)))
                .order_by(items.c.number)
            )
            asked = list(open_.scalars())
            if not asked:
                return set()
            revision = _count_up(connection, claim.batch)
            by_number = {number: sizes[number] for number in asked}
            wanted = fitting(connection, claim.batch, by_number, self._bounds, self._clock())
            connection.execute(
                update(items)
                .where(items.c.batch == claim.batch, items.c.number.in_(wanted))
                .values(state="done", pages=pages, revision=revision)
            )
            added = sum(sizes[number] for number in wanted)
            connection.execute(
                update(batches)
                .where(batches.c.id == claim.batch)
                .values(bytes=batches.c.bytes + added)
            )
            beyond = [number for number in asked if number not in wanted]
            if beyond:
                _mark_failed(connection, revision, claim.batch, claim.lot, beyond, no_room)
            self._settle(connection, revision, claim.batch, claim.lot)
            return wanted

    def fail(self, claim: Claim, problem: Mapping[str, Any], number: int | None = None) -> None:
        """Says what is wrong with an item, or with all of the lot that are not done."""
        with self.engine.begin() as connection:
            if _lock(connection, claim.batch):
                numbers = None if number is None else [number]
                self._fail(connection, claim.batch, claim.lot, numbers, problem)

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

    def give_back(self, worker: str) -> int:
        """Gives back the lots of a worker that could do nothing about them, for no fault of theirs:
        that it had them does not count as an attempt.

        Returns:
            How many they are.
        """
        theirs = and_(lots.c.state == "claimed", lots.c.worker == worker)
        return self._requeue(theirs, uncounted=True)

    def requeue_lost(self) -> int:
        """Gives back the lots whose lease has run out, and says how many."""
        return self._requeue(and_(lots.c.state == "claimed", lots.c.lease < self._clock()))

    def _requeue(self, which: ColumnElement[bool], *, uncounted: bool = False) -> int:
        # Since the claim an item may have been finished, which sets attempts back to none.
        tried = case((lots.c.attempts > 0, lots.c.attempts - 1), else_=0)
        attempts = {"attempts": tried} if uncounted else {}
        with self._reading.connect() as connection:
            lost = connection.execute(select(lots.c.batch, lots.c.number).where(which)).all()
        count = 0
        for id, number in lost:
            with self.engine.begin() as connection:
                if not _lock(connection, id):
                    continue
                given_back = connection.execute(
                    update(lots)
                    .where(lots.c.batch == id, lots.c.number == number, which)
                    .values(state="queued", worker=None, **attempts)
                )
                if given_back.rowcount:
                    count += 1
                    revision = _count_up(connection, id)
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
        id: str,
        lot: int,
        numbers: Sequence[int] | None,
        problem: Mapping[str, Any],
    ) -> None:
        """Items of a lot of a batch, which is locked, have failed, if they are open."""
        which = _open_of_lot(id, lot, numbers)
        if not connection.execute(select(exists(items.c.number).where(which))).scalar_one():
            return
        revision = _count_up(connection, id)
        _mark_failed(connection, revision, id, lot, numbers, problem)
        self._settle(connection, revision, id, lot)

    def _settle(self, connection: Connection, revision: int, id: str, lot: int) -> None:
        """Ends the lot if none of its items is left, and then the batch if no lot is."""
        left_of_lot = exists(items.c.number).where(_open_of_lot(id, lot))
        state = connection.execute(
            update(lots)
            .where(lots.c.batch == id, lots.c.number == lot)
            .values(attempts=0, state=case((left_of_lot, lots.c.state), else_="ended"))
            .returning(lots.c.state)
        ).scalar_one_or_none()
        if state != "ended":
            return
        left = exists(lots.c.number).where(lots.c.batch == id, lots.c.state != "ended")
        ended = connection.execute(
            update(batches)
            .where(batches.c.id == id, batches.c.state.in_(_OPEN), ~left)
            .values(state="done", **self._end())
        )
        if ended.rowcount:
            self._have_collated(connection, id, revision)

    def _have_collated(self, connection: Connection, id: str, revision: int) -> None:
        """Makes a lot of putting all documents of a batch into one, if there are any."""
        if connection.execute(select(items.c.number).where(_is_in_archive(id)).limit(1)).first():
            new = {**_NEW_LOT, "batch": id, "number": COLLATED, "created": self._clock()}
            connection.execute(insert(lots), {**new, "packet": "{}", "whole": False})
            connection.execute(
                insert(items),
                {**_NEW_ITEM, "batch": id, "number": COLLATED, "lot": COLLATED, "name": ""}
                | {"revision": revision},
            )

    def _end(self) -> dict[str, float]:
        now = self._clock()
        return {"ended": now, "expires": now + self._keep}


def _lock(connection: Connection, id: str) -> bool:
    """Keeps others from changing a batch until this change is in; whether there is such a batch."""
    # SQLite has one that writes at a time anyway, and leaves FOR UPDATE out.
    found = select(batches.c.id).where(batches.c.id == id).with_for_update()
    return connection.execute(found).first() is not None


def _count_up(connection: Connection, id: str) -> int:
    """Counts a change of a batch that is locked, and gives its revision."""
    revision: int = connection.execute(
        update(batches)
        .where(batches.c.id == id)
        .values(revision=batches.c.revision + 1)
        .returning(batches.c.revision)
    ).scalar_one()
    return revision


def _open_of_lot(id: str, lot: int, numbers: Sequence[int] | None = None) -> ColumnElement[bool]:
    """Items of a lot in which there is work left; for None of all numbers."""
    which = and_(items.c.batch == id, items.c.lot == lot, items.c.state.in_(_OPEN))
    return which if numbers is None else and_(which, items.c.number.in_(numbers))


def _mark_failed(
    connection: Connection,
    revision: int,
    id: str,
    lot: int,
    numbers: Sequence[int] | None,
    problem: Mapping[str, Any],
) -> None:
    """Items of a lot have failed: those with such numbers, or for None all that are not done."""
    connection.execute(
        update(items)
        .where(_open_of_lot(id, lot, numbers))
        .values(state="failed", problem=json.dumps(problem), revision=revision)
    )


def _read(item: Row[Any]) -> BatchItem:
    return BatchItem(
        number=item.number,
        lot=item.lot,
        name=item.name,
        state=item.state,
        revision=item.revision,
        pages=item.pages,
        problem=None if item.problem is None else json.loads(item.problem),
    )


def _is_in_archive(batch: str) -> ColumnElement[bool]:
    """Items of a batch whose documents are there, but for all of them in one."""
    return and_(items.c.batch == batch, items.c.state == "done", items.c.number != COLLATED)


def _is_claimed(claim: Claim) -> ColumnElement[bool]:
    return and_(
        lots.c.batch == claim.batch,
        lots.c.number == claim.lot,
        lots.c.state == "claimed",
        lots.c.worker == claim.worker,
    )
