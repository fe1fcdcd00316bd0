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

from piecewright.service.batches.bounds import NoRoom
from piecewright.service.batches.engine import Engine, engine
from piecewright.service.batches.files import item_key
from piecewright.service.batches.lots import COLLATED, lots
from piecewright.service.batches.parts import Parts
from piecewright.service.batches.reading import read_batch
from piecewright.service.batches.schemas import MOST_ITEMS, BatchAnswer
from piecewright.service.batches.store import Batch, BatchItem, KeyUsed, NewBatch
from piecewright.service.drawing_pool.pool import Desks
from piecewright.service.drawing_pool.tasks import Order
from piecewright.service.http.batches import events
from piecewright.service.http.batches.archive import document_name, in_pieces, zipped
from piecewright.service.http.batches.opening import opened as open_parts
from piecewright.service.http.batches.opening import unavailable
from piecewright.service.http.bodies import raw_body
from piecewright.service.http.content_disposition import content_disposition
from piecewright.service.http.negotiation import preferred
from piecewright.service.json_text import canonical, read_json, write_json
from piecewright.service.problems import (
    BAD_REQUEST,
    CONFLICT,
    NO_ROOM,
    NOT_ACCEPTABLE,
    NOT_FOUND,
    NOT_MADE,
    Problem,
)
from piecewright.service.responses.answer import MEDIA_TYPES
from piecewright.service.responses.fields import moment
from piecewright.service.settings import Settings

JSON: Final = MEDIA_TYPES["json"]
PDF: Final = MEDIA_TYPES["pdf"]
ZIP: Final = MEDIA_TYPES["zip"]

IDEMPOTENCY_KEY: Final = "Idempotency-Key"

_KEY: Final = re.compile(r"[\x20-\x7e]{1,255}")
_ID: Final = re.compile(r"[A-Za-z0-9_-]{1,64}")
_REVISION: Final = re.compile("[0-9]{1,9}")

_SOON: Final = 2
"""Seconds after which all documents of a batch may be in one."""

_View = TypeVar("_View", bound=Callable[..., Response])

_log = logging.getLogger(__name__)


def batches(
    settings: Settings,
    desks: Desks,
    by: Engine | None = None,
    pace: events.Pace | None = None,
) -> Blueprint:
    """The addresses of batches.

    Args:
        desks: where a group quilt is planned, to find out whether it can be.
        by: who does the work; the engine that the settings choose if not given.
        pace: of streams of events.
    """
    api = Blueprint("batches", __name__)
    worker, pace = by or engine(settings), pace or events.Pace()

    @api.post("/v1/batches")
    @_needs_storage
    def make_batch() -> Response:
        _negotiate(JSON)
        key = _idempotency_key()
        raw = raw_body()
        body = read_json(raw)
        asked = read_batch(body, settings)
        opened = open_parts(settings)
        if key is not None:
            opened.remove_expired()  # the key of a batch that is gone is free again
        repeated = key is not None and opened.store.is_repeated(_owner(), key)
        if asked.of_quilt and not repeated:
            desks.do(Order("quilt", raw))  # what is wrong with it is wrong for every maker
        new = NewBatch(
            title=asked.title,
            defaults=asked.defaults,
            names=[item.name for item in asked.items],
            lots=lots(asked.items, asked.defaults),
            key=key,
            digest=sha256(canonical(body)).hexdigest(),
        )
        try:
            id = opened.store.add(_owner(), new)
        except KeyUsed:
            message = (
                f"This {IDEMPOTENCY_KEY} was sent before with another request; take a new one."
            )
            raise Problem(CONFLICT, message) from None
        except NoRoom as full:
            raise _full(full, settings) from None
        worker.begin(len(new.lots))
        response = _json(_found(opened, id), 202)
        response.headers["Location"] = _address(id)
        return response

    @api.get("/v1/batches/<id>")
    @_needs_storage
    def get_batch(id: str) -> Response:
        form = _negotiate(JSON, events.MEDIA_TYPE)
        opened = open_parts(settings)
        worker.attend()
        if form == events.MEDIA_TYPE:
            return _stream(opened, id, pace)
        response = _json(_found(opened, id))
        response.add_etag()
        response.cache_control.no_cache = True
        response.cache_control.private = True
        response.make_conditional(request)
        return response

    @api.delete("/v1/batches/<id>")
    @_needs_storage
    def delete_batch(id: str) -> Response:
        opened = open_parts(settings)
        batch = _found(opened, id)
        if batch.has_ended:
            opened.remove(id)
            return Response(status=204)
        opened.store.cancel(id)
        worker.begin(1)  # what is done is put into one document
        return _json(_found(opened, id))

    @api.get("/v1/batches/<id>/items/<int:number>")
    @_needs_storage
    def get_item(id: str, number: int) -> Response:
        opened = open_parts(settings)
        batch = _found(opened, id, min(number, MOST_ITEMS + 1))
        if not batch.items:
            message = f"The batch has no item {number}; its items are 1 to {batch.total}."
            raise Problem(NOT_FOUND, message)
        _negotiate(PDF)
        (item,) = batch.items
        if item.state in ("queued", "running"):
            raise Problem(CONFLICT, f"Item {number} is not done yet; ask again later.")
        if item.state != "done":
            raise Problem(NOT_FOUND, f"Item {number} has no PDF: it is {item.state}.")
        response = Response(opened.files.read(item_key(id, number)), content_type=PDF)
        response.headers["Content-Disposition"] = content_disposition(
            "inline", document_name(batch, item)
        )
        return response

    @api.get("/v1/batches/<id>/archive")
    @_needs_storage
    def get_archive(id: str) -> Response:
        opened = open_parts(settings)
        batch = _found(opened, id)
        form = _negotiate(ZIP, PDF)
        if not batch.has_ended:
            message = "The batch has not ended yet; its archive is made then."
            raise Problem(CONFLICT, message)
        title = _title(batch)
        if form == ZIP:
            response = Response(zipped(batch, opened.files), content_type=ZIP)
            response.headers["Content-Disposition"] = content_disposition(
                "attachment", f"{title}.zip"
            )
            return response
        worker.attend()
        response = _one_document(opened, batch)
        response.headers["Content-Disposition"] = content_disposition("inline", f"{title}.pdf")
        return response

    @api.after_request
    def vary(response: Response) -> Response:
        response.vary.add("Accept")
        return response

    return api


# --- what comes in ---------------------------------------------------------------------------


def _owner() -> str:
    """Whose request it is; everybody's where no keys are needed."""
    owner: str = g.get("owner", "")
    return owner


def _found(opened: Parts, id: str, number: int | None = None) -> Batch:
    """The client's batch, with all its items or the one with a number."""
    batch = opened.store.batch(_owner(), id, number=number) if _ID.fullmatch(id) else None
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


def _negotiate(*media_types: str) -> str:
    best = preferred(request.accept_mimetypes, media_types)
    if best is None:
        raise Problem(NOT_ACCEPTABLE, f"The answers here are {', '.join(media_types)}.")
    return best


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


def _json(batch: Batch, status: int = 200) -> Response:
    return Response(
        write_json(BatchAnswer.to_json(batch, _address(batch.id))), status, content_type=JSON
    )


def _address(id: str) -> str:
    return url_for("batches.get_batch", id=id)


def _title(batch: Batch) -> str:
    """A file name for the whole batch."""
    kept = re.sub(r"[\x00-\x1f\x7f-\x9f/\\:*?\"<>|]+", " ", batch.title)
    return " ".join(kept.split()).strip(". ")[:100].rstrip(". ") or "batch"


def _one_document(opened: Parts, batch: Batch) -> Response:
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
    size = opened.files.size(key)
    response = Response(in_pieces(opened.files, key), content_type=PDF)
    response.content_length = size
    response.set_etag(_tag(batch, collated))
    response.make_conditional(request)
    return response


def _tag(batch: Batch, collated: BatchItem) -> str:
    """It is made once, and stays as it is."""
    return sha256(f"{batch.id} {collated.revision}".encode()).hexdigest()[:32]


def _full(full: NoRoom, settings: Settings) -> Problem:
    """That there is no room for more batches: what fills it, and what can be done."""
    owner = _owner()
    whose = "for one user" if owner else "here, for all users together"
    if 0 < settings.keep_batches <= full.kept.batches:
        what = f"{full.kept.batches:,} batches are kept, as many as may be {whose}."
    else:
        what = (
            f"The documents of {full.kept.batches:,} batches take {full.kept.bytes:,} bytes; "
            f"{settings.keep_bytes:,} may be kept {whose}."
        )
    # Who shares an owner with others must not learn where theirs are.
    such = f", such as {_address(full.oldest)}" if owner else ""
    what += f" DELETE a batch that is not needed any more{such}"
    if full.lapses is None:
        hours = settings.keep_hours
        message = f"{what}; none has ended yet, and each lapses {hours:,} hours after its end."
        return Problem(NO_ROOM, message)
    message = f"{what}; or wait: the oldest lapses at {moment(full.lapses)}."
    return Problem(NO_ROOM, message, max(1, math.ceil(full.lapses - time.time())))


def _stream(opened: Parts, id: str, pace: events.Pace) -> Response:
    owner = _owner()
    given = request.headers.get("Last-Event-ID", "")
    seen = int(given) if _REVISION.fullmatch(given) else 0
    batch = opened.store.batch(owner, id, after=seen) if _ID.fullmatch(id) else None
    if batch is None:
        raise _not_there()
    if batch.is_complete and batch.revision <= seen:
        # All has been told; this is how an EventSource learns that it need not come back.
        return Response(status=204)
    taken = events.streams.take(owner)
    if taken:
        message = f"{taken} streams of events are open as it is; ask for JSON, or come back."
        raise ServiceUnavailable(message, retry_after=5)
    told = events.events(
        batch,
        seen,
        _address(id),
        lambda revision: opened.store.batch(owner, id, after=revision),
        pace,
    )
    response = Response(told, content_type=events.MEDIA_TYPE)
    response.cache_control.no_store = True
    response.headers["X-Accel-Buffering"] = "no"  # asks a proxy before us to pass it on at once
    response.call_on_close(partial(events.streams.give_back, owner))
    return response
