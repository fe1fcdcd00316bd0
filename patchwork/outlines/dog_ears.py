"""Tips that stick out of a sewn unit away from their own corner.

A long tip (see ``patchwork.outlines.long_tips``) may cross a narrow neighbour and stick out on its
far side.  So it is held against the plain offset of every unit that its piece becomes part of: the
unit's cloth, the strips beside its outside and the tips of its own corners.  Only what lies near
the tip matters to it, so it is looked at when a piece near it joins its unit, and no more once it
lies within one allowance of the unit's cloth: it then lies in the plain offset of this and of every
larger unit.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, MutableMapping, Sequence
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.seams import Corner, Seams
from piecewright.patchwork.geometry.polygons import ring_polygon
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import (
    Point,
    Vector,
    cross,
    dot,
    minus,
    normalised,
    outward,
)
from piecewright.patchwork.outlines.long_tips import CLOSE, LongTip, Probe, long_tips, probes_of
from piecewright.patchwork.outlines.mitres import AGREED, FLAT, Bound, Tip, TipKey
from piecewright.patchwork.outlines.proximity import Ground

_SLIVER = 1e-8
"""Square inches; what is left over by rounding alone is smaller."""

_SHORT = 1e-9
"""Inches; a shorter line has no direction worth cutting along."""

_Stretch: TypeAlias = tuple[Point, Point]
"""A straight part of a raw edge, in the sense of travel."""


def cut_ears(
    seams: Seams,
    order: Order,
    widths: Sequence[float],
    tips: MutableMapping[TipKey, Tip],
    reach: Sequence[float],
) -> set[int]:
    """Cut the tips that stick out of any unit's plain offset along that unit's raw edges.

    Args:
        widths: the allowance of each edge, inches.
        tips: the tips of all corners; one that is cut is replaced.
        reach: of the longest tip at each point, inches.

    Returns:
        The points at which a tip was cut.
    """
    ground = Ground(seams, order, widths)
    cut: set[int] = set()
    long = long_tips(ground, tips, reach)
    if not long:
        return cut
    for found in _surroundings(ground, long):
        if found.trim():
            tips[found.corner.piece, found.corner.side] = found.tip
            cut.add(found.point)
    return cut


def _surroundings(ground: Ground, long: Sequence[LongTip]) -> Iterator[_Surroundings]:
    """The tips, to be cut, each with the edges near it."""
    shapes = [ring_polygon(one.tip.ring(ground.seams.points[one.point])) for one in long]
    found, near = ground.tree.query(shapes, "dwithin", ground.most + AGREED)
    each = np.split(near, np.searchsorted(found, range(1, len(long))))
    for one, own in zip(long, each, strict=True):
        yield _Surroundings(ground, one, sorted(own.tolist()))


# --- a tip and its neighbours ---------------------------------------------------------------


class _Surroundings:
    """A tip, and what of the block lies near it.

    ``unit`` is always one that the tip's piece is part of.
    """

    def __init__(self, ground: Ground, long: LongTip, near: Sequence[int]) -> None:
        self.ground, self.near = ground, near
        self.point, self.corner = long.point, long.corner
        self.tip, self._first, self._probes = long.tip.copy(), long.unit, long.probes
        self.place = ground.seams.points[self.point]
        edges = [ground.seams.edges[e] for e in near]
        points = {p for edge in edges for p in (edge.start, edge.end)} | {self.point}
        around = {c.piece for p in points for run in ground.seams.around[p] for c in run}
        self.joined = {p: ground.met(self.corner.piece, p) for p in sorted(around)}

    def trim(self) -> bool:
        """Cut what sticks out of a unit; says whether that was anything."""
        cut = False
        close = self._close_since(self._probes)
        for sewn in sorted({since for since in self.joined.values() if since >= self._first}):
            far = [p for p, since in close if since > sewn]
            if not far:
                break
            if not self._in_own_tip(sewn, far) and self._cut(sewn):
                cut = True
                close = self._close_since(probes_of(self.ground, self.tip, self.place))
        return cut

    def _close_since(self, probes: Sequence[Probe]) -> list[tuple[Point, float]]:
        """Points of the tip's edge, each with the first unit with cloth within one allowance."""
        met, piece = self.ground.met, self.corner.piece
        return [(p, min((met(piece, q) for q in near), default=math.inf)) for p, near in probes]

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

    def _cut(self, unit: int) -> bool:
        outside = self._outside(unit)
        strips = [self.ground.strip(e, forward) for e, forward in outside]
        rings = [tip.ring(place) for tip, place in self._unit_tips(unit, outside)]
        cloth = [self.ground.cloth(p) for p, since in self.joined.items() if since <= unit]
        plain_offset = np.array([*cloth, *(s.shape for s in strips), *map(ring_polygon, rings)])
        shape = ring_polygon(self.tip.ring(self.place))
        outside_unit = _left_over(shape, plain_offset)
        if not _shows(outside_unit):
            return False
        cut = False
        across = [*_crossed(shape, [s.raw_edge for s in strips]), *_rims_crossed(shape, rings)]
        for start, end in self._nearest_first(across):
            normal = outward(_direction(start, end))
            if self.tip.cut(Bound(normal, dot(normal, minus(start, self.place)))):
                cut = True
                shape = ring_polygon(self.tip.ring(self.place))
                outside_unit = overlaid(shapely.intersection, outside_unit, shape)
                if not _shows(outside_unit):
                    break
        return cut

    def _nearest_first(self, across: Sequence[_Stretch]) -> list[_Stretch]:
        """Raw edges, the nearest to the corner first: only as many are cut along as are needed."""
        if not across:
            return []
        away = shapely.distance(shapely.linestrings(across), shapely.Point(self.place))
        return [line for _, line in sorted(zip(away.round(9).tolist(), across, strict=True))]

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

    def _unit_tips(
        self, unit: int, outside: Sequence[tuple[int, bool]]
    ) -> Iterator[tuple[Tip, Point]]:
        """The whole tips of a unit's own corners near the tip, and their places."""
        seams, widths = self.ground.seams, self.ground.widths
        edges = [seams.edges[e] for e, _ in outside]
        points = {p for edge in edges for p in (edge.start, edge.end)} | {self.point}
        for point in sorted(points):
            for corners in self._corners(unit, point):
                turns = 180.0 - sum(c.inner_angle for c in corners)
                if turns > FLAT:
                    last, first = corners[-1], corners[0]
                    sides = widths[last.arriving], widths[first.leaving]
                    yield Tip(last.arrives, first.leaves, turns, *sides), seams.points[point]

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


def _between(one: Bound, other: Bound, x: Vector) -> bool:
    """Whether ``x`` lies inside two bounds and beyond the corner, between their normals."""
    return (
        one.excess(x) <= CLOSE
        and other.excess(x) <= CLOSE
        and cross(one.normal, x) >= -CLOSE
        and cross(x, other.normal) >= -CLOSE
    )


def _direction(start: Point, end: Point) -> Vector:
    return normalised(minus(end, start))


def _left_over(tip: Polygon, plain_offset: NDArray[np.object_]) -> BaseGeometry:
    """What of a tip lies outside the parts of a unit's plain offset, or a sliver of it.

    A part at a time is taken away: most often little of the tip is left after the first.
    """
    rest: BaseGeometry = tip
    for part in plain_offset[shapely.intersects(tip, plain_offset)]:
        rest = overlaid(shapely.difference, rest, part)
        if rest.area < _SLIVER:
            break
    return rest


def _shows(rest: BaseGeometry) -> bool:
    """Whether what is left over is more than rounding and the points of curves make."""
    return rest.area >= _SLIVER and not rest.buffer(-CLOSE / 2, join_style="mitre").is_empty


def _crossed(tip: Polygon, raw_edges: Sequence[LineString]) -> Iterator[_Stretch]:
    """Where raw edges run across a tip, in the sense of travel.

    A curve's raw edge gives the chord between the points at which it enters and leaves.
    """
    inside = overlaid(shapely.intersection, tip, np.array(raw_edges, dtype=object))
    for raw_edge, part in zip(raw_edges, inside, strict=True):
        points = shapely.get_coordinates(part)
        if len(points) > 1:
            along = np.asarray(shapely.line_locate_point(raw_edge, shapely.points(points)))
            first, last = along.argmin(), along.argmax()
            if along[last] - along[first] > _SHORT:
                (a, b), (c, d) = points[first].tolist(), points[last].tolist()
                yield (a, b), (c, d)


def _rims_crossed(tip: Polygon, rings: Sequence[Sequence[Point]]) -> Iterator[_Stretch]:
    """The straight parts of the rims of a unit's tips that run across a tip."""
    rims = [
        (start, end)
        for ring in rings
        for start, end in itertools.pairwise(ring[1:])
        if math.dist(start, end) > _SHORT
    ]
    if rims:
        meeting = shapely.intersects(shapely.linestrings(rims), tip)
        yield from (rim for rim, meets in zip(rims, meeting.tolist(), strict=True) if meets)
