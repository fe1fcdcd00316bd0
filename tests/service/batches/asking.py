"""Batches that several tests ask for."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import zipfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pypdf
from flask.testing import FlaskClient

from piecewright.service.app import create_app
from piecewright.service.batches.packet_maker import PacketMaker, Packets
from piecewright.service.batches.storage import Storage, open_storage
from piecewright.service.batches.work import run_next_job
from piecewright.service.settings import Settings
from tests.service.batches.servers import wait_until

Json = dict[str, Any]

SQUARE = [[0, 0], [3, 0], [3, 3], [0, 3]]


def square(name: str = "Quay Square") -> Json:
    """The smallest block that there is."""
    return {"name": name, "pieces": [{"id": "a", "outline": SQUARE}]}


DEFAULTS: Json = {"block": square(), "parts": ["templates"]}
GUILD: Json = {
    "title": "Harbour sampler",
    "defaults": DEFAULTS,
    "items": [{"for": "Ada"}, {"for": "Bente"}, {"for": "Carl", "finish": {"width": 4}}],
}


def kept_in(folder: object, **more: Any) -> Settings:
    """Settings for batches in a folder whose jobs nobody does unless told to.

    Celery's broker is one in this process's memory, and no worker listens to it.
    """
    return Settings(data=str(folder), broker="memory://", **more)


def client_of(settings: Settings) -> FlaskClient:
    return create_app(settings).test_client()


def do_all(settings: Settings, packet_maker: PacketMaker | None = None) -> Storage:
    """Does all jobs that wait, here and now."""
    storage = open_storage(settings)
    while run_next_job("here", storage, packet_maker or Packets(), settings):
        pass
    return storage


def posted(client: FlaskClient, body: Json = GUILD, **headers: str) -> Json:
    answer = client.post("/v1/batches", json=body, headers=headers)
    assert answer.status_code == 202, answer.get_data(as_text=True)
    told = answer.json
    assert told is not None
    assert answer.headers["Location"] == told["links"]["self"] == f"/v1/batches/{told['id']}"
    return dict(told)


def state(client: FlaskClient, batch: Json) -> Json:
    answer = client.get(batch["links"]["self"])
    assert answer.status_code == 200, answer.get_data(as_text=True)
    return dict(answer.json or {})


def ended(client: FlaskClient, batch: Json) -> Json:
    """The batch as soon as it has ended."""
    wait_until(lambda: state(client, batch)["ended"] is not None, "the batch's end")
    return state(client, batch)


def archived(client: FlaskClient, batch: Json) -> zipfile.ZipFile:
    answer = client.get(batch["links"]["archive"])
    assert answer.status_code == 200, answer.get_data(as_text=True)
    archive = zipfile.ZipFile(io.BytesIO(answer.data))
    assert archive.testzip() is None
    return archive


def many(slow: int = 1) -> Json:
    """200 items in 20 jobs, the first few of which are slow."""
    items = [
        {
            "for": f"Maker {number}",
            "finish": {"width": 3 + job / 10},
            **({"block": {"name": "slow"}} if job < slow else {}),
        }
        for number in range(10)
        for job in range(20)
    ]
    return {"title": "All hands", "defaults": DEFAULTS, "items": items}


@contextmanager
def commanded(settings: Settings) -> Iterator[subprocess.Popen[bytes]]:
    """``piecewright work``, which is told to end afterwards, and ends well."""
    process = subprocess.Popen(
        [sys.executable, "-m", "piecewright.service.cli", "work", "--processes", "1"],
        env={**os.environ, **settings.as_environment()},
        stdout=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        yield process
        process.terminate()
        assert process.wait(30) == 0
    finally:
        process.kill()
        process.wait()


def every_item_once(client: FlaskClient, batch: Json) -> None:
    """All items of a batch are done, and each has one document in the archive, with its name."""
    told = ended(client, batch)
    assert Counter(item["state"] for item in told["items"]) == {"done": told["total"]}
    assert (told["state"], told["done"], told["failed"]) == ("done", told["total"], 0)
    archive = archived(client, batch)
    documents = [name for name in archive.namelist() if name.endswith(".pdf")]
    digits = max(2, len(str(told["total"])))
    assert documents == [f"{i['number']:0{digits}} {i['for']}.pdf" for i in told["items"]]
    for item, name in zip(told["items"], documents, strict=True):
        if item["number"] % 20 == 1:
            pages = pypdf.PdfReader(io.BytesIO(archive.read(name))).pages
            assert len(pages) == item["pages"]
