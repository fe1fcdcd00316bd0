"""A worker process of the service's own: ``python -m service.batches.worker NAME``.

It does one lot after another, ends when there has been none for a while, and ends at once
when the service does, which it learns from its standard input.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from threading import Thread
from typing import Final

from service.batches.drawing import Drawing, Packets
from service.batches.parts import parts
from service.batches.work import work_on_next
from service.logs import write_lines
from service.memory import limit_memory
from service.settings import Settings

_PAUSE: Final = 0.1
"""Seconds between looks for work."""

_NICENESS: Final = 5
"""How much a batch gives way to those who wait for an answer."""

_IDLE: Final = 20.0
"""Seconds without work, after which the process ends to give its memory back."""


def main(arguments: Sequence[str], drawing: Drawing | None = None) -> int:
    """Works under the name that is the one argument, with the environment's settings."""
    (name,) = arguments
    os.nice(_NICENESS)
    Thread(target=_end_with_parent, name="parent", daemon=True).start()
    settings = Settings.from_environment()
    write_lines(settings.log)
    limit_memory(settings.desk_memory)
    opened, drawing = parts(settings), drawing or Packets()
    last = time.monotonic()
    while time.monotonic() - last < _IDLE:
        if work_on_next(name, opened.store, opened.files, drawing, settings):
            last = time.monotonic()
        else:
            time.sleep(_PAUSE)
    return 0


def _end_with_parent() -> None:
    """Waits for the end of standard input, which comes when the parent is gone, however it went."""
    while os.read(sys.stdin.fileno(), 1024):
        pass
    os._exit(0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
