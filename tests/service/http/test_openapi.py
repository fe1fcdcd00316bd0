"""The OpenAPI document is valid (OpenAPI 3.1), current, and says what the service really answers.

Schemas are JSON Schema draft 2020-12, which ``jsonschema`` checks.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator

from piecewright.service.http.openapi import document as openapi
from piecewright.service.responses.printables import PRINTABLES
from piecewright.service.settings import Settings

KEPT = Path(__file__).parents[3] / "openapi" / "openapi.json"
DOCUMENT = openapi.document(Settings())
JSON = "application/json"


def faults(schema: dict[str, Any], value: Any) -> list[str]:
    whole = {**schema, "components": DOCUMENT["components"]}
    return [error.message for error in Draft202012Validator(whole).iter_errors(value)]


def resolved(node: dict[str, Any]) -> dict[str, Any]:
    found: Any = DOCUMENT
    if "$ref" not in node:
        return node
    for word in node["$ref"].removeprefix("#/").split("/"):
        found = found[word]
    return dict(found)


def operations() -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, methods in DOCUMENT["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def contents() -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Every body of every operation: what it is, its media type, and how it is described."""
    for path, method, operation in operations():
        for media, content in operation.get("requestBody", {}).get("content", {}).items():
            yield f"{method} {path} request", media, content
        for status, response in operation["responses"].items():
            for media, content in resolved(response).get("content", {}).items():
                yield f"{method} {path} {status}", media, content


def examples(content: dict[str, Any]) -> list[Any]:
    shown = [example["value"] for example in content.get("examples", {}).values()]
    return shown + ([content["example"]] if "example" in content else [])


JSON_CONTENTS = [
    pytest.param(content, id=f"{what} {media}")
    for what, media, content in contents()
    if "json" in media
]
EXAMPLES = {
    (path, name): example["value"]
    for path, _, operation in operations()
    for media, content in operation.get("requestBody", {}).get("content", {}).items()
    if media == JSON
    for name, example in content["examples"].items()
}
REQUESTS = {name: body for (_, name), body in EXAMPLES.items()}
PRINTED = [asked for asked in EXAMPLES if asked[0].removeprefix("/v1/") in PRINTABLES]


def test_the_kept_file_is_current() -> None:
    assert KEPT.read_bytes() == openapi.written(), "run `make openapi` and commit the file"


def test_it_is_valid() -> None:
    OpenAPIV31SpecValidator(DOCUMENT).validate()


def test_its_version_is_the_programs() -> None:
    project = tomllib.loads((KEPT.parents[1] / "pyproject.toml").read_text("utf-8"))["project"]
    assert DOCUMENT["info"]["version"] == project["version"]


def test_its_licence_is_named() -> None:
    assert DOCUMENT["info"]["license"]["identifier"] == "Apache-2.0"


def test_its_limits_are_those_of_the_service() -> None:
    message = openapi.document(Settings(max_sheets=77, max_request_bytes=12345))["info"][
        "description"
    ]
    assert "77 sheets" in message
    assert "12,345 bytes" in message


@pytest.mark.parametrize("content", JSON_CONTENTS)
def test_every_body_has_an_example_that_meets_its_schema(content: dict[str, Any]) -> None:
    shown = examples(content)
    assert shown
    for example in shown:
        assert faults(content["schema"], example) == []


def test_every_kind_of_problem_of_an_answer_is_shown() -> None:
    shown = {
        (int(what.split()[-1]), example["status"])
        for what, media, content in contents()
        if media == "application/problem+json"
        for example in examples(content)
    }
    assert all(named == status for named, status in shown)
    assert {named for named, _ in shown} >= {400, 404, 406, 413, 415, 422, 500}


@pytest.mark.parametrize(("path", "name"), PRINTED)
def test_what_an_example_asks_for_can_be_had(client: FlaskClient, path: str, name: str) -> None:
    answer = client.post(path, json=EXAMPLES[path, name])
    assert answer.status_code == 200, answer.text
    described = DOCUMENT["paths"][path]["post"]["responses"]["200"]
    assert faults(described["content"][JSON]["schema"], answer.json) == []


@pytest.mark.parametrize("path", ["/v1/check", "/v1/templates"])
@pytest.mark.parametrize("name", REQUESTS)
def test_real_answers_to_the_examples_meet_their_schemas(
    client: FlaskClient, path: str, name: str
) -> None:
    answer = client.post(path, json=REQUESTS[name])
    assert answer.status_code in (200, 422)
    described = resolved(DOCUMENT["paths"][path]["post"]["responses"][str(answer.status_code)])
    assert faults(described["content"][answer.mimetype]["schema"], answer.json) == []


@pytest.mark.parametrize(
    ("path", "described"),
    [
        ("/v1/blocks", "/v1/blocks"),
        ("/v1/blocks?unit=mm", "/v1/blocks"),
        ("/v1/blocks/drunkards-path", "/v1/blocks/{id}"),
        ("/v1/blocks/sawtooth-star?unit=cm", "/v1/blocks/{id}"),
        ("/health", "/health"),
    ],
)
def test_real_answers_about_the_catalogue_meet_their_schemas(
    client: FlaskClient, path: str, described: str
) -> None:
    answer = client.get(path)
    response = DOCUMENT["paths"][described]["get"]["responses"]["200"]
    assert answer.status_code == 200
    assert faults(response["content"][JSON]["schema"], answer.json) == []


def test_it_is_served_as_it_is_kept(client: FlaskClient) -> None:
    answer = client.get("/openapi.json")
    assert answer.mimetype == JSON
    assert answer.json == json.loads(KEPT.read_text("utf-8"))


@pytest.mark.parametrize(
    "body",
    [
        {"block": "pinwheel", "printer": {}},
        {"block": "pinwheel", "corners": "round"},
        {"block": "pinwheel", "sheet": {"paper": "a4", "width": 8, "height": 9}},
        {"block": "pinwheel", "sheet": {"width": 8}},
        {"block": "pinwheel", "allowance": "a bit"},
        {"block": {"pieces": [{"id": "a"}]}},
        {"block": {"pieces": [{"id": "", "outline": [[0, 0], [1, 0], [0, 1]]}]}},
        {"block": {"frame": [[0, 0], [1, 0]]}},
        {},
        [],
    ],
)
def test_what_the_schema_refuses_the_service_refuses(client: FlaskClient, body: Any) -> None:
    content = DOCUMENT["paths"]["/v1/check"]["post"]["requestBody"]["content"][JSON]
    assert faults(content["schema"], body)
    assert client.post("/v1/check", json=body).status_code == 422
