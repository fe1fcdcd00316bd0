"""The addresses of the interface: each reads its request, has it answered, and sends that."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import partial
from typing import TypeVar

from flask import Blueprint, Response, request

from piecewright.patchwork.lengths import UNITS, Unit
from piecewright.service.drawing_pool.pool import DrawingPool
from piecewright.service.drawing_pool.tasks import Task
from piecewright.service.http.access import SETTINGS
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
from piecewright.service.responses.answer import (
    JSON,
    SHEETS,
    SVG,
    Answer,
    Form,
    file_name,
)
from piecewright.service.responses.catalogue import block_answer, block_svg, catalogue_answer
from piecewright.service.responses.health import health_answer
from piecewright.service.responses.printables import PRINTABLES
from piecewright.service.responses.settings import settings_answer
from piecewright.service.settings import Settings

_Word = TypeVar("_Word", bound=str)


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
        query = Query("unit", "pictures")
        pictures = query.word("pictures", ("svg",)) is not None
        return json_response(catalogue_answer(query.unit(), pictures))

    @api.get("/v1/blocks/<id>")
    def get_block(id: str) -> Response:
        form = preferred_form(("json", "svg"))
        unit = Query("unit").unit()
        if form == "json":
            return json_response(block_answer(id, unit))
        return Response(block_svg(id, unit), content_type=SVG)

    @api.post("/v1/check")
    def check() -> Response:
        negotiate(JSON)
        return answer(Task("check", raw_body()))

    def print_it(name: str) -> Response:
        forms = PRINTABLES[name].forms
        form = preferred_form(forms)
        query = Query(*(("page", "sheets") if "svg" in forms else ("sheets",)))
        svg = query.word("sheets", ("svg",)) is not None
        if svg and form != "json":
            message = f"The parameter 'sheets' goes with Accept: {JSON} alone."
            raise Problem(BAD_REQUEST, message)
        return answer(Task(name, raw_body(), form, query.page(form), svg=svg))

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

    @api.get(SETTINGS)
    def get_settings() -> Response:
        negotiate(JSON)
        return json_response(settings_answer(settings, Query("unit").unit()))

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


class Query:
    """The query parameters of a request.

    Args:
        known: the names of those that the address takes.

    Raises:
        Problem: there are others, or one is given twice.
    """

    def __init__(self, *known: str) -> None:
        self._given: dict[str, str] = {}
        for name, values in request.args.lists():
            if name not in known:
                taken = " and ".join(repr(one) for one in known)
                message = f"There is no query parameter {name!r:.60}; only {taken}."
                raise Problem(BAD_REQUEST, message)
            if len(values) > 1:
                raise Problem(BAD_REQUEST, f"The parameter {name!r} is given twice.")
            self._given[name] = values[0]

    def word(self, name: str, words: Sequence[_Word]) -> _Word | None:
        """One of a few words; None if it is not given."""
        given = self._given.get(name)
        if given is None:
            return None
        for word in words:
            if given == word:
                return word
        expected = f"one of {', '.join(words)}" if len(words) > 1 else repr(words[0])
        raise Problem(BAD_REQUEST, f"The parameter {name!r} is {expected}, not {given!r:.40}.")

    def unit(self) -> Unit:
        """The unit of an answer that no body has one for."""
        return self.word("unit", UNITS) or "in"

    def page(self, form: Form) -> int | None:
        """The number of one sheet, which goes with SVG only."""
        given = self._given.get("page")
        if given is None:
            return None
        if form != "svg":
            message = f"The parameter 'page' goes with Accept: {SVG} alone."
            raise Problem(BAD_REQUEST, message)
        if not re.fullmatch("[+-]?[0-9]{1,9}", given):
            message = f"The parameter 'page' is a whole number, not {given!r:.40}."
            raise Problem(BAD_REQUEST, message)
        return int(given)


# --- what goes out ---------------------------------------------------------------------------


def _document(answer: Answer) -> Response:
    response = Response(answer.content, content_type=answer.media_type)
    if answer.sheets is not None:
        response.headers[SHEETS] = str(answer.sheets)
    if answer.form in ("pdf", "zip"):
        disposition = "inline" if answer.form == "pdf" else "attachment"
        response.headers["Content-Disposition"] = content_disposition(
            disposition, file_name(answer)
        )
    return response
