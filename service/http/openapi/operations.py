"""What all operations have alike: parameters, headers, contents, and how they may fail."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from marshmallow import Schema

from piecewright.patchwork.lengths import UNITS
from piecewright.service.http.openapi.examples import Example
from piecewright.service.http.openapi.problems import refusal_response
from piecewright.service.requests.schemas import BlockRequest
from piecewright.service.responses.answer import JSON, MEDIA_TYPES, SHEETS, Form
from piecewright.service.settings import Settings

UNIT: Final[dict[str, Any]] = {
    "name": "unit",
    "in": "query",
    "description": "Of every length of the answer.",
    "schema": {"type": "string", "enum": list(UNITS), "default": "in"},
    "example": "cm",
}


PAGE: Final[dict[str, Any]] = {
    "name": "page",
    "in": "query",
    "description": "With `Accept: image/svg+xml`: the number of one sheet.",
    "schema": {"type": "integer", "minimum": 1},
    "example": 1,
}
SVG_SHEETS: Final[dict[str, Any]] = {
    "name": "sheets",
    "in": "query",
    "description": (
        "With `Accept: application/json`: `svg` adds to each of the answer's `pages` its SVG, so "
        "that all sheets can be shown though they are laid out once."
    ),
    "schema": {"type": "string", "enum": ["svg"]},
    "example": "svg",
}
PICTURES: Final[dict[str, Any]] = {
    "name": "pictures",
    "in": "query",
    "description": "`svg` adds a small picture of each block.",
    "schema": {"type": "string", "enum": ["svg"]},
    "example": "svg",
}
REQUEST_ID: Final[dict[str, Any]] = {
    "name": "X-Request-Id",
    "in": "header",
    "description": "Your own name for the request, which the answer and the log have then too: "
    "up to 64 letters, figures, dots, hyphens and underscores. Another is given for any other.",
    "schema": {"type": "string"},
    "example": "pennant-1",
}
SHEET_COUNT: Final[dict[str, Any]] = {
    SHEETS: {
        "description": "How many sheets there are; not with the canvas of SVG, which has none.",
        "schema": {"type": "integer", "minimum": 1},
    }
}
FILE_NAME: Final[dict[str, Any]] = {
    "Content-Disposition": {
        "description": "For PDF and ZIP: a file name after the block.",
        "schema": {"type": "string"},
    }
}
_TAG: Final[dict[str, Any]] = {
    "ETag": {
        "description": "The same as long as the answer is.",
        "schema": {"type": "string"},
    }
}


WITH_A_BODY: Final = (400, 406, 413, 415, 503)
"""How a request with a body may fail, besides 422."""


def operation(
    id: str,
    tag: str,
    summary: str,
    description: str,
    content: Mapping[str, Any],
    *,
    body: Mapping[str, Example] | None = None,
    parameters: Iterable[Mapping[str, Any]] = (),
    headers: Mapping[str, Any] | None = None,
    problems_: Iterable[int] = (),
    settings: Settings | None = None,
    schema: type[Schema] = BlockRequest,
    lasting: bool = False,
    with_pieces: bool = False,
) -> dict[str, Any]:
    """An operation with an answer of status 200.

    Args:
        content: of the answer, by its media type.
        body: examples of requests, by name, for an operation that takes one; ``settings`` are
            then needed too, for the answer to a wrong one, and ``schema`` is the request's.
        headers: of the answer, besides its tag.
        problems_: the statuses of the problems that it may end in, besides 500 and, with a body,
            422.
        lasting: whether an answer that the client has is not sent again.
        with_pieces: whether the answer to a wrong request has the pieces that were found.
    """
    answer: dict[str, Any] = {"description": summary + ".", "content": dict(content)}
    answer["headers"] = {**(headers or {}), **_TAG}
    responses: dict[str, Any] = {"200": answer}
    if lasting:
        responses["304"] = {"description": "You have it: its tag is in your If-None-Match."}
    # apispec makes a reference of the name of a component.
    for status in sorted({*problems_, 500}):
        responses[str(status)] = f"Problem{status}"
    made: dict[str, Any] = {
        "operationId": id,
        "tags": [tag],
        "summary": summary,
        "description": description,
        "responses": responses,
    }
    if parameters:
        made["parameters"] = list(parameters)
    if body is not None and settings is not None:
        made["requestBody"] = {
            "required": True,
            "content": {
                JSON: {
                    "schema": schema,
                    "examples": {
                        name: {"summary": one.summary, "value": one.body}
                        for name, one in body.items()
                    },
                }
            },
        }
        responses["422"] = refusal_response(settings, with_pieces)
    return made


def content_of(schema: type[Schema], example: Any) -> dict[str, Any]:
    """The content of a JSON answer, with an example unless that is None."""
    content: dict[str, Any] = {"schema": schema}
    if example is not None:
        content["example"] = example
    return content


def files_of(forms: Iterable[Form], description: str = "") -> dict[str, Any]:
    """The contents of an answer in forms other than JSON, by media type.

    Args:
        description: of each; of sheets if not given.
    """
    what = {"pdf": "All sheets.", "svg": "The canvas, or the sheet.", "zip": "A file a sheet."}
    return {
        MEDIA_TYPES[form]: (text_of if form == "svg" else bytes_of)(description or what[form])
        for form in forms
    }


def text_of(description: str) -> dict[str, Any]:
    """The content of an answer that is text, such as SVG."""
    return {"schema": {"type": "string", "description": description}}


def bytes_of(description: str) -> dict[str, Any]:
    """The content of an answer that is no text, such as a PDF."""
    # OpenAPI 3.1 needs no format to know it; generators of clients know it by that of 3.0.
    return {"schema": {"type": "string", "format": "binary", "description": description}}


def example_fits(settings: Settings) -> bool:
    """Whether the example of an answer is within the limits of this service, so that there can be
    one: an example is what the service really answers."""
    return settings.max_pieces >= 3 and settings.max_points >= 4
