"""Figures for Prometheus, at ``/metrics``: those of all processes of the service together.

Processes share their figures through files of prometheus_client's, in the folder that
``piecewright.service.http.gunicorn_config`` sets up before they start (``METRICS_FOLDER``). Without
it the figures are those of one process.
"""

from __future__ import annotations

import os
import time
from typing import Final

from flask import Flask, Response, g, request
from prometheus_client import (
    CONTENT_TYPE_LATEST,
    REGISTRY,
    CollectorRegistry,
    Counter,
    Gauge,
    Histogram,
    generate_latest,
)
from prometheus_client.multiprocess import MultiProcessCollector

from piecewright.service.settings import METRICS_FOLDER

_METHODS: Final = {"GET", "HEAD", "POST", "DELETE", "OPTIONS"}

REQUESTS: Final = Counter(
    "piecewright_requests", "Requests answered.", ["method", "route", "status"]
)
SECONDS: Final = Histogram(
    "piecewright_request_seconds",
    "Seconds until an answer was ready.",
    ["route"],
    # From what is answered from memory up to the longest deadline that is usual.
    buckets=(0.005, 0.02, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 60),
)
CACHE_HITS: Final = Counter("piecewright_kept_answers", "Answers that were kept from before.")
WORKERS_ENDED: Final = Counter(
    "piecewright_desks_ended", "Workers that were ended or ended by themselves.", ["why"]
)
UNDER_WAY: Final = Gauge(
    "piecewright_requests_under_way", "Requests not yet answered.", multiprocess_mode="livesum"
)
REFUSED: Final = Counter("piecewright_refused", "Requests for which no worker was free.")
WAITING: Final = Gauge(
    "piecewright_waiting", "Requests that wait for a worker.", multiprocess_mode="livesum"
)


def measure(app: Flask) -> None:
    """Counts and times the app's requests, and answers at ``/metrics``.

    ``g.began`` is when a request came in, by ``time.perf_counter``.
    """

    @app.before_request
    def begin() -> None:
        g.is_under_way = True
        UNDER_WAY.inc()

    # Not after_request, which is left out if an answer cannot be made.
    @app.teardown_request
    def end(error: BaseException | None) -> None:
        if g.pop("is_under_way", False):
            UNDER_WAY.dec()

    @app.after_request
    def count(response: Response) -> Response:
        # The rule, not the path: ids and what strangers try would be figures of their own.
        route = request.url_rule.rule if request.url_rule is not None else "none"
        method = request.method if request.method in _METHODS else "other"
        REQUESTS.labels(method, route, response.status_code).inc()
        SECONDS.labels(route).observe(time.perf_counter() - g.began)
        return response

    @app.get("/metrics")
    def metrics() -> Response:
        registry = REGISTRY
        if os.environ.get(METRICS_FOLDER):
            registry = CollectorRegistry()
            MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
        answer = Response(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)
        answer.cache_control.no_store = True
        return answer
