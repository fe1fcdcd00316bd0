"""JSON bodies, of requests and of answers."""

from __future__ import annotations

from typing import Any

from flask import Response, request

from piecewright.service.json_text import write_json
from piecewright.service.problems import BAD_REQUEST, UNSUPPORTED_MEDIA_TYPE, Problem
from piecewright.service.responses.answer import JSON


def raw_body() -> bytes:
    """The request's body, which says that it is JSON.

    Raises:
        Problem: it is not sent as JSON; and what ``whole_body`` raises.
    """
    is_json = request.mimetype == JSON or request.mimetype.endswith("+json")
    encoding = request.headers.get("Content-Encoding", "identity").strip().lower()
    if not is_json or encoding not in ("", "identity"):
        sent = request.mimetype or "no type"
        message = f"The body came as {sent!r:.80}; send it as {JSON}, without Content-Encoding."
        raise Problem(UNSUPPORTED_MEDIA_TYPE, message)
    return whole_body()


def whole_body() -> bytes:
    """The request's body, as it is.

    Raises:
        Problem: it is shorter than it was said to be.
        werkzeug.exceptions.RequestEntityTooLarge: it is too large.
        werkzeug.exceptions.ClientDisconnected, gunicorn.http.errors.ParseException: it ends early,
            or does not come as HTTP has it, or too slowly (``slow_clients``).
    """
    raw: bytes = request.get_data(cache=False)
    # A body that comes in chunks is cut off at the limit: only one more read says so (413).
    request.stream.read(1)
    said = request.content_length or 0
    if len(raw) < said:
        message = f"The body ended after {len(raw):,} of the {said:,} bytes of its Content-Length."
        raise Problem(BAD_REQUEST, message)
    return raw


def json_response(body: Any, status: int = 200) -> Response:
    """An answer whose body is a JSON value."""
    return Response(write_json(body), status, content_type=JSON)
