"""The work on a print job: its master is drawn once, then stamped for each item that is left.

When a batch has ended there is one job more: all its documents in one, for a print shop.

Several workers may come to do the same job, when one is slow and its lease runs out. They
make the same bytes under the same keys, and the first to say so finishes an item. A document is
written before the database says that it is done, so that whoever reads there that it is finds it.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from typing import Any, Final

from sqlalchemy.exc import OperationalError

from piecewright.service import problems
from piecewright.service.batches.files import item_key, master_key
from piecewright.service.batches.model import OPEN, Claim, Collation
from piecewright.service.batches.packet_maker import PacketMaker, page_count
from piecewright.service.batches.print_jobs import COLLATED, packet_request
from piecewright.service.batches.storage import Storage
from piecewright.service.batches.store import MOST_ATTEMPTS
from piecewright.service.problems import Kind, faults_in_words, refused_kind
from piecewright.service.processes.watchdog import Watchdog
from piecewright.service.requests.parse import Refused
from piecewright.service.responses.problem import problem_body
from piecewright.service.settings import Settings

LEASE: Final = 30.0
"""Seconds that a print job stays a worker's without a word from it: its renewal may have to wait
for a database that is busy, or for C code that gives no other thread a turn."""

MOST_FAULTS: Final = 10
"""Faults of a packet that are listed, as every item of its job lists them."""

_REPORT: Final = 0.2
"""Seconds for which documents may be there before the database says so, to say it of several in
one transaction: stamping one takes some milliseconds."""

_MOST_AT_HAND: Final = 16
"""Masters that are kept at hand, as items that follow each other may share one."""

_log = logging.getLogger(__name__)


def _problem(kind: Kind, detail: str) -> dict[str, Any]:
    return problem_body(kind, detail, f"/problems/{kind.id}")


_ABANDONED: Final = _problem(
    problems.INTERNAL_ERROR,
    f"This could not be finished in {MOST_ATTEMPTS} attempts, and was given up; the service's log "
    "has more.",
)
_TOO_MUCH: Final = _problem(problems.TOO_MUCH, "This needs more memory than one packet is given.")
_UNFORESEEN: Final = _problem(
    problems.INTERNAL_ERROR,
    "The service met an error of its own. Nothing is wrong with how you asked.",
)
_APART: Final = "The ZIP has them all."
_NOT_COLLATED: Final = _problem(
    problems.UNAVAILABLE,
    f"The PDFs could not be put into one; the service's log says why. {_APART}",
)
_TOO_MUCH_IN_ONE: Final = _problem(
    problems.TOO_MUCH, f"All PDFs in one need more memory than there is for it. {_APART}"
)


def abandoned(job: int) -> dict[str, Any]:
    """The problem of a print job that has stopped several workers."""
    return _NOT_COLLATED if job == COLLATED else _ABANDONED


class StorageUnavailable(Exception):
    """A document cannot be kept now, or the database cannot be written: the disk may be full.

    Nothing is wrong with the print job, which is given back. Whoever works should wait a while.
    """


def run_next_job(
    worker: str,
    storage: Storage,
    packet_maker: PacketMaker,
    settings: Settings,
    lease: float = LEASE,
    claimed: Callable[[], object] = lambda: None,
) -> bool:
    """Does the next print job, if there is one.

    Args:
        worker: the worker's name, unlike any other's.
        lease: seconds that the job stays the worker's without a word from it.
        claimed: called when there is one, before it is done.

    Returns:
        Whether there was one.

    Raises:
        StorageUnavailable: it could not be kept.
    """
    store = storage.store
    claim = store.claim(worker, lease, abandoned)
    if claim is None:
        return False
    claimed()
    watchdog = Watchdog(
        lambda: store.renew(claim, lease),
        lambda number: store.fail(claim, _too_long(claim, settings), number),
        interval=lease / 3,  # so that two renewals may fail before it is lost
        deadline=settings.batch_deadline,
    )
    try:
        with watchdog:
            run = collate if claim.job == COLLATED else print_copies
            run(claim, storage, packet_maker, settings, watchdog)
    except (_NotStored, OperationalError) as error:
        # No attempt of the job's: a disk that is full for an hour must not fail it.
        store.give_back(worker)
        raise StorageUnavailable from error
    except Exception:
        store.release(worker)
        raise
    return True


class _NotStored(Exception):
    """A document that is wanted could not be written."""


def print_copies(
    claim: Claim,
    storage: Storage,
    packet_maker: PacketMaker,
    settings: Settings,
    watchdog: Watchdog,
) -> None:
    """Does what is left of a print job, and removes its master if it is of no use any more."""
    if storage.queries.has_room(claim):
        _draw(claim, storage, packet_maker, settings, watchdog)
    else:
        storage.store.fail(claim, _no_room(settings))
    if not storage.queries.needs_master(claim):
        storage.files.remove(master_key(claim.batch, claim.job))


def _draw(
    claim: Claim,
    storage: Storage,
    packet_maker: PacketMaker,
    settings: Settings,
    watchdog: Watchdog,
) -> None:
    store = storage.store
    try:
        with watchdog.step(None):
            packet = packet_request(claim.packet, claim.whole, claim.defaults)
            master = packet_maker.draw(packet, settings)
            pages = page_count(master)
    except Refused as refused:
        store.fail(claim, _refusal(refused))
        return
    except MemoryError:
        store.fail(claim, _TOO_MUCH)
        return
    except Exception:
        _log.exception("the master of print job %d of a batch failed", claim.job)
        store.fail(claim, _UNFORESEEN)
        return
    # Kept for all in one, where copies of one master share all that they have in common.
    key = master_key(claim.batch, claim.job)
    if not _is_stored(claim, claim.left[0][0], key, master, storage):
        return
    unreported: dict[int, int] = {}
    reported = time.monotonic()
    no_room = _no_room(settings)
    for number, name in claim.left:
        try:
            with watchdog.step(number):
                document = packet_maker.stamp(master, name)
        except Exception:
            # One name that cannot be stamped says nothing of the others.
            _log.exception("item %d of a batch failed", number)
            store.fail(claim, _UNFORESEEN, number)
            continue
        if not _is_stored(claim, number, item_key(claim.batch, number), document, storage):
            return
        unreported[number] = len(document)
        if time.monotonic() - reported > _REPORT:
            if not _report(claim, unreported, pages, no_room, storage):
                return
            unreported, reported = {}, time.monotonic()
    if unreported:
        _report(claim, unreported, pages, no_room, storage)


def collate(
    claim: Claim,
    storage: Storage,
    packet_maker: PacketMaker,
    settings: Settings,
    watchdog: Watchdog,
) -> None:
    """Puts all documents of a batch that are done into one, in order.

    Raises:
        OSError: a master cannot be read.
    """
    store, files = storage.store, storage.files
    collation = storage.queries.collation(claim.batch)
    if collation is None:
        return  # the batch was removed
    no_room = _no_room(settings, _APART)
    if not storage.queries.has_room(claim):
        store.fail(claim, no_room)
        files.remove_working(claim.batch)
        return
    try:
        with watchdog.step(COLLATED):
            copies = _copies(claim.batch, collation, storage)
            document = packet_maker.collate(copies, collation.title or "Batch")
    except MemoryError:
        store.fail(claim, _TOO_MUCH_IN_ONE)
    except OSError:
        if _is_open(claim, COLLATED, storage):
            raise
        # The batch was removed, and its masters with it, or another was faster.
    except Exception:
        _log.exception("the documents of a batch could not be put together")
        store.fail(claim, _NOT_COLLATED)
    else:
        key = item_key(claim.batch, COLLATED)
        if _is_stored(claim, COLLATED, key, document, storage):
            _report(claim, {COLLATED: len(document)}, collation.pages, no_room, storage)
    files.remove_working(claim.batch)


def _copies(batch: str, collation: Collation, storage: Storage) -> Iterator[tuple[str, bytes]]:
    @lru_cache(maxsize=_MOST_AT_HAND)
    def master(job: int) -> bytes:
        return storage.files.read(master_key(batch, job))

    return ((name, master(job)) for name, job in collation.copies)


def _report(
    claim: Claim,
    sizes: Mapping[int, int],
    pages: int,
    no_room: Mapping[str, Any],
    storage: Storage,
) -> bool:
    """Says that documents are in their places; whether the rest of the job is wanted still.

    Documents that turn out not to be wanted are removed, for whoever removed the batch or
    cancelled it may have come by before they were written.
    """
    goes_on = True
    for number in sorted({*sizes} - storage.store.finish(claim, sizes, pages, no_room)):
        state = storage.queries.state_of(claim, number)
        if state is None:
            storage.files.remove_all(claim.batch)
            return False
        if state != "done":
            storage.files.remove(item_key(claim.batch, number))
        # Done by another worker, or failed for want of room, which there may be again for the
        # next: the rest is worth doing. Cancelled: nothing of it is wanted.
        goes_on = goes_on and state in ("done", "failed")
    return goes_on


def _is_stored(claim: Claim, number: int, key: str, document: bytes, storage: Storage) -> bool:
    """Stores a document, if it is wanted still; whether it was.

    Raises:
        _NotStored: it is wanted, and cannot be written.
    """
    try:
        storage.files.write(key, document)
    except OSError as error:
        if _is_open(claim, number, storage):
            raise _NotStored from error
        return False  # the batch was removed, and its folder with it, or another was faster
    return True


def _is_open(claim: Claim, number: int, storage: Storage) -> bool:
    return storage.queries.state_of(claim, number) in OPEN


def _refusal(refused: Refused) -> dict[str, Any]:
    kind = refused_kind(refused.faults)
    message = faults_in_words(refused.faults)
    if len(refused.faults) > MOST_FAULTS:
        message = (
            f"There are {len(refused.faults)} faults, of which the first {MOST_FAULTS} are told; "
            "send the packet to /v1/packet to be told of all."
        )
    listed = refused.faults[:MOST_FAULTS]
    return problem_body(kind, message, f"/problems/{kind.id}", listed, refused.unit)


def _too_long(claim: Claim, settings: Settings) -> dict[str, Any]:
    seconds = settings.batch_deadline
    stopped = f"was stopped after {seconds} second{'' if seconds == 1 else 's'}."
    if claim.job == COLLATED:
        return _problem(problems.TOO_LONG, f"Putting all PDFs into one {stopped} {_APART}")
    return _problem(problems.TOO_LONG, f"Drawing this {stopped}")


def _no_room(settings: Settings, besides: str = "") -> dict[str, Any]:
    message = (
        f"The documents kept for one user may take {settings.keep_bytes:,} bytes, and do already. "
        f"{besides or 'DELETE batches that you need no longer, and ask for this again.'}"
    )
    return _problem(problems.NO_ROOM, message)
