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

The narrow phase asks whether the parts of a unit's plain offset cover the mitre: where all edges
are straight they are convex (``patchwork.geometry.convex_cover``), beside curves they are overlaid
(``patchwork.outlines.ear_overlays``).  Only what lies near a mitre matters to it, so it is looked
at when a piece near it joins its unit, and no more once it lies within one allowance of the unit's
cloth: it then lies in the plain offset of this and of every larger unit.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping, MutableMapping, Sequence, Set
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

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
)
from piecewright.patchwork.outlines.ear_overlays import crossed, left_over, rims_crossed, shows
from piecewright.patchwork.outlines.mitres import (
    AGREED,
    CLOSE,
    SHORT,
    HalfPlane,
    Mitre,
    MitreKey,
)
from piecewright.patchwork.outlines.proximity import SpatialIndex, UnitMitre

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
        sides: the edges at the point that are the mitre's piece's or that neighbour's.
        probes: the points of its edge that are not within one allowance of that unit's cloth.
    """

    point: int
    corner: Corner
    mitre: Mitre
    unit: int
    sides: tuple[int, int, int]
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
    points, owner = _edge_points([(one.mitre, index.seams.points[one.point]) for one in long])
    within = index.least + CLOSE
    # Most are near the very pieces that meet at the corner, so those are looked at first.
    asked = np.flatnonzero(~_near_own(index, long, points, owner, within))
    found, pieces = index.near(points[asked], within)
    # A point is beyond unless some piece near it belongs to its mitre's first unit.
    units = np.array([one.unit for one in long])[owner[asked[found]]]
    beyond = np.full(len(asked), True)
    beyond[found[index.hold(units, pieces)]] = False
    # What lies near the points that are is kept: later units are judged by it.
    near = _gathered(len(asked), found, pieces)
    probes: dict[int, list[_Probe]] = {}
    rows = np.flatnonzero(beyond)
    at = asked[rows]
    each = zip(rows.tolist(), owner[at].tolist(), points[at].tolist(), strict=True)
    for row, i, (x, y) in each:
        probes.setdefault(i, []).append(((x, y), near[row]))
    return [replace(long[i], probes=own) for i, own in probes.items()]


def _near_own(
    index: SpatialIndex,
    long: Sequence[_Candidate],
    points: NDArray[np.float64],
    owner: NDArray[np.int64],
    within: float,
) -> NDArray[np.bool_]:
    """Which edge points surely lie within some inches of the edges first sewn at their corner.

    Args:
        points: shape (points, 2).
        owner: of each point the number of its mitre in ``long``.
    """
    # Each point with each of the three sides of its own two pieces.
    sides = np.array([one.sides for one in long])[owner]
    pairs = np.repeat(np.arange(len(owner)), sides.shape[1])
    beside = sides.ravel()
    close = np.full(len(owner), False)
    close[pairs[index.gaps.surely_close(points[pairs], beside, within)]] = True
    return close


def _gathered(count: int, found: NDArray[np.int64], pieces: NDArray[np.int64]) -> list[list[int]]:
    """For each of so many points the pieces with which it makes a pair."""
    near: list[list[int]] = [[] for _ in range(count)]
    for k, piece in zip(found.tolist(), pieces.tolist(), strict=True):
        near[k].append(piece)
    return near


def _edge_points(
    mitres: Sequence[tuple[Mitre, Point]],
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The corners of the rims of mitres at places, and the middles of their straight parts.

    With them comes the number of each one's mitre; those of a mitre stand together.
    """
    rings = [(mitre.ends[0], *mitre.rim(), mitre.ends[1]) for mitre, _ in mitres]
    counts = np.array([len(ring) for ring in rings])
    owner = np.repeat(np.arange(len(mitres)), counts)
    seen = np.array([x for ring in rings for x in ring])
    places = np.array([place for _, place in mitres])
    # The middle after each point, and the point itself: all but the last middle, which leads to
    # the next mitre, and all but the two ends.
    both = np.stack(((seen + np.roll(seen, -1, axis=0)) / 2, seen), axis=1)
    kept = np.full(both.shape[:2], True)
    last = np.cumsum(counts) - 1
    kept[last] = False
    kept[last - counts + 1, 1] = False
    owner = np.repeat(owner, 2).reshape(-1, 2)[kept]
    return both[kept] + places[owner], owner


def _reaching(
    index: SpatialIndex, mitres: Mapping[MitreKey, Mitre], reach: Sequence[float]
) -> Iterator[_Candidate]:
    """The mitres that reach an edge that may matter to them."""
    sewn_by = index.order.sewn_by
    for point, room in _rooms(index, reach):
        for run in index.seams.around[point]:
            for i, corner in enumerate(run):
                mitre = mitres[corner.piece, corner.side]
                if mitre.sharp and mitre.reach > max(room, index.least + AGREED):
                    joins = [sewn_by[e] for e in (corner.arriving, corner.leaving)]
                    sewn = [join for join in joins if join is not None]
                    if sewn:  # with the outside on both sides, no unit ever holds a neighbour here
                        # The neighbour follows across the arriving edge, or is the one before.
                        first = sewn[0] == min(sewn) and joins[0] is not None
                        far = run[(i + 1) % len(run)].arriving if first else run[i - 1].leaving
                        sides = (corner.arriving, corner.leaving, far)
                        unit = index.order.pieces + min(sewn)
                        yield _Candidate(point, corner, mitre, unit, sides)


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
    np.minimum.at(
        room, asked[found], index.gaps.exactly(places[found], near, longest[asked][found])
    )
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
        units = range(self._first, len(self.index.order.parents))
        for sewn in sorted({since for since in self.joined.values() if since in units}):
            # The probes are those of the whole mitre; once it is cut, its edge has other points.
            far = self._far(sewn) if cut else [p for p, since in close if since > sewn]
            if not far:
                break  # it lies in this unit's plain offset, and so in those of all later ones
            # A mitre that is part of the unit's own needs no closer look.
            if not self._in_own_mitre(sewn, far) and self._cut(sewn):
                cut = True
        return cut

    def _close_since(self, probes: Sequence[_Probe]) -> list[tuple[Point, float]]:
        """Points of the mitre's edge, each with the first unit with cloth within one allowance."""
        first = self._first_with
        return [(p, min(map(first, near), default=math.inf)) for p, near in probes]

    def _far(self, unit: int) -> list[Point]:
        """The points of the mitre's edge that are not within one allowance of a unit's cloth."""
        index, within = self.index, self.index.least + CLOSE
        held = [e for e, since in zip(self.near, self._sides_since, strict=True) if since <= unit]
        far = []
        ring = self.mitre.ring(self.place)[1:]
        for p in (*ring[1:-1], *(between(p, q, 0.5) for p, q in itertools.pairwise(ring))):
            if not any(index.reaches(e, p, within) for e in held):
                # One that is near no edge at all lies deep in a piece, or off the block.
                piece = -1
                if not any(index.reaches(e, p, within) for e in self.near):
                    piece = index.piece_at(p)
                if piece < 0 or self._first_with(piece) > unit:
                    far.append(p)
        return far

    @cached_property
    def _sides_since(self) -> list[int]:
        """For each edge near the mitre the first unit that has one of its pieces."""
        edges, joined = self.index.seams.edges, self.joined
        both = ((edges[e].right, edges[e].left) for e in self.near)
        return [min(joined[r], joined[r if q is None else q]) for r, q in both]

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
        if self._straight:
            return self._cut_among_lines(held, sides)
        return self._cut_among_curves(held, sides)

    def _unit_mitres(
        self, held: Set[int], sides: Sequence[tuple[int, bool]]
    ) -> Iterator[UnitMitre]:
        """The whole mitres of a unit's own corners near the mitre."""
        index = self.index
        edges = [index.seams.edges[e] for e, _ in sides]
        for point in {p for edge in edges for p in (edge.start, edge.end)} | {self.point}:
            for corners in index.unit_corners(held, point):
                mitre = index.unit_mitre(point, corners)
                if mitre is not None:
                    yield mitre

    def _cut_among_lines(self, held: Set[int], sides: Sequence[tuple[int, bool]]) -> bool:
        """The same where all edges near the mitre are straight."""
        # The unit's plain offset near here, in convex parts: cloth, strips and mitres.
        index, shape = self.index, convex(self.mitre.ring(self.place))
        strips = [index.convex_strip(*side) for side in sides]
        parts = [strip for strip, _ in strips]
        for piece in held:
            parts += index.convex_cloth(piece)
        bounds = [raw_edge for _, raw_edge in strips]
        mitres = list(self._unit_mitres(held, sides))
        parts += [mitre.shape for mitre in mitres]
        rims = [rim for mitre in mitres for rim in mitre.rim]
        if not sticks_out(shape, parts, [*bounds, *rims], CLOSE / 2):
            return False
        inside = [clipped(*raw_edge, shape) for raw_edge in bounds]
        across = [part for part in inside if part is not None and math.dist(*part) > SHORT]
        across += [rim for rim in rims if clipped(*rim, shape) is not None]

        def still() -> bool:
            left = convex(self.mitre.ring(self.place))
            return sticks_out(left, parts, [*bounds, *rims], CLOSE / 2)

        return self._cut_along(across, still)

    def _cut_among_curves(self, held: Set[int], sides: Sequence[tuple[int, bool]]) -> bool:
        """The same where some are curves."""
        # The unit's plain offset near here, in parts: cloth, strips and mitres.
        strips = [self.index.strip(e, forward) for e, forward in sides]
        mitres = list(self._unit_mitres(held, sides))
        tips = [ring_polygon(mitre.ring) for mitre in mitres]
        cloth = [self.index.cloth(piece) for piece in sorted(held)]
        plain_offset = np.array([*cloth, *(s.shape for s in strips), *tips])
        shape = ring_polygon(self.mitre.ring(self.place))
        outside_unit = left_over(shape, plain_offset)
        if not shows(outside_unit):
            return False
        rims = [rim for mitre in mitres for rim in mitre.rim]
        across = [*crossed(shape, [s.raw_edge for s in strips]), *rims_crossed(shape, rims)]

        def still() -> bool:
            left = ring_polygon(self.mitre.ring(self.place))
            return shows(overlaid(shapely.intersection, outside_unit, left))

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
        one.excess(x) <= CLOSE
        and other.excess(x) <= CLOSE
        and cross(one.normal, x) >= -CLOSE
        and cross(x, other.normal) >= -CLOSE
    )
