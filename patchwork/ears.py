"""Tips that stick out of a sewn unit away from their own corner.

A long tip may cross a narrow neighbour and stick out on its far side.  That takes a tip that
reaches an edge which does not end at its corner, or the far end of one that does: where the
edges round the corner are straight, have one allowance, and reach further than the tip, and
all others lie further off, the tip lies among the strips and the cloth round its corner, and
``patchwork.matching`` has cut what does not.

The few others are held against the plain offset of every unit that their piece becomes part of:
the unit's cloth, the strips beside its outside and the tips of its own corners.  Only what
lies near the tip matters to it, so it is looked at when a piece near it joins its unit, and no
more once it lies within one allowance of the unit's cloth: it then lies in the plain offset of
this and of every larger unit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, MutableMapping, Sequence
from typing import Any

import numpy as np
import shapely
from shapely import STRtree
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from patchwork import paths
from patchwork.joins import Order
from patchwork.paths import Line
from patchwork.points import Point, Vector, between, cross, dot, minus, outward, plus, unit
from patchwork.polygons import ring_polygon
from patchwork.seams import Corner, Seams
from patchwork.tips import AGREED, Bound, Tip, TipKey

_GRID = 1e-9
"""Inches."""

_CLOSE = 5e-5
"""Inches by which a tip may stick out of a unit unseen: more than a curve's points are off."""

_SLIVER = 1e-8
"""Square inches; what is left over by rounding alone is smaller."""

_FINE = 2e-5
"""Inches; how far the points that stand for a curve are from it here."""


def cut_ears(
    seams: Seams,
    order: Order,
    widths: Sequence[float],
    tips: MutableMapping[TipKey, Tip],
) -> set[int]:
    """Cut the tips that stick out of any unit's plain offset along that unit's raw edges.

    Args:
        widths: the allowance of each edge, inches.
        tips: the tips of all corners; one that is cut is replaced.

    Returns:
        The points at which a tip was cut.
    """
    ground = _Ground(seams, order, widths)
    cut: set[int] = set()
    for point, room in ground.rooms(tips):
        for corner in (c for run in seams.around[point] for c in run):
            key = (corner.piece, corner.side)
            if tips[key].pointed and tips[key].reach > max(room, ground.least + AGREED):
                tip = tips[key].copy()
                if _Surroundings(ground, point, corner, tip).trim():
                    tips[key] = tip
                    cut.add(point)
    return cut


class _Ground:
    """A block's edges and pieces, found by where they lie; keeps what tips have in common."""

    def __init__(self, seams: Seams, order: Order, widths: Sequence[float]) -> None:
        self.seams, self.order, self.widths = seams, order, widths
        self.least, self.most = min(widths), max(widths)
        self.points = [[*paths.flatten(e.segment, _FINE), e.segment.end] for e in seams.edges]
        counts = [len(points) for points in self.points]
        every = np.array([p for points in self.points for p in points])
        self._lines = np.asarray(
            shapely.linestrings(every, indices=np.repeat(np.arange(len(counts)), counts))
        )
        self.tree = STRtree(self._lines)
        self._strips: dict[tuple[int, bool], tuple[BaseGeometry, list[Point]]] = {}
        self._cloths: dict[int, Polygon] = {}
        self._met: dict[tuple[int, int], int] = {}

    def rooms(self, tips: MutableMapping[TipKey, Tip]) -> Iterator[tuple[int, float]]:
        """Points with a tip longer than the way to the first edge that may matter to it."""
        edges = self.seams.edges
        reach = np.zeros(len(self.seams.points))
        room = np.full(len(reach), math.inf)
        for point, runs in enumerate(self.seams.around):
            own = [tips[c.piece, c.side] for run in runs for c in run]
            longest = max((tip.reach for tip in own if tip.pointed), default=0.0)
            if longest > self.least + AGREED:
                reach[point] = longest
                if self.least != self.most and len(self._widths_at(point)) > 1:
                    room[point] = 0.0
        for edge in edges:
            straight = isinstance(edge.segment, Line)
            size = math.dist(edge.segment.start, edge.segment.end) if straight else 0.0
            for end in (edge.start, edge.end):
                room[end] = min(room[end], size)
        asked = np.flatnonzero(reach)
        dots = np.asarray(shapely.points(np.array(self.seams.points)[asked]))
        found, near = self.tree.query(dots, predicate="dwithin", distance=reach[asked])
        ends = np.array([(edge.start, edge.end) for edge in edges])
        others = (ends[near] != asked[found][:, None]).all(axis=1)
        found, near = found[others], near[others]
        gaps = shapely.distance(dots[found], self._lines[near])
        np.minimum.at(room, asked[found], gaps)
        for point in np.flatnonzero(reach > room).tolist():
            yield point, float(room[point])

    def _widths_at(self, point: int) -> set[float]:
        corners = (c for run in self.seams.around[point] for c in run)
        return {self.widths[e] for c in corners for e in (c.arriving, c.leaving)}

    def cloth(self, piece: int) -> Polygon:
        """A piece; its points on a curve are the very same ones as its neighbour's."""
        known = self._cloths.get(piece)
        if known is None:
            points: list[Point] = []
            for side in self.seams.sides[piece]:
                own = self.points[side.edge]
                points += (own if side.forward else own[::-1])[:-1]
            known = self._cloths[piece] = ring_polygon(points)
        return known

    def strip(self, e: int, forward: bool) -> tuple[BaseGeometry, list[Point]]:
        """The strip beside a side, and its raw edge in the sense of travel."""
        known = self._strips.get((e, forward))
        if known is None:
            points = self.points[e] if forward else self.points[e][::-1]
            segment = self.seams.edges[e].segment
            if not forward:
                segment = paths.reverse(segment)
            count = len(points) - 1
            rim = [
                plus(p, outward(paths.tangent(segment, k / count)), self.widths[e])
                for k, p in enumerate(points)
            ]
            whole: BaseGeometry = Polygon([*points, *reversed(rim)])
            if not whole.is_valid:  # the raw edge of a tight bay crosses itself
                quads = zip(points, rim, rim[1:], points[1:], strict=False)
                whole = shapely.union_all([ring_polygon(quad) for quad in quads])
            known = (whole, rim)
            self._strips[e, forward] = known
        return known

    def met(self, one: int, other: int) -> int:
        """The first unit of which two pieces are part."""
        key = (one, other) if one < other else (other, one)
        known = self._met.get(key)
        if known is None:
            # A unit's number is larger than those of the two that it is made of.
            while one != other:
                above = self.order.parents[min(one, other)]
                assert above is not None, "the last unit has all pieces"
                one, other = max(one, other), above
            known = self._met[key] = one
        return known


class _Surroundings:
    """A tip, and what of the block lies near it.

    ``unit`` is always one that the tip's piece is part of.
    """

    def __init__(self, ground: _Ground, point: int, corner: Corner, tip: Tip) -> None:
        self.ground, self.point, self.corner, self.tip = ground, point, corner, tip
        self.place = ground.seams.points[point]
        found = ground.tree.query(
            ring_polygon(tip.ring(self.place)), "dwithin", ground.most + AGREED
        )
        self.near = sorted(found.tolist())
        edges = [ground.seams.edges[e] for e in self.near]
        points = {p for edge in edges for p in (edge.start, edge.end)} | {point}
        around = {c.piece for p in points for run in ground.seams.around[p] for c in run}
        self.joined = {p: ground.met(corner.piece, p) for p in sorted(around)}
        self.pieces = list(self.joined)

    def trim(self) -> bool:
        """Cut what sticks out of a unit; says whether that was anything."""
        cut = False
        for sewn in sorted({*self.joined.values()} - {self.corner.piece}):
            cloth = [self.ground.cloth(p) for p, since in self.joined.items() if since <= sewn]
            probes = _probes(self.tip, self.place)
            reached = self.ground.least + AGREED
            close = shapely.dwithin(np.array(cloth)[:, None], shapely.points(probes), reached)
            far = [p for p, any_ in zip(probes, np.any(close, axis=0), strict=True) if not any_]
            if not far:
                break
            if not self._in_own_tip(sewn, far):
                cut |= self._cut(sewn, cloth)
        return cut

    def _in_own_tip(self, unit: int, far: Sequence[Point]) -> bool:
        """Whether points lie in the tip of the unit's own corner at the tip's place."""
        for corners in self._corners(unit, self.point):
            if self.corner in corners:
                last, first = corners[-1], corners[0]
                one = Bound(outward(last.arrives), self.ground.widths[last.arriving])
                other = Bound(outward(first.leaves), self.ground.widths[first.leaving])
                inside = sum(c.inner_angle for c in corners) < 180.0
                return inside and all(_between(one, other, minus(p, self.place)) for p in far)
        return False

    def _cut(self, unit: int, cloth: Sequence[Polygon]) -> bool:
        shape = ring_polygon(self.tip.ring(self.place))
        if self._rest(unit, cloth, shape).area < _SLIVER:
            return False
        # The raw edge nearest to the corner is cut along first, and only as many as are needed.
        here = shapely.Point(self.place)
        crossed = [
            (round(LineString(line).distance(here), 9), line)
            for line in self._raw_lines(unit, shape)
        ]
        cut = False
        for _, (start, end) in sorted(crossed):
            normal = outward(_direction(start, end))
            if self.tip.cut(Bound(normal, dot(normal, minus(start, self.place)))):
                cut = True
                shape = ring_polygon(self.tip.ring(self.place))
                if self._rest(unit, cloth, shape).area < _SLIVER:
                    break
        return cut

    def _rest(self, unit: int, cloth: Sequence[Polygon], shape: Polygon) -> BaseGeometry:
        """What of a tip lies outside the unit's plain offset."""
        rest: BaseGeometry = shape
        parts: list[BaseGeometry] = []
        for part in self._plain_offset(unit, cloth):
            if shape.dwithin(part, 2 * _CLOSE):
                rest = _overlaid(shapely.difference, rest, part)
                if rest.area < _SLIVER:
                    return rest
                parts.append(part)
        # What is left may be no more than the gaps between the points of curves.
        around = shapely.box(*shape.buffer(0.01).bounds)
        near = _overlaid(shapely.intersection, np.array(parts), around)
        covered = _overlaid(shapely.union_all, near)
        covered = covered.buffer(_CLOSE, join_style="mitre")
        left: BaseGeometry = _overlaid(shapely.difference, shape, covered)
        return left

    def _plain_offset(self, unit: int, cloth: Sequence[Polygon]) -> Iterator[BaseGeometry]:
        """The parts of a unit's plain offset near the tip; the dearest to work out come last."""
        yield from cloth
        for e, forward in self._outside(unit):
            yield self.ground.strip(e, forward)[0]
        for tip, place in self._unit_tips(unit):
            yield ring_polygon(tip.ring(place))

    def _raw_lines(self, unit: int, shape: Polygon) -> Iterator[tuple[Point, Point]]:
        """Where the unit's raw edge runs across a tip, as straight lines in the sense of travel.

        A curve's raw edge gives the chord between the points at which it enters and leaves.
        """
        for e, forward in self._outside(unit):
            raw_edge = LineString(self.ground.strip(e, forward)[1])
            across = shapely.get_coordinates(shape.intersection(raw_edge)).tolist()
            along = sorted((raw_edge.project(shapely.Point(p)), (p[0], p[1])) for p in across)
            if along and along[-1][0] - along[0][0] > 1e-9:
                yield along[0][1], along[-1][1]
        for unit_tip, place in self._unit_tips(unit):
            rim = unit_tip.ring(place)[1:]
            for start, end in zip(rim, rim[1:], strict=False):
                if math.dist(start, end) > 1e-9 and LineString([start, end]).intersects(shape):
                    yield start, end

    def _outside(self, unit: int) -> list[tuple[int, bool]]:
        """The open sides of a unit near the tip, each with whether its piece travels it forward."""
        found = []
        for e in self.near:
            edge = self.ground.seams.edges[e]
            right, left = self._holds(unit, edge.right), self._holds(unit, edge.left)
            if right != left:
                found.append((e, right))
        return found

    def _holds(self, unit: int, piece: int | None) -> bool:
        """Whether a piece near the tip is part of a unit; None lies outside the block."""
        return piece is not None and self.joined[piece] <= unit

    def _unit_tips(self, unit: int) -> Iterator[tuple[Tip, Point]]:
        """The whole tips of a unit's own corners near the tip, and their places."""
        seams, widths = self.ground.seams, self.ground.widths
        edges = [seams.edges[e] for e, _ in self._outside(unit)]
        points = {p for edge in edges for p in (edge.start, edge.end)} | {self.point}
        for point in sorted(points):
            for corners in self._corners(unit, point):
                last, first = corners[-1], corners[0]
                turns = 180.0 - sum(c.inner_angle for c in corners)
                sides = widths[last.arriving], widths[first.leaving]
                whole = Tip(last.arrives, first.leaves, turns, *sides)
                if whole.pointed:
                    yield whole, seams.points[point]

    def _corners(self, unit: int, point: int) -> list[list[Corner]]:
        """The runs of piece corners at a point that are one corner of the unit."""
        found: list[list[Corner]] = []
        for run in self.ground.seams.around[point]:
            first = [i for i, c in enumerate(run) if self._opens(unit, c)]
            for i in first:
                corners = [run[i]]
                while not self._is_open(unit, corners[-1].arriving) and len(corners) < len(run):
                    i = (i + 1) % len(run)
                    corners.append(run[i])
                found.append(corners)
        return found

    def _opens(self, unit: int, corner: Corner) -> bool:
        """Whether a corner's leaving edge is the unit's outside, with the unit on its right."""
        return self._holds(unit, corner.piece) and self._is_open(unit, corner.leaving)

    def _is_open(self, unit: int, e: int) -> bool:
        edge = self.ground.seams.edges[e]
        return self._holds(unit, edge.right) != self._holds(unit, edge.left)


def _probes(tip: Tip, place: Point) -> list[Point]:
    """Points of a tip's rim: its corners and the middles between them."""
    rim = [plus(place, x) for x in tip.rim()]
    return [*rim, *(between(p, q, 0.5) for p, q in zip(rim, rim[1:], strict=False))]


def _between(one: Bound, other: Bound, x: Vector) -> bool:
    """Whether ``x`` lies inside two bounds and beyond the corner, between their normals."""
    return (
        one.excess(x) <= _CLOSE
        and other.excess(x) <= _CLOSE
        and cross(one.normal, x) >= -_CLOSE
        and cross(x, other.normal) >= -_CLOSE
    )


def _direction(start: Point, end: Point) -> Vector:
    return unit(minus(end, start))


def _overlaid(operation: Callable[..., Any], *given: Any) -> Any:
    """What an operation of Shapely's makes of shapes; on a fine grid where it fails.

    GEOS loses its way among edges that lie along each other but for the last digit. On a grid
    (its OverlayNG with snap-rounding) it does not.
    """
    try:
        return operation(*given)
    except shapely.GEOSException:
        return operation(*map(shapely.make_valid, given), grid_size=_GRID)
