"""A desk, as a process of its own: ``python -m piecewright.service.drawing_pool.process HANDLE``.

It does one order after another, and ends at once when the service does, which it learns
from the end of the connection by which orders come.
"""

from __future__ import annotations

import os
import signal
import sys
import traceback
from collections.abc import Callable, Mapping, Sequence
from multiprocessing.connection import Connection
from queue import SimpleQueue
from threading import Thread

from piecewright.service.drawing_pool.tasks import WORKS, Done, Failed, Order, Work, carried_out
from piecewright.service.memory import limit_memory
from piecewright.service.responses.health import prove_ready
from piecewright.service.settings import Settings


def main(
    arguments: Sequence[str],
    works: Mapping[str, Work] = WORKS,
    prove: Callable[[], None] = prove_ready,
) -> int:
    """Works until the connection ends.

    Args:
        arguments: the handle of the connection alone; the first that comes by it are the
            settings, and the first that goes is whether anything can be drawn here.
        works: what can be ordered.
        prove: draws the trial document.
    """
    (handle,) = arguments
    # Whoever tells all processes to end means the service, which first ends what it has begun.
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    connection = Connection(int(handle))
    settings: Settings = connection.recv()
    limit_memory(settings.desk_memory)
    orders: SimpleQueue[Order] = SimpleQueue()
    Thread(target=_receive, args=(connection, orders), name="orders", daemon=True).start()
    try:
        connection.send(_readiness(prove))
        while True:
            connection.send(carried_out(orders.get(), settings, works))
    except ConnectionError:  # whoever ordered is gone
        return 0


def _readiness(prove: Callable[[], None]) -> Done | Failed:
    """Whether the trial document can be drawn, which also warms up whatever drawing needs."""
    try:
        prove()
    except Exception:
        return Failed(traceback.format_exc())
    return Done(None)


def _receive(connection: Connection, orders: SimpleQueue[Order]) -> None:
    """Takes orders in, so that the end of the connection is noticed in the midst of one."""
    try:
        while True:
            orders.put(connection.recv())
    except (EOFError, OSError):
        os._exit(0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
