"""Yes-or-no choices that must be equal or opposite to one another, as many as can be.

Choices are numbered from 0; choice 0 is always made ``False``.  A *wish* names some
choices, each as it is or turned round, and is met when all that it names come out equal.  If all
wishes can be met at once, they are (union by size, with the parity to the leader).  If not, the
wishes that can be met are looked for cluster by cluster: first those that are met by the best way
of making whole classes of choices alike, then by putting those that were left out first, again
and again.  Conflicts that have no wish in common, of each of which one wish must fail, give a
bound; a cluster that is small enough and not settled by it is searched exactly
(``patchwork.optimise.bucket_elimination``).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from piecewright.patchwork.optimise.bucket_elimination import Cost, Effort, cheapest

Wish: TypeAlias = tuple[tuple[int, bool], ...]
"""Choices with whether each is turned round."""

FIXED = 0
"""The choice that is always ``False``."""

_ROUNDS = 12
_MOST_SEARCHED = 240
"""Choices of a cluster up to which it is searched exactly."""

_MOST_PACKINGS = 80


class Parities:
    """Which choices are equal or opposite to which, and a way back to an earlier state."""

    def __init__(self, count: int) -> None:
        self._above = list(range(count))
        self._odd = [False] * count
        self._size = [1] * count
        self._done: list[int] = []

    def leader(self, choice: int) -> tuple[int, bool]:
        """The choice that stands for all that are tied to this one, and whether it is opposite."""
        odd = False
        while self._above[choice] != choice:
            odd ^= self._odd[choice]
            choice = self._above[choice]
        return choice, odd

    def tie(self, one: int, other: int, opposite: bool) -> bool:
        """Make two choices equal or opposite; False if they are tied otherwise already."""
        a, odd_a = self.leader(one)
        b, odd_b = self.leader(other)
        odd = odd_a ^ odd_b ^ opposite
        if a == b:
            return not odd
        if self._size[a] < self._size[b]:
            a, b = b, a
        self._above[b], self._odd[b] = a, odd
        self._size[a] += self._size[b]
        self._done.append(b)
        return True

    def meet(self, wish: Wish) -> bool:
        """Meet a wish, or leave everything as it is if that cannot be."""
        mark = self.mark()
        (first, turned), *others = wish
        for choice, other in others:
            if not self.tie(first, choice, turned != other):
                self.back_to(mark)
                return False
        return True

    def mark(self) -> int:
        """The present state, for ``back_to``."""
        return len(self._done)

    def back_to(self, mark: int) -> None:
        """Undo everything since ``mark``."""
        while len(self._done) > mark:
            below = self._done.pop()
            self._size[self._above[below]] -= self._size[below]
            self._above[below], self._odd[below] = below, False


@dataclass(frozen=True, slots=True)
class Met:
    """The wishes that are met.

    Attributes:
        wishes: their numbers.
        bound: no choices meet more.
        parities: the ties that they need, and no others.
    """

    wishes: tuple[int, ...]
    bound: int
    parities: Parities


def most_met(
    count: int, wishes: Sequence[Wish], likes: Sequence[Sequence[int]], seconds: float
) -> Met:
    """As many wishes as can be met.

    Args:
        count: of choices.
        likes: ways of putting choices into classes, those with fewer classes first: the
            class of each choice, from 0; the fixed choice is the only one of class 0.
        seconds: how far to search, as ``Effort`` counts them: half of it for the ways of making
            classes alike, the rest for clusters that are not settled by these.
    """
    effort = Effort(seconds)
    parities = Parities(count)
    possible = [w for w in range(len(wishes)) if can_be_met(wishes[w])]
    left_out = [w for w in possible if not parities.meet(wishes[w])]
    if not left_out:
        return Met(tuple(possible), len(possible), parities)
    regular: set[int] = set()
    half = effort.left // 2
    for like in likes:
        found = _regular(wishes, possible, like, effort, half)
        if len(found) > len(regular):
            regular = found
    chosen: list[int] = []
    bound = 0
    unsettled = set(left_out)
    for cluster in _clusters(wishes, possible):
        if unsettled.isdisjoint(cluster):
            chosen += cluster
            bound += len(cluster)
            continue
        own, most = _most_of_cluster(wishes, cluster, regular, effort)
        chosen += own
        bound += most
    parities = Parities(count)
    met = tuple(w for w in sorted(chosen) if parities.meet(wishes[w]))
    return Met(met, bound, parities)


def can_be_met(wish: Wish) -> bool:
    """Whether a wish does not name one choice both as it is and turned round."""
    turned: dict[int, bool] = {}
    return all(turned.setdefault(choice, other) == other for choice, other in wish)


def _clusters(wishes: Sequence[Wish], of: Sequence[int]) -> Iterator[list[int]]:
    """The wishes in clusters that share no choice but the fixed one."""
    at: dict[int, list[int]] = {}
    for w in of:
        for choice, _ in wishes[w]:
            if choice != FIXED:
                at.setdefault(choice, []).append(w)
    seen: set[int] = set()
    for first in of:
        if first in seen:
            continue
        seen.add(first)
        own, stack = [], [first]
        while stack:
            own.append(stack.pop())
            for choice, _ in wishes[own[-1]]:
                for w in at.pop(choice, ()):
                    if w not in seen:
                        seen.add(w)
                        stack.append(w)
        yield sorted(own)


def _regular(
    wishes: Sequence[Wish], of: Sequence[int], like: Sequence[int], effort: Effort, keep: int
) -> set[int]:
    """The wishes that are met if all choices of a class are made alike as is best."""
    count = max(like) + 1
    if count > _MOST_SEARCHED:
        return set()
    alike: dict[Wish, list[int]] = {}
    for w in of:
        wish = tuple(sorted({(like[c], turned) for c, turned in wishes[w]}))
        if can_be_met(wish):
            alike.setdefault(wish, []).append(w)
    costs = [_cost(wish, len(same)) for wish, same in alike.items()]
    parts = cheapest(count, costs, effort, keep=keep, start=[False] * count)
    values = {v: x for part in parts for v, x in zip(part.choices, part.values, strict=True)}
    return {w for wish, same in alike.items() if _is_met(wish, values) for w in same}


def _most_of_cluster(
    wishes: Sequence[Wish], cluster: Sequence[int], regular: Collection[int], effort: Effort
) -> tuple[list[int], int]:
    """Wishes of a cluster that can be met together, and how many there can be at most."""
    choices = sorted({c for w in cluster for c, _ in wishes[w]} - {FIXED})
    number = {FIXED: 0, **{c: i for i, c in enumerate(choices, 1)}}
    own = {w: tuple((number[c], turned) for c, turned in wishes[w]) for w in cluster}
    conflicts = _separate_conflicts(len(number), own)
    bound = len(own) - len(conflicts)
    in_conflict = {w for conflict in conflicts for w in conflict}
    best: list[int] = []
    order = sorted(cluster, key=lambda w: w not in regular)
    for attempt in range(_ROUNDS):
        parities = Parities(len(number))
        met = [w for w in order if parities.meet(own[w])]
        if len(met) > len(best):
            best = met
        if len(best) == bound:
            return best, bound
        if attempt == 0:
            order = sorted(cluster, key=lambda w: (w in in_conflict, w))
        else:
            kept = set(met)
            order = [w for w in order if w not in kept] + met
    if len(choices) <= _MOST_SEARCHED:
        best, searched = _searched(len(number), own, best, effort)
        bound = min(bound, searched)
    return best, bound


def _searched(
    count: int, wishes: dict[int, Wish], best: Sequence[int], effort: Effort
) -> tuple[list[int], int]:
    """The most by exact search, and how many there can be at most."""
    parities = Parities(count)
    for w in best:
        parities.meet(wishes[w])
    start = values_of(parities, count, {})
    parts = cheapest(count, [_cost(wish) for wish in wishes.values()], effort, start=start)
    values = {v: x for part in parts for v, x in zip(part.choices, part.values, strict=True)}
    found = [w for w, wish in wishes.items() if _is_met(wish, values)]
    return found, len(wishes) - sum(part.bound for part in parts)


def _is_met(wish: Wish, values: Mapping[int, bool]) -> bool:
    return len({(c != FIXED and values[c]) != turned for c, turned in wish}) == 1


def _cost(wish: Wish, weight: int = 1) -> Cost:
    """What it costs not to meet a wish."""
    on = tuple(sorted({c for c, _ in wish} - {FIXED}))

    def of(values: Sequence[bool]) -> int:
        return 0 if _is_met(wish, dict(zip(on, values, strict=True))) else weight

    return Cost(on, of)


def values_of(parities: Parities, count: int, leaders: dict[int, bool]) -> list[bool]:
    """Every choice, with those that lead made as given, or ``False``; 0 stays ``False``."""
    fixed, odd = parities.leader(FIXED)
    made = {**leaders, fixed: odd}
    values = []
    for choice in range(count):
        leader, opposite = parities.leader(choice)
        values.append(made.get(leader, False) != opposite)
    return values


# --- conflicts -------------------------------------------------------------------------------


def _separate_conflicts(count: int, wishes: dict[int, Wish]) -> list[frozenset[int]]:
    """Sets of wishes, none of which can be met together, that have no wish in common."""
    active = dict(wishes)
    found: list[frozenset[int]] = []
    for _ in range(_MOST_PACKINGS):
        fresh: list[frozenset[int]] = []
        used: set[int] = set()
        for conflict in sorted(_conflicts(count, active), key=len):
            if used.isdisjoint(conflict):
                used |= conflict
                fresh.append(conflict)
        if not fresh:
            break
        found += fresh
        for w in used:
            del active[w]
    return found


def _conflicts(count: int, wishes: dict[int, Wish]) -> Iterable[frozenset[int]]:
    """Conflicts that close rings of wishes in a breadth-first forest."""
    beside: list[list[tuple[int, bool, int]]] = [[] for _ in range(count)]
    links = []
    for w, ((begin, turned), *others) in wishes.items():
        for choice, also in others:
            beside[begin].append((choice, turned != also, w))
            beside[choice].append((begin, turned != also, w))
            links.append((begin, choice, turned != also, w))
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
            for near, opposite, w in beside[at]:
                if depth[near] < 0:
                    depth[near] = depth[at] + 1
                    odd[near] = odd[at] != opposite
                    above[near] = (at, w)
                    waiting.append(near)
    for first, second, opposite, w in links:
        if (odd[first] != odd[second]) != opposite:
            one, other = first, second
            ring = {w}
            while one != other:
                if depth[one] < depth[other]:
                    one, other = other, one
                step = above[one]
                assert step is not None
                one = step[0]
                ring.add(step[1])
            yield frozenset(ring)
