"""Every error leaves as problem details (RFC 9457)."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from typing import Final

from flask import Flask, Response, g, url_for
from gunicorn.http.errors import ParseException
from werkzeug.exceptions import ClientDisconnected, HTTPException, RequestTimeout
from werkzeug.wrappers import Response as AnyResponse

from piecewright.patchwork.faults import Fault
from piecewright.patchwork.lengths import Unit
from piecewright.service.http.slow_clients import TooSlow
from piecewright.service.json_text import NotJson, write_json
from piecewright.service.problems import (
    BAD_JSON,
    BAD_REQUEST,
    INTERNAL_ERROR,
    KINDS,
    MEDIA_TYPE,
    NOT_FOUND,
    Kind,
    Problem,
    faults_in_words,
    refused_kind,
    sentence,
)
from piecewright.service.requests.parse import Refused
from piecewright.service.responses.answer import NoSuchSheet
from piecewright.service.responses.catalogue import NoSuchBlock
from piecewright.service.responses.check import CheckRefused
from piecewright.service.responses.pieces import ShownPiece
from piecewright.service.responses.problem import problem_body

# Of several kinds with one status the first, which is the general one: hence in reverse.
_BY_STATUS: Final = {kind.status: kind for kind in reversed(KINDS.values()) if kind is not BAD_JSON}

_log = logging.getLogger(__name__)


def answer_with_problems(app: Flask) -> None:
    """Makes every error of the app leave as a problem."""
    app.register_error_handler(Problem, _problem)
    app.register_error_handler(NotJson, lambda e: _answer(BAD_JSON, sentence(str(e))))
    app.register_error_handler(NoSuchSheet, lambda e: _answer(NOT_FOUND, sentence(str(e))))
    app.register_error_handler(NoSuchBlock, lambda e: _answer(NOT_FOUND, sentence(str(e))))
    app.register_error_handler(Refused, _refused)
    app.register_error_handler(TooSlow, lambda e: _http_exception(RequestTimeout(str(e))))
    app.register_error_handler(ParseException, _not_http)
    app.register_error_handler(
        ClientDisconnected, lambda e: _answer(BAD_REQUEST, "The body ended early.")
    )
    app.register_error_handler(HTTPException, _http_exception)
    app.register_error_handler(Exception, _unforeseen)


def _answer(
    kind: Kind,
    detail: str,
    faults: Sequence[Fault] = (),
    unit: Unit = "in",
    pieces: Sequence[ShownPiece] = (),
) -> Response:
    type_ = url_for("pages.problem", id=kind.id) if kind.id in KINDS else "about:blank"
    body = problem_body(kind, detail, type_, faults, unit, pieces)
    return Response(write_json(body), kind.status, content_type=MEDIA_TYPE)


def _problem(problem: Problem) -> Response:
    answer = _answer(problem.kind, problem.detail)
    if problem.retry_after is not None:
        answer.headers["Retry-After"] = str(problem.retry_after)
    return answer


def _refused(error: Refused) -> Response:
    kind, detail = refused_kind(error.faults), faults_in_words(error.faults)
    shown = error.shown if isinstance(error, CheckRefused) else ()
    return _answer(kind, detail, error.faults, error.unit, shown)


def _not_http(error: ParseException) -> Response:
    """What gunicorn finds wrong with a body that it reads for the application."""
    words = f"the body does not come as HTTP has it (RFC 9112, section 7.1): {error}"
    return _answer(BAD_REQUEST, sentence(words))


def _http_exception(error: HTTPException) -> AnyResponse:
    """Werkzeug's own errors; one that is no error, such as a redirect, leaves as it is."""
    status = error.code or 500
    if status < 400:
        return error.get_response()
    kind = _BY_STATUS.get(status) or Kind("", status, error.name, "")
    answer = _answer(kind, error.description or kind.title)
    for name, value in error.get_headers():
        if name.lower() != "content-type":
            answer.headers[name] = value
    return answer


def _unforeseen(error: Exception) -> Response:
    _log.error("request %s failed", g.get("request_id", "-"), exc_info=error)
    return _answer(
        INTERNAL_ERROR,
        "The service met an error of its own. Nothing is wrong with how you asked.",
    )
