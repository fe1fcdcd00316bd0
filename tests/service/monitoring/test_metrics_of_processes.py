"""Figures for Prometheus of several processes of the service: each tells those of all."""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from prometheus_client.parser import text_string_to_metric_families

from piecewright.service.settings import Settings
from tests.service.asking import GUNICORN
from tests.service.batches.servers import free_port, wait_until
from tests.service.http.test_gunicorn_config import ask, family


def figure(port: int, name: str, **labels: str) -> float:
    text = ask(port, "GET", "/metrics")[1].decode()
    return sum(
        sample.value
        for kind in text_string_to_metric_families(text)
        for sample in kind.samples
        if sample.name == name and labels.items() <= sample.labels.items()
    )


def of_route(port: int) -> float:
    return figure(port, "piecewright_requests_total", route="/v1/blocks/<id>", status="200")


def workers(process: int) -> list[int]:
    return [child for child in family(process) if child != process]


@contextmanager
def stopped(process: int) -> Iterator[None]:
    """While it is, the other one has to answer."""
    os.kill(process, signal.SIGSTOP)
    try:
        yield
    finally:
        os.kill(process, signal.SIGCONT)


def is_up(port: int) -> bool:
    try:
        return ask(port, "GET", "/v1/blocks/spools")[0] == 200
    except OSError:
        return False


def test_whichever_process_is_asked_tells_the_figures_of_all(tmp_path: Path) -> None:
    settings = Settings(data=str(tmp_path), broker="memory://", log="error")
    port = free_port()
    process = subprocess.Popen(
        [
            *GUNICORN,
            *("--bind", f"127.0.0.1:{port}", "--workers", "2"),
            *("--error-logfile", str(tmp_path / "log")),
        ],
        env={**os.environ, **settings.as_environment()},
    )
    try:
        wait_until(lambda: is_up(port), "the service")
        wait_until(lambda: len(workers(process.pid)) == 2, "both of its processes")
        one, other = workers(process.pid)
        first = of_route(port)
        with stopped(one):
            assert ask(port, "GET", "/v1/blocks/pinwheel")[0] == 200
        with stopped(other):
            assert ask(port, "GET", "/v1/blocks/pinwheel")[0] == 200
            assert of_route(port) == first + 2
        with stopped(one):
            assert of_route(port) == first + 2
        assert figure(port, "piecewright_requests_under_way") == 1  # the one that asks
    finally:
        process.terminate()
        process.wait()
