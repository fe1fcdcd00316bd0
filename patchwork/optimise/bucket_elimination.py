"""Weighted constraint satisfaction over two-valued variables, solved exactly.

A *cost function network*: variables numbered from 0, each ``False`` or ``True``, and cost
functions that depend on a few of them each (their *scope*).  Wanted is the assignment with the
least sum of costs.

Bucket elimination (R. Dechter, Artificial Intelligence 113, 1999) eliminates one variable after
the other: all functions with it in their scope are added up, and the least over its two values is
passed on as a *message*, a table over the other variables.  Where such a table would depend on too
many variables the functions are added up in several groups, *mini-buckets*, whose messages give a
lower bound instead (R. Dechter and I. Rish, Journal of the ACM 50, 2003).  A depth-first branch
and bound guided by that bound then finds the best assignment (K. Kask and R. Dechter, Artificial
Intelligence 129, 2001).  Where nothing was split the bound is exact and the search walks straight
to the solution.

Where it does not, it ends after so many steps (``Effort``) and not after so much time: the same
assignment comes out on any machine, however busy it is.

>>> differ = CostFunction((0, 1), lambda values: 0 if values[0] != values[1] else 5)
>>> rather_true = CostFunction((1,), lambda values: 0 if values[0] else 2)
>>> minimise(2, [differ, rather_true], Effort(seconds=1))
[Component(variables=(0, 1), values=(False, True), cost=0, bound=0)]
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

Table: TypeAlias = NDArray[np.int64]

I_BOUND = 14
"""Variables that a message may depend on, where a caller says nothing else.

The name is that of the literature on mini-buckets.  Such a table has 16,384 entries."""

IN_A_SECOND: Final = 6_000_000
"""Steps of a search, about, in a second of a core that has nothing else to do."""

_MOST_BY_FILL_IN = 700
"""Variables of a component up to which they are eliminated by least fill-in.

It ties the fewest variables to each other but has to look at every pair of neighbours; in larger
components the variable with the fewest neighbours goes next (least degree)."""


@dataclass(frozen=True, slots=True)
class CostFunction:
    """What the values of some variables cost together.

    Attributes:
        scope: the variables, all different.
        of: the cost of their values, given in the order of ``scope``; never negative.
    """

    scope: tuple[int, ...]
    of: Callable[[Sequence[bool]], int]


@dataclass(frozen=True, slots=True, eq=False)
class CostTable:
    """A cost function as a table with one axis of length two for each variable of its scope."""

    scope: tuple[int, ...]
    table: Table

    def of(self, values: Sequence[bool]) -> int:
        return int(self.table[tuple(map(int, values))])


@dataclass(frozen=True, slots=True)
class Component:
    """Variables that no cost function ties to any other, and the best values found for them.

    Attributes:
        cost: what the values found cost.
        bound: no values cost less; equal to ``cost`` where that is proven to be least.
    """

    variables: tuple[int, ...]
    values: tuple[bool, ...]
    cost: int
    bound: int


class Effort:
    """How far searches may go together; each takes what it needs from what is left.

    A step is a variable at which a cost function looks, which takes about the same time in any
    search.

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


def minimise(
    count: int,
    functions: Sequence[CostFunction | CostTable],
    effort: Effort,
    *,
    keep: int = 0,
    i_bound: int = I_BOUND,
    start: Sequence[bool] | None = None,
    hubs: Collection[int] = (),
) -> list[Component]:
    """The cheapest assignment, a connected component of the network after the other.

    Args:
        count: of variables.
        effort: a search that is not done when it is used up gives the best it has found.
        keep: steps of it to leave for others.
        i_bound: how many variables a message may depend on; each one more doubles time and
            memory.
        start: an assignment to better; what is found costs no more.
        hubs: variables that are tied to many others, and are eliminated after all of them.
    """
    # A function of too many variables for a table is asked again at each step instead.
    costs: list[CostTable | CostFunction] = [
        _reduced(f.scope, _tabled(f)) if isinstance(f, CostTable) or len(f.scope) <= I_BOUND else f
        for f in functions
    ]
    neighbours: list[set[int]] = [set() for _ in range(count)]
    for cost in costs:
        for v in cost.scope:
            neighbours[v].update(cost.scope)
    components = []
    for variables in _components(neighbours):
        inside = set(variables)
        own = [c for c in costs if c.scope and c.scope[0] in inside]
        last_first = _elimination_order(variables, neighbours, frozenset(hubs))
        search = _Search(variables, own, last_first, i_bound)
        components.append(search.result(effort, keep, start))
    # What depends on no variable at all is a component without any.
    fixed = sum(int(c.table) for c in costs if isinstance(c, CostTable) and not c.scope)
    if fixed:
        components.append(Component((), (), fixed, fixed))
    return components


def assignment(components: Sequence[Component]) -> list[bool]:
    """The value of each variable, from all components of a network."""
    values = {v: x for c in components for v, x in zip(c.variables, c.values, strict=True)}
    return [values[v] for v in range(len(values))]


def _tabled(function: CostFunction | CostTable) -> Table:
    if isinstance(function, CostTable):
        return function.table
    table = np.empty((2,) * len(function.scope), dtype=np.int64)
    for index in np.ndindex(*table.shape):
        table[index] = function.of([bool(i) for i in index])
    return table


def _reduced(scope: tuple[int, ...], table: Table) -> CostTable:
    """The table without the variables that make no difference to it.

    Each of them would tie others to each other for nothing.
    """
    for axis in reversed(range(len(scope))):
        if np.array_equal(table.take(0, axis), table.take(1, axis)):
            table = np.asarray(table.take(0, axis))
            scope = scope[:axis] + scope[axis + 1 :]
    return CostTable(scope, table)


def _components(neighbours: Sequence[set[int]]) -> Iterator[list[int]]:
    """The connected components of the network's primal graph."""
    seen: set[int] = set()
    for v in range(len(neighbours)):
        if v in seen:
            continue
        seen.add(v)
        component, stack = [], [v]
        while stack:
            component.append(stack.pop())
            fresh = neighbours[component[-1]] - seen
            seen |= fresh
            stack += fresh
        yield sorted(component)


@dataclass(slots=True)
class _Bucket:
    """A variable as it is eliminated: the functions of whose scopes it is the first to go.

    Attributes:
        messages: what variables eliminated earlier cost at least.
        sent: the messages that it sends on when it is eliminated.
    """

    costs: list[CostTable | CostFunction] = field(default_factory=list)
    messages: list[CostTable] = field(default_factory=list)
    sent: list[CostTable] = field(default_factory=list)


class _Search:
    """The buckets of a component, filled once, and the search that they guide."""

    def __init__(
        self,
        variables: Sequence[int],
        costs: Sequence[CostTable | CostFunction],
        last_first: list[int],
        i_bound: int,
    ) -> None:
        self.variables = variables
        self.last_first = last_first
        rank = {v: i for i, v in enumerate(self.last_first)}
        self.buckets = {v: _Bucket() for v in variables}
        for cost in costs:
            self.buckets[min(cost.scope, key=rank.__getitem__)].costs.append(cost)
        # In the order of elimination, so that all messages to a bucket are there before it is
        # eliminated.  Functions without a table take part in the search only: left out, they
        # count as 0, and the bound still holds.
        self.bound = 0
        # To weigh a variable's two values, and a step more, so that none is free.
        self.steps: dict[int, int] = {}
        for v in self.last_first:
            bucket = self.buckets[v]
            tabled = [c for c in bucket.costs if isinstance(c, CostTable)]
            for group in _mini_buckets([*tabled, *bucket.messages], i_bound):
                message = _message(v, group)
                bucket.sent.append(message)
                if message.scope:
                    self.buckets[min(message.scope, key=rank.__getitem__)].messages.append(message)
                else:
                    self.bound += int(message.table)
            weighed = (*bucket.costs, *bucket.messages, *bucket.sent)
            self.steps[v] = 1 + 2 * sum(len(c.scope) for c in weighed)

    def result(self, effort: Effort, keep: int, start: Sequence[bool] | None) -> Component:
        """Depth-first branch and bound: the variable that was eliminated last is set first.

        ``least`` is what the variables that are set cost and the others cost at least.  Each one
        that is set adds the functions of its bucket and the messages that it had been sent,
        which replace the messages that it sent on.
        """
        order = self.last_first[::-1]
        # Variables farther down may keep a value from a branch that was left: nothing looks at
        # them, as the scopes of a bucket end with its own variable in this order.
        made: dict[int, bool] = {}
        best: dict[int, bool] = {}
        cost = -1  # of ``best``; nothing is found yet
        if start is not None:
            best = {v: start[v] for v in order}
            cost = self.bound + sum(self._added(v, best) for v in order)
            if cost == self.bound:
                return self._component(best, cost, cost)
        stack: list[tuple[int, bool | None, int]] = [(-1, None, self.bound)]
        while stack:
            depth, value, least = stack.pop()
            if 0 <= cost <= least:
                continue  # cut off: this branch holds nothing cheaper
            if value is not None:
                made[order[depth]] = value
            if depth + 1 == len(order):
                best, cost = dict(made), least
                if cost == self.bound:
                    break
                continue
            # The first descent is always finished, so that there is something to give.
            if cost >= 0 and effort.left <= keep:
                return self._component(best, cost, self.bound)
            effort.take(self.steps[order[depth + 1]])
            offers = []
            for onward in (False, True):
                made[order[depth + 1]] = onward
                offers.append((least + self._added(order[depth + 1], made), onward))
            # The cheaper of the two comes off the stack first.
            for after, onward in sorted(offers, reverse=True):
                stack.append((depth + 1, onward, after))
        return self._component(best, cost, cost)

    def _component(self, values: dict[int, bool], cost: int, bound: int) -> Component:
        variables = tuple(self.variables)
        return Component(variables, tuple(values[v] for v in variables), cost, bound)

    def _added(self, v: int, made: dict[int, bool]) -> int:
        """By how much setting ``v`` raises the least cost."""
        bucket = self.buckets[v]
        added = sum(c.of([made[u] for u in c.scope]) for c in (*bucket.costs, *bucket.messages))
        return added - sum(m.of([made[u] for u in m.scope]) for m in bucket.sent)


def _elimination_order(
    variables: Sequence[int], neighbours: Sequence[set[int]], hubs: frozenset[int]
) -> list[int]:
    """The variables, always that one next which ties the fewest others to each other anew.

    Greedy least fill-in, ties broken by degree and then number: finding the order with the
    smallest tables is itself hard (NP), and this one is near it in practice.  Hubs come last, and
    as long as they are there they make all others neighbours of neighbours: they are left aside.
    """
    left = {v: neighbours[v] - {v} - hubs for v in variables if v not in hubs}

    def ties_anew(v: int) -> tuple[int, int, int]:
        beside = left[v]
        if len(variables) > _MOST_BY_FILL_IN:
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
        # The new ties change the fill-in of the neighbours and of their neighbours alone.
        for u in beside.union(*(left[u] for u in beside)):
            rank[u] = ties_anew(u)
    return [*order, *(v for v in variables if v in hubs)]


def _mini_buckets(tables: Sequence[CostTable], i_bound: int) -> list[list[CostTable]]:
    """The tables of a bucket in groups that depend on at most ``i_bound`` variables each.

    First fit, the widest first; a table that is wider by itself is a group of its own.
    """
    groups: list[tuple[set[int], list[CostTable]]] = []
    for one in sorted(tables, key=lambda t: -len(t.scope)):
        for scope, group in groups:
            if len(scope.union(one.scope)) <= i_bound:
                scope.update(one.scope)
                group.append(one)
                break
        else:
            groups.append((set(one.scope), [one]))
    return [group for _, group in groups]


def _message(v: int, group: Sequence[CostTable]) -> CostTable:
    """The sum of some tables, and of that the least over both values of ``v``."""
    scope = (v, *sorted({u for t in group for u in t.scope} - {v}))
    place = {u: i for i, u in enumerate(scope)}
    total = np.zeros((2,) * len(scope), dtype=np.int64)
    for one in group:
        # Its axes in the order of the whole scope, and length 1 where it does not depend.
        axes = sorted(range(len(one.scope)), key=lambda a: place[one.scope[a]])
        shape = [1] * len(scope)
        for u in one.scope:
            shape[place[u]] = 2
        total += one.table.transpose(axes).reshape(shape)
    return CostTable(scope[1:], total.min(axis=0))
