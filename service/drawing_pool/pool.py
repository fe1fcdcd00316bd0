"""The drawing pool: worker processes that draw for the service, each one answer at a time.

A drawing that takes too long can only be stopped by ending its process, and one that needs
too much memory, or meets a defect of a library in C, ends its own. So none is made in the
process that clients are connected to. Workers are started when they are first needed.
"""

from __future__ import annotations

import logging
import sys
import time
import weakref
from collections.abc import Iterable, Sequence
from threading import Condition, Thread
from typing import Final

from flask import g, has_app_context

from piecewright.service.drawing_pool.tasks import Failed, Outcome, OutOfMemory, Rejected, Task
from piecewright.service.monitoring.metrics import REFUSED, WAITING, WORKERS_ENDED
from piecewright.service.problems import TOO_LONG, TOO_MUCH, UNAVAILABLE, Problem
from piecewright.service.processes.child import Child, DeadlineExceeded
from piecewright.service.responses.answer import Answer
from piecewright.service.settings import Settings

COMMAND: Final = (sys.executable, "-m", "piecewright.service.drawing_pool.worker")

_START: Final = 60.0
"""Seconds within which a worker has drawn its trial document: it takes some 2 by itself, and the
machine may be starting many at once."""

_RETRY_AFTER: Final = 5
"""Seconds after which a client that found every worker busy may ask again: a drawing of the usual
kind takes less."""

_RECHECK: Final = 0.1
"""Seconds between looks for a worker that is about to be ready, by those whose time is over: little
beside its start."""

_log = logging.getLogger(__name__)


class TaskFailed(Exception):
    """The service met an error of its own in a worker; the message is the traceback there."""


class _Worker:
    """One process of the pool."""

    def __init__(self, command: Sequence[str], settings: Settings) -> None:
        self.process = Child(command)
        self.process.send(settings)
        self.is_ready = False

    def wait_until_ready(self) -> None:
        """Waits until it can work.

        Raises:
            TaskFailed: it cannot draw.
            EOFError, OSError: it has ended.
            DeadlineExceeded: it has not come up.
        """
        outcome = self.process.receive(_START)
        if isinstance(outcome, Failed):
            raise TaskFailed(outcome.traceback)
        self.is_ready = True

    def run(self, task: Task, seconds: float) -> Outcome:
        """What comes of a task.

        Raises:
            EOFError, OSError: the process has ended.
            DeadlineExceeded: it is not done in time.
        """
        self.process.send(task)
        outcome: Outcome = self.process.receive(seconds)
        return outcome


class DrawingPool:
    """The workers of one process of the service.

    There are as many places as the settings have desks. A place is held by whoever runs a task,
    or while a worker is started for it; a place that nobody holds has an idle worker, or none yet.

    Args:
        command: starts a worker, given the handle of its connection as one more argument.
    """

    def __init__(self, settings: Settings, command: Sequence[str] = COMMAND) -> None:
        self._settings, self._command = settings, tuple(command)
        self._changed = Condition()  # guards all counts below
        self._idle: list[_Worker] = []
        self._held = 0  # places at which a task is run, or a worker is started
        self._waiting = 0  # requests that wait for a place
        self._replacing = 0  # of the places that are held, those without any request
        self._all: set[_Worker] = set()
        # Called when this is no longer used, or at the end of the program.
        self.end = weakref.finalize(self, _kill_all, self._all)

    def run(self, task: Task) -> Answer | None:
        """Has a task done.

        Raises:
            Refused, NotJson, NoSuchSheet, NoSuchBlock: as its handler by itself.
            Problem: all workers are busy, or it takes too long or too much memory.
            TaskFailed: the service met an error of its own.
        """
        worker = self._acquire()
        try:
            outcome = worker.run(task, self._settings.deadline)
        except DeadlineExceeded:
            self._replace(worker, "time")
            seconds = self._settings.deadline
            message = f"This was stopped after {seconds} second{'' if seconds == 1 else 's'}."
            raise Problem(TOO_LONG, message) from None
        except (EOFError, OSError):
            code = self._replace(worker, "itself")
            _log.error("request %s ended its worker, which left with %d", _request_id(), code)
            raise _too_much() from None
        except BaseException:
            # What the worker still says to this task would be taken for an answer to the next.
            self._replace(worker, "broken off")
            raise
        if isinstance(outcome, OutOfMemory):
            # The heap of a process that has been full to the brim is not worth keeping.
            self._replace(worker, "memory")
            _log.warning("request %s needs more memory than a worker has", _request_id())
            raise _too_much()
        self._release(worker)
        if isinstance(outcome, Rejected):
            raise outcome.error()
        if isinstance(outcome, Failed):
            raise TaskFailed(outcome.traceback)
        return outcome.answer

    def prove_ready(self) -> None:
        """Sees to it that there is a worker which has drawn its trial document.

        Raises:
            Problem: there is none, and none can be started.
        """
        if not any(worker.is_ready and worker.process.is_alive for worker in tuple(self._all)):
            self._release(self._acquire())

    @property
    def processes(self) -> list[int]:
        """Ids of the workers' processes."""
        return [worker.process.pid for worker in tuple(self._all)]

    # --- taking turns --------------------------------------------------------------------------

    def _acquire(self) -> _Worker:
        """A worker that is idle, as soon as there is one; its place is held until ``_release``.

        Raises:
            Problem: too many wait, or for too long, or no worker can be started.
        """
        with self._changed:
            if not self._has_place():
                self._wait()
            self._held += 1
            worker = self._idle.pop() if self._idle else None
        # Outside the lock: to start a worker takes seconds.
        try:
            if worker is not None and not worker.process.is_alive:
                self._kill(worker)  # the system may have ended it while it was idle
                worker = None
            return worker or self._start()
        except BaseException:
            self._release(None)
            raise

    def _wait(self) -> None:
        if self._waiting >= self._settings.waiting:
            raise _busy()
        self._waiting += 1
        WAITING.inc()
        # Whoever holds the place now has to be done by then.
        end = time.monotonic() + self._settings.deadline
        try:
            while not self._has_place():
                left = end - time.monotonic()
                # A worker that is being replaced is worth waiting for: its place is nobody's yet.
                if left <= 0 and not self._replacing:
                    raise _busy()
                self._changed.wait(max(left, _RECHECK))
        finally:
            self._waiting -= 1
            WAITING.dec()

    def _has_place(self) -> bool:
        return self._held < self._settings.desks

    def _release(self, worker: _Worker | None) -> None:
        """Leaves a place, with its worker if there is one."""
        with self._changed:
            self._held -= 1
            if worker is not None:
                self._idle.append(worker)
            self._changed.notify()

    # --- starting and ending -------------------------------------------------------------------

    def _start(self) -> _Worker:
        try:
            worker = _Worker(self._command, self._settings)
            # Known before it is ready, so that the end of the service is its end too.
            self._all.add(worker)
            try:
                worker.wait_until_ready()
            except BaseException:
                self._kill(worker)
                raise
        except (TaskFailed, EOFError, OSError, DeadlineExceeded) as error:
            _log.exception("a worker could not be started")
            raise Problem(UNAVAILABLE, "A trial document could not be drawn.") from error
        return worker

    def _kill(self, worker: _Worker) -> int:
        self._all.discard(worker)
        return worker.process.kill()

    def _replace(self, worker: _Worker, why: str) -> int:
        """Kills a worker, and has another started in its place; gives the exit code of the old.

        The place stays held until the new one is ready, and the client is not made to wait for it.
        """
        WORKERS_ENDED.labels(why).inc()
        code = self._kill(worker)
        with self._changed:
            self._replacing += 1
        Thread(target=self._start_replacement, name="worker start", daemon=True).start()
        return code

    def _start_replacement(self) -> None:
        worker = None
        try:
            worker = self._start()
        except Problem:
            pass  # it is logged, and the next client is answered so, for whom it is tried again
        finally:
            with self._changed:
                self._replacing -= 1
                self._release(worker)


def _kill_all(workers: Iterable[_Worker]) -> None:
    for worker in tuple(workers):
        worker.process.kill()


def _busy() -> Problem:
    REFUSED.inc()
    message = "Every worker is busy, and as many requests wait as may."
    return Problem(UNAVAILABLE, message, _RETRY_AFTER)


def _too_much() -> Problem:
    return Problem(TOO_MUCH, "The process that drew this had to end before it was done.")


def _request_id() -> str:
    return str(g.get("request_id", "-")) if has_app_context() else "-"
