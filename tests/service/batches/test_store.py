"""The state of batches, in SQLite and in PostgreSQL: claims, leases, and counts that are right."""

from __future__ import annotations

from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine

from piecewright.service.batches.model import Batch, Claim, NewBatch
from piecewright.service.batches.print_jobs import COLLATED, PrintJob
from piecewright.service.batches.store import MOST_ATTEMPTS, KeyUsed, Store
from piecewright.service.batches.tables import open_database, turns

KEEP = 1000.0
LEASE = 30.0
NO_ROOM = {"title": "no room"}


@dataclass
class Clock:
    """A clock that stands still until it is set."""

    now: float = 5000.0

    def __call__(self) -> float:
        return self.now


def abandoned(job: int) -> dict[str, Any]:
    return {"title": f"job {job} is given up"}


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def store(engine: Engine, clock: Clock) -> Store:
    return Store(engine, KEEP, clock)


def new(*sizes: int, key: str | None = None, digest: str = "d") -> NewBatch:
    """A batch with jobs of such sizes."""
    numbers = iter(range(1, sum(sizes) + 1))
    jobs = [
        PrintJob({"finish": {"scale": size}}, False, tuple(next(numbers) for _ in range(size)))
        for size in sizes
    ]
    names = [f"Maker {number}" for number in range(1, sum(sizes) + 1)]
    return NewBatch("Kits", {"block": "pinwheel"}, names, jobs, key, digest)


def seen(store: Store, id: str) -> Batch:
    batch = store.queries.batch("", id)
    assert batch is not None
    return batch


def claimed(store: Store, worker: str) -> Claim:
    claim = store.claim(worker, LEASE, abandoned)
    assert claim is not None
    return claim


def finish(store: Store, claim: Claim, number: int, pages: int) -> bool:
    """Whether an item's document was wanted."""
    return store.finish(claim, {number: 1000}, pages, NO_ROOM) == {number}


def states(store: Store, id: str) -> list[str]:
    return [item.state for item in seen(store, id).items]


def test_a_job_is_claimed_once_and_with_all_that_its_work_needs(store: Store) -> None:
    store.add("", new(2, 1))
    first, second = claimed(store, "a"), claimed(store, "b")
    assert store.claim("c", LEASE, abandoned) is None
    assert (first.job, first.left) == (1, ((1, "Maker 1"), (2, "Maker 2")))
    assert (second.job, second.left) == (2, ((3, "Maker 3"),))
    assert (first.defaults, first.packet) == ({"block": "pinwheel"}, {"finish": {"scale": 2}})


def test_a_batch_runs_from_the_first_claim_to_the_last_item(store: Store, clock: Clock) -> None:
    id = store.add("", new(2, 1))
    assert seen(store, id).state == "queued"
    first = claimed(store, "a")
    assert (seen(store, id).state, states(store, id)) == ("running", ["running"] * 2 + ["queued"])
    assert finish(store, first, 1, 4)
    assert finish(store, first, 2, 4)
    second = claimed(store, "a")
    store.fail(second, {"title": "wrong"})
    batch = seen(store, id)
    assert (batch.state, batch.done, batch.failed, batch.total) == ("done", 2, 1, 3)
    assert (batch.ended, batch.expires) == (clock.now, clock.now + KEEP)
    assert [item.pages for item in batch.items] == [4, 4, None]
    assert batch.items[2].problem == {"title": "wrong"}


def test_small_batches_do_not_wait_for_a_large_one(store: Store, clock: Clock) -> None:
    large = store.add("", new(*[1] * 5))
    clock.now += 1
    small = store.add("", new(1))
    order = [claimed(store, f"w{n}").batch for n in range(6)]
    assert order == [large, small, large, large, large, large]


def test_many_workers_at_once_never_get_the_same_job(store: Store) -> None:
    ids = [store.add("", new(*[1] * 10)) for _ in range(2)]

    def take(worker: int) -> list[tuple[str, int]]:
        mine = []
        while (claim := store.claim(f"w{worker}", LEASE, abandoned)) is not None:
            mine.append((claim.batch, claim.job))
            assert finish(store, claim, claim.left[0][0], 1)
        return mine

    with ThreadPoolExecutor(4) as workers:
        taken = [job for mine in workers.map(take, range(4)) for job in mine]
    assert Counter(taken) == {(id, job): 1 for id in ids for job in (COLLATED, *range(1, 11))}
    assert all(seen(store, id).state == "done" for id in ids)
    assert all(seen(store, id).is_complete for id in ids)


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_processes_that_start_at_once_make_the_tables_once(
    request: pytest.FixtureRequest, tmp_path: Path, kind: str
) -> None:
    local = f"sqlite:///{tmp_path / 'batches.sqlite'}"
    url = local if kind == "sqlite" else request.getfixturevalue("database")
    with ThreadPoolExecutor(8) as processes:
        engines = list(processes.map(open_database, [url] * 16))
    stores = [Store(engine, KEEP) for engine in engines]
    id = stores[0].add("", new(1))
    assert all(store.queries.batch("", id) is not None for store in stores)
    for engine in engines:
        engine.dispose()


# --- leases ----------------------------------------------------------------------------------


def test_a_job_is_anothers_when_its_lease_has_run_out(store: Store, clock: Clock) -> None:
    id = store.add("", new(3))
    slow = claimed(store, "slow")
    assert finish(store, slow, 1, 1)
    clock.now += LEASE - 1
    assert store.renew(slow, LEASE)
    clock.now += LEASE - 1
    assert store.claim("quick", LEASE, abandoned) is None
    clock.now += 2
    quick = claimed(store, "quick")
    assert [number for number, _ in quick.left] == [2, 3]
    assert not store.renew(slow, LEASE)
    assert states(store, id) == ["done", "running", "running"]


def test_two_workers_at_one_job_finish_each_item_once(store: Store, clock: Clock) -> None:
    id = store.add("", new(3))
    slow = claimed(store, "slow")
    clock.now += LEASE + 1
    quick = claimed(store, "quick")
    finished = [finish(store, claim, number, 1) for number in (1, 2, 3) for claim in (slow, quick)]
    assert finished == [True, False] * 3
    store.fail(slow, {"title": "late"})
    batch = seen(store, id)
    assert (batch.state, batch.done, batch.failed) == ("done", 3, 0)


def test_two_workers_at_one_job_at_the_same_time_count_right(store: Store, clock: Clock) -> None:
    id = store.add("", new(40))
    slow = claimed(store, "slow")
    clock.now += LEASE + 1
    quick = claimed(store, "quick")
    with ThreadPoolExecutor(2) as workers:
        results = list(
            workers.map(
                lambda claim: [finish(store, claim, number, 1) for number, _ in claim.left],
                (slow, quick),
            )
        )
    assert [a + b for a, b in zip(*results, strict=True)] == [1] * 40
    batch = seen(store, id)
    assert (batch.state, batch.done) == ("done", 40)


def test_the_jobs_of_a_worker_that_is_gone_are_free_at_once(store: Store) -> None:
    id = store.add("", new(1, 1, 1))
    for worker in ("pool/a", "pool/b", "other/c"):
        claimed(store, worker)
    assert store.release("pool/a") == 1
    assert states(store, id) == ["queued", "running", "running"]
    assert store.release("pool/") == 1
    assert store.queries.waiting() == 2
    assert store.release("pool/") == 0


def test_a_name_with_a_wildcard_is_no_pattern(store: Store) -> None:
    store.add("", new(1))
    claimed(store, "pool/a")
    assert store.release("p%") == 0
    assert store.release("_ool") == 0


def test_lost_jobs_are_given_back_once(store: Store, clock: Clock) -> None:
    id = store.add("", new(1, 1))
    claimed(store, "a")
    assert store.requeue_expired() == 0
    clock.now += LEASE + 1
    assert (store.requeue_expired(), store.requeue_expired()) == (1, 0)
    assert states(store, id) == ["queued", "queued"]


@pytest.mark.parametrize("how", ["released", "lost"])
def test_a_job_that_never_gets_anywhere_is_given_up(store: Store, clock: Clock, how: str) -> None:
    id = store.add("", new(2, 1))
    for attempt in range(MOST_ATTEMPTS):
        assert claimed(store, f"w{attempt}").job == 1
        if how == "released":
            store.release(f"w{attempt}")
        else:
            clock.now += LEASE + 1
    assert claimed(store, "next").job == 2
    batch = seen(store, id)
    assert states(store, id) == ["failed", "failed", "running"]
    assert batch.items[0].problem == abandoned(1)


def test_a_job_that_gets_on_is_not_given_up(store: Store) -> None:
    id = store.add("", new(10))
    for number in range(1, 11):
        claim = claimed(store, "w")
        assert claim.left[0][0] == number
        assert finish(store, claim, number, 1)
        store.release("w")
    assert seen(store, id).done == 10


# --- all documents in one --------------------------------------------------------------------


def ended_batch(store: Store, *sizes: int) -> str:
    """A batch whose items are all done."""
    id = store.add("", new(*sizes))
    for _ in sizes:
        claim = claimed(store, "w")
        for number, _ in claim.left:
            assert finish(store, claim, number, 4)
    return id


def test_all_in_one_is_a_job_when_the_last_item_has_ended(store: Store) -> None:
    id = store.add("", new(2, 1))
    first, second = claimed(store, "a"), claimed(store, "b")
    assert finish(store, first, 1, 4)
    store.fail(first, {"title": "wrong"}, 2)
    assert seen(store, id).collated is None
    assert store.claim("c", LEASE, abandoned) is None
    assert finish(store, second, 3, 5)
    assert seen(store, id).has_ended
    assert not seen(store, id).is_complete
    claim = claimed(store, "c")
    assert (claim.job, claim.left) == (COLLATED, ((COLLATED, ""),))
    asked = store.queries.collation(id)
    assert asked is not None
    assert (asked.copies, asked.pages) == ((("Maker 1", 1), ("Maker 3", 2)), 9)
    before = seen(store, id)
    assert finish(store, claim, COLLATED, asked.pages)
    after = seen(store, id)
    assert after.collated is not None
    assert (after.collated.state, after.collated.pages) == ("done", 9)
    assert after.is_complete
    assert after.revision > before.revision
    # It is none of the items, and the batch had ended before.
    assert (after.items, after.done, after.failed) == (before.items, 2, 1)
    assert (after.ended, after.expires) == (before.ended, before.expires)
    assert store.queries.unfinished() == 0


def test_where_nothing_is_done_there_is_nothing_to_put_together(store: Store) -> None:
    failed = store.add("", new(1))
    store.fail(claimed(store, "w"), {"title": "wrong"})
    cancelled = store.add("", new(1))
    store.cancel(cancelled)
    for id in (failed, cancelled):
        assert seen(store, id).is_complete
        assert seen(store, id).collated is None
    assert store.queries.unfinished() == 0


def test_all_in_one_is_anothers_when_its_worker_is_gone(store: Store, clock: Clock) -> None:
    id = ended_batch(store, 2)
    killed = claimed(store, "killed")
    assert store.release("killed") == 1
    slow = claimed(store, "slow")
    clock.now += LEASE + 1
    quick = claimed(store, "quick")
    assert killed.job == slow.job == quick.job == COLLATED
    assert [finish(store, claim, COLLATED, 8) for claim in (quick, slow)] == [True, False]
    assert seen(store, id).is_complete


def test_all_in_one_is_given_up_as_any_job(store: Store) -> None:
    id = ended_batch(store, 1)
    for attempt in range(MOST_ATTEMPTS):
        assert claimed(store, f"w{attempt}").job == COLLATED
        store.release(f"w{attempt}")
    assert store.claim("next", LEASE, abandoned) is None
    batch = seen(store, id)
    assert batch.collated is not None
    assert (batch.collated.state, batch.collated.problem) == ("failed", abandoned(COLLATED))
    assert (batch.state, batch.done, batch.failed) == ("done", 1, 0)


# --- revisions -------------------------------------------------------------------------------


def test_what_has_changed_since_is_told_and_nothing_else(store: Store) -> None:
    id = store.add("", new(2, 1))
    before = seen(store, id).revision
    claim = claimed(store, "w")
    middle = store.queries.batch("", id, after=before)
    assert middle is not None
    assert [item.number for item in middle.items] == [1, 2]
    finish(store, claim, 2, 1)
    after = store.queries.batch("", id, after=middle.revision)
    assert after is not None
    assert [(item.number, item.state) for item in after.items] == [(2, "done")]
    assert before < middle.revision < after.revision


# --- keys, cancelling, expiry ----------------------------------------------------------------


def test_one_key_makes_one_batch_even_when_asked_at_once(store: Store) -> None:
    with ThreadPoolExecutor(4) as clients:
        ids = set(clients.map(lambda _: store.add("ada", new(2, key="tide")), range(12)))
    assert len(ids) == 1
    with pytest.raises(KeyUsed):
        store.add("ada", new(2, key="tide", digest="other"))
    assert store.add("bente", new(2, key="tide", digest="other")) not in ids


def test_cancelling_leaves_what_is_done_and_nothing_to_do(store: Store, clock: Clock) -> None:
    id = store.add("", new(2, 1))
    claim = claimed(store, "w")
    finish(store, claim, 1, 1)
    store.cancel(id)
    assert not finish(store, claim, 2, 1)
    assert store.queries.state_of(claim, 2) == "cancelled"
    assert not store.renew(claim, LEASE)
    batch = seen(store, id)
    assert (batch.state, batch.done, batch.failed) == ("cancelled", 1, 0)
    assert states(store, id) == ["done", "cancelled", "cancelled"]
    assert batch.expires == clock.now + KEEP
    store.cancel(id)
    assert seen(store, id) == Batch(**{**_fields(batch), "revision": seen(store, id).revision})
    # Nothing but to put into one document what is done.
    assert claimed(store, "x").job == COLLATED
    assert store.claim("y", LEASE, abandoned) is None


def _fields(batch: Batch) -> dict[str, Any]:
    return {name: getattr(batch, name) for name in Batch.__dataclass_fields__}


def test_a_batch_is_gone_when_it_has_been_kept_long_enough(store: Store, clock: Clock) -> None:
    id = store.add("", new(1, key="tide"))
    clock.now += 10 * KEEP
    assert store.queries.batch("", id) is not None  # the time counts from its end
    finish(store, claimed(store, "w"), 1, 1)
    clock.now += KEEP - 1
    assert store.queries.expired() == []
    assert store.queries.batch("", id) is not None
    clock.now += 1
    assert store.queries.expired() == [id]
    assert store.queries.batch("", id) is None
    store.remove(id)
    assert store.queries.expired() == []
    assert store.queries.is_empty()
    assert store.add("", new(1, key="tide", digest="other")) != id


def test_a_worker_whose_batch_was_removed_learns_it(store: Store) -> None:
    id = store.add("", new(2))
    claim = claimed(store, "w")
    store.remove(id)
    assert not finish(store, claim, 1, 1)
    assert store.queries.state_of(claim, 1) is None
    store.fail(claim, {"title": "late"})
    assert store.release("w") == 0


def test_it_is_known_how_long_jobs_have_waited_for_anyone(store: Store, clock: Clock) -> None:
    assert store.queries.waiting_since() is None
    store.add("", new(1, 1, 1))
    clock.now += 7
    assert store.queries.waiting_since() == 7
    claimed(store, "w")
    clock.now += 2
    assert store.queries.waiting_since() == 2
    claimed(store, "w")
    claimed(store, "w")
    assert store.queries.waiting_since() is None


# --- turns -----------------------------------------------------------------------------------


def test_owners_take_turns_however_many_batches_each_has(store: Store, clock: Clock) -> None:
    many = [store.add("ada", new(1)) for _ in range(20)]
    clock.now += 1
    few = {store.add("bente", new(1)) for _ in range(2)}
    order = []
    for turn in range(4):
        clock.now += 1
        order.append(claimed(store, f"w{turn}").batch)
    assert [id in many for id in order] == [True, False, True, False]
    assert set(order[1::2]) == few


def test_an_owner_who_comes_later_does_not_wait_for_all_in_one(store: Store, clock: Clock) -> None:
    ended = {ended_batch(store, 1) for _ in range(5)}  # all five are to be put together
    clock.now += 1
    late = store.add("bente", new(1, 1))
    order = []
    for turn in range(4):
        clock.now += 1
        order.append(claimed(store, f"w{turn}"))
    assert [claim.batch == late for claim in order] == [True, False, True, False]
    assert all(claim.job == COLLATED for claim in order if claim.batch in ended)


def test_all_in_one_has_its_turn_among_the_jobs_of_other_batches(
    store: Store, clock: Clock
) -> None:
    large = store.add("", new(*[1] * 5))
    clock.now += 1
    small = store.add("", new(1))
    order = []
    for turn in range(4):
        clock.now += 1
        claim = claimed(store, f"w{turn}")
        order.append((claim.batch, claim.job))
        assert finish(store, claim, claim.left[0][0], 1)
    assert order == [(large, 1), (small, 1), (large, 2), (small, COLLATED)]


def test_a_database_from_before_there_were_turns_gets_them(engine: Engine, clock: Clock) -> None:
    Store(engine, KEEP, clock).add("", new(1))
    turns.drop(engine)
    url = engine.url.render_as_string(hide_password=False)
    opened = open_database(url)
    assert claimed(Store(opened, KEEP, clock), "w").job == 1
    opened.dispose()


# --- what nobody needs, and what is not the job's fault --------------------------------------


def test_nothing_is_counted_as_a_change_where_nothing_changes(store: Store, clock: Clock) -> None:
    id = ended_batch(store, 1)
    late = claimed(store, "w")
    assert finish(store, late, COLLATED, 4)
    before = seen(store, id)
    assert before.is_complete
    assert not finish(store, late, COLLATED, 4)
    assert not finish(store, late, 1, 4)
    store.fail(late, {"title": "late"})
    store.fail(late, {"title": "late"}, 1)
    store.cancel(id)
    assert (store.release("w"), store.give_back("w")) == (0, 0)
    assert seen(store, id) == before


def test_two_who_give_a_job_back_at_once_count_one_change(store: Store) -> None:
    id = store.add("", new(1))
    claimed(store, "w")
    before = seen(store, id).revision
    with ThreadPoolExecutor(4) as others:
        assert sum(others.map(store.release, ["w"] * 8)) == 1
    assert seen(store, id).revision == before + 1


def test_a_job_that_is_given_back_was_not_tried(store: Store) -> None:
    id = store.add("", new(2))
    for _ in range(3 * MOST_ATTEMPTS):
        claim = claimed(store, "w")
        assert len(claim.left) == 2
        assert store.give_back("w") == 1
    assert states(store, id) == ["queued", "queued"]
    # Nor is a job tried more often for it than another.
    for attempt in range(MOST_ATTEMPTS):
        claimed(store, f"x{attempt}")
        store.release(f"x{attempt}")
    assert store.claim("next", LEASE, abandoned) is None
    assert states(store, id) == ["failed", "failed"]


def test_a_master_is_needed_while_something_is_to_be_made_of_it(store: Store) -> None:
    id = store.add("", new(2, 1, 1))
    claims = [claimed(store, "w") for _ in range(3)]
    first, failed, last = claims
    assert [store.queries.needs_master(claim) for claim in claims] == [True] * 3
    assert finish(store, first, 1, 1)
    store.fail(first, {"title": "wrong"}, 2)
    store.fail(failed, {"title": "wrong"})
    assert [store.queries.needs_master(claim) for claim in claims] == [True, False, True]
    assert store.queries.complete() == []
    assert finish(store, last, 4, 1)
    assert [store.queries.needs_master(claim) for claim in claims] == [True, False, True]
    assert store.queries.complete() == []
    assert finish(store, claimed(store, "w"), COLLATED, 2)
    assert [store.queries.needs_master(claim) for claim in claims] == [False] * 3
    assert (store.queries.complete(), store.queries.unknown([id, "x"])) == ([id], ["x"])
    store.remove(id)
    assert not store.queries.needs_master(first)
    assert (store.queries.complete(), store.queries.unknown([id])) == ([], [id])
