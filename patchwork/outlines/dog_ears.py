"""Dog ears: mitres that stick out of a sewn unit away from their own corner, and how they are cut.

A long mitre may cross a narrow neighbour and stick out on its far side.  So it is held against the
plain offset of every unit that its piece becomes part of: the unit's cloth, the strips beside its
outside and the mitres of its own corners.  As with collisions, there is a broad and a narrow phase.

The broad phase finds the few mitres that may stick out at all.  That takes one that reaches an
edge which does not end at its corner, or the far end of one that does: where the edges round the
corner are straight, have one allowance, and reach further than the mitre, and all others lie
further off, the mitre lies among the strips and the cloth round its corner, and
``patchwork.outlines.matching`` has cut what does not.  And it takes a unit in which the corner has
a neighbour: in others the mitre is the unit's own one.  Most of the mitres that are left lie within
one allowance of the cloth of the first such unit, and so of all later ones.

The narrow phase overlays shapes.  Only what lies near a mitre matters to it, so it is looked at
when a piece near it joins its unit, and no more once it lies within one allowance of the unit's
cloth: it then lies in the plain offset of this and of every larger unit.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, MutableMapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

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
    between,
    cross,
    dot,
    minus,
    normalised,
    outward,
    plus,
)
from piecewright.patchwork.outlines.mitres import AGREED, FLAT, HalfPlane, Mitre, MitreKey
from piecewright.patchwork.outlines.proximity import SpatialIndex

_CLOSE: Final = 5e-5
"""Inches by which a mitre may stick out of a unit unseen: more than a curve's points are off."""

_SLIVER: Final = 1e-8
"""Square inches; what is left over by rounding alone is smaller."""

_SHORT: Final = 1e-9
"""Inches; a shorter line has no direction worth cutting along."""

_Probe: TypeAlias = tuple[Point, Sequence[int]]
"""A point of a mitre's edge on the block, and the pieces within one allowance of it."""

_Stretch: TypeAlias = tuple[Point, Point]
"""A straight part of a raw edge, in the sense of travel."""


def cut_ears(
    seams: Seams,
    order: Order,
    widths: Sequence[float],
    mitres: MutableMapping[MitreKey, Mitre],
    reach: Sequence[float],
) -> set[int]:
    """Cut the mitres that stick out of any unit's plain offset along that unit's raw edges.

    Args:
        widths: the allowance of each edge, inches.
        mitres: the mitres of all corners; one that is cut is replaced.
        reach: of the longest mitre at each point, inches.

    Returns:
        The points at which a mitre was cut.
    """
    index = SpatialIndex(seams, order, widths)
    cut: set[int] = set()
    candidates = _candidates(index, mitres, reach)
    if not candidates:
        return cut
    for found in _surroundings(index, candidates):
        if found.trim():
            mitres[found.corner.piece, found.corner.side] = found.mitre
            cut.add(found.point)
    return cut


# --- broad phase: which mitres may be ears -------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A mitre that reaches further than the strips and the cloth round its corner.

    Attributes:
        point: the point its corner lies at.
        unit: the first unit in which the corner has a neighbour.
        probes: points of its edge.
    """

    point: int
    corner: Corner
    mitre: Mitre
    unit: int
    probes: Sequence[_Probe] = ()


def _candidates(
    index: SpatialIndex, mitres: Mapping[MitreKey, Mitre], reach: Sequence[float]
) -> list[_Candidate]:
    """The mitres of a block that do not lie within one allowance of their first unit's cloth.

    Args:
        reach: of the longest mitre at each point, inches.
    """
    long = list(_reaching(index, mitres, reach))
    if not long:
        return []
    # The edge points of all mitres stand in one row, so that the index is asked once.
    points = [_edge_points(one.mitre, index.seams.points[one.point]) for one in long]
    owner = np.repeat(np.arange(len(long)), [len(own) for own in points])
    found, pieces = index.near([p for own in points for p in own], index.least + _CLOSE)
    units = np.array([one.unit for one in long])[owner[found]]
    # A point is beyond unless some piece near it belongs to its mitre's first unit.
    beyond = np.full(len(owner), True)
    beyond[found[index.hold(units, pieces)]] = False
    left = np.unique(owner[beyond])
    # What lies near the points of these is kept: later units are judged by it.
    of_them = np.isin(owner[found], left)
    near = _gathered(len(owner), found[of_them], pieces[of_them])
    starts = np.searchsorted(owner, left).tolist()
    return [
        replace(
            long[i],
            probes=list(zip(points[i], near[start : start + len(points[i])], strict=True)),
        )
        for i, start in zip(left.tolist(), starts, strict=True)
    ]


def _probes(index: SpatialIndex, mitre: Mitre, place: Point) -> list[_Probe]:
    """The probes of a mitre whose corner lies at ``place``."""
    points = _edge_points(mitre, place)
    near = _gathered(len(points), *index.near(points, index.least + _CLOSE))
    return list(zip(points, near, strict=True))


def _gathered(count: int, found: NDArray[np.int64], pieces: NDArray[np.int64]) -> list[list[int]]:
    """For each of so many points the pieces with which it makes a pair."""
    near: list[list[int]] = [[] for _ in range(count)]
    for k, piece in zip(found.tolist(), pieces.tolist(), strict=True):
        near[k].append(piece)
    return near


def _edge_points(mitre: Mitre, place: Point) -> list[Point]:
    """The corners of a mitre's rim, and the middles of its straight parts."""
    rim, (first, last) = mitre.rim(), mitre.ends
    middles = (between(p, q, 0.5) for p, q in itertools.pairwise((first, *rim, last)))
    return [plus(place, x) for x in (*rim, *middles)]


def _reaching(
    index: SpatialIndex, mitres: Mapping[MitreKey, Mitre], reach: Sequence[float]
) -> Iterator[_Candidate]:
    """The mitres that reach an edge that may matter to them."""
    sewn_by = index.order.sewn_by
    for point, room in _rooms(index, reach):
        for corner in (c for run in index.seams.around[point] for c in run):
            mitre = mitres[corner.piece, corner.side]
            if mitre.pointed and mitre.reach > max(room, index.least + AGREED):
                joins = [sewn_by[e] for e in (corner.arriving, corner.leaving)]
                sewn = [join for join in joins if join is not None]
                if sewn:  # with the outside on both sides, no unit ever holds a neighbour here
                    yield _Candidate(point, corner, mitre, index.order.pieces + min(sewn))


def _rooms(index: SpatialIndex, reach: Sequence[float]) -> Iterator[tuple[int, float]]:
    """Points with a mitre longer than the way to the first edge that may matter to it.

    That way, in inches, comes with each.
    """
    longest = np.array(reach)
    # What is no longer than the least allowance lies within that of its own corner.
    asked = np.flatnonzero(longest > index.least + AGREED)
    if not len(asked):
        return
    room = np.full(len(longest), math.inf)
    # Where a wider strip lies beside a narrower one, a mitre may leave the narrower at once.
    if index.least != index.most:
        room[[p for p in asked.tolist() if len(_widths_at(index, p)) > 1]] = 0.0
    # Edges that end at the point give room as far as they reach; a curve leaves the straight
    # line of its strip at the point itself.
    straight = np.where(index.curved, 0.0, shapely.length(index.lines))
    np.minimum.at(room, index.ends, straight[:, None])
    # All other edges give room up to where they are nearest.
    dots = np.asarray(shapely.points(np.array(index.seams.points)[asked]))
    found, near = index.tree.query(dots, predicate="dwithin", distance=longest[asked])
    others = (index.ends[near] != asked[found][:, None]).all(axis=1)
    found, near = found[others], near[others]
    gaps = shapely.distance(dots[found], index.lines[near])
    np.minimum.at(room, asked[found], gaps)
    for point in asked[longest[asked] > room[asked]].tolist():
        yield point, float(room[point])


def _widths_at(index: SpatialIndex, point: int) -> set[float]:
    """The allowances (inches) of the edges that meet at a point."""
    corners = (c for run in index.seams.around[point] for c in run)
    return {index.widths[e] for c in corners for e in (c.arriving, c.leaving)}


# --- narrow phase: what of a mitre sticks out ----------------------------------------------------


def _surroundings(index: SpatialIndex, candidates: Sequence[_Candidate]) -> Iterator[_Surroundings]:
    """The mitres, to be cut, each with the edges near it."""
    shapes = [ring_polygon(one.mitre.ring(index.seams.points[one.point])) for one in candidates]
    # An edge further off than the widest allowance has no strip that reaches the mitre.
    found, near = index.tree.query(shapes, "dwithin", index.most + AGREED)
    each = np.split(near, np.searchsorted(found, range(1, len(candidates))))
    for one, own in zip(candidates, each, strict=True):
        yield _Surroundings(index, one, sorted(own.tolist()))


class _Surroundings:
    """A mitre, and what of the block lies near it.

    ``unit`` is always one that the mitre's piece is part of: the piece itself or one of its
    ancestors in the tree of joins. These have ascending numbers, so that of two such units the
    one with the larger number holds the other.

    Attributes:
        joined: for each piece near the mitre the first unit that holds it together with the
            mitre's own piece.
    """

    def __init__(self, index: SpatialIndex, one: _Candidate, near: Sequence[int]) -> None:
        self.index, self.near = index, near
        self.point, self.corner = one.point, one.corner
        self.mitre, self._first, self._first_probes = one.mitre.copy(), one.unit, one.probes
        self.place = index.seams.points[self.point]
        edges = [index.seams.edges[e] for e in near]
        points = {p for edge in edges for p in (edge.start, edge.end)} | {self.point}
        around = {c.piece for p in points for run in index.seams.around[p] for c in run}
        self.joined = {p: index.first_common_unit(self.corner.piece, p) for p in sorted(around)}

    def trim(self) -> bool:
        """Cut what sticks out of a unit; whether that was anything."""
        cut = False
        close = self._close_since(self._first_probes)
        # Only a unit that gains a piece near the mitre looks different from here.
        units = range(self._first, len(self.index.order.parents))
        for sewn in sorted({since for since in self.joined.values() if since in units}):
            far = [p for p, since in close if since > sewn]
            if not far:
                break  # it lies in this unit's plain offset, and so in those of all later ones
            # Overlays are dear, and a mitre that is part of the unit's own needs none.
            if not self._in_own_mitre(sewn, far) and self._cut(sewn):
                cut = True
                close = self._close_since(_probes(self.index, self.mitre, self.place))
        return cut

    def _close_since(self, probes: Sequence[_Probe]) -> list[tuple[Point, float]]:
        """Points of the mitre's edge, each with the first unit with cloth within one allowance."""
        first, piece = self.index.first_common_unit, self.corner.piece
        return [(p, min((first(piece, q) for q in near), default=math.inf)) for p, near in probes]

    def _in_own_mitre(self, unit: int, far: Sequence[Point]) -> bool:
        """Whether points lie in the mitre of the unit's own corner at the mitre's place."""
        for corners in self._corners(unit, self.point):
            if self.corner in corners:
                last, first = corners[-1], corners[0]
                one = HalfPlane(outward(last.arrives), self.index.widths[last.arriving])
                other = HalfPlane(outward(first.leaves), self.index.widths[first.leaving])
                # At a reflex corner a unit has no mitre: its strips meet in front of it.
                inside = sum(c.inner_angle for c in corners) < 180.0
                return inside and all(_between(one, other, minus(p, self.place)) for p in far)
        return False

    def _cut(self, unit: int) -> bool:
        """Cut what sticks out of one unit, along its raw edges; whether that was anything."""
        # The unit's plain offset near here, in parts: cloth, strips and mitres.
        outside = self._outside(unit)
        strips = [self.index.strip(e, forward) for e, forward in outside]
        rings = [mitre.ring(place) for mitre, place in self._unit_mitres(unit, outside)]
        cloth = [self.index.cloth(p) for p, since in self.joined.items() if since <= unit]
        plain_offset = np.array([*cloth, *(s.shape for s in strips), *map(ring_polygon, rings)])
        shape = ring_polygon(self.mitre.ring(self.place))
        outside_unit = _left_over(shape, plain_offset)
        if not _shows(outside_unit):
            return False
        # Where the mitre leaves the unit it crosses a raw edge, so those are the lines to cut
        # along. A cut that would take allowance is refused by the mitre; the next one is tried.
        cut = False
        across = [*_crossed(shape, [s.raw_edge for s in strips]), *_rims_crossed(shape, rings)]
        for start, end in self._nearest_first(across):
            normal = outward(normalised(minus(end, start)))
            if self.mitre.cut(HalfPlane(normal, dot(normal, minus(start, self.place)))):
                cut = True
                shape = ring_polygon(self.mitre.ring(self.place))
                outside_unit = overlaid(shapely.intersection, outside_unit, shape)
                if not _shows(outside_unit):
                    break
        return cut

    def _nearest_first(self, across: Sequence[_Stretch]) -> list[_Stretch]:
        """Raw edges, the nearest to the corner first: only as many are cut along as are needed."""
        if not across:
            return []
        away = shapely.distance(shapely.linestrings(across), shapely.Point(self.place))
        # Rounded, so that equally near ones come in the order of their coordinates on any machine.
        return [line for _, line in sorted(zip(away.round(9).tolist(), across, strict=True))]

    def _outside(self, unit: int) -> list[tuple[int, bool]]:
        """The open sides of a unit near the mitre, and whether its piece travels each forward."""
        found = []
        for e in self.near:
            edge = self.index.seams.edges[e]
            right, left = self._holds(unit, edge.right), self._holds(unit, edge.left)
            if right != left:
                found.append((e, right))
        return found

    def _holds(self, unit: int, piece: int | None) -> bool:
        """Whether a piece near the mitre is part of a unit; None lies outside the block."""
        return piece is not None and self.joined[piece] <= unit

    def _unit_mitres(
        self, unit: int, outside: Sequence[tuple[int, bool]]
    ) -> Iterator[tuple[Mitre, Point]]:
        """The whole mitres of a unit's own corners near the mitre, and their places."""
        seams, widths = self.index.seams, self.index.widths
        edges = [seams.edges[e] for e, _ in outside]
        points = {p for edge in edges for p in (edge.start, edge.end)} | {self.point}
        for point in sorted(points):
            for corners in self._corners(unit, point):
                turns = 180.0 - sum(c.inner_angle for c in corners)
                if turns > FLAT:
                    last, first = corners[-1], corners[0]
                    sides = widths[last.arriving], widths[first.leaving]
                    yield Mitre(last.arrives, first.leaves, turns, *sides), seams.points[point]

    def _corners(self, unit: int, point: int) -> list[list[Corner]]:
        """The runs of piece corners at a point that are one corner of the unit."""
        found: list[list[Corner]] = []
        for run in self.index.seams.around[point]:
            # Corners of a run follow each other clockwise, and a unit's corner begins where its
            # outside leaves the point. A unit may touch the point with several such corners.
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
        """Whether an edge lies at the outside of a unit: one of its two pieces is the unit's."""
        edge = self.index.seams.edges[e]
        return self._holds(unit, edge.right) != self._holds(unit, edge.left)


def _between(one: HalfPlane, other: HalfPlane, x: Vector) -> bool:
    """Whether ``x`` lies in two half-planes and beyond the corner, between their normals."""
    return (
        one.excess(x) <= _CLOSE
        and other.excess(x) <= _CLOSE
        and cross(one.normal, x) >= -_CLOSE
        and cross(x, other.normal) >= -_CLOSE
    )


def _left_over(mitre: Polygon, plain_offset: NDArray[np.object_]) -> BaseGeometry:
    """What of a mitre lies outside the parts of a unit's plain offset, or a sliver of it.

    A part at a time is taken away: most often little of the mitre is left after the first.
    """
    rest: BaseGeometry = mitre
    for part in plain_offset[shapely.intersects(mitre, plain_offset)]:
        rest = overlaid(shapely.difference, rest, part)
        if rest.area < _SLIVER:
            break
    return rest


def _shows(rest: BaseGeometry) -> bool:
    """Whether what is left over is more than rounding and the points of curves make."""
    return rest.area >= _SLIVER and not rest.buffer(-_CLOSE / 2, join_style="mitre").is_empty


def _crossed(mitre: Polygon, raw_edges: Sequence[LineString]) -> Iterator[_Stretch]:
    """Where raw edges run across a mitre, in the sense of travel.

    A curve's raw edge gives the chord between the points at which it enters and leaves.
    """
    inside = overlaid(shapely.intersection, mitre, np.array(raw_edges, dtype=object))
    for raw_edge, part in zip(raw_edges, inside, strict=True):
        # What lies inside may be several parts in any order; places along the raw edge sort them.
        points = shapely.get_coordinates(part)
        if len(points) > 1:
            along = np.asarray(shapely.line_locate_point(raw_edge, shapely.points(points)))
            first, last = along.argmin(), along.argmax()
            if along[last] - along[first] > _SHORT:
                (a, b), (c, d) = points[first].tolist(), points[last].tolist()
                yield (a, b), (c, d)


def _rims_crossed(mitre: Polygon, rings: Sequence[Sequence[Point]]) -> Iterator[_Stretch]:
    """The straight parts of the rims of a unit's mitres that run across a mitre."""
    rims = [
        (start, end)
        for ring in rings
        for start, end in itertools.pairwise(ring[1:])
        if math.dist(start, end) > _SHORT
    ]
    if rims:
        meeting = shapely.intersects(shapely.linestrings(rims), mitre)
        yield from (rim for rim, meets in zip(rims, meeting.tolist(), strict=True) if meets)
