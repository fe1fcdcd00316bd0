"""The parent of this process, as the process has it that was started as a ``child.Child``."""

from __future__ import annotations

import os
from multiprocessing.connection import Connection
from queue import SimpleQueue
from threading import Thread
from typing import Any


class Parent:
    """The connection to the parent; once it is made, this process ends when the parent does.

    Args:
        handle: of the connection, the last argument that this process was started with.
    """

    def __init__(self, handle: str) -> None:
        self._connection = Connection(int(handle))
        self._received: SimpleQueue[Any] = SimpleQueue()
        Thread(target=self._receive, name="parent", daemon=True).start()

    def send(self, message: Any) -> None:
        """Sends the parent a message.

        Raises:
            ConnectionError: it is gone.
        """
        self._connection.send(message)

    def receive(self) -> Any:
        """The parent's next message, as soon as there is one."""
        return self._received.get()

    def _receive(self) -> None:
        # A thread of its own, so that the end is seen in the midst of work too. It ends the whole
        # process (``sys.exit`` would end the thread alone): nobody is left to take the result.
        try:
            while True:
                self._received.put(self._connection.recv())
        except (EOFError, OSError):
            os._exit(0)
