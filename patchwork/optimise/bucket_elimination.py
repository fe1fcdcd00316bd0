"""The cheapest of many yes-or-no choices, found exactly.

The choices are numbered from 0, and what they cost together is the sum of costs that depend
on a few of them each.  Choices are eliminated one after the other, each leaving a table of the
least cost for what it depended on (bucket elimination; R. Dechter, Artificial Intelligence
113, 1999).  Where such a table would grow too large it is split, and gives a lower bound
instead (mini-buckets; Dechter and Rish, Journal of the ACM 50, 2003); a depth-first search by
that bound then finds the cheapest (Kask and Dechter, Artificial Intelligence 129, 2001).
Where nothing was split the search walks straight to it.  Where it does not, it ends after so many
steps (``Effort``) and not after so much time: the same choices come out on any machine, however
busy it is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

Table: TypeAlias = NDArray[np.int64]

WIDEST = 14
"""Choices that a table may depend on, where a caller says nothing else."""

IN_A_SECOND: Final = 6_000_000
"""Steps of a search, about, in a second of a core that has nothing else to do."""

_FILLED_IN = 700
"""Choices of a part up to which the order of elimination is looked for with more care."""


@dataclass(frozen=True, slots=True)
class Cost:
    """What the choices ``on`` (all different) cost together.

    Attributes:
        of: the cost of their values, given in the order of ``on``; never negative.
    """

    on: tuple[int, ...]
    of: Callable[[Sequence[bool]], int]


@dataclass(frozen=True, slots=True)
class Part:
    """Choices that no cost ties to any other choice, and the cheapest that was found for them.

    Attributes:
        cost: what the values found cost.
        bound: no values cost less; equal to ``cost`` where that is proven to be least.
    """

    choices: tuple[int, ...]
    values: tuple[bool, ...]
    cost: int
    bound: int


class Effort:
    """How far searches may go together; each takes what it needs from what is left.

    A step is a choice at which a cost looks, which takes about the same time in any search.

    Attributes:
        left: steps that may still be taken; never negative.

    Args:
        seconds: what it may take on a core that has nothing else to do.
    """

    def __init__(self, seconds: float) -> None:
        self.left = round(IN_A_SECOND * seconds)

    def take(self, steps: int) -> None:
        """Take steps, or as many as are left."""
        self.left = max(0, self.left - steps)


def cheapest(
    count: int,
    costs: Sequence[Cost],
    effort: Effort,
    *,
    keep: int = 0,
    widest: int = WIDEST,
    start: Sequence[bool] | None = None,
) -> list[Part]:
    """The cheapest choices, part by part.

    Args:
        effort: a search that is not done when it is used up gives the best it has found.
        keep: steps of it to leave for others.
        widest: how many choices a table may depend on; each one more doubles time and memory.
        start: choices to better; what is found costs no more.
    """
    tables = [_needed(c.on, _tabled(c)) if len(c.on) <= WIDEST else c for c in costs]
    tied: list[set[int]] = [set() for _ in range(count)]
    for cost in tables:
        for v in cost.on:
            tied[v].update(cost.on)
    parts = []
    for choices in _parts(tied):
        inside = set(choices)
        own = [c for c in tables if c.on and c.on[0] in inside]
        parts.append(_Search(choices, own, tied, widest).result(effort, keep, start))
    # What depends on no choice at all is a cost of the first part that there is.
    fixed = sum(int(c.table) for c in tables if isinstance(c, _Tabled) and not c.on)
    if fixed:
        parts.append(Part((), (), fixed, fixed))
    return parts


@dataclass(frozen=True, slots=True, eq=False)
class _Tabled:
    """A cost as a table with one axis of length two for each choice it depends on."""

    on: tuple[int, ...]
    table: Table

    def of(self, values: Sequence[bool]) -> int:
        return int(self.table[tuple(map(int, values))])


def _tabled(cost: Cost) -> Table:
    table = np.empty((2,) * len(cost.on), dtype=np.int64)
    for index in np.ndindex(*table.shape):
        table[index] = cost.of([bool(i) for i in index])
    return table


def _needed(on: tuple[int, ...], table: Table) -> _Tabled:
    """The table without the choices that make no difference to it."""
    for axis in reversed(range(len(on))):
        if np.array_equal(table.take(0, axis), table.take(1, axis)):
            table = np.asarray(table.take(0, axis))
            on = on[:axis] + on[axis + 1 :]
    return _Tabled(on, table)


def _parts(tied: Sequence[set[int]]) -> Iterator[list[int]]:
    seen: set[int] = set()
    for v in range(len(tied)):
        if v in seen:
            continue
        seen.add(v)
        part, stack = [], [v]
        while stack:
            part.append(stack.pop())
            fresh = tied[part[-1]] - seen
            seen |= fresh
            stack += fresh
        yield sorted(part)


@dataclass(slots=True)
class _Bucket:
    """A choice as it is eliminated: the costs and messages that end with it.

    Attributes:
        messages: what earlier choices, once eliminated, cost at least.
        sent: the messages that it sends on when it is eliminated.
    """

    costs: list[_Tabled | Cost] = field(default_factory=list)
    messages: list[_Tabled] = field(default_factory=list)
    sent: list[_Tabled] = field(default_factory=list)


class _Search:
    def __init__(
        self,
        choices: Sequence[int],
        costs: Sequence[_Tabled | Cost],
        tied: Sequence[set[int]],
        widest: int,
    ) -> None:
        self.choices = choices
        self.last_first = _elimination(choices, tied)
        rank = {v: i for i, v in enumerate(self.last_first)}
        self.buckets = {v: _Bucket() for v in choices}
        for cost in costs:
            self.buckets[min(cost.on, key=rank.__getitem__)].costs.append(cost)
        self.bound = 0
        # To weigh a choice's two values, and a step more, so that none is free.
        self.steps: dict[int, int] = {}
        for v in self.last_first:
            bucket = self.buckets[v]
            tabled = [c for c in bucket.costs if isinstance(c, _Tabled)]
            for group in _groups([*tabled, *bucket.messages], widest):
                message = _eliminated(v, group)
                bucket.sent.append(message)
                if message.on:
                    self.buckets[min(message.on, key=rank.__getitem__)].messages.append(message)
                else:
                    self.bound += int(message.table)
            weighed = (*bucket.costs, *bucket.messages, *bucket.sent)
            self.steps[v] = 1 + 2 * sum(len(c.on) for c in weighed)

    def result(self, effort: Effort, keep: int, start: Sequence[bool] | None) -> Part:
        """Depth first, the choice that was eliminated last being made first.

        ``least`` is what the choices made cost and the others cost at least: each choice made
        adds its own costs and the messages that it had been sent, which replace the
        message that it sent on.
        """
        order = self.last_first[::-1]
        made: dict[int, bool] = {}
        best: dict[int, bool] = {}
        cost = -1
        if start is not None:
            best = {v: start[v] for v in order}
            cost = self.bound + sum(self._added(v, best) for v in order)
            if cost == self.bound:
                return self._part(best, cost, cost)
        stack: list[tuple[int, bool | None, int]] = [(-1, None, self.bound)]
        while stack:
            depth, value, least = stack.pop()
            if 0 <= cost <= least:
                continue
            if value is not None:
                made[order[depth]] = value
            if depth + 1 == len(order):
                best, cost = dict(made), least
                if cost == self.bound:
                    break
                continue
            if cost >= 0 and effort.left <= keep:
                return self._part(best, cost, self.bound)
            effort.take(self.steps[order[depth + 1]])
            offers = []
            for onward in (False, True):
                made[order[depth + 1]] = onward
                offers.append((least + self._added(order[depth + 1], made), onward))
            # The cheaper of the two comes off the stack first.
            for after, onward in sorted(offers, reverse=True):
                stack.append((depth + 1, onward, after))
        return self._part(best, cost, cost)

    def _part(self, values: dict[int, bool], cost: int, bound: int) -> Part:
        choices = tuple(self.choices)
        return Part(choices, tuple(values[v] for v in choices), cost, bound)

    def _added(self, v: int, made: dict[int, bool]) -> int:
        bucket = self.buckets[v]
        added = sum(c.of([made[u] for u in c.on]) for c in (*bucket.costs, *bucket.messages))
        return added - sum(m.of([made[u] for u in m.on]) for m in bucket.sent)


def _elimination(choices: Sequence[int], tied: Sequence[set[int]]) -> list[int]:
    """The choices, always that one next which ties the fewest others to each other anew."""
    left = {v: tied[v] - {v} for v in choices}

    def ties_anew(v: int) -> tuple[int, int, int]:
        beside = left[v]
        if len(choices) > _FILLED_IN:
            return len(beside), 0, v
        missing = sum(len(beside) - 1 - len(beside & left[u]) for u in beside)
        return missing, len(beside), v

    rank = {v: ties_anew(v) for v in left}
    order = []
    while left:
        v = min(left, key=rank.__getitem__)
        beside = left.pop(v)
        for u in beside:
            left[u] |= beside
            left[u] -= {u, v}
        order.append(v)
        for u in beside.union(*(left[u] for u in beside)):
            rank[u] = ties_anew(u)
    return order


def _groups(tables: Sequence[_Tabled], widest: int) -> list[list[_Tabled]]:
    """The tables of a choice in groups that depend on at most ``widest`` choices each."""
    groups: list[tuple[set[int], list[_Tabled]]] = []
    for one in sorted(tables, key=lambda t: -len(t.on)):
        for on, group in groups:
            if len(on.union(one.on)) <= widest:
                on.update(one.on)
                group.append(one)
                break
        else:
            groups.append((set(one.on), [one]))
    return [group for _, group in groups]


def _eliminated(v: int, group: Sequence[_Tabled]) -> _Tabled:
    on = (v, *sorted({u for t in group for u in t.on} - {v}))
    place = {u: i for i, u in enumerate(on)}
    total = np.zeros((2,) * len(on), dtype=np.int64)
    for one in group:
        axes = sorted(range(len(one.on)), key=lambda a: place[one.on[a]])
        shape = [1] * len(on)
        for u in one.on:
            shape[place[u]] = 2
        total += one.table.transpose(axes).reshape(shape)
    return _Tabled(on[1:], total.min(axis=0))
