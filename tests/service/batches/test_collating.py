"""All packets of a batch in one PDF: a worker makes it when the batch has ended, as it makes
packets, and whatever comes of that is told."""

from __future__ import annotations

import io
import os
import signal
from collections.abc import Iterable
from pathlib import Path

import pypdf
import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from piecewright.service.batches.packet_maker import Packets
from piecewright.service.batches.storage import open_storage
from piecewright.service.batches.work import run_next_job
from piecewright.service.settings import Settings
from tests.service.batches.asking import (
    GUILD,
    Json,
    archived,
    client_of,
    do_all,
    kept_in,
    posted,
    state,
)
from tests.service.batches.servers import wait_until
from tests.service.batches.test_own_processes import working

PDF = "application/pdf"


def in_one(client: FlaskClient, batch: Json, **headers: str) -> TestResponse:
    return client.get(batch["links"]["archive"], headers={"Accept": PDF, **headers})


def collated(client: FlaskClient, batch: Json) -> str | None:
    """What has become of all in one."""
    told = state(client, batch)["collated"]
    return None if told is None else str(told["state"])


def settled(client: FlaskClient, batch: Json) -> Json:
    """The batch as soon as nothing will become of it any more."""
    wait_until(lambda: collated(client, batch) in ("done", "failed"), "all in one")
    return state(client, batch)


def kept(settings: Settings, batch: Json) -> set[str]:
    """The files of a batch."""
    folder = Path(settings.data) / "documents" / batch["id"]
    return {path.name for path in folder.iterdir()} if folder.exists() else set()


def told_for_good(client: FlaskClient, batch: Json) -> None:
    """All in one cannot be had, which the answer to whoever asks says with the worker's reason.

    410 is "likely to be permanent" (RFC 9110, section 15.5.11); 503 would be "temporary", and is
    what clients try again (section 15.6.4).
    """
    answer = in_one(client, batch)
    problem = answer.json or {}
    assert (answer.status_code, problem["type"]) == (410, "/problems/not-made")
    assert problem["detail"] == state(client, batch)["collated"]["problem"]["detail"]
    assert "Retry-After" not in answer.headers


def pages(document: bytes) -> int:
    return len(pypdf.PdfReader(io.BytesIO(document)).pages)


def end_items(settings: Settings, client: FlaskClient, batch: Json) -> None:
    """Does the jobs of the items, and no more."""
    storage = open_storage(settings)
    while state(client, batch)["ended"] is None:
        assert run_next_job("here", storage, Packets(), settings)


def test_it_is_made_after_the_items_and_asked_for_too_early_it_is_a_conflict(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    assert collated(client, batch) is None
    assert in_one(client, batch).status_code == 409
    end_items(settings, client, batch)
    assert collated(client, batch) == "queued"
    early = in_one(client, batch)
    assert (early.status_code, (early.json or {})["type"]) == (409, "/problems/conflict")
    assert int(early.headers["Retry-After"]) > 0
    assert len(archived(client, batch).namelist()) == 4  # the ZIP is there already
    do_all(settings)
    told = state(client, batch)
    of_items = sum(item["pages"] for item in told["items"])
    assert told["collated"] == {"state": "done", "pages": of_items}
    answer = in_one(client, batch)
    assert answer.headers["Sheets"] == str(of_items)
    assert (answer.status_code, answer.mimetype) == (200, PDF)
    assert pages(answer.data) == of_items
    assert int(answer.headers["Content-Length"]) == len(answer.data)
    assert 'filename="Harbour sampler.pdf"' in answer.headers["Content-Disposition"]


def test_it_need_not_be_sent_again(client: FlaskClient, settings: Settings) -> None:
    """RFC 9110, section 13.1.2: a matching If-None-Match is answered 304, without a body."""
    batches = [posted(client), posted(client)]
    do_all(settings)
    tags = [in_one(client, batch).headers["ETag"] for batch in batches]
    same = in_one(client, batches[0], **{"If-None-Match": tags[0]})
    assert (same.status_code, same.data) == (304, b"")
    assert in_one(client, batches[0], **{"If-None-Match": tags[1]}).status_code == 200


def test_of_a_batch_that_was_cancelled_it_has_what_is_done(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    storage = open_storage(settings)
    assert run_next_job("here", storage, Packets(), settings)
    assert client.delete(batch["links"]["self"]).status_code == 200
    assert collated(client, batch) == "queued"
    do_all(settings)
    told = state(client, batch)
    assert (told["state"], told["collated"]["state"]) == ("cancelled", "done")
    marks = pypdf.PdfReader(io.BytesIO(in_one(client, batch).data)).outline
    names = [str(mark.title) for mark in marks if isinstance(mark, pypdf.generic.Destination)]
    assert names == ["Ada", "Bente"]


def test_nothing_but_documents_is_kept(client: FlaskClient, settings: Settings) -> None:
    batch = posted(client)
    end_items(settings, client, batch)
    documents = {"00001.pdf", "00002.pdf", "00003.pdf"}
    assert kept(settings, batch) > documents
    # As a worker leaves it that is ended while it writes.
    folder = Path(settings.data) / "documents" / batch["id"]
    (folder / ".collated.pdf-0123456789abcdef").write_bytes(b"%PDF-1.")
    do_all(settings)
    assert kept(settings, batch) == documents | {"collated.pdf"}


@pytest.mark.parametrize(
    ("error", "kind"),
    [(ZeroDivisionError("the paste is dry"), "unavailable"), (MemoryError(), "too-much")],
)
def test_if_it_cannot_be_made_that_is_told_and_the_rest_is_there(
    client: FlaskClient,
    settings: Settings,
    caplog: pytest.LogCaptureFixture,
    error: Exception,
    kind: str,
) -> None:
    class Faulty(Packets):
        def collate(self, copies: Iterable[tuple[str, bytes]], title: str) -> bytes:
            raise error

    batch = posted(client)
    do_all(settings, Faulty())
    told = state(client, batch)
    assert (told["state"], told["done"], told["collated"]["state"]) == ("done", 3, "failed")
    problem = told["collated"]["problem"]
    assert (problem["status"], problem["type"]) == (503, f"/problems/{kind}")
    assert "paste" not in str(problem)
    assert str(error) in caplog.text
    told_for_good(client, batch)
    assert len(archived(client, batch).namelist()) == 4
    assert kept(settings, batch) == {"00001.pdf", "00002.pdf", "00003.pdf"}


def test_files_that_are_away_are_tried_again_and_then_it_is_given_up(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    end_items(settings, client, batch)
    for master in (Path(settings.data) / "documents" / batch["id"]).glob("master-*"):
        master.unlink()
    for _ in range(3):
        with pytest.raises(OSError, match="master"):
            do_all(settings)
    do_all(settings)
    problem = state(client, batch)["collated"]["problem"]
    assert (problem["status"], problem["type"]) == (503, "/problems/unavailable")


def test_a_batch_that_is_removed_while_it_is_made_leaves_nothing(
    client: FlaskClient, settings: Settings
) -> None:
    class Late(Packets):
        def collate(self, copies: Iterable[tuple[str, bytes]], title: str) -> bytes:
            document = super().collate(copies, title)
            assert client.delete(batch["links"]["self"]).status_code == 204
            return document

    batch = posted(client)
    do_all(settings, Late())
    assert in_one(client, batch).status_code == 404
    assert kept(settings, batch) == set()
    assert open_storage(settings).queries.is_empty()


def test_one_that_another_worker_has_made_meanwhile_stays(
    client: FlaskClient, settings: Settings
) -> None:
    """The lease of a worker that had no turn for long runs out, and two are at it."""

    class Slow(Packets):
        def collate(self, copies: Iterable[tuple[str, bytes]], title: str) -> bytes:
            open_storage(settings).store.release("here")
            do_all(settings)
            return super().collate(copies, title)

    batch = posted(client)
    do_all(settings, Slow())
    assert collated(client, batch) == "done"
    assert pages(in_one(client, batch).data) == state(client, batch)["collated"]["pages"]


# --- by processes of the service's own -------------------------------------------------------


def test_a_worker_that_is_killed_at_it_leaves_it_to_another(tmp_path: Path) -> None:
    settings = kept_in(tmp_path, batch_processes=1)
    client = client_of(settings)
    batch = posted(client, {**GUILD, "title": "slow"})
    with working(settings) as supervisor:
        wait_until(lambda: collated(client, batch) == "running", "a worker at it")
        (killed,) = supervisor.processes
        os.kill(killed, signal.SIGKILL)
        told = settled(client, batch)
        assert killed not in supervisor.processes
    assert told["collated"]["state"] == "done"
    assert pages(in_one(client, batch).data) == told["collated"]["pages"]
    documents = {"00001.pdf", "00002.pdf", "00003.pdf"}
    assert kept(settings, batch) == documents | {"collated.pdf"}


def ends(client: FlaskClient) -> dict[str, Json]:
    """Batches of which all in one cannot be made, by what happens then (see ``slow``)."""
    return {title: posted(client, {**GUILD, "title": title}) for title in ("stuck", "huge")}


def told_why(client: FlaskClient, batches: dict[str, Json]) -> None:
    """Each has its problem, and its items are there."""
    kinds = {"stuck": "too-long", "huge": "too-much"}
    for title, batch in batches.items():
        told = settled(client, batch)
        problem = told["collated"]["problem"]
        assert (problem["status"], problem["type"]) == (503, f"/problems/{kinds[title]}")
        told_for_good(client, batch)
        assert (told["state"], told["done"]) == ("done", 3)
        assert len(archived(client, batch).namelist()) == 4


def test_it_has_the_time_and_the_memory_of_a_packet(tmp_path: Path) -> None:
    settings = kept_in(tmp_path, batch_processes=1, batch_deadline=1)
    client = client_of(settings)
    batches = ends(client)
    with working(settings):
        told_why(client, batches)
