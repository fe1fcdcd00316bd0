"""How operations may fail: a response for each status, with each kind of problem it may be."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from piecewright.patchwork.faults import Fault
from piecewright.service import problems
from piecewright.service.http.openapi import examples
from piecewright.service.problems import KINDS, Kind
from piecewright.service.requests.parse import Refused, read_request
from piecewright.service.responses.problem import Problem, problem_body
from piecewright.service.settings import Settings

_LATER: Final[dict[str, Any]] = {
    "Retry-After": {
        "description": "Seconds after which the request may be sent again, where that may help.",
        "schema": {"type": "integer"},
    }
}


def _problem_content(shown: Mapping[str, Any]) -> dict[str, Any]:
    return {problems.MEDIA_TYPE: {"schema": Problem, "examples": dict(shown)}}


_PASSING: Final = (409, 429, 503, 507)
"""The statuses of problems that may be over by themselves."""


def problem_response(status: int) -> dict[str, Any]:
    """The answer with each kind of problem of one status."""
    kinds = [kind for kind in KINDS.values() if kind.status == status]
    headers = {"headers": _LATER} if status in _PASSING else {}
    return {
        **headers,
        "description": " Or: ".join(f"{kind.title}." for kind in kinds),
        "content": _problem_content({kind.id: {"value": _example(kind)} for kind in kinds}),
    }


_DETAILS: Final = {
    "bad-json": "This is not JSON: Expecting ',' delimiter (line 1, column 24).",
    "invalid-file": "This PDF is locked with a password; save it without one.",
    "bad-request": "The parameter 'page' is a whole number, not 'two'.",
    "unauthorized": "This address needs an API key.",
    "not-found": "The catalogue has no block 'sawtooth-stra'.",
    "method-not-allowed": "The method is not allowed for the requested URL.",
    "not-acceptable": "The answers here are application/json.",
    "conflict": "The batch has not ended yet; its archive is made then.",
    "not-made": ("All PDFs in one need more memory than there is for it. The ZIP has them all."),
    "too-large": "The body is larger than this service reads.",
    "unsupported-media-type": (
        "The body came as 'text/plain'; send it as application/json, without Content-Encoding."
    ),
    "too-many-requests": "At most 60 requests a minute are answered here.",
    "internal-error": "The service met an error of its own. Nothing is wrong with how you asked.",
    "unavailable": "A trial document could not be drawn.",
    "too-long": "This was stopped after 30 seconds.",
    "too-much": "The process that drew this had to end before it was done.",
    "no-room": (
        "200 batches are kept, as many as may be for one user. DELETE one that is not needed any "
        "more, or wait: the oldest lapses at 2026-03-01T06:13:20Z."
    ),
}


def _example(kind: Kind) -> dict[str, object]:
    return problem_body(kind, _DETAILS[kind.id], f"/problems/{kind.id}")


def file_refusal_response() -> dict[str, Any]:
    """The answer to a file that cannot be read, or to choices with faults."""
    locked = Fault("/file", "encrypted", "this PDF is locked with a password; save it without one")
    side = Fault("/choices/side", "choice", "expected one of printed, face")
    shown: dict[str, Any] = {}
    for kind, fault in ((problems.INVALID_FILE, locked), (problems.INVALID_SETTING, side)):
        detail = problems.faults_in_words([fault])
        body = problem_body(kind, detail, f"/problems/{kind.id}", [fault], "in")
        shown[kind.id] = {"value": body}
    return {
        "description": "The file cannot be read, or the choices have faults.",
        "content": _problem_content(shown),
    }


def refusal_response(settings: Settings) -> dict[str, Any]:
    """The answer to a request with faults, with what faulty examples really get."""
    shown: dict[str, Any] = {}
    wrong_setting = {"block": "pinwheel", "allowence": "1/4 in"}
    for kind, body in (
        (problems.INVALID_BLOCK, examples.LOOSE_END.body),
        (problems.INVALID_SETTING, wrong_setting),
    ):
        try:
            read_request(body, settings)
        except Refused as error:
            detail = problems.faults_in_words(error.faults)
            type_ = f"/problems/{kind.id}"
            shown[kind.id] = {"value": problem_body(kind, detail, type_, error.faults, error.unit)}
    return {
        "description": "The block or a setting has faults; all of them are told.",
        "content": _problem_content(shown),
    }
