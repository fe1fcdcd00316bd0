"""The service as gunicorn serves it, from its start to its end."""

from __future__ import annotations

import http.client
import json
import os
import signal
import subprocess
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from piecewright.service.settings import Settings
from tests.service.asking import GUNICORN, Json
from tests.service.batches.servers import free_port, wait_until
from tests.service.drawing_pool.test_pool import is_there

pytestmark = pytest.mark.long

PINWHEEL: Json = {"block": "pinwheel"}


@contextmanager
def served(settings: Settings) -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """The service with odd workers, and its port."""
    port = free_port()
    process = subprocess.Popen(
        [
            *GUNICORN,
            *(
                "--bind",
                f"127.0.0.1:{port}",
                "--workers",
                "1",
                "--error-logfile",
                f"{settings.data}/log",
            ),
            "tests.service.drawing_pool.odd_worker:odd_app()",
        ],
        env={**os.environ, **settings.as_environment()},
    )
    try:
        wait_until(lambda: _is_up(port), "the service")
        yield process, port
    finally:
        process.kill()
        process.wait()


def _is_up(port: int) -> bool:
    try:
        return ask(port, "GET", "/v1/blocks")[0] == 200
    except OSError:
        return False


def ask(port: int, method: str, path: str, body: Json | None = None) -> tuple[int, bytes]:
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as connection:
        sent = None if body is None else json.dumps(body)
        connection.request(method, path, sent, {"Content-Type": "application/json"})
        answer = connection.getresponse()
        return answer.status, answer.read()


def check(port: int, body: Json) -> tuple[int, bytes]:
    return ask(port, "POST", "/v1/check", body)


def waiting(folder: Path, until: str) -> Json:
    """A request that takes until there is a file of that name; see ``odd_worker``."""
    return {"odd": "wait", "folder": str(folder), "begun": "begun", "until": until}


def family(process: int) -> Iterator[int]:
    """A process and all that come from it."""
    yield process
    for task in Path(f"/proc/{process}/task").iterdir():
        for child in (task / "children").read_text("ascii").split():
            yield from family(int(child))


def test_what_is_begun_is_completed_before_the_service_ends(tmp_path: Path) -> None:
    with (
        served(Settings(data=str(tmp_path))) as (process, port),
        ThreadPoolExecutor() as clients,
    ):
        answer = clients.submit(check, port, waiting(tmp_path, "enough"))
        wait_until((tmp_path / "begun").exists, "the request")
        processes = list(family(process.pid))
        assert len(processes) == 3  # the master, a worker of gunicorn, one of its pool
        process.send_signal(signal.SIGTERM)
        wait_until(lambda: "Handling signal: term" in (tmp_path / "log").read_text(), "the signal")
        (tmp_path / "enough").touch()
        assert answer.result() == (200, b"{}\n")
        assert process.wait(60) == 0
        assert not any(map(is_there, processes))


def test_what_takes_too_long_keeps_nobody_from_being_served(tmp_path: Path) -> None:
    with (
        served(Settings(data=str(tmp_path), deadline=1)) as (process, port),
        ThreadPoolExecutor() as clients,
    ):
        stopped = clients.submit(check, port, waiting(tmp_path, "never"))
        wait_until((tmp_path / "begun").exists, "the request")
        assert ask(port, "GET", "/health")[0] == 200
        status, told = stopped.result()
        assert (status, json.loads(told)["type"]) == (503, "/problems/too-long")
        assert check(port, PINWHEEL)[0] == 200
        processes = list(family(process.pid))
        process.send_signal(signal.SIGTERM)
        assert process.wait(60) == 0
        assert not any(map(is_there, processes))
