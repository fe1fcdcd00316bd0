"""The pages for people, made from the OpenAPI document and the kinds of problem."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import shlex
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from flask import Blueprint, Response, redirect, render_template, request, url_for
from markupsafe import Markup, escape
from werkzeug.wrappers import Response as AnyResponse

from piecewright.service.http.openapi.document import document
from piecewright.service.problems import KINDS, NOT_FOUND, Problem
from piecewright.service.responses.answer import MEDIA_TYPES
from piecewright.service.settings import Settings

_STYLE: Final = (Path(__file__).parents[1] / "pages" / "style.css").read_text("utf-8")
_STYLE_HASH: Final = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()

POLICY: Final = (
    f"default-src 'none'; style-src 'sha256-{_STYLE_HASH}'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)
"""Content-Security-Policy of the pages: their one style sheet, and nothing else."""

_USUAL_ADDRESS: Final = "http://127.0.0.1:8000"
_SAFE_ADDRESS: Final = re.compile(r"https?://[\w.:\[\]-]+(?:/[\w./-]*)?", re.ASCII)
_LONGEST_SHOWN: Final = 2400
"""Characters; of a longer example the start is shown."""


def pages(settings: Settings) -> Blueprint:
    """The addresses that people use."""
    blueprint = Blueprint("pages", __name__)

    @blueprint.get("/")
    def home() -> AnyResponse:
        return redirect(url_for("pages.docs"))

    @blueprint.get("/docs")
    def docs() -> Response:
        spec = document(settings)
        page = render_template(
            "docs.html",
            style=Markup(_STYLE),
            info=spec["info"],
            operations=list(operations(spec, _address())),
            shapes=list(shapes(spec)),
            problems=list(KINDS.values()),
        )
        return _page(page)

    @blueprint.get("/problems/<id>")
    def problem(id: str) -> Response:
        kind = KINDS.get(id)
        if kind is None:
            raise Problem(NOT_FOUND, f"There is no kind of problem {id!r:.60}.")
        return _page(render_template("problem.html", style=Markup(_STYLE), kind=kind))

    blueprint.add_app_template_filter(prose)
    return blueprint


def _page(text: str) -> Response:
    return Response(
        text, content_type="text/html; charset=utf-8", headers={"Content-Security-Policy": POLICY}
    )


def _address() -> str:
    """The address by which the reader reached the service, for the lines to copy."""
    base = request.root_url.rstrip("/")
    return base if _SAFE_ADDRESS.fullmatch(base) else _USUAL_ADDRESS


def prose(text: str) -> Markup:
    """Text with paragraphs and ``code`` between backticks as HTML."""
    paragraphs = []
    for paragraph in text.split("\n\n"):
        parts = paragraph.split("`")
        marked = (
            Markup("<code>{}</code>").format(part) if odd % 2 else escape(part)
            for odd, part in enumerate(parts)
        )
        paragraphs.append(Markup("").join(marked))
    return Markup("</p><p>").join(paragraphs)


# --- operations ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Shown:
    """An example as it is shown."""

    title: str
    text: str


@dataclass(frozen=True, slots=True)
class Row:
    """A field of a shape, a parameter, or an answer of an operation."""

    name: str
    kind: Markup
    required: bool
    description: str


@dataclass(frozen=True, slots=True)
class Operation:
    """What can be asked at one address.

    Attributes:
        curl: command lines that ask it.
    """

    id: str
    method: str
    path: str
    summary: str
    description: str
    curl: list[Shown]
    parameters: list[Row]
    body: Markup | None
    answers: list[Row]
    examples: list[Shown]


def operations(spec: Mapping[str, Any], address: str) -> Iterator[Operation]:
    """Every operation of the document, in its order."""
    for path, methods in spec["paths"].items():
        for method, operation in methods.items():
            body = operation.get("requestBody")
            yield Operation(
                id=operation["operationId"],
                method=method.upper(),
                path=path,
                summary=operation["summary"],
                description=operation["description"],
                curl=list(_curl(address, method.upper(), path, operation)),
                parameters=[
                    Row(
                        parameter["name"],
                        _kind(parameter["schema"]),
                        parameter.get("required", False),
                        parameter["description"],
                    )
                    for parameter in operation.get("parameters", ())
                ],
                body=_body(body["content"]) if body else None,
                answers=list(_answers(spec, operation)),
                examples=list(_examples(operation)),
            )


def _body(content: Mapping[str, Any]) -> Markup:
    """What the body of a request is: JSON of a kind, or a file of one of a few types."""
    if "application/json" in content:
        return _kind(content["application/json"]["schema"])
    files = [media_type for media_type in content if not media_type.startswith("multipart/")]
    return Markup(" or ").join(escape(media_type) for media_type in files)


def _curl(address: str, method: str, path: str, operation: Mapping[str, Any]) -> Iterator[Shown]:
    """Command lines; for a request with a body one for each form of answer."""
    for parameter in operation.get("parameters", ()):
        path = path.replace("{" + parameter["name"] + "}", str(parameter["example"]))
    target = (
        shlex.quote(address + path)
        if not _SAFE_ADDRESS.fullmatch(address + path)
        else (address + path)
    )
    if "requestBody" not in operation:
        yield Shown("", f"curl {target}" if method == "GET" else f"curl -X {method} {target}")
        return
    content = operation["requestBody"]["content"]
    if "application/json" not in content:
        # A file: by itself, and with what goes with it as the parts of a form.
        media_type = next(iter(content))
        name = f"pattern.{_ENDINGS.get(media_type, 'file')}"
        yield Shown(
            media_type,
            f"curl -X {method} {target} \\\n  -H 'Content-Type: {media_type}' "
            f"--data-binary @{name}",
        )
        yield Shown(
            "multipart/form-data",
            f"curl -X {method} {target} \\\n  -F 'file=@{name};type={media_type}' "
            "-F choices=@choices.json",
        )
        return
    shown = content["application/json"]["examples"]
    body = json.dumps(
        min((one["value"] for one in shown.values()), key=lambda value: len(str(value))),
        ensure_ascii=False,
    )
    (answer,) = (
        given["content"]
        for status, given in operation["responses"].items()
        if status.startswith("2") and "content" in given
    )
    for media_type in answer:
        name = f"{path.rsplit('/', 1)[-1]}.{_ENDINGS.get(media_type, 'json')}"
        save = "" if "json" in media_type else f" -o {name}"
        yield Shown(
            media_type,
            f"curl -X {method} {target} \\\n  -H 'Content-Type: application/json' "
            f"-H 'Accept: {media_type}' \\\n  -d {shlex.quote(body)}{save}",
        )


_ENDINGS: Final = {media_type: form for form, media_type in MEDIA_TYPES.items()}


def _answers(spec: Mapping[str, Any], operation: Mapping[str, Any]) -> Iterator[Row]:
    for status, given in operation["responses"].items():
        answer = _resolved(spec, given)
        forms = Markup(", ").join(
            Markup("{}: {}").format(media_type, _kind(content["schema"]))
            if "$ref" in content["schema"]
            else escape(media_type)
            for media_type, content in answer.get("content", {}).items()
        )
        yield Row(status, forms, False, answer["description"])


def _examples(operation: Mapping[str, Any]) -> Iterator[Shown]:
    if "requestBody" in operation:
        content = operation["requestBody"]["content"].get("application/json", {})
        for one in content.get("examples", {}).values():
            yield Shown(f"Request. {one['summary']}", _pretty(one["value"]))
    for status, answer in operation["responses"].items():
        for content in answer.get("content", {}).values():
            if "example" in content:
                yield Shown(f"Answer {status}", _pretty(content["example"]))
            for name, one in content.get("examples", {}).items():
                yield Shown(f"Answer {status}: {name}", _pretty(one["value"]))


def _pretty(value: Any) -> str:
    """JSON over several lines, lists of plain values on one."""
    text = json.dumps(value, indent=2, ensure_ascii=False)
    flat = re.compile(r"\[\s+((?:[^\[\]{}\"]|\"[^\"]*\")*?)\s+\]")
    text = flat.sub(lambda m: "[" + re.sub(r"\s*\n\s*", " ", m[1]) + "]", text)
    return text if len(text) <= _LONGEST_SHOWN else text[:_LONGEST_SHOWN].rstrip() + "\n…"


# --- shapes ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Shape:
    """A named schema with its fields; ``kind`` says what it is if it is no object."""

    name: str
    description: str
    kind: Markup | None
    fields: list[Row]


def shapes(spec: Mapping[str, Any]) -> Iterator[Shape]:
    """Every named schema of the document."""
    for name, schema in spec["components"]["schemas"].items():
        required = schema.get("required", ())
        yield Shape(
            name,
            schema.get("description", ""),
            None if "properties" in schema else _kind(schema),
            [
                Row(field, _kind(shape), field in required, _about(shape))
                for field, shape in schema.get("properties", {}).items()
            ],
        )


def _about(shape: Mapping[str, Any]) -> str:
    about = str(shape.get("description", ""))
    if "default" in shape:
        about += f" Default: `{shape['default']}`."
    return about.strip()


def _kind(shape: Mapping[str, Any]) -> Markup:
    """A schema in a few words, with links to the named ones."""
    if "$ref" in shape:
        name = shape["$ref"].rsplit("/", 1)[1]
        return Markup('<a href="#{0}">{0}</a>').format(name)
    if "oneOf" in shape:
        return Markup(" or ").join(_kind(one) for one in shape["oneOf"])
    if "enum" in shape:
        return Markup(" | ").join(Markup("<code>{}</code>").format(w) for w in shape["enum"])
    if shape.get("type") == "array":
        return Markup("list of {}").format(_kind(shape.get("items", {})))
    given = shape.get("type", "anything")
    return escape(" or ".join(given) if isinstance(given, list) else given)


def _resolved(spec: Mapping[str, Any], given: Mapping[str, Any]) -> Mapping[str, Any]:
    if "$ref" not in given:
        return given
    found: Any = spec
    for part in given["$ref"].removeprefix("#/").split("/"):
        found = found[part]
    return found  # type: ignore[no-any-return]
