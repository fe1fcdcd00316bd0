"""Nothing is left that nobody needs: masters, and documents of batches that are gone."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from piecewright.service.batches.files import Files
from piecewright.service.batches.model import Claim
from piecewright.service.batches.packet_maker import Packets
from piecewright.service.batches.print_jobs import COLLATED
from piecewright.service.batches.storage import Storage, open_storage
from piecewright.service.batches.work import abandoned, collate, print_copies, run_next_job
from piecewright.service.processes.watchdog import Watchdog
from piecewright.service.settings import Settings
from tests.service.batches.asking import GUILD, Json, do_all, posted, state
from tests.service.batches.test_collating import end_items, kept

DOCUMENTS = {"00001.pdf", "00002.pdf", "00003.pdf"}


class Blunt(Packets):
    """Nothing that is drawn can be stamped."""

    def stamp(self, master: bytes, name: str) -> bytes:
        raise ZeroDivisionError("the stamp is worn")


def claimed(storage: Storage) -> Claim:
    claim = storage.store.claim("w", 30.0, abandoned)
    assert claim is not None
    return claim


def quiet(claim: Claim, storage: Storage) -> Watchdog:
    """A watchdog that does nothing; it is not begun."""
    return Watchdog(lambda: None, lambda number: None, interval=10.0, deadline=60.0)


def test_a_master_of_which_nothing_came_goes_at_once(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    storage = open_storage(settings)
    assert run_next_job("here", storage, Blunt(), settings)
    assert kept(settings, batch) == set()
    # One from which a document was made is needed for all in one.
    assert run_next_job("here", storage, Packets(), settings)
    assert kept(settings, batch) == {"00003.pdf", "master-00002.pdf"}


@pytest.mark.parametrize("how", ["too-long", "given-up"])
def test_masters_go_when_all_in_one_never_came_to_its_end(
    client: FlaskClient, settings: Settings, how: str
) -> None:
    batch = posted(client)
    end_items(settings, client, batch)
    storage = open_storage(settings)
    storage.sweep()
    assert kept(settings, batch) > DOCUMENTS  # they are needed still
    claim = claimed(storage)
    assert claim.job == COLLATED
    if how == "too-long":  # as the watchdog does before it ends the process
        storage.store.fail(claim, {"title": "too long"}, COLLATED)
    else:
        for _ in range(3):
            storage.store.release("w")
            storage.store.claim("w", 30.0, abandoned)
    assert state(client, batch)["collated"]["state"] == "failed"
    for _ in range(2):
        storage.sweep()
        assert kept(settings, batch) == DOCUMENTS


@pytest.mark.parametrize("at_work_on", ["items", "all in one"])
def test_a_worker_that_comes_to_its_end_amid_the_removal_leaves_nothing(
    client: FlaskClient, settings: Settings, at_work_on: str
) -> None:
    """It writes when the documents have been removed, and the batch, as far as it knows, not."""
    batch = posted(client)
    if at_work_on == "all in one":
        end_items(settings, client, batch)
    else:
        posted(client, {**GUILD, "title": "Another"})
    storage = open_storage(settings)
    claim = claimed(storage)
    assert claim.batch == batch["id"]

    class Removing(Files):
        def remove_all(self, batch: str) -> None:
            super().remove_all(batch)
            if late:
                do = late.pop()
                do(claim, storage, Packets(), settings, quiet(claim, storage))

    late = [collate if claim.job == COLLATED else print_copies]
    Storage(storage.store, Removing(str(Path(settings.data) / "documents"))).remove(batch["id"])
    assert late == []
    assert kept(settings, batch) == set()
    assert not (Path(settings.data) / "documents" / batch["id"]).exists()


def age(folder: Path) -> None:
    """As if nothing had been written there for a day."""
    yesterday = time.time() - 24 * 3600
    os.utime(folder, (yesterday, yesterday))


def test_documents_that_were_left_over_are_swept_up(
    client: FlaskClient, settings: Settings
) -> None:
    gone, there = posted(client), posted(client)
    storage = do_all(settings)
    storage.store.remove(gone["id"])  # and the process that did it has died then
    folder = Path(settings.data) / "documents"
    foreign = folder / "patterns of the guild"
    foreign.mkdir()
    for each in (folder / there["id"], foreign):
        age(each)
    storage.sweep()
    # A worker may be at it still, and sees to it itself.
    assert kept(settings, gone) > DOCUMENTS
    age(folder / gone["id"])
    storage.sweep()
    assert {path.name for path in folder.iterdir()} == {there["id"], foreign.name}
    assert kept(settings, there) > DOCUMENTS


def test_documents_that_cannot_be_removed_now_are_later(
    client: FlaskClient, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Files, batch: str) -> None:
        raise PermissionError(13, "Permission denied")

    batch: Json = posted(client)
    storage = do_all(settings)
    with monkeypatch.context() as patched:
        patched.setattr(Files, "remove_all", refuse)
        assert client.delete(batch["links"]["self"]).status_code == 204
    age(Path(settings.data) / "documents" / batch["id"])
    storage.sweep()
    assert kept(settings, batch) == set()
