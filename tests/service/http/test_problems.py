"""Every error is problem details (RFC 9457), whoever found it."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from piecewright.service.app import create_app
from piecewright.service.settings import Settings
from tests.service.asking import check

JSON = "application/json"


def problem(answer: TestResponse, status: int, kind: str) -> dict[str, Any]:
    assert answer.status_code == status, answer.get_data(as_text=True)
    assert answer.mimetype == "application/problem+json"
    told = answer.json
    assert told is not None
    assert told["status"] == status
    assert told["type"] == f"/problems/{kind}"
    assert told["title"]
    assert told["detail"]
    assert len(answer.headers["X-Request-Id"]) >= 8
    return dict(told)


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"block",
        b'{"block": "pinwheel",}',
        b"{'block': 'pinwheel'}",
        b'{"block": "pinwheel"} {}',
        b'{"block": NaN}',
        b'{"block": Infinity}',
        b'{"block": -Infinity}',
        b'{"block": "pinwheel", "block": "churn-dash"}',
        b'{"block": {"name": "a", "name": "b"}}',
        b'{"block": "\xff"}',
        b"\xff\xfe{\x00}\x00",
        b"[" * 100_000,
        b"[" * 100_000 + b"]" * 100_000,
        b'{"a":' * 50_000 + b"1" + b"}" * 50_000,
        b'{"block": ' + b"9" * 5000 + b"}",
    ],
    ids=range(17),
)
@pytest.mark.parametrize("path", ["/v1/check", "/v1/templates"])
def test_what_is_not_json_is_400(client: FlaskClient, path: str, body: bytes) -> None:
    problem(client.post(path, data=body, content_type=JSON), 400, "bad-json")


def test_a_byte_order_mark_does_no_harm(client: FlaskClient) -> None:
    body = b'\xef\xbb\xbf{"block": "pinwheel"}'
    assert client.post("/v1/check", data=body, content_type=JSON).status_code == 200


@pytest.mark.parametrize("path", ["/nothing", "/v1", "/v1/blocks/", "/problems/none", "/static/x"])
def test_what_is_not_there_is_404(client: FlaskClient, path: str) -> None:
    problem(client.get(path), 404, "not-found")


@pytest.mark.parametrize(("method", "path"), [("GET", "/v1/check"), ("DELETE", "/v1/blocks")])
def test_another_method_is_405_and_names_those_there_are(
    client: FlaskClient, method: str, path: str
) -> None:
    answer = client.open(path, method=method)
    problem(answer, 405, "method-not-allowed")
    assert answer.headers["Allow"]


def test_no_acceptable_form_is_406(client: FlaskClient) -> None:
    for path in ("/v1/blocks", "/v1/blocks/pinwheel"):
        problem(client.get(path, headers={"Accept": "application/pdf"}), 406, "not-acceptable")
    answer = client.post(
        "/v1/check", json={"block": "pinwheel"}, headers={"Accept": "application/pdf"}
    )
    problem(answer, 406, "not-acceptable")


def test_a_body_that_is_too_large_is_413() -> None:
    small = create_app(Settings(max_request_bytes=100)).test_client()
    body = json.dumps({"block": "pinwheel", "name": "n" * 100})
    problem(small.post("/v1/check", data=body, content_type=JSON), 413, "too-large")
    assert small.post("/v1/check", json={"block": "pinwheel"}).status_code == 200


def test_a_body_in_chunks_that_is_too_large_is_413() -> None:
    small = create_app(Settings(max_request_bytes=100)).test_client()
    chunked = {"wsgi.input_terminated": True, "HTTP_TRANSFER_ENCODING": "chunked"}
    for size, status in ((200, 413), (60, 422)):
        answer = small.post(
            "/v1/check",
            input_stream=io.BytesIO(b"[" + b" " * (size - 2) + b"]"),
            content_type=JSON,
            environ_overrides=chunked,
        )
        assert answer.status_code == status


@pytest.mark.parametrize(
    "content_type", [None, "text/plain", "application/xml", "multipart/form-data"]
)
def test_another_type_of_body_is_415(client: FlaskClient, content_type: str | None) -> None:
    answer = client.post("/v1/check", data=b'{"block": "pinwheel"}', content_type=content_type)
    problem(answer, 415, "unsupported-media-type")


def test_a_body_that_is_packed_is_415(client: FlaskClient) -> None:
    answer = client.post(
        "/v1/check", data=b"x", content_type=JSON, headers={"Content-Encoding": "gzip"}
    )
    problem(answer, 415, "unsupported-media-type")


@pytest.mark.parametrize(
    "content_type", [JSON, "application/json; charset=utf-8", "application/x+json"]
)
def test_json_by_any_of_its_names_is_read(client: FlaskClient, content_type: str) -> None:
    body = b'{"block": "pinwheel"}'
    assert client.post("/v1/check", data=body, content_type=content_type).status_code == 200


def test_a_block_with_faults_is_422(client: FlaskClient) -> None:
    told = problem(check(client, {"block": {"pieces": []}}), 422, "invalid-block")
    (error,) = told["errors"]
    assert set(error) == {"pointer", "code", "detail"}


def test_a_request_keeps_the_name_that_it_came_with(client: FlaskClient) -> None:
    given = client.get("/health", headers={"X-Request-Id": "a.b_c-1"})
    assert given.headers["X-Request-Id"] == "a.b_c-1"
    odd = client.get("/health", headers={"X-Request-Id": "a b<script>"})
    assert odd.headers["X-Request-Id"] != "a b<script>"
    assert client.get("/health").headers["X-Request-Id"] != odd.headers["X-Request-Id"]


@pytest.mark.parametrize("path", ["/health", "/v1/blocks", "/docs", "/nothing", "/openapi.json"])
def test_no_answer_is_guessed_to_be_another_type(client: FlaskClient, path: str) -> None:
    assert client.get(path).headers["X-Content-Type-Options"] == "nosniff"
