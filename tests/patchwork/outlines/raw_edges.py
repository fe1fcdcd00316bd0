"""The properties of matched outlines, measured with Shapely alone.

(i) A piece's cut outline lies inside its plain offset, the mitred buffer.
(ii) A corner of 90 degrees or more (to 0.1 degree) is never cut, and no other one, a point, sticks
out of the plain offset of a sewn unit that holds the piece.
(iii) At both ends of every join's seam the raw edges of the two units end together when they are
laid right sides together, within 0.002 in along the seam, or a mismatch is reported.
(iv) The whole allowance stays along every finished edge: the strip straight out from it, as far as
it lies in the plain offset.
(v) A convex piece has a convex cut outline.
(vi) Pieces whose finished shapes are alike, turned or flipped over, have one cut outline.

Nothing here knows how the outlines were found: the finished pieces, the cut outlines
and the nested joins are all that is looked at.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from typing import TypeAlias

import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import Order, nested
from piecewright.patchwork.block.model import Block, Joins
from piecewright.patchwork.block.seams import Seams, Side, planar_map
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.outlines.cut_outlines import Corners, CutOutlines, cut_outlines
from piecewright.patchwork.sewing.order import order_of

FAR = 1e4
"""A mitre limit that no point of a test block reaches."""


FINE = 5e-6
"""Inches; how far the points that stand for a curve are from it."""


class Cut:
    """A block with its cut outlines, as Shapely polygons."""

    def __init__(
        self,
        block: Block,
        width: float = 0.25,
        corners: Corners = "matched",
        edge: float | None = None,
    ) -> None:
        self.width = width
        self.uneven = edge not in (None, width)
        self.ids = [p.id for p in block.pieces]
        self.seams: Seams = planar_map([p.outline for p in block.pieces])
        self.order: Order = order_of(block, self.seams)
        self.joins: Joins = nested(self.order, self.ids)
        self.result: CutOutlines = cut_outlines(
            self.seams, self.order, Allowance(width, width if edge is None else edge), corners
        )
        self.finished = {
            name: Polygon(_shared_ring(self.seams, sides))
            for name, sides in zip(self.ids, self.seams.sides, strict=True)
        }
        self.straight = {
            p.id: all(isinstance(s, paths.Line) for s in p.outline) for p in block.pieces
        }
        self.cut = {
            name: Polygon(paths.ring(o, FINE))
            for name, o in zip(self.ids, self.result.outlines, strict=True)
        }


def _shared_ring(seams: Seams, sides: Sequence[Side]) -> list[tuple[float, float]]:
    """A piece's points, those on a curve the very same ones as its neighbour's."""
    ring: list[tuple[float, float]] = []
    for side in sides:
        segment = seams.edges[side.edge].segment
        points = [*paths.flatten(segment, FINE), segment.end]
        ring += (points if side.forward else points[::-1])[:-1]
    return ring


def offset(shape: BaseGeometry, width: float) -> BaseGeometry:
    """The plain offset: GEOS's mitred buffer, its mitres unlimited."""
    return shape.buffer(width, join_style="mitre", mitre_limit=FAR)


def units(joins: Joins) -> Iterator[tuple[frozenset[str], frozenset[str]]]:
    """The two units of each join, as sets of piece ids, first joins first."""

    def walk(node: Joins) -> Iterator[tuple[frozenset[str], frozenset[str]]]:
        if not isinstance(node, str):
            yield from walk(node[0])
            yield from walk(node[1])
            yield names(node[0]), names(node[1])

    def names(node: Joins) -> frozenset[str]:
        if isinstance(node, str):
            return frozenset([node])
        return names(node[0]) | names(node[1])

    return walk(joins)


def reach_outside(inner: BaseGeometry, outer: BaseGeometry) -> float:
    """How far (inches) a shape sticks out of another one."""
    rest = inner.difference(outer)
    if rest.is_empty or rest.area < 1e-12:
        return 0.0
    corners = shapely.points(shapely.get_coordinates(rest))
    return float(shapely.distance(corners, outer).max())


def outside_own_offset(cut: Cut) -> dict[str, float]:
    """(i) How far each piece's cut outline sticks out of its plain offset."""
    return {
        name: reach_outside(shape, offset(cut.finished[name], cut.width))
        for name, shape in cut.cut.items()
    }


RIGHT = 89.9
"""Degrees of cloth from which a corner is whole."""


def corners(ring: Sequence[tuple[float, float]]) -> list[float]:
    """Degrees of cloth at each corner of a ring of points that runs clockwise as seen."""
    found = []
    for k, (x, y) in enumerate(ring):
        (px, py), (qx, qy) = ring[k - 1], ring[(k + 1) % len(ring)]
        turns = math.degrees(math.atan2(qy - y, qx - x) - math.atan2(y - py, x - px))
        found.append(180.0 - ((turns + 180.0) % 360.0 - 180.0))
    return found


def ring_of(shape: Polygon) -> list[tuple[float, float]]:
    """The corners of a finished piece, clockwise as seen, without those on straight sides."""
    # What runs counterclockwise where y points up runs clockwise as seen, with y down.
    ring = [(x, y) for x, y in shapely.orient_polygons(shape).exterior.coords[:-1]]
    return [p for p, angle in zip(ring, corners(ring), strict=True) if abs(angle - 180.0) > 0.01]


def tips(cut: Cut, name: str, whole: bool) -> BaseGeometry:
    """The mitres of a piece's corners of 90 to 180 degrees, or of those that are sharper."""
    ring = ring_of(cut.finished[name])
    plain = offset(cut.finished[name], cut.width)
    found = []
    for k, ((x, y), angle) in enumerate(zip(ring, corners(ring), strict=True)):
        if angle > 180.0 or (angle >= RIGHT) is not whole:
            continue
        (px, py), (qx, qy) = ring[k - 1], ring[(k + 1) % len(ring)]
        ways = []
        for dx, dy in ((x - px, y - py), (x - qx, y - qy)):
            size = math.hypot(dx, dy)
            ways.append((dx / size * FAR, dy / size * FAR))
        # Beyond the corner, between the perpendiculars of its two sides.
        (ax, ay), (bx, by) = ways
        wedge = Polygon([(x, y), (x - by, y + bx), (x + ax + bx, y + ay + by), (x + ay, y - ax)])
        found.append(plain.intersection(wedge if wedge.is_valid else wedge.buffer(0)))
    return shapely.unary_union(found)


def lost_corners(cut: Cut) -> dict[str, float]:
    """(ii) Square inches that are cut from the corners of 90 degrees or more of straight pieces."""
    return {
        name: tips(cut, name, whole=True).difference(shape.buffer(1e-6)).area
        for name, shape in cut.cut.items()
        if cut.straight[name]
    }


def _round_whole(cut: Cut, name: str) -> BaseGeometry:
    """As far round the corners of 90 to 180 degrees of a piece with curves as mitres reach."""
    sides = cut.seams.sides[cut.ids.index(name)]
    places = [cut.seams.points[cut.seams.start(side)] for side in sides]
    whole = [p for p in places if RIGHT <= corner_at(cut, name, p) < 180.0]
    return shapely.MultiPoint(whole).buffer(1.5 * cut.width)


def ears(cut: Cut) -> dict[tuple[str, int], float]:
    """(ii) How far each piece's points stick out of the plain offset of each sewn unit it is in."""
    points = {}
    for name, shape in cut.cut.items():
        whole = tips(cut, name, whole=True) if cut.straight[name] else _round_whole(cut, name)
        points[name] = shape.difference(whole.buffer(1e-5, join_style="mitre"))
    found = {}
    for k, (first, second) in enumerate(units(cut.joins)):
        unit = shapely.unary_union([cut.finished[n] for n in first | second])
        room = offset(unit, cut.width)
        for name in first | second:
            found[name, k] = reach_outside(points[name], room)
    return found


SeamEnd: TypeAlias = tuple[int, tuple[float, float]]
"""A join, and the point at which its seam ends."""


def end_gaps(cut: Cut) -> dict[SeamEnd, float]:
    """(iii) How far apart the two raw edges end, for each join and each end of its seam."""
    return {end: abs(one - other) for end, ((_, one), (_, other)) in raw_ends(cut).items()}


def raw_ends(cut: Cut) -> dict[SeamEnd, list[tuple[str, float]]]:
    """The two pieces at each end of each seam, and how far past it their raw edges go on."""
    found: dict[SeamEnd, list[tuple[str, float]]] = {}
    for k, (first, second) in enumerate(units(cut.joins)):
        one = shapely.unary_union([cut.finished[n] for n in first])
        other = shapely.unary_union([cut.finished[n] for n in second])
        common = one.intersection(other)
        lines = [g for g in getattr(common, "geoms", [common]) if g.geom_type == "LineString"]
        seam = shapely.line_merge(shapely.MultiLineString(lines))
        assert seam.geom_type == "LineString", f"join {k} has no single seam: {seam}"
        if seam.is_ring:
            continue
        points = [*seam.coords]
        for toward in (points[::-1], points):
            found[k, toward[-1]] = [_raw_end(cut, unit, toward) for unit in (first, second)]
    return found


def _end_direction(points: Sequence[tuple[float, float]], straight: bool) -> tuple[float, float]:
    """The direction in which a line of points ends; along a curve by its last three points.

    The second-order difference is the tangent of the parabola through them.
    """
    (x0, y0), (x1, y1) = points[-1], points[-2]
    u = (x0 - x1, y0 - y1)
    if len(points) > 2 and not straight:
        v = (x1 - points[-3][0], y1 - points[-3][1])
        bend = abs(u[0] * v[1] - u[1] * v[0]) / math.hypot(*u) / math.hypot(*v)
        if 1e-9 < bend < 0.05:
            u = (1.5 * u[0] - 0.5 * v[0], 1.5 * u[1] - 0.5 * v[1])
    size = math.hypot(*u)
    return (u[0] / size, u[1] / size)


def _raw_end(
    cut: Cut, unit: frozenset[str], points: Sequence[tuple[float, float]]
) -> tuple[str, float]:
    """The piece of a unit at a seam's end, and how far past it its raw edge goes on."""
    (px, py), (qx, qy) = points[-2:]
    middle = shapely.Point((px + qx) / 2, (py + qy) / 2)
    name = min(unit, key=lambda n: cut.finished[n].distance(middle))
    return name, end_along(cut, name, points)


def end_along(cut: Cut, name: str, points: Sequence[tuple[float, float]]) -> float:
    """How far past the end of a line along its edge the raw edge of a piece goes on."""
    before, end = points[-2], points[-1]
    size = math.dist(before, end)
    middle = shapely.Point((before[0] + end[0]) / 2, (before[1] + end[1]) / 2)
    u = _end_direction(points, cut.straight[name])
    for n in ((u[1], -u[0]), (-u[1], u[0])):
        probe = shapely.Point(middle.x + 1e-5 * n[0], middle.y + 1e-5 * n[1])
        if not cut.finished[name].contains(probe):
            break
    # A hair inside the raw edge, so that the line surely runs through the cloth.
    away = cut.width - (2e-6 if cut.straight[name] else 3e-4)
    base = (end[0] + away * n[0], end[1] + away * n[1])
    back = min(size / 2, 0.01)
    line = LineString(
        [(base[0] - back * u[0], base[1] - back * u[1]), (base[0] + 40 * u[0], base[1] + 40 * u[1])]
    )
    inside = cut.cut[name].intersection(line)
    reach = [
        max((x - base[0]) * u[0] + (y - base[1]) * u[1] for x, y in g.coords)
        for g in getattr(inside, "geoms", [inside])
        if not g.is_empty and g.distance(shapely.Point(line.coords[0])) < 1e-6
    ]
    return max(reach, default=-back)


def lost_allowance(cut: Cut) -> dict[str, float]:
    """(iv) Square inches of the strips straight out from a piece's edges that are cut away."""
    lost = {}
    for name, shape in cut.finished.items():
        ring = [*shape.exterior.coords]
        if not shapely.is_ccw(shape.exterior):
            ring.reverse()
        total = 0.0
        for (x0, y0), (x1, y1) in itertools.pairwise(ring):
            size = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
            n = ((y1 - y0) / size * cut.width, -(x1 - x0) / size * cut.width)
            strip = Polygon([(x0, y0), (x1, y1), (x1 + n[0], y1 + n[1]), (x0 + n[0], y0 + n[1])])
            total = max(total, strip.difference(cut.cut[name].buffer(1e-4)).area)
        lost[name] = total
    return lost


def dents(cut: Cut) -> dict[str, float]:
    """(v) For convex pieces, how far (inches) the cut outline is from its convex hull."""
    found = {}
    for name, shape in cut.finished.items():
        if shape.convex_hull.area - shape.area < 1e-5:
            found[name] = reach_outside(cut.cut[name].convex_hull, cut.cut[name])
    return found


# --- (vi): like pieces are cut alike ----------------------------------------------------------


def ways(one: Polygon, other: Polygon) -> list[tuple[bool, int]]:
    """How a finished piece lies on another one, by its corners: flipped, and shifted so far.

    Corner ``i`` of the one comes to lie on corner ``i + shift`` of the other, or where it is
    flipped on corner ``shift - i``; sides are as long and corners as wide there.
    """
    return [
        (flipped, shift)
        for flipped in (False, True)
        for shift in range(len(ring_of(other)))
        if _fits(one, other, flipped, shift)
    ]


def laid_on(corner: int, way: tuple[bool, int], count: int) -> int:
    """The corner on which a corner comes to lie."""
    flipped, shift = way
    return (shift - corner if flipped else shift + corner) % count


def _fits(one: Polygon, other: Polygon, flipped: bool, shift: int) -> bool:
    ring, onto = ring_of(one), ring_of(other)
    if len(ring) != len(onto):
        return False
    count, angles, wide = len(ring), corners(ring), corners(onto)
    for i in range(count):
        at = laid_on(i, (flipped, shift), count)
        after = laid_on(i + 1, (flipped, shift), count)
        longer = math.dist(ring[i], ring[(i + 1) % count]) - math.dist(onto[at], onto[after])
        if abs(longer) > 0.008 or abs(angles[i] - wide[at]) > 1.0:
            return False
    return True


def unlike(cut: Cut) -> Iterator[float]:
    """(vi) How far apart (inches) the cut outlines of pieces are whose finished shapes are alike.

    Laid on each other by two of their corners, in the way in which they are cut most alike; only
    pieces with straight sides are looked at. Sides that lie at the outside of the block lie on
    such sides, as they have another allowance there.
    """
    whole = shapely.unary_union(list(cut.finished.values())).boundary.buffer(1e-6)
    outside = {
        name: [
            LineString(side).intersection(whole).length
            for side in itertools.pairwise([*ring_of(shape), ring_of(shape)[0]])
        ]
        for name, shape in cut.finished.items()
    }
    firsts: list[str] = []
    for name, shape in cut.finished.items():
        if not cut.straight[name]:
            continue
        for first in firsts:
            found = [
                way
                for way in ways(shape, cut.finished[first])
                if not cut.uneven or _outside_alike(outside[name], outside[first], way)
            ]
            if found:
                yield min(_apart(cut, name, first, way) for way in found)
                break
        else:
            firsts.append(name)


def _outside_alike(own: list[float], onto: list[float], way: tuple[bool, int]) -> bool:
    """Whether as much of each side lies at the outside of the block as of that which it lies on."""
    count = len(own)
    return all(
        abs(size - onto[(laid_on(k, way, count) - way[0]) % count]) < 1e-3
        for k, size in enumerate(own)
    )


def _apart(cut: Cut, name: str, onto: str, way: tuple[bool, int]) -> float:
    """How far a piece's cut outline lies from another one's, laid so."""
    ring, other = (ring_of(cut.finished[n]) for n in (name, onto))
    count = len(ring)
    # The longest side is laid on its like, as complex numbers: turned, flipped over and moved.
    k = max(range(count), key=lambda i: math.dist(ring[i], ring[(i + 1) % count]))
    p, q = complex(*ring[k]), complex(*ring[(k + 1) % count])
    u, v = (complex(*other[laid_on(i, way, count)]) for i in (k, k + 1))
    if way[0]:
        p, q = p.conjugate(), q.conjugate()
    turn = (v - u) / (q - p)
    turn /= abs(turn)

    def lay(x: float, y: float) -> tuple[float, float]:
        z = complex(x, -y if way[0] else y)
        z = (u + v) / 2 + (z - (p + q) / 2) * turn
        return (z.real, z.imag)

    laid = Polygon([lay(x, y) for x, y in cut.cut[name].exterior.coords])
    return float(laid.exterior.hausdorff_distance(cut.cut[onto].exterior))


def corner_at(cut: Cut, name: str, at: tuple[float, float]) -> float:
    """Degrees of cloth that a piece has at a point of its outline."""
    sides = cut.seams.sides[cut.ids.index(name)]
    ring = [cut.seams.points[cut.seams.start(side)] for side in sides]
    if cut.straight[name]:
        return corners(ring)[ring.index(at)]
    # Along curves by a little circle: the share of it that lies in the cloth.
    small = shapely.Point(at).buffer(1e-3, 256)
    return 360.0 * float(small.intersection(cut.finished[name]).area / small.area)
