"""Working out the order of sewing: the fewest pivots in all, then the fewest levels.

The order is found from the finished block backwards.  A unit is divided along a
*cut*: a line of seams from its outside to its outside, which is the seam that is sewn
last.  Both halves are divided in the same way, down to the pieces.

Pivots, point by point
    A point inside the block, where seams meet, is passed by exactly one cut, the first
    that reaches it: afterwards it lies on the outside of both halves, and every later
    cut can only end there.  So the pivots of an order are the points that are passed
    with a bend.  A point at which no two seams run straight on into each other costs
    a pivot in every order (it is *forced*); at any other point a bend is *needless*.
    The fewest pivots are the forced points plus as few needless bends as can be.  (A
    cut that starts and ends at one and the same point closes on itself and may
    have a bend there too, which counts as needless.)

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
    Units with few pieces, or without forced points, are searched through all their cuts.
    A unit of n pieces takes at least log2 n levels, and the search stops where that is
    reached.  In larger units, and where the search takes too many steps, the cut that comes
    nearest to halving the pieces is taken; ``WorkedOrder`` says what is proven nonetheless.

That an order exists: of the pieces of a unit without holes there is always one whose rim
has one connected part on the unit's outside (discs can be shelled).  It can be cut off.
"""

from __future__ import annotations

import bisect
import itertools
import math
from collections import deque
from collections.abc import Generator, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias, TypeVar

from piecewright.patchwork.block.joins import BrokenSeam, Order, order_from, seam_along, seam_bends
from piecewright.patchwork.block.model import Block, Joins
from piecewright.patchwork.block.seams import PIVOT, Seams
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Segment
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point, angle, distance, turn
from piecewright.patchwork.sewing.bitset import PieceSet, pieces_of, unit_of

Dart: TypeAlias = int
"""An edge as it is travelled: ``2 * edge``, and 1 more against its direction."""

SEARCHED = 16
"""Units of up to this many pieces are searched through all their cuts."""

SEARCHED_STRAIGHT = 300
"""The same for units without forced points, which have few cuts."""

STEPS = 60_000
"""How many steps along seams all searches of a block may take together, about."""

TRIED = 12
"""Free cuts nearest the middle that are tried for a unit that is too large to search."""


@dataclass(frozen=True, slots=True)
class WorkedOrder:
    """An order of sewing that was worked out.

    Attributes:
        fewest_pivots: whether no order can have fewer pivots; proven.
        fewest_levels: whether, besides, no order with as few pivots has fewer levels.
            Levels are counted along the longest chain of joins that wait for each other.
    """

    order: Order
    fewest_pivots: bool
    fewest_levels: bool


def order_of(block: Block, seams: Seams) -> Order:
    """The order of sewing of a block: the one given, or else one worked out.

    Raises:
        BlockError: a given join is not legal, or no order can be worked out.
    """
    ids = [p.id for p in block.pieces]
    if block.joins is not None:
        return order_from(seams, ids, block.joins)
    return work_out_order(seams, ids).order


def work_out_order(seams: Seams, ids: Sequence[str]) -> WorkedOrder:
    """An order of sewing with the fewest pivots, then the fewest levels.

    Raises:
        BlockError: there is none, because the block has a hole or falls apart.
    """
    planner = _Planner(_Map(seams))
    whole = (1 << len(ids)) - 1
    planner.divide(whole)
    joins, total = planner.gather(whole, ids)
    pivots = total.needless == total.least_needless
    levels = total.levels == total.least_levels
    return WorkedOrder(order_from(seams, ids, joins, "/block"), pivots, pivots and levels)


def levels(order: Order) -> int:
    """The longest chain of joins that wait for each other."""
    depth = [0] * order.pieces
    for join in order.joins:
        depth.append(1 + max(depth[join.first], depth[join.second]))
    return depth[-1]


# --- the map of the seams ---------------------------------------------------------------------


class _Map:
    """The seams of a block as darts, and what each point costs."""

    def __init__(self, seams: Seams) -> None:
        self.seams = seams
        count = len(seams.points)
        self.tail: list[int] = []
        self.darts = [[2 * s.edge + (not s.forward) for s in own] for own in seams.sides]
        self.beside: list[list[tuple[int, int]]] = [[] for _ in seams.sides]
        self.leaving: list[list[Dart]] = [[] for _ in range(count)]
        self.round: list[PieceSet] = [0] * count
        outside = [False] * count
        for e, edge in enumerate(seams.edges):
            self.tail += [edge.start, edge.end]
            for point in (edge.start, edge.end):
                self.round[point] |= 1 << edge.right
                if edge.left is None:
                    outside[point] = True
                else:
                    self.round[point] |= 1 << edge.left
            if edge.left is not None and edge.left != edge.right:
                self.beside[edge.right].append((e, edge.left))
                self.beside[edge.left].append((e, edge.right))
                self.leaving[edge.start].append(2 * e)
                self.leaving[edge.end].append(2 * e + 1)
        self.inner = [not out for out in outside]
        # With the pieces round a point at the outside counts one that no unit has.
        for point, out in enumerate(outside):
            self.round[point] |= out << len(seams.sides)
        self.onward: list[tuple[Dart, ...]] = [()] * len(self.tail)
        """For each dart the darts into which it runs on without a bend, straightest first."""
        self.forced = [
            inner and bool(at) for inner, at in zip(self.inner, self.leaving, strict=True)
        ]
        for point, at in enumerate(self.leaving):
            if self.inner[point]:
                self._match_straight(point, at)
        self.middle = [_mean([seams.points[seams.start(s)] for s in own]) for own in seams.sides]
        self.curved = [isinstance(edge.segment, Curve) for edge in seams.edges]
        # What is asked again and again: where one dart does not run on straight into the next,
        # and which pieces the unit has that was asked about last.
        self._crooked: dict[tuple[Dart, Dart], bool] = {}
        self._last: tuple[PieceSet, set[int]] = (0, set())

    def head(self, dart: Dart) -> int:
        return self.tail[dart ^ 1]

    def segment(self, dart: Dart) -> Segment:
        segment = self.seams.edges[dart >> 1].segment
        return paths.reverse(segment) if dart & 1 else segment

    def _match_straight(self, point: int, leaving: Sequence[Dart]) -> None:
        """Find which seams run on into which at a point.

        Only those that leave in nearly the direction of arrival are compared; how
        nearly depends on the shortest edge (see ``seam_bends``).
        """
        segments = {d: self.segment(d) for d in leaving}
        ways = sorted((angle(paths.tangent(s, 0.0)), d) for d, s in segments.items())
        shortest = min(distance(s.start, s.end) for s in segments.values()) / 2
        reach = 180.0
        if shortest > TOLERANCE:
            reach = max(PIVOT, math.degrees(math.asin(TOLERANCE / shortest))) + 0.01
        round_ = [(a + k, d) for k in (-360.0, 0.0, 360.0) for a, d in ways]
        for back, segment in segments.items():
            arriving = paths.reverse(segment)
            way = angle(paths.tangent(arriving, 1.0))
            first = bisect.bisect_left(round_, (way - reach, -1))
            near = []
            for a, d in round_[first:]:
                if a > way + reach:
                    break
                if d != back and not seam_bends(arriving, segments[d]):
                    near.append((round(abs(a - way), 6), d))
            if near:
                self.onward[back ^ 1] = tuple(dict.fromkeys(d for _, d in sorted(near)))
                self.forced[point] = False

    def within(self, point: int, unit: PieceSet) -> bool:
        """Whether a point lies inside a unit, not on its outside."""
        around = self.round[point]
        return around & unit == around

    def needless(self, cut: Sequence[Dart]) -> int:
        """How many needless bends a cut has."""
        bends = sum(
            after not in self.onward[before] and not self.forced[self.tail[after]]
            for before, after in zip(cut, cut[1:], strict=False)
        )
        return bends + self.closing_bend(cut)

    def closing_bend(self, cut: Sequence[Dart]) -> int:
        """1 if a cut closes on itself with a bend."""
        if self.tail[cut[0]] != self.head(cut[-1]):
            return 0
        return int(seam_bends(self.segment(cut[-1]), self.segment(cut[0])))

    def plainness(self, cut: Sequence[Dart]) -> tuple[bool, int]:
        """(curved, crooked): straight cuts come first, then cuts straight but for points that were
        put together (see ``seam_bends``), then curves."""
        crooked = 0
        for pair in zip(cut, cut[1:], strict=False):
            known = self._crooked.get(pair)
            if known is None:
                one, other = (self.segment(d) for d in pair)
                turns = turn(paths.tangent(one, 1.0), paths.tangent(other, 0.0))
                known = self._crooked[pair] = abs(turns) > PIVOT
            crooked += known
        return any(self.curved[d >> 1] for d in cut), crooked

    def pieces(self, unit: PieceSet) -> set[int]:
        """The pieces of a unit, to be read only."""
        if self._last[0] != unit:
            self._last = unit, set(pieces_of(unit))
        return self._last[1]

    def first_darts(self, unit: PieceSet) -> list[Dart]:
        """The darts with which a cut of a unit can start."""
        pieces = self.pieces(unit)
        edges = {e for i in pieces for e, j in self.beside[i] if j in pieces}
        return [
            d
            for e in sorted(edges)
            for d in (2 * e, 2 * e + 1)
            if not self.within(self.tail[d], unit)
        ]

    def halves(
        self, unit: PieceSet, cut: Sequence[Dart]
    ) -> tuple[list[int], PieceSet, PieceSet] | None:
        """The pieces of the smaller half, that half and the other; None if a cut divides nothing.

        Both sides are walked in turns until one is done, in steps of the smaller half.
        """
        inside, beside = self.pieces(unit), self.beside
        closed = {d >> 1 for d in cut}
        edge = self.seams.edges[cut[0] >> 1]
        assert edge.left is not None
        found, others = {edge.right}, {edge.left}
        stack, waiting = [edge.right], [edge.left]
        while stack:
            for e, piece in beside[stack.pop()]:
                if piece in inside and piece not in found and e not in closed:
                    found.add(piece)
                    stack.append(piece)
            found, others, stack, waiting = others, found, waiting, stack
        if edge.left in found and edge.right in found:
            return None
        half = unit_of(found)
        return list(found), half, unit ^ half

    def cuts(
        self, unit: PieceSet, most: int, steps: list[int]
    ) -> Iterator[tuple[int, tuple[Dart, ...]]]:
        """All cuts of a unit with at most ``most`` needless bends, each with its number of them.

        ``steps[0]`` is counted down; the walk ends early when it reaches zero.
        """
        tail, round_, onward = self.tail, self.round, self.onward
        for first in self.first_darts(unit):
            path: list[Dart] = []
            passed: set[int] = set()
            stack = [(first, 0, 0)]
            while stack and steps[0] > 0:
                steps[0] -= 1
                dart, depth, bends = stack.pop()
                if depth < len(path):
                    passed.difference_update([tail[d ^ 1] for d in path[depth:]])
                    del path[depth:]
                path.append(dart)
                point = tail[dart ^ 1]
                if round_[point] & unit != round_[point]:  # at the unit's outside
                    if first < dart ^ 1:
                        bends += self.closing_bend(path)
                        if bends <= most:
                            yield bends, tuple(path)
                    continue
                passed.add(point)
                straight, forced = onward[dart], self.forced[point]
                for after in reversed(self.leaving[point]):
                    if after == dart ^ 1 or tail[after ^ 1] in passed:
                        continue
                    more = bends + (not forced and after not in straight)
                    if more <= most:
                        stack.append((after, depth + 1, more))

    def circles(self, unit: PieceSet) -> int:
        """A number of needless bends that a unit must have, because seams wait for each other.

        Where seam after seam ends in the middle of the next one, and the last on the first,
        one of the points along that circle has to be passed with a bend, as long as
        each has but one straight way through.  Circles that share no point count
        each for itself; the shortest are taken first.
        """
        inside = {self.tail[d] for i in pieces_of(unit) for d in self.darts[i]}
        straight: dict[int, list[Dart]] = {}
        for point in sorted(p for p in inside if self.within(p, unit)):
            ways = [d for d in self.leaving[point] if self.onward[d ^ 1]]
            if len(ways) == 2 and all(len(self.onward[d ^ 1]) == 1 for d in ways):
                straight[point] = ways
        # From a point along its straight way to where that ends, and the points passed.
        after: dict[int, list[tuple[int, frozenset[int]]]] = {}
        for point, ways in straight.items():
            after[point] = []
            for way in ways:
                passed, dart = {point}, way
                while (end := self.tail[dart ^ 1]) in straight and self.onward[dart]:
                    if end in passed:
                        break
                    passed.add(end)
                    dart = self.onward[dart][0]
                if end in straight and end not in passed:
                    after[point].append((end, frozenset(passed)))
        found: list[frozenset[int]] = []
        for point in straight:
            circle = self._shortest_circle(point, after)
            if circle is not None:
                found.append(circle)
        count, used = 0, set[int]()
        for circle in sorted(set(found), key=lambda points: (len(points), sorted(points))):
            if used.isdisjoint(circle):
                used |= circle
                count += 1
        return count

    @staticmethod
    def _shortest_circle(
        start: int, after: dict[int, list[tuple[int, frozenset[int]]]]
    ) -> frozenset[int] | None:
        """All points along the circle of fewest seams that comes back to a point."""
        row: list[tuple[int, frozenset[int]]] = [(start, frozenset())]
        seen: set[int] = set()
        for point, passed in row:
            for end, more in after[point]:
                if end == start:
                    return passed | more
                if end not in seen:
                    seen.add(end)
                    row.append((end, passed | more))
        return None

    def lines_from(self, unit: PieceSet, first: Dart) -> Iterator[tuple[Dart, ...]]:
        """The cuts without any bend that start with a dart."""
        stack = [[first]]
        while stack:
            path = stack.pop()
            passed = {self.tail[d ^ 1] for d in path}
            while True:
                point = self.tail[path[-1] ^ 1]
                if not self.within(point, unit):
                    if not self.closing_bend(path):
                        yield tuple(path)
                    break
                choices = [d for d in self.onward[path[-1]] if self.tail[d ^ 1] not in passed]
                if not choices:
                    break
                stack += [[*path, d] for d in choices[1:]]
                path.append(choices[0])
                passed.add(self.tail[choices[0] ^ 1])


def _mean(points: Sequence[Point]) -> Point:
    return (sum(p[0] for p in points) / len(points), sum(p[1] for p in points) / len(points))


def fewest_levels_of(pieces: int) -> int:
    """The levels below which so many pieces cannot be joined."""
    return (pieces - 1).bit_length()


# --- the plan ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Plan:
    """How a unit is divided, and what all joins in it come to.

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


_PIECE = _Plan(None, 0, 0, 0, 0)


@dataclass(frozen=True, slots=True)
class _Large:
    """A unit that is too large to be searched.

    Attributes:
        lines: its cuts without any bend.
        forced: how many forced points lie inside it.
        barren: the size at which cuts with bends were looked for in vain; it is not worth
            while to look again in a unit that is hardly smaller.
    """

    unit: PieceSet
    size: int
    lines: tuple[tuple[Dart, ...], ...]
    forced: int
    barren: float


@dataclass(frozen=True, slots=True)
class _Division:
    """A cut that was chosen in a large unit.

    Attributes:
        least: needless bends that the unit is proven to have.
        only: whether the unit has no other cut without bends, and no forced points.
    """

    cut: tuple[Dart, ...]
    halves: tuple[PieceSet, PieceSet]
    needless: int
    least: int
    only: bool


_T = TypeVar("_T")

_Asking: TypeAlias = Generator[tuple[PieceSet, int], _Plan, _T]
"""A search that asks for plans of smaller units, each with the levels that are few enough."""


class _Planner:
    def __init__(self, map_: _Map) -> None:
        self.map = map_
        self.steps = [0]
        self.known: dict[PieceSet, _Plan] = {}
        self.divisions: dict[PieceSet, _Division] = {}

    # large units: one cut after the other

    def divide(self, whole: PieceSet) -> None:
        """Divide the block, and its halves in turn, until every unit is small enough to search."""
        size = whole.bit_count()
        stack = [(self._seen_afresh(whole), fewest_levels_of(size))]
        while stack:
            large, enough = stack.pop()
            if large.size <= (SEARCHED if large.forced else SEARCHED_STRAIGHT):
                self.steps[0] += STEPS * large.size // size
                self.search(large.unit, enough)
                continue
            division, barren = self._choose(large)
            self.divisions[large.unit] = division
            stack += [(half, enough - 1) for half in self._both(large, division, barren)]

    def _seen_afresh(self, unit: PieceSet) -> _Large:
        map_ = self.map
        points = {map_.tail[d] for i in pieces_of(unit) for d in map_.darts[i]}
        forced = sum(map_.forced[p] and map_.within(p, unit) for p in points)
        lines = self._lines(unit, map_.first_darts(unit))
        return _Large(unit, unit.bit_count(), lines, forced, math.inf)

    def _both(self, large: _Large, division: _Division, barren: float) -> list[_Large]:
        map_ = self.map
        crossed = {map_.tail[d] for d in division.cut[1:]}
        lying = map_.halves(large.unit, division.cut)
        assert lying is not None
        pieces, small, rest = lying
        forced = 0
        if large.forced:
            points = {map_.tail[d] for i in pieces for d in map_.darts[i]}
            forced = sum(map_.forced[p] and map_.within(p, small) for p in points)
        others = large.forced - forced - sum(map_.forced[p] for p in crossed)
        kept = [c for c in large.lines if crossed.isdisjoint(map_.tail[d] for d in c[1:])]
        halves = []
        for half, size, within in (
            (small, len(pieces), forced),
            (rest, large.size - len(pieces), others),
        ):
            firsts = [d for p in sorted(crossed) for d in map_.leaving[p] if self._lies_in(half, d)]
            old = (c for c in kept if self._lies_in(half, c[0]))
            lines = (*old, *self._lines(half, firsts))
            halves.append(_Large(half, size, tuple(dict.fromkeys(lines)), within, barren))
        return halves

    def _lies_in(self, unit: PieceSet, dart: Dart) -> bool:
        edge = self.map.seams.edges[dart >> 1]
        return (
            bool(unit >> edge.right & 1) and edge.left is not None and bool(unit >> edge.left & 1)
        )

    def _lines(self, unit: PieceSet, firsts: Iterable[Dart]) -> tuple[tuple[Dart, ...], ...]:
        """The cuts without bends that start with certain darts, each in one direction."""
        lines: dict[tuple[Dart, ...], None] = {}
        for first in firsts:
            for line in self.map.lines_from(unit, first):
                back = tuple(d ^ 1 for d in reversed(line))
                lines[min(line, back)] = None
        return tuple(lines)

    def _choose(self, large: _Large) -> tuple[_Division, float]:
        """A cut for a large unit, and the size at which cuts with bends were last looked for."""
        unit, barren = large.unit, large.barren
        choices = [(0, cut) for cut in self._near_the_middle(large)]
        least = 0
        if large.forced and large.size <= 0.75 * barren:
            bent = list(self._sweeps(unit))
            if all(bends for bends, _ in bent):
                bent += self._easiest(unit)
            free = [(bends, cut) for bends, cut in bent if not bends]
            if not free:
                barren = large.size
            choices += free
        if not choices:
            steps = [STEPS // 4]
            choices = list(itertools.islice(self.map.cuts(unit, 0, steps), 4 * TRIED))
            if not choices and steps[0] > 0:
                least = max(1, self.map.circles(unit))
        best = self._most_even(large, choices, least)
        if best is None:
            choices = [*self._sweeps(unit), *self._easiest(unit)]
            best = self._most_even(large, choices, least)
        if best is None:
            best = self._most_even(large, self._single_pieces(unit), least)
        if best is None:
            message = "no order of sewing was found for this block; give its joins"
            raise BlockError([Fault("/block", "no-order", message)])
        return best, barren

    def _most_even(
        self, large: _Large, choices: Iterable[tuple[int, tuple[Dart, ...]]], least: int
    ) -> _Division | None:
        """The division with the fewest needless bends; then the one nearest to halving the unit."""
        best: tuple[tuple[int, int, tuple[bool, int], int], _Division] | None = None
        for bends, cut in choices:
            lying = self.map.halves(large.unit, cut)
            if lying is None:
                continue
            pieces, small, rest = lying
            larger = large.size - len(pieces)
            rank = (bends, fewest_levels_of(larger), self.map.plainness(cut), larger)
            if best is None or rank < best[0]:
                only = not large.forced and len(large.lines) == 1
                best = rank, _Division(cut, (small, rest), bends, least, only)
        return best and best[1]

    def _near_the_middle(self, large: _Large) -> list[tuple[Dart, ...]]:
        if len(large.lines) <= TRIED:
            return list(large.lines)
        map_ = self.map
        middle = _mean([map_.middle[i] for i in pieces_of(large.unit)])

        def rank(cut: tuple[Dart, ...]) -> tuple[tuple[bool, int], float]:
            centre = paths.point_at(map_.segment(cut[len(cut) // 2]), 0.5)
            return map_.plainness(cut), round(distance(centre, middle), 6)

        return sorted(large.lines, key=rank)[:TRIED]

    def _sweeps(self, unit: PieceSet) -> Iterator[tuple[int, tuple[Dart, ...]]]:
        """Cuts that part the unit near its middle, across several directions."""
        pieces = list(pieces_of(unit))
        for degrees in (0.0, 90.0, 45.0, 135.0, 20.0, 110.0, 65.0, 155.0):
            x, y = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
            where = {
                i: round(self.map.middle[i][0] * x + self.map.middle[i][1] * y, 6) for i in pieces
            }
            row = sorted(pieces, key=lambda i: (where[i], i))
            first = max(self._parts(unit_of(row[: len(row) // 2])), key=len)
            rest = max(self._parts(unit ^ unit_of(first)), key=len)
            part = unit_of(rest)
            cut = self._cut_round(unit, part, rest)
            if cut is not None:
                yield self.map.needless(cut), cut

    def _parts(self, unit: PieceSet) -> list[list[int]]:
        """The parts of a set of pieces that hang together."""
        left = set(pieces_of(unit))
        parts = []
        while left:
            part = [left.pop()]
            for piece in part:
                for _, other in self.map.beside[piece]:
                    if other in left:
                        left.discard(other)
                        part.append(other)
            parts.append(part)
        return parts

    def _cut_round(
        self, unit: PieceSet, part: PieceSet, pieces: Iterable[int]
    ) -> tuple[Dart, ...] | None:
        """The cut between a part of a unit and the rest, if it is one connected line."""
        edges: list[int] = []
        for i in pieces:
            edges += [e for e, j in self.map.beside[i] if unit >> j & 1 and not part >> j & 1]
        try:
            seam = seam_along(self.map.seams, edges)
        except BrokenSeam:
            return None
        cut = tuple(2 * s.edge + (not s.forward) for s in seam.sides)
        outer = [k for k, d in enumerate(cut) if not self.map.within(self.map.tail[d], unit)]
        if len(outer) != 1:
            return None
        return cut[outer[0] :] + cut[: outer[0]]

    def _easiest(self, unit: PieceSet) -> Iterator[tuple[int, tuple[Dart, ...]]]:
        """From some points of the outside, cuts with the fewest needless bends to all others."""
        map_ = self.map
        firsts = self.map.first_darts(unit)
        for first in firsts[:: max(1, len(firsts) // TRIED)]:
            bends = {first: 0}
            before: dict[Dart, Dart] = {}
            ends: list[Dart] = []
            queue = deque([first])
            done: set[Dart] = set()
            while queue:
                dart = queue.popleft()
                if dart in done:
                    continue
                done.add(dart)
                point = map_.tail[dart ^ 1]
                if not map_.within(point, unit):
                    ends.append(dart)
                    continue
                for after in map_.leaving[point]:
                    if after == dart ^ 1:
                        continue
                    bend = not map_.forced[point] and after not in map_.onward[dart]
                    if bends[dart] + bend < bends.get(after, len(map_.tail)):
                        bends[after] = bends[dart] + bend
                        before[after] = dart
                        (queue.append if bend else queue.appendleft)(after)
            start = map_.seams.points[map_.tail[first]]

            def rank(end: Dart) -> tuple[int, float, int]:
                far = distance(start, map_.seams.points[map_.tail[end ^ 1]])  # noqa: B023
                return bends[end], -round(far, 6), end  # noqa: B023

            for end in sorted(ends, key=rank)[:TRIED]:
                cut = [end]
                while cut[-1] != first:
                    cut.append(before[cut[-1]])
                points = [map_.tail[d] for d in cut] + [map_.tail[end ^ 1]]
                if len(set(points)) == len(points):
                    cut.reverse()
                    yield bends[end], tuple(cut)

    def _single_pieces(self, unit: PieceSet) -> Iterator[tuple[int, tuple[Dart, ...]]]:
        """Cuts that take one piece off."""
        for i in pieces_of(unit):
            cut = self._cut_round(unit, 1 << i, [i])
            if cut is not None and self.map.halves(unit, cut) is not None:
                yield self.map.needless(cut), cut

    # small units: all cuts

    def search(self, unit: PieceSet, enough: int) -> _Plan:
        """The best plan of a unit: the fewest needless bends, then the fewest levels.

        Searches that wait for the plan of a half stand on a stack of our own: the chain of a
        log cabin nests deeper than Python's calls may.

        Args:
            enough: so few levels need not be made fewer.
        """
        stack = [self._search(unit, enough)]
        plan: _Plan | None = None
        while stack:
            try:
                wanted = stack[-1].send(plan)  # type: ignore[arg-type] # the first one takes None
            except StopIteration as done:
                plan = done.value
                stack.pop()
            else:
                plan = None
                stack.append(self._search(*wanted))
        assert plan is not None
        return plan

    def _search(self, unit: PieceSet, enough: int) -> _Asking[_Plan]:
        size = unit.bit_count()
        if size == 1:
            return _PIECE
        enough = max(enough, fewest_levels_of(size))
        known = self.known.get(unit)
        if known is not None and (
            known.levels <= enough or known.levels == known.least_levels or self.steps[0] <= 0
        ):
            return known
        best = None
        if self.steps[0] > 0:
            best = yield from self._searched(unit, enough)
        if best is None:
            division, _ = self._choose(self._seen_afresh(unit))
            one = yield division.halves[0], enough - 1
            other = yield division.halves[1], enough - 1
            best = _sum(division, one, other, size)
        self.known[unit] = best
        return best

    def _searched(self, unit: PieceSet, enough: int) -> _Asking[_Plan | None]:
        """The best plan, or the best that was found when the steps ran out."""
        cuts: list[tuple[int, tuple[Dart, ...]]] = []
        least = -1
        # A map of n pieces has fewer than 2 n points where seams meet, so no cut bends more often.
        while not cuts and self.steps[0] > 0 and least < 2 * unit.bit_count():
            least += 1
            cuts = list(self.map.cuts(unit, least, self.steps))
        if self.steps[0] <= 0:
            return None
        best = yield from self._best_of(unit, cuts, None, least, enough)
        if best is not None and best.needless > least and self.steps[0] > 0:
            more = [c for c in self.map.cuts(unit, best.needless, self.steps) if c[0] > least]
            best = yield from self._best_of(unit, more, best, least, enough)
        if best is None or self.steps[0] <= 0:
            return best
        # Everything was looked at: it is the best, or has few enough levels.
        few = best.levels if best.levels > enough else best.least_levels
        return _Plan(best.halves, best.needless, best.levels, best.needless, few)

    def _best_of(
        self,
        unit: PieceSet,
        cuts: Iterable[tuple[int, tuple[Dart, ...]]],
        best: _Plan | None,
        least: int,
        enough: int,
    ) -> _Asking[_Plan | None]:
        """The best plan that starts with one of the cuts, or the one at hand if it is as good."""
        size = unit.bit_count()
        lowest = fewest_levels_of(size)
        choices = []
        for bends, cut in cuts:
            lying = self.map.halves(unit, cut)
            if lying is not None:
                pieces, small, rest = lying
                larger = size - len(pieces)
                choices.append((bends, self.map.plainness(cut), larger, cut, small, rest))
        for bends, _, larger, _, small, rest in sorted(choices):
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
                best = _Plan((small, rest), value[0], value[1], low, lowest)
                if value[0] == least and value[1] <= enough:
                    break
            if self.steps[0] <= 0:
                break
        return best

    # all together

    def gather(self, whole: PieceSet, ids: Sequence[str]) -> tuple[Joins, _Plan]:
        """The plan as nested pairs of piece ids, and what it comes to."""
        made: list[tuple[Joins, _Plan]] = []
        stack: list[tuple[PieceSet, bool]] = [(whole, False)]
        while stack:
            unit, ready = stack.pop()
            division = self.divisions.get(unit)
            if unit & (unit - 1) == 0:
                made.append((ids[unit.bit_length() - 1], _PIECE))
            elif not ready:
                halves = division.halves if division is not None else self.known[unit].halves
                assert halves is not None
                first, second = sorted(halves, key=lambda half: half & -half)
                stack += [(unit, True), (second, False), (first, False)]
            else:
                (second_joins, other), (first_joins, one) = made.pop(), made.pop()
                plan = self.known.get(unit) if division is None else None
                if plan is None:
                    assert division is not None
                    plan = _sum(division, one, other, unit.bit_count())
                made.append(((first_joins, second_joins), plan))
        return made[-1]


def _sum(division: _Division, one: _Plan, other: _Plan, size: int) -> _Plan:
    needless = division.needless + one.needless + other.needless
    lowest = fewest_levels_of(size)
    if division.only and needless == 0:
        lowest = max(lowest, 1 + max(one.least_levels, other.least_levels))
    return _Plan(
        division.halves,
        needless,
        1 + max(one.levels, other.levels),
        max(division.least, one.least_needless + other.least_needless),
        lowest,
    )
