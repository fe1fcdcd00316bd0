"""The work on a lot: its master is drawn once, then stamped for each item that is left.

When a batch has ended there is one lot more: all its documents in one, for a print shop.

Several workers may come to do the same lot, when one is slow and its lease runs out. They
make the same bytes under the same keys, and the first to say so finishes an item.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from typing import Any, Final

from sqlalchemy.exc import OperationalError

from piecewright.service import problems
from piecewright.service.batches.drawing import Drawing, page_count
from piecewright.service.batches.files import Files, item_key, master_key
from piecewright.service.batches.lots import COLLATED, packet_request
from piecewright.service.batches.store import MOST_ATTEMPTS, Claim, Store, ToCollate
from piecewright.service.batches.watch import LEASE, Watch
from piecewright.service.problems import Kind, faults_in_words, refused_kind
from piecewright.service.requests.parse import Refused
from piecewright.service.responses.problem import problem_body
from piecewright.service.settings import Settings

MOST_TOLD: Final = 10
"""Faults of a packet; every item of its lot tells of them."""

_TELL: Final = 0.2
"""Seconds for which documents may be there before the database says so, to say it of several."""

_MOST_AT_HAND: Final = 16
"""Masters that are kept at hand, as items that follow each other may share one."""

_log = logging.getLogger(__name__)


def _told(kind: Kind, detail: str) -> dict[str, Any]:
    return problem_body(kind, detail, f"/problems/{kind.id}")


_GIVEN_UP: Final = _told(
    problems.INTERNAL_ERROR,
    f"This could not be finished in {MOST_ATTEMPTS} attempts, and was given up; the service's log "
    "has more.",
)
_TOO_MUCH: Final = _told(problems.TOO_MUCH, "This needs more memory than one packet is given.")
_UNFORESEEN: Final = _told(
    problems.INTERNAL_ERROR,
    "The service met an error of its own. Nothing is wrong with how you asked.",
)
_APART: Final = "The ZIP has them all."
_NOT_COLLATED: Final = _told(
    problems.UNAVAILABLE,
    f"The PDFs could not be put into one; the service's log says why. {_APART}",
)
_TOO_MUCH_IN_ONE: Final = _told(
    problems.TOO_MUCH, f"All PDFs in one need more memory than there is for it. {_APART}"
)


def given_up(lot: int) -> dict[str, Any]:
    """The problem of a lot that has stopped several workers."""
    return _NOT_COLLATED if lot == COLLATED else _GIVEN_UP


class Hindered(Exception):
    """A document cannot be kept now, or the database cannot be written: the disk may be full.

    Nothing is wrong with the lot, which is given back. Whoever works should wait a while.
    """


def work_on_next(
    worker: str,
    store: Store,
    files: Files,
    drawing: Drawing,
    settings: Settings,
    lease: float = LEASE,
    claimed: Callable[[], object] = lambda: None,
) -> bool:
    """Does the next lot, if there is one.

    Args:
        worker: the worker's name, unlike any other's.
        lease: seconds that the lot stays the worker's without a word from it.
        claimed: called when there is one, before it is done.

    Returns:
        Whether there was one.

    Raises:
        Hindered: it could not be kept; see ``Hindered``.
    """
    claim = store.claim(worker, lease, given_up)
    if claim is None:
        return False
    claimed()
    watch = Watch(
        lambda: store.renew(claim, lease),
        lambda number: store.fail(claim, _too_long(claim, settings), number),
        lease=lease,
        deadline=settings.batch_deadline,
    )
    try:
        with watch:
            do = put_together if claim.lot == COLLATED else work
            do(claim, store, files, drawing, settings, watch)
    except (_NotKept, OperationalError) as error:
        store.give_back(worker)
        raise Hindered from error
    except Exception:
        store.release(worker)
        raise
    return True


class _NotKept(Exception):
    """A document that is wanted could not be written."""


def work(
    claim: Claim, store: Store, files: Files, drawing: Drawing, settings: Settings, watch: Watch
) -> None:
    """Does what is left of a lot, and removes its master if it is of no use any more."""
    if store.has_room(claim):
        _draw(claim, store, files, drawing, settings, watch)
    else:
        store.fail(claim, _no_room(settings))
    if not store.needs_master(claim):
        files.remove(master_key(claim.batch, claim.lot))


def _draw(
    claim: Claim, store: Store, files: Files, drawing: Drawing, settings: Settings, watch: Watch
) -> None:
    key = master_key(claim.batch, claim.lot)
    try:
        with watch.step(None):
            packet = packet_request(claim.packet, claim.whole, claim.defaults)
            master = drawing.draw(packet, settings)
            pages = page_count(master)
    except Refused as refused:
        store.fail(claim, _refusal(refused))
        return
    except MemoryError:
        store.fail(claim, _TOO_MUCH)
        return
    except Exception:
        _log.exception("the master of lot %d of a batch failed", claim.lot)
        store.fail(claim, _UNFORESEEN)
        return
    if not _kept(claim, claim.left[0][0], key, master, store, files):
        return
    untold: dict[int, int] = {}
    told = time.monotonic()
    no_room = _no_room(settings)
    for number, name in claim.left:
        try:
            with watch.step(number):
                document = drawing.stamp(master, name)
        except Exception:
            _log.exception("item %d of a batch failed", number)
            store.fail(claim, _UNFORESEEN, number)
            continue
        if not _kept(claim, number, item_key(claim.batch, number), document, store, files):
            return
        untold[number] = len(document)
        if time.monotonic() - told > _TELL:
            if not _tell(claim, untold, pages, no_room, store, files):
                return
            untold, told = {}, time.monotonic()
    if untold:
        _tell(claim, untold, pages, no_room, store, files)


def put_together(
    claim: Claim, store: Store, files: Files, drawing: Drawing, settings: Settings, watch: Watch
) -> None:
    """Puts all documents of a batch that are done into one, in order.

    Raises:
        OSError: a master cannot be read.
    """
    asked = store.to_collate(claim.batch)
    if asked is None:
        return  # the batch was removed
    no_room = _no_room(settings, _APART)
    if not store.has_room(claim):
        store.fail(claim, no_room)
        files.remove_working(claim.batch)
        return
    try:
        with watch.step(COLLATED):
            copies = _copies(claim.batch, asked, files)
            document = drawing.collate(copies, asked.title or "Batch")
    except MemoryError:
        store.fail(claim, _TOO_MUCH_IN_ONE)
    except OSError:
        if _is_open(claim, COLLATED, store):
            raise
        # The batch was removed, and its masters with it, or another was faster.
    except Exception:
        _log.exception("the documents of a batch could not be put together")
        store.fail(claim, _NOT_COLLATED)
    else:
        if _kept(claim, COLLATED, item_key(claim.batch, COLLATED), document, store, files):
            _tell(claim, {COLLATED: len(document)}, asked.pages, no_room, store, files)
    files.remove_working(claim.batch)


def _copies(batch: str, asked: ToCollate, files: Files) -> Iterator[tuple[str, bytes]]:
    @lru_cache(maxsize=_MOST_AT_HAND)
    def master(lot: int) -> bytes:
        return files.read(master_key(batch, lot))

    return ((name, master(lot)) for name, lot in asked.copies)


def _tell(
    claim: Claim,
    sizes: Mapping[int, int],
    pages: int,
    no_room: Mapping[str, Any],
    store: Store,
    files: Files,
) -> bool:
    """Says that documents are in their places; whether the rest of the lot is wanted still."""
    goes_on = True
    for number in sorted({*sizes} - store.finish(claim, sizes, pages, no_room)):
        state = store.state_of(claim, number)
        if state is None:
            files.remove_all(claim.batch)
            return False
        if state != "done":
            files.remove(item_key(claim.batch, number))
        goes_on = goes_on and state in ("done", "failed")
    return goes_on


def _kept(claim: Claim, number: int, key: str, document: bytes, store: Store, files: Files) -> bool:
    """Keeps a document, if it is wanted still.

    Raises:
        _NotKept: it is, and cannot be written.
    """
    try:
        files.write(key, document)
    except OSError as error:
        if _is_open(claim, number, store):
            raise _NotKept from error
        return False  # the batch was removed, and its folder with it, or another was faster
    return True


def _is_open(claim: Claim, number: int, store: Store) -> bool:
    return store.state_of(claim, number) in ("queued", "running")


def _refusal(refused: Refused) -> dict[str, Any]:
    kind = refused_kind(refused.faults)
    message = faults_in_words(refused.faults)
    if len(refused.faults) > MOST_TOLD:
        message = (
            f"There are {len(refused.faults)} faults, of which the first {MOST_TOLD} are told; "
            "send the packet to /v1/packet to be told of all."
        )
    told = refused.faults[:MOST_TOLD]
    return problem_body(kind, message, f"/problems/{kind.id}", told, refused.unit)


def _too_long(claim: Claim, settings: Settings) -> dict[str, Any]:
    seconds = settings.batch_deadline
    stopped = f"was stopped after {seconds} second{'' if seconds == 1 else 's'}."
    if claim.lot == COLLATED:
        return _told(problems.TOO_LONG, f"Putting all PDFs into one {stopped} {_APART}")
    return _told(problems.TOO_LONG, f"Drawing this {stopped}")


def _no_room(settings: Settings, besides: str = "") -> dict[str, Any]:
    message = (
        f"The documents kept for one user may take {settings.keep_bytes:,} bytes, and do already. "
        f"{besides or 'DELETE batches that you need no longer, and ask for this again.'}"
    )
    return _told(problems.NO_ROOM, message)
