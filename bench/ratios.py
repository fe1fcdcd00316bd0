"""How much longer one thing takes than another on the same work, in the same process."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Ratio:
    """A line of the table.

    Attributes:
        what: is measured.
        work: on what, as short as can be.
        against: the reference.
        ratio: how many times the reference it takes.
        aim: the most that the ratio should be; None where there is no aim.
    """

    what: str
    work: str
    against: str
    ratio: float
    aim: float | None = None


def compared(
    measured: Callable[[], object], reference: Callable[[], object], rounds: int = 5
) -> float:
    """How many times as long ``measured`` takes as ``reference``.

    The two take turns, so that whatever else the machine does meets both; of each the
    fastest round counts, being the one least disturbed. Both run once before.
    """
    measured(), reference()
    ours, theirs = [], []
    for _ in range(rounds):
        ours.append(seconds(measured))
        theirs.append(seconds(reference))
    return min(ours) / min(theirs)


def seconds(work: Callable[[], object]) -> float:
    """How long the work takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def table(ratios: Iterable[Ratio]) -> str:
    """The ratios as a table in Markdown."""
    lines = [
        "| what | work | against | times | aim |",
        "| --- | --- | --- | ---: | ---: |",
    ]
    for one in ratios:
        aim = "" if one.aim is None else f"{one.aim:g}"
        lines.append(f"| {one.what} | {one.work} | {one.against} | {one.ratio:.3g} | {aim} |")
    return "\n".join(lines)
