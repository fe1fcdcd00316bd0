"""Desks: whatever happens at one, its client is told, and the next is served.

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
from piecewright.service.drawing_pool.pool import Desks
from piecewright.service.drawing_pool.tasks import Order
from piecewright.service.problems import Problem
from piecewright.service.settings import Settings
from tests.service.asking import Json, check
from tests.service.batches.servers import wait_until
from tests.service.drawing_pool.odd_desk import DRY_DESK, LARGE, ODD_DESK
from tests.service.http.test_problems import problem

PINWHEEL: Json = {"block": "pinwheel"}


def is_there(process: int) -> bool:
    """Whether there is such a process, be it one that has ended and was not waited for."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


def odd(what: str, **more: str) -> Order:
    return Order("check", json.dumps({"odd": what, **more}).encode())


@pytest.fixture(scope="module")
def desks() -> Iterator[Desks]:
    """One desk, whose memory and time are short."""
    made = Desks(Settings(deadline=2, desk_memory=512), ODD_DESK)
    yield made
    made.end()


@pytest.fixture(scope="module")
def client(desks: Desks) -> FlaskClient:
    return create_app(Settings(cache_bytes=0), desks).test_client()


def test_what_takes_too_long_is_stopped(client: FlaskClient, desks: Desks, tmp_path: Path) -> None:
    desks.prove_ready()
    (slow,) = desks.processes
    never = {"odd": "wait", "folder": str(tmp_path), "begun": "begun", "until": "never"}
    told = problem(check(client, never), 503, "too-long")
    assert told["detail"] == "This was stopped after 2 seconds."
    assert (tmp_path / "begun").exists()
    assert not is_there(slow)
    assert check(client, PINWHEEL).status_code == 200


def test_what_ends_its_process_is_told_and_logged(
    client: FlaskClient, desks: Desks, caplog: pytest.LogCaptureFixture
) -> None:
    answer = client.post("/v1/check", json={"odd": "fault"}, headers={"X-Request-Id": "harbour-8"})
    problem(answer, 503, "too-much")
    assert f"request harbour-8 ended its desk, which left with {-signal.SIGSEGV}" in caplog.text
    assert check(client, PINWHEEL).status_code == 200


def test_what_needs_too_much_memory_is_told(client: FlaskClient) -> None:
    problem(check(client, {"odd": "greedy"}), 503, "too-much")
    assert check(client, PINWHEEL).status_code == 200


def test_a_desk_survives_an_error_of_the_service(
    client: FlaskClient, desks: Desks, caplog: pytest.LogCaptureFixture
) -> None:
    assert check(client, PINWHEEL).status_code == 200
    before = desks.processes
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
    assert "in checked" in caplog.text  # where it happened at the desk
    assert desks.processes == before


def test_a_problem_leaves_a_desk_as_it_is(client: FlaskClient) -> None:
    answer = check(client, {"odd": "problem"})
    assert problem(answer, 409, "conflict")["detail"] == "The tide is in."
    assert answer.headers["Retry-After"] == "7"


def test_a_large_answer_comes_whole(client: FlaskClient) -> None:
    answer = check(client, {"odd": "large"})
    assert answer.mimetype == "application/pdf"
    assert answer.data == bytes(range(256)) * (LARGE // 256)


def test_a_desk_that_ended_while_it_was_idle_is_replaced(desks: Desks) -> None:
    desks.prove_ready()
    (idle,) = desks.processes
    os.kill(idle, signal.SIGKILL)
    os.waitid(os.P_PID, idle, os.WEXITED | os.WNOWAIT)
    answer = desks.do(Order("check", b'{"block": "pinwheel"}'))
    assert answer is not None
    assert idle not in desks.processes
    assert not is_there(idle)


def test_who_may_not_wait_is_sent_away_and_told_when_to_come_back(tmp_path: Path) -> None:
    desks = Desks(Settings(waiting=0), ODD_DESK)
    client = create_app(Settings(cache_bytes=0), desks).test_client()
    long = odd("wait", folder=str(tmp_path), begun="begun", until="enough")
    with ThreadPoolExecutor() as others:
        first = others.submit(desks.do, long)
        wait_until((tmp_path / "begun").exists, "the first request")
        answer = check(client, PINWHEEL)
        problem(answer, 503, "unavailable")
        assert int(answer.headers["Retry-After"]) > 0
        for path in ("/health", "/v1/blocks", "/openapi.json", "/docs"):  # which need no desk
            assert client.get(path).status_code == 200
        (tmp_path / "enough").touch()
        assert first.result() is not None
    assert check(client, PINWHEEL).status_code == 200
    desks.end()


def test_who_may_wait_is_answered_in_turn(tmp_path: Path) -> None:
    desks = Desks(Settings(waiting=2), ODD_DESK)
    long = odd("wait", folder=str(tmp_path), begun="begun", until="enough")
    with ThreadPoolExecutor() as others:
        first = others.submit(desks.do, long)
        wait_until((tmp_path / "begun").exists, "the first request")
        rest = [others.submit(desks.do, odd("number")) for _ in range(2)]
        assert not any(one.done() for one in rest)
        (tmp_path / "enough").touch()
        answers = [one.result() for one in (first, *rest)]
    assert {answer.content for answer in answers if answer} == {b"{}\n", b"0\n", b"1\n"}
    desks.end()


def test_who_waits_for_as_long_as_a_drawing_may_take_is_sent_away() -> None:
    never_ready = (sys.executable, "-c", "import signal; signal.pause()")
    desks = Desks(Settings(deadline=1), never_ready)
    with ThreadPoolExecutor() as others:
        first = others.submit(desks.do, odd("number"))
        wait_until(lambda: desks.processes, "the first request")
        with pytest.raises(Problem, match="Every desk is taken") as refused:
            desks.do(odd("number"))
        desks.end()
        with pytest.raises(Problem, match="could not be drawn"):
            first.result()
    assert refused.value.retry_after


def test_two_desks_work_at_the_same_time(tmp_path: Path) -> None:
    desks = Desks(Settings(desks=2), ODD_DESK)
    with ThreadPoolExecutor() as others:  # each ends when the other has begun
        one = others.submit(desks.do, odd("wait", folder=str(tmp_path), begun="one", until="other"))
        other = others.submit(
            desks.do, odd("wait", folder=str(tmp_path), begun="other", until="one")
        )
        assert one.result() is not None
        assert other.result() is not None
    processes = desks.processes
    assert len(processes) == 2
    desks.end()
    assert not any(map(is_there, processes))


@pytest.mark.parametrize(
    "command", [DRY_DESK, (sys.executable, "-c", "raise SystemExit(3)"), ("/no/such/program",)]
)
def test_a_service_that_cannot_draw_says_so_as_long_as_it_cannot(
    command: tuple[str, ...], caplog: pytest.LogCaptureFixture
) -> None:
    client = create_app(Settings(), Desks(Settings(), command)).test_client()
    problem(client.get("/health"), 503, "unavailable")
    problem(check(client, PINWHEEL), 503, "unavailable")
    assert client.get("/v1/blocks").status_code == 200
    if command == DRY_DESK:
        assert "no library called cairo was found" in caplog.text


@pytest.mark.parametrize("by", [signal.SIGKILL, None])
def test_a_desk_ends_with_the_service_however_that_ends(
    by: signal.Signals | None, tmp_path: Path
) -> None:
    program = f"""if True:
        import sys, threading
        from piecewright.service.drawing_pool.pool import Desks
        from piecewright.service.settings import Settings
        from tests.service.drawing_pool.odd_desk import ODD_DESK
        from tests.service.drawing_pool.test_pool import odd
        desks = Desks(Settings(), ODD_DESK)
        work = odd("wait", folder={str(tmp_path)!r}, begun="begun", until="never")
        threading.Thread(target=desks.do, args=[work], daemon=True).start()
        while not desks.processes: pass
        print(desks.processes[0], flush=True)
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
    desk = int(service.stdout.readline())
    wait_until((tmp_path / "begun").exists, "the work")
    if by is None:
        service.stdin.close()
    else:
        service.send_signal(by)
    service.wait()
    wait_until(lambda: not is_there(desk), "the end of the desk")
    service.stdin.close()
    service.stdout.close()


def test_a_process_that_wants_more_memory_than_its_limit_gets_none() -> None:
    code = (
        "from service.memory import limit_memory; limit_memory(256)\n"
        "try: bytearray(512 * 1024 * 1024)\n"
        "except MemoryError: print('refused')"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout == "refused\n"
