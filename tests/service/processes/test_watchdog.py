"""A step that takes too long is written down, and its process ended, whatever it is doing."""

from __future__ import annotations

import signal
import subprocess
import sys
from threading import Event

from piecewright.service.processes.watchdog import Watchdog

# A pattern that takes ages, in C code that lets no other thread have a turn.
STUCK = """
import re
from piecewright.service.processes.watchdog import Watchdog
with Watchdog(lambda: 0, lambda n: 0, interval=10, deadline=0.2, grace=0.2) as watchdog:
    with watchdog.step(None):
        print("begun", flush=True)
        re.match("(a+)+$", "a" * 60 + "b")
"""


def test_a_step_in_time_is_left_alone() -> None:
    told: list[int | None] = []
    with Watchdog(
        lambda: 0, told.append, interval=10, deadline=60, end=lambda: told.append(0)
    ) as watchdog:
        for number in range(3):
            with watchdog.step(number):
                pass
    assert told == []


def test_a_late_step_is_written_down_before_the_end() -> None:
    told: list[object] = []
    over = Event()

    def end() -> None:
        told.append("end")
        over.set()

    with Watchdog(lambda: 0, told.append, interval=10, deadline=0.05, end=end) as watchdog:
        with watchdog.step(1):
            pass
        with watchdog.step(7):
            assert over.wait(20)
    assert told[:2] == [7, "end"]


def test_the_end_comes_even_if_it_cannot_be_written_down() -> None:
    over = Event()

    def fail(number: int | None) -> None:
        raise OSError("the database is away")

    with (
        Watchdog(lambda: 0, fail, interval=10, deadline=0.05, end=over.set) as watchdog,
        watchdog.step(None),
    ):
        assert over.wait(20)


def test_the_heart_beats_while_the_work_lasts() -> None:
    beats = [Event(), Event(), Event()]
    left = iter(beats)

    def beat() -> None:
        next(left, beats[-1]).set()

    with Watchdog(beat, lambda number: 0, interval=0.01, deadline=60):
        assert all(event.wait(20) for event in beats)


def test_code_that_gives_no_other_thread_a_turn_is_ended_by_the_system() -> None:
    done = subprocess.run([sys.executable, "-c", STUCK], capture_output=True, check=False)
    assert done.stdout == b"begun\n"
    assert done.returncode == -signal.SIGALRM
