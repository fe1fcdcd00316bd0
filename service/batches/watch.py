"""Keeps a claimed lot its worker's, and ends the worker's process when a step takes too long.

Nothing in Python can stop a computation in its own process, so the process is ended, and
another takes over what is left. It is the same whoever started the process.
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

LEASE: Final = 30.0
"""Seconds that a lot stays a worker's without a word from it."""

_GRACE: Final = 10.0
"""Seconds after a deadline; then the system ends a process that had no turn to end itself."""

_log = logging.getLogger(__name__)


class Watch:
    """Watches over the work on one lot, from a thread of its own.

    Args:
        renew: makes the lease last ``lease`` seconds from now on.
        too_long: writes down that a step has taken too long, given what it works on.
        deadline: seconds for a step.
        grace: seconds after that in which the process must have had its turn to end itself.
        end: ends this process at once.
    """

    def __init__(
        self,
        renew: Callable[[], object],
        too_long: Callable[[int | None], object],
        *,
        lease: float,
        deadline: float,
        grace: float = _GRACE,
        end: Callable[[], object] = lambda: os.kill(os.getpid(), signal.SIGKILL),
    ) -> None:
        self._renew, self._too_long, self._end = renew, too_long, end
        self._lease, self._deadline, self._grace = lease, deadline, grace
        self._lock, self._over = Lock(), Event()
        self._began: float | None = None
        self._number: int | None = None
        self._thread = Thread(target=self._run, name="watch", daemon=True)

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
        """A step that must be done in time: that of an item, or of the whole lot for None."""
        with self._lock:
            self._began, self._number = time.monotonic(), number
        # Code that does not let other threads have a turn is ended by the system.
        signal.setitimer(signal.ITIMER_REAL, self._deadline + self._grace)
        try:
            yield
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)
            with self._lock:
                self._began = None

    def _run(self) -> None:
        pause = min(self._lease / 3, self._deadline / 4, 1.0)
        renewed = time.monotonic()
        while not self._over.wait(pause):
            try:
                self._end_if_late()
                if time.monotonic() - renewed > self._lease / 3:
                    self._renew()
                    renewed = time.monotonic()
            except Exception:
                # The database may come back; if not, the lease runs out and others take over.
                _log.exception("the watch over a lot could not write")

    def _end_if_late(self) -> None:
        with self._lock:
            if self._began is None or time.monotonic() - self._began < self._deadline:
                return
            try:
                self._too_long(self._number)
            finally:
                self._end()
