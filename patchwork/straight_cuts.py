"""Straight lines that cut a unit of a block in two, from outside to outside.

To sew a unit to another along a straight seam is, read backward, to cut the two apart.
What can be sewn with straight seams alone is therefore found by cutting.

A unit is a set of pieces, held in bits (see ``patchwork.unit_bits``).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from patchwork import paths
from patchwork.joins import seam_bends
from patchwork.paths import Line, Segment
from patchwork.points import TOLERANCE, Point, cross, minus, turn, unit
from patchwork.polygons import ring_polygon
from patchwork.seams import Seams
from patchwork.unit_bits import pieces_of

STRAIGHT = 1 / 2000
"""Of the block's longer side: how far a piece may reach over a line and still lie beside it.

It is never less than ``TOLERANCE``. Points that were put together on the drawing may be off
their line by that much, and a larger finished size enlarges it.
"""


@dataclass(frozen=True, slots=True)
class Cut:
    """A straight cut through a unit.

    Attributes:
        first, second: the two units that it leaves; the first has the line on its right.
        bridges: how many sections can lie across the line at most (see ``patchwork.sections``).
        clean: each of the two lies wholly on its own side of the line.
        level: the line runs more across the block than down.
    """

    first: int
    second: int
    bridges: int
    clean: bool
    level: bool


@dataclass(frozen=True, slots=True)
class _Line:
    """Straight edges in a row, each going on from the one before it.

    Attributes:
        points: one more than there are edges.
        left, right: for each edge the bit of the piece on either side of the way along it.
    """

    edges: tuple[int, ...]
    points: tuple[int, ...]
    left: tuple[int, ...]
    right: tuple[int, ...]


class StraightCuts:
    """The straight cuts through any unit of a block."""

    def __init__(self, seams: Seams) -> None:
        self.seams = seams
        self.count = len(seams.sides)
        self.whole = (1 << self.count) - 1
        self.rings = [paths.ring([seams.segment(s) for s in sides]) for sides in seams.sides]
        xs = [p[0] for ring in self.rings for p in ring]
        ys = [p[1] for ring in self.rings for p in ring]
        size = max(max(xs) - min(xs), max(ys) - min(ys))
        self.off_line = max(TOLERANCE, STRAIGHT * size)
        self._corners = np.array([p for ring in self.rings for p in ring])
        self._firsts = np.cumsum([0, *(len(ring) for ring in self.rings[:-1])])
        self._around = [0] * len(seams.points)
        self._at_outside = [False] * len(seams.points)
        for edge in seams.edges:
            for point in (edge.start, edge.end):
                self._around[point] |= 1 << edge.right
                if edge.left is None:
                    self._at_outside[point] = True
                else:
                    self._around[point] |= 1 << edge.left
        self._lines = list(_straight_lines(seams))
        # For each piece the edges that have it on the right: (line, place on it, the other's bit).
        self._beside: list[list[tuple[int, int, int]]] = [[] for _ in range(self.count)]
        # For each piece those beside it: (number, bit, edge between them).
        self._neighbours: list[list[tuple[int, int, int]]] = [[] for _ in range(self.count)]
        for n, straight in enumerate(self._lines):
            for k, (left, right) in enumerate(zip(straight.left, straight.right, strict=True)):
                self._beside[right.bit_length() - 1].append((n, k, left))
        for e, edge in enumerate(seams.edges):
            if edge.left is not None:
                self._neighbours[edge.right].append((edge.left, 1 << edge.left, e))
                self._neighbours[edge.left].append((edge.right, 1 << edge.right, e))
        self._true = [self._is_true(line) for line in self._lines]
        self._sides: dict[tuple[int, int, int], tuple[int, int]] = {}
        block = shapely.union_all([ring_polygon(ring) for ring in self.rings])
        # In a convex block every unit is convex: what lies beyond a line hangs together.
        self._convex = bool(block.buffer(self.off_line).covers(block.convex_hull))

    def through(self, unit: int) -> list[Cut]:
        """All straight cuts through a unit, in a fixed order."""
        on: dict[int, list[int]] = {}
        for piece in pieces_of(unit):
            for n, k, other in self._beside[piece]:
                if other & unit:
                    on.setdefault(n, []).append(k)
        cuts = []
        for n in sorted(on):
            line = self._lines[n]
            for first, last in self._runs(line, sorted(on[n]), unit):
                cut = self._cut(n, first, last, unit)
                if cut is not None:
                    cuts.append(cut)
        return cuts

    def beside(self, piece: int) -> int:
        """The pieces that share an edge with a piece, as a unit."""
        return sum({bit for _, bit, _ in self._neighbours[piece]})

    def beyond(self, start: Point, end: Point, piece: int) -> tuple[float, float]:
        """How far (inches) a piece reaches over the line, to its left and to its right."""
        along = unit(minus(end, start))
        off = [cross(along, minus(p, start)) for p in self.rings[piece]]
        return max(0.0, -min(off)), max(0.0, max(off))

    def _is_true(self, line: _Line) -> bool:
        """Whether a line is so straight that any stretch of it lies as all of it does."""
        points = [self.seams.points[p] for p in line.points]
        along = unit(minus(points[-1], points[0]))
        return all(abs(cross(along, minus(p, points[0]))) < TOLERANCE / 4 for p in points)

    def _open(self, point: int, unit: int) -> bool:
        """Whether a point lies on the outside of a unit."""
        return self._at_outside[point] or bool(self._around[point] & ~unit)

    def _runs(self, line: _Line, edges: Sequence[int], unit: int) -> Iterator[tuple[int, int]]:
        """(first, last) of the edges of each stretch of a line from outside to outside."""
        first: int | None = None
        for n, k in enumerate(edges):
            if n == 0 or edges[n - 1] != k - 1:
                first = None
            if self._open(line.points[k], unit):
                first = k
            if first is not None and self._open(line.points[k + 1], unit):
                yield first, k
                first = None

    def _cut(self, n: int, first: int, last: int, unit: int) -> Cut | None:
        line = self._lines[n]
        left, right = self._beside_line(n, first, last)
        one, other = left & unit, right & unit
        clean = one | other == unit and not one & other
        if not clean or not self._convex:
            closed = {line.edges[k] for k in range(first, last + 1)}
            one = self._reached(line.left[first], unit, closed)
            other = unit & ~one
            if not other:
                return None
            clean = not one & ~left and not other & ~right
        start = self.seams.points[line.points[first]]
        end = self.seams.points[line.points[last + 1]]
        level = abs(end[1] - start[1]) < abs(end[0] - start[0])
        return Cut(one, other, self._bridges(line, first, last), clean, level)

    def _beside_line(self, n: int, first: int, last: int) -> tuple[int, int]:
        """The pieces of the whole block that lie to the left and to the right of a line."""
        points = self._lines[n].points
        if self._true[n]:
            first, last = 0, len(points) - 2
        known = self._sides.get((n, first, last))
        if known is None:
            start, end = self.seams.points[points[first]], self.seams.points[points[last + 1]]
            along = unit(minus(end, start))
            off = (self._corners - start) @ np.array([-along[1], along[0]])
            left = np.maximum.reduceat(off, self._firsts) <= self.off_line
            right = ~left & (np.minimum.reduceat(off, self._firsts) >= -self.off_line)
            known = self._sides[n, first, last] = _as_unit(left), _as_unit(right)
        return known

    def _reached(self, start: int, unit: int, closed: set[int]) -> int:
        """The pieces of a unit that hang together with one when ``closed`` edges are opened."""
        left, stack = unit & ~start, [start.bit_length() - 1]
        while stack:
            for other, bit, edge in self._neighbours[stack.pop()]:
                if bit & left and edge not in closed:
                    left ^= bit
                    stack.append(other)
        return unit & ~left

    def _bridges(self, line: _Line, first: int, last: int) -> int:
        """How many stretches of a cut may be bridged: a piece's whole side, between crossings."""
        stretches = set()
        for mine, theirs in ((line.left, line.right), (line.right, line.left)):
            begin = first
            for k in range(first, last + 1):
                if k < last and mine[k + 1] == mine[k]:
                    continue
                if (begin == first or theirs[begin] != theirs[begin - 1]) and (
                    k == last or theirs[k + 1] != theirs[k]
                ):
                    stretches.add((begin, k))
                begin = k + 1
        return len(stretches)


def _as_unit(chosen: NDArray[np.bool_]) -> int:
    """The pieces for which an array has true, as a unit."""
    return int.from_bytes(np.packbits(chosen, bitorder="little").tobytes(), "little")


def _straight_lines(seams: Seams) -> Iterator[_Line]:
    """The straight seams of a block, each as long as it goes on without a pivot."""
    inner = [
        e
        for e, edge in enumerate(seams.edges)
        if edge.left is not None and isinstance(edge.segment, Line)
    ]
    at: dict[int, list[int]] = {}
    for e in inner:
        at.setdefault(seams.edges[e].start, []).append(e)
        at.setdefault(seams.edges[e].end, []).append(e)
    onward: dict[tuple[int, int], int] = {}
    for point, meeting in at.items():
        for one, other in _straight_pairs(seams, point, meeting):
            onward[point, one], onward[point, other] = other, one
    left = set(inner)
    for e in inner:
        if e not in left:
            continue
        point, edge = seams.edges[e].start, e
        while (point, edge) in onward and onward[point, edge] != e:  # back to the line's start
            edge = onward[point, edge]
            point = _far_end(seams, edge, point)
        edges, points = [edge], [point, _far_end(seams, edge, point)]
        while (points[-1], edges[-1]) in onward and onward[points[-1], edges[-1]] != edges[0]:
            edges.append(onward[points[-1], edges[-1]])
            points.append(_far_end(seams, edges[-1], points[-1]))
        left -= set(edges)
        yield _line(seams, edges, points)


def _line(seams: Seams, edges: Sequence[int], points: Sequence[int]) -> _Line:
    lefts, rights = [], []
    for e, point in zip(edges, points, strict=False):
        edge = seams.edges[e]
        assert edge.left is not None
        right, left = edge.right, edge.left
        if edge.start != point:
            right, left = left, right
        rights.append(1 << right)
        lefts.append(1 << left)
    return _Line(tuple(edges), tuple(points), tuple(lefts), tuple(rights))


def _far_end(seams: Seams, e: int, point: int) -> int:
    edge = seams.edges[e]
    return edge.end if edge.start == point else edge.start


def _straight_pairs(seams: Seams, point: int, meeting: Sequence[int]) -> Iterator[tuple[int, int]]:
    """The pairs of edges at a point that go on from each other without a pivot."""

    def leaving(e: int) -> Segment:
        edge = seams.edges[e]
        return edge.segment if edge.start == point else paths.reverse(edge.segment)

    pairs = []
    for one, other in itertools.combinations(meeting, 2):
        arrives, leaves = paths.reverse(leaving(one)), leaving(other)
        turns = abs(turn(paths.tangent(arrives, 1.0), paths.tangent(leaves, 0.0)))
        if turns < 90.0 and not seam_bends(arrives, leaves):
            pairs.append((turns, one, other))
    taken: set[int] = set()
    for _, one, other in sorted(pairs):
        if one not in taken and other not in taken:
            taken |= {one, other}
            yield one, other
