"""The state machine of batches: every change of state that there is, each one transaction.

- An item is queued, running while a worker has its print job, and ends as done, failed or
  cancelled.
- A print job is queued, claimed by a worker as long as its lease lasts, and ended when none of its
  items is open. A claim may be released, or expire: then the job is queued again, with what is
  left of it.
- A batch is queued, running from the first claim on, and done when all its jobs have ended, or
  cancelled before. With that, one job more comes into being: all documents in one.

A transaction that changes a batch begins by locking its row, and counts up its revision if there
is something to change. So the changes of one batch come one after another, their revisions in the
order in which others see them, and exactly one of them finds that nothing is left to do.
"""

from __future__ import annotations

import json
import secrets
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, Literal

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
    select,
    update,
)
from sqlalchemy.exc import IntegrityError

from piecewright.service.batches import quotas
from piecewright.service.batches.model import OPEN, Claim, NewBatch
from piecewright.service.batches.print_jobs import COLLATED
from piecewright.service.batches.queries import Queries, are_documents, are_free, are_open
from piecewright.service.batches.quotas import Quota
from piecewright.service.batches.tables import batches, items, print_jobs, turns
from piecewright.service.json_text import NotJson, canonical, read_json

MOST_ATTEMPTS: Final = 3
"""Times that a print job is claimed without an item of it getting done; then it is abandoned. Once
may be the machine's fault, and twice a neighbour's that had all its memory."""

_ID_BYTES: Final = 24
"""Of randomness in a batch's id, which has 32 characters then: where no keys are set, whoever knows
it may read the batch."""

_NEW_JOB: Final = {"state": "queued", "attempts": 0, "claims": 0}
_NEW_ITEM: Final = {"state": "queued"}


class KeyUsed(Exception):
    """The owner has used this idempotency key for another request."""


class Store:
    """Changes the state of batches in a database; ``queries`` reads it.

    Args:
        keep: seconds that a batch is kept after it has ended.
        quota: of what is kept for one owner.
        clock: seconds since 1970. Where several machines share a database theirs must agree to
            within a lease.
    """

    def __init__(
        self,
        engine: Engine,
        keep: float,
        clock: Callable[[], float] = time.time,
        quota: Quota | None = None,
    ) -> None:
        self.engine, self._keep, self._clock = engine, keep, clock
        self._quota = quota or Quota()
        self.queries = Queries(engine, clock, self._quota)

    # --- for those who ask ---------------------------------------------------------------------

    def add(self, owner: str, new: NewBatch) -> str:
        """Puts a batch in, ready to be worked on.

        Returns:
            Its id; that of the batch made before if the request is a repeated one.

        Raises:
            KeyUsed: its key was used for another request.
            QuotaExceeded: as many batches of the owner are kept as may be, or as many bytes.
        """
        try:
            return self._add(owner, new)
        except IntegrityError:
            # Another request with the same key came in between, and is found now.
            return self._add(owner, new)

    def _add(self, owner: str, new: NewBatch) -> str:
        with self.engine.begin() as connection:
            # Before anything is looked at: two requests at once must not both find room.
            quotas.lock_owner(connection, owner)
            if new.key is not None:
                same = and_(batches.c.owner == owner, batches.c.idempotency_key == new.key)
                before = connection.execute(
                    select(batches.c.id, batches.c.body_digest).where(same)
                ).one_or_none()
                if before is not None and before.body_digest != new.digest:
                    raise KeyUsed
                if before is not None:
                    return str(before.id)
            quotas.refuse_if_full(connection, owner, self._quota, self._clock())
            id, now = secrets.token_urlsafe(_ID_BYTES), self._clock()
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
                insert(print_jobs),
                [
                    {**_NEW_JOB, "batch": id, "number": number, "created": now}
                    | {"packet": canonical(job.packet).decode(), "whole": job.whole}
                    for number, job in enumerate(new.jobs, 1)
                ],
            )
            connection.execute(
                insert(items),
                [
                    {**_NEW_ITEM, "batch": id, "number": number, "job": job_number, "revision": 1}
                    | {"name": new.names[number - 1]}
                    for job_number, job in enumerate(new.jobs, 1)
                    for number in job.numbers
                ],
            )
            return id

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
                .where(of_batch, batches.c.state.in_(OPEN))
                .values(state="cancelled", **self._end())
            )
            if not stopped.rowcount:
                return
            revision = _count_up(connection, id)
            connection.execute(
                update(items)
                .where(items.c.batch == id, items.c.state.in_(OPEN))
                .values(state="cancelled", revision=revision)
            )
            # A worker that is at one of them learns it when it says that an item is done.
            connection.execute(
                update(print_jobs)
                .where(print_jobs.c.batch == id)
                .values(state="ended", worker=None)
            )
            self._add_collation(connection, id, revision)

    def remove(self, id: str) -> None:
        """Forgets a batch; its documents are the caller's to remove, after that: whoever still
        writes one learns that it is not wanted."""
        with self.engine.begin() as connection:
            connection.execute(delete(batches).where(batches.c.id == id))

    # --- for workers ---------------------------------------------------------------------------

    def claim(
        self, worker: str, lease: float, abandoned: Callable[[int], Mapping[str, Any]]
    ) -> Claim | None:
        """Gives a worker the next print job that nobody has, or had until its lease ran out.

        Owners take turns, and so do the batches of each, so that neither a small batch nor an
        owner's only one waits for the end of what others have asked for.

        Args:
            worker: its name, unlike any other's.
            lease: seconds for which the job is the worker's; see ``renew``.
            abandoned: the problem of the items of a job, given its number, that has stopped
                several workers, and will be claimed no more.

        Returns:
            None if there is none.
        """
        while True:
            with self.engine.begin() as connection:
                claimed = self._claim(connection, worker, lease, abandoned)
            if claimed is None or isinstance(claimed, Claim):
                return claimed

    def _claim(
        self,
        connection: Connection,
        worker: str,
        lease: float,
        abandoned: Callable[[int], Mapping[str, Any]],
    ) -> Claim | Literal["again"] | None:
        """One try: "again" if another was faster, or if the job that was found is abandoned."""
        id = self._next_batch(connection)
        if id is None:
            return None
        # It was chosen without a lock, so that workers do not queue for all batches at once;
        # whatever was free then is looked at again under the lock.
        if not _lock(connection, id):
            return "again"
        job = connection.execute(
            select(print_jobs)
            .where(print_jobs.c.batch == id, are_free(self._clock()))
            .order_by(print_jobs.c.number)
            .limit(1)
        ).one_or_none()
        if job is None:
            return "again"
        defaults = connection.execute(
            select(batches.c.defaults).where(batches.c.id == id)
        ).scalar_one()
        try:
            read = read_json(defaults.encode()), read_json(job.packet.encode())
        except NotJson:
            read = None  # nothing can be made of it, by no worker
        if read is None or job.attempts >= MOST_ATTEMPTS:
            self._fail(connection, id, job.number, None, abandoned(job.number))
            return "again"
        mine = connection.execute(
            update(print_jobs)
            .where(
                print_jobs.c.batch == id,
                print_jobs.c.number == job.number,
                print_jobs.c.claims == job.claims,
            )
            .values(
                state="claimed",
                worker=worker,
                attempts=job.attempts + 1,
                claims=job.claims + 1,
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
        of_job = and_(items.c.batch == id, items.c.job == job.number)
        connection.execute(
            update(items)
            .where(of_job, items.c.state == "queued")
            .values(state="running", revision=revision)
        )
        # Those too that run already: the worker that had them has lost its lease.
        left = connection.execute(
            select(items.c.number, items.c.name)
            .where(are_open(id, job.number))
            .order_by(items.c.number)
        ).all()
        return Claim(
            batch=id,
            job=job.number,
            worker=worker,
            defaults=read[0],
            packet=read[1],
            whole=job.whole,
            left=tuple((number, name) for number, name in left),
        )

    def _next_batch(self, connection: Connection) -> str | None:
        """The batch with a free job whose turn it is: of all owners the one who has had none for
        longest, and of their batches likewise."""
        free = are_free(self._clock())
        # Workers that wait ask often, and batches that have ended may be many.
        if not connection.execute(select(exists(print_jobs.c.number).where(free))).scalar_one():
            return None
        free_job = exists(print_jobs.c.number).where(print_jobs.c.batch == batches.c.id, free)
        of_owner = (
            select(turns.c.owner, func.max(turns.c.claimed).label("claimed"))
            .group_by(turns.c.owner)
            .subquery()
        )
        # Who never had a turn comes first; the id makes the order total.
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
            .where(free_job)
            .order_by(*in_turn)
            .limit(1)
        ).scalar_one_or_none()
        return id

    def _take_turn(self, connection: Connection, id: str) -> None:
        """Writes down that a job of a batch, which is locked, is claimed now."""
        now = self._clock()
        had = connection.execute(update(turns).where(turns.c.batch == id).values(claimed=now))
        if not had.rowcount:
            owner = select(batches.c.owner).where(batches.c.id == id)
            owner_of = connection.execute(owner).scalar_one()
            connection.execute(insert(turns), {"batch": id, "owner": owner_of, "claimed": now})

    def renew(self, claim: Claim, lease: float) -> bool:
        """Makes the lease of a job last from now on; whether the job is still the worker's."""
        # No lock, no revision: nobody who looks at the batch sees a lease.
        with self.engine.begin() as connection:
            renewed = connection.execute(
                update(print_jobs).where(_is_claimed(claim)).values(lease=self._clock() + lease)
            )
            return renewed.rowcount > 0

    def finish(
        self, claim: Claim, sizes: Mapping[int, int], pages: int, no_room: Mapping[str, Any]
    ) -> set[int]:
        """Says that the documents of items are in their places.

        The claim may be another's by now: documents of both are the same, and the first to say so
        finishes an item.

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
                .where(are_open(claim.batch, claim.job, list(sizes)))
                .order_by(items.c.number)
            )
            asked = list(open_.scalars())
            if not asked:
                return set()
            revision = _count_up(connection, claim.batch)
            by_number = {number: sizes[number] for number in asked}
            wanted = quotas.fitting(connection, claim.batch, by_number, self._quota, self._clock())
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
                _mark_failed(connection, revision, claim.batch, claim.job, beyond, no_room)
            self._settle(connection, revision, claim.batch, claim.job)
            return wanted

    def fail(self, claim: Claim, problem: Mapping[str, Any], number: int | None = None) -> None:
        """Says what is wrong with an item, or with all of the job that are not done."""
        with self.engine.begin() as connection:
            if _lock(connection, claim.batch):
                numbers = None if number is None else [number]
                self._fail(connection, claim.batch, claim.job, numbers, problem)

    def release(self, workers: str) -> int:
        """Gives back the jobs of workers that are gone.

        Args:
            workers: the name of one, or what the names of several begin with.

        Returns:
            How many jobs wait for another worker now.
        """
        prefix = print_jobs.c.worker.startswith(workers, autoescape=True)
        return self._requeue(and_(print_jobs.c.state == "claimed", prefix))

    def give_back(self, worker: str) -> int:
        """Gives back the jobs of a worker that could do nothing about them, for no fault of theirs:
        that it had them does not count as an attempt.

        Returns:
            How many they are.
        """
        theirs = and_(print_jobs.c.state == "claimed", print_jobs.c.worker == worker)
        return self._requeue(theirs, uncounted=True)

    def requeue_expired(self) -> int:
        """Gives back the jobs whose lease has run out, and says how many."""
        expired = print_jobs.c.lease < self._clock()
        return self._requeue(and_(print_jobs.c.state == "claimed", expired))

    def _requeue(self, which: ColumnElement[bool], *, uncounted: bool = False) -> int:
        # Since the claim an item may have been finished, which sets attempts back to none.
        tried = case((print_jobs.c.attempts > 0, print_jobs.c.attempts - 1), else_=0)
        attempts = {"attempts": tried} if uncounted else {}
        count = 0
        # A transaction for each, and the condition again in it: to lock several batches at once
        # would be to wait for each other with whoever locks them in another order.
        for id, number in self.queries.jobs(which):
            with self.engine.begin() as connection:
                if not _lock(connection, id):
                    continue
                given_back = connection.execute(
                    update(print_jobs)
                    .where(print_jobs.c.batch == id, print_jobs.c.number == number, which)
                    .values(state="queued", worker=None, **attempts)
                )
                if given_back.rowcount:
                    count += 1
                    revision = _count_up(connection, id)
                    connection.execute(
                        update(items)
                        .where(
                            items.c.batch == id, items.c.job == number, items.c.state == "running"
                        )
                        .values(state="queued", revision=revision)
                    )
        return count

    # --- what several changes have in common ---------------------------------------------------

    def _fail(
        self,
        connection: Connection,
        id: str,
        job: int,
        numbers: Sequence[int] | None,
        problem: Mapping[str, Any],
    ) -> None:
        """Items of a job of a batch, which is locked, have failed, if they are open."""
        which = are_open(id, job, numbers)
        if not connection.execute(select(exists(items.c.number).where(which))).scalar_one():
            return
        revision = _count_up(connection, id)
        _mark_failed(connection, revision, id, job, numbers, problem)
        self._settle(connection, revision, id, job)

    def _settle(self, connection: Connection, revision: int, id: str, job: int) -> None:
        """Ends the job if none of its items is left, and then the batch if no job is."""
        left_of_job = exists(items.c.number).where(are_open(id, job))
        state = connection.execute(
            update(print_jobs)
            .where(print_jobs.c.batch == id, print_jobs.c.number == job)
            # It got on: whatever stops it next is counted from the beginning.
            .values(attempts=0, state=case((left_of_job, print_jobs.c.state), else_="ended"))
            .returning(print_jobs.c.state)
        ).scalar_one_or_none()
        if state != "ended":
            return
        left = exists(print_jobs.c.number).where(
            print_jobs.c.batch == id, print_jobs.c.state != "ended"
        )
        ended = connection.execute(
            update(batches)
            .where(batches.c.id == id, batches.c.state.in_(OPEN), ~left)
            .values(state="done", **self._end())
        )
        if ended.rowcount:
            self._add_collation(connection, id, revision)

    def _add_collation(self, connection: Connection, id: str, revision: int) -> None:
        """Adds the job that puts all documents of a batch into one, if there are any."""
        if connection.execute(select(items.c.number).where(are_documents(id)).limit(1)).first():
            new = {**_NEW_JOB, "batch": id, "number": COLLATED, "created": self._clock()}
            connection.execute(insert(print_jobs), {**new, "packet": "{}", "whole": False})
            connection.execute(
                insert(items),
                {**_NEW_ITEM, "batch": id, "number": COLLATED, "job": COLLATED, "name": ""}
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


def _mark_failed(
    connection: Connection,
    revision: int,
    id: str,
    job: int,
    numbers: Sequence[int] | None,
    problem: Mapping[str, Any],
) -> None:
    """Items of a job have failed: those with such numbers, or for None all that are not done."""
    connection.execute(
        update(items)
        .where(are_open(id, job, numbers))
        .values(state="failed", problem=json.dumps(problem), revision=revision)
    )


def _is_claimed(claim: Claim) -> ColumnElement[bool]:
    return and_(
        print_jobs.c.batch == claim.batch,
        print_jobs.c.number == claim.job,
        print_jobs.c.state == "claimed",
        print_jobs.c.worker == claim.worker,
    )
