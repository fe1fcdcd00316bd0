"""The addresses of batches. Each shows a client its own batches only; others are not there."""

from __future__ import annotations

import logging
import math
import re
import time
from collections.abc import Callable
from functools import partial, wraps
from hashlib import sha256
from typing import Final, TypeVar

from flask import Blueprint, Response, g, request, url_for
from sqlalchemy.exc import DBAPIError
from werkzeug.exceptions import ServiceUnavailable

from piecewright.service.batches.dispatch import Dispatcher, choose_dispatcher
from piecewright.service.batches.files import item_key
from piecewright.service.batches.model import OPEN, Batch, BatchItem, NewBatch
from piecewright.service.batches.parse import read_batch
from piecewright.service.batches.print_jobs import COLLATED, group_items
from piecewright.service.batches.quotas import QuotaExceeded
from piecewright.service.batches.schemas import BatchAnswer
from piecewright.service.batches.storage import Storage
from piecewright.service.batches.store import KeyUsed
from piecewright.service.drawing_pool.pool import DrawingPool
from piecewright.service.drawing_pool.tasks import Task
from piecewright.service.http.batches import events
from piecewright.service.http.batches.archive import document_name, in_pieces, zipped
from piecewright.service.http.batches.availability import available_storage, unavailable
from piecewright.service.http.bodies import json_response, raw_body
from piecewright.service.http.content_disposition import content_disposition
from piecewright.service.http.negotiation import negotiate, vary_by_accept
from piecewright.service.json_text import canonical, read_json
from piecewright.service.problems import (
    BAD_REQUEST,
    CONFLICT,
    NO_ROOM,
    NOT_FOUND,
    NOT_MADE,
    Problem,
)
from piecewright.service.responses.answer import JSON, PDF, SHEETS, ZIP, file_stem
from piecewright.service.responses.fields import moment
from piecewright.service.settings import MOST_ITEMS, Settings

IDEMPOTENCY_KEY: Final = "Idempotency-Key"

_KEY: Final = re.compile(r"[\x20-\x7e]{1,255}")
_ID: Final = re.compile(r"[A-Za-z0-9_-]{1,64}")
_REVISION: Final = re.compile("[0-9]{1,9}")

_SOON: Final = 2
"""Seconds after which all documents of a batch may be in one, as they are for a guild's batch."""

_View = TypeVar("_View", bound=Callable[..., Response])

_log = logging.getLogger(__name__)


def batches(
    settings: Settings,
    pool: DrawingPool,
    dispatcher: Dispatcher | None = None,
    pace: events.Pace | None = None,
) -> Blueprint:
    """The addresses of batches.

    Args:
        pool: where a group quilt is planned, to find out whether it can be.
        dispatcher: sees to it that the work is done; the one that the settings choose if not given.
        pace: of streams of events.
    """
    api = Blueprint("batches", __name__)
    dispatcher, pace = dispatcher or choose_dispatcher(settings), pace or events.Pace()

    @api.post("/v1/batches")
    @_needs_storage
    def make_batch() -> Response:
        negotiate(JSON)
        key = _idempotency_key()
        raw = raw_body()
        body = read_json(raw)
        asked = read_batch(body, settings)
        storage = available_storage(settings)
        if key is not None:
            storage.remove_expired()  # the key of a batch that is gone is free again
        repeated = key is not None and storage.queries.is_repeated(_owner(), key)
        # What is wrong with a quilt is wrong for every maker, so it is found out before a batch is
        # made. A repeated request passed then; to ask again would be to wait for a worker.
        if asked.of_quilt and not repeated:
            pool.run(Task("quilt", raw))
        new = NewBatch(
            title=asked.title,
            defaults=asked.defaults,
            names=[item.name for item in asked.items],
            jobs=group_items(asked.items, asked.defaults),
            key=key,
            digest=sha256(canonical(body)).hexdigest(),
        )
        try:
            id = storage.store.add(_owner(), new)
        except KeyUsed:
            message = (
                f"This {IDEMPOTENCY_KEY} was sent before with another request; take a new one."
            )
            raise Problem(CONFLICT, message) from None
        except QuotaExceeded as exceeded:
            raise _no_room(exceeded, settings) from None
        dispatcher.begin(len(new.jobs))
        response = _batch_response(_found(storage, id), 202)
        response.headers["Location"] = _address(id)
        return response

    @api.get("/v1/batches/<id>")
    @_needs_storage
    def get_batch(id: str) -> Response:
        form = negotiate(JSON, events.MEDIA_TYPE)
        storage = available_storage(settings)
        # Whoever asks how it goes is there to see that it goes: workers may have been ended.
        dispatcher.attend()
        if form == events.MEDIA_TYPE:
            return _stream(storage, id, pace)
        response = _batch_response(_found(storage, id))
        response.add_etag()
        # The batch is the client's own, and changes: caches may keep it to ask whether it has.
        response.cache_control.no_cache = True
        response.cache_control.private = True
        response.make_conditional(request)
        return response

    @api.delete("/v1/batches/<id>")
    @_needs_storage
    def delete_batch(id: str) -> Response:
        storage = available_storage(settings)
        batch = _found(storage, id)
        if batch.has_ended:
            storage.remove(id)
            return Response(status=204)
        storage.store.cancel(id)
        dispatcher.begin(1)  # what is done is put into one document
        return _batch_response(_found(storage, id))

    @api.get("/v1/batches/<id>/items/<int:number>")
    @_needs_storage
    def get_item(id: str, number: int) -> Response:
        storage = available_storage(settings)
        # Databases have no number as large as an address may have; no item has one beyond these.
        batch = _found(storage, id, min(number, MOST_ITEMS + 1))
        if not batch.items:
            message = f"The batch has no item {number}; its items are 1 to {batch.total}."
            raise Problem(NOT_FOUND, message)
        negotiate(PDF)
        (item,) = batch.items
        if item.state in OPEN:
            raise Problem(CONFLICT, f"Item {number} is not done yet; ask again later.")
        if item.state != "done":
            raise Problem(NOT_FOUND, f"Item {number} has no PDF: it is {item.state}.")
        response = Response(storage.files.read(item_key(id, number)), content_type=PDF)
        response.headers["Content-Disposition"] = content_disposition(
            "inline", document_name(batch, item)
        )
        response.headers[SHEETS] = str(item.pages)
        return response

    @api.get("/v1/batches/<id>/archive")
    @_needs_storage
    def get_archive(id: str) -> Response:
        storage = available_storage(settings)
        batch = _found(storage, id)
        form = negotiate(ZIP, PDF)
        if not batch.has_ended:
            message = "The batch has not ended yet; its archive is made then."
            raise Problem(CONFLICT, message)
        title = _title(batch)
        if form == ZIP:
            response = Response(zipped(batch, storage.files), content_type=ZIP)
            response.headers["Content-Disposition"] = content_disposition(
                "attachment", f"{title}.zip"
            )
            response.headers[SHEETS] = str(sum(item.pages or 0 for item in batch.items))
            return response
        dispatcher.attend()
        response = _one_document(storage, batch)
        response.headers["Content-Disposition"] = content_disposition("inline", f"{title}.pdf")
        return response

    api.after_request(vary_by_accept)
    return api


# --- what comes in ---------------------------------------------------------------------------


def _owner() -> str:
    """Whose request it is; everybody's where no keys are needed."""
    owner: str = g.get("owner", "")
    return owner


def _found(storage: Storage, id: str, number: int | None = None) -> Batch:
    """The client's batch, with all its items or the one with a number."""
    batch = storage.queries.batch(_owner(), id, number=number) if _ID.fullmatch(id) else None
    if batch is None:
        raise _not_there()
    return batch


def _not_there() -> Problem:
    """One answer for a batch that never was, is gone, or is another's: nobody learns which."""
    return Problem(NOT_FOUND, "You have no batch by that id; one that has expired is gone.")


def _idempotency_key() -> str | None:
    key = request.headers.get(IDEMPOTENCY_KEY)
    if key is not None and not _KEY.fullmatch(key):
        raise Problem(BAD_REQUEST, f"{IDEMPOTENCY_KEY} is 1 to 255 characters of ASCII.")
    return key


def _needs_storage(view: _View) -> _View:
    """A view whose answer is 503 when the database or the files are away."""

    @wraps(view)
    def asked(*args: object, **named_: object) -> Response:
        try:
            return view(*args, **named_)
        except (DBAPIError, OSError) as error:
            _log.exception("the database or the files of batches failed")
            raise unavailable() from error

    return asked  # type: ignore[return-value]


# --- what goes out ---------------------------------------------------------------------------


def _batch_response(batch: Batch, status: int = 200) -> Response:
    return json_response(BatchAnswer.to_json(batch, _address(batch.id)), status)


def _address(id: str) -> str:
    return url_for("batches.get_batch", id=id)


def _title(batch: Batch) -> str:
    """A file name for the whole batch."""
    return file_stem(batch.title, "batch")


def _one_document(storage: Storage, batch: Batch) -> Response:
    """All documents of a batch in one, which a worker has made."""
    collated = batch.collated
    if collated is None:
        raise Problem(NOT_FOUND, "No item of the batch is done: there is nothing to print.")
    if collated.problem is not None:
        # It is given up for good, whatever stopped it: an answer of the kind that stopped the
        # worker would ask to be asked for again.
        raise Problem(NOT_MADE, collated.problem["detail"])
    if collated.state != "done":
        message = "All packets are being put into one PDF; come back a little later."
        raise Problem(CONFLICT, message, retry_after=_SOON)
    key = item_key(batch.id, COLLATED)
    size = storage.files.size(key)
    response = Response(in_pieces(storage.files, key), content_type=PDF)
    response.content_length = size
    response.headers[SHEETS] = str(collated.pages)
    response.set_etag(_tag(batch, collated))
    response.make_conditional(request)
    return response


def _tag(batch: Batch, collated: BatchItem) -> str:
    """It is made once, and stays as it is."""
    return sha256(f"{batch.id} {collated.revision}".encode()).hexdigest()[:32]


def _no_room(exceeded: QuotaExceeded, settings: Settings) -> Problem:
    """That there is no room for more batches: what fills it, and what can be done."""
    owner = _owner()
    usage, whose = exceeded.usage, "for one user" if owner else "here, for all users together"
    if 0 < settings.keep_batches <= usage.batches:
        what = f"{usage.batches:,} batches are kept, as many as may be {whose}."
    else:
        what = (
            f"The documents of {usage.batches:,} batches take {usage.bytes:,} bytes; "
            f"{settings.keep_bytes:,} may be kept {whose}."
        )
    # Who shares an owner with others must not learn where theirs are.
    such = f", such as {_address(exceeded.oldest)}" if owner else ""
    what += f" DELETE a batch that is not needed any more{such}"
    if exceeded.expires is None:
        hours = settings.keep_hours
        message = f"{what}; none has ended yet, and each lapses {hours:,} hours after its end."
        return Problem(NO_ROOM, message)
    message = f"{what}; or wait: the oldest lapses at {moment(exceeded.expires)}."
    return Problem(NO_ROOM, message, max(1, math.ceil(exceeded.expires - time.time())))


def _stream(storage: Storage, id: str, pace: events.Pace) -> Response:
    owner = _owner()
    given = request.headers.get("Last-Event-ID", "")
    seen = int(given) if _REVISION.fullmatch(given) else 0
    batch = storage.queries.batch(owner, id, after=seen) if _ID.fullmatch(id) else None
    if batch is None:
        raise _not_there()
    if batch.is_complete and batch.revision <= seen:
        # The client has seen all; this is how an EventSource learns that it need not come back.
        return Response(status=204)
    taken = events.streams.take(owner)
    if taken:
        message = f"{taken} streams of events are open as it is; ask for JSON, or come back."
        raise ServiceUnavailable(message, retry_after=5)
    stream = events.events(
        batch,
        seen,
        _address(id),
        lambda revision: storage.queries.batch(owner, id, after=revision),
        pace,
    )
    response = Response(stream, content_type=events.MEDIA_TYPE)
    response.cache_control.no_store = True
    response.headers["X-Accel-Buffering"] = "no"  # asks a proxy before us to pass it on at once
    response.call_on_close(partial(events.streams.give_back, owner))
    return response
