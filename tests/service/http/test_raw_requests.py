"""Requests as they come over the wire, to the service as gunicorn serves it: RFC 9112."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path

import pytest

from piecewright.service.http import slow_clients
from piecewright.service.http.slow_clients import PatientSocket, TooSlow
from piecewright.service.settings import Settings
from tests.service.asking import GUNICORN, Json
from tests.service.batches.servers import free_port, wait_until

BODY = b'{"block": "pinwheel"}'
CHECK = (
    b"POST /v1/check HTTP/1.1\r\nHost: quilts.example\r\nConnection: close\r\n"
    b"Content-Type: application/json\r\n"
)
CHUNKED = CHECK + b"Transfer-Encoding: chunked\r\n\r\n"


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """Where the service listens, just started."""
    folder, free = tmp_path_factory.mktemp("served"), free_port()
    settings = Settings(data=str(folder))
    process = subprocess.Popen(
        [*GUNICORN, "--bind", f"127.0.0.1:{free}", "--workers", "1"],
        env={**os.environ, **settings.as_environment()},
        stderr=(folder / "log").open("w"),
    )
    try:
        wait_until(lambda: _listens(free), "the service")
        yield free
    finally:
        process.terminate()
        process.wait()


def _listens(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port)).close()
    except OSError:
        return False
    return True


def asked(port: int, request: bytes) -> tuple[int, str, bytes]:
    """Status, media type and body of the answer to a request of which no more comes."""
    with socket.create_connection(("127.0.0.1", port), timeout=60) as connection:
        connection.sendall(request)
        connection.shutdown(socket.SHUT_WR)
        answer = b"".join(iter(lambda: connection.recv(65536), b""))
    head, _, body = answer.partition(b"\r\n\r\n")
    first, *fields = head.decode().split("\r\n")
    named = dict(field.lower().split(": ", 1) for field in fields)
    return int(first.split()[1]), named["content-type"], body


def get(path: str) -> bytes:
    return f"GET {path} HTTP/1.1\r\nHost: quilts.example\r\nConnection: close\r\n\r\n".encode()


def test_the_documents_are_there_from_the_start_for_many_at_once(port: int) -> None:
    paths = ["/openapi.json", "/docs"] * 4
    with ThreadPoolExecutor(len(paths)) as threads:
        answers = list(threads.map(lambda path: asked(port, get(path)), paths))
    assert [status for status, _, _ in answers] == [200] * len(paths)
    kept = Path(__file__).parents[3] / "openapi" / "openapi.json"
    assert json.loads(answers[0][2]) == json.loads(kept.read_text("utf-8"))


def test_a_body_that_comes_whole_is_read(port: int) -> None:
    length = CHECK + b"Content-Length: %d\r\n\r\n" % len(BODY)
    chunks = b"".join(b"%x\r\n%s\r\n" % (len(part), part) for part in (BODY[:5], BODY[5:]))
    for request in (length + BODY, CHUNKED + chunks + b"0\r\n\r\n"):
        assert asked(port, request)[0] == 200


@pytest.mark.parametrize(
    "request_",
    [
        pytest.param(CHUNKED + b"-1\r\n" + BODY + b"\r\n0\r\n\r\n", id="a chunk of -1 bytes"),
        pytest.param(CHUNKED + b"zz\r\n" + BODY + b"\r\n0\r\n\r\n", id="a chunk of zz bytes"),
        pytest.param(CHUNKED + b"15\r\n" + BODY + b"0\r\n\r\n", id="no line end after a chunk"),
        pytest.param(CHUNKED + b"15\r\n" + BODY + b"\r\n", id="no last chunk"),
        pytest.param(CHUNKED + b"99\r\n" + BODY, id="half a chunk"),
        pytest.param(CHECK + b"Content-Length: 99\r\n\r\n" + BODY, id="a body cut short"),
        pytest.param(
            CHECK.replace(b"check", b"readings").replace(b"json", b"pdf")
            + b"Content-Length: 99\r\n\r\n%PDF-1.7",
            id="a file cut short",
        ),
        pytest.param(get("/health").replace(b"Host", b"Host: a\r\nHost"), id="two hosts"),
        pytest.param(CHECK + b"Content-Length: -5\r\n\r\n", id="a length of -5"),
        pytest.param(b"g@t / HTTP/1.1\r\n\r\n", id="no method"),
    ],
)
def test_a_request_that_http_does_not_know_is_a_bad_request(port: int, request_: bytes) -> None:
    status, media, body = asked(port, request_)
    problem: Json = json.loads(body)
    assert (status, media) == (400, "application/problem+json")
    assert (problem["status"], problem["type"]) == (400, "/problems/bad-request")


@pytest.mark.parametrize(
    ("request_", "expected"),
    [
        (get("/" + "a" * 9000), 414),
        (get("/health").replace(b"Host", b"X: " + b"a" * 9000 + b"\r\nHost"), 431),
        (CHECK + b"Expect: magic\r\nContent-Length: 2\r\n\r\n{}", 417),
    ],
)
def test_what_is_refused_before_it_is_read_is_a_problem_too(
    port: int, request_: bytes, expected: int
) -> None:
    status, media, body = asked(port, request_)
    assert (status, media) == (expected, "application/problem+json")
    assert json.loads(body)["status"] == expected


def test_others_are_answered_while_many_bodies_do_not_come(port: int) -> None:
    with ExitStack() as open_:
        for _ in range(90):
            connection = socket.create_connection(("127.0.0.1", port))
            open_.enter_context(connection)
            connection.sendall(CHECK + b"Content-Length: 99\r\n\r\n{")
        assert asked(port, get("/problems/bad-request"))[0] == 200


def test_a_request_that_comes_too_slowly_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(slow_clients, "GRACE", 0.2)
    monkeypatch.setattr(slow_clients, "SLOWEST", 1000)
    ours, theirs = socket.socketpair()
    with PatientSocket.of(ours) as connection, theirs:
        stop = threading.Event()

        def drip() -> None:
            while not stop.wait(0.02):
                theirs.sendall(b"a")

        dripping = threading.Thread(target=drip)
        dripping.start()
        connection.expect_request()
        try:
            with pytest.raises(TooSlow):
                all(iter(lambda: connection.recv(64), b""))
        finally:
            stop.set()
            dripping.join()
        # What comes fast gets more time, and the next request is given its own.
        connection.expect_request()
        theirs.sendall(b"b" * 5000)
        assert connection.recv(64)
        assert connection.gettimeout() is None
