"""Tips that stick out of a sewn unit away from their own corner.

A long tip may cross a narrow neighbour and stick out on its far side.  Unit by unit, as they
are sewn, the tips that could still do so are held against the unit's plain offset: its
cloth, the strips beside its outside and the tips of its own corners.  A tip that lies within
one allowance of the cloth lies in the plain offset of this and of every larger unit, and
is not looked at again; so a unit is looked at with few tips, and a block with a
balanced order of sewing takes order n log n.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import STRtree
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from patchwork import paths
from patchwork.joins import Order
from patchwork.points import Point, Vector, between, cross, dot, minus, outward, plus, unit
from patchwork.polygons import ring_polygon
from patchwork.seams import Corner, Seams
from patchwork.tips import AGREED, Bound, Tip, TipKey

_CLOSE = 5e-5
"""Inches by which a tip may stick out of a unit unseen: more than a curve's points are off."""

_SLIVER = 1e-8
"""Square inches; what is left over by rounding alone is smaller."""

_FINE = 2e-5
"""Inches; how far the points that stand for a curve are from it here."""


@dataclass(slots=True)
class _Unit:
    """What is sewn so far.

    Attributes:
        outside: its open edges, each with whether its piece travels it forward.
        cloth: its finished area.
        waiting: the tips that may stick out of it or of a larger unit.
    """

    outside: dict[int, bool]
    cloth: BaseGeometry
    waiting: list[TipKey]


def cut_ears(
    seams: Seams, order: Order, widths: Sequence[float], tips: Mapping[TipKey, Tip]
) -> None:
    """Cut the tips that stick out of any unit's plain offset along that unit's raw edges.

    Args:
        widths: the allowance of each edge, inches.
        tips: the tips of all corners; they are cut in place.
    """
    trimmer = _Trimmer(seams, widths, tips)
    units = [
        _Unit(
            {s.edge: s.forward for s in own},
            ring_polygon(trimmer.ring(piece)),
            [(piece, k) for k in range(len(own)) if tips[piece, k].pointed],
        )
        for piece, own in enumerate(seams.sides)
    ]
    for join in order.joins:
        first, second = units[join.first], units[join.second]
        small, large = sorted((first.outside, second.outside), key=len)
        for e, forward in small.items():
            if large.pop(e, None) is None:
                large[e] = forward
        sewn = _Unit(
            large, shapely.union(first.cloth, second.cloth), first.waiting + second.waiting
        )
        trimmer.trim(sewn)
        units.append(sewn)
        first.waiting, second.waiting = [], []


class _Trimmer:
    """Holds units against tips; keeps what units have in common."""

    def __init__(self, seams: Seams, widths: Sequence[float], tips: Mapping[TipKey, Tip]) -> None:
        self.seams, self.widths, self.tips = seams, widths, tips
        self._points = [[*paths.flatten(e.segment, _FINE), e.segment.end] for e in seams.edges]
        self._tree = STRtree([LineString(points) for points in self._points])
        self._least, self._most = min(widths), max(widths)
        self._strips: dict[tuple[int, bool], tuple[BaseGeometry, list[Point]]] = {}

    def ring(self, piece: int) -> list[Point]:
        """A piece's points; those on a curve are the very same ones as its neighbour's."""
        points: list[Point] = []
        for side in self.seams.sides[piece]:
            own = self._points[side.edge]
            points += (own if side.forward else own[::-1])[:-1]
        return points

    def trim(self, unit: _Unit) -> None:
        """Cut what sticks out of a unit; ``waiting`` keeps the tips to be looked at again."""
        probes = [_probes(self.tips[key]) for key in unit.waiting]
        if not probes:
            return
        shapely.prepare(unit.cloth)
        dots = shapely.points(np.array([p for tip_probes in probes for p in tip_probes]))
        near = np.asarray(shapely.dwithin(unit.cloth, dots, self._least + AGREED)).tolist()
        waiting: list[TipKey] = []
        done = 0
        for key, own in zip(unit.waiting, probes, strict=True):
            far = [p for p, close in zip(own, near[done:], strict=False) if not close]
            done += len(own)
            if far:
                waiting.append(key)
                if not self._in_own_tip(unit, self.tips[key], far):
                    self._cut(unit, self.tips[key])
        unit.waiting = waiting

    def _in_own_tip(self, unit: _Unit, tip: Tip, far: Sequence[Point]) -> bool:
        """Whether points lie in the tip of the unit's own corner at the tip's place."""
        for corners in self._corners(unit, self._number(tip)):
            if tip.corner in corners:
                last, first = corners[-1], corners[0]
                one = Bound(outward(last.arrives), self.widths[last.arriving])
                other = Bound(outward(first.leaves), self.widths[first.leaving])
                inside = sum(c.inner_angle for c in corners) < 180.0
                return inside and all(_between(one, other, minus(p, tip.place)) for p in far)
        return False

    def _cut(self, unit: _Unit, tip: Tip) -> None:
        shape = ring_polygon(tip.on_block())
        if self._rest(unit, shape, tip).area < _SLIVER:
            return
        # The raw edge nearest to the corner is cut along first, and only as many as are needed.
        here = shapely.Point(tip.place)
        crossed = [
            (round(LineString(line).distance(here), 9), line)
            for line in self._raw_lines(unit, shape, tip)
        ]
        for _, (start, end) in sorted(crossed):
            normal = outward(_direction(start, end))
            if tip.cut(Bound(normal, dot(normal, minus(start, tip.place)))):
                shape = ring_polygon(tip.on_block())
                if self._rest(unit, shape, tip).area < _SLIVER:
                    return

    def _rest(self, unit: _Unit, shape: Polygon, tip: Tip) -> BaseGeometry:
        """What of a tip lies outside the unit's plain offset."""
        beside = [self._strip(e, forward)[0] for e, forward in self._near(unit, shape)]
        own_tips = [ring_polygon(t.on_block()) for t in self._unit_tips(unit, shape, tip)]
        local = shapely.intersection(unit.cloth, shapely.box(*shape.buffer(0.01).bounds))
        covered = shapely.union_all([local, *beside, *own_tips])
        return shape.difference(covered.buffer(_CLOSE, join_style="mitre"))

    def _raw_lines(self, unit: _Unit, shape: Polygon, tip: Tip) -> Iterator[tuple[Point, Point]]:
        """Where the unit's raw edge runs across a tip, as straight lines in the sense of travel.

        A curve's raw edge gives the chord between the points at which it enters and leaves.
        """
        for e, forward in self._near(unit, shape):
            raw_edge = LineString(self._strip(e, forward)[1])
            across = shapely.get_coordinates(shape.intersection(raw_edge)).tolist()
            along = sorted((raw_edge.project(shapely.Point(p)), (p[0], p[1])) for p in across)
            if along and along[-1][0] - along[0][0] > 1e-9:
                yield along[0][1], along[-1][1]
        for unit_tip in self._unit_tips(unit, shape, tip):
            rim = unit_tip.on_block()[1:]
            for start, end in zip(rim, rim[1:], strict=False):
                if math.dist(start, end) > 1e-9 and LineString([start, end]).intersects(shape):
                    yield start, end

    def _near(self, unit: _Unit, shape: Polygon) -> list[tuple[int, bool]]:
        """The open sides of a unit whose strips may touch a tip."""
        found = self._tree.query(shape, "dwithin", self._most + AGREED)
        return [(e, unit.outside[e]) for e in sorted(found.tolist()) if e in unit.outside]

    def _unit_tips(self, unit: _Unit, shape: Polygon, tip: Tip) -> Iterator[Tip]:
        """The whole tips of a unit's own corners near a piece's tip."""
        edges = [self.seams.edges[e] for e, _ in self._near(unit, shape)]
        points = {p for edge in edges for p in (edge.start, edge.end)} | {self._number(tip)}
        for point in sorted(points):
            for corners in self._corners(unit, point):
                last, first = corners[-1], corners[0]
                turns = 180.0 - sum(c.inner_angle for c in corners)
                corner = Corner(
                    -1, 0, last.arriving, first.leaving, last.arrives, first.leaves, turns
                )
                whole = Tip(
                    corner,
                    self.seams.points[point],
                    self.widths[last.arriving],
                    self.widths[first.leaving],
                )
                if whole.pointed:
                    yield whole

    def _number(self, tip: Tip) -> int:
        sides = self.seams.sides[tip.corner.piece]
        return self.seams.start(sides[tip.corner.side])

    def _corners(self, unit: _Unit, point: int) -> list[list[Corner]]:
        """The runs of piece corners at a point that are one corner of the unit."""
        found: list[list[Corner]] = []
        for run in self.seams.around[point]:
            first = [i for i, c in enumerate(run) if self._opens(unit, c)]
            for i in first:
                corners = [run[i]]
                while corners[-1].arriving not in unit.outside and len(corners) < len(run):
                    i = (i + 1) % len(run)
                    corners.append(run[i])
                found.append(corners)
        return found

    def _opens(self, unit: _Unit, corner: Corner) -> bool:
        """Whether a corner's leaving edge is the unit's outside, with the unit on its right."""
        side = self.seams.sides[corner.piece][corner.side]
        return unit.outside.get(corner.leaving) is side.forward

    def _strip(self, e: int, forward: bool) -> tuple[BaseGeometry, list[Point]]:
        """The strip beside a side, and its raw edge in the sense of travel."""
        known = self._strips.get((e, forward))
        if known is None:
            points = self._points[e] if forward else self._points[e][::-1]
            segment = self.seams.edges[e].segment
            if not forward:
                segment = paths.reverse(segment)
            count = len(points) - 1
            rim = [
                plus(p, outward(paths.tangent(segment, k / count)), self.widths[e])
                for k, p in enumerate(points)
            ]
            quads = [
                ring_polygon([points[k], rim[k], rim[k + 1], points[k + 1]]) for k in range(count)
            ]
            known = (shapely.union_all(quads), rim)
            self._strips[e, forward] = known
        return known


def _probes(tip: Tip) -> list[Point]:
    """Points of a tip's rim: its corners and the middles between them."""
    rim = [plus(tip.place, x) for x in tip.rim()]
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
