"""A child process: it is heard in time or not at all, and never outlives its parent.

What a process that ended by a signal leaves with is POSIX (``waitpid``).
"""

from __future__ import annotations

import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier

import pytest

from piecewright.service.processes.child import Child, DeadlineExceeded
from tests.service.batches.servers import wait_until

ECHO = """
import sys
from piecewright.service.processes.parent import Parent
parent = Parent(sys.argv[-1])
while True:
    parent.send(("heard", parent.receive()))
"""
STUCK = """
import sys, time
from piecewright.service.processes.parent import Parent
parent = Parent(sys.argv[-1])
parent.send("begun")
time.sleep(600)
"""


def running(code: str) -> Child:
    return Child([sys.executable, "-c", code])


def test_messages_go_to_and_fro() -> None:
    child = running(ECHO)
    for message in ("mast", {"sail": [1, 2]}):
        child.send(message)
        assert child.receive(20) == ("heard", message)
    assert child.is_alive
    assert child.kill() == child.exit_code == -signal.SIGKILL


def test_a_child_that_does_not_answer_in_time_can_be_killed() -> None:
    child = running(STUCK)
    assert child.receive(20) == "begun"
    with pytest.raises(DeadlineExceeded):
        child.receive(0.05)
    assert child.kill() == -signal.SIGKILL


def test_what_a_child_sent_before_its_end_can_still_be_received() -> None:
    child = running(STUCK.replace("time.sleep(600)", "sys.exit(3)"))
    wait_until(lambda: not child.is_alive, "the end of the child")
    assert child.receive(0) == "begun"
    with pytest.raises((EOFError, OSError)):
        child.receive(0)
    assert child.reap() == 3


def test_a_child_that_is_asked_to_end_does() -> None:
    child = running(STUCK)
    assert child.receive(20) == "begun"
    child.terminate()
    assert child.reap() == -signal.SIGTERM


def test_a_child_ends_when_its_parent_is_killed_in_the_midst_of_work() -> None:
    program = f"""if True:
        import sys
        from piecewright.service.processes.child import Child
        child = Child([sys.executable, "-c", {STUCK!r}])
        assert child.receive(20) == "begun"
        print(child.pid, flush=True)
        sys.stdin.read()
    """
    parent = subprocess.Popen(
        [sys.executable, "-c", program], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert parent.stdin is not None
    assert parent.stdout is not None
    child = Path("/proc") / parent.stdout.readline().decode().strip()
    assert child.exists()
    parent.kill()
    parent.wait()
    wait_until(lambda: not child.exists(), "the end of the child")
    parent.stdin.close()
    parent.stdout.close()


def test_a_command_that_is_not_there_is_an_error() -> None:
    with pytest.raises(OSError, match="no"):
        Child(["/no/such/program"])


def test_a_child_may_be_killed_by_several_while_another_waits_for_it() -> None:
    silent = [sys.executable, "-c", "import signal; signal.pause()"]
    with ThreadPoolExecutor(3) as others:
        for _ in range(40):
            child = Child(silent)
            waiting = others.submit(child.receive, 20)
            at_once = Barrier(2)

            def kill(child: Child = child, at_once: Barrier = at_once) -> int:
                at_once.wait()
                return child.kill()

            killed = [others.submit(kill) for _ in range(2)]
            assert [one.result() for one in killed] == 2 * [-signal.SIGKILL]
            assert isinstance(waiting.exception(), EOFError | OSError)
