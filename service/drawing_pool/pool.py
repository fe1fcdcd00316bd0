"""Desks: processes that draw for the service, each one answer at a time.

A drawing that takes too long can only be stopped by ending its process, and one that needs
too much memory, or meets a defect of a library in C, ends its own. So none is made in the
process that clients are connected to. Desks are started when they are first needed.
"""

from __future__ import annotations

import logging
import subprocess
import sys
import time
import weakref
from collections.abc import Iterable, Sequence
from multiprocessing import Pipe
from threading import Condition, Thread
from typing import Final

from flask import g, has_app_context

from piecewright.service.drawing_pool.tasks import Failed, Order, Outcome, OutOfMemory, Wrong
from piecewright.service.monitoring.metrics import DESKS_ENDED, REFUSED, WAITING
from piecewright.service.problems import TOO_LONG, TOO_MUCH, UNAVAILABLE, Problem
from piecewright.service.responses.answer import Answer
from piecewright.service.settings import Settings

COMMAND: Final = (sys.executable, "-m", "piecewright.service.drawing_pool.process")

_START: Final = 60.0
"""Seconds within which a desk has drawn its trial document."""

_RETRY_AFTER: Final = 5
"""Seconds after which a client that found every desk taken may ask again."""

_LOOK: Final = 0.1
"""Seconds between looks for a desk that is about to stand, by those whose time is over."""

_log = logging.getLogger(__name__)


class WorkFailed(Exception):
    """The service met an error of its own at a desk; the message is the traceback there."""


class _Late(Exception):
    """The time is over."""


class _Desk:
    """One process, by the connection to it."""

    def __init__(self, command: Sequence[str], settings: Settings) -> None:
        self._connection, theirs = Pipe()
        with theirs:
            handle = theirs.fileno()
            self._process = subprocess.Popen(
                [*command, str(handle)],
                pass_fds=(handle,),
                stdin=subprocess.DEVNULL,
                start_new_session=True,  # what a terminal sends is for the service
            )
        self._connection.send(settings)
        self.is_ready = False

    def begin(self) -> None:
        """Waits until it can work.

        Raises:
            WorkFailed: it cannot draw.
            EOFError, OSError: it has ended.
            _Late: it has not come up.
        """
        outcome = self._outcome(_START)
        if isinstance(outcome, Failed):
            raise WorkFailed(outcome.told)
        self.is_ready = True

    def do(self, order: Order, seconds: float) -> Outcome:
        """What comes of an order.

        Raises:
            EOFError, OSError: the process has ended.
            _Late: it is not done in time.
        """
        self._connection.send(order)
        return self._outcome(seconds)

    def _outcome(self, seconds: float) -> Outcome:
        if not self._connection.poll(seconds):
            raise _Late
        outcome: Outcome = self._connection.recv()
        return outcome

    @property
    def is_alive(self) -> bool:
        return self._process.poll() is None

    @property
    def process(self) -> int:
        """The process's id."""
        return self._process.pid

    def end(self) -> int:
        """Ends the process, whatever it does, and gives its exit code."""
        self._process.kill()
        self._connection.close()
        return self._process.wait()


class Desks:
    """The desks of one process of the service.

    Args:
        command: starts a desk, given the handle of its connection as one more argument.
    """

    def __init__(self, settings: Settings, command: Sequence[str] = COMMAND) -> None:
        self._settings, self._command = settings, tuple(command)
        self._changed = Condition()
        self._free: list[_Desk] = []
        self._taken = 0  # places at which somebody works, or a desk is about to stand
        self._waiting = 0
        self._refilled = 0  # places at which a desk is about to stand for one that was ended
        self._all: set[_Desk] = set()
        # Called when this is no longer used, or at the end of the program.
        self.end = weakref.finalize(self, _end_all, self._all)

    def do(self, order: Order) -> Answer | None:
        """Has an order done.

        Raises:
            Refused, NotJson, NoSuchSheet, NoSuchBlock: as the work by itself.
            Problem: all desks are taken, or it takes too long or too much memory.
            WorkFailed: the service met an error of its own.
        """
        desk = self._take()
        try:
            outcome = desk.do(order, self._settings.deadline)
        except _Late:
            self._replace(desk, "time")
            seconds = self._settings.deadline
            message = f"This was stopped after {seconds} second{'' if seconds == 1 else 's'}."
            raise Problem(TOO_LONG, message) from None
        except (EOFError, OSError):
            code = self._replace(desk, "itself")
            _log.error("request %s ended its desk, which left with %d", _request_id(), code)
            raise _too_much() from None
        except BaseException:
            self._replace(desk, "broken off")
            raise
        if isinstance(outcome, OutOfMemory):
            self._replace(desk, "memory")
            _log.warning("request %s needs more memory than a desk has", _request_id())
            raise _too_much()
        self._give_back(desk)
        if isinstance(outcome, Wrong):
            raise outcome.error()
        if isinstance(outcome, Failed):
            raise WorkFailed(outcome.told)
        return outcome.answer

    def prove_ready(self) -> None:
        """Sees to it that there is a desk which has drawn its trial document.

        Raises:
            Problem: there is none, and none can be started.
        """
        if not any(desk.is_ready and desk.is_alive for desk in tuple(self._all)):
            self._give_back(self._take())

    @property
    def processes(self) -> list[int]:
        """Ids of the desks' processes."""
        return [desk.process for desk in tuple(self._all)]

    # --- taking turns --------------------------------------------------------------------------

    def _take(self) -> _Desk:
        """A desk that is free, as soon as there is one."""
        with self._changed:
            if not self._has_place():
                self._wait()
            self._taken += 1
            desk = self._free.pop() if self._free else None
        try:
            if desk is not None and not desk.is_alive:
                self._end(desk)
                desk = None
            return desk or self._start()
        except BaseException:
            self._give_back(None)
            raise

    def _wait(self) -> None:
        if self._waiting >= self._settings.waiting:
            raise _busy()
        self._waiting += 1
        WAITING.inc()
        end = time.monotonic() + self._settings.deadline
        try:
            while not self._has_place():
                left = end - time.monotonic()
                if left <= 0 and not self._refilled:
                    raise _busy()
                self._changed.wait(max(left, _LOOK))
        finally:
            self._waiting -= 1
            WAITING.dec()

    def _has_place(self) -> bool:
        return self._taken < self._settings.desks

    def _give_back(self, desk: _Desk | None) -> None:
        """Leaves a place, with its desk if there is one."""
        with self._changed:
            self._taken -= 1
            if desk is not None:
                self._free.append(desk)
            self._changed.notify()

    # --- starting and ending -------------------------------------------------------------------

    def _start(self) -> _Desk:
        try:
            desk = _Desk(self._command, self._settings)
            self._all.add(desk)
            try:
                desk.begin()
            except BaseException:
                self._end(desk)
                raise
        except (WorkFailed, EOFError, OSError, _Late) as error:
            _log.exception("a desk could not be started")
            raise Problem(UNAVAILABLE, "A trial document could not be drawn.") from error
        return desk

    def _end(self, desk: _Desk) -> int:
        self._all.discard(desk)
        return desk.end()

    def _replace(self, desk: _Desk, why: str) -> int:
        """Ends a desk, and has another put in its place; gives the exit code of the old one."""
        DESKS_ENDED.labels(why).inc()
        code = self._end(desk)
        with self._changed:
            self._refilled += 1
        Thread(target=self._refill, name="desk", daemon=True).start()
        return code

    def _refill(self) -> None:
        desk = None
        try:
            desk = self._start()
        except Problem:
            pass  # it is logged, and told to the next client, for whom it is tried again
        finally:
            with self._changed:
                self._refilled -= 1
                self._give_back(desk)


def _end_all(desks: Iterable[_Desk]) -> None:
    for desk in tuple(desks):
        desk.end()


def _busy() -> Problem:
    REFUSED.inc()
    message = "Every desk is taken, and as many requests wait as may."
    return Problem(UNAVAILABLE, message, _RETRY_AFTER)


def _too_much() -> Problem:
    return Problem(TOO_MUCH, "The process that drew this had to end before it was done.")


def _request_id() -> str:
    return str(g.get("request_id", "-")) if has_app_context() else "-"
