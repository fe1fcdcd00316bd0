"""The search for the order of sewing that a sewist would choose.

The order is found from the finished block backwards.  A unit is divided along a *cut*
(``sewing.cut_graph``), which is the seam that is sewn last.  Both halves are divided in the same
way, down to the pieces, so that an order is a binary tree of cuts.  Of all trees one is taken
that has, one after the other:

1. the fewest pivots in all;
2. the most units that are rectangles, so that units can be trimmed, and half squares, four
   patches and rows are made whole;
3. the most units that look the same after a half turn, so that rows stay rows and opposite sides
   are sewn before neighbouring ones;
4. the fewest different units, alike ones (``sewing.figures``) counted once;
5. the shortest set-in seams, added up;
6. the fewest seams with a meeting inside;
7. the fewest levels.

Alike units are sewn alike, step by step.  So it is figures that are divided, not units.

What adds up
    The first three are sums over the units of a tree, so the best tree of a figure is made of best
    trees of its halves (dynamic programming).  All *ways* of dividing a figure that lead to such a
    tree are kept.

What is shared
    How many different units there are depends on which of these ways are taken together: a
    way is cheap if its halves are made anyway.  A branch and bound goes through the figures from
    the largest to the smallest and takes one way for each that is needed.  So whatever needs a
    figure is settled before the figure is, and it is known how often it is made.

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

Large units
    Units of many pieces are first cut up by rule: free cuts near the middle are tried, and the one
    is taken that leaves rectangles, and figures that look the same after a half turn. What is
    small enough is then searched through all its cuts.  ``optimal`` is claimed only where the whole
    block was.

That an order exists: of the pieces of a unit without holes there is always one whose rim
has one connected part on the unit's outside (discs can be shelled).  It can be cut off.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from piecewright.patchwork.block.model import Joins
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import distance
from piecewright.patchwork.sewing.bitset import PieceSet, pieces_of
from piecewright.patchwork.sewing.cut_graph import Cut, CutGraph, Steps, mean
from piecewright.patchwork.sewing.figures import Figures
from piecewright.patchwork.sewing.order_sharing import Choice, Figure, Way, chosen, levels_at_least

SEARCHED = 16
"""Units of up to this many pieces are searched through all their cuts.

For irregular cells the steps double with each further piece: some 3,000 for 12 pieces, 15,000
for 16 and 130,000 for 20."""

SEARCHED_STRAIGHT = 48
"""The same for units without forced points.

Cuts that never bend are few, but each stretch of rows and columns is a unit: a grid of 48
different pieces has some 800 of them, and takes 0.2 s."""

STEPS = 60_000
"""How many half-edges all searches of a block may look at together, about.

Four times what a unit of 16 irregular cells takes, and some 0.2 s."""

TRIED = 12
"""Free cuts nearest the middle that are tried for a unit that is too large to search.

All of them lie about the middle, so that more of them would hardly divide it more evenly."""

COMPARED = 300
"""Pieces; the halves of larger units are not looked at as figures before they are chosen."""


@dataclass(frozen=True, slots=True)
class FoundOrder:
    """What the search has found.

    Attributes:
        joins: nested pairs of piece ids.
        fewest_pivots: whether it is proven that no order has fewer pivots.
        optimal: whether it is proven that no order is better by all that counts.
    """

    joins: Joins
    fewest_pivots: bool
    optimal: bool


def search_order(graph: CutGraph, ids: Sequence[str], figures: Figures | None = None) -> FoundOrder:
    """The order of sewing that is found.

    Args:
        figures: of the graph's units, where these are more than their pieces show.

    Raises:
        BlockError: there is none, because the block has a hole or falls apart.
    """
    search = _Search(graph, figures or Figures(graph.seams))
    whole = (1 << len(ids)) - 1
    search.divide(whole)
    return search.gathered(whole, ids)


Score: TypeAlias = tuple[int, int, int]
"""Of a tree, less being better: needless bends, rectangles and half turns (these two negative)."""


@dataclass(frozen=True, slots=True)
class _Divided:
    """The best that is known of a figure.

    Attributes:
        score: of the best tree.
        ways: those with which a tree of this score begins; none for a piece.
        least_needless: no tree has fewer needless bends.
        complete: whether all trees were looked at.
    """

    score: Score
    ways: tuple[Way, ...]
    least_needless: int
    complete: bool


_PIECE = _Divided((0, 0, 0), (), 0, True)


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
    """

    cut: Cut
    halves: tuple[PieceSet, PieceSet]
    needless: int
    least: int


class _Search:
    """What is known of the figures of a block while it is divided.

    Attributes:
        steps: those that the searches of small units may still take.
        known: what was found of each figure.
    """

    def __init__(self, graph: CutGraph, figures: Figures) -> None:
        self.graph = graph
        self.figures = figures
        self.steps = Steps(0)
        self.known: dict[Figure, _Divided] = {}

    # --- large units: one cut after the other ---

    def divide(self, whole: PieceSet) -> None:
        """Divide the block, and its halves in turn, until every unit is small enough to search."""
        size = whole.bit_count()
        stack = [self._large_unit(whole)]
        divided: dict[Figure, _Division] = {}
        while stack:
            large = stack.pop()
            figure = self.figures.of(large.unit)
            if figure in self.known or figure in divided:
                continue
            if large.size <= (SEARCHED if large.forced else SEARCHED_STRAIGHT):
                # Each unit has its share of the steps, and what those before it left over.
                self.steps.left += STEPS * large.size // size
                self.search(large.unit)
                continue
            division, barren = self._choose(large)
            divided[figure] = division
            stack += self._halves(large, division, barren)
        # Halves are smaller than what they make up: from the smallest on, both are known.
        for figure in sorted(divided, key=lambda f: self.figures.sizes[f]):
            self.known[figure] = self._by_rule(figure, divided[figure])

    def _by_rule(self, figure: Figure, division: _Division) -> _Divided:
        """What is known of a figure that is divided along one cut, others being left aside."""
        way = self._way(division.cut, division.halves)
        one, other = (self.known[half] for half in way.figures)
        least = max(division.least, one.least_needless + other.least_needless)
        score = self._score(figure, division.needless, one, other)
        return _Divided(score, (way,), least, False)

    def _score(self, figure: Figure, bends: int, one: _Divided, other: _Divided) -> Score:
        return (
            bends + one.score[0] + other.score[0],
            one.score[1] + other.score[1] - self.figures.rectangle[figure],
            one.score[2] + other.score[2] - self.figures.half_turn[figure],
        )

    def _way(self, cut: Cut, halves: tuple[PieceSet, PieceSet]) -> Way:
        graph = self.graph
        one, other = sorted(self.figures.of(half) for half in halves)
        # Earlier seams arrive from a half where two or more of its pieces lie round a point: the
        # cut passes the point once, so they lie side by side.
        around = [graph.around[graph.origin[h]] for h in cut[1:]]
        meets = any(all((a & half).bit_count() > 1 for half in halves) for a in around)
        set_in = sum(graph.thousandths[h >> 1] for h in cut) if graph.has_pivot(cut) else 0
        (x, y), (u, v) = (
            graph.seams.points[p] for p in (graph.origin[cut[0]], graph.target(cut[-1]))
        )
        down = round(abs(v - y), 6) > round(abs(u - x), 6)
        return Way(halves, (one, other), set_in, int(meets), down)

    def _large_unit(self, unit: PieceSet) -> _LargeUnit:
        """A unit of which nothing is known yet, to be divided like a large one."""
        graph = self.graph
        forced = graph.forced_within(unit, pieces_of(unit))
        unbent = graph.unbent_cuts(unit, graph.first_half_edges(unit))
        return _LargeUnit(unit, unit.bit_count(), unbent, forced, math.inf)

    def _halves(self, large: _LargeUnit, division: _Division, barren: float) -> list[_LargeUnit]:
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
        """The division with the fewest needless bends, of these the one a sewist would make: into
        rectangles, into units that look the same after a half turn, into two alike, halfway."""
        best: tuple[tuple[object, ...], _Division] | None = None
        for bends, cut in candidates:
            parted = self.graph.halves(large.unit, cut)
            if parted is None:
                continue
            pieces, small, rest = parted
            larger = large.size - len(pieces)
            # By levels before plainness, by size after it: a straight cut is worth a somewhat
            # less even division, but not one more level.
            evenness = (levels_at_least(larger), self.graph.plainness(cut), larger)
            rank = (bends, self._untidiness(large, (small, rest)), evenness)
            if best is None or rank < best[0]:
                best = rank, _Division(cut, (small, rest), bends, least)
        return best and best[1]

    def _untidiness(
        self, large: _LargeUnit, halves: tuple[PieceSet, PieceSet]
    ) -> tuple[int, int, bool]:
        """How many of two halves are no rectangles, how many look different after a half turn, and
        whether they differ; all the same for units that are too large to be compared."""
        if large.size > COMPARED:
            return 0, 0, False
        one, other = (self.figures.of(half) for half in halves)
        rectangles, half_turns = self.figures.rectangle, self.figures.half_turn
        return (
            2 - rectangles[one] - rectangles[other],
            2 - half_turns[one] - half_turns[other],
            one != other,
        )

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

    def search(self, unit: PieceSet) -> Figure:
        """Find the best trees of a unit's figure; the number of the figure.

        The calls nest no deeper than a unit that is searched has pieces.
        """
        figure = self.figures.of(unit)
        if figure in self.known:
            return figure
        if self.figures.sizes[figure] == 1:
            self.known[figure] = _PIECE
            return figure
        found = self._searched(unit, figure)
        if found is None:
            # The steps ran out before one tree was found: the unit is divided by rule.
            division, _ = self._choose(self._large_unit(unit))
            for half in division.halves:
                self.search(half)
            found = self._by_rule(figure, division)
        self.known[figure] = found
        return figure

    def _searched(self, unit: PieceSet, figure: Figure) -> _Divided | None:
        """The best trees, or the best that were found when the steps ran out."""
        cuts: list[tuple[int, Cut]] = []
        least = -1
        # The unit has as many needless bends at least as its least bent cut.  A map of n pieces
        # has fewer than 2 n points where seams meet, so no cut bends more often.
        while not cuts and self.steps.left > 0 and least < 2 * unit.bit_count():
            least += 1
            cuts = list(self.graph.cuts(unit, least, self.steps))
        best = self._best_of(unit, figure, cuts, None)
        # A cut with more bends may leave halves with fewer: those with as many bends as the best
        # tree has count too, as their rectangles may be more.
        if best is not None and best.score[0] > least and self.steps.left > 0:
            more = [c for c in self.graph.cuts(unit, best.score[0], self.steps) if c[0] > least]
            best = self._best_of(unit, figure, more, best)
        if best is None:
            return None
        complete = best.complete and self.steps.left > 0
        needless = best.score[0] if complete else max(least, best.least_needless)
        return _Divided(best.score, best.ways, needless, complete)

    def _best_of(
        self,
        unit: PieceSet,
        figure: Figure,
        cuts: Iterable[tuple[int, Cut]],
        best: _Divided | None,
    ) -> _Divided | None:
        """The best trees that start with one of the cuts, and those at hand that are as good."""
        # By figures, so that two cuts which leave the same halves are one way.
        ways: dict[tuple[object, ...], Way] = {}
        score: Score | None = None
        complete, least = True, 0
        if best is not None:
            score, complete, least = best.score, best.complete, best.least_needless
            ways = {_key(way): way for way in best.ways}
        for bends, cut in cuts:
            if self.steps.left <= 0 and ways:
                complete = False
                break
            parted = self.graph.halves(unit, cut)
            if parted is None:
                continue
            halves = parted[1:]
            one, other = (self.known[self.search(half)] for half in halves)
            complete = complete and one.complete and other.complete
            # Along whatever cut, the unit bends as often at least as its two halves.
            least = max(least, one.least_needless + other.least_needless)
            value = self._score(figure, bends, one, other)
            if score is None or value < score:
                score, ways = value, {}
            if value == score:
                way = self._way(cut, halves)
                known = ways.get(_key(way))
                if known is None or way.down < known.down:
                    ways[_key(way)] = way
        return None if score is None else _Divided(score, tuple(ways.values()), least, complete)

    # --- all together ---

    def gathered(self, whole: PieceSet, ids: Sequence[str]) -> FoundOrder:
        """The order in which alike units are sewn alike, and what is proven of it."""
        figures = self.figures
        root = figures.of(whole)
        ways = {figure: found.ways for figure, found in self.known.items()}
        once = [units == 1 for units in figures.units]
        choice = chosen(root, ways, figures.sizes, once)
        found = self.known[root]
        return FoundOrder(
            self._joins(whole, ids, choice),
            found.score[0] == found.least_needless,
            # A bend that is needless may be saved by a partial seam, which is not looked for.
            found.complete and choice.optimal and not found.score[0],
        )

    def _joins(self, whole: PieceSet, ids: Sequence[str], choice: Choice) -> Joins:
        """Nested pairs: each unit divided as its figure is."""
        made: list[Joins] = []
        stack: list[tuple[PieceSet, bool]] = [(whole, False)]
        while stack:
            unit, ready = stack.pop()
            if unit & (unit - 1) == 0:
                made.append(ids[unit.bit_length() - 1])
            elif ready:
                second_joins, first_joins = made.pop(), made.pop()
                made.append((first_joins, second_joins))
            else:
                figure = self.figures.of(unit)
                half, other = choice.ways[figure].halves
                one = self.figures.carried(half | other, half, unit)
                # The half with the first piece in reading order is the first unit.
                first, second = sorted((one, unit ^ one), key=lambda half: half & -half)
                stack += [(unit, True), (second, False), (first, False)]
        return made[-1]


def _key(way: Way) -> tuple[object, ...]:
    return way.figures, way.set_in, way.meetings
