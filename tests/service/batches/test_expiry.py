"""A batch is kept for so long after its end, and then nothing is left of it."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from piecewright.service.batches.storage import open_storage
from tests.service.batches.asking import GUILD, Json, client_of, do_all, kept_in, posted, state
from tests.service.batches.servers import wait_until
from tests.service.batches.test_own_processes import working


def let_time_pass(folder: Path, batch: Json) -> None:
    """As if the batch had been kept long enough."""
    with sqlite3.connect(folder / "batches.sqlite") as connection:
        changed = connection.execute(
            "UPDATE piecewright_batches SET expires = 1 WHERE id = ? AND expires > 1",
            (batch["id"],),
        )
        assert changed.rowcount == 1


def test_what_has_expired_is_not_there_for_anyone(tmp_path: Path) -> None:
    settings = kept_in(tmp_path)
    client = client_of(settings)
    batch = posted(client)
    do_all(settings)
    let_time_pass(tmp_path, batch)
    for rest in ("", "/archive", "/items/1"):
        assert client.get(batch["links"]["self"] + rest).status_code == 404
    assert client.delete(batch["links"]["self"]).status_code == 404


def test_the_documents_go_with_it_and_others_stay(tmp_path: Path) -> None:
    settings = kept_in(tmp_path)
    client = client_of(settings)
    old, young = posted(client), posted(client)
    do_all(settings)
    let_time_pass(tmp_path, old)
    open_storage(settings).remove_expired()
    folders = {path.parent.name for path in (tmp_path / "documents").rglob("*.pdf")}
    assert folders == {young["id"]}
    assert state(client, young)["done"] == 3


def test_the_key_of_one_that_has_expired_is_free_again(tmp_path: Path) -> None:
    settings = kept_in(tmp_path)
    client = client_of(settings)
    key = {"Idempotency-Key": "tide"}
    old = posted(client, GUILD, **key)
    do_all(settings)
    let_time_pass(tmp_path, old)
    assert posted(client, {**GUILD, "title": "Next year's"}, **key)["id"] != old["id"]


def test_whoever_runs_the_workers_removes_what_has_expired(tmp_path: Path) -> None:
    settings = kept_in(tmp_path, batch_processes=1)
    batch = posted(client_of(settings))
    do_all(settings)
    let_time_pass(tmp_path, batch)
    with working(settings):
        wait_until(open_storage(settings).queries.is_empty, "the removal")
    assert not (tmp_path / "documents" / batch["id"]).exists()
