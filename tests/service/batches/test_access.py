"""A batch is its owner's alone: to anybody else it is as if it had never been."""

from __future__ import annotations

from pathlib import Path

import pytest
from flask import Flask, g, request

from piecewright.service.app import create_app
from tests.service.batches.asking import GUILD, do_all, kept_in, posted

ADDRESSES = [
    ("GET", "", "application/json"),
    ("GET", "", "text/event-stream"),
    ("DELETE", "", "*/*"),
    ("GET", "/items/1", "application/pdf"),
    ("GET", "/items/99", "*/*"),
    ("GET", "/items/1", "image/svg+xml"),
    ("GET", "/archive", "application/zip"),
    ("GET", "/archive", "application/pdf"),
]


@pytest.fixture
def app(tmp_path: Path) -> Flask:
    app = create_app(kept_in(tmp_path))

    @app.before_request
    def own() -> None:
        g.owner = request.headers.get("X-Test-Owner", "")

    return app


@pytest.mark.parametrize(("method", "rest", "accept"), ADDRESSES)
@pytest.mark.parametrize("finished", [False, True], ids=["waiting", "ended"])
@pytest.mark.parametrize(("mine", "other"), [("ada", "bente"), ("ada", ""), ("", "bente")])
def test_another_owners_batch_is_as_one_that_never_was(
    app: Flask,
    tmp_path: Path,
    method: str,
    rest: str,
    accept: str,
    finished: bool,
    mine: str,
    other: str,
) -> None:
    client = app.test_client()
    batch = posted(client, GUILD, **{"X-Test-Owner": mine})
    if finished:
        do_all(kept_in(tmp_path))
    headers = {"X-Test-Owner": other, "Accept": accept, "X-Request-Id": "tide"}
    address = batch["links"]["self"]
    foreign = client.open(address + rest, method=method, headers=headers)
    nowhere = client.open("/v1/batches/" + "x" * 32 + rest, method=method, headers=headers)
    assert foreign.status_code == nowhere.status_code == 404
    assert foreign.data == nowhere.data
    assert dict(foreign.headers) == dict(nowhere.headers)
    # And nothing has happened to it.
    again = client.get(address, headers={"X-Test-Owner": mine})
    assert (again.json or {})["state"] == ("done" if finished else "queued")


def test_the_same_key_of_two_owners_makes_two_batches(app: Flask) -> None:
    client = app.test_client()
    made = {
        posted(client, GUILD, **{"X-Test-Owner": owner, "Idempotency-Key": "tide"})["id"]
        for owner in ("ada", "bente", "", "ada")
    }
    assert len(made) == 3
