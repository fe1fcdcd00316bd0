"""No owner fills the disk: so many batches are kept of each, and so many bytes of documents."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from flask import g, request
from flask.testing import FlaskClient
from sqlalchemy import Engine

from piecewright.service.app import create_app
from piecewright.service.batches.packet_maker import Packets
from piecewright.service.batches.print_jobs import COLLATED
from piecewright.service.batches.quotas import Quota, QuotaExceeded, Usage
from piecewright.service.batches.store import Store
from piecewright.service.batches.tables import open_database
from piecewright.service.settings import Settings
from tests.service.batches.asking import GUILD, Json, client_of, do_all, kept_in, posted, state
from tests.service.batches.test_collating import told_for_good
from tests.service.batches.test_own_processes import ask, service
from tests.service.batches.test_store import (
    KEEP,
    NO_ROOM,
    Clock,
    claimed,
    finish,
    new,
    seen,
    states,
)

START = 5000.0


@pytest.fixture
def clock() -> Clock:
    return Clock(START)


@pytest.fixture
def second(engine: Engine) -> Iterator[Engine]:
    """The same database as another process has it."""
    opened = open_database(engine.url.render_as_string(hide_password=False))
    yield opened
    opened.dispose()


def test_more_batches_than_are_kept_are_refused_until_one_is_gone(
    engine: Engine, clock: Clock
) -> None:
    store = Store(engine, KEEP, clock, Quota(batches=2))
    first = store.add("ada", new(1, key="tide"))
    clock.now += 1
    store.add("ada", new(1))
    with pytest.raises(QuotaExceeded) as full:
        store.add("ada", new(1))
    assert (full.value.usage.batches, full.value.oldest, full.value.expires) == (2, first, None)
    # A request that is repeated adds nothing, and another owner has room.
    assert store.add("ada", new(1, key="tide")) == first
    for owner in ("", "bente"):
        store.add(owner, new(1))
    clock.now += 5
    claim = claimed(store, "w")
    assert claim.batch == first
    assert finish(store, claim, 1, 1)
    with pytest.raises(QuotaExceeded) as full:
        store.add("ada", new(1))
    assert (full.value.oldest, full.value.expires) == (first, START + 6 + KEEP)
    clock.now = START + 6 + KEEP
    third = store.add("ada", new(1))
    with pytest.raises(QuotaExceeded):
        store.add("ada", new(1))
    store.remove(third)
    store.add("ada", new(1))


def test_two_processes_at_once_do_not_go_beyond_it_together(
    engine: Engine, second: Engine, clock: Clock
) -> None:
    quota = Quota(batches=5)
    stores = [Store(one, KEEP, clock, quota) for one in (engine, second)]

    def add(number: int) -> bool:
        try:
            stores[number % 2].add("ada", new(1))
        except QuotaExceeded:
            return False
        return True

    with ThreadPoolExecutor(4) as clients:
        assert sum(clients.map(add, range(16))) == quota.batches


def test_documents_that_are_more_than_is_kept_fail_and_the_rest_stay(
    engine: Engine, clock: Clock
) -> None:
    store = Store(engine, KEEP, clock, Quota(bytes=2500))
    id = store.add("ada", new(5))
    claim = claimed(store, "w")
    assert store.finish(claim, dict.fromkeys((1, 2), 1000), 1, NO_ROOM) == {1, 2}
    assert store.finish(claim, dict.fromkeys((3, 4, 5), 1000), 1, NO_ROOM) == {3}
    batch = store.queries.batch("ada", id)
    assert batch is not None
    assert [item.state for item in batch.items] == ["done"] * 3 + ["failed"] * 2
    assert batch.items[4].problem == NO_ROOM
    assert (batch.state, batch.done, batch.failed) == ("done", 3, 2)
    # There is no room for all of them in one either, nor for another batch.
    assert store.finish(claimed(store, "w"), {COLLATED: 1}, 3, NO_ROOM) == set()
    batch = store.queries.batch("ada", id)
    assert batch is not None
    assert batch.collated is not None
    assert (batch.collated.state, batch.collated.problem) == ("failed", NO_ROOM)
    assert batch.done == 3
    with pytest.raises(QuotaExceeded) as full:
        store.add("ada", new(1))
    assert full.value.usage == Usage(1, 3000)
    other = store.add("bente", new(1))
    assert finish(store, claimed(store, "w"), 1, 1)
    assert store.queries.batch("bente", other) is not None
    store.remove(id)
    store.add("ada", new(1))


def test_two_workers_at_two_batches_of_one_owner_stay_within_it(
    engine: Engine, second: Engine, clock: Clock
) -> None:
    quota = Quota(bytes=25_500)
    stores = [Store(one, KEEP, clock, quota) for one in (engine, second)]
    ids = [stores[0].add("", new(20)) for _ in stores]
    claims = [claimed(store, f"w{n}") for n, store in enumerate(stores)]
    assert {claim.batch for claim in claims} == set(ids)
    with ThreadPoolExecutor(2) as workers:
        kept = workers.map(
            lambda store, claim: sum(finish(store, claim, n, 1) for n, _ in claim.left),
            stores,
            claims,
        )
        assert sum(kept) == 26  # the last is begun within the bound
    found = [item for id in ids for item in states(stores[0], id)]
    assert (found.count("done"), found.count("failed")) == (26, 14)
    assert all(seen(stores[0], id).has_ended for id in ids)


def test_whether_there_is_room_is_known_before_anything_is_drawn(
    engine: Engine, clock: Clock
) -> None:
    store = Store(engine, KEEP, clock, Quota(bytes=1500))
    store.add("ada", new(2, 1))
    store.add("bente", new(1))
    claims = [claimed(store, "w") for _ in range(3)]
    ada = next(claim for claim in claims if len(claim.left) == 2)
    assert all(store.queries.has_room(claim) for claim in claims)
    assert finish(store, ada, 1, 1)
    assert store.queries.has_room(ada)
    assert finish(store, ada, 2, 1)
    assert [store.queries.has_room(c) for c in claims] == [c.batch != ada.batch for c in claims]
    store.remove(ada.batch)
    assert not store.queries.has_room(ada)
    assert all(
        Store(engine, KEEP, clock).queries.has_room(c) for c in claims if c.batch != ada.batch
    )


# --- as clients are told ---------------------------------------------------------------------


def owned(settings: Settings) -> FlaskClient:
    """A client whose owner is the one that it names."""
    app = create_app(settings)

    @app.before_request
    def own() -> None:
        g.owner = request.headers.get("X-Test-Owner", "")

    return app.test_client()


@pytest.mark.parametrize("owner", ["ada", ""])
def test_a_request_beyond_it_is_told_what_to_delete_and_when_the_oldest_lapses(
    tmp_path: Path, owner: str
) -> None:
    """507 is Insufficient Storage (RFC 4918, section 11.5)."""
    settings = kept_in(tmp_path, keep_batches=2)
    client, own = owned(settings), {"X-Test-Owner": owner}
    batches = [posted(client, GUILD, **own) for _ in range(2)]
    refused = client.post("/v1/batches", json=GUILD, headers=own)
    told = refused.json or {}
    assert (refused.status_code, told["type"]) == (507, "/problems/no-room")
    assert "2 batches are kept" in told["detail"]
    assert "none has ended yet, and each lapses 72 hours after its end" in told["detail"]
    assert "Retry-After" not in refused.headers
    do_all(settings)
    refused = client.post("/v1/batches", json=GUILD, headers=own)
    told = refused.json or {}
    expires = [
        (client.get(batch["links"]["self"], headers=own).json or {})["expires"] for batch in batches
    ]
    assert f"the oldest lapses at {min(expires)}" in told["detail"]
    assert 0 < int(refused.headers["Retry-After"]) <= 72 * 3600
    # Whoever shares an owner does not learn the address of another's batch.
    addresses = [batch["links"]["self"] for batch in batches if batch["id"] in told["detail"]]
    assert len(addresses) == (1 if owner else 0)
    oldest = batches[expires.index(min(expires))]["links"]["self"]
    assert addresses in ([], [oldest])
    assert client.delete(oldest, headers=own).status_code == 204
    posted(client, GUILD, **own)


def test_an_item_for_which_there_is_no_room_says_so_and_leaves_no_file(tmp_path: Path) -> None:
    settings = kept_in(tmp_path, keep_bytes=1)
    client = client_of(settings)
    batch = posted(client)
    do_all(settings)
    told = state(client, batch)
    # The first is begun within the bound.
    assert [item["state"] for item in told["items"]] == ["done", "failed", "failed"]
    for message in (told["items"][1]["problem"], told["collated"]["problem"]):
        assert (message["status"], message["type"]) == (507, "/problems/no-room")
    folder = tmp_path / "documents" / batch["id"]
    assert [path.name for path in folder.iterdir()] == ["00001.pdf"]
    told_for_good(client, batch)
    assert client.get(batch["links"]["archive"]).status_code == 200
    refused = client.post("/v1/batches", json=GUILD)
    assert refused.status_code == 507
    size = (folder / "00001.pdf").stat().st_size
    assert f"1 batches take {size:,} bytes; 1 may be kept" in (refused.json or {})["detail"]
    assert client.delete(batch["links"]["self"]).status_code == 204
    posted(client)


def test_an_owner_who_is_at_the_bound_has_nothing_drawn(tmp_path: Path) -> None:
    class Counted(Packets):
        drawn = collated = 0

        def draw(self, packet: Json, settings: Settings) -> bytes:
            self.drawn += 1
            return super().draw(packet, settings)

        def collate(self, copies: Iterable[tuple[str, bytes]], title: str) -> bytes:
            self.collated += 1
            return super().collate(copies, title)

    settings, packets = kept_in(tmp_path, keep_bytes=1), Counted()
    client = client_of(settings)
    batches = [posted(client) for _ in range(3)]
    do_all(settings, packets)
    assert (packets.drawn, packets.collated) == (1, 0)
    told = [state(client, batch) for batch in batches]
    assert sorted(batch["failed"] for batch in told) == [2, 3, 3]
    problems = [item.get("problem") for batch in told for item in batch["items"]]
    assert [problem["type"] for problem in problems if problem] == ["/problems/no-room"] * 8
    assert [path.name for path in (tmp_path / "documents").rglob("*.pdf")] == ["00001.pdf"]


def test_without_bounds_nobody_is_refused(tmp_path: Path) -> None:
    settings = kept_in(tmp_path, keep_batches=0, keep_bytes=0)
    client = client_of(settings)
    for _ in range(3):
        posted(client)
    do_all(settings)
    posted(client)


def test_two_processes_of_the_service_keep_it_together(tmp_path: Path) -> None:
    settings = kept_in(tmp_path, keep_batches=3)
    with service(settings, 2) as (_, port), ThreadPoolExecutor(4) as clients:
        answers = list(clients.map(lambda _: ask(port, "POST", "/v1/batches", GUILD), range(10)))
    assert sorted(status for status, _ in answers) == [202] * 3 + [507] * 7
    refused = [json.loads(body) for status, body in answers if status == 507]
    assert {problem["type"] for problem in refused} == {"/problems/no-room"}
