"""A worker of the pool, as a process: ``python -m piecewright.service.drawing_pool.worker HANDLE``.

It runs one task after another, and ends at once when the service does (``processes.parent``).
"""

from __future__ import annotations

import signal
import sys
import traceback
from collections.abc import Callable, Mapping, Sequence

from piecewright.service.drawing_pool.tasks import HANDLERS, Done, Failed, Handler, run_task
from piecewright.service.processes.memory import limit_memory
from piecewright.service.processes.parent import Parent
from piecewright.service.responses.health import prove_ready
from piecewright.service.settings import Settings


def main(
    arguments: Sequence[str],
    handlers: Mapping[str, Handler] = HANDLERS,
    prove: Callable[[], None] = prove_ready,
) -> int:
    """Works until the connection ends.

    Args:
        arguments: the handle of the connection alone; the first that comes by it are the
            settings, and the first that goes is whether anything can be drawn here.
        handlers: of the tasks that may come.
        prove: draws the trial document.
    """
    (handle,) = arguments
    # Whoever tells all processes to end means the service, which first ends what it has begun.
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    parent = Parent(handle)
    settings: Settings = parent.receive()
    limit_memory(settings.desk_memory)
    try:
        parent.send(_readiness(prove))
        while True:
            parent.send(run_task(parent.receive(), settings, handlers))
    except ConnectionError:  # the service is gone, which this thread has found out first
        return 0


def _readiness(prove: Callable[[], None]) -> Done | Failed:
    """Whether the trial document can be drawn, which also warms up whatever drawing needs."""
    try:
        prove()
    except Exception:
        return Failed(traceback.format_exc())
    return Done(None)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
