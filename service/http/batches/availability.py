"""Whether batches can be kept now: the storage for a request, or a problem in its place."""

from __future__ import annotations

import logging

from sqlalchemy.exc import SQLAlchemyError

from piecewright.service.batches.storage import Storage, is_in_use, open_storage
from piecewright.service.batches.tables import WrongVersion
from piecewright.service.problems import UNAVAILABLE, Problem
from piecewright.service.settings import Settings

_log = logging.getLogger(__name__)


def available_storage(settings: Settings) -> Storage:
    """The database and the files.

    Raises:
        Problem: they cannot be opened.
    """
    try:
        return open_storage(settings)
    except WrongVersion as error:
        _log.exception("the batches are another version's")
        message = (
            "Batches cannot be kept here: their database is that of another version of this "
            "program. Whoever runs the service finds in its log what to do."
        )
        raise Problem(UNAVAILABLE, message) from error
    except (SQLAlchemyError, OSError, ImportError, ValueError) as error:
        # ImportError and ValueError: a driver for such an address is missing, or there is none.
        _log.exception("the batches cannot be opened")
        raise unavailable() from error


def unavailable() -> Problem:
    """That the database or the files are away."""
    return Problem(UNAVAILABLE, "Batches cannot be kept here now; the service's log says why.")


def prove_ready(settings: Settings) -> None:
    """Sees to it that the batches can be opened, if there are any or a database is set for them.

    Raises:
        Problem: they cannot.
    """
    if is_in_use(settings):
        available_storage(settings)
