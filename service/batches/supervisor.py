"""The service's own pool of worker processes.

Every process of the service that has to do with batches tries for the lock of the data
folder; the one that holds it runs the workers for all. The system gives the lock back when
its holder dies, and another takes over.
"""

from __future__ import annotations

import fcntl
import logging
import math
import os
import secrets
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from threading import Event, Lock, Thread
from typing import IO, Final

from piecewright.service.batches.backoff import LONGEST_DELAY, Backoff
from piecewright.service.batches.storage import Storage, make_data_folder, open_storage
from piecewright.service.batches.tables import WrongVersion
from piecewright.service.processes.child import Child, DeadlineExceeded
from piecewright.service.settings import Settings

COMMAND: Final = (sys.executable, "-m", "piecewright.service.batches.worker")

_PAUSE: Final = 0.1
"""Seconds between looks at the workers while there is work: one that has died is replaced soon."""

_IDLE: Final = 1.0
"""Seconds between looks while there is none: ``wake`` cuts it short, but for work that another
process of the service was asked for."""

_SWEEP: Final = 30.0
"""Seconds between removals of what nobody needs: they are kept for hours, and nobody waits."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class _Worker:
    name: str
    process: Child


class Supervisor:
    """Runs worker processes from a thread, if no other process does.

    Args:
        command: starts a worker, given its name and the handle of its connection as further
            arguments. It sends a message when it has work for the first time.
    """

    def __init__(self, settings: Settings, command: Sequence[str] = COMMAND) -> None:
        self._settings, self._command = settings, tuple(command)
        self._environment = {**os.environ, **settings.as_environment()}
        self._starting, self._woken, self._stopped = Lock(), Event(), Event()
        self._thread: Thread | None = None
        self._process = 0
        self._lock_file: IO[str] | None = None
        self._pool = ""
        self._workers: list[_Worker] = []
        self._backoff = Backoff()
        self._not_before = 0.0

    def wake(self) -> None:
        """Sees to it that somebody works, now that there may be something to do."""
        with self._starting:
            # A thread does not live on in a process that was forked off.
            if self._thread is None or self._process != os.getpid():
                self._process = os.getpid()
                self._thread = Thread(target=self._run_aside, name="batches", daemon=True)
                self._thread.start()
        self._woken.set()

    def end(self) -> None:
        """Lets ``run`` end, soon."""
        self._stopped.set()
        self._woken.set()

    def stop(self) -> None:
        """Ends the workers, and the thread."""
        self.end()
        if self._thread is not None:
            self._thread.join()

    def run(self) -> None:
        """Runs the workers until ``stop``; waits for the lock as long as another has it.

        Raises:
            WrongVersion: the database is another version's.
        """
        swept = -math.inf
        try:
            # Polled, as nobody could say so: the lock is free when its holder dies, work
            # may come by another process of the service, and a worker ends without a word.
            while not self._stopped.is_set():
                pause = _IDLE
                try:
                    if self._has_lock():
                        storage = open_storage(self._settings)
                        if time.monotonic() - swept > _SWEEP:
                            _sweep(storage)
                            swept = time.monotonic()
                        if self._look_after(storage):
                            pause = _PAUSE
                except WrongVersion:
                    raise
                except Exception:
                    # The database or the files may be away; the workers go on without this.
                    _log.exception("the batches' workers could not be looked after")
                    pause = LONGEST_DELAY
                self._woken.wait(pause)
                self._woken.clear()
        finally:
            self._end_workers()

    def _run_aside(self) -> None:
        while not self._stopped.is_set():
            try:
                self.run()
            except WrongVersion:
                # Requests for batches are answered so, and so is who asks for the service's health.
                _log.exception("no batches are worked on")
                self._stopped.wait(LONGEST_DELAY)

    @property
    def failures(self) -> int:
        """How many workers have ended one after another before they had any work."""
        return self._backoff.failures

    @property
    def processes(self) -> list[int]:
        """Ids of the worker processes that run."""
        return [worker.process.pid for worker in self._workers if worker.process.is_alive]

    # --- the lock ------------------------------------------------------------------------------

    def _has_lock(self) -> bool:
        if self._lock_file is not None:
            return True
        file = (make_data_folder(self._settings) / "workers.lock").open("a+", encoding="ascii")
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            file.close()
            return False
        try:
            pool = _pool_of(file)
            # Whoever had these jobs worked for a holder that is gone, and goes with it.
            given_back = open_storage(self._settings).store.release(pool)
        except BaseException:
            # The database may be away. The lock counts as taken only once the jobs are released:
            # so this is tried again, here or by another process.
            file.close()
            raise
        self._lock_file, self._pool = file, pool
        if given_back:
            _log.warning("%d print jobs of a pool that is gone are taken up again", given_back)
        return True

    # --- workers -------------------------------------------------------------------------------

    def _look_after(self, storage: Storage) -> bool:
        """Replaces workers that have died, and starts those that are needed; whether any runs."""
        for worker in list(self._workers):  # a copy, as it is taken from
            code = worker.process.exit_code
            if code is not None:
                self._workers.remove(worker)
                self._reap(worker, code, storage)
        wanted = min(self._most(), storage.queries.unfinished())
        while len(self._workers) < wanted and time.monotonic() >= self._not_before:
            self._start_worker()
        return bool(self._workers) or wanted > 0

    def _most(self) -> int:
        return self._settings.batch_processes or len(os.sched_getaffinity(0))

    def _reap(self, worker: _Worker, code: int, storage: Storage) -> None:
        had_work = _had_work(worker)
        worker.process.reap()
        given_back = storage.store.release(worker.name)
        if code == 0:
            self._backoff.succeed()
            return
        # One that dies at work is replaced at once; workers that die at their start would only
        # keep the machine busy.
        if had_work:
            self._backoff.succeed()
        else:
            self._backoff.fail()
        self._not_before = time.monotonic() + self._backoff.delay
        _log.warning("a worker ended with %d; %d print jobs go to others", code, given_back)

    def _start_worker(self) -> None:
        name = f"{self._pool}/{secrets.token_hex(8)}"
        process = Child([*self._command, name], self._environment)
        self._workers.append(_Worker(name, process))

    def _end_workers(self) -> None:
        # All are asked before any is waited for, so that they end side by side.
        for worker in self._workers:
            worker.process.terminate()
        for worker in self._workers:
            worker.process.reap()
        if self._workers:
            released = open_storage(self._settings).store.release(self._pool)
            _log.info("the workers are ended; %d print jobs wait for the next", released)
        self._workers.clear()
        if self._lock_file is not None:
            self._lock_file.close()
            self._lock_file = None


def _sweep(storage: Storage) -> None:
    try:
        storage.sweep()
    except Exception:
        # The files may be away; the workers are to be looked after all the same.
        _log.exception("the sweep failed; the next one may not")


def _had_work(worker: _Worker) -> bool:
    """Whether a worker that has ended had sent word that it had work."""
    try:
        worker.process.receive(0)
    except (DeadlineExceeded, EOFError, OSError):
        return False
    return True


def _pool_of(lock_file: IO[str]) -> str:
    """The name of a data folder's pool, which it keeps when the service is started anew."""
    lock_file.seek(0)
    name = lock_file.read().strip()
    if not name:
        name = secrets.token_hex(8)
        lock_file.write(name)
        lock_file.flush()
    return name
