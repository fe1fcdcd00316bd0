"""The search for an order of sewing: the fewest pivots in all, then the fewest levels.

The order is found from the finished block backwards.  A unit is divided along a *cut*
(``sewing.cut_graph``), which is the seam that is sewn last.  Both halves are divided in the same
way, down to the pieces, so that an order is a binary tree of cuts.

Free cuts
    A cut without a needless bend is *free*, and to divide a unit along a free cut
    never costs anything.  Take an order with the fewest pivots, and note for each point
    which two seams are passed through it.  An order exists for such notes as long as the
    cuts that they make up can be put in a row in which each ends on the outside or on
    an earlier one.  Now change the notes at the points of the free cut L to follow L.
    No point costs more than before.  Each other cut is now a part of an old one; its ends
    lie where the old one's ends lay, or on L.  L itself ends on the outside and can be the
    first, so a circle of parts that wait for each other would have been a circle of old
    cuts; there was none.  Hence an order with the fewest pivots starts with L.  Nothing
    is said of convex or straight-sided units: all that is used is that units have no holes.

    In the same way the needless bends of a unit are at least those of its two halves
    together, along whatever cut.  A unit without a free cut (pieces round a centre, each
    ending on the next) has at least one.

Levels
    Units with few pieces, or without forced points, are searched through all their cuts
    (branch and bound, with a memory of the units that are known).
    A unit of n pieces takes at least log2 n levels, and the search stops where that is
    reached.  In larger units, and where the search takes too many steps, the cut that comes
    nearest to halving the pieces is taken; the lower bounds say what is proven nonetheless.

That an order exists: of the pieces of a unit without holes there is always one whose rim
has one connected part on the unit's outside (discs can be shelled).  It can be cut off.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Generator, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias, TypeVar

from piecewright.patchwork.block.model import Joins
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import distance
from piecewright.patchwork.sewing.bitset import PieceSet, pieces_of
from piecewright.patchwork.sewing.cut_graph import Cut, CutGraph, Steps, mean

SEARCHED = 16
"""Units of up to this many pieces are searched through all their cuts.

For irregular cells the steps double with each further piece: some 3,000 for 12 pieces, 15,000
for 16 and 130,000 for 20."""

SEARCHED_STRAIGHT = 300
"""The same for units without forced points.

Cuts that never bend are few: a grid of 300 pieces takes less than 6,000 steps."""

STEPS = 60_000
"""How many half-edges all searches of a block may look at together, about.

Four times what a unit of 16 irregular cells takes, and some 0.2 s."""

TRIED = 12
"""Free cuts nearest the middle that are tried for a unit that is too large to search.

All of them lie about the middle, so that more of them would hardly divide it more evenly."""


def fewest_levels_of(pieces: int) -> int:
    """The levels below which so many pieces cannot be joined: a level at most halves units.

    >>> [fewest_levels_of(n) for n in (1, 2, 3, 4, 5)]
    [0, 1, 2, 2, 3]
    """
    return (pieces - 1).bit_length()


@dataclass(frozen=True, slots=True)
class CutTree:
    """How a unit is divided, and what all cuts in it come to.

    The trees of its halves are looked up by their pieces, so that a unit that can be reached by
    several ways is searched once.

    Attributes:
        halves: its two halves; None for a piece.
        needless: needless bends, of all cuts in it.
        least_needless, least_levels: proven lower bounds.
    """

    halves: tuple[PieceSet, PieceSet] | None
    needless: int
    levels: int
    least_needless: int
    least_levels: int


LEAF = CutTree(None, 0, 0, 0, 0)


@dataclass(frozen=True, slots=True)
class _LargeUnit:
    """A unit that is too large to be searched.

    Attributes:
        unbent: its cuts without any bend.
        forced: how many forced points lie inside it.
        barren: the size at which cuts with bends were looked for in vain; it is not worth
            while to look again in a unit that is hardly smaller.
    """

    unit: PieceSet
    size: int
    unbent: tuple[Cut, ...]
    forced: int
    barren: float


@dataclass(frozen=True, slots=True)
class _Division:
    """A cut that was chosen in a large unit.

    Attributes:
        least: needless bends that the unit is proven to have.
        only: whether the unit has no other cut without bends, and no forced points.
    """

    cut: Cut
    halves: tuple[PieceSet, PieceSet]
    needless: int
    least: int
    only: bool


_T = TypeVar("_T")

_Subsearch: TypeAlias = Generator[tuple[PieceSet, int], CutTree, _T]
"""A search as a coroutine: it yields smaller units, each with the levels that are few enough
for it, and is sent their trees."""


def search_order(graph: CutGraph, ids: Sequence[str]) -> tuple[Joins, CutTree]:
    """The order of sewing that is found, as nested pairs of piece ids, and what it comes to.

    Raises:
        BlockError: there is none, because the block has a hole or falls apart.
    """
    search = _Search(graph)
    whole = (1 << len(ids)) - 1
    search.divide(whole)
    return search.gathered(whole, ids)


class _Search:
    """What is known of the units of a block while it is divided.

    Attributes:
        steps: those that the searches of small units may still take.
        known: the trees of units that were searched.
        divisions: the cuts of units that were too large for that.
    """

    def __init__(self, graph: CutGraph) -> None:
        self.graph = graph
        self.steps = Steps(0)
        self.known: dict[PieceSet, CutTree] = {}
        self.divisions: dict[PieceSet, _Division] = {}

    # --- large units: one cut after the other ---

    def divide(self, whole: PieceSet) -> None:
        """Divide the block, and its halves in turn, until every unit is small enough to search."""
        size = whole.bit_count()
        stack = [(self._large_unit(whole), fewest_levels_of(size))]
        while stack:
            large, enough = stack.pop()
            if large.size <= (SEARCHED if large.forced else SEARCHED_STRAIGHT):
                # Each unit has its share of the steps, and what those before it left over.
                self.steps.left += STEPS * large.size // size
                self.best_tree(large.unit, enough)
                continue
            division, barren = self._choose(large)
            self.divisions[large.unit] = division
            stack += [(half, enough - 1) for half in self._divided(large, division, barren)]

    def _large_unit(self, unit: PieceSet) -> _LargeUnit:
        """A unit of which nothing is known yet, to be divided like a large one."""
        graph = self.graph
        forced = graph.forced_within(unit, pieces_of(unit))
        unbent = graph.unbent_cuts(unit, graph.first_half_edges(unit))
        return _LargeUnit(unit, unit.bit_count(), unbent, forced, math.inf)

    def _divided(self, large: _LargeUnit, division: _Division, barren: float) -> list[_LargeUnit]:
        """The two halves of a large unit, with what the unit's own search has found of them."""
        graph = self.graph
        crossed = {graph.origin[h] for h in division.cut[1:]}
        parted = graph.halves(large.unit, division.cut)
        assert parted is not None
        pieces, small, rest = parted
        # Only the smaller half is looked through, here and below: all divisions of n pieces
        # together then take in the order of n log n steps, however uneven they are.
        forced = graph.forced_within(small, pieces) if large.forced else 0
        others = large.forced - forced - sum(graph.forced[p] for p in crossed)
        # Unbent cuts that the division does not cross stay; others are cut short, and each part
        # of one starts at a point of the division.
        kept = [c for c in large.unbent if crossed.isdisjoint(graph.origin[h] for h in c[1:])]
        halves = []
        for half, size, within in (
            (small, len(pieces), forced),
            (rest, large.size - len(pieces), others),
        ):
            firsts = [
                h for p in sorted(crossed) for h in graph.leaving[p] if graph.lies_in(half, h)
            ]
            old = (c for c in kept if graph.lies_in(half, c[0]))
            unbent = (*old, *graph.unbent_cuts(half, firsts))
            halves.append(_LargeUnit(half, size, tuple(dict.fromkeys(unbent)), within, barren))
        return halves

    def _choose(self, large: _LargeUnit) -> tuple[_Division, float]:
        """A cut for a large unit, and the size at which cuts with bends were last looked for.

        Raises:
            BlockError: no cut divides it.
        """
        unit, barren = large.unit, large.barren
        candidates = [(0, cut) for cut in self._near_the_middle(large)]
        least = 0
        # Unbent cuts may all lie at the rim; a free cut that bends at forced points may halve the
        # unit.  After a search in vain the next is worth while at three quarters of the size.
        if large.forced and large.size <= 0.75 * barren:
            bent = list(self.graph.halving_cuts(unit))
            if all(bends for bends, _ in bent):
                bent += self.graph.least_bent_cuts(unit, TRIED)
            free = [(bends, cut) for bends, cut in bent if not bends]
            if not free:
                barren = large.size
            candidates += free
        # Any free cut will do, then, wherever it lies; where there is none at all (and the walk
        # came to its end), the unit has a needless bend.
        if not candidates:
            steps = Steps(STEPS // 4)
            candidates = list(itertools.islice(self.graph.cuts(unit, 0, steps), 4 * TRIED))
            if not candidates and steps.left > 0:
                least = max(1, self.graph.disjoint_cycles(unit))
        best = self._most_even(large, candidates, least)
        # No free cut was found: a cut with few needless bends, at last one round a single piece,
        # which always exists in a unit without holes.
        if best is None:
            candidates = [*self.graph.halving_cuts(unit), *self.graph.least_bent_cuts(unit, TRIED)]
            best = self._most_even(large, candidates, least)
        if best is None:
            best = self._most_even(large, self.graph.single_piece_cuts(unit), least)
        if best is None:
            message = "no order of sewing was found for this block; give its joins"
            raise BlockError([Fault("/block", "no-order", message)])
        return best, barren

    def _most_even(
        self, large: _LargeUnit, candidates: Iterable[tuple[int, Cut]], least: int
    ) -> _Division | None:
        """The division with the fewest needless bends; then the one nearest to halving the unit."""
        best: tuple[tuple[int, int, tuple[bool, int], int], _Division] | None = None
        for bends, cut in candidates:
            parted = self.graph.halves(large.unit, cut)
            if parted is None:
                continue
            pieces, small, rest = parted
            larger = large.size - len(pieces)
            # By levels before plainness, by size after it: a straight cut is worth a somewhat
            # less even division, but not one more level.
            rank = (bends, fewest_levels_of(larger), self.graph.plainness(cut), larger)
            if best is None or rank < best[0]:
                only = not large.forced and len(large.unbent) == 1
                best = rank, _Division(cut, (small, rest), bends, least, only)
        return best and best[1]

    def _near_the_middle(self, large: _LargeUnit) -> list[Cut]:
        """The plainest unbent cuts, of these the nearest to the middle; all if there are few."""
        if len(large.unbent) <= TRIED:
            return list(large.unbent)
        graph = self.graph
        middle = mean([graph.middle[i] for i in pieces_of(large.unit)])

        def rank(cut: Cut) -> tuple[tuple[bool, int], float]:
            centre = paths.point_at(graph.segment(cut[len(cut) // 2]), 0.5)
            return graph.plainness(cut), round(distance(centre, middle), 6)

        return sorted(large.unbent, key=rank)[:TRIED]

    # --- small units: all cuts ---

    def best_tree(self, unit: PieceSet, enough: int) -> CutTree:
        """The best tree of a unit: the fewest needless bends, then the fewest levels.

        Searches that wait for the tree of a half stand on a stack of our own (a trampoline): the
        chain of a log cabin nests deeper than Python's calls may.

        Args:
            enough: so few levels need not be made fewer.
        """
        stack = [self._tree_of(unit, enough)]
        tree: CutTree | None = None
        while stack:
            try:
                wanted = stack[-1].send(tree)  # type: ignore[arg-type] # the first one takes None
            except StopIteration as done:
                tree = done.value
                stack.pop()
            else:
                tree = None
                stack.append(self._tree_of(*wanted))
        assert tree is not None
        return tree

    def _tree_of(self, unit: PieceSet, enough: int) -> _Subsearch[CutTree]:
        """The best tree of a unit; where the steps have run out, one that is divided greedily."""
        size = unit.bit_count()
        if size == 1:
            return LEAF
        enough = max(enough, fewest_levels_of(size))
        known = self.known.get(unit)
        # A tree with too many levels is searched again, unless it is proven that no better is.
        if known is not None and (
            known.levels <= enough or known.levels == known.least_levels or self.steps.left <= 0
        ):
            return known
        best = None
        if self.steps.left > 0:
            best = yield from self._over_all_cuts(unit, enough)
        if best is None:
            division, _ = self._choose(self._large_unit(unit))
            one = yield division.halves[0], enough - 1
            other = yield division.halves[1], enough - 1
            best = _joined(division, one, other, size)
        self.known[unit] = best
        return best

    def _over_all_cuts(self, unit: PieceSet, enough: int) -> _Subsearch[CutTree | None]:
        """The best tree, or the best that was found when the steps ran out, if any was."""
        cuts: list[tuple[int, Cut]] = []
        least = -1
        # The unit has as many needless bends at least as its least bent cut.  A map of n pieces
        # has fewer than 2 n points where seams meet, so no cut bends more often.
        while not cuts and self.steps.left > 0 and least < 2 * unit.bit_count():
            least += 1
            cuts = list(self.graph.cuts(unit, least, self.steps))
        if self.steps.left <= 0:
            return None
        best = yield from self._best_of(unit, cuts, None, least, enough)
        # The halves had bends too: a cut with more bends may leave halves with fewer.
        if best is not None and best.needless > least and self.steps.left > 0:
            more = [c for c in self.graph.cuts(unit, best.needless, self.steps) if c[0] > least]
            best = yield from self._best_of(unit, more, best, least, enough)
        if best is None or self.steps.left <= 0:
            return best
        # Everything was looked at, so its bends are the fewest.  Its levels are too, unless the
        # search stopped because they were few enough.
        few = best.levels if best.levels > enough else best.least_levels
        return CutTree(best.halves, best.needless, best.levels, best.needless, few)

    def _best_of(
        self,
        unit: PieceSet,
        cuts: Iterable[tuple[int, Cut]],
        best: CutTree | None,
        least: int,
        enough: int,
    ) -> _Subsearch[CutTree | None]:
        """The best tree that starts with one of the cuts, or the one at hand if it is as good."""
        size = unit.bit_count()
        lowest = fewest_levels_of(size)
        candidates = []
        for bends, cut in cuts:
            parted = self.graph.halves(unit, cut)
            if parted is not None:
                pieces, small, rest = parted
                larger = size - len(pieces)
                candidates.append((bends, self.graph.plainness(cut), larger, cut, small, rest))
        # Sorted, the likeliest to be best come first and bound the others.
        for bends, _, larger, _, small, rest in sorted(candidates):
            # What the tree comes to at least is compared three times: from the cut alone, with one
            # half known (the smaller, as it is found sooner), and with both.
            atleast = (bends, 1 + fewest_levels_of(larger))
            if best is not None and atleast >= (best.needless, best.levels):
                continue
            one = yield small, enough - 1
            if best is not None:
                so_far = (bends + one.needless, max(atleast[1], 1 + one.levels))
                if so_far >= (best.needless, best.levels):
                    continue
            other = yield rest, enough - 1
            value = (bends + one.needless + other.needless, 1 + max(one.levels, other.levels))
            if best is None or value < (best.needless, best.levels):
                low = max(least, one.least_needless + other.least_needless)
                best = CutTree((small, rest), value[0], value[1], low, lowest)
                if value[0] == least and value[1] <= enough:
                    break  # no fewer bends can be, and no fewer levels are asked for
            if self.steps.left <= 0:
                break
        return best

    # --- all together ---

    def gathered(self, whole: PieceSet, ids: Sequence[str]) -> tuple[Joins, CutTree]:
        """The tree of the whole block as nested pairs of piece ids, and what it comes to."""
        made: list[tuple[Joins, CutTree]] = []
        stack: list[tuple[PieceSet, bool]] = [(whole, False)]
        while stack:
            unit, ready = stack.pop()
            division = self.divisions.get(unit)
            if unit & (unit - 1) == 0:  # one bit: a piece
                made.append((ids[unit.bit_length() - 1], LEAF))
            elif not ready:
                halves = division.halves if division is not None else self.known[unit].halves
                assert halves is not None
                # The half with the piece that comes first in the block is the first unit.
                first, second = sorted(halves, key=lambda half: half & -half)
                stack += [(unit, True), (second, False), (first, False)]
            else:
                (second_joins, other), (first_joins, one) = made.pop(), made.pop()
                tree = self.known.get(unit) if division is None else None
                if tree is None:
                    assert division is not None
                    tree = _joined(division, one, other, unit.bit_count())
                made.append(((first_joins, second_joins), tree))
        return made[-1]


def _joined(division: _Division, one: CutTree, other: CutTree, size: int) -> CutTree:
    """The tree of a unit that is divided so, from the trees of its halves."""
    needless = division.needless + one.needless + other.needless
    lowest = fewest_levels_of(size)
    # Any tree without a bend starts with the only cut that has none, so its levels are at least
    # one more than those of either half.
    if division.only and needless == 0:
        lowest = max(lowest, 1 + max(one.least_levels, other.least_levels))
    return CutTree(
        division.halves,
        needless,
        1 + max(one.levels, other.levels),
        max(division.least, one.least_needless + other.least_needless),
        lowest,
    )
