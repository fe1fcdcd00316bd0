"""Straight lines that cut a unit of a block in two, from outside to outside.

To sew a unit to another along a straight seam is, read backward, to cut the two apart.
What can be sewn with straight seams alone is therefore found by cutting.

A unit is a set of pieces, held in bits (see ``patchwork.sewing.bitset``); so is a set of edges.  A
line is a row of straight edges that go on from each other, a stretch a part of a line, and a cut a
stretch along which a unit falls into two parts.

One block may be asked about tens of thousands of its units. So whatever does not depend on the
unit is found out once: which pieces lie beside a line, and what a stretch of it passes.
"""

from __future__ import annotations

import functools
import itertools
import operator
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from piecewright.patchwork.block.joins import seam_bends
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Line, Segment
from piecewright.patchwork.geometry.polygons import ring_polygon
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import (
    TOLERANCE,
    Point,
    cross,
    dot,
    minus,
    normalised,
    turn,
)
from piecewright.patchwork.sewing.bitset import piece_set, pieces_of

STRAIGHT = 1 / 2000
"""Of the block's longer side: how far a piece may reach over a line and still lie beside it.

It is never less than ``TOLERANCE``. Points that were put together on the drawing may be off
their line by that much, and a larger finished size enlarges it.
"""

_REFLEX = 180.01
"""Degrees of cloth at a corner of the block from which it is not convex there."""

_Reach: TypeAlias = NDArray[np.float64]


class StraightCut(NamedTuple):
    """A straight cut through a unit; a tuple, as many thousands are made.

    Attributes:
        first, second: the two units that it leaves; the first has the line on its right.
        bridges: how many sections can lie across the line at most (see
            ``patchwork.foundation.sections``).
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


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A part of a line, from one of its points to another.

    Attributes:
        line: its number.
        place: of its first edge.
        edges: of the block; ``beside`` is the piece to the left of the first one.
        left, right: the pieces of the whole block that lie wholly to one side of the line.
        over_left, over_right: those that reach over to a side, or lie there wholly.
        one_left, one_right: the piece that all the edges have on a side, if it lies there wholly;
            0 if there is none.
        within: the pieces round the points between its two ends, with the outside of the block.
        begin, end: the same for each of its ends.
        bridges, level: of a cut along it.
    """

    line: int
    place: int
    edges: tuple[int, ...]
    beside: int
    left: int
    right: int
    over_left: int
    over_right: int
    one_left: int
    one_right: int
    within: int
    begin: int
    end: int
    bridges: int
    level: bool


class StraightCuts:
    """The straight cuts through any unit of a block.

    Attributes:
        seams: the block.
        count: of its pieces.
        whole: all of them, as a unit.
        rings: their outlines as points, inches.
        off_line: inches by which a piece may reach over a line and still lie beside it.
    """

    def __init__(self, seams: Seams) -> None:
        self.seams = seams
        self.count = len(seams.sides)
        self.whole = (1 << self.count) - 1
        self._everything = (2 << self.count) - 1  # with a bit for the outside of the block
        self.rings = [paths.ring([seams.segment(s) for s in sides]) for sides in seams.sides]
        xs = [p[0] for ring in self.rings for p in ring]
        ys = [p[1] for ring in self.rings for p in ring]
        size = max(max(xs) - min(xs), max(ys) - min(ys))
        self.off_line = max(TOLERANCE, STRAIGHT * size)
        # All corners of all pieces in one array, so that one product says how far each piece
        # reaches over a line.
        self._corners = np.array([p for ring in self.rings for p in ring])
        self._firsts = np.cumsum([0, *(len(ring) for ring in self.rings[:-1])])
        # For each point the pieces round it, and the outside.
        self._pieces_at = [0] * len(seams.points)
        # For each piece those beside it: (number, bit, edge between them).
        self._neighbours: list[list[tuple[int, int, int]]] = [[] for _ in range(self.count)]
        for e, edge in enumerate(seams.edges):
            other = self.count if edge.left is None else edge.left
            for point in (edge.start, edge.end):
                self._pieces_at[point] |= 1 << edge.right | 1 << other
            if edge.left is not None:
                self._neighbours[edge.right].append((edge.left, 1 << edge.left, e))
                self._neighbours[edge.left].append((edge.right, 1 << edge.right, e))
        self._lines = list(_straight_lines(seams))
        # The edges of all lines have their places in one row, with a place left free after each
        # line (its last point stands there, and the lines stay apart). So a set of edges is held in
        # bits, and those that follow each other on a line are bits that follow each other. The
        # edge at a place runs from the point there to the one at the next place.
        self._starts: list[int] = []
        self._line_at: list[int] = []
        self._around: list[int] = []  # the pieces round the point at each place
        self._edges = [0] * self.count  # of each piece
        self._along = [0] * self.count  # all edges of the lines along each piece
        self._near: dict[int, int] = {}
        self._inside: dict[int, int] = {}
        self._rims: dict[int, int] = {}
        # For the larger part of a cut: the edges inside the unit before, and the smaller part.
        self._left_by: dict[int, tuple[int, int]] = {}
        for n, straight in enumerate(self._lines):
            self._starts.append(len(self._line_at))
            all_edges = (1 << len(straight.edges)) - 1 << self._starts[n]
            for k, (left, right) in enumerate(zip(straight.left, straight.right, strict=True)):
                for piece in (left.bit_length() - 1, right.bit_length() - 1):
                    self._edges[piece] |= 1 << self._starts[n] + k
                    self._along[piece] |= all_edges
            self._line_at += [n] * len(straight.points)
            self._around += [self._pieces_at[point] for point in straight.points]
        self._true = [self._is_true(line) for line in self._lines]
        self._sides: dict[tuple[int, int, int], tuple[int, int]] = {}
        self._stretches: dict[tuple[int, int], _Stretch] = {}
        shapes = [ring_polygon(ring) for ring in self.rings]
        self._areas: list[float] = shapely.area(shapes).tolist()
        self._centroids: list[Point] = shapely.get_coordinates(shapely.centroid(shapes)).tolist()
        # A unit without any of these pieces is convex: what lies beyond a line hangs together.
        # Where a line bends a little at each of its points, what it cuts may be hollow.
        self._dented = _dented(seams) if all(self._true) else self.whole
        if self._dented and all(self._true) and _all_but_convex(shapes, self.off_line):
            self._dented = 0
        # Other units fall in two along a line if what lies to its two sides meets nowhere else. (A
        # curved edge might run as straight as a line, and is on none.)
        self._curved = any(e.left is not None and isinstance(e.segment, Curve) for e in seams.edges)
        # The unit that was looked at last, the edges inside it and where it can be cut.
        self._looked: tuple[int, int, list[_Stretch]] = (0, 0, [])

    def through(self, unit: int) -> list[StraightCut]:
        """All straight cuts through a unit, in a fixed order: that of the lines."""
        # Who has just found out that a unit is no section has looked at its stretches already.
        if self._looked[0] != unit:
            self.ends(unit, self.inside(unit))
        _, inside, stretches = self._looked
        convex, half = self.is_convex(unit), unit.bit_count() / 2
        cuts = []
        for stretch in stretches:
            # Most often the pieces on the two sides of the line are the two parts. Where some reach
            # over it elsewhere, or a side falls apart, the parts are found by walking from piece to
            # piece without crossing the stretch.
            one, other, clean = stretch.left & unit, stretch.right & unit, True
            if one | other != unit or not (convex or self._parts(stretch, inside, one, other)):
                one = self._reached(stretch.beside, unit, set(stretch.edges))
                other = unit & ~one
                if not other:
                    continue  # round its end the two sides still hang together
                clean = not one & stretch.over_right and not other & stretch.over_left
            cuts.append(StraightCut(one, other, stretch.bridges, clean, stretch.level))
            smaller, larger = (one, other) if one.bit_count() <= half else (other, one)
            self._left_by[larger] = inside, smaller
        return cuts

    def is_convex(self, unit: int) -> bool:
        """Whether a unit that straight cuts leave is surely convex: they make no new dents."""
        return not unit & self._dented

    def beside(self, piece: int) -> int:
        """The pieces that share an edge with a piece, as a unit."""
        return sum({bit for _, bit, _ in self._neighbours[piece]})

    def beyond(self, start: Point, end: Point) -> tuple[_Reach, _Reach]:
        """How far (inches) each piece reaches over a line, to its left and to its right."""
        along = normalised(minus(end, start))
        off = (self._corners - start) @ np.array([-along[1], along[0]])
        return -np.minimum.reduceat(off, self._firsts), np.maximum.reduceat(off, self._firsts)

    def middle(self, pieces: Iterable[int]) -> Point:
        """The centroid of some pieces."""
        own = list(pieces)
        area = sum(self._areas[p] for p in own)
        return (
            sum(self._centroids[p][0] * self._areas[p] for p in own) / area,
            sum(self._centroids[p][1] * self._areas[p] for p in own) / area,
        )

    def _is_true(self, line: _Line) -> bool:
        """Whether a line is so straight that any stretch of it lies as all of it does."""
        points = [self.seams.points[p] for p in line.points]
        along = normalised(minus(points[-1], points[0]))
        return all(abs(cross(along, minus(p, points[0]))) < TOLERANCE / 4 for p in points)

    def inside(self, unit: int) -> int:
        """The straight edges between pieces of a unit, by their places as bits."""
        known = self._inside.get(unit)
        if known is None:
            if unit in self._left_by:
                # It has what the unit had from which it was cut, but for the smaller part's edges.
                before, smaller = self._left_by[unit]
                known = before & ~self._edges_of(smaller)[0]
            else:
                known = self._edges_of(unit)[1]
            self._inside[unit] = known
        return known

    def _edges_of(self, unit: int) -> tuple[int, int]:
        """The straight edges of a unit's pieces, and those of them that two of its pieces have."""
        once = twice = 0
        for piece in pieces_of(unit):
            edges = self._edges[piece]
            twice |= once & edges
            once |= edges
        return once, twice

    def _runs(self, unit: int, inside: int) -> list[_Stretch]:
        """The stretches on which a unit can be cut, from outside to outside.

        Args:
            inside: edges inside the unit; all that are on one line with one of them.
        """
        # A cut runs from outside to outside and has only the unit's own pieces on both sides. A
        # point round which something absent lies is on the unit's outside.
        absent = self._everything ^ unit
        known, runs = self._stretches, []
        # Edges that follow each other on a line are ones in a row; zeros lie between lines. A text
        # of them is searched at the speed of C.
        find = (bin(inside)[:1:-1] + "0").find
        first = find("1")
        while first >= 0:
            end = find("0", first)
            stretch = known.get((first, end)) or self._stretch(first, end)
            if stretch.within & absent:
                # It touches the outside on its way, and each part from touch to touch is a cut.
                begun: int | None = None
                for place in range(first, end):
                    if self._around[place] & absent:
                        begun = place
                    if begun is not None and self._around[place + 1] & absent:
                        runs.append(self._stretch(begun, place + 1))
                        begun = None
            elif stretch.begin & absent and stretch.end & absent:
                runs.append(stretch)
            first = find("1", end)
        return runs

    def _parts(self, stretch: _Stretch, inside: int, one: int, other: int) -> bool:
        """Whether two parts of a unit meet along a stretch and nowhere else.

        Args:
            inside: the edges inside the unit.
        """
        own = (1 << len(stretch.edges)) - 1 << stretch.place
        return not self._curved and self._rim(min(one, other, key=int.bit_count)) & inside == own

    def _rim(self, unit: int) -> int:
        """The straight edges between a unit and the rest of the block, by their places as bits."""
        known = self._rims.get(unit)
        if known is None:
            edges, self._inside[unit] = self._edges_of(unit)
            known = self._rims[unit] = edges & ~self._inside[unit]
        return known

    def _stretch(self, first: int, end: int) -> _Stretch:
        """The stretch of a line that the edges at some places make up."""
        known = self._stretches.get((first, end))
        if known is None:
            n = self._line_at[first]
            line, k, after = self._lines[n], first - self._starts[n], end - self._starts[n]
            left, right = self._beside_line(n, k, after)
            begin, *within, finish = self._around[first : end + 1]
            start, stop = (self.seams.points[line.points[i]] for i in (k, after))
            lefts, rights = set(line.left[k:after]), set(line.right[k:after])
            known = self._stretches[first, end] = _Stretch(
                n,
                first,
                line.edges[k:after],
                line.left[k],
                left,
                right,
                self.whole & ~right,
                self.whole & ~left,
                left & lefts.pop() if len(lefts) == 1 else 0,
                right & rights.pop() if len(rights) == 1 else 0,
                functools.reduce(operator.or_, within, 0),
                begin,
                finish,
                _bridges(line, k, after - 1),
                abs(stop[1] - start[1]) < abs(stop[0] - start[0]),
            )
        return known

    def _beside_line(self, n: int, first: int, end: int) -> tuple[int, int]:
        """The pieces of the whole block that lie wholly to the left and to the right of a line."""
        points = self._lines[n].points
        # Any stretch of a true line has the same answer, which is then kept once.
        if self._true[n]:
            first, end = 0, len(points) - 1
        known = self._sides.get((n, first, end))
        if known is None:
            start, stop = self.seams.points[points[first]], self.seams.points[points[end]]
            to_left, to_right = self.beyond(start, stop)
            # What hardly reaches over to either side (a thin piece along the line) lies where more
            # of it is.
            left = (to_right <= self.off_line) & (to_right <= to_left)
            right = ~left & (to_left <= self.off_line)
            known = self._sides[n, first, end] = _as_unit(left), _as_unit(right)
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

    def ends(self, unit: int, inside: int, among: int | None = None) -> list[tuple[int, int]]:
        """The pieces that come off a unit clean: a cut leaves each alone on its side of the line.

        Each comes after the number of that line; they are in the order of ``through``.

        Args:
            inside: the edges inside the unit (see ``inside``).
            among: those of the lines that are looked at; all by default.
        """
        if among is None:
            stretches = self._runs(unit, inside)
            self._looked = unit, inside, stretches
        else:
            stretches = self._runs(unit, inside & among)
        found = []
        for stretch in stretches:
            left, right = stretch.one_left, stretch.one_right
            if left and unit & stretch.over_left == left and self._hangs_by(stretch, left, unit):
                found.append((stretch.line, left.bit_length() - 1))
            if (
                right
                and unit & stretch.over_right == right
                and self._hangs_by(stretch, right, unit)
            ):
                found.append((stretch.line, right.bit_length() - 1))
        return found

    def inside_without(self, unit: int, piece: int) -> int:
        """The edges that are inside a unit still when a piece is taken off it."""
        inside = self.inside(unit) & ~self._edges[piece]
        self._inside[unit ^ 1 << piece] = inside
        return inside

    def near(self, piece: int) -> int:
        """The edges, by their places, of all lines along pieces that touch a piece."""
        known = self._near.get(piece)
        if known is None:
            known = 0
            for side in self.seams.sides[piece]:
                around = self._pieces_at[self.seams.start(side)]
                for other in pieces_of(around & self.whole):
                    known |= self._along[other]
            self._near[piece] = known
        return known

    def _hangs_by(self, stretch: _Stretch, piece: int, unit: int) -> bool:
        """Whether a piece (its bit) is sewn to others of a unit along a stretch alone."""
        if self.is_convex(unit):
            return True
        sewn = sum(bool(unit & bit) for _, bit, _ in self._neighbours[piece.bit_length() - 1])
        return sewn == len(stretch.edges)


class Unpicking:
    """A unit whose pieces are taken off one by one, first what a section would get last.

    A piece that may come off may still do so when another one has gone (see
    ``patchwork.foundation.sections``), and of a convex unit only pieces that touch that one may
    become free by it. So a step takes no longer in a chain of two thousand strips than in one of
    ten.

    Attributes:
        unit: what is left.
        ends: the pieces that may come off now, each with the number of its seam's line; none
            when one piece is left.
    """

    def __init__(self, cuts: StraightCuts, unit: int) -> None:
        self.unit = unit
        self.ends: dict[int, int] = {}
        self._cuts = cuts
        self._inside = cuts.inside(unit)
        self._look()

    def take_off(self, piece: int) -> None:
        """Take a piece off that may come off now."""
        # In a convex unit only lines along pieces that touch this one may have become cuts.
        among = self._cuts.near(piece) if self._cuts.is_convex(self.unit) else None
        self._inside = self._cuts.inside_without(self.unit, piece)
        self.unit ^= 1 << piece
        del self.ends[piece]
        if self.unit & (self.unit - 1):
            self._look(among)
        else:
            self.ends.clear()

    def _look(self, among: int | None = None) -> None:
        """Add the pieces that have become free; those that were stay so, by their first line."""
        for line, piece in self._cuts.ends(self.unit, self._inside, among):
            self.ends.setdefault(piece, line)


def _bridges(line: _Line, first: int, last: int) -> int:
    """How many stretches of a cut may be bridged: a piece's whole side, between crossings.

    The stretch must be the whole side of one piece, and at both its ends seams must meet the line
    from the other side as well, or the cut end (see ``patchwork.foundation.sections``).
    """
    stretches = set()  # a pair of pieces with the same side is one bridge, found from both
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
    # For an edge that comes to a point the edge that goes on from there.
    onward: dict[tuple[int, int], int] = {}
    for point, meeting in at.items():
        for one, other in _straight_pairs(seams, point, meeting):
            onward[point, one], onward[point, other] = other, one
    left = set(inner)
    for e in inner:
        if e not in left:
            continue
        # Back to where the line begins (or once round, where it closes on itself), then along it.
        point, edge = seams.edges[e].start, e
        while (point, edge) in onward and onward[point, edge] != e:
            edge = onward[point, edge]
            point = _far_end(seams, edge, point)
        edges, points = [edge], [point, _far_end(seams, edge, point)]
        while (points[-1], edges[-1]) in onward and onward[points[-1], edges[-1]] != edges[0]:
            edges.append(onward[points[-1], edges[-1]])
            points.append(_far_end(seams, edges[-1], points[-1]))
        left -= set(edges)
        yield _line(seams, edges, points)


def _line(seams: Seams, edges: Sequence[int], points: Sequence[int]) -> _Line:
    """A line with the pieces on either side of the way from its first point to its last."""
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
    """The other end of an edge that ends at a point."""
    edge = seams.edges[e]
    return edge.end if edge.start == point else edge.start


def _straight_pairs(seams: Seams, point: int, meeting: Sequence[int]) -> Iterator[tuple[int, int]]:
    """The pairs of edges at a point that go on from each other without a pivot."""

    def leaving(e: int) -> Segment:
        edge = seams.edges[e]
        return edge.segment if edge.start == point else paths.reverse(edge.segment)

    ways = {e: paths.tangent(leaving(e), 0.0) for e in meeting}
    pairs = []
    for one, other in itertools.combinations(meeting, 2):
        arrives = (-ways[one][0], -ways[one][1])
        if dot(arrives, ways[other]) > 0 and not seam_bends(
            paths.reverse(leaving(one)), leaving(other)
        ):
            pairs.append((abs(turn(arrives, ways[other])), one, other))
    # The straightest first: two seams that cross at less than a degree are not to swap their ends.
    taken: set[int] = set()
    for _, one, other in sorted(pairs):
        if one not in taken and other not in taken:
            taken |= {one, other}
            yield one, other


def _dented(seams: Seams) -> int:
    """The pieces at reflex corners of a block, and those with a curve at its outside, as a unit."""
    found = 0
    for runs in seams.around:
        for run in runs:
            if not seams.closes(run) and sum(c.inner_angle for c in run) > _REFLEX:
                found |= piece_set(c.piece for c in run)
    for edge in seams.edges:
        if edge.left is None and isinstance(edge.segment, Curve):
            found |= 1 << edge.right
    return found


def _all_but_convex(shapes: Sequence[Polygon], off_line: float) -> bool:
    """Whether shapes together fill their convex hull, but for dents that are hardly any."""
    hull = shapely.convex_hull(shapely.GeometryCollection(shapes))
    # Most blocks that are not convex lack more than such dents could make up.
    if hull.area - sum(shape.area for shape in shapes) > 2 * off_line * hull.length:
        return False
    whole = overlaid(shapely.union_all, shapes)
    return bool(whole.buffer(off_line).covers(hull))
