"""Batches by Celery: a broker and a database of their own, real workers, some of them killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from piecewright.service.batches.celery_app import TOKEN, celery_app, sweep_once
from piecewright.service.batches.storage import Storage, open_storage
from piecewright.service.batches.store import MOST_ATTEMPTS, Store
from piecewright.service.settings import Settings
from tests.service.batches.asking import (
    DEFAULTS,
    GUILD,
    client_of,
    commanded,
    ended,
    every_item_once,
    many,
    posted,
    square,
    state,
)
from tests.service.batches.servers import wait_until
from tests.service.batches.test_collating import collated, ends, in_one, pages, settled, told_why

pytestmark = pytest.mark.long


@pytest.fixture
def settings(tmp_path: Path, broker: str, database: str) -> Settings:
    return Settings(
        data=str(tmp_path / "data"),
        broker=broker,
        database=database,
        files=str(tmp_path / "documents"),
        batch_deadline=1,
    )


@contextmanager
def celery(settings: Settings, processes: int = 2) -> Iterator[subprocess.Popen[bytes]]:
    """A Celery worker with slow drawings."""
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "celery", "-A", "tests.service.batches.slow_celery", "worker"),
            *("--pool", "prefork", "--concurrency", str(processes), "--loglevel", "ERROR"),
            *("--without-gossip", "--without-mingle", "--without-heartbeat"),
        ],
        env={**os.environ, **settings.as_environment()},
        start_new_session=True,
    )
    try:
        yield process
    finally:
        # Whatever is left of it, children whose parent was killed included.
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()


# Celery's own main process may lose count of its children when all are killed at once, and then do
# nothing more: so there is another worker, as there is wherever work must not stand still.


def children(process: subprocess.Popen[bytes]) -> list[int]:
    found = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text("ascii")
    return [int(child) for child in found.split()]


def test_a_worker_that_is_killed_loses_nothing(settings: Settings) -> None:
    client = client_of(settings)
    batch = posted(client, many(slow=2))
    with celery(settings) as worker:
        wait_until(lambda: 0 < state(client, batch)["done"] < 150, "work under way")
        for child in children(worker):
            os.kill(child, signal.SIGKILL)
        with celery(settings, 1):
            every_item_once(client, batch)


def test_a_whole_machine_that_vanishes_loses_nothing(settings: Settings) -> None:
    client = client_of(settings)
    batch = posted(client, many(slow=2))
    with celery(settings, 1):
        wait_until(lambda: 0 < state(client, batch)["done"] < 150, "work under way")
    assert open_storage(settings).queries.unfinished() > 0
    with celery(settings):
        every_item_once(client, batch)


def test_an_item_that_takes_too_long_is_stopped_and_the_others_go_on(settings: Settings) -> None:
    client = client_of(settings)
    items = [{"for": name, "block": square(name)} for name in ("Quay", "stuck", "Mast")]
    batch = posted(client, {"defaults": DEFAULTS, "items": items})
    with celery(settings):
        told = ended(client, batch)
    assert [item["state"] for item in told["items"]] == ["done", "failed", "done"]
    assert told["items"][1]["problem"]["type"] == "/problems/too-long"


def test_a_worker_that_is_killed_at_all_in_one_leaves_it_to_another(settings: Settings) -> None:
    settings = replace(settings, batch_deadline=60)
    client = client_of(settings)
    batch = posted(client, {**GUILD, "title": "slow"})
    with celery(settings) as worker:
        wait_until(lambda: collated(client, batch) == "running", "a worker at it")
        for child in children(worker):
            os.kill(child, signal.SIGKILL)
        with celery(settings, 1):
            told = settled(client, batch)
    assert told["collated"]["state"] == "done"
    assert pages(in_one(client, batch).data) == told["collated"]["pages"]


def test_all_in_one_has_the_time_and_the_memory_of_a_packet(settings: Settings) -> None:
    client = client_of(settings)
    batches = ends(client)
    with celery(settings):
        told_why(client, batches)


def test_workers_are_started_by_a_command(settings: Settings) -> None:
    client = client_of(settings)
    batch = posted(client)
    with commanded(settings):
        every_item_once(client, batch)


def test_tokens_that_the_broker_has_lost_are_made_up_for(settings: Settings) -> None:
    storage = open_storage(settings)
    batch = posted(client_of(settings), many(slow=0))
    sent: list[int] = []
    sweep_once(storage, sent.append)
    assert sent == []
    later = Storage(Store(storage.store.engine, 1.0, lambda: time.time() + 100), storage.files)
    sweep_once(later, sent.append)
    assert sum(sent) > 0
    assert state(client_of(settings), batch)["state"] == "queued"


def test_a_token_waits_for_room_on_the_disk_and_is_sent_on(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = posted(client_of(settings))
    in_the_way = Path(settings.files)
    in_the_way.write_text("a file where a folder should be")
    app = celery_app(settings)
    waits: list[float] = []
    sent: list[str] = []
    monkeypatch.setattr("piecewright.service.batches.celery_app.time.sleep", waits.append)
    monkeypatch.setattr(app, "send_task", sent.append)
    for _ in range(2 * MOST_ATTEMPTS):
        app.tasks[TOKEN]()
    assert len(sent) == 2 * MOST_ATTEMPTS
    assert sorted(set(waits)) == waits  # each longer than the one before
    in_the_way.unlink()
    app.tasks[TOKEN]()
    assert state(client_of(settings), batch)["done"] == 2
    assert open_storage(settings).queries.waiting() == 1
