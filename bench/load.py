"""Whether the service stands many clients: ``python -m bench.load [SECONDS]``.

200 clients ask for cheap and heavy things by turns, each as soon as it is answered. There may
be no answers but good ones and those that ask to come back later (429, 503), and memory may
not grow: the median of the last third of the time is held against that of the middle third.
Then the service is told to end in the midst of it, and what was begun is completed.
"""

from __future__ import annotations

import random
import statistics
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any, Final

from bench.served import Served, served, wall

CLIENTS: Final = 200
SECONDS: Final = 60.0

MOST_GROWTH: Final = 1.1
"""Times the middle third that memory may be in the last third."""

_REST: Final = 0.5
"""Seconds that a client rests when it is asked to come back later."""

_PDF: Final = "application/pdf"
_ASKED: Final[Sequence[tuple[int, str, str, Callable[[random.Random], Any], str]]] = (
    # how often; what
    (6, "GET", "/health", lambda _: None, "application/json"),
    (6, "GET", "/v1/blocks", lambda _: None, "application/json"),
    (4, "POST", "/v1/check", lambda _: {"block": "bear-paw"}, "application/json"),
    (2, "POST", "/v1/check", lambda _: {"block": "tide"}, "application/json"),
    (8, "POST", "/v1/templates", lambda r: _sized(r, "churn-dash"), _PDF),
    (3, "POST", "/v1/sewing-plan", lambda r: _sized(r, "sawtooth-star"), "application/json"),
    (2, "POST", "/v1/packet", lambda r: _sized(r, "storm-at-sea"), _PDF),
    (1, "POST", "/v1/templates", lambda r: {"block": wall(r.choice((200, 400)))}, _PDF),
)


def _sized(by: random.Random, block: str) -> dict[str, Any]:
    """One of so many sizes that some are kept and some are drawn anew."""
    return {"block": block, "finish": {"width": by.randint(24, 224) / 8}}


class _Crowd:
    """All clients, and what they were answered."""

    def __init__(self, service: Served) -> None:
        self._service, self._over = service, threading.Event()
        self._lock = threading.Lock()
        self.answers: Counter[int | str] = Counter()
        self._threads = [
            threading.Thread(target=self._ask, args=(random.Random(number),), daemon=True)
            for number in range(CLIENTS)
        ]

    def come(self) -> None:
        for thread in self._threads:
            thread.start()

    def go(self) -> None:
        """No further request; those that are sent may still be answered."""
        self._over.set()

    def wait(self) -> None:
        for thread in self._threads:
            thread.join()

    def _ask(self, by: random.Random) -> None:
        weights = [often for often, *_ in _ASKED]
        while not self._over.is_set():
            ((_, method, path, body, accept),) = by.choices(_ASKED, weights)
            answer: int | str
            try:
                answer, _ = self._service.ask(method, path, body(by), accept)
            except OSError as error:
                answer = type(error).__name__
            with self._lock:
                self.answers[answer] += 1
            if answer in (429, 503):
                self._over.wait(_REST)


def main(arguments: Sequence[str]) -> int:
    """Measure; 0 if all is well."""
    seconds = float(arguments[0]) if arguments else SECONDS
    with served({}) as service:
        crowd = _Crowd(service)
        memory: list[float] = []
        crowd.come()
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            time.sleep(0.5)
            memory.append(service.memory())
        crowd.go()
        crowd.wait()
        answers = dict(crowd.answers)
        drained = _drained(service)
    third = len(memory) // 3
    middle, last = (
        statistics.median(part) for part in (memory[third : 2 * third], memory[2 * third :])
    )
    print(f"answers in {seconds:g} s to {CLIENTS} clients: {answers}")
    print(f"memory: {middle:.0f} MB, then {last:.0f} MB: {last / middle:.3f} times")
    print(f"answers to what was begun when it was told to end: {drained}; it ended well")
    bad = {answer for answer in answers if answer not in (200, 422, 429, 503)}
    good = not bad and answers.get(200, 0) > 0 and last <= MOST_GROWTH * middle
    return 0 if good and set(drained) <= {200, 503} and drained.get(200) else 1


def _drained(service: Served) -> dict[int | str, int]:
    """Answers to requests that are under way when the service is told to end."""
    answers: Counter[int | str] = Counter()

    def ask(number: int) -> None:
        body = {"block": "storm-at-sea", "finish": {"width": 30 + number}}
        try:
            answers[service.ask("POST", "/v1/packet", body, _PDF)[0]] += 1
        except OSError as error:
            answers[type(error).__name__] += 1

    threads = [threading.Thread(target=ask, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    time.sleep(0.5)
    service.process.terminate()
    for thread in threads:
        thread.join()
    return dict(answers)


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
