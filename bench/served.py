"""The service as gunicorn serves it, on a free port, and what its processes take."""

from __future__ import annotations

import http.client
import json
import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

WORKERS: Final = 2

_PATIENCE: Final = 120.0
"""Seconds in which the service must be up."""


@dataclass(frozen=True, slots=True)
class Served:
    """A service that runs.

    Attributes:
        process: of gunicorn's master.
    """

    process: subprocess.Popen[bytes]
    port: int

    def ask(
        self, method: str, path: str, body: Any = None, accept: str = "application/json"
    ) -> tuple[int, bytes]:
        """The status of an answer, and its content."""
        sent = None if body is None else json.dumps(body)
        headers = {"Content-Type": "application/json", "Accept": accept}
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=600)) as client:
            client.request(method, path, sent, headers)
            answer = client.getresponse()
            return answer.status, answer.read()

    def processes(self) -> list[int]:
        """Ids of the master and of all processes that come from it."""
        return list(_family(self.process.pid))

    def memory(self, line: str = "VmRSS") -> float:
        """MB that all processes have in memory; with ``VmHWM`` the most that each ever had."""
        return sum(_memory(process, line) for process in self.processes())


@contextmanager
def served(settings: Mapping[str, object]) -> Iterator[Served]:
    """A service whose workers are ready to draw; it is told to end, and has to end well.

    Args:
        settings: environment variables.
    """
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
    with tempfile.TemporaryDirectory() as data:
        given = {name: str(value) for name, value in settings.items()}
        process = subprocess.Popen(
            [
                *(
                    sys.executable,
                    "-m",
                    "gunicorn",
                    "--config",
                    "python:piecewright.service.http.gunicorn_config",
                ),
                *("--bind", f"127.0.0.1:{port}", "--workers", str(WORKERS)),
                *("--log-level", "warning"),
            ],
            env={**os.environ, "PIECEWRIGHT_DATA": data, "PIECEWRIGHT_LOG": "warning", **given},
            start_new_session=True,
        )
        try:
            running = Served(process, port)
            _wait_for(running)
            yield running
            ids = running.processes()
            process.terminate()
            code = process.wait(_PATIENCE)
            left = [id for id in ids if Path(f"/proc/{id}").exists()]
            if code != 0 or left:
                raise RuntimeError(f"the service ended with {code}, and left {len(left)} processes")
        finally:
            process.kill()
            process.wait()


def _wait_for(running: Served) -> None:
    """Waits until each process has a worker that draws: a check of its health starts one."""
    end = time.monotonic() + _PATIENCE
    while time.monotonic() < end:
        try:
            running.ask("GET", "/health")
        except OSError:
            time.sleep(0.1)
            continue
        if len(running.processes()) == 1 + 2 * WORKERS:
            return
        time.sleep(0.02)
    raise RuntimeError("the service did not come up")


def _family(process: int) -> Iterator[int]:
    yield process
    for task in Path(f"/proc/{process}/task").glob("*/children"):
        try:
            children = task.read_text("ascii").split()
        except OSError:  # the thread, or its process, has just ended
            continue
        for child in children:
            yield from _family(int(child))


def _memory(process: int, line: str) -> float:
    try:
        status = Path(f"/proc/{process}/status").read_text("utf-8")
    except OSError:  # it has just ended
        return 0.0
    for one in status.splitlines():
        if one.startswith(f"{line}:"):
            return int(one.split()[1]) / 1024
    return 0.0


def wall(pieces: int) -> dict[str, Any]:
    """A block of squares of 1 in, in rows of 50."""
    places = [(number % 50, number // 50) for number in range(pieces)]
    return {
        "name": "Harbour wall",
        "pieces": [
            {"id": f"{x}-{y}", "outline": [[x, y], [x + 1, y], [x + 1, y + 1], [x, y + 1]]}
            for x, y in places
        ],
    }
