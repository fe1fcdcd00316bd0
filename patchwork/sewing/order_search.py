"""The search for the order of sewing that a sewist would choose.

The order is found from the finished block backwards.  A unit is divided along a *cut*
(``sewing.cut_graph``), which is the seam that is sewn last.  Both halves are divided in the same
way, down to the pieces, so that an order is a binary tree of cuts.  Of all trees one is taken
that has, one after the other:

1. the fewest pivots in all;
2. the fewest partial seams, each of which saves a pivot;
3. the most units that are rectangles, so that units can be trimmed, and half squares, four
   patches and rows are made whole;
4. the most units that look the same after a half turn, so that rows stay rows and opposite sides
   are sewn before neighbouring ones;
5. the fewest different units, alike ones (``sewing.figures``) counted once;
6. the shortest set-in seams, added up;
7. the fewest seams with a meeting inside;
8. the fewest levels.

Alike units are sewn alike, step by step.  So it is figures that are divided, not units.

What adds up
    The first four are sums over the units of a tree, so the best tree of a figure is made of best
    trees of its halves (dynamic programming).  All *ways* of dividing a figure that lead to such a
    tree are kept.

Partial seams
    A needless bend may be saved where the cut finishes an earlier seam, which is a demand on the
    half that has this seam (``sewing.divisions``).  Where the tree that is found has more partial
    seams than were reckoned with, it has fewer pivots too, so that the best one has none.

What is shared
    How many different units there are depends on which of these ways are taken together: a
    way is cheap if its halves are made anyway.  A branch and bound goes through the figures from
    the largest to the smallest and takes one way for each that is needed.  So whatever needs a
    figure is settled before the figure is, and it is known how often it is made.

Free cuts
    The pivots of a unit are at least those of its two halves together, along whatever cut, and so
    are its pivots and then its partial seams.  Take the best tree of the unit, and of each of its
    cuts what lies inside the one half: paths that each end on that half's outside, or where the cut
    ends, so that they divide the parts into which the half is cut already.  A bend lies inside
    one half at most.  A bend that is saved is saved there too: what lies inside the half of its
    cut ends in a straight stretch, and what lies there of the earlier seam is straight and comes
    earlier; at its other end it does not stand open, as it did not before.

    A cut without a needless bend is *free*, and to divide a unit along a free cut never costs a
    pivot: the trees of its halves make a tree of the unit, with as many as those two have together.
    The same holds with demands, if the cut is not itself a seam that would have to be straight.
    A unit without a free cut (pieces round a centre, each ending on the next) has a needless
    bend or a partial seam at least.

    So once a tree without needless bends and partial seams is found, only those that start with a
    free cut can be better.  Else cuts with one bend more than the best tree has count too, as
    one may be saved.

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
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

from piecewright.patchwork.block.model import Joins
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import distance
from piecewright.patchwork.sewing.bitset import PieceSet, piece_set, pieces_of
from piecewright.patchwork.sewing.cut_graph import (
    Cut,
    CutGraph,
    Steps,
    mean,
)
from piecewright.patchwork.sewing.divisions import NO_DEMANDS, Demands, Division, Divisions
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


Score: TypeAlias = tuple[int, int, int, int]
"""Of a tree, less being better: needless bends, partial seams, rectangles and half turns (these two
negative)."""

UNMET = 1 << 30
"""Needless bends of a unit that meets no demands: more than any unit has."""


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


_PIECE = _Divided((0, 0, 0, 0), (), 0, True)


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
    demands: Demands
    size: int
    unbent: tuple[Cut, ...]
    forced: int
    barren: float


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
        self.divisions = Divisions(graph, self.figures)

    # --- large units: one cut after the other ---

    def divide(self, whole: PieceSet) -> None:
        """Divide the block, and its halves in turn, until every unit is small enough to search."""
        size = whole.bit_count()
        stack = [self._large_unit(whole, NO_DEMANDS)]
        divided: dict[Figure, Division] = {}
        unmet: dict[Figure, tuple[PieceSet, Demands]] = {}
        while stack:
            large = stack.pop()
            figure = self.divisions.figure_of(large.unit, large.demands)
            if figure in self.known or figure in divided or figure in unmet:
                continue
            if large.size <= (SEARCHED if large.forced else SEARCHED_STRAIGHT):
                # Each unit has its share of the steps, and what those before it left over.
                self.steps.left += STEPS * large.size // size
                self.search(large.unit, large.demands)
                if self.known[figure].score[0] >= UNMET:
                    self.search(large.unit)
                    self.known[figure] = self._without_demands(large.unit, large.demands)
                continue
            chosen = self._choose(large)
            if chosen is None:
                unmet[figure] = large.unit, large.demands
                stack.append(replace(large, demands=NO_DEMANDS))
                continue
            division, barren = chosen
            divided[figure] = division
            stack += self._halves(large, division, barren)
        # Halves are smaller than what they make up: from the smallest on, both are known.  A unit
        # that is divided without regard to its demands comes after the same one without any.
        for figure in sorted((*divided, *unmet), key=lambda f: (self.figures.sizes[f], f in unmet)):
            if figure in divided:
                self.known[figure] = self._by_rule(figure, divided[figure])
            else:
                self.known[figure] = self._without_demands(*unmet[figure])

    def _without_demands(self, unit: PieceSet, demands: Demands) -> _Divided:
        """A unit that meets no demands: the seams that cannot stand open cost a pivot each."""
        found = self.known[self.figures.of(unit)]
        needless, partial, rectangles, half_turns = found.score
        score = (needless + len(demands), partial - len(demands), rectangles, half_turns)
        ways = []
        for way in found.ways:
            one, other = way.halves
            laid = self.figures.laid(one | other, unit)
            ways.append(replace(way, halves=(_carried(one, laid), _carried(other, laid))))
        return _Divided(score, tuple(ways), found.least_needless, False)

    def _by_rule(self, figure: Figure, division: Division) -> _Divided:
        """What is known of a figure that is divided along one cut, others being left aside."""
        way = self.divisions.way(division)
        one, other = (self.known[half] for half in way.figures)
        score = self._score(figure, division, one, other)
        return _Divided(score, (way,), one.least_needless + other.least_needless, False)

    def _score(self, figure: Figure, division: Division, one: _Divided, other: _Divided) -> Score:
        return (
            division.needless + one.score[0] + other.score[0],
            (division.opening is not None) + one.score[1] + other.score[1],
            one.score[2] + other.score[2] - self.figures.rectangle[figure],
            one.score[3] + other.score[3] - self.figures.half_turn[figure],
        )

    def _large_unit(self, unit: PieceSet, demands: Demands) -> _LargeUnit:
        """A unit of which nothing is known yet, to be divided like a large one."""
        graph = self.graph
        forced = graph.forced_within(unit, pieces_of(unit))
        unbent = graph.unbent_cuts(unit, graph.first_half_edges(unit))
        return _LargeUnit(unit, demands, unit.bit_count(), unbent, forced, math.inf)

    def _halves(self, large: _LargeUnit, division: Division, barren: float) -> list[_LargeUnit]:
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
        demands = dict(zip(division.halves, division.demands, strict=True))
        for half, size, within in (
            (small, len(pieces), forced),
            (rest, large.size - len(pieces), others),
        ):
            firsts = [
                h for p in sorted(crossed) for h in graph.leaving[p] if graph.lies_in(half, h)
            ]
            old = (c for c in kept if graph.lies_in(half, c[0]))
            unbent = tuple(dict.fromkeys((*old, *graph.unbent_cuts(half, firsts))))
            halves.append(_LargeUnit(half, demands[half], size, unbent, within, barren))
        return halves

    def _choose(self, large: _LargeUnit) -> tuple[Division, float] | None:
        """A cut for a large unit, and the size at which cuts with bends were last looked for.

        None if no cut that was tried meets the demands.

        Raises:
            BlockError: no cut divides it.
        """
        unit, barren = large.unit, large.barren
        candidates = [(0, cut) for cut in self._near_the_middle(large)]
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
        # Any free cut will do, then, wherever it lies.
        if not candidates:
            steps = Steps(STEPS // 4)
            candidates = list(itertools.islice(self.graph.cuts(unit, 0, steps), 4 * TRIED))
        best = self._most_even(large, candidates)
        # No free cut was found: a cut with few needless bends, at last one round a single piece,
        # which always exists in a unit without holes.
        if best is None:
            candidates = [*self.graph.halving_cuts(unit), *self.graph.least_bent_cuts(unit, TRIED)]
            best = self._most_even(large, candidates)
        if best is None:
            best = self._most_even(large, self.graph.single_piece_cuts(unit))
        if best is None and large.demands:
            return None
        if best is None:
            message = "no order of sewing was found for this block; give its joins"
            raise BlockError([Fault("/block", "no-order", message)])
        return best, barren

    def _most_even(
        self, large: _LargeUnit, candidates: Iterable[tuple[int, Cut]]
    ) -> Division | None:
        """The division with the fewest needless bends, of these the one a sewist would make: into
        rectangles, into units that look the same after a half turn, into two alike, halfway."""
        best: tuple[tuple[int, bool], tuple[object, ...], Division] | None = None
        for bends, cut in candidates:
            parted = self.graph.halves(large.unit, cut)
            if parted is None:
                continue
            pieces, small, rest = parted
            larger = large.size - len(pieces)
            rest_of_rank: tuple[object, ...] | None = None
            for division in self.divisions.along(bends, cut, (small, rest), large.demands):
                cost = (division.needless, division.opening is not None)
                # Figures take their time, and are not looked at in vain.
                if best is not None and cost > best[0]:
                    continue
                if rest_of_rank is None:
                    # By levels before plainness, by size after it: a straight cut is worth a
                    # somewhat less even division, but not one more level.
                    rest_of_rank = (
                        self._untidiness(large, (small, rest)),
                        (levels_at_least(larger), self.graph.plainness(cut), larger),
                    )
                if best is None or (cost, rest_of_rank) < best[:2]:
                    best = cost, rest_of_rank, division
        return best and best[2]

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

    def search(self, unit: PieceSet, demands: Demands = NO_DEMANDS) -> Figure:
        """Find the best trees of a unit's figure; the number of the figure.

        The calls nest no deeper than a unit that is searched has pieces.
        """
        figure = self.divisions.figure_of(unit, demands)
        if figure in self.known:
            return figure
        if self.figures.sizes[figure] == 1:
            self.known[figure] = _PIECE
            return figure
        found = self._searched(unit, figure, demands)
        if found is None and demands:
            complete = self.steps.left > 0
            found = _Divided((UNMET, 0, 0, 0), (), 0, complete)
        elif found is None:
            # The steps ran out before one tree was found: the unit is divided by rule.
            chosen = self._choose(self._large_unit(unit, demands))
            assert chosen is not None, "without demands there always is a cut"
            for half, own in zip(chosen[0].halves, chosen[0].demands, strict=True):
                if self.known[self.search(half, own)].score[0] >= UNMET:
                    self.search(half)
                    self.known[self.divisions.figure_of(half, own)] = self._without_demands(
                        half, own
                    )
            found = self._by_rule(figure, chosen[0])
        self.known[figure] = found
        return figure

    def _searched(self, unit: PieceSet, figure: Figure, demands: Demands) -> _Divided | None:
        """The best trees, or the best that were found when the steps ran out.

        None if there is none that meets the demands, or none was found by then.
        """
        # Cuts by their needless bends, the fewest first. A cut with more bends may leave halves
        # with fewer, so those with as many as the best tree has count too, as their rectangles may
        # be more; and those with one more, of which one may be saved. A map of n pieces has fewer
        # than 2 n points where seams meet, so no cut bends more often.
        best: _Divided | None = None
        bends, most = 0, 2 * unit.bit_count()
        while bends <= most and self.steps.left > 0:
            cuts = [c for c in self.graph.cuts(unit, bends, self.steps) if c[0] == bends]
            best = self._best_of(unit, figure, demands, cuts, best)
            if best is not None:
                most = best.score[0] + 1 if any(best.score[:2]) else 0
            bends += 1
        if best is None:
            return None
        complete = best.complete and self.steps.left > 0
        return replace(
            best,
            least_needless=best.score[0] if complete else best.least_needless,
            complete=complete,
        )

    def _best_of(
        self,
        unit: PieceSet,
        figure: Figure,
        demands: Demands,
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
            ways = {self.divisions.key(way): way for way in best.ways}
        for bends, cut in cuts:
            # Where there are demands none may be met; without any, one cut does for a tree.
            if self.steps.left <= 0 and (ways or demands):
                complete = False
                break
            parted = self.graph.halves(unit, cut)
            if parted is None:
                continue
            # Along whatever cut, the unit bends as often at least as its two halves.
            plain = [self.known[self.search(half)] for half in parted[1:]]
            least = max(least, sum(half.least_needless for half in plain))
            for division in self.divisions.along(bends, cut, parted[1:], demands):
                if score is not None and _at_least(division, plain) > score[:2]:
                    continue
                one, other = (
                    self.known[self.search(*half)]
                    for half in zip(division.halves, division.demands, strict=True)
                )
                complete = complete and one.complete and other.complete
                value = self._score(figure, division, one, other)
                if value[0] >= UNMET:
                    continue
                if score is None or value < score:
                    score, ways = value, {}
                if value == score:
                    way = self.divisions.way(division)
                    known = ways.get(self.divisions.key(way))
                    if known is None or way.down < known.down:
                        ways[self.divisions.key(way)] = way
        return None if score is None else _Divided(score, tuple(ways.values()), least, complete)

    # --- all together ---

    def gathered(self, whole: PieceSet, ids: Sequence[str]) -> FoundOrder:
        """The order in which alike units are sewn alike, and what is proven of it."""
        figures = self.figures
        root = figures.of(whole)
        ways = {figure: found.ways for figure, found in self.known.items()}
        once = [figures.units[figure] == 1 for figure in figures.alike]
        choice = chosen(root, ways, figures.sizes, once, figures.alike)
        found = self.known[root]
        return FoundOrder(
            self._joins(whole, ids, choice),
            found.score[0] == found.least_needless,
            found.complete and choice.optimal,
        )

    def _joins(self, whole: PieceSet, ids: Sequence[str], choice: Choice) -> Joins:
        """Nested pairs: each unit divided as its figure is."""
        made: list[Joins] = []
        # With a unit goes its figure, and how the unit for which ways were found is laid onto it;
        # None stands for two units that are made, and are to be joined.
        root = (whole, self.figures.of(whole), None)
        stack: list[tuple[PieceSet, Figure, Mapping[int, int] | None] | None] = [root]
        while stack:
            entry = stack.pop()
            if entry is None:
                second_joins, first_joins = made.pop(), made.pop()
                made.append((first_joins, second_joins))
                continue
            unit, figure, laid = entry
            if unit & (unit - 1) == 0:
                made.append(ids[unit.bit_length() - 1])
                continue
            way = choice.ways[figure]
            # Demands are met by one unit alone, as part of the larger one that makes them: it is
            # laid where that is laid.
            if self.figures.alike[figure] == figure:
                laid = self.figures.laid(way.halves[0] | way.halves[1], unit)
            parts = [_carried(half, laid) for half in way.halves]
            # The half with the first piece in reading order is the first unit.
            first, second = sorted(
                zip(parts, way.figures, strict=True), key=lambda part: part[0] & -part[0]
            )
            stack += [None, (*second, laid), (*first, laid)]
        return made[-1]


def _at_least(division: Division, plain: Sequence[_Divided]) -> tuple[int, int]:
    """Needless bends and partial seams that a tree which starts so has at least.

    Args:
        plain: what is known of its halves without demands.
    """
    needless = division.needless + sum(half.least_needless for half in plain)
    partial = int(division.opening is not None)
    if all(half.complete for half in plain):
        partial += sum(half.score[1] for half in plain)
    return needless, partial


def _carried(half: PieceSet, laid: Mapping[int, int] | None) -> PieceSet:
    """The pieces onto which those of a half are laid."""
    return half if laid is None else piece_set(laid[i] for i in pieces_of(half))
