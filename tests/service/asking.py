"""Requests that several tests send, and what they read in the answers."""

from __future__ import annotations

import sys
from typing import Any

from flask.testing import FlaskClient
from jsonschema import Draft202012Validator
from werkzeug.test import TestResponse

from piecewright.service.http.openapi import document as openapi
from piecewright.service.settings import Settings

Json = dict[str, Any]

STAR: Json = {"block": "sawtooth-star", "finish": {"width": 12}}

GUNICORN: tuple[str, ...] = (
    *(sys.executable, "-m", "gunicorn"),
    *("--config", "python:piecewright.service.http.gunicorn_config"),
)
"""How the service is started, but for where it listens."""

TWO_SQUARES: Json = {
    "name": "Gull and Post",
    "pieces": [
        {"id": "gull", "outline": [[0, 0], [3, 0], [3, 3], [0, 3]]},
        {"id": "post", "outline": [[3, 0], ["4 1/2", 0], ["4 1/2", 3], [3, 3]]},
    ],
}


def printed(
    name: str, client: FlaskClient, body: Any, accept: str = "application/json", query: str = ""
) -> Any:
    """The answer to a request for a printable, by the last part of its address."""
    return client.post(f"/v1/{name}{query}", json=body, headers={"Accept": accept})


def templates(
    client: FlaskClient, body: Any, accept: str | None = None, query: str = ""
) -> TestResponse:
    headers = {} if accept is None else {"Accept": accept}
    return client.post(f"/v1/templates{query}", json=body, headers=headers)


def check(client: FlaskClient, body: Any) -> TestResponse:
    return client.post("/v1/check", json=body)


def codes(response: TestResponse) -> dict[str, str]:
    """The code of each fault by its pointer."""
    assert response.status_code == 422, response.get_data(as_text=True)
    assert response.mimetype == "application/problem+json"
    return {fault["pointer"]: fault["code"] for fault in response.json["errors"]}  # type: ignore[index]


def strip_of(count: int) -> list[Json]:
    """Pieces of 1 in by 1 in side by side."""
    return [
        {"id": f"s{i}", "outline": [[i, 0], [i + 1, 0], [i + 1, 1], [i, 1]]} for i in range(count)
    ]


def unlike(schema: str, answer: Any) -> list[str]:
    """In what an answer's JSON is not as the document says that it is."""
    components = openapi.document(Settings())["components"]
    whole = {"$ref": f"#/components/schemas/{schema}", "components": components}
    return [error.message for error in Draft202012Validator(whole).iter_errors(answer)]
