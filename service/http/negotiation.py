"""Content negotiation: which form of an answer a client would rather have (RFC 9110, 12.5.1).

Werkzeug does it, but for two things, which are put right before: parameters of a media type
(``application/json;charset=utf-8``) are dropped, as Werkzeug takes none that is not offered with
the same; and ``*`` alone, which Java's HTTP client sends, stands for ``*/*``.
"""

from __future__ import annotations

from collections.abc import Sequence

from flask import Response, request
from werkzeug.datastructures import MIMEAccept

from piecewright.service.problems import NOT_ACCEPTABLE, Problem
from piecewright.service.responses.answer import MEDIA_TYPES, Form


def negotiate(*offered: str) -> str:
    """The media type, of those offered, in which the client of this request is to be answered.

    Raises:
        Problem: it takes none of them.
    """
    best = preferred(request.accept_mimetypes, offered)
    if best is None:
        raise Problem(NOT_ACCEPTABLE, f"The answers here are {', '.join(offered)}.")
    return best


def vary_by_accept(response: Response) -> Response:
    """Tells caches that another client may be answered in another form, where that is so."""
    if request.path.startswith("/v1/"):
        response.vary.add("Accept")
    return response


def preferred(accept: MIMEAccept, offered: Sequence[str]) -> str | None:
    """The media type with the highest quality.

    Among equals one that the client names wins over one that a ``*`` takes in; then the
    first offered.

    Args:
        accept: the request's field; an empty one takes anything.
        offered: media types without parameters.

    Returns:
        None if the client takes none of them.

    >>> accept = MIMEAccept([("application/*", 1), ("application/pdf", 0.5)])
    >>> preferred(accept, ["application/pdf", "application/json"])
    'application/json'
    """
    if not accept:
        return offered[0]
    ranges = [(range_.partition(";")[0].strip(), quality) for range_, quality in accept]
    # A new one, as it has to be sorted by how specific its ranges are without parameters.
    return MIMEAccept(
        [("*/*" if range_ == "*" else range_, quality) for range_, quality in ranges]
    ).best_match(offered)


def preferred_form(forms: Sequence[Form]) -> Form:
    """The form of answer that the client would rather have, of those that there are."""
    by_type = {MEDIA_TYPES[form]: form for form in forms}
    return by_type[negotiate(*by_type)]
