"""How gunicorn serves it: ``gunicorn --config python:piecewright.service.http.gunicorn_config``."""

from __future__ import annotations

import os
import shutil
import tempfile
from typing import Any

from piecewright.service.monitoring.logs import write_lines
from piecewright.service.settings import METRICS_FOLDER, Settings

_settings = Settings.from_environment()

wsgi_app = "piecewright.service.app:create_app()"
worker_class = "piecewright.service.http.worker.Worker"
workers = int(os.environ.get("WEB_CONCURRENCY") or 2)
# Threads only wait: for requests to come in (``slow_clients``), for the drawing pool, and for news
# in streams of events. There are so many, started when they are needed, that what needs no drawing
# is always answered, with a hundred clients that keep one waiting each.
threads = 128
timeout = 120
# Seconds that answers are given to be completed when the service is told to end: as long as
# one may wait for a worker of the pool and then be drawn, and a little.
graceful_timeout = 2 * _settings.deadline + 5
control_socket_disable = True


def on_starting(server: Any) -> None:
    """Before there are workers: how they log, where they put their figures together, and the
    OpenAPI document, which they inherit."""
    write_lines(_settings.log)
    if not os.environ.get(METRICS_FOLDER):
        os.environ[METRICS_FOLDER] = server.metrics = tempfile.mkdtemp(prefix="piecewright-")
    from piecewright.service.http.openapi.document import document  # it needs that folder's name

    document(_settings)


def child_exit(server: Any, worker: Any) -> None:
    """A worker has ended: what it was just doing no longer counts."""
    from prometheus_client import multiprocess  # it looks for the folder when it is imported

    multiprocess.mark_process_dead(worker.pid)  # type: ignore[no-untyped-call]


def on_exit(server: Any) -> None:
    """All have ended."""
    shutil.rmtree(getattr(server, "metrics", ""), ignore_errors=True)
