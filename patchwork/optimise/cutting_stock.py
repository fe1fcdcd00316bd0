"""The one-dimensional cutting-stock problem: lengths cut from as few strips as there can be.

All is counted in whole steps of the ruler, so that nothing is rounded here.  A *pattern* says how
many of each length one strip holds.

The linear relaxation, in which a plan may have parts of strips, is solved by column generation
(P. C. Gilmore and R. E. Gomory, Operations Research 9, 1961) over patterns that hold no more of a
length than is wanted.  It gives a lower bound (A. A. Farley, Operations Research 38, 1990), next to
two plain ones: the strips that the sum of all lengths fills (the bound L1 of S. Martello and
P. Toth, Knapsack Problems, 1990), and one for each length over half a strip.  Rounded down, its
plan gives nearly all of the strips.  What is left over is a small bin-packing problem, solved
greedily, and where that does not reach the bound by a depth-first search, strip after strip.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

Pattern: TypeAlias = tuple[int, ...]
"""How many of each length a strip holds."""

_MOST_ROUNDS: Final = 60_000
"""Of column generation, times the number of lengths: more lengths take longer each.

Two lengths may take 30,000 rounds, a hundred 600; where it ends early the bound holds all the
same, and may be lower."""

_FEW: Final = 400
"""Pieces; so many are packed one by one to see whether that is good enough.

The greedy packing takes a knapsack for each strip, so that for many more of them the relaxation,
in which a pattern stands for any number of strips, is the quicker way."""

_MOST_STEPS: Final = 40_000
"""Of the search for what is left over, one for each kind of length at which it looks."""

_MOST_SEARCHED: Final = 200
"""Strips; a plan leaves fewer over, and calls do not nest much deeper."""

_ENOUGH: Final = 1e-7
"""Strips, or parts of one, that count as none: less is the rounding of linear systems."""


@dataclass(frozen=True, slots=True)
class Packing:
    """Strips by pattern.

    Attributes:
        patterns: each with how many strips are cut by it.
        bound: no packing has fewer strips; proven optimal where ``strips`` equals it.
    """

    patterns: tuple[tuple[Pattern, int], ...]
    bound: int

    @property
    def strips(self) -> int:
        return sum(times for _, times in self.patterns)


@lru_cache(maxsize=512)
def pack_lengths(lengths: tuple[int, ...], counts: tuple[int, ...], room: int) -> Packing:
    """Cut ``counts`` pieces of ``lengths`` from as few strips as are found.

    Args:
        lengths: of each kind of piece, in steps, each between 1 and ``room``.
        counts: how many of each kind.
        room: the length of a strip, in steps.

    >>> pack_lengths((7, 4), (5, 8), 20).patterns
    (((2, 1), 2), ((1, 3), 1), ((0, 3), 1))
    """
    if any(not 0 < length <= room for length in lengths):
        raise ValueError("every length must be more than zero and fit a strip")
    # Kinds of one length are packed as one, and parted again in the patterns found.
    kinds: dict[int, list[int]] = {}
    for k, count in enumerate(counts):
        if count > 0:
            kinds.setdefault(lengths[k], []).append(k)
    if not kinds:
        return Packing((), 0)
    sizes = tuple(sorted(kinds, reverse=True))
    needs = tuple(sum(counts[k] for k in kinds[size]) for size in sizes)
    patterns, bound = _packed(sizes, needs, room)
    found: Counter[Pattern] = Counter()
    left = list(counts)
    for pattern, times in patterns:
        # Repeated until a kind runs out; from then on the next kind of that length is taken.
        while times > 0:
            one = [0] * len(lengths)
            for size, number in zip(sizes, pattern, strict=True):
                for k in kinds[size]:
                    one[k] = min(number, left[k])
                    number -= one[k]
            repeats = min([times, *(rest // n for rest, n in zip(left, one, strict=True) if n)])
            left = [rest - repeats * n for rest, n in zip(left, one, strict=True)]
            found[tuple(one)] += repeats
            times -= repeats
    # What is cut most often first, then the strips with the most of the first kinds.
    ordered = sorted(found.items(), key=lambda item: (-item[1], [-n for n in item[0]]))
    return Packing(tuple(ordered), bound)


def _packed(sizes: Pattern, needs: Pattern, room: int) -> tuple[list[tuple[Pattern, int]], int]:
    """Patterns and bound for lengths from the longest to the shortest, of each at least one."""
    # One length alone: strips filled up, and one with the rest.
    if len(sizes) == 1:
        each = room // sizes[0]
        full, rest = divmod(needs[0], each)
        single: list[tuple[Pattern, int]] = [((each,), full), ((rest,), 1)]
        return [p for p in single if p[0][0] and p[1]], full + bool(rest)
    area = sum(s * n for s, n in zip(sizes, needs, strict=True))
    large = sum(n for s, n in zip(sizes, needs, strict=True) if 2 * s > room)
    # Two of the large ones fit no strip.
    plain = max(-(-area // room), large)
    if sum(needs) <= _FEW:
        quick = _filled(sizes, needs, room)
        if len(quick) <= plain:
            return [(pattern, 1) for pattern in quick], plain
    value, plan = _relaxed(sizes, needs, room)
    # A millionth less, for the rounding of the relaxation: 7.0000001 must not become 8.
    bound = max(math.ceil(value - 1e-6), plain)
    best: list[tuple[Pattern, int]] | None = None
    whole = [(pattern, math.floor(times + _ENOUGH)) for pattern, times in plan]
    # Rounded down first; if that misses the bound, all from the beginning.
    for base in (whole, []):
        kept, left = _taken(base, needs)
        already = sum(times for _, times in kept)
        tail = _filled(sizes, left, room)
        if already + len(tail) > bound:
            tail = _search(sizes, left, room, bound - already) or tail
        found = kept + [(pattern, 1) for pattern in tail]
        if best is None or _strips(found) < _strips(best):
            best = found
        if _strips(best) <= bound:
            break
    assert best is not None
    return best, bound


def _strips(patterns: Sequence[tuple[Pattern, int]]) -> int:
    return sum(times for _, times in patterns)


def _taken(
    base: Sequence[tuple[Pattern, int]], needs: Pattern
) -> tuple[list[tuple[Pattern, int]], Pattern]:
    """The strips of a plan without what nobody needs, and what is needed after them."""
    left = list(needs)
    kept: list[tuple[Pattern, int]] = []
    for pattern, times in base:
        while times > 0 and any(left):
            one = tuple(min(n, rest) for n, rest in zip(pattern, left, strict=True))
            if not any(one):
                break
            repeats = min([times, *(rest // n for n, rest in zip(one, left, strict=True) if n)])
            kept.append((one, repeats))
            left = [rest - repeats * n for n, rest in zip(one, left, strict=True)]
            times -= repeats
    return kept, tuple(left)


# --- the linear relaxation: a plan may have parts of strips ---------------------------------


def _relaxed(
    sizes: Pattern, needs: Pattern, room: int
) -> tuple[float, list[tuple[Pattern, float]]]:
    """A lower bound on strips, and a plan with parts of strips that (nearly) reaches it.

    The simplex method: a basis of as many patterns as lengths, of which one leaves for each that
    enters, the pattern that is worth the most at the present dual values of the lengths.
    """
    count = len(sizes)
    most = [min(room // s, n) for s, n in zip(sizes, needs, strict=True)]
    # To begin with, each length on strips of its own.
    basis: NDArray[np.float64] = np.diag(np.array(most, dtype=np.float64))
    costs = np.ones(count)
    demand = np.array(needs, dtype=np.float64)
    # A trace more of each, differently much, so that no exchange of patterns gains nothing
    # (degenerate steps of the simplex method, which might go round in circles).
    uneven = demand + 1e-5 * np.sqrt(np.arange(count) + 2.0)
    bound = 0.0
    for _ in range(_MOST_ROUNDS // count):
        duals = np.linalg.solve(basis.T, costs)
        low = int(np.argmin(duals))
        if duals[low] < -_ENOUGH:
            column, cost = np.zeros(count), 0.0  # more of a length than is needed
            column[low] = -1.0
        else:
            value, pattern = _fullest(sizes, most, room, np.maximum(duals, 0.0))
            # Farley's bound: the duals, scaled until no pattern is worth more than a strip.
            bound = max(bound, float(np.maximum(duals, 0.0) @ demand) / max(1.0, value))
            if value <= 1.0 + _ENOUGH:
                break
            column, cost = np.array(pattern, dtype=np.float64), 1.0
        amounts = np.linalg.solve(basis, uneven)
        if math.ceil(bound - 1e-6) >= math.ceil(float(amounts @ costs) - 1e-2):
            break  # a better plan would have as many whole strips
        # The ratio test: the pattern leaves whose strips are first used up by the new one's.
        change = np.linalg.solve(basis, column)
        ratios = np.full(count, np.inf)
        falls = change > 1e-9  # less is rounding, and dividing by it would wreck the basis
        ratios[falls] = np.maximum(amounts[falls], 0.0) / change[falls]
        leaves = int(np.argmin(ratios))
        basis[:, leaves], costs[leaves] = column, cost
    amounts = np.linalg.solve(basis, demand)
    plan = [
        (tuple(round(n) for n in basis[:, k]), float(amounts[k]))
        for k in range(count)
        if costs[k] > 0 and amounts[k] > _ENOUGH
    ]
    return bound, sorted(plan, key=lambda p: (-p[1], p[0]))


def _fullest(
    sizes: Pattern, most: Sequence[int], room: int, values: NDArray[np.float64]
) -> tuple[float, Pattern]:
    """The pattern worth the most: a bounded knapsack, by dynamic programming.

    Returns:
        What it is worth, and the pattern.
    """
    worth = np.zeros(room + 1)
    taken: list[tuple[int, int, NDArray[np.bool_]]] = []
    for k, size in enumerate(sizes):
        left = min(most[k], room // size) if values[k] > 0 else 0
        number = 1
        while left > 0:
            # In lots of 1, 2, 4, … and the rest, of which any number can be made up.
            lot = min(number, left)
            used = lot * size
            with_lot = worth[: room + 1 - used] + lot * values[k]
            better = with_lot > worth[used:] + 1e-12
            worth = np.concatenate((worth[:used], np.where(better, with_lot, worth[used:])))
            taken.append((k, lot, better))
            left, number = left - lot, 2 * number
    # Back from the full room, each lot that made it better is taken.
    at = room
    pattern = [0] * len(sizes)
    for k, lot, better in reversed(taken):
        used = lot * sizes[k]
        if at >= used and better[at - used]:
            pattern[k] += lot
            at -= used
    return float(worth[room]), tuple(pattern)


# --- what is left over, strip after strip ----------------------------------------------------


def _filled(sizes: Pattern, needs: Pattern, room: int) -> list[Pattern]:
    """The better of two greedy packings of what is needed.

    First fit decreasing, a strip at a time; and each strip with the longest piece left, filled up
    as far as can be.
    """
    longest_first: list[Pattern] = []
    left = list(needs)
    while any(left):
        space, pattern = room, []
        for k, size in enumerate(sizes):
            number = min(left[k], space // size)
            pattern.append(number)
            left[k] -= number
            space -= number * size
        longest_first.append(tuple(pattern))
    fullest: list[Pattern] = []
    left = list(needs)
    values = np.array(sizes, dtype=np.float64)
    while any(left):
        first = next(k for k, n in enumerate(left) if n)
        left[first] -= 1
        most = [min(n, room // s) for n, s in zip(left, sizes, strict=True)]
        _, added = _fullest(sizes, most, room - sizes[first], values)
        left = [n - a for n, a in zip(left, added, strict=True)]
        fullest.append(tuple(a + (k == first) for k, a in enumerate(added)))
    return min(longest_first, fullest, key=len)


class _OutOfSteps(Exception):
    """The search has taken all steps that it may."""


def _search(sizes: Pattern, needs: Pattern, room: int, strips: int) -> list[Pattern] | None:
    """A packing into so many strips, if the search finds one in the steps it has."""
    if strips > _MOST_SEARCHED:
        return None
    try:
        return _Search(sizes, room).packed(needs, strips)
    except _OutOfSteps:
        return None


class _Search:
    """Fills strip after strip, each with the longest piece left, and goes back where that fails.

    The longest piece left has to lie on some strip, so beginning with it loses no packing; and a
    strip must not waste more than all strips together have to spare.
    """

    def __init__(self, sizes: Pattern, room: int) -> None:
        self.sizes, self.room = sizes, room
        self.failed: set[tuple[Pattern, int]] = set()
        self.steps = 0

    def packed(self, left: Pattern, strips: int) -> list[Pattern] | None:
        if not any(left):
            return []
        spare = strips * self.room - sum(s * n for s, n in zip(self.sizes, left, strict=True))
        if spare < 0 or (left, strips) in self.failed:
            return None
        first = next(k for k, n in enumerate(left) if n)
        for ending in self._filled(left, first, first, self.room, spare):
            pattern = (*(0 for _ in range(first)), *ending)
            rest = self.packed(tuple(n - p for n, p in zip(left, pattern, strict=True)), strips - 1)
            if rest is not None:
                return [pattern, *rest]
        self.failed.add((left, strips))
        return None

    def _filled(
        self, left: Pattern, first: int, k: int, space: int, spare: int
    ) -> Iterator[list[int]]:
        """How many of each kind from ``k`` on, so that no more than ``spare`` is wasted."""
        self.steps += 1
        if self.steps > _MOST_STEPS:
            raise _OutOfSteps
        if k == len(self.sizes):
            if space <= spare:
                yield []
            return
        least = 1 if k == first else 0
        for number in range(min(left[k], space // self.sizes[k]), least - 1, -1):
            rest = space - number * self.sizes[k]
            for ending in self._filled(left, first, k + 1, rest, spare):
                yield [number, *ending]
