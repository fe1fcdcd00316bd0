"""A worker of batches as a process: ``python -m piecewright.service.batches.worker NAME HANDLE``.

It does one print job after another, ends when there has been none for a while, and ends at once
when the service does (``processes.parent``). The first time that it has work it sends
its parent word.
"""

from __future__ import annotations

import logging
import os
import sys
import time
from collections.abc import Callable, Sequence
from typing import Final

from sqlalchemy.exc import OperationalError

from piecewright.service.batches.backoff import Backoff
from piecewright.service.batches.packet_maker import PacketMaker, Packets
from piecewright.service.batches.storage import Storage, open_storage
from piecewright.service.batches.work import StorageUnavailable, run_next_job
from piecewright.service.monitoring.logs import write_lines
from piecewright.service.processes.memory import limit_memory
from piecewright.service.processes.parent import Parent
from piecewright.service.settings import Settings

_PAUSE: Final = 0.1
"""Seconds between looks for work: little beside the drawing of a packet."""

_NICENESS: Final = 5
"""How much a batch gives way to those who wait for an answer: with 5 they get three times the
processor where both want it (each step is a factor of 1.25), and it goes on all the same."""

_IDLE: Final = 20.0
"""Seconds without work, after which the process ends to give its memory back."""

_log = logging.getLogger(__name__)


def main(arguments: Sequence[str], packet_maker: PacketMaker | None = None) -> int:
    """Works with the environment's settings.

    Args:
        arguments: the worker's name, and the handle of the connection to its parent.
        packet_maker: how documents are made.
    """
    name, handle = arguments
    os.nice(_NICENESS)
    parent = Parent(handle)
    settings = Settings.from_environment()
    write_lines(settings.log)
    limit_memory(settings.desk_memory)
    work_until_idle(
        name, open_storage(settings), packet_maker or Packets(), settings, _notify_once(parent)
    )
    return 0


def work_until_idle(
    name: str,
    storage: Storage,
    packet_maker: PacketMaker,
    settings: Settings,
    at_work: Callable[[], object] = lambda: None,
    *,
    idle: float = _IDLE,
    wait: Callable[[float], None] = time.sleep,
) -> None:
    """Does one print job after another until there has been none for so many seconds.

    Args:
        at_work: called whenever there is a job to do.
    """
    backoff = Backoff()
    last = time.monotonic()
    # A worker that cannot store what it makes is not idle: it may hold a job still.
    while backoff.failures or time.monotonic() - last < idle:
        try:
            if backoff.failures:
                storage.store.give_back(name)  # if that could not be written before
            done = run_next_job(name, storage, packet_maker, settings, claimed=at_work)
        except (StorageUnavailable, OperationalError):
            if not backoff.failures:  # once, however often it is tried
                _log.exception("a batch cannot be kept now; it goes on when it can be")
            backoff.fail()
            wait(backoff.delay)
            last = time.monotonic()
            continue
        backoff.succeed()
        if done:
            last = time.monotonic()
        else:
            wait(_PAUSE)


def _notify_once(parent: Parent) -> Callable[[], None]:
    """Sends the parent word that there is work, when it is called for the first time."""
    left = [True]

    def notify() -> None:
        if left:
            parent.send(left.pop())

    return notify


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
