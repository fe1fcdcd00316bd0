"""The seams of a block as a graph along which its units can be cut in two.

The block is a planar subdivision: points, edges, and the pieces as faces (``block.seams``).  Here
each edge between two pieces becomes two half-edges, twins of each other, as in a doubly connected
edge list (D. E. Muller and F. P. Preparata, Theoretical Computer Science 7, 1978); the faces'
neighbours are kept besides, as the dual graph.

A *cut* of a unit is a path of half-edges from its outside to its outside that meets its
outside nowhere else and no point twice.  It divides the unit into two halves: the units that are
joined along it when the block is sewn.

Pivots, point by point
    A point inside the block, where seams meet, is passed by exactly one cut, the first
    that reaches it: afterwards it lies on the outside of both halves, and every later
    cut can only end there.  So the pivots of an order of sewing are the points that are passed
    with a bend.  A point at which no two seams run straight on into each other costs
    a pivot in every order (it is *forced*); at any other point a bend is *needless*.
    The fewest pivots are the forced points plus as few needless bends as can be.  (A
    cut that starts and ends at one and the same point closes on itself and may
    have a bend there too, which counts as needless.)

A needless bend may be saved by a partial seam (``block.joins``): the cut then ends in an *opening*,
a straight stretch from its end to its first bend, and an earlier seam that ends there has to run
straight on into the stretch.

A cut without needless bends is *free* (``sewing.order_search`` proves that it costs nothing); one
without any bend, at forced points either, is *unbent*.
"""

from __future__ import annotations

import bisect
import itertools
import math
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from piecewright.patchwork.block.joins import BrokenSeam, seam_along, seam_bends
from piecewright.patchwork.block.seams import PIVOT, Seams
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Segment
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point, angle, distance, turn
from piecewright.patchwork.sewing.bitset import PieceSet, piece_set, pieces_of

HalfEdge: TypeAlias = int
"""An edge in one direction of travel: ``2 * edge`` along it, ``2 * edge + 1`` against it.

So the edge of a half-edge ``h`` is ``h >> 1``, and its twin, the same edge travelled the other
way, is ``h ^ 1``."""

Cut: TypeAlias = tuple[HalfEdge, ...]

SWEEPS = (0.0, 90.0, 45.0, 135.0, 20.0, 110.0, 65.0, 155.0)
"""Degrees; directions in which ``halving_cuts`` sweeps across a unit: the two along which most
blocks are laid out, their diagonals, and two between for those that are laid out otherwise."""


@dataclass(frozen=True, slots=True)
class Opening:
    """How a cut may finish an earlier seam, and so save its first bend from one end.

    Attributes:
        stretch: from that end of the cut to the bend.
        rest: from there to its other end.
        earlier: the half-edge that leaves the bend along the earlier seam.
    """

    stretch: Cut
    rest: Cut
    earlier: HalfEdge


@dataclass(slots=True)
class Steps:
    """How many more half-edges walks may look at together; they end when none is left."""

    left: int


class CutGraph:
    """The half-edges of a block, and what it costs to pass each point.

    Attributes:
        origin: the point from which each half-edge leaves.
        half_edges: for each piece those of its sides, clockwise.
        neighbours: the dual graph: for each piece (edge, piece beyond it) of its inner edges.
        leaving: for each point the half-edges that leave it, edges at the outside left out.
        around: for each point the pieces round it, and one more that no unit has if the point
            lies at the block's outside.
        onward: for each half-edge those into which it runs on without a bend, straightest first.
        forced: for each point whether every cut that passes it bends there.
        middle: for each piece the mean of its corners.
        thousandths: how long each edge is, in whole thousandths of an inch.
    """

    def __init__(self, seams: Seams) -> None:
        self.seams = seams
        count = len(seams.points)
        self.origin: list[int] = []
        self.half_edges = [[2 * s.edge + (not s.forward) for s in own] for own in seams.sides]
        self.neighbours: list[list[tuple[int, int]]] = [[] for _ in seams.sides]
        self.leaving: list[list[HalfEdge]] = [[] for _ in range(count)]
        self.around: list[PieceSet] = [0] * count
        outside = [False] * count
        for e, edge in enumerate(seams.edges):
            self.origin += [edge.start, edge.end]
            for point in (edge.start, edge.end):
                self.around[point] |= 1 << edge.right
                if edge.left is None:
                    outside[point] = True
                else:
                    self.around[point] |= 1 << edge.left
            # An edge with one piece on both sides cannot be sewn, so no cut may follow it.
            if edge.left is not None and edge.left != edge.right:
                self.neighbours[edge.right].append((e, edge.left))
                self.neighbours[edge.left].append((e, edge.right))
                self.leaving[edge.start].append(2 * e)
                self.leaving[edge.end].append(2 * e + 1)
        # The piece that no unit has: ``within`` need not ask about the outside apart.
        for point, out in enumerate(outside):
            self.around[point] |= out << len(seams.sides)
        self.onward: list[Cut] = [()] * len(self.origin)
        self.forced = [not out and bool(at) for out, at in zip(outside, self.leaving, strict=True)]
        for point, at in enumerate(self.leaving):
            if not outside[point]:
                self._match_straight(point, at)
        self.middle = [mean([seams.points[seams.start(s)] for s in own]) for own in seams.sides]
        self.thousandths = [round(1000 * paths.run_length((edge.segment,))) for edge in seams.edges]
        self._curved = [isinstance(edge.segment, Curve) for edge in seams.edges]
        # What is asked again and again: where one half-edge does not run on straight into the
        # next, and which pieces the unit has that was asked about last.
        self._crooked: dict[tuple[HalfEdge, HalfEdge], bool] = {}
        self._last: tuple[PieceSet, set[int]] = (0, set())

    def target(self, half_edge: HalfEdge) -> int:
        """The point at which a half-edge arrives."""
        return self.origin[half_edge ^ 1]

    def segment(self, half_edge: HalfEdge) -> Segment:
        """The edge as it is travelled."""
        segment = self.seams.edges[half_edge >> 1].segment
        return paths.reverse(segment) if half_edge & 1 else segment

    def _match_straight(self, point: int, leaving: Sequence[HalfEdge]) -> None:
        """Find which seams run on into which at a point.

        At the hub of a wheel hundreds of seams meet, so only those are compared that leave in
        nearly the direction of arrival.
        """
        segments = {h: self.segment(h) for h in leaving}
        ways = sorted((angle(paths.tangent(s, 0.0)), h) for h, s in segments.items())
        # A seam that turns by t between edges of lengths a and b runs on if it lies aside by
        # sin t * a * b / (a + b) <= TOLERANCE (``seam_bends``), and a * b / (a + b) is at least
        # half of the shortest edge: that bounds t.
        shortest = min(distance(s.start, s.end) for s in segments.values()) / 2
        reach = 180.0
        if shortest > TOLERANCE:
            # A hundredth of a degree more, for the rounding of angles; ``seam_bends`` decides.
            reach = max(PIVOT, math.degrees(math.asin(TOLERANCE / shortest))) + 0.01
        # Three times round, so that a window about any direction is one slice of the list.
        circle = [(a + k, h) for k in (-360.0, 0.0, 360.0) for a, h in ways]
        for back, segment in segments.items():
            arriving = paths.reverse(segment)
            way = angle(paths.tangent(arriving, 1.0))
            first = bisect.bisect_left(circle, (way - reach, -1))
            near = []
            for a, h in circle[first:]:
                if a > way + reach:
                    break
                if h != back and not seam_bends(arriving, segments[h]):
                    # Rounded: which of two is straighter must not hang on the last digits.
                    near.append((round(abs(a - way), 6), h))
            if near:
                self.onward[back ^ 1] = tuple(dict.fromkeys(h for _, h in sorted(near)))
                self.forced[point] = False

    def within(self, point: int, unit: PieceSet) -> bool:
        """Whether a point lies inside a unit, not on its outside."""
        around = self.around[point]
        return around & unit == around

    def lies_in(self, unit: PieceSet, half_edge: HalfEdge) -> bool:
        """Whether both pieces along a half-edge are in a unit."""
        edge = self.seams.edges[half_edge >> 1]
        return (
            bool(unit >> edge.right & 1) and edge.left is not None and bool(unit >> edge.left & 1)
        )

    def forced_within(self, unit: PieceSet, pieces: Iterable[int]) -> int:
        """How many forced points lie inside a unit, of the corners of some of its pieces."""
        points = {self.origin[h] for i in pieces for h in self.half_edges[i]}
        return sum(self.forced[p] and self.within(p, unit) for p in points)

    # --- what a cut costs, and what it divides ---

    def needless_bends(self, cut: Sequence[HalfEdge]) -> int:
        """How many needless bends a cut has."""
        bends = sum(
            after not in self.onward[before] and not self.forced[self.origin[after]]
            for before, after in zip(cut, cut[1:], strict=False)
        )
        return bends + self._closing_bend(cut)

    def _closing_bend(self, cut: Sequence[HalfEdge]) -> int:
        """1 if a cut closes on itself with a bend."""
        if self.origin[cut[0]] != self.target(cut[-1]):
            return 0
        return int(seam_bends(self.segment(cut[-1]), self.segment(cut[0])))

    def has_pivot(self, cut: Cut) -> bool:
        """Whether a cut bends anywhere, at forced points too."""
        bends = any(after not in self.onward[before] for before, after in itertools.pairwise(cut))
        return bends or bool(self._closing_bend(cut))

    def is_straight(self, cut: Cut) -> bool:
        """Whether a cut is one straight line, which does not close on itself."""
        closes = self.origin[cut[0]] == self.target(cut[-1])
        return not closes and not self.has_pivot(cut) and not any(self._curved[h >> 1] for h in cut)

    def openings(self, cut: Cut) -> Iterator[Opening]:
        """How a cut with needless bends may finish an earlier seam, at one of its ends."""
        if self.origin[cut[0]] == self.target(cut[-1]):
            return
        for path in (cut, tuple(h ^ 1 for h in reversed(cut))):
            for k, (before, after) in enumerate(itertools.pairwise(path), 1):
                if after in self.onward[before]:
                    continue
                stretch, ways = path[:k], self.onward[before]
                lines = (*stretch, *ways[:1])
                if ways and not any(self._curved[h >> 1] for h in lines):
                    yield Opening(stretch, path[k:], ways[0])
                break

    def plainness(self, cut: Sequence[HalfEdge]) -> tuple[bool, int]:
        """(curved, crooked): straight cuts come first, then cuts straight but for points that were
        put together (see ``seam_bends``), then curves."""
        crooked = 0
        for pair in zip(cut, cut[1:], strict=False):
            known = self._crooked.get(pair)
            if known is None:
                one, other = (self.segment(h) for h in pair)
                turns = turn(paths.tangent(one, 1.0), paths.tangent(other, 0.0))
                known = self._crooked[pair] = abs(turns) > PIVOT
            crooked += known
        return any(self._curved[h >> 1] for h in cut), crooked

    def halves(self, unit: PieceSet, cut: Cut) -> tuple[list[int], PieceSet, PieceSet] | None:
        """The pieces of the smaller half, that half and the other; None if a cut divides nothing.

        Both sides are walked in turns until one is done, in steps of the smaller half.
        """
        inside, neighbours = self._pieces(unit), self.neighbours
        closed = {h >> 1 for h in cut}
        edge = self.seams.edges[cut[0] >> 1]
        assert edge.left is not None
        found, others = {edge.right}, {edge.left}
        stack, waiting = [edge.right], [edge.left]
        while stack:
            for e, piece in neighbours[stack.pop()]:
                if piece in inside and piece not in found and e not in closed:
                    found.add(piece)
                    stack.append(piece)
            found, others, stack, waiting = others, found, waiting, stack
        # One walk came round to where the other one started: the halves hang together.
        if edge.left in found and edge.right in found:
            return None
        half = piece_set(found)
        return list(found), half, unit ^ half

    def _pieces(self, unit: PieceSet) -> set[int]:
        """The pieces of a unit, to be read only."""
        if self._last[0] != unit:
            self._last = unit, set(pieces_of(unit))
        return self._last[1]

    # --- all cuts of a kind ---

    def first_half_edges(self, unit: PieceSet) -> list[HalfEdge]:
        """The half-edges with which a cut of a unit can start."""
        pieces = self._pieces(unit)
        edges = {e for i in pieces for e, j in self.neighbours[i] if j in pieces}
        return [
            h
            for e in sorted(edges)
            for h in (2 * e, 2 * e + 1)
            if not self.within(self.origin[h], unit)
        ]

    def cuts(self, unit: PieceSet, most: int, steps: Steps) -> Iterator[tuple[int, Cut]]:
        """All cuts of a unit with at most ``most`` needless bends, each with its number of them.

        The walk takes a step for each half-edge, and ends early when none is left.
        """
        origin, around, onward = self.origin, self.around, self.onward
        for first in self.first_half_edges(unit):
            # Depth first.  The stack holds half-edges to go on with, how many half-edges lie
            # before each, and the needless bends up to it; ``path`` is cut back to that depth.
            path: list[HalfEdge] = []
            passed: set[int] = set()
            stack = [(first, 0, 0)]
            while stack and steps.left > 0:
                steps.left -= 1
                half_edge, depth, bends = stack.pop()
                if depth < len(path):
                    passed.difference_update([origin[h ^ 1] for h in path[depth:]])
                    del path[depth:]
                path.append(half_edge)
                point = origin[half_edge ^ 1]
                # ``within``, without the call: this loop takes most of the time of a search.
                if around[point] & unit != around[point]:
                    # Walked from its other end, the cut begins with the twin of its last
                    # half-edge: the smaller of both beginnings gives each cut once.
                    if first < half_edge ^ 1:
                        bends += self._closing_bend(path)
                        if bends <= most:
                            yield bends, tuple(path)
                    continue
                passed.add(point)
                straight, forced = onward[half_edge], self.forced[point]
                for after in reversed(self.leaving[point]):
                    if after == half_edge ^ 1 or origin[after ^ 1] in passed:
                        continue
                    more = bends + (not forced and after not in straight)
                    if more <= most:
                        stack.append((after, depth + 1, more))

    def unbent_cuts(self, unit: PieceSet, firsts: Iterable[HalfEdge]) -> tuple[Cut, ...]:
        """The cuts without any bend that start with certain half-edges, in one direction each."""
        found: dict[Cut, None] = {}
        for first in firsts:
            for cut in self._unbent_from(unit, first):
                back = tuple(h ^ 1 for h in reversed(cut))
                found[min(cut, back)] = None
        return tuple(found)

    def _unbent_from(self, unit: PieceSet, first: HalfEdge) -> Iterator[Cut]:
        # A path is followed to its end; where it may go on in several ways, the others wait.
        stack = [[first]]
        while stack:
            path = stack.pop()
            passed = {self.origin[h ^ 1] for h in path}
            while True:
                point = self.origin[path[-1] ^ 1]
                if not self.within(point, unit):
                    if not self._closing_bend(path):
                        yield tuple(path)
                    break
                ways = [h for h in self.onward[path[-1]] if self.origin[h ^ 1] not in passed]
                if not ways:
                    break
                stack += [[*path, h] for h in ways[1:]]
                path.append(ways[0])
                passed.add(self.origin[ways[0] ^ 1])

    # --- some cuts, where there are too many to look at all ---

    def halving_cuts(self, unit: PieceSet) -> Iterator[tuple[int, Cut]]:
        """Cuts that divide the unit near its middle, across several directions.

        Each comes with its number of needless bends.
        """
        pieces = list(pieces_of(unit))
        for degrees in SWEEPS:
            x, y = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
            # Rounded, so that pieces in one row are in the order of their numbers everywhere.
            along = {i: round(self.middle[i][0] * x + self.middle[i][1] * y, 6) for i in pieces}
            row = sorted(pieces, key=lambda i: (along[i], i))
            # Half a row of pieces may fall apart, and so may what is left beside its largest
            # part.  The largest part of what is left is connected, and so is all else, as
            # each of its parts touches ``first``: one line divides them.
            first = max(self._parts(piece_set(row[: len(row) // 2])), key=len)
            rest = max(self._parts(unit ^ piece_set(first)), key=len)
            cut = self._cut_round(unit, piece_set(rest), rest)
            if cut is not None:
                yield self.needless_bends(cut), cut

    def _parts(self, pieces: PieceSet) -> list[list[int]]:
        """The connected parts of a set of pieces."""
        left = set(pieces_of(pieces))
        parts = []
        while left:
            part = [left.pop()]
            for piece in part:
                for _, other in self.neighbours[piece]:
                    if other in left:
                        left.discard(other)
                        part.append(other)
            parts.append(part)
        return parts

    def _cut_round(self, unit: PieceSet, part: PieceSet, pieces: Iterable[int]) -> Cut | None:
        """The cut between a part of a unit and the rest; None if it is no single cut."""
        edges: list[int] = []
        for i in pieces:
            edges += [e for e, j in self.neighbours[i] if unit >> j & 1 and not part >> j & 1]
        try:
            seam = seam_along(self.seams, edges)
        except BrokenSeam:
            return None
        cut = tuple(2 * s.edge + (not s.forward) for s in seam.sides)
        # A cut leaves the unit's outside once, at its beginning.  A seam that closes on itself
        # may begin anywhere; it is turned round to begin there.
        outer = [k for k, h in enumerate(cut) if not self.within(self.origin[h], unit)]
        if len(outer) != 1:
            return None
        return cut[outer[0] :] + cut[: outer[0]]

    def least_bent_cuts(self, unit: PieceSet, most: int) -> Iterator[tuple[int, Cut]]:
        """From some points of the outside, cuts with the fewest needless bends to others.

        Each comes with its number of needless bends.

        Args:
            most: from about so many half-edges cuts are looked for, and so many from each.
        """
        firsts = self.first_half_edges(unit)
        for first in firsts[:: max(1, len(firsts) // most)]:
            # Shortest paths where each step costs 0 or 1 bend: breadth first with a double-ended
            # queue, steps without a bend going to its front.
            bends = {first: 0}
            before: dict[HalfEdge, HalfEdge] = {}
            ends: list[HalfEdge] = []
            queue = deque([first])
            done: set[HalfEdge] = set()
            while queue:
                half_edge = queue.popleft()
                if half_edge in done:
                    continue
                done.add(half_edge)
                point = self.origin[half_edge ^ 1]
                if not self.within(point, unit):
                    ends.append(half_edge)
                    continue
                for after in self.leaving[point]:
                    if after == half_edge ^ 1:
                        continue
                    bend = not self.forced[point] and after not in self.onward[half_edge]
                    # No path has as many bends as there are half-edges.
                    if bends[half_edge] + bend < bends.get(after, len(self.origin)):
                        bends[after] = bends[half_edge] + bend
                        before[after] = half_edge
                        (queue.append if bend else queue.appendleft)(after)
            start = self.seams.points[self.origin[first]]

            def rank(end: HalfEdge) -> tuple[int, float, int]:
                # Of as many bends, the farther end: it is the likelier to halve the unit.
                far = distance(start, self.seams.points[self.origin[end ^ 1]])  # noqa: B023
                return bends[end], -round(far, 6), end  # noqa: B023

            for end in sorted(ends, key=rank)[:most]:
                path = [end]
                while path[-1] != first:
                    path.append(before[path[-1]])
                # Half-edges were passed once, but points may have been passed twice.
                points = [self.origin[h] for h in path] + [self.origin[end ^ 1]]
                if len(set(points)) == len(points):
                    path.reverse()
                    yield bends[end], tuple(path)

    def single_piece_cuts(self, unit: PieceSet) -> Iterator[tuple[int, Cut]]:
        """Cuts that take one piece off, each with its number of needless bends."""
        for i in pieces_of(unit):
            cut = self._cut_round(unit, 1 << i, [i])
            if cut is not None and self.halves(unit, cut) is not None:
                yield self.needless_bends(cut), cut


def mean(points: Sequence[Point]) -> Point:
    """The mean of some points."""
    return (sum(p[0] for p in points) / len(points), sum(p[1] for p in points) / len(points))
