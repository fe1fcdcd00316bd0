"""Who does the work of batches: processes of the service's own, or Celery's."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, Protocol

from piecewright.service.batches.storage import is_in_use, open_storage
from piecewright.service.batches.supervisor import Supervisor
from piecewright.service.settings import Settings

if TYPE_CHECKING:
    from celery import Celery

_log = logging.getLogger(__name__)


class Dispatcher(Protocol):
    """Sees to it that print jobs in the database are done."""

    def begin(self, jobs: int) -> None:
        """There are so many new print jobs."""

    def attend(self) -> None:
        """There are batches; nothing may be left undone because somebody died."""


class OwnProcesses:
    """Worker processes on this machine, run by one of the service's processes."""

    def __init__(self, settings: Settings) -> None:
        self._supervisor = Supervisor(settings)

    def begin(self, jobs: int) -> None:
        self._supervisor.wake()

    def attend(self) -> None:
        self._supervisor.wake()

    def end(self) -> None:
        """Ends the workers; what they have not done is done when there are others."""
        self._supervisor.stop()


class ByCelery:
    """Celery's workers, wherever they run. They look after each other (see the sweep)."""

    def __init__(self, settings: Settings) -> None:
        from piecewright.service.batches.celery_app import (
            celery_app,  # not installed where it is not used
        )

        self._app: Celery = celery_app(settings)

    def begin(self, jobs: int) -> None:
        from piecewright.service.batches.celery_app import send_tokens

        try:
            send_tokens(self._app, jobs)
        except Exception:
            # The batch is safe in the database: the workers' sweep finds that it waits.
            _log.exception("the broker could not be told of a batch")

    def attend(self) -> None:
        pass


def choose_dispatcher(settings: Settings) -> Dispatcher:
    """The dispatcher that the settings choose; work that was left before goes on."""
    if settings.broker:
        return ByCelery(settings)
    own = OwnProcesses(settings)
    try:
        if is_in_use(settings) and not open_storage(settings).queries.is_empty():
            own.attend()
    except Exception:
        # The service can do all else; a request for a batch is answered so.
        _log.exception("the batches of before could not be opened")
    return own
