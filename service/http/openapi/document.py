"""The OpenAPI document, made from the schemas.

``python -m piecewright.service.http.openapi.document`` writes it.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from apispec.ext.marshmallow.common import resolve_schema_cls
from apispec.ext.marshmallow.openapi import OpenAPIConverter
from marshmallow import Schema
from marshmallow import fields as plain

from piecewright.patchwork.lengths import UNITS
from piecewright.service import VERSION, problems
from piecewright.service.http.access import GUARDED
from piecewright.service.http.openapi import examples
from piecewright.service.http.openapi.batches import batch_paths
from piecewright.service.http.openapi.examples import (
    FAULTY,
    FOUNDATIONS,
    GOOD,
    PACKETS,
    PLANS,
    QUILTS,
    Example,
)
from piecewright.service.json_text import MOST_DEPTH, read_json, write_json
from piecewright.service.problems import KINDS, Kind
from piecewright.service.requests import schemas
from piecewright.service.requests.fields import LONGEST_ID, LONGEST_NAME, RequestField
from piecewright.service.requests.parse import Refused, read_request
from piecewright.service.responses.answer import MEDIA_TYPES, Form
from piecewright.service.responses.catalogue import Catalogue, block_answer, catalogue_answer
from piecewright.service.responses.check import CheckAnswer, check_answer
from piecewright.service.responses.fields import OwnShape
from piecewright.service.responses.health import Health, health_answer
from piecewright.service.responses.printables import PRINTABLES
from piecewright.service.responses.problem import Problem, problem_body
from piecewright.service.settings import Settings

JSON: Final = MEDIA_TYPES["json"]

_LENGTH: Final[dict[str, Any]] = {
    "description": (
        "A number in the request's unit, or text: a decimal or a fraction, with or without a unit."
    ),
    "oneOf": [
        {"type": "number"},
        {
            "type": "string",
            "maxLength": 40,
            "pattern": (
                r"^\s*[+-]?\s*(\d+(\s+|\s*-\s*)\d+\s*/\s*\d+|\d+\s*/\s*\d+|\d+(\.\d*)?|\.\d+)"
                r'\s*(in|"|cm|mm)?\s*$'
            ),
        },
    ],
    "examples": [3.5, "3 1/2", "3-1/2", "7/8", "12 mm"],
}


def _pair_of(item: Mapping[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": dict(item), "minItems": 2, "maxItems": 2}


_POINT: Final[dict[str, Any]] = {
    "description": "`[x, y]`: x to the right, y down, seen from the face of the block.",
    **_pair_of({"$ref": "#/components/schemas/Length"}),
}
_PLACE: Final[dict[str, Any]] = {
    "description": "`[x, y]` in the answer's unit, to 6 decimals: x to the right, y down.",
    **_pair_of({"type": "number"}),
}
_JOINS: Final[dict[str, Any]] = {
    "description": (
        "The order of sewing: a piece id, or a pair of units that are sewn to each other. "
        '`[["a", "b"], ["c", "d"]]`: join a to b, c to d, then both.'
    ),
    "oneOf": [
        {"type": "string", "minLength": 1, "maxLength": LONGEST_ID},
        _pair_of({"$ref": "#/components/schemas/Joins"}),
    ],
}


_UNIT: Final[dict[str, Any]] = {
    "name": "unit",
    "in": "query",
    "description": "Of every length of the answer.",
    "schema": {"type": "string", "enum": list(UNITS), "default": "in"},
    "example": "cm",
}


_PAGE: Final[dict[str, Any]] = {
    "name": "page",
    "in": "query",
    "description": "With `Accept: image/svg+xml`: the number of one sheet.",
    "schema": {"type": "integer", "minimum": 1},
    "example": 1,
}
_FILE_NAME: Final[dict[str, Any]] = {
    "Content-Disposition": {
        "description": "For PDF and ZIP: a file name after the block.",
        "schema": {"type": "string"},
    }
}
_LATER: Final[dict[str, Any]] = {
    "Retry-After": {
        "description": "Seconds after which the request may be sent again, where that may help.",
        "schema": {"type": "integer"},
    }
}
_TAG: Final[dict[str, Any]] = {
    "ETag": {
        "description": "The same as long as the answer is.",
        "schema": {"type": "string"},
    }
}


_WITH_A_BODY: Final = (400, 406, 413, 415, 503)
"""How a request with a body may fail, besides 422."""


@dataclass(frozen=True, slots=True)
class _Making:
    """What is said of the operation that makes a printable.

    Attributes:
        bodies: examples of requests, by name.
        shown: the request to which the example of an answer is given.
    """

    id: str
    summary: str
    description: str
    bodies: Mapping[str, Example]
    shown: Example = examples.SIGNAL_FLAG


_MADE: Final = {
    "templates": _Making(
        "makeTemplates",
        "Cutting templates",
        "At true size, in the form that `Accept` asks for: outlines as JSON (the default), "
        "all sheets as a PDF, all templates on one SVG canvas or one sheet of them "
        "(`page`), or a ZIP with an SVG file a sheet.",
        GOOD,
    ),
    "sewing-plan": _Making(
        "makeSewingPlan",
        "Sewing plan",
        "Steps with what is joined to what, along which seam, pressed which way and "
        "trimmed to which size; which meetings nest and why the others cannot; how far off "
        "units and points may come out. The pressing plan has the most nested meetings "
        "possible (`optimal` where that is proven). As JSON (the default), as cards on "
        "sheets in a PDF, on one SVG canvas or one sheet (`page`), or a ZIP with an SVG "
        "file a sheet.",
        PLANS,
    ),
    "block-map": _Making(
        "makeBlockMap",
        "Block map",
        "The block at its finished size, without seam allowance: fabrics as pale fills "
        "with patterns, piece ids, step numbers on the seams, arrows toward the pressed "
        "side, and meetings that nest or do not. As JSON (the default), as sheets in a "
        "PDF, on one SVG canvas or one sheet (`page`), or a ZIP with an SVG file a sheet.",
        PLANS,
    ),
    "cutting-list": _Making(
        "makeCuttingList",
        "Cutting list and yardage",
        "What to cut from each fabric, strip by strip, and how much cloth to buy: as JSON "
        "(the default), as sheets to tick off in a PDF, on one SVG canvas or one sheet "
        "(`page`), or a ZIP with an SVG file a sheet. Squares are cut at s + 2a; "
        "half-square triangles from a square of s + (2 + √2)a cut once; quarter-square "
        "triangles from one of s + (2 + 2√2)a cut twice; rounded up to 1/8 in or 0.5 cm.",
        GOOD,
    ),
    "foundation": _Making(
        "makeFoundation",
        "Foundation sections",
        "For sewing on paper: the block's own sections, or else the fewest that work, each "
        "with the order of sewing and the rectangles of fabric to cut. As JSON (the "
        "default; seen from the face), or printed as mirror images: as sheets in a PDF, on "
        "one SVG canvas or one sheet (`page`), or a ZIP with an SVG file a sheet. A block "
        "with curved or set-in seams has none: the problem names every such seam.",
        FOUNDATIONS,
    ),
    "quilt-plan": _Making(
        "planQuilt",
        "Plan of a group quilt",
        "Shares the blocks of a quilt out evenly among its makers, and plans the pressing "
        "of all of them together, so that seams nest inside blocks and between neighbours "
        "with as few variants of each block as possible; says in which order blocks and "
        "rows are joined. As JSON (the default), as sheets in a PDF, on one SVG canvas or "
        "one sheet (`page`), or a ZIP with an SVG file a sheet. Sent to `/v1/batches`, the "
        "same request gives each maker a packet.",
        QUILTS,
        examples.HARBOUR_QUILT,
    ),
    "packet": _Making(
        "makePacket",
        "Packet",
        "The parts that are asked for in one document, its sheets counted through: a cover "
        "with the block, its finished size, what the packet holds and what to mind; block "
        "map, sewing plan, cutting list, templates or foundation sections. As JSON (the "
        "default; what the packet holds), as a PDF with bookmarks, or a ZIP with an SVG "
        "file a sheet.",
        PACKETS,
        examples.PAPER_PACKET,
    ),
}
"""By the names of ``PRINTABLES``, in the order of the document."""


@lru_cache(maxsize=4)
def document(settings: Settings) -> dict[str, Any]:
    """The OpenAPI 3.1 document of a service with these settings."""
    named: dict[str, type[Schema]] = {}

    def name_of(schema: Any) -> str:
        cls = resolve_schema_cls(schema)
        assert isinstance(cls, type)
        named[cls.__name__] = cls
        return cls.__name__

    marshmallow = MarshmallowPlugin(schema_name_resolver=name_of)
    spec = APISpec(
        title="Piecewright",
        version=VERSION,
        openapi_version="3.1.0",
        plugins=[marshmallow],
        info={
            "summary": "True-scale cutting templates for patchwork blocks.",
            "description": _introduction(settings),
            "license": {"name": "Apache License 2.0", "identifier": "Apache-2.0"},
        },
        servers=[{"url": "/", "description": "The service that gives this document."}],
        tags=[
            {"name": "blocks", "description": "The built-in blocks."},
            {"name": "printables", "description": "What can be made of a block."},
            {"name": "batches", "description": "Many packets as one job."},
            {"name": "service", "description": "The service itself."},
        ],
    )
    assert marshmallow.converter is not None
    marshmallow.converter.add_attribute_function(_own_fields)  # type: ignore[no-untyped-call]
    for name, shape in (
        ("Length", _LENGTH),
        ("Point", _POINT),
        ("Place", _PLACE),
        ("Joins", _JOINS),
    ):
        spec.components.schema(name, shape)
    for status in sorted({kind.status for kind in KINDS.values()} - {422}):
        spec.components.response(f"Problem{status}", _problem_response(status))
    spec.components.security_scheme(
        "key",
        {
            "type": "http",
            "scheme": "bearer",
            "description": "An API key, where whoever runs the service has set any.",
        },
    )
    for path, operations in _paths(settings).items():
        spec.path(path=path, operations=operations)
    made: dict[str, Any] = spec.to_dict()
    for name, cls in named.items():
        shape = made["components"]["schemas"][name]
        shape["description"] = " ".join((cls.__doc__ or "").split())
        shape.update(getattr(cls, "rules", {}))
    for path, operations in made["paths"].items():
        for operation in operations.values() if path.startswith(GUARDED) else ():
            _guard(operation)
    # Through its own text, so that nothing in it is shared with what it was made from.
    read: dict[str, Any] = read_json(write_json({"openapi": made.pop("openapi"), **made}))
    return read


def _guard(operation: dict[str, Any]) -> None:
    """Says of an operation that it may need a key, which may not be to be looked up just then, and
    may be asked for too often."""
    operation["security"] = [{}, {"key": []}]
    for status in (401, 429, 503):
        operation["responses"][str(status)] = {"$ref": f"#/components/responses/Problem{status}"}


def _own_fields(
    converter: OpenAPIConverter, field: plain.Field[Any], **kwargs: Any
) -> dict[str, Any]:
    """Lets a field of ``requests.fields`` and ``requests.schemas`` say what it takes."""
    if not isinstance(field, RequestField | OwnShape):
        return {}

    def refer(schema: type[Schema] | str) -> dict[str, Any]:
        if isinstance(schema, str):
            return {"$ref": f"#/components/schemas/{schema}"}
        found: dict[str, Any] = converter.resolve_nested_schema(schema)  # type: ignore[no-untyped-call]
        return found

    shape = field.json_schema(refer)
    if field.allow_none and isinstance(shape.get("type"), str):
        shape["type"] = [shape["type"], "null"]
    return shape


# --- what stands in it -----------------------------------------------------------------------


def _introduction(settings: Settings) -> str:
    rate = f" and {settings.rate:,} requests a minute" if settings.rate else ""
    kept = [
        f"{most:,} {what}"
        for most, what in (
            (settings.keep_batches, "batches"),
            (settings.keep_bytes, "bytes of their documents"),
        )
        if most
    ]
    room = f", {' and '.join(kept)} kept for one user" if kept else ""
    return (
        "Send a patchwork block as JSON; get templates back that can be printed at true size, cut "
        "and sewn.\n\n"
        f"Lengths are numbers or text such as `3 1/2`, in {', '.join(f'`{u}`' for u in UNITS)}; "
        "answers give them in the request's unit to 6 decimals. The block plane has x to the "
        "right and y down, seen from the face of the block; angles are degrees clockwise.\n\n"
        "Every error is `application/problem+json` (RFC 9457), and tells all faults at once. "
        "Every answer has an `X-Request-Id`.\n\n"
        f"Limits: a request of {settings.max_request_bytes:,} bytes, {settings.max_pieces:,} "
        f"pieces in a block, {settings.max_points:,} points in an outline, "
        f"{schemas.MOST_LINES:,} lines in a drawing, {settings.max_sheets:,} sheets in a "
        f"document, {settings.max_items:,} items in a batch{room}, {LONGEST_NAME} characters in a "
        f"name and {LONGEST_ID} in an id, "
        f"{MOST_DEPTH:,} levels of nesting; {settings.deadline} seconds for drawing an answer"
        f"{rate}. A finished block measures from 1/4 in to 400 in, and "
        "an allowance, a margin and an overlap up to 3 in."
    )


def _paths(settings: Settings) -> dict[str, dict[str, Any]]:
    catalogue = catalogue_answer()
    checked = None
    if _fits(settings):
        checked = check_answer(read_request(examples.SIGNAL_FLAG.body, settings))
    return {
        "/v1/blocks": {
            "get": _operation(
                "listBlocks",
                "blocks",
                "The catalogue",
                "Every built-in block, by id. All are traditional and in the public domain.",
                {JSON: _content(Catalogue, {**catalogue, "blocks": catalogue["blocks"][:3]})},
                parameters=[_UNIT],
                problems_=(400, 406),
                lasting=True,
            )
        },
        "/v1/blocks/{id}": {
            "get": _operation(
                "getBlock",
                "blocks",
                "A block of the catalogue as geometry",
                "What a request's `block` may be, to be changed and sent back.",
                {JSON: _content(schemas.BlockAsPieces, block_answer("drunkards-path"))},
                parameters=[
                    {
                        "name": "id",
                        "in": "path",
                        "required": True,
                        "description": "As `GET /v1/blocks` lists it.",
                        "schema": {"type": "string"},
                        "example": "drunkards-path",
                    },
                    _UNIT,
                ],
                problems_=(400, 404, 406),
                lasting=True,
            )
        },
        "/v1/check": {
            "post": _operation(
                "checkBlock",
                "printables",
                "The block read back as pieces",
                "With sizes and cautions if the block is good; else a problem with every fault.",
                {JSON: _content(CheckAnswer, checked)},
                body={**GOOD, **FAULTY},
                problems_=_WITH_A_BODY,
                settings=settings,
            )
        },
        **{f"/v1/{name}": {"post": _made(name, settings)} for name in _MADE},
        **batch_paths(),
        "/health": {
            "get": _operation(
                "getHealth",
                "service",
                "Whether the service can do its work",
                "The first request of a process draws a trial document. Where batches are kept, it "
                "must be possible to open their database and their files too.",
                {JSON: _content(Health, health_answer())},
                problems_=(503,),
            )
        },
        "/metrics": {
            "get": _operation(
                "getMetrics",
                "service",
                "Figures for Prometheus",
                "In the text format of Prometheus.",
                {"text/plain": {"schema": {"type": "string"}}},
            )
        },
        "/openapi.json": {
            "get": _operation(
                "getDocument",
                "service",
                "This document",
                "OpenAPI 3.1.",
                {JSON: {"schema": {"type": "object"}, "example": {"openapi": "3.1.0"}}},
                lasting=True,
            )
        },
        "/docs": {
            "get": _operation(
                "getPage",
                "service",
                "This document as a page to read",
                "",
                {"text/html": {"schema": {"type": "string"}}},
                lasting=True,
            )
        },
    }


def _made(name: str, settings: Settings) -> dict[str, Any]:
    """The operation that makes a printable."""
    message, thing = _MADE[name], PRINTABLES[name]
    shown = None
    if _fits(settings):
        asked = thing.read(message.shown.body, settings)
        shown = read_json(thing.answer(asked, "json", settings.max_sheets, None).content)
    by_the_sheet = "svg" in thing.forms
    return _operation(
        message.id,
        "printables",
        message.summary,
        message.description,
        {
            JSON: _content(thing.answer_schema, shown),
            **_files(form for form in thing.forms if form != "json"),
        },
        body=message.bodies,
        parameters=[_PAGE] if by_the_sheet else (),
        headers=_FILE_NAME,
        problems_=(*_WITH_A_BODY, 404) if by_the_sheet else _WITH_A_BODY,
        settings=settings,
        schema=thing.request_schema,
    )


def _fits(settings: Settings) -> bool:
    """Whether the example is within the limits of this service."""
    return settings.max_pieces >= 3 and settings.max_points >= 4


def _content(schema: type[Schema], example: Any) -> dict[str, Any]:
    content: dict[str, Any] = {"schema": schema}
    if example is not None:
        content["example"] = example
    return content


def _files(forms: Iterable[Form]) -> dict[str, Any]:
    message = {"pdf": "All sheets.", "svg": "The canvas, or the sheet.", "zip": "A file a sheet."}
    return {
        MEDIA_TYPES[form]: {"schema": {"type": "string", "description": message[form]}}
        for form in forms
    }


def _operation(
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
    schema: type[Schema] = schemas.BlockRequest,
    lasting: bool = False,
) -> dict[str, Any]:
    answer: dict[str, Any] = {"description": summary + ".", "content": dict(content)}
    answer["headers"] = {**(headers or {}), **_TAG}
    responses: dict[str, Any] = {"200": answer}
    if lasting:
        responses["304"] = {"description": "You have it: its tag is in your If-None-Match."}
    for status in sorted({*problems_, 500}):
        responses[str(status)] = f"Problem{status}"
    operation: dict[str, Any] = {
        "operationId": id,
        "tags": [tag],
        "summary": summary,
        "description": description,
        "responses": responses,
    }
    if parameters:
        operation["parameters"] = list(parameters)
    if body is not None and settings is not None:
        operation["requestBody"] = {
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
        responses["422"] = _refusal_response(settings)
    return operation


def _problem_content(shown: Mapping[str, Any]) -> dict[str, Any]:
    return {problems.MEDIA_TYPE: {"schema": Problem, "examples": dict(shown)}}


def _problem_response(status: int) -> dict[str, Any]:
    """The answer with each kind of problem of one status."""
    kinds = [kind for kind in KINDS.values() if kind.status == status]
    headers = {"headers": _LATER} if status in (409, 429, 503, 507) else {}
    return {
        **headers,
        "description": " Or: ".join(f"{kind.title}." for kind in kinds),
        "content": _problem_content({kind.id: {"value": _example(kind)} for kind in kinds}),
    }


_DETAILS: Final = {
    "bad-json": "This is not JSON: Expecting ',' delimiter (line 1, column 24).",
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


def _refusal_response(settings: Settings) -> dict[str, Any]:
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
            told = problem_body(kind, detail, f"/problems/{kind.id}", error.faults, error.unit)
            shown[kind.id] = {"value": told}
    return {
        "description": "The block or a setting has faults; all of them are told.",
        "content": _problem_content(shown),
    }


def written(settings: Settings | None = None) -> bytes:
    """The document as the file ``openapi/openapi.json`` keeps it."""
    return write_json(document(settings or Settings()), indent=2)


if __name__ == "__main__":
    sys.stdout.buffer.write(written())
