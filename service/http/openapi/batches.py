"""The addresses of batches as the OpenAPI document has them."""

from __future__ import annotations

from typing import Any, Final

from piecewright.patchwork.faults import Fault
from piecewright.service import problems
from piecewright.service.batches import schemas
from piecewright.service.batches.model import Batch, BatchItem
from piecewright.service.batches.schemas import BatchAnswer, BatchProgress, BatchRequest
from piecewright.service.http.batches.events import MEDIA_TYPE as EVENTS
from piecewright.service.http.batches.events import event
from piecewright.service.http.openapi import examples
from piecewright.service.http.openapi.operations import SHEET_COUNT, bytes_of
from piecewright.service.responses.answer import JSON, PDF, ZIP
from piecewright.service.responses.problem import Problem, problem_body

_ID: Final = "sVQ8mYxw3uOaF5n1cKd0Jt7Ze2RbHgLp"
_ADDRESS: Final = f"/v1/batches/{_ID}"


def _faulty(pointer: str, code: str, detail: str) -> dict[str, Any]:
    kind = problems.INVALID_SETTING
    fault = Fault(pointer, code, detail)
    message = problems.faults_in_words([fault])
    return problem_body(kind, message, f"/problems/{kind.id}", [fault])


_SHOWN: Final = Batch(
    id=_ID,
    title="Harbour sampler, spring class",
    state="running",
    revision=7,
    total=3,
    done=1,
    failed=1,
    created=1_772_000_000.0,
    ended=None,
    expires=None,
    items=(
        BatchItem(1, 1, "Ada", "done", 5, 9, None),
        BatchItem(
            2,
            2,
            "Bente",
            "failed",
            6,
            None,
            _faulty("/corners", "choice", "expected one of matched, matched-each, blunt, full"),
        ),
        BatchItem(3, 3, "Carl", "running", 7, None, None),
    ),
)

_PARAMETER_ID: Final = {
    "name": "id",
    "in": "path",
    "required": True,
    "description": "As the answer to `POST /v1/batches` has it.",
    "schema": {"type": "string"},
    "example": _ID,
}
_FILE_NAME: Final = {
    "Content-Disposition": {
        "description": "A file name after the title, or the item's number and name.",
        "schema": {"type": "string"},
    }
}


_UNCHANGED: Final = {"description": "Nothing has changed."}


def _problems(*statuses: int) -> dict[str, str]:
    return {str(status): f"Problem{status}" for status in sorted({*statuses, 500, 503})}


def batch_paths() -> dict[str, dict[str, Any]]:
    """The operations by address and method."""
    state = {JSON: {"schema": BatchAnswer, "example": BatchAnswer.to_json(_SHOWN, _ADDRESS)}}
    return {
        "/v1/batches": {"post": _make(state)},
        "/v1/batches/{id}": {"get": _get(state), "delete": _delete(state)},
        "/v1/batches/{id}/items/{number}": {"get": _get_item()},
        "/v1/batches/{id}/archive": {"get": _get_archive()},
    }


def _make(state: dict[str, Any]) -> dict[str, Any]:
    few = _faulty("/items", "too-few", "at least 1 items are needed, got 0")
    return {
        "operationId": "makeBatch",
        "tags": ["batches"],
        "summary": "Many packets as one job",
        "description": (
            "Each item is a JSON merge patch (RFC 7396) on `defaults`: `null` takes a field away, "
            "objects are merged, all else replaces. Items that differ in nothing but `for` are "
            "drawn once, and each gets its name on it. What is wrong with an item is found when it "
            "is drawn, told with it, and does not stop the others. The answer comes at once; the "
            "batch's address tells how far it is. With an `Idempotency-Key` a request can be sent "
            "again when its answer was lost: it makes one batch, as long as that is kept. So many "
            "batches of one user are kept, and so many bytes of their documents: one more is "
            "refused with 507, which says what can be deleted and when the oldest lapses. Items "
            "whose documents are beyond that fail for it."
        ),
        "parameters": [
            {
                "name": "Idempotency-Key",
                "in": "header",
                "description": (
                    "The client's own name for this request: another request under the same one "
                    "is a conflict."
                ),
                "schema": {"type": "string", "minLength": 1, "maxLength": 255},
                "example": "spring-class-1",
            }
        ],
        "requestBody": {
            "required": True,
            "content": {
                JSON: {
                    "schema": BatchRequest,
                    "examples": {
                        name: {"summary": one.summary, "value": one.body}
                        for name, one in examples.BATCHES.items()
                    },
                }
            },
        },
        "responses": {
            "202": {
                "description": "The batch, which is being worked on.",
                "content": state,
                "headers": {
                    "Location": {
                        "description": "The batch's address.",
                        "schema": {"type": "string"},
                    }
                },
            },
            **_problems(400, 406, 409, 413, 415, 507),
            "422": {
                "description": "It is no batch; all faults are told.",
                "content": {
                    problems.MEDIA_TYPE: {
                        "schema": Problem,
                        "examples": {"invalid-setting": {"value": few}},
                    }
                },
            },
        },
    }


def _get(state: dict[str, Any]) -> dict[str, Any]:
    shown = b"".join(
        [
            b"retry: 2000\n\n",
            event("item", schemas.BatchItem.to_json(_SHOWN.items[0], _ADDRESS), 5),
            event("progress", BatchProgress.to_json(_SHOWN, _ADDRESS), 7),
        ]
    )
    return {
        "operationId": "getBatch",
        "tags": ["batches"],
        "summary": "How far a batch is",
        "description": (
            "As JSON (the default), with an `ETag` that makes asking again cheap; or as it "
            "happens, as Server-Sent Events (WHATWG HTML): `item` with an item that has changed, "
            "`progress` with the batch but for its items, and `end` with the same when the batch "
            "has ended and all its packets are in one PDF too, or cannot be. "
            "An event's id is the batch's revision: a client that comes back with `Last-Event-ID` "
            "gets what it has missed. A stream is closed after a minute and a half, and an "
            "`EventSource` comes back by itself; 204 says that it has heard all. A client sees its "
            "own batches only; another's is 404."
        ),
        "parameters": [
            _PARAMETER_ID,
            {
                "name": "Last-Event-ID",
                "in": "header",
                "description": "For events: the id of the last one that was heard.",
                "schema": {"type": "string"},
                "example": "7",
            },
        ],
        "responses": {
            "200": {
                "description": "How far a batch is.",
                "content": {
                    **state,
                    EVENTS: {"schema": {"type": "string"}, "example": shown.decode()},
                },
                "headers": {
                    "ETag": {
                        "description": "Of the JSON, for `If-None-Match`.",
                        "schema": {"type": "string"},
                    }
                },
            },
            "204": {"description": "For events: the batch has ended, and all has been heard."},
            "304": _UNCHANGED,
            **_problems(404, 406),
        },
    }


def _delete(state: dict[str, Any]) -> dict[str, Any]:
    return {
        "operationId": "deleteBatch",
        "tags": ["batches"],
        "summary": "Cancel a batch, or remove one that has ended",
        "description": (
            "A batch that has not ended is cancelled at once: what is not done by then is "
            "`cancelled`, what is done stays to be had. One that has ended, so or otherwise, is "
            "removed with its documents."
        ),
        "parameters": [_PARAMETER_ID],
        "responses": {
            "200": {"description": "The batch, which is cancelled.", "content": state},
            "204": {"description": "The batch is removed."},
            **_problems(404),
        },
    }


def _get_item() -> dict[str, Any]:
    return {
        "operationId": "getBatchItem",
        "tags": ["batches"],
        "summary": "The PDF of an item",
        "description": (
            "As soon as it is done; until then it is a conflict. An item that failed or was "
            "cancelled has none."
        ),
        "parameters": [
            _PARAMETER_ID,
            {
                "name": "number",
                "in": "path",
                "required": True,
                "description": "The item's, from 1.",
                "schema": {"type": "integer", "minimum": 1},
                "example": 1,
            },
        ],
        "responses": {
            "200": {
                "description": "The PDF of an item.",
                "content": {PDF: bytes_of("All its sheets.")},
                "headers": {**_FILE_NAME, **SHEET_COUNT},
            },
            "304": _UNCHANGED,
            **_problems(404, 406, 409),
        },
    }


def _get_archive() -> dict[str, Any]:
    return {
        "operationId": "getBatchArchive",
        "tags": ["batches"],
        "summary": "All packets of a batch",
        "description": (
            "When the batch has ended; until then it is a conflict. As a ZIP (the default) with a "
            "PDF an item, named like `03 Ada.pdf`, and an index that says what failed and why; or "
            "as one PDF for a print shop, everybody's sheets in turn, each under a bookmark. The "
            "ZIP is there at once. The one PDF is made by a worker then: until the batch's "
            "`collated` is `done` it is a conflict, with `Retry-After`; if it is `failed`, the "
            "answer is 410 with the detail of its problem, and will stay so."
        ),
        "parameters": [_PARAMETER_ID],
        "responses": {
            "200": {
                "description": "All packets that are done.",
                "content": {ZIP: bytes_of("A file an item."), PDF: bytes_of("All in one.")},
                "headers": {
                    **_FILE_NAME,
                    **SHEET_COUNT,
                    "ETag": {"description": "Of the one PDF.", "schema": {"type": "string"}},
                },
            },
            "304": _UNCHANGED,
            **_problems(404, 406, 409, 410),
        },
    }
