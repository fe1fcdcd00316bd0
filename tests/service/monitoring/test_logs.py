"""The log: a line of JSON for each request, and nothing in it that is a secret."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from typing import Any

import pytest
from flask.testing import FlaskClient

from piecewright.service.monitoring.logs import Lines

SECRET = "nobody-may-read-this"


class Kept(logging.Handler):
    """Keeps the lines that would be written."""

    def __init__(self) -> None:
        super().__init__()
        self.setFormatter(Lines("{message}", style="{"))
        self.lines: list[dict[str, Any]] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(json.loads(self.format(record)))


@pytest.fixture
def kept() -> Iterator[Kept]:
    handler, logger = Kept(), logging.getLogger("piecewright")
    before = logger.level
    logger.addHandler(handler)
    logger.setLevel("INFO")
    yield handler
    logger.removeHandler(handler)
    logger.setLevel(before)


def test_a_request_is_a_line(client: FlaskClient, kept: Kept) -> None:
    answer = client.get("/v1/blocks/spools", headers={"X-Request-Id": "harbour-1"})
    (line,) = kept.lines
    assert line["request_id"] == "harbour-1"
    assert (line["method"], line["path"], line["status"]) == ("GET", "/v1/blocks/spools", 200)
    assert line["route"] == "/v1/blocks/<id>"
    assert line["level"] == "info"
    assert line["bytes"] == len(answer.data)
    assert 0 <= line["seconds"] < 60
    assert line["time"].endswith("Z")


def test_no_line_has_a_key_or_a_body(client: FlaskClient, kept: Kept) -> None:
    headers = {"Authorization": f"Bearer {SECRET}"}
    client.post("/v1/templates", json={"block": {"name": SECRET}}, headers=headers)
    assert kept.lines
    assert SECRET not in json.dumps(kept.lines)


def test_a_path_with_a_line_in_it_stays_one_line(client: FlaskClient, kept: Kept) -> None:
    client.get("/v1/blocks/a%0a%7b%22level%22%3a%22error%22%7d")
    (line,) = kept.lines
    assert line["status"] == 404
    assert "\n" in line["path"]


def test_the_id_of_a_batch_is_in_no_line(client: FlaskClient, kept: Kept) -> None:
    """Without keys, whoever knows it may read the batch."""
    client.get(f"/v1/batches/{SECRET}/archive")
    client.get(f"/v1/batches/{SECRET}")
    assert len(kept.lines) == 2
    assert SECRET not in json.dumps(kept.lines)
