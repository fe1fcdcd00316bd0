"""A worker that comes to a bad end where a request to check a block says so.

The field ``odd`` of the request says what happens, and ``folder`` where it is seen.
"""

from __future__ import annotations

import itertools
import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

from flask import Flask

from piecewright.service.app import create_app
from piecewright.service.drawing_pool.pool import DrawingPool
from piecewright.service.drawing_pool.tasks import HANDLERS, Task
from piecewright.service.drawing_pool.worker import main
from piecewright.service.json_text import read_json
from piecewright.service.problems import CONFLICT, Problem
from piecewright.service.responses.answer import Answer
from piecewright.service.responses.health import prove_ready
from piecewright.service.settings import Settings

ODD_WORKER = (sys.executable, "-m", "tests.service.drawing_pool.odd_worker")
DRY_WORKER = (*ODD_WORKER, "dry")
"""One that cannot draw."""

LARGE = 20 * 1024 * 1024

_numbers = itertools.count()


def odd_app() -> Flask:
    """The service with odd workers, for gunicorn."""
    settings = Settings.from_environment()
    return create_app(settings, DrawingPool(settings, ODD_WORKER))


def check(task: Task, settings: Settings) -> Answer | None:
    given: Any = read_json(task.body)
    odd = given.pop("odd", "") if isinstance(given, dict) else ""
    if odd == "fault":
        os.kill(os.getpid(), signal.SIGSEGV)
    if odd == "greedy":
        held = []
        while True:
            held.append(bytearray(32 * 1024 * 1024))
    if odd == "error":
        raise ZeroDivisionError("the tide is out")
    if odd == "problem":
        raise Problem(CONFLICT, "The tide is in.", 7)
    if odd == "large":
        return Answer("pdf", bytes(range(256)) * (LARGE // 256), "A large quilt")
    if odd == "number":
        return Answer("json", f"{next(_numbers)}\n".encode(), "")
    if odd == "wait":
        folder = Path(given["folder"])
        (folder / given["begun"]).touch()
        while not (folder / given["until"]).exists():
            time.sleep(0.005)
        return Answer("json", b"{}\n", "")
    return HANDLERS["check"](task, settings)


def _dry() -> None:
    raise OSError("no library called cairo was found")


if __name__ == "__main__":
    *dry, handle = sys.argv[1:]
    handlers = {**HANDLERS, "check": check}
    sys.exit(main([handle], handlers, _dry if dry else prove_ready))
