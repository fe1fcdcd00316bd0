"""A worker process of the service's own: ``python -m piecewright.service.batches.worker NAME``.

It does one lot after another, ends when there has been none for a while, and ends at once
when the service does, which it learns from its standard input. On its standard output it
says, once, that it has work.
"""

from __future__ import annotations

import logging
import os
import sys
import time
from collections.abc import Callable, Sequence
from threading import Thread
from typing import Final

from sqlalchemy.exc import OperationalError

from piecewright.service.batches.backoff import rest_after
from piecewright.service.batches.drawing import Drawing, Packets
from piecewright.service.batches.parts import Parts, parts
from piecewright.service.batches.work import Hindered, work_on_next
from piecewright.service.memory import limit_memory
from piecewright.service.monitoring.logs import write_lines
from piecewright.service.settings import Settings

_PAUSE: Final = 0.1
"""Seconds between looks for work."""

_NICENESS: Final = 5
"""How much a batch gives way to those who wait for an answer."""

_IDLE: Final = 20.0
"""Seconds without work, after which the process ends to give its memory back."""

_log = logging.getLogger(__name__)


def main(arguments: Sequence[str], drawing: Drawing | None = None) -> int:
    """Works under the name that is the one argument, with the environment's settings."""
    (name,) = arguments
    os.nice(_NICENESS)
    say_at_work = _teller()
    Thread(target=_end_with_parent, name="parent", daemon=True).start()
    settings = Settings.from_environment()
    write_lines(settings.log)
    limit_memory(settings.desk_memory)
    work_until_idle(name, parts(settings), drawing or Packets(), settings, say_at_work)
    return 0


def work_until_idle(
    name: str,
    opened: Parts,
    drawing: Drawing,
    settings: Settings,
    say_at_work: Callable[[], object] = lambda: None,
    *,
    idle: float = _IDLE,
    wait: Callable[[float], None] = time.sleep,
) -> None:
    """Does one lot after another until there has been none for so many seconds.

    Args:
        say_at_work: called whenever there is a lot to do.
    """
    hindered = 0
    last = time.monotonic()
    while hindered or time.monotonic() - last < idle:
        try:
            if hindered:
                opened.store.give_back(name)  # if that could not be written before
            done = work_on_next(
                name, opened.store, opened.files, drawing, settings, claimed=say_at_work
            )
        except (Hindered, OperationalError):
            if not hindered:
                _log.exception("a batch cannot be kept now; it goes on when it can be")
            hindered += 1
            wait(rest_after(hindered))
            last = time.monotonic()
            continue
        hindered = 0
        if done:
            last = time.monotonic()
        else:
            wait(_PAUSE)


def _teller() -> Callable[[], None]:
    """Tells the parent once that there is work; all else that is written to standard output from
    now on goes nowhere, so that it cannot be mistaken for that."""
    told = os.dup(sys.stdout.fileno())
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)
    left = [b"."]

    def tell() -> None:
        if left:
            os.write(told, left.pop())

    return tell


def _end_with_parent() -> None:
    """Waits for the end of standard input, which comes when the parent is gone, however it went."""
    while os.read(sys.stdin.fileno(), 1024):
        pass
    os._exit(0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
