"""The addresses of the interface: each reads its request, has it answered, and sends that."""

from __future__ import annotations

import re
from functools import partial

from flask import Blueprint, Response, request

from piecewright.patchwork.lengths import UNITS, Unit
from piecewright.service.drawing_pool.pool import DrawingPool
from piecewright.service.drawing_pool.tasks import Task
from piecewright.service.http.batches.availability import prove_ready
from piecewright.service.http.bodies import json_response, raw_body
from piecewright.service.http.content_disposition import content_disposition
from piecewright.service.http.negotiation import negotiate, preferred_form, vary_by_accept
from piecewright.service.http.openapi.document import document
from piecewright.service.http.readings import add_readings
from piecewright.service.http.response_cache import ResponseCache
from piecewright.service.monitoring.metrics import CACHE_HITS
from piecewright.service.problems import (
    BAD_REQUEST,
    Problem,
)
from piecewright.service.responses.answer import JSON, SVG, Answer, Form, file_name
from piecewright.service.responses.catalogue import block_answer, catalogue_answer
from piecewright.service.responses.health import health_answer
from piecewright.service.responses.printables import PRINTABLES
from piecewright.service.settings import Settings


def interface(settings: Settings, pool: DrawingPool) -> Blueprint:
    """The addresses that programs use.

    Args:
        pool: where what is asked for is drawn.
    """
    api = Blueprint("interface", __name__)
    cache = ResponseCache(settings.cache_bytes)

    @api.get("/v1/blocks")
    def list_blocks() -> Response:
        negotiate(JSON)
        return json_response(catalogue_answer(_unit()))

    @api.get("/v1/blocks/<id>")
    def get_block(id: str) -> Response:
        negotiate(JSON)
        return json_response(block_answer(id, _unit()))

    @api.post("/v1/check")
    def check() -> Response:
        negotiate(JSON)
        return answer(Task("check", raw_body()))

    def print_it(name: str) -> Response:
        form = preferred_form(PRINTABLES[name].forms)
        sheet = _sheet_number(form)
        return answer(Task(name, raw_body(), form, sheet))

    for each in PRINTABLES:
        api.add_url_rule(f"/v1/{each}", each, partial(print_it, each), methods=["POST"])

    def answer(task: Task) -> Response:
        made = cache.get(task)
        if made is None:
            made = drawn(task)
            cache.put(task, made)
        else:
            CACHE_HITS.inc()
        return _document(made)

    def drawn(task: Task) -> Answer:
        made = pool.run(task)
        assert made is not None
        return made

    # Nothing of a file is kept, and so no answer to one either.
    add_readings(api, lambda task: _document(drawn(task)))

    @api.get("/health")
    def health() -> Response:
        pool.prove_ready()
        prove_ready(settings)
        response = json_response(health_answer())
        response.cache_control.no_store = True
        return response

    @api.get("/openapi.json")
    def openapi() -> Response:
        return json_response(document(settings))

    api.after_request(vary_by_accept)
    return api


# --- what comes in ---------------------------------------------------------------------------


def _sheet_number(form: Form) -> int | None:
    """The query's ``page``, which goes with SVG only."""
    given = _query("page")
    if given is None:
        return None
    if form != "svg":
        message = f"The parameter 'page' goes with Accept: {SVG} alone."
        raise Problem(BAD_REQUEST, message)
    if not re.fullmatch("[+-]?[0-9]{1,9}", given):
        raise Problem(BAD_REQUEST, f"The parameter 'page' is a whole number, not {given!r:.40}.")
    return int(given)


def _unit() -> Unit:
    """The query's ``unit``, in which an answer about the catalogue is given."""
    given = _query("unit")
    if given is None:
        return "in"
    for unit in UNITS:
        if given == unit:
            return unit
    message = f"The parameter 'unit' is one of {', '.join(UNITS)}, not {given!r:.40}."
    raise Problem(BAD_REQUEST, message)


def _query(known: str) -> str | None:
    """The one query parameter that an address takes."""
    for name in request.args:
        if name != known:
            message = f"There is no query parameter {name!r:.60}; only {known!r}."
            raise Problem(BAD_REQUEST, message)
    given = request.args.getlist(known)
    if len(given) > 1:
        raise Problem(BAD_REQUEST, f"The parameter {known!r} is given twice.")
    return given[0] if given else None


# --- what goes out ---------------------------------------------------------------------------


def _document(answer: Answer) -> Response:
    response = Response(answer.content, content_type=answer.media_type)
    if answer.form in ("pdf", "zip"):
        disposition = "inline" if answer.form == "pdf" else "attachment"
        response.headers["Content-Disposition"] = content_disposition(
            disposition, file_name(answer)
        )
    return response
