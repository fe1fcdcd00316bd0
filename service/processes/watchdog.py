"""A watchdog: ends its own process when a step of the work in it takes too long.

Nothing in Python can stop a computation in its own process, so the process is ended, and whoever
started it, or another like it, takes over what is left. It is the same whoever that is.
"""

from __future__ import annotations

import logging
import os
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Event, Lock, Thread
from types import TracebackType
from typing import Final, Self

_GRACE: Final = 10.0
"""Seconds after a deadline; then the system ends a process that had no turn to end itself. Writing
down what was too long may have to wait for a database that is busy."""

_LONGEST_PAUSE: Final = 1.0
"""Seconds between looks at the clock, at most; deadlines are whole seconds."""

_log = logging.getLogger(__name__)


class Watchdog:
    """Watches over the work of this process, from a thread of its own, and sends heartbeats.

    Args:
        heartbeat: called again and again while the work lasts; others learn by it that the
            process lives.
        too_long: writes down that a step has taken too long, given the step's number.
        interval: seconds between heartbeats.
        deadline: seconds for a step.
        grace: seconds after that in which the process must have had its turn to end itself.
        end: ends this process at once.
    """

    def __init__(
        self,
        heartbeat: Callable[[], object],
        too_long: Callable[[int | None], object],
        *,
        interval: float,
        deadline: float,
        grace: float = _GRACE,
        end: Callable[[], object] = lambda: os.kill(os.getpid(), signal.SIGKILL),
    ) -> None:
        self._heartbeat, self._too_long, self._end = heartbeat, too_long, end
        self._interval, self._deadline, self._grace = interval, deadline, grace
        self._lock, self._over = Lock(), Event()
        self._began: float | None = None
        self._number: int | None = None
        self._thread = Thread(target=self._run, name="watchdog", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        type_: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._over.set()
        self._thread.join()

    @contextmanager
    def step(self, number: int | None) -> Iterator[None]:
        """A step that must be done in time, and the number by which ``too_long`` knows it."""
        with self._lock:
            self._began, self._number = time.monotonic(), number
        # Code that does not let other threads have a turn is ended by the system: SIGALRM, which
        # nobody handles, ends the process without any Python being run.
        signal.setitimer(signal.ITIMER_REAL, self._deadline + self._grace)
        try:
            yield
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)
            with self._lock:
                self._began = None

    def _run(self) -> None:
        # A quarter of the deadline: a step is ended at most that much too late.
        pause = min(self._interval, self._deadline / 4, _LONGEST_PAUSE)
        last = time.monotonic()
        while not self._over.wait(pause):
            try:
                self._end_if_late()
                if time.monotonic() - last > self._interval:
                    self._heartbeat()
                    last = time.monotonic()
            except Exception:
                # What it could not be written to may come back. If not, heartbeats are missing, as
                # they are from a process that has died.
                _log.exception("the watchdog could not write")

    def _end_if_late(self) -> None:
        # The lock is held to the end: a step that is done just now cannot be followed by another,
        # which would be blamed in its place.
        with self._lock:
            if self._began is None or time.monotonic() - self._began < self._deadline:
                return
            try:
                self._too_long(self._number)
            finally:
                self._end()
