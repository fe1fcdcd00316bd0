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
from collections.abc import Callable, Iterator, Mapping, MutableMapping, Sequence, Set
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.seams import Corner, Seams
from piecewright.patchwork.geometry.convex_cover import (
    Stretch,
    clipped,
    convex,
    distance_to,
    sticks_out,
)
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
from piecewright.patchwork.outlines.mitres import AGREED, HalfPlane, Mitre, MitreKey
from piecewright.patchwork.outlines.proximity import SpatialIndex, UnitMitre

_CLOSE: Final = 5e-5
"""Inches by which a mitre may stick out of a unit unseen: more than a curve's points are off."""

_SLIVER: Final = 1e-8
"""Square inches; what is left over by rounding alone is smaller."""

_SHORT: Final = 1e-9
"""Inches; a shorter line has no direction worth cutting along."""

_Probe: TypeAlias = tuple[Point, Sequence[int]]
"""A point of a mitre's edge on the block, and the pieces within one allowance of it."""


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
    places = np.array(index.seams.points)[asked]
    found, near = index.edges_about(places, places, longest[asked])
    others = (index.ends[near] != asked[found][:, None]).all(axis=1)
    found, near = found[others], near[others]
    np.minimum.at(room, asked[found], index.gaps(places[found], near))
    for point in asked[longest[asked] > room[asked]].tolist():
        yield point, float(room[point])


def _widths_at(index: SpatialIndex, point: int) -> set[float]:
    """The allowances (inches) of the edges that meet at a point."""
    corners = (c for run in index.seams.around[point] for c in run)
    return {index.widths[e] for c in corners for e in (c.arriving, c.leaving)}


# --- narrow phase: what of a mitre sticks out ----------------------------------------------------


def _surroundings(index: SpatialIndex, candidates: Sequence[_Candidate]) -> Iterator[_Surroundings]:
    """The mitres, to be cut, each with the edges near it."""
    # An edge further off than the widest allowance has no strip that reaches the mitre.
    rings = [np.array(one.mitre.ring(index.seams.points[one.point])) for one in candidates]
    boxes = np.array([(ring.min(axis=0), ring.max(axis=0)) for ring in rings])
    found, near = index.edges_about(boxes[:, 0], boxes[:, 1], index.most + AGREED)
    found, near = found[order := np.lexsort((near, found))], near[order]
    each = np.split(near, np.searchsorted(found, range(1, len(candidates))))
    for one, own in zip(candidates, each, strict=True):
        yield _Surroundings(index, one, own.tolist())


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
        self._first_with = index.first_common_units(self.corner.piece)
        self.joined = {p: self._first_with(p) for p in sorted(around)}
        self._straight = index.bent.isdisjoint(around)

    def trim(self) -> bool:
        """Cut what sticks out of a unit; whether that was anything."""
        cut = False
        close = self._close_since(self._first_probes)
        # Only a unit that gains a piece near the mitre looks different from here.
        for sewn in sorted({since for since in self.joined.values() if since >= self._first}):
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
        first = self._first_with
        return [(p, min(map(first, near), default=math.inf)) for p, near in probes]

    def _in_own_mitre(self, unit: int, far: Sequence[Point]) -> bool:
        """Whether points lie in the mitre of the unit's own corner at the mitre's place."""
        for corners in self.index.unit_corners(self._held(unit), self.point):
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
        held = self._held(unit)
        sides = self._open_sides(held)
        edges = [self.index.seams.edges[e] for e, _ in sides]
        points = {p for edge in edges for p in (edge.start, edge.end)} | {self.point}
        corners = ((p, run) for p in points for run in self.index.unit_corners(held, p))
        own = (self.index.unit_mitre(p, run) for p, run in corners)
        mitres = [mitre for mitre in own if mitre is not None]
        among = self._cut_among_lines if self._straight else self._cut_among_curves
        return among(held, sides, mitres)

    def _cut_among_lines(
        self, held: Set[int], sides: Sequence[tuple[int, bool]], mitres: Sequence[UnitMitre]
    ) -> bool:
        """The same where all edges near the mitre are straight."""
        # The unit's plain offset near here, in convex parts: cloth, strips and mitres.
        strips = [self.index.convex_strip(*side) for side in sides]
        parts = [strip for strip, _ in strips]
        for piece in held:
            parts += self.index.convex_cloth(piece)
        parts += [mitre.shape for mitre in mitres]
        rims = [rim for mitre in mitres for rim in mitre.rim]
        raw_edges = [raw_edge for _, raw_edge in strips]
        bounds = [*raw_edges, *rims]

        def still() -> bool:
            shape = convex(self.mitre.ring(self.place))
            return sticks_out(shape, parts, bounds, _CLOSE / 2)

        if not still():
            return False
        shape = convex(self.mitre.ring(self.place))
        inside = [clipped(*raw_edge, shape) for raw_edge in raw_edges]
        across = [part for part in inside if part is not None and math.dist(*part) > _SHORT]
        across += [rim for rim in rims if clipped(*rim, shape) is not None]
        return self._cut_along(across, still)

    def _cut_among_curves(
        self, held: Set[int], sides: Sequence[tuple[int, bool]], mitres: Sequence[UnitMitre]
    ) -> bool:
        """The same where some are curves."""
        # The unit's plain offset near here, in parts: cloth, strips and mitres.
        strips = [self.index.strip(e, forward) for e, forward in sides]
        rings = [mitre.ring for mitre in mitres]
        cloth = [self.index.cloth(piece) for piece in sorted(held)]
        plain_offset = np.array([*cloth, *(s.shape for s in strips), *map(ring_polygon, rings)])
        shape = ring_polygon(self.mitre.ring(self.place))
        outside_unit = _left_over(shape, plain_offset)
        if not _shows(outside_unit):
            return False
        across = [*_crossed(shape, [s.raw_edge for s in strips]), *_rims_crossed(shape, rings)]

        def still() -> bool:
            left = ring_polygon(self.mitre.ring(self.place))
            return _shows(overlaid(shapely.intersection, outside_unit, left))

        return self._cut_along(across, still)

    def _cut_along(self, across: Sequence[Stretch], still: Callable[[], bool]) -> bool:
        """Cut along raw edges that run across the mitre until it sticks out no more.

        Where the mitre leaves the unit it crosses a raw edge, so those are the lines to cut along.
        A cut that would take allowance is refused by the mitre; the next one is tried.

        Args:
            still: whether it sticks out yet.
        """
        cut = False
        for start, end in self._nearest_first(across):
            normal = outward(normalised(minus(end, start)))
            if self.mitre.cut(HalfPlane(normal, dot(normal, minus(start, self.place)))):
                cut = True
                if not still():
                    break
        return cut

    def _nearest_first(self, across: Sequence[Stretch]) -> list[Stretch]:
        """Raw edges, the nearest to the corner first: only as many are cut along as are needed."""
        # Rounded, so that equally near ones come in the order of their coordinates on any machine.
        away = [round(distance_to(self.place, *line), 9) for line in across]
        return [line for _, line in sorted(zip(away, across, strict=True))]

    def _held(self, unit: int) -> Set[int]:
        """The pieces near the mitre that are part of a unit."""
        return {piece for piece, since in self.joined.items() if since <= unit}

    def _open_sides(self, held: Set[int]) -> list[tuple[int, bool]]:
        """The open sides of a unit near the mitre, and whether its piece travels each forward."""
        edges = self.index.seams.edges
        both = [(e, edges[e].right in held, edges[e].left in held) for e in self.near]
        return [(e, right) for e, right, left in both if right != left]


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


def _crossed(mitre: Polygon, raw_edges: Sequence[LineString]) -> Iterator[Stretch]:
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


def _rims_crossed(mitre: Polygon, rings: Sequence[Sequence[Point]]) -> Iterator[Stretch]:
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
