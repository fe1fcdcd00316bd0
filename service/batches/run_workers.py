"""Workers apart from the service: ``piecewright work``."""

from __future__ import annotations

import os
import signal
from dataclasses import replace

from piecewright.service.batches.storage import refuse_wrong_version
from piecewright.service.batches.supervisor import Supervisor
from piecewright.service.monitoring.logs import write_lines
from piecewright.service.settings import Settings


def run_workers(settings: Settings, processes: int = 0) -> None:
    """Does the print jobs of batches until it is told to end (SIGTERM, or Ctrl-C).

    With a broker these are Celery's workers. Without one they are those of the data folder,
    for which the service then starts none itself.

    Args:
        processes: as many workers; those of the settings for 0.

    Raises:
        WrongVersion: the database is another version's.
    """
    refuse_wrong_version(settings)
    processes = processes or settings.batch_processes or len(os.sched_getaffinity(0))
    if settings.broker:
        from piecewright.service.batches.celery_app import (
            celery_app,  # not installed where it is not used
        )

        celery_app(settings).worker_main(
            [
                *("worker", "--pool", "prefork", "--concurrency", str(processes)),
                *("--loglevel", "WARNING", "--without-gossip", "--without-mingle"),
            ]
        )
        return
    write_lines(settings.log)
    supervisor = Supervisor(replace(settings, batch_processes=processes))
    for asked in (signal.SIGTERM, signal.SIGINT):
        signal.signal(asked, lambda *_: supervisor.end())
    supervisor.run()
