"""Two-valued variables that should be equal or opposite to one another: as many as can be.

Maximum satisfiability of parity constraints.  Variables are numbered from 0; variable 0 is always
``False``.  A *literal* is a variable or its negation; a *constraint* names some literals, and is
satisfied when all of them come out equal.

If all constraints can be satisfied at once, they are: by a disjoint-set forest that keeps the
parity of each variable to its root.  If not, the most are looked for in each connected component
of the constraints: first those that are satisfied by the best way of making whole classes of
variables equal, then greedily, putting those that were left out first, again and again.
Unsatisfiable cores that have no constraint in common, of each of which one must fail, give an
upper bound; a component that is small enough and not settled by it is searched exactly
(``patchwork.optimise.bucket_elimination``).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from piecewright.patchwork.optimise.bucket_elimination import (
    CostFunction,
    Effort,
    assignment,
    minimise,
)

Constraint: TypeAlias = tuple[tuple[int, bool], ...]
"""Literals that should come out equal: variables, each with whether it is negated."""

FIXED = 0
"""The variable that is always ``False``."""

_ROUNDS = 12
"""Greedy attempts on a component; each is one pass that starts with what the last left out."""

_MOST_SEARCHED = 240
"""Variables of a component up to which it is searched exactly.

An ``Effort`` bounds the search but not the tables that guide it: about 2**14 numbers for each
variable, some 30 MB for so many."""

_MOST_PACKINGS = 80
"""How often disjoint cores are looked for anew among what those before left; each time takes a
pass over the component, and nearly always it ends earlier because none is left."""


class Parities:
    """Which variables are equal or opposite to which: a disjoint-set forest with rollback.

    Each variable but the roots points to another one, with the parity between the two (whether
    they are opposite).  Trees are united by size, so that none is deeper than log2 n; paths are
    not compressed, so that each union can be undone by cutting one link.

    >>> parities = Parities(3)
    >>> parities.union(0, 1, opposite=True), parities.union(1, 2, opposite=True)
    (True, True)
    >>> parities.union(0, 2, opposite=True)
    False
    """

    def __init__(self, count: int) -> None:
        self._above = list(range(count))
        self._odd = [False] * count
        self._size = [1] * count
        self._done: list[int] = []

    def find(self, variable: int) -> tuple[int, bool]:
        """The root of a variable's tree, and whether the variable is opposite to it."""
        odd = False
        while self._above[variable] != variable:
            odd ^= self._odd[variable]
            variable = self._above[variable]
        return variable, odd

    def union(self, one: int, other: int, opposite: bool) -> bool:
        """Make two variables equal or opposite; False if they are the other way already."""
        a, odd_a = self.find(one)
        b, odd_b = self.find(other)
        odd = odd_a ^ odd_b ^ opposite
        if a == b:
            return not odd
        if self._size[a] < self._size[b]:
            a, b = b, a
        self._above[b], self._odd[b] = a, odd
        self._size[a] += self._size[b]
        self._done.append(b)
        return True

    def satisfy(self, constraint: Constraint) -> bool:
        """Satisfy a constraint, or leave everything as it is if that cannot be."""
        mark = self.mark()
        (first, negated), *others = constraint
        for variable, other in others:
            if not self.union(first, variable, negated != other):
                self.rollback(mark)
                return False
        return True

    def mark(self) -> int:
        """The present state, for ``rollback``."""
        return len(self._done)

    def rollback(self, mark: int) -> None:
        """Undo everything since ``mark``."""
        while len(self._done) > mark:
            below = self._done.pop()
            self._size[self._above[below]] -= self._size[below]
            self._above[below], self._odd[below] = below, False


@dataclass(frozen=True, slots=True)
class Satisfied:
    """The constraints that are satisfied together.

    Attributes:
        constraints: their numbers.
        bound: no values satisfy more.
        parities: what they make equal or opposite, and nothing else.
    """

    constraints: tuple[int, ...]
    bound: int
    parities: Parities


def most_satisfied(
    count: int,
    constraints: Sequence[Constraint],
    classings: Sequence[Sequence[int]],
    seconds: float,
) -> Satisfied:
    """As many constraints as can be satisfied.

    Args:
        count: of variables.
        classings: ways of putting variables into classes, those with fewer classes first: the
            class of each variable, from 0; the fixed variable is the only one of class 0.
        seconds: how far to search, as ``Effort`` counts them: half of it for the ways of making
            classes equal, the rest for components that are not settled by these.
    """
    effort = Effort(seconds)
    parities = Parities(count)
    possible = [k for k in range(len(constraints)) if satisfiable(constraints[k])]
    # Satisfied one after the other, none is left out if and only if all can be at once.
    left_out = [k for k in possible if not parities.satisfy(constraints[k])]
    if not left_out:
        return Satisfied(tuple(possible), len(possible), parities)
    # What the best pattern satisfies is where the greedy search of each component begins.
    regular: set[int] = set()
    half = effort.left // 2
    for classes in classings:
        found = _regular(constraints, possible, classes, effort, half)
        if len(found) > len(regular):
            regular = found
    chosen: list[int] = []
    bound = 0
    unsettled = set(left_out)
    for component in _components(constraints, possible):
        # Components do not touch each other: one of which nothing was left out is done.
        if unsettled.isdisjoint(component):
            chosen += component
            bound += len(component)
            continue
        own, most = _most_of_component(constraints, component, regular, effort)
        chosen += own
        bound += most
    # Afresh, so that nothing is tied that no satisfied constraint ties.
    parities = Parities(count)
    satisfied = tuple(k for k in sorted(chosen) if parities.satisfy(constraints[k]))
    return Satisfied(satisfied, bound, parities)


def satisfiable(constraint: Constraint) -> bool:
    """Whether a constraint does not name both a variable and its negation."""
    negated: dict[int, bool] = {}
    return all(negated.setdefault(variable, other) == other for variable, other in constraint)


def _components(constraints: Sequence[Constraint], of: Sequence[int]) -> Iterator[list[int]]:
    """The constraints in groups that share no variable but the fixed one."""
    at: dict[int, list[int]] = {}
    for k in of:
        for variable, _ in constraints[k]:
            if variable != FIXED:
                at.setdefault(variable, []).append(k)
    seen: set[int] = set()
    for first in of:
        if first in seen:
            continue
        seen.add(first)
        own, stack = [], [first]
        while stack:
            own.append(stack.pop())
            for variable, _ in constraints[own[-1]]:
                for k in at.pop(variable, ()):
                    if k not in seen:
                        seen.add(k)
                        stack.append(k)
        yield sorted(own)


def _regular(
    constraints: Sequence[Constraint],
    of: Sequence[int],
    classes: Sequence[int],
    effort: Effort,
    keep: int,
) -> set[int]:
    """The constraints that are satisfied if all variables of a class are equal, as is best.

    Few variables are left so, one a class: a pattern that repeats over a whole quilt is found
    where a search variable by variable would not come to an end.
    """
    count = max(classes) + 1
    if count > _MOST_SEARCHED:
        return set()
    # Constraints that become one are weighed by how many they are.
    alike: dict[Constraint, list[int]] = {}
    for k in of:
        constraint = tuple(sorted({(classes[v], negated) for v, negated in constraints[k]}))
        if satisfiable(constraint):
            alike.setdefault(constraint, []).append(k)
    costs = [_cost(constraint, len(same)) for constraint, same in alike.items()]
    components = minimise(count, costs, effort, keep=keep, start=[False] * count)
    values = assignment(components)
    satisfied = (same for constraint, same in alike.items() if _is_satisfied(constraint, values))
    return {k for same in satisfied for k in same}


def _most_of_component(
    constraints: Sequence[Constraint],
    component: Sequence[int],
    regular: Collection[int],
    effort: Effort,
) -> tuple[list[int], int]:
    """Constraints of a component satisfied together, and how many there can be at most."""
    variables = sorted({v for k in component for v, _ in constraints[k]} - {FIXED})
    # Renumbered, as the tables of parities are as long as there are variables.
    number = {FIXED: 0, **{v: i for i, v in enumerate(variables, 1)}}
    own = {k: tuple((number[v], negated) for v, negated in constraints[k]) for k in component}
    cores = _disjoint_cores(len(number), own)
    bound = len(own) - len(cores)
    in_core = {k for core in cores for k in core}
    best: list[int] = []
    order = sorted(component, key=lambda k: k not in regular)
    for attempt in range(_ROUNDS):
        parities = Parities(len(number))
        satisfied = [k for k in order if parities.satisfy(own[k])]
        if len(satisfied) > len(best):
            best = satisfied
        if len(best) == bound:
            return best, bound
        # Second, those in no core go first: they can hardly be wrong.
        if attempt == 0:
            order = sorted(component, key=lambda k: (k in in_core, k))
        else:
            kept = set(satisfied)
            order = [k for k in order if k not in kept] + satisfied
    if len(variables) <= _MOST_SEARCHED:
        best, searched = _searched(len(number), own, best, effort)
        bound = min(bound, searched)
    return best, bound


def _searched(
    count: int, constraints: dict[int, Constraint], best: Sequence[int], effort: Effort
) -> tuple[list[int], int]:
    """The most by exact search, and how many there can be at most."""
    parities = Parities(count)
    for k in best:
        parities.satisfy(constraints[k])
    start = values_of(parities, count, {})
    costs = [_cost(constraint) for constraint in constraints.values()]
    components = minimise(count, costs, effort, start=start)
    values = assignment(components)
    found = [k for k, constraint in constraints.items() if _is_satisfied(constraint, values)]
    return found, len(constraints) - sum(component.bound for component in components)


def _is_satisfied(constraint: Constraint, values: Mapping[int, bool] | Sequence[bool]) -> bool:
    return len({(v != FIXED and values[v]) != negated for v, negated in constraint}) == 1


def _cost(constraint: Constraint, weight: int = 1) -> CostFunction:
    """What it costs not to satisfy a constraint."""
    scope = tuple(sorted({v for v, _ in constraint} - {FIXED}))

    def of(values: Sequence[bool]) -> int:
        return 0 if _is_satisfied(constraint, dict(zip(scope, values, strict=True))) else weight

    return CostFunction(scope, of)


def values_of(parities: Parities, count: int, roots: dict[int, bool]) -> list[bool]:
    """Each variable, the roots being as given, or ``False``; 0 stays ``False``."""
    fixed, odd = parities.find(FIXED)
    made = {**roots, fixed: odd}
    values = []
    for variable in range(count):
        root, opposite = parities.find(variable)
        values.append(made.get(root, False) != opposite)
    return values


# --- unsatisfiable cores ---------------------------------------------------------------------


def _disjoint_cores(count: int, constraints: dict[int, Constraint]) -> list[frozenset[int]]:
    """Sets of constraints that cannot all be satisfied, no two with a constraint in common.

    The shortest first, as they leave the most for others.
    """
    active = dict(constraints)
    found: list[frozenset[int]] = []
    for _ in range(_MOST_PACKINGS):
        fresh: list[frozenset[int]] = []
        used: set[int] = set()
        for core in sorted(_cores(count, active), key=len):
            if used.isdisjoint(core):
                used |= core
                fresh.append(core)
        if not fresh:
            break
        found += fresh
        for k in used:
            del active[k]
    return found


def _cores(count: int, constraints: dict[int, Constraint]) -> Iterable[frozenset[int]]:
    """Cycles of constraints with an odd number of opposites.

    Each link that is not in a breadth-first forest of the variables closes one cycle; of these
    fundamental cycles one is odd if any cycle is, so none is found only where all can be satisfied.
    """
    beside: list[list[tuple[int, bool, int]]] = [[] for _ in range(count)]
    links = []
    for k, ((begin, negated), *others) in constraints.items():
        for variable, also in others:
            beside[begin].append((variable, negated != also, k))
            beside[variable].append((begin, negated != also, k))
            links.append((begin, variable, negated != also, k))
    # Breadth first from each variable that is not reached yet: the parity of each to its root,
    # the variable it was reached from, and by which constraint.
    above: list[tuple[int, int] | None] = [None] * count
    odd = [False] * count
    depth = [-1] * count
    for root in range(count):
        if depth[root] >= 0:
            continue
        depth[root] = 0
        waiting = deque([root])
        while waiting:
            at = waiting.popleft()
            for near, opposite, k in beside[at]:
                if depth[near] < 0:
                    depth[near] = depth[at] + 1
                    odd[near] = odd[at] != opposite
                    above[near] = (at, k)
                    waiting.append(near)
    for first, second, opposite, k in links:
        # This link and the ways from both its ends up to where they meet are an odd cycle.
        if (odd[first] != odd[second]) != opposite:
            one, other = first, second
            ring = {k}
            while one != other:
                if depth[one] < depth[other]:
                    one, other = other, one
                step = above[one]
                assert step is not None
                one = step[0]
                ring.add(step[1])
            yield frozenset(ring)
