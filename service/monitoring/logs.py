"""What the service writes to its log: a line of JSON for each request, and for what goes wrong."""

from __future__ import annotations

import logging
import sys
import time
from typing import Any

from flask import Flask, Response, g, has_request_context, request
from pythonjsonlogger.json import JsonFormatter

_log = logging.getLogger("piecewright.requests")


class Lines(JsonFormatter):
    """Lines with the time in UTC, and the id of the request that they are about."""

    def add_fields(
        self, log_data: dict[str, Any], record: logging.LogRecord, message_dict: dict[str, Any]
    ) -> None:
        super().add_fields(log_data, record, message_dict)
        when = time.gmtime(record.created)
        stamp = f"{time.strftime('%Y-%m-%dT%H:%M:%S', when)}.{int(record.msecs):03d}Z"
        first: dict[str, Any] = {"time": stamp, "level": record.levelname.lower()}
        if has_request_context() and "request_id" in g:
            first["request_id"] = g.request_id
        # Time, level and request come first in the line, whatever the base class has put in.
        rest = dict(log_data)
        log_data.clear()
        log_data.update({**first, "logger": record.name, **rest})


def write_lines(level: str) -> None:
    """Has all of the service's loggers write lines of JSON to standard error.

    Args:
        level: as ``Settings.log`` has it.
    """
    logger = logging.getLogger("piecewright")
    # Called by each of several entrances (gunicorn, workers): once is enough.
    if not any(isinstance(handler.formatter, Lines) for handler in logger.handlers):
        handler = logging.StreamHandler(sys.stderr)
        handler.setFormatter(Lines("{message}", style="{"))
        logger.addHandler(handler)
        logger.propagate = False
    logger.setLevel(level.upper())


def log_requests(app: Flask) -> None:
    """Has each request logged once it is answered: never its body, and never a key.

    ``g.began`` is when it came in, by ``time.perf_counter``.
    """

    @app.after_request
    def log(response: Response) -> Response:
        rule = request.url_rule
        _log.info(
            "request",
            extra={
                "method": request.method,
                "route": rule.rule if rule is not None else None,
                "path": _path(rule.rule if rule is not None else ""),
                "status": response.status_code,
                "seconds": round(time.perf_counter() - g.began, 4),
                "bytes": response.content_length,
                "owner": g.get("owner", ""),
            },
        )
        return response


def _path(route: str) -> str:
    """The path, but that of a batch without its id, by which whoever knows it may read it."""
    return route if route.startswith("/v1/batches/<") else request.path[:200]
