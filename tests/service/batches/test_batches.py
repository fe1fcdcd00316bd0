"""A batch from its request to its documents, with nobody but this process at work."""

from __future__ import annotations

import errno
import io
import sqlite3
from pathlib import Path
from typing import Any

import pypdf
import pytest
from flask.testing import FlaskClient
from sqlalchemy.exc import OperationalError

from piecewright.service.batches.files import Files
from piecewright.service.batches.packet_maker import Packets
from piecewright.service.batches.run_workers import run_workers
from piecewright.service.batches.storage import Storage, open_storage
from piecewright.service.batches.store import MOST_ATTEMPTS, Store
from piecewright.service.batches.supervisor import Supervisor
from piecewright.service.batches.tables import WrongVersion
from piecewright.service.batches.tables import print_jobs as job_table
from piecewright.service.batches.work import MOST_FAULTS, StorageUnavailable, run_next_job
from piecewright.service.batches.worker import work_until_idle
from piecewright.service.settings import Settings
from tests.service.batches.asking import (
    DEFAULTS,
    GUILD,
    SQUARE,
    Json,
    client_of,
    do_all,
    every_item_once,
    kept_in,
    posted,
    state,
)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return kept_in(tmp_path, max_items=5)


def test_a_batch_is_taken_and_told_of_at_once(client: FlaskClient) -> None:
    told = posted(client)
    assert told["title"] == "Harbour sampler"
    assert (told["state"], told["total"], told["done"], told["failed"]) == ("queued", 3, 0, 0)
    assert told["ended"] is told["expires"] is None
    assert [item["for"] for item in told["items"]] == ["Ada", "Bente", "Carl"]
    assert {item["state"] for item in told["items"]} == {"queued"}
    assert len(told["id"]) >= 32  # 24 random bytes; nobody guesses another's
    assert state(client, told) == told


def test_every_item_gets_its_document(client: FlaskClient, settings: Settings) -> None:
    batch = posted(client)
    do_all(settings)
    told = state(client, batch)
    assert (told["state"], told["done"], told["failed"]) == ("done", 3, 0)
    assert told["created"] <= told["ended"] < told["expires"]
    for item in told["items"]:
        answer = client.get(item["href"])
        assert (answer.status_code, answer.mimetype) == (200, "application/pdf")
        named = f'filename="{item["number"]:02} {item["for"]}.pdf"'
        assert named in answer.headers["Content-Disposition"]
        pages = pypdf.PdfReader(io.BytesIO(answer.data)).pages
        assert len(pages) == item["pages"]
        assert all(f"for {item['for']}" in page.extract_text() for page in pages)


def test_one_bad_item_does_not_stop_the_others(client: FlaskClient, settings: Settings) -> None:
    wrong = {"for": "Bente", "finish": {"width": "wide"}, "sheet": {"paper": "a99"}}
    batch = posted(client, {**GUILD, "items": [{"for": "Ada"}, wrong, {"for": "Carl"}]})
    do_all(settings)
    told = state(client, batch)
    assert (told["state"], told["done"], told["failed"]) == ("done", 2, 1)
    bad = told["items"][1]
    assert (bad["state"], bad["pages"]) == ("failed", None)
    assert "href" not in bad
    assert (bad["problem"]["status"], bad["problem"]["type"]) == (422, "/problems/invalid-setting")
    pointers = {error["pointer"] for error in bad["problem"]["errors"]}
    assert pointers == {"/finish/width", "/sheet/paper"}


def test_the_problem_of_an_item_is_that_of_its_packet_alone(
    client: FlaskClient, settings: Settings
) -> None:
    frame = [[0, 0], [6, 0], [6, 6], [0, 6]]
    loose = {"name": "Torn", "frame": frame, "lines": [[[0, 6], [2, 3]]]}
    alone = client.post("/v1/packet", json={"block": loose, "unit": "mm"})
    batch = posted(client, {"defaults": {"unit": "mm"}, "items": [{"block": loose}]})
    do_all(settings)
    assert alone.status_code == 422
    assert state(client, batch)["items"][0]["problem"] == alone.json


@pytest.mark.parametrize(
    ("body", "pointer", "code"),
    [
        ([], "", "type"),
        ({}, "/items", "required"),
        ({"items": []}, "/items", "too-few"),
        ({"items": {}}, "/items", "type"),
        ({"items": [{}, 3]}, "/items/1", "type"),
        ({"items": [{}, None]}, "/items/1", "type"),
        ({"items": [{}] * 6}, "/items", "too-many"),
        ({"items": [{}] * 2001}, "/items", "too-many"),
        ({"items": [{"for": 3}]}, "/items/0/for", "type"),
        ({"items": [{"for": "a\nb"}]}, "/items/0/for", "control-character"),
        ({"items": [{"for": "n" * 201}]}, "/items/0/for", "text-length"),
        ({"items": [{}], "defaults": []}, "/defaults", "type"),
        ({"items": [{}], "defaults": {"for": True}}, "/defaults/for", "type"),
        ({"items": [{}], "title": 3}, "/title", "type"),
        ({"items": [{}], "titel": "x"}, "/titel", "unknown-field"),
    ],
)
def test_what_is_no_batch_is_refused_at_once(
    client: FlaskClient, body: Any, pointer: str, code: str
) -> None:
    answer = client.post("/v1/batches", json=body)
    assert answer.status_code == 422
    assert {e["pointer"]: e["code"] for e in (answer.json or {})["errors"]} == {pointer: code}


def test_a_body_that_is_not_json_makes_no_batch(client: FlaskClient) -> None:
    sent = [("{", "application/json", 400), ("{}", "text/plain", 415)]
    for body, content_type, status in sent:
        answer = client.post("/v1/batches", data=body, content_type=content_type)
        assert (answer.status_code, answer.mimetype) == (status, "application/problem+json")


# --- asking twice ----------------------------------------------------------------------------


def test_a_request_sent_twice_under_one_key_makes_one_batch(client: FlaskClient) -> None:
    first = posted(client, GUILD, **{"Idempotency-Key": "tide-1"})
    reordered = {name: GUILD[name] for name in reversed(GUILD)}
    assert posted(client, reordered, **{"Idempotency-Key": "tide-1"})["id"] == first["id"]
    assert posted(client, GUILD, **{"Idempotency-Key": "tide-2"})["id"] != first["id"]
    assert posted(client)["id"] not in (first["id"], posted(client)["id"])


def test_a_key_used_for_another_request_is_a_conflict(client: FlaskClient) -> None:
    posted(client, GUILD, **{"Idempotency-Key": "tide-1"})
    other = {**GUILD, "title": "Another"}
    answer = client.post("/v1/batches", json=other, headers={"Idempotency-Key": "tide-1"})
    assert (answer.status_code, (answer.json or {})["type"]) == (409, "/problems/conflict")


@pytest.mark.parametrize("key", ["", "k" * 256, "tide\u00e9"])
def test_a_key_that_is_none_is_told(client: FlaskClient, key: str) -> None:
    answer = client.post("/v1/batches", json=GUILD, headers={"Idempotency-Key": key})
    assert answer.status_code == 400


# --- watching and stopping -------------------------------------------------------------------


def test_asking_again_for_what_has_not_changed_is_cheap(
    client: FlaskClient, settings: Settings
) -> None:
    """RFC 9110, section 13.1.2: a matching If-None-Match is answered 304, without a body."""
    batch = posted(client)
    first = client.get(batch["links"]["self"])
    same = client.get(batch["links"]["self"], headers={"If-None-Match": first.headers["ETag"]})
    assert (same.status_code, same.data) == (304, b"")
    do_all(settings)
    other = client.get(batch["links"]["self"], headers={"If-None-Match": first.headers["ETag"]})
    assert (other.status_code, (other.json or {})["state"]) == (200, "done")


def test_documents_are_not_to_be_had_before_their_time(client: FlaskClient) -> None:
    batch = posted(client)
    for path in (batch["links"]["archive"], f"{batch['links']['self']}/items/1"):
        answer = client.get(path)
        assert (answer.status_code, (answer.json or {})["type"]) == (409, "/problems/conflict")


def test_a_batch_that_is_cancelled_keeps_what_is_done(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    do_one(settings)
    stopped = client.delete(batch["links"]["self"])
    assert stopped.status_code == 200
    told = state(client, batch)
    assert told == stopped.json
    assert told["state"] == "cancelled"
    assert [item["state"] for item in told["items"]] == ["done", "done", "cancelled"]
    assert do_all(settings).store.queries.unfinished() == 0
    assert {**state(client, batch), "collated": None} == {**told, "collated": None}
    assert client.get(told["items"][0]["href"]).status_code == 200
    assert client.get(f"{batch['links']['self']}/items/3").status_code == 404
    assert client.get(batch["links"]["archive"]).status_code == 200


def test_a_batch_that_has_ended_is_removed_with_its_documents(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    do_all(settings)
    assert documents(settings)
    answer = client.delete(batch["links"]["self"])
    assert (answer.status_code, answer.data) == (204, b"")
    assert client.get(batch["links"]["self"]).status_code == 404
    assert documents(settings) == []


def test_a_batch_removed_while_it_is_worked_on_leaves_nothing_behind(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)

    class Late(Packets):
        def stamp(self, master: bytes, name: str) -> bytes:
            for _ in range(2):  # the first cancels it
                client.delete(batch["links"]["self"])
            return super().stamp(master, name)

    do_all(settings, Late())
    assert client.get(batch["links"]["self"]).status_code == 404
    assert documents(settings) == []


def test_an_item_that_there_is_not_is_404(client: FlaskClient) -> None:
    batch = posted(client)
    for number in ("0", "4", "-1", "x", "9" * 30):
        assert client.get(f"{batch['links']['self']}/items/{number}").status_code == 404


@pytest.mark.parametrize(
    "id", ["a%00b", "%F0%9F%A7%B5", "x" * 300, "..", "%2e%2e%2fbatches.sqlite"]
)
@pytest.mark.parametrize("rest", ["", "/items/1", "/archive"])
def test_an_id_that_cannot_be_one_is_404(client: FlaskClient, id: str, rest: str) -> None:
    assert client.get(f"/v1/batches/{id}{rest}").status_code == 404


def test_a_document_that_somebody_has_taken_away_is_not_a_failure_of_the_request(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    do_all(settings)
    for path in documents(settings):
        path.unlink()
    answer = client.get(f"{batch['links']['self']}/items/1")
    assert (answer.status_code, (answer.json or {})["type"]) == (503, "/problems/unavailable")


@pytest.mark.parametrize(
    ("rest", "accept"),
    [("", "application/pdf"), ("/archive", "application/json"), ("/items/1", "image/svg+xml")],
)
def test_another_form_is_406(client: FlaskClient, rest: str, accept: str) -> None:
    batch = posted(client)
    answer = client.get(batch["links"]["self"] + rest, headers={"Accept": accept})
    assert answer.status_code == 406


# --- when things go wrong --------------------------------------------------------------------


def test_a_drawing_that_fails_fails_its_items_and_no_others(
    client: FlaskClient, settings: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    class Faulty(Packets):
        def draw(self, packet: Json, settings: Settings) -> bytes:
            if "finish" in packet:
                raise ZeroDivisionError("the tide is out")
            return super().draw(packet, settings)

        def stamp(self, master: bytes, name: str) -> bytes:
            if name == "Ada":
                raise ZeroDivisionError("the ink is dry")
            return super().stamp(master, name)

    batch = posted(client)
    do_all(settings, Faulty())
    told = state(client, batch)
    assert [item["state"] for item in told["items"]] == ["failed", "done", "failed"]
    for item in (told["items"][0], told["items"][2]):
        assert item["problem"]["type"] == "/problems/internal-error"
        assert "ink" not in str(item["problem"])
        assert "tide" not in str(item["problem"])
    assert "the tide is out" in caplog.text
    assert "the ink is dry" in caplog.text


def test_documents_that_cannot_be_kept_are_tried_again_until_they_can(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    in_the_way = Path(settings.data) / "documents"
    in_the_way.write_text("a file where a folder should be")
    for _ in range(3 * MOST_ATTEMPTS):
        with pytest.raises(StorageUnavailable):
            do_all(settings)
    assert [item["state"] for item in state(client, batch)["items"]] == ["queued"] * 3
    in_the_way.unlink()
    do_all(settings)
    every_item_once(client, batch)


def test_all_in_one_waits_for_room_on_the_disk_too(client: FlaskClient, settings: Settings) -> None:
    batch = posted(client)
    storage = open_storage(settings)
    while state(client, batch)["ended"] is None:
        assert run_next_job("here", storage, Packets(), settings)
    in_the_way = Path(settings.data) / "documents" / batch["id"] / "collated.pdf"
    in_the_way.mkdir()
    for _ in range(2 * MOST_ATTEMPTS):
        with pytest.raises(StorageUnavailable):
            do_all(settings)
    in_the_way.rmdir()
    do_all(settings)
    assert state(client, batch)["collated"]["state"] == "done"


class FullForAWhile(Files):
    """Files on a disk that has no room for the first few documents."""

    def __init__(self, place: str, failures: int) -> None:
        super().__init__(place)
        self.failures = failures

    def write(self, key: str, content: bytes) -> None:
        if self.failures:
            self.failures -= 1
            raise OSError(errno.ENOSPC, "No space left on device")
        super().write(key, content)


def test_a_worker_waits_ever_longer_while_the_disk_is_full_and_then_goes_on(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    files = FullForAWhile(str(Path(settings.data) / "documents"), failures=9)
    waits: list[float] = []
    storage = Storage(open_storage(settings).store, files)
    work_until_idle("here", storage, Packets(), settings, idle=0.2, wait=waits.append)
    every_item_once(client, batch)
    hindered = waits[:9]
    assert sorted(hindered) == hindered
    assert hindered[0] < hindered[-1] == 30


def test_a_database_that_cannot_be_written_for_a_while_is_not_the_jobs_fault(
    client: FlaskClient, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite's SQLITE_FULL is an OperationalError (PEP 249: not under the program's control)."""

    def full(*_: object) -> None:
        raise OperationalError("COMMIT", {}, sqlite3.OperationalError("database or disk is full"))

    batch = posted(client)
    with monkeypatch.context() as patched:
        patched.setattr(Store, "finish", full)
        for _ in range(2 * MOST_ATTEMPTS):
            with pytest.raises(StorageUnavailable):
                do_all(settings)
    do_all(settings)
    every_item_once(client, batch)


@pytest.mark.parametrize("ended", [False, True])
def test_a_batch_can_be_deleted_while_the_disk_is_full(
    client: FlaskClient, settings: Settings, ended: bool
) -> None:
    batch = posted(client)
    storage = open_storage(settings)
    assert run_next_job("here", storage, Packets(), settings)
    full = FullForAWhile(str(Path(settings.data) / "documents"), failures=1)
    if ended:
        do_all(settings)
    else:
        with pytest.raises(StorageUnavailable):
            run_next_job("here", Storage(storage.store, full), Packets(), settings)
        assert client.delete(batch["links"]["self"]).status_code == 200
    assert client.delete(batch["links"]["self"]).status_code == 204
    assert not (Path(settings.data) / "documents" / batch["id"]).exists()


@pytest.mark.parametrize("database", ["sqlite:////nowhere/at/all.sqlite", "mysterious://x"])
def test_a_service_that_cannot_keep_batches_says_so(tmp_path: Path, database: str) -> None:
    client = client_of(kept_in(tmp_path, database=database))
    answer = client.post("/v1/batches", json=GUILD)
    assert (answer.status_code, (answer.json or {})["type"]) == (503, "/problems/unavailable")
    assert client.get("/v1/blocks").status_code == 200


def test_another_versions_database_is_left_alone(client: FlaskClient, settings: Settings) -> None:
    posted(client)
    with sqlite3.connect(Path(settings.data) / "batches.sqlite") as connection:
        connection.execute("UPDATE piecewright_version SET version = 99")
    again = client_of(kept_in(settings.data, max_items=6))
    answers = [again.post("/v1/batches", json=GUILD), again.get("/health")]
    for answer in answers:
        assert (answer.status_code, answer.mimetype) == (503, "application/problem+json")
        assert "another version" in (answer.json or {})["detail"]
    assert client_of(kept_in(Path(settings.data) / "elsewhere")).get("/health").status_code == 200


@pytest.mark.parametrize("broker", ["", "memory://"])
def test_nobody_works_for_another_versions_database(
    client: FlaskClient, settings: Settings, broker: str
) -> None:
    posted(client)
    with sqlite3.connect(Path(settings.data) / "batches.sqlite") as connection:
        connection.execute("UPDATE piecewright_version SET version = 1")
    with pytest.raises(WrongVersion, match=r"version \[1\]"):
        run_workers(Settings(data=settings.data, broker=broker))
    with pytest.raises(WrongVersion):
        Supervisor(Settings(data=settings.data)).run()


def test_names_in_any_writing_come_through(client: FlaskClient, settings: Settings) -> None:
    names = ["Åse /\\ Øre", "名前", "\U0001f9f5", "..", 'Q"uote']
    body = {"defaults": DEFAULTS, "items": [{"for": name} for name in names]}
    batch = posted(client, body)
    do_all(settings)
    items = state(client, batch)["items"]
    assert [item["for"] for item in items] == names
    for item in items:
        answer = client.get(item["href"])
        assert answer.status_code == 200
        assert "/" not in answer.headers["Content-Disposition"].split("''")[1]


def do_one(settings: Settings) -> None:
    storage = open_storage(settings)
    assert run_next_job("here", storage, Packets(), settings)


def documents(settings: Settings) -> list[Path]:
    return [path for path in (Path(settings.data) / "documents").rglob("*") if path.is_file()]


def test_a_number_beyond_all_bounds_is_refused_at_once(client: FlaskClient) -> None:
    body = b'{"defaults": {"block": "pinwheel", "finish": {"width": 1e999}}, "items": [{}]}'
    answer = client.post("/v1/batches", data=body, content_type="application/json")
    assert answer.status_code == 400


def test_a_job_that_nobody_can_read_fails_and_stops_no_other(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    engine = open_storage(settings).store.engine
    with engine.begin() as connection:
        connection.execute(
            job_table.update()
            .where(job_table.c.batch == batch["id"], job_table.c.number == 1)
            .values(packet='{"finish": Infinity}')
        )
    do_all(settings)
    told = state(client, batch)
    assert [item["state"] for item in told["items"]] == ["failed", "failed", "done"]
    assert told["state"] == "done"


def test_a_packet_with_many_faults_tells_of_the_first_and_how_many_there_are(
    client: FlaskClient, settings: Settings
) -> None:
    """Two thousand items that each told of five thousand faults would fill a disk."""
    pieces = [{"id": f"p{n}", "outline": SQUARE, "colour": 1} for n in range(50)]
    body = {"defaults": {"block": {"pieces": pieces}}, "items": [{"for": "Ada"}, {"for": "Wim"}]}
    batch = posted(client, body)
    do_all(settings)
    for item in state(client, batch)["items"]:
        assert len(item["problem"]["errors"]) == MOST_FAULTS
        assert "faults, of which the first 10 are told" in item["problem"]["detail"]
