"""The drawing pool: whatever happens to a worker, its client is told, and the next is served.

What a process that ended by a signal leaves with, and that one which was waited for is no
longer known, is POSIX (``waitpid``, ``kill``).
"""

from __future__ import annotations

import json
import logging
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from piecewright.service.app import create_app
from piecewright.service.drawing_pool.pool import DrawingPool
from piecewright.service.drawing_pool.tasks import Task
from piecewright.service.problems import Problem
from piecewright.service.settings import Settings
from tests.service.asking import Json, check
from tests.service.batches.servers import wait_until
from tests.service.drawing_pool.odd_worker import DRY_WORKER, LARGE, ODD_WORKER
from tests.service.http.test_problems import problem

PINWHEEL: Json = {"block": "pinwheel"}


def is_there(process: int) -> bool:
    """Whether there is such a process, be it one that has ended and was not waited for."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


def odd(what: str, **more: str) -> Task:
    return Task("check", json.dumps({"odd": what, **more}).encode())


@pytest.fixture(scope="module")
def pool() -> Iterator[DrawingPool]:
    """One worker, whose memory and time are short."""
    made = DrawingPool(Settings(deadline=2, desk_memory=512), ODD_WORKER)
    yield made
    made.end()


@pytest.fixture(scope="module")
def client(pool: DrawingPool) -> FlaskClient:
    return create_app(Settings(cache_bytes=0), pool).test_client()


def test_what_takes_too_long_is_stopped(
    client: FlaskClient, pool: DrawingPool, tmp_path: Path
) -> None:
    pool.prove_ready()
    (slow,) = pool.processes
    never = {"odd": "wait", "folder": str(tmp_path), "begun": "begun", "until": "never"}
    told = problem(check(client, never), 503, "too-long")
    assert told["detail"] == "This was stopped after 2 seconds."
    assert (tmp_path / "begun").exists()
    assert not is_there(slow)
    assert check(client, PINWHEEL).status_code == 200


def test_what_ends_its_process_is_told_and_logged(
    client: FlaskClient, pool: DrawingPool, caplog: pytest.LogCaptureFixture
) -> None:
    answer = client.post("/v1/check", json={"odd": "fault"}, headers={"X-Request-Id": "harbour-8"})
    problem(answer, 503, "too-much")
    assert f"request harbour-8 ended its worker, which left with {-signal.SIGSEGV}" in caplog.text
    assert check(client, PINWHEEL).status_code == 200


def test_what_needs_too_much_memory_is_told(client: FlaskClient) -> None:
    problem(check(client, {"odd": "greedy"}), 503, "too-much")
    assert check(client, PINWHEEL).status_code == 200


def test_a_worker_survives_an_error_of_the_service(
    client: FlaskClient, pool: DrawingPool, caplog: pytest.LogCaptureFixture
) -> None:
    assert check(client, PINWHEEL).status_code == 200
    before = pool.processes
    with caplog.at_level(logging.ERROR):
        answer = client.post(
            "/v1/check", json={"odd": "error"}, headers={"X-Request-Id": "harbour-7"}
        )
    problem(answer, 500, "internal-error")
    text = answer.get_data(as_text=True)
    assert "tide" not in text
    assert "Traceback" not in text
    assert "harbour-7" in caplog.text
    assert "ZeroDivisionError: the tide is out" in caplog.text
    assert "in check" in caplog.text  # where it happened in the worker
    assert pool.processes == before


def test_a_problem_leaves_a_worker_as_it_is(client: FlaskClient) -> None:
    answer = check(client, {"odd": "problem"})
    assert problem(answer, 409, "conflict")["detail"] == "The tide is in."
    assert answer.headers["Retry-After"] == "7"


def test_a_large_answer_comes_whole(client: FlaskClient) -> None:
    answer = check(client, {"odd": "large"})
    assert answer.mimetype == "application/pdf"
    assert answer.data == bytes(range(256)) * (LARGE // 256)


def test_a_worker_that_ended_while_it_was_idle_is_replaced(pool: DrawingPool) -> None:
    pool.prove_ready()
    (idle,) = pool.processes
    os.kill(idle, signal.SIGKILL)
    os.waitid(os.P_PID, idle, os.WEXITED | os.WNOWAIT)
    answer = pool.run(Task("check", b'{"block": "pinwheel"}'))
    assert answer is not None
    assert idle not in pool.processes
    assert not is_there(idle)


def test_who_may_not_wait_is_sent_away_and_told_when_to_come_back(tmp_path: Path) -> None:
    pool = DrawingPool(Settings(waiting=0), ODD_WORKER)
    client = create_app(Settings(cache_bytes=0), pool).test_client()
    long = odd("wait", folder=str(tmp_path), begun="begun", until="enough")
    with ThreadPoolExecutor() as others:
        first = others.submit(pool.run, long)
        wait_until((tmp_path / "begun").exists, "the first request")
        answer = check(client, PINWHEEL)
        problem(answer, 503, "unavailable")
        assert int(answer.headers["Retry-After"]) > 0
        for path in ("/health", "/v1/blocks", "/openapi.json", "/docs"):  # which need no worker
            assert client.get(path).status_code == 200
        (tmp_path / "enough").touch()
        assert first.result() is not None
    assert check(client, PINWHEEL).status_code == 200
    pool.end()


def test_who_may_wait_is_answered_in_turn(tmp_path: Path) -> None:
    pool = DrawingPool(Settings(waiting=2), ODD_WORKER)
    long = odd("wait", folder=str(tmp_path), begun="begun", until="enough")
    with ThreadPoolExecutor() as others:
        first = others.submit(pool.run, long)
        wait_until((tmp_path / "begun").exists, "the first request")
        rest = [others.submit(pool.run, odd("number")) for _ in range(2)]
        assert not any(one.done() for one in rest)
        (tmp_path / "enough").touch()
        answers = [one.result() for one in (first, *rest)]
    assert {answer.content for answer in answers if answer} == {b"{}\n", b"0\n", b"1\n"}
    pool.end()


def test_who_waits_for_as_long_as_a_drawing_may_take_is_sent_away() -> None:
    never_ready = (sys.executable, "-c", "import signal; signal.pause()")
    pool = DrawingPool(Settings(deadline=1), never_ready)
    with ThreadPoolExecutor() as others:
        first = others.submit(pool.run, odd("number"))
        wait_until(lambda: pool.processes, "the first request")
        with pytest.raises(Problem, match="Every worker is busy") as refused:
            pool.run(odd("number"))
        pool.end()
        with pytest.raises(Problem, match="could not be drawn"):
            first.result()
    assert refused.value.retry_after


def test_two_workers_work_at_the_same_time(tmp_path: Path) -> None:
    pool = DrawingPool(Settings(desks=2), ODD_WORKER)
    with ThreadPoolExecutor() as others:  # each ends when the other has begun
        one = others.submit(pool.run, odd("wait", folder=str(tmp_path), begun="one", until="other"))
        other = others.submit(
            pool.run, odd("wait", folder=str(tmp_path), begun="other", until="one")
        )
        assert one.result() is not None
        assert other.result() is not None
    processes = pool.processes
    assert len(processes) == 2
    pool.end()
    assert not any(map(is_there, processes))


@pytest.mark.parametrize(
    "command", [DRY_WORKER, (sys.executable, "-c", "raise SystemExit(3)"), ("/no/such/program",)]
)
def test_a_service_that_cannot_draw_says_so_as_long_as_it_cannot(
    command: tuple[str, ...], caplog: pytest.LogCaptureFixture
) -> None:
    client = create_app(Settings(), DrawingPool(Settings(), command)).test_client()
    problem(client.get("/health"), 503, "unavailable")
    problem(check(client, PINWHEEL), 503, "unavailable")
    assert client.get("/v1/blocks").status_code == 200
    if command == DRY_WORKER:
        assert "no library called cairo was found" in caplog.text


@pytest.mark.parametrize("by", [signal.SIGKILL, None])
def test_a_worker_ends_with_the_service_however_that_ends(
    by: signal.Signals | None, tmp_path: Path
) -> None:
    program = f"""if True:
        import sys, threading
        from piecewright.service.drawing_pool.pool import DrawingPool
        from piecewright.service.settings import Settings
        from tests.service.drawing_pool.odd_worker import ODD_WORKER
        from tests.service.drawing_pool.test_pool import odd
        pool = DrawingPool(Settings(), ODD_WORKER)
        work = odd("wait", folder={str(tmp_path)!r}, begun="begun", until="never")
        threading.Thread(target=pool.run, args=[work], daemon=True).start()
        while not pool.processes: pass
        print(pool.processes[0], flush=True)
        sys.stdin.read()
    """
    service = subprocess.Popen(
        [sys.executable, "-c", program],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
    assert service.stdin is not None
    assert service.stdout is not None
    worker = int(service.stdout.readline())
    wait_until((tmp_path / "begun").exists, "the work")
    if by is None:
        service.stdin.close()
    else:
        service.send_signal(by)
    service.wait()
    wait_until(lambda: not is_there(worker), "the end of the worker")
    service.stdin.close()
    service.stdout.close()
