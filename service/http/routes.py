"""The addresses of the interface: each reads its request, has it answered, and sends that."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import partial
from typing import Any, Final

from flask import Blueprint, Response, request

from piecewright.patchwork.lengths import UNITS, Unit
from piecewright.service.drawing_pool.pool import Desks
from piecewright.service.drawing_pool.tasks import Order
from piecewright.service.http.batches.opening import prove_ready
from piecewright.service.http.bodies import raw_body
from piecewright.service.http.content_disposition import content_disposition
from piecewright.service.http.negotiation import preferred
from piecewright.service.http.openapi.document import document
from piecewright.service.http.response_cache import KeptAnswers
from piecewright.service.json_text import write_json
from piecewright.service.monitoring.metrics import KEPT
from piecewright.service.problems import (
    BAD_REQUEST,
    NOT_ACCEPTABLE,
    Problem,
)
from piecewright.service.responses.answer import MEDIA_TYPES, Answer, Form, file_name
from piecewright.service.responses.catalogue import block_answer, catalogue_answer
from piecewright.service.responses.health import health_answer
from piecewright.service.responses.printables import PRINTABLES
from piecewright.service.settings import Settings

JSON: Final = MEDIA_TYPES["json"]


def interface(settings: Settings, desks: Desks) -> Blueprint:
    """The addresses that programs use.

    Args:
        desks: where what is asked for is drawn.
    """
    api = Blueprint("interface", __name__)
    kept = KeptAnswers(settings.cache_bytes)

    @api.get("/v1/blocks")
    def list_blocks() -> Response:
        _negotiate(("json",))
        return _json(catalogue_answer(_unit()))

    @api.get("/v1/blocks/<id>")
    def get_block(id: str) -> Response:
        _negotiate(("json",))
        return _json(block_answer(id, _unit()))

    @api.post("/v1/check")
    def check() -> Response:
        _negotiate(("json",))
        return answered(Order("check", raw_body()))

    def printed(name: str) -> Response:
        form = _negotiate(PRINTABLES[name].forms)
        sheet = _sheet_number(form)
        return answered(Order(name, raw_body(), form, sheet))

    for each in PRINTABLES:
        api.add_url_rule(f"/v1/{each}", each, partial(printed, each), methods=["POST"])

    def answered(order: Order) -> Response:
        answer = kept.get(order)
        if answer is None:
            answer = desks.do(order)
            assert answer is not None
            kept.put(order, answer)
        else:
            KEPT.inc()
        return _document(answer)

    @api.get("/health")
    def health() -> Response:
        desks.prove_ready()
        prove_ready(settings)
        response = _json(health_answer())
        response.cache_control.no_store = True
        return response

    @api.get("/openapi.json")
    def openapi() -> Response:
        return _json(document(settings))

    @api.after_request
    def vary(response: Response) -> Response:
        if request.path.startswith("/v1/"):
            response.vary.add("Accept")
        return response

    return api


# --- what comes in ---------------------------------------------------------------------------


def _negotiate(forms: Sequence[Form]) -> Form:
    """The form of answer that the client would rather have, of those that there are."""
    by_type = {MEDIA_TYPES[form]: form for form in forms}
    best = preferred(request.accept_mimetypes, list(by_type))
    if best is None:
        message = f"The answers here are {', '.join(by_type)}."
        raise Problem(NOT_ACCEPTABLE, message)
    return by_type[best]


def _sheet_number(form: Form) -> int | None:
    """The query's ``page``, which goes with SVG only."""
    given = _query("page")
    if given is None:
        return None
    if form != "svg":
        message = f"The parameter 'page' goes with Accept: {MEDIA_TYPES['svg']} alone."
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


def _json(body: Any) -> Response:
    return Response(write_json(body), content_type=JSON)


def _document(answer: Answer) -> Response:
    response = Response(answer.content, content_type=answer.media_type)
    if answer.form in ("pdf", "zip"):
        disposition = "inline" if answer.form == "pdf" else "attachment"
        response.headers["Content-Disposition"] = content_disposition(
            disposition, file_name(answer)
        )
    return response
