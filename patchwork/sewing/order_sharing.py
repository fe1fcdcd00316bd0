"""Which ways of dividing are taken together, so that as few different units as can be are made.

A *figure* is what alike units have in common (``sewing.figures``).  Each comes with the ways in
which it may be divided in two; one may have several numbers, with ways of their own, and counts
once all the same.  One way is to be taken for the whole block, and one for every
figure that is then needed.  That is the smallest solution graph of an and-or graph, a hard problem
in general (choosing additions for a set of powers is a case of it); figures of blocks are few.

Branch and bound, depth first: the largest figure that is needed and has no way yet gets one, in
turn each of its ways.  Halves are smaller than what they make up, so nothing that is settled later
needs it, and it is known then how many units have it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from piecewright.patchwork.sewing.bitset import PieceSet

Figure: TypeAlias = int

BRANCHES: Final = 6_000
"""Ways that are taken on trial, at most: some 0.1 s. Of the blocks in the catalogue the hardest
takes 900."""

DEEPEST: Final = 200
"""Figures; where more are needed the best at first sight are taken, as no search would end."""


@dataclass(frozen=True, slots=True)
class Way:
    """A cut that divides a figure.

    Attributes:
        halves: of a unit that has the figure, and together that unit.
        figures: those of its halves, in the same order.
        set_in: thousandths of an inch of set-in seam that the cut is: whole numbers, whose sums are
            the same in whatever order they are added up.
        meetings: 1 if a meeting lies inside the cut, else 0.
        down: whether the cut runs down the block more than across it.
    """

    halves: tuple[PieceSet, PieceSet]
    figures: tuple[Figure, Figure]
    set_in: int
    meetings: int
    down: bool


Total: TypeAlias = tuple[int, int, int, int]
"""Different units, thousandths of an inch of set-in seams, seams with a meeting inside, levels."""


@dataclass(frozen=True, slots=True)
class Choice:
    """The way that is taken for each figure that is needed.

    Attributes:
        total: what all of it comes to.
        optimal: whether no other choice of these ways comes to less, in this order.
    """

    ways: Mapping[Figure, Way]
    total: Total
    optimal: bool


def chosen(
    whole: Figure,
    ways: Mapping[Figure, Sequence[Way]],
    sizes: Sequence[int],
    once: Sequence[bool],
    alike: Sequence[Figure],
) -> Choice:
    """The ways that are taken: the fewest different units, and what follows in a ``Total``.

    Args:
        ways: for each figure of more than one piece, all that may be taken.
        sizes: of each figure, in pieces.
        once: for each figure, whether no more than one unit has it.
        alike: for each number the figure as which it counts.
    """
    return _Search(ways, sizes, alike).best(whole, once)


_Rank: TypeAlias = Callable[[Way, Mapping[Figure, object]], tuple[Any, ...]]


class _Search:
    def __init__(
        self,
        ways: Mapping[Figure, Sequence[Way]],
        sizes: Sequence[int],
        alike: Sequence[Figure],
    ) -> None:
        self._ways, self._sizes, self._alike = ways, sizes, alike
        self._alone: dict[Figure, tuple[int, int, int]] = {}
        self._left = BRANCHES
        self._best: tuple[Total, dict[Figure, Way]] | None = None

    def best(self, whole: Figure, once: Sequence[bool]) -> Choice:
        needed = self._reachable(whole)
        for figure in sorted(needed, key=self._sizes.__getitem__):
            self._alone[figure] = min(self._with(way) for way in self._ways[figure])
        if all(once[figure] for figure in needed):
            # Nothing can be shared: every tree has as many different units as joins, and what
            # else counts adds up, so that it is best for each figure by itself.
            found = self._descended(whole, lambda way, _: (self._with(way), way.down))
            return Choice(found, self._total(whole, found), True)
        found = self._descended(whole, self._rank)
        self._best = self._total(whole, found), found
        if len(needed) > DEEPEST:
            return Choice(found, self._best[0], False)
        self._branch(whole, {}, {whole: 1}, (0, 0))
        total, found = self._best
        return Choice(found, total, self._left > 0)

    def _reachable(self, whole: Figure) -> set[Figure]:
        """The figures of more than one piece that some choice needs."""
        found, stack = set(), [whole]
        while stack:
            figure = stack.pop()
            if figure in found or self._sizes[figure] == 1:
                continue
            found.add(figure)
            stack += [half for way in self._ways[figure] for half in way.figures]
        return found

    def _with(self, way: Way) -> tuple[int, int, int]:
        """Set-in seams, meetings and levels of a figure that is divided so, at best."""
        one, other = (self._alone.get(half, (0, 0, 0)) for half in way.figures)
        return (
            way.set_in + one[0] + other[0],
            way.meetings + one[1] + other[1],
            1 + max(one[2], other[2]),
        )

    def _rank(self, way: Way, known: Mapping[Figure, object]) -> tuple[Any, ...]:
        """How good a way is at first sight: how few figures it adds, then what it comes to.

        Where two ways are as good a sewist makes rows first, and joins them across the block.
        """
        new = {half for half in way.figures if self._sizes[half] > 1 and half not in known}
        smaller = min(self._sizes[half] for half in way.figures)
        return (len(new), -smaller, self._with(way), way.down)

    def _descended(self, whole: Figure, rank: _Rank) -> dict[Figure, Way]:
        """The choice that takes for each figure the way that ranks first."""
        found: dict[Figure, Way] = {}
        needed: dict[Figure, None] = {whole: None} if self._sizes[whole] > 1 else {}
        while needed:
            figure = max(needed, key=lambda f: (self._sizes[f], f))
            del needed[figure]
            way = min(self._ways[figure], key=lambda w: rank(w, needed))
            found[figure] = way
            needed.update((half, None) for half in way.figures if self._sizes[half] > 1)
        return found

    def _total(self, whole: Figure, found: Mapping[Figure, Way]) -> Total:
        count = dict.fromkeys(found, 0)
        count[whole] = 1
        set_in, meetings = 0, 0
        levels: dict[Figure, int] = {}
        order = sorted(found, key=lambda f: (self._sizes[f], f))
        for figure in reversed(order):
            way = found[figure]
            set_in += count[figure] * way.set_in
            meetings += count[figure] * way.meetings
            for half in way.figures:
                if half in count:
                    count[half] += count[figure]
        for figure in order:
            levels[figure] = 1 + max(levels.get(half, 0) for half in found[figure].figures)
        return len(self._counted(found)), set_in, meetings, levels.get(whole, 0)

    def _counted(self, numbers: Iterable[Figure]) -> set[Figure]:
        """The figures of some numbers, each once."""
        return {self._alike[number] for number in numbers}

    def _branch(
        self,
        whole: Figure,
        taken: dict[Figure, Way],
        needed: dict[Figure, int],
        so_far: tuple[int, int],
    ) -> None:
        """Go on from some ways that are taken.

        Args:
            needed: figures that have no way yet, each with the number of units that have it.
            so_far: set-in seams and meetings of what is taken.
        """
        assert self._best is not None
        if not needed:
            total = self._total(whole, taken)
            if total < self._best[0]:
                self._best = total, dict(taken)
            return
        if self._left <= 0 or self._bound(whole, taken, needed, so_far) >= self._best[0]:
            return
        figure = max(needed, key=lambda f: (self._sizes[f], f))
        units = needed[figure]
        for way in sorted(self._ways[figure], key=lambda w: self._rank(w, needed)):
            self._left -= 1
            after = {f: n for f, n in needed.items() if f != figure}
            for half in way.figures:
                if self._sizes[half] > 1:
                    after[half] = after.get(half, 0) + units
            taken[figure] = way
            cost = (so_far[0] + units * way.set_in, so_far[1] + units * way.meetings)
            self._branch(whole, taken, after, cost)
            del taken[figure]

    def _bound(
        self,
        whole: Figure,
        taken: Mapping[Figure, Way],
        needed: Mapping[Figure, int],
        so_far: tuple[int, int],
    ) -> Total:
        """What every choice that goes on from here comes to at least."""
        # A figure of n pieces is made by log2 n different units at least: each is at most twice
        # as large as the largest before it.
        largest = max(self._sizes[figure] for figure in needed)
        known = self._counted(taken)
        new = self._counted(needed) - known
        # The largest itself may be known, by another number.
        more = max(len(new), levels_at_least(largest) - (len(new) < len(needed)))
        alone = [(units, self._alone[figure]) for figure, units in needed.items()]
        set_in = so_far[0] + sum(units * least[0] for units, least in alone)
        # Least meetings go with the least set-in seams, which another choice may exceed.
        exact = not set_in
        meetings = so_far[1] + sum(units * least[1] for units, least in alone) if exact else 0
        levels = levels_at_least(self._sizes[whole])
        return len(known) + more, set_in, meetings, levels


def levels_at_least(pieces: int) -> int:
    """The levels below which so many pieces cannot be joined: a level at most halves units.

    >>> [levels_at_least(n) for n in (1, 2, 3, 4, 5)]
    [0, 1, 2, 2, 3]
    """
    return (pieces - 1).bit_length()
