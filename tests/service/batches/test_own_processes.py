"""Batches by processes of the service's own, some of which come to a bad end."""

from __future__ import annotations

import http.client
import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.exc import OperationalError

from piecewright.service.app import create_app
from piecewright.service.batches.dispatch import OwnProcesses, choose_dispatcher
from piecewright.service.batches.storage import open_storage
from piecewright.service.batches.store import Store
from piecewright.service.batches.supervisor import Supervisor
from piecewright.service.settings import Settings
from tests.service.batches.asking import (
    DEFAULTS,
    Json,
    client_of,
    commanded,
    ended,
    every_item_once,
    kept_in,
    many,
    posted,
    square,
    state,
)
from tests.service.batches.servers import free_port, wait_until

pytestmark = pytest.mark.long

SLOW_WORKER = (sys.executable, "-m", "tests.service.batches.slow_worker")


@contextmanager
def working(settings: Settings) -> Iterator[Supervisor]:
    """A pool of workers with slow drawings."""
    supervisor = Supervisor(settings, SLOW_WORKER)
    supervisor.wake()
    try:
        yield supervisor
    finally:
        supervisor.stop()


def with_blocks(*names: str) -> Json:
    """A batch with an item for each block's name; see ``slow``."""
    items = [{"for": f"{name} {n}", "block": square(name)} for n, name in enumerate(names)]
    return {"defaults": DEFAULTS, "items": items}


def test_a_worker_that_is_killed_loses_nothing(tmp_path: Path) -> None:
    settings = kept_in(tmp_path, batch_processes=2)
    client = client_of(settings)
    batch = posted(client, many(slow=2))
    with working(settings) as supervisor:
        wait_until(lambda: 0 < state(client, batch)["done"] < 150, "work under way")
        killed = supervisor.processes
        for process in killed:
            os.kill(process, signal.SIGKILL)
        every_item_once(client, batch)
        assert not set(killed) & set(supervisor.processes)


def test_an_item_that_takes_too_long_is_stopped_and_the_others_go_on(tmp_path: Path) -> None:
    settings = kept_in(tmp_path, batch_processes=1, batch_deadline=1)
    client = client_of(settings)
    batch = posted(client, with_blocks("Quay", "stuck", "Mast"))
    with working(settings) as supervisor:
        told = ended(client, batch)
        # Its worker had work, and has settled it: that is no reason to keep others waiting.
        assert supervisor.failures == 0
    assert [item["state"] for item in told["items"]] == ["done", "failed", "done"]
    problem = told["items"][1]["problem"]
    assert (problem["type"], problem["status"]) == ("/problems/too-long", 503)
    assert "1 second" in problem["detail"]


def test_a_packet_that_kills_its_workers_is_given_up(tmp_path: Path) -> None:
    settings = kept_in(tmp_path, batch_processes=1)
    client = client_of(settings)
    batch = posted(client, with_blocks("deadly", "Quay", "deadly", "Mast"))
    with working(settings):
        told = ended(client, batch)
    assert [item["state"] for item in told["items"]] == ["failed", "done", "failed", "done"]
    assert told["items"][0]["problem"]["type"] == "/problems/internal-error"


def test_one_pool_works_for_a_data_folder_and_another_takes_over(tmp_path: Path) -> None:
    settings = kept_in(tmp_path, batch_processes=1)
    client = client_of(settings)
    first, second = Supervisor(settings, SLOW_WORKER), Supervisor(settings, SLOW_WORKER)
    try:
        batch = posted(client, with_blocks("slow", "slow", "slow"))
        first.wake()
        ended(client, batch)
        second.wake()
        wait_until(lambda: first.processes, "a worker")
        assert second.processes == []
        first.stop()
        again = posted(client, with_blocks("Quay"))
        second.wake()
        ended(client, again)
        assert second.processes
    finally:
        first.stop()
        second.stop()


def test_jobs_of_a_pool_that_is_gone_are_released_when_the_database_is_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings = kept_in(tmp_path, batch_processes=1)
    client = client_of(settings)
    batch = posted(client, with_blocks("Quay"))
    (tmp_path / "workers.lock").write_text("gone", encoding="ascii")
    assert open_storage(settings).store.claim("gone/worker", 3600, lambda job: {})
    release = Store.release
    failures = [OperationalError("UPDATE", {}, Exception("the database is away"))]

    def at_first_away(store: Store, workers: str) -> int:
        if failures:
            raise failures.pop()
        return release(store, workers)

    monkeypatch.setattr(Store, "release", at_first_away)
    monkeypatch.setattr("piecewright.service.batches.supervisor.LONGEST_DELAY", 0.1)
    with working(settings):
        assert ended(client, batch)["done"] == 1
    assert not failures


def test_workers_that_cannot_even_start_leave_the_work_to_others(tmp_path: Path) -> None:
    settings = kept_in(tmp_path, batch_processes=1)
    client = client_of(settings)
    starts = tmp_path / "starts"
    broken = f"open({str(starts)!r}, 'a').write('x'); raise SystemExit(3)"
    supervisor = Supervisor(settings, (sys.executable, "-c", broken))
    batch = posted(client, with_blocks("Quay"))
    supervisor.wake()
    try:
        wait_until(lambda: starts.exists() and starts.stat().st_size >= 2, "two starts")
        assert supervisor.failures > 0
    finally:
        supervisor.stop()
    assert state(client, batch)["state"] == "queued"
    with working(settings):
        assert ended(client, batch)["done"] == 1


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_a_service_makes_batches_by_itself(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, kind: str
) -> None:
    database = "" if kind == "sqlite" else request.getfixturevalue("database")
    settings = Settings(data=str(tmp_path), database=database, batch_processes=1)
    own = choose_dispatcher(settings)
    assert isinstance(own, OwnProcesses)
    monkeypatch.setattr(
        "piecewright.service.http.batches.routes.choose_dispatcher", lambda settings: own
    )
    client = create_app(settings).test_client()
    try:
        batch = posted(client, with_blocks("Quay", "Mast"))
        every_item_once(client, batch)
    finally:
        own.end()  # before the database is gone


def test_workers_may_be_run_apart_from_the_service(tmp_path: Path) -> None:
    settings = Settings(data=str(tmp_path), batch_processes=1)
    client = client_of(kept_in(tmp_path))
    batch = posted(client, with_blocks("Quay", "Mast"))
    with commanded(settings):
        every_item_once(client, batch)


# --- the whole service -----------------------------------------------------------------------


@contextmanager
def service(settings: Settings, workers: int) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """The service as it is served, and its port."""
    port = free_port()
    process = subprocess.Popen(
        [
            *(
                sys.executable,
                "-m",
                "gunicorn",
                "--bind",
                f"127.0.0.1:{port}",
                "--no-control-socket",
            ),
            *(
                "--workers",
                str(workers),
                "--log-level",
                "error",
                "piecewright.service.app:create_app()",
            ),
        ],
        env={**os.environ, **settings.as_environment()},
    )
    try:
        wait_until(lambda: _answers(port), "the service")
        yield process, port
    finally:
        process.terminate()
        process.wait()


def _answers(port: int) -> bool:
    try:
        return ask(port, "GET", "/v1/blocks")[0] == 200
    except OSError:
        return False


def ask(port: int, method: str, path: str, body: Any = None) -> tuple[int, bytes]:
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=20)) as connection:
        sent = None if body is None else json.dumps(body)
        connection.request(method, path, sent, {"Content-Type": "application/json"})
        answer = connection.getresponse()
        return answer.status, answer.read()


def test_a_service_that_is_killed_and_started_anew_ends_what_it_began(tmp_path: Path) -> None:
    settings = Settings(data=str(tmp_path), batch_processes=1)
    with service(settings, 1) as (process, port):
        status, told = ask(port, "POST", "/v1/batches", many(slow=0))
        assert status == 202
        batch = json.loads(told)
        path = batch["links"]["self"]
        wait_until(lambda: json.loads(ask(port, "GET", path)[1])["done"], "a first document")
        for child in children(process.pid):
            os.kill(child, signal.SIGKILL)
        process.kill()
    done = state(client_of(kept_in(tmp_path)), batch)["done"]
    assert 0 < done < 200
    with service(settings, 1):
        every_item_once(client_of(kept_in(tmp_path)), batch)


def test_when_the_process_that_runs_the_workers_dies_another_takes_over(tmp_path: Path) -> None:
    settings = Settings(data=str(tmp_path), batch_processes=1)
    with service(settings, 2) as (process, port):
        batch = json.loads(ask(port, "POST", "/v1/batches", many(slow=0))[1])
        path = batch["links"]["self"]
        wait_until(lambda: json.loads(ask(port, "GET", path)[1])["done"], "a first document")
        (holder,) = (child for child in children(process.pid) if children(child))
        os.kill(holder, signal.SIGKILL)
        every_item_once(client_of(kept_in(tmp_path)), batch)


def children(process: int) -> list[int]:
    """The processes that any thread of a process has started."""
    listed = [path.read_text("ascii") for path in Path(f"/proc/{process}/task").glob("*/children")]
    return [int(child) for child in " ".join(listed).split()]
