"""The OpenAPI document, made from the schemas.

``python -m piecewright.service.http.openapi.document`` writes it.
"""

from __future__ import annotations

import sys
from functools import lru_cache
from typing import Any

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from apispec.ext.marshmallow.common import resolve_schema_cls
from apispec.ext.marshmallow.openapi import OpenAPIConverter
from marshmallow import Schema
from marshmallow import fields as plain

from piecewright.patchwork.lengths import UNITS
from piecewright.service import VERSION
from piecewright.service.http.access import GUARDED
from piecewright.service.http.openapi.components import COMPONENTS
from piecewright.service.http.openapi.paths import paths
from piecewright.service.http.openapi.problems import problem_response
from piecewright.service.json_text import MOST_DEPTH, read_json, write_json
from piecewright.service.problems import KINDS
from piecewright.service.requests import limits
from piecewright.service.requests.block_schemas import MOST_LINES
from piecewright.service.requests.fields import LONGEST_ID, LONGEST_NAME, RequestField
from piecewright.service.responses.fields import OwnShape
from piecewright.service.settings import Settings


@lru_cache(maxsize=4)
def document(settings: Settings) -> dict[str, Any]:
    """The OpenAPI 3.1 document of a service with these settings."""
    # apispec takes neither docstrings nor rules from a schema; they are put in below.
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
            {"name": "patterns", "description": "Patterns of your own, read back."},
            {"name": "batches", "description": "Many packets as one job."},
            {"name": "service", "description": "The service itself."},
        ],
    )
    assert marshmallow.converter is not None
    marshmallow.converter.add_attribute_function(_own_fields)  # type: ignore[no-untyped-call]
    for name, shape in COMPONENTS.items():
        spec.components.schema(name, shape)
    # The answer of status 422 is each operation's own, as it shows faults of its own request.
    for status in sorted({kind.status for kind in KINDS.values()} - {422}):
        spec.components.response(f"Problem{status}", problem_response(status))
    spec.components.security_scheme(
        "key",
        {
            "type": "http",
            "scheme": "bearer",
            "description": "An API key, where whoever runs the service has set any.",
        },
    )
    for path, operations in paths(settings).items():
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
    """Lets a field that has a shape of its own say what its values are; apispec does the others."""
    if not isinstance(field, RequestField | OwnShape):
        return {}

    def refer(schema: type[Schema] | str) -> dict[str, Any]:
        if isinstance(schema, str):
            return {"$ref": f"#/components/schemas/{schema}"}
        found: dict[str, Any] = converter.resolve_nested_schema(schema)  # type: ignore[no-untyped-call]
        return found

    shape = field.json_schema(refer)
    # apispec has added null to the types that it knows before it comes to this function.
    if field.allow_none and isinstance(shape.get("type"), str):
        shape["type"] = [shape["type"], "null"]
    return shape


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
        f"{MOST_LINES:,} lines in a drawing, {settings.max_sheets:,} sheets in a "
        f"document, {settings.max_items:,} items in a batch{room}, {LONGEST_NAME} characters in a "
        f"name and {LONGEST_ID} in an id, "
        f"{MOST_DEPTH:,} levels of nesting; {settings.deadline} seconds for drawing an answer"
        f"{rate}. A finished block measures from 1/4 in to 400 in, and "
        f"an allowance, a margin and an overlap up to {limits.NARROW.most:g} in."
    )


def written(settings: Settings | None = None) -> bytes:
    """The document as the file ``openapi/openapi.json`` keeps it."""
    return write_json(document(settings or Settings()), indent=2)


if __name__ == "__main__":
    sys.stdout.buffer.write(written())
