"""Progress as Server-Sent Events, read after the rules of the HTML standard (WHATWG HTML,
section 9.2.6, "Interpreting an event stream")."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from threading import Thread

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from piecewright.service.batches.model import Batch, BatchItem
from piecewright.service.batches.packet_maker import Packets
from piecewright.service.batches.storage import open_storage
from piecewright.service.batches.work import run_next_job
from piecewright.service.http.batches import events
from piecewright.service.settings import Settings
from tests.service.batches.asking import Json, do_all, posted, state

STREAM = {"Accept": "text/event-stream"}


@dataclass(frozen=True)
class Event:
    """A message event as a browser dispatches it."""

    type: str
    data: str
    last_id: str

    @property
    def told(self) -> Json:
        return dict(json.loads(self.data))


@dataclass
class EventStream:
    """Reads a stream after the rules of the standard.

    Attributes:
        retry: milliseconds until the client comes back.
        comments: lines that were ignored as comments.
    """

    last_id: str = ""
    retry: int | None = None
    comments: int = 0

    def read(self, chunks: Iterable[bytes]) -> Iterator[Event]:
        data: list[str] = []
        type_, id_ = "", self.last_id
        for line in self._lines(chunks):
            if not line:
                self.last_id = id_
                if data:
                    yield Event(type_ or "message", "\n".join(data), id_)
                data, type_ = [], ""
                continue
            if line.startswith(":"):
                self.comments += 1
                continue
            field, _, value = line.partition(":")
            value = value.removeprefix(" ")
            if field == "event":
                type_ = value
            elif field == "data":
                data.append(value)
            elif field == "id" and "\0" not in value:
                id_ = value
            elif field == "retry" and value.isascii() and value.isdigit():
                self.retry = int(value)
        # What no empty line has ended is thrown away.

    def _lines(self, chunks: Iterable[bytes]) -> Iterator[str]:
        rest = b""
        for chunk in chunks:
            rest += chunk
            # Of the line endings of the standard, CR LF must not be cut in two.
            *lines, rest = rest.replace(b"\r\n", b"\n").split(b"\n")
            for line in lines:
                assert b"\r" not in line
                yield line.decode("utf-8")


def opened(client: FlaskClient, batch: Json, last_id: str = "") -> TestResponse:
    headers = {**STREAM, **({"Last-Event-ID": last_id} if last_id else {})}
    answer = client.get(batch["links"]["self"], headers=headers)
    if answer.status_code == 200:
        assert answer.mimetype == "text/event-stream"
        assert answer.content_type == "text/event-stream"  # always UTF-8, so no charset
        assert "no-store" in answer.headers["Cache-Control"]
    return answer


def pieces(answer: TestResponse) -> Iterator[bytes]:
    """What comes in, until the end; then the connection is closed, as a server does."""
    yield from answer.iter_encoded()
    answer.close()


def test_a_stream_tells_every_item_and_ends_with_the_batch(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    helper = Thread(target=do_all, args=(settings,))
    answer = opened(client, batch)
    stream = EventStream()
    heard: list[Event] = []
    for event in stream.read(pieces(answer)):
        heard.append(event)
        if len(heard) == 4:  # all that is known at first: three items that wait, and the batch
            assert [e.type for e in heard] == ["item", "item", "item", "progress"]
            assert {e.told["state"] for e in heard} == {"queued"}
            helper.start()
    helper.join()
    assert stream.retry is not None
    assert heard[-1].type == "end"
    final = state(client, batch)
    items = final.pop("items")
    assert heard[-1].told == final
    last_told = {e.told["number"]: e.told for e in heard if e.type == "item"}
    assert [last_told[number] for number in (1, 2, 3)] == items
    ids = [int(e.last_id) for e in heard]
    assert ids == sorted(ids)


def test_the_end_is_told_when_all_is_in_one_document_too(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    storage = open_storage(settings)
    while storage.queries.waiting() and not state(client, batch)["ended"]:
        assert run_next_job("here", storage, Packets(), settings)
    answer = opened(client, batch)
    heard = []
    for event in EventStream().read(pieces(answer)):
        if event.type != "item":
            heard.append((event.type, event.told["state"], event.told["collated"]["state"]))
            do_all(settings)
    assert heard == [("progress", "done", "queued"), ("end", "done", "done")]


def test_who_comes_back_hears_what_was_missed_and_no_more(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    storage = open_storage(settings)
    assert run_next_job("here", storage, Packets(), settings)  # the job of Ada and Bente
    answer = opened(client, batch)
    stream = EventStream()
    for event in stream.read(pieces(answer)):
        if event.type == "progress":
            break
    answer.close()
    do_all(settings)
    back = EventStream(stream.last_id)
    heard = list(back.read(pieces(opened(client, batch, stream.last_id))))
    assert [(e.type, e.told.get("number"), e.told["state"]) for e in heard] == [
        ("item", 3, "done"),
        ("end", None, "done"),
    ]


def test_who_was_cut_off_within_a_change_hears_it_again(client: FlaskClient) -> None:
    batch = posted(client)
    (first, *_) = EventStream().read(opened_once(client, batch))
    assert first.told["number"] == 1
    heard = [
        e.told.get("number") for e in EventStream().read(opened_once(client, batch, first.last_id))
    ]
    assert heard == [1, 2, 3, None]


def opened_once(client: FlaskClient, batch: Json, last_id: str = "") -> Iterator[bytes]:
    """A stream's first two pieces: when to come back, and what there is to tell."""
    answer = opened(client, batch, last_id)
    both = answer.iter_encoded()
    yield next(both)
    yield next(both)
    answer.close()


def test_who_has_heard_it_all_need_not_come_back(client: FlaskClient, settings: Settings) -> None:
    """A client stops reconnecting when it is answered 204 (WHATWG HTML, section 9.2)."""
    batch = posted(client)
    do_all(settings)
    stream = EventStream()
    *_, end = stream.read(pieces(opened(client, batch)))
    assert end.type == "end"
    assert opened(client, batch, stream.last_id).status_code == 204


@pytest.mark.parametrize("odd", ["-1", "x", "1e3", "9" * 20, "\u00b2"])
def test_an_id_that_we_never_gave_is_as_none(
    client: FlaskClient, settings: Settings, odd: str
) -> None:
    batch = posted(client)
    do_all(settings)
    heard = list(EventStream().read(pieces(opened(client, batch, odd))))
    assert [e.type for e in heard] == ["item", "item", "item", "end"]


def test_a_batch_that_is_removed_meanwhile_ends_the_stream(
    client: FlaskClient, settings: Settings
) -> None:
    batch = posted(client)
    answer = opened(client, batch)
    heard = []
    for event in EventStream().read(pieces(answer)):
        heard.append(event.type)
        if event.type == "progress":
            open_storage(settings).remove(batch["id"])
    assert heard == ["item", "item", "item", "progress"]


def test_only_so_many_may_listen_at_once(client: FlaskClient, settings: Settings) -> None:
    batch = posted(client)
    listening = [opened(client, batch) for _ in range(events.MOST_STREAMS)]
    assert all(answer.status_code == 200 for answer in listening)
    refused = opened(client, batch)
    assert refused.status_code == 503
    assert refused.mimetype == "application/problem+json"
    assert int(refused.headers["Retry-After"]) > 0
    listening[0].close()
    again = opened(client, batch)
    assert again.status_code == 200
    for answer in (again, *listening[1:]):
        answer.close()
    do_all(settings)
    assert opened(client, batch).status_code == 200


def test_silence_is_broken_by_comments_and_a_stream_does_not_last_for_ever() -> None:
    batch = Batch("b", "", "running", 5, 1, 0, 0, 0.0, None, None, ())
    pace = events.Pace(look=0.0, comment=0.01, last=0.2, retry=1234)
    stream = EventStream()
    heard = list(stream.read(events.events(batch, 0, "/b", lambda seen: batch, pace)))
    assert [event.type for event in heard] == ["progress"]
    assert stream.comments >= 2
    assert stream.retry == 1234


def test_a_text_with_line_ends_stays_one_event() -> None:
    wicked = "a\nid: 9\r\n\ndata: x\u2028\0"
    item = BatchItem(1, 1, wicked, "queued", 5, None, None)
    batch = Batch("b", wicked, "done", 5, 1, 0, 0, 0.0, 1.0, 2.0, (item,))
    told = list(EventStream().read(events.events(batch, 0, "/b", lambda seen: None, events.Pace())))
    assert [event.type for event in told] == ["item", "end"]
    assert told[0].told["for"] == told[1].told["title"] == wicked


def test_one_owner_leaves_streams_for_others() -> None:
    streams = events.Streams()
    assert [streams.take("ada") for _ in range(events.MOST_OF_ONE)] == [0] * events.MOST_OF_ONE
    assert streams.take("ada") == events.MOST_OF_ONE
    left = events.MOST_STREAMS - events.MOST_OF_ONE
    assert [streams.take("bente") for _ in range(left)] == [0] * left
    assert streams.take("carl") == events.MOST_STREAMS
    streams.give_back("ada")
    assert streams.take("bente") == events.MOST_OF_ONE
    assert streams.take("carl") == 0


def test_who_has_heard_the_end_is_not_told_it_again_for_a_late_worker(
    client: FlaskClient, settings: Settings
) -> None:
    """The lease of a worker that had no turn for long runs out, and two are at it."""

    class Late(Packets):
        def collate(self, copies: Iterable[tuple[str, bytes]], title: str) -> bytes:
            document = super().collate(copies, title)
            if not heard:
                heard.append("end")
                open_storage(settings).store.release("here")
                do_all(settings, self)
                *_, end = EventStream().read(pieces(opened(client, batch)))
                assert end.type == "end"
                heard.append(end.last_id)
            return document

    heard: list[str] = []
    batch = posted(client)
    do_all(settings, Late())
    assert opened(client, batch, heard[1]).status_code == 204
