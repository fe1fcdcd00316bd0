"""A child process as its parent has it: started, spoken to, ended and reaped.

Both speak through one connection, a pair of sockets, whose messages are pickled objects. The
connection also binds the child to its parent: the system closes the parent's end when the parent
is gone, however it went, and ``parent.Parent`` in the child takes that for the end.
"""

from __future__ import annotations

import subprocess
from collections.abc import Mapping, Sequence
from multiprocessing import Pipe
from threading import Lock
from typing import Any


class DeadlineExceeded(Exception):
    """A child has not answered in time."""


class Child:
    """A process that runs a command, bound to this one.

    Args:
        command: what runs; the handle of the child's end of the connection, a number, is put
            after its arguments.
        environment: of the child; this process's own if not given.

    Raises:
        OSError: the command cannot be run.
    """

    def __init__(
        self, command: Sequence[str], environment: Mapping[str, str] | None = None
    ) -> None:
        self._connection, theirs = Pipe()
        # The end of the service reaps a child that another thread still listens to, and which that
        # thread reaps too.  A handle may be closed once only, and not while it is read: its number
        # may by then be another's.
        self._in_use = Lock()
        # Only the child may hold its end: a second holder would keep its death from being seen.
        with theirs:
            handle = theirs.fileno()
            self._process = subprocess.Popen(
                [*command, str(handle)],
                pass_fds=(handle,),
                stdin=subprocess.DEVNULL,
                # A session of its own: Ctrl-C in a terminal is for the service, which ends its
                # children in its own order.
                start_new_session=True,
                env=environment,
            )

    @property
    def pid(self) -> int:
        """The id of the process."""
        return self._process.pid

    @property
    def exit_code(self) -> int | None:
        """What the process has ended with, a negative signal if by one; None while it runs."""
        return self._process.poll()

    @property
    def is_alive(self) -> bool:
        """Whether the process runs."""
        return self.exit_code is None

    def send(self, message: Any) -> None:
        """Sends the child a message.

        Raises:
            OSError: the child has ended.
        """
        with self._in_use:
            self._connection.send(message)

    def receive(self, seconds: float) -> Any:
        """The child's next message.

        Args:
            seconds: to wait for its start; once it has begun to come it is read to its end,
                however long that takes.

        Raises:
            DeadlineExceeded: it has not begun to come by then.
            EOFError, OSError: the child has ended, and none is left.
        """
        with self._in_use:
            if not self._connection.poll(seconds):
                raise DeadlineExceeded
            return self._connection.recv()

    def terminate(self) -> None:
        """Asks the process to end (SIGTERM); to be reaped then."""
        self._process.terminate()

    def kill(self) -> int:
        """Ends the process at once, whatever it does, and reaps it; gives its exit code."""
        self._process.kill()
        return self.reap()

    def reap(self) -> int:
        """Waits for the end of the process, and gives its exit code; more than once if need be."""
        code = self._process.wait()
        # Whoever listened to it is told of its end, so that this does not wait.
        with self._in_use:
            self._connection.close()
        return code
