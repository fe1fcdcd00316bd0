"""The properties of matched outlines, measured with Shapely alone.

(i) A piece's cut outline lies inside its plain offset, the mitred buffer.
(ii) No ear sticks out of the plain offset of a sewn unit that holds the piece.
(iii) At both ends of every join's seam the raw edges of the two units end together when they are
laid right sides together, within 0.002 in along the seam, or a mismatch is reported. Nothing is
asked at the open end of a partial seam.
(iv) The whole allowance stays along every finished edge: the strip straight out from it, as far as
it lies in the plain offset.
(v) A convex piece has a convex cut outline.

Nothing here knows how the outlines were found: the finished pieces, the cut outlines
and the nested joins are all that is looked at.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

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

    def __init__(self, block: Block, width: float = 0.25, corners: Corners = "matched") -> None:
        self.width = width
        self.ids = [p.id for p in block.pieces]
        self.seams: Seams = planar_map([p.outline for p in block.pieces])
        self.order: Order = order_of(block, self.seams)
        self.joins: Joins = nested(self.order, self.ids)
        self.result: CutOutlines = cut_outlines(
            self.seams, self.order, Allowance(width, width), corners
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


def ears(cut: Cut) -> dict[tuple[str, int], float]:
    """(ii) How far each piece sticks out of the plain offset of each sewn unit it is in."""
    found = {}
    for k, (first, second) in enumerate(units(cut.joins)):
        unit = shapely.unary_union([cut.finished[n] for n in first | second])
        room = offset(unit, cut.width)
        for name in first | second:
            found[name, k] = reach_outside(cut.cut[name], room)
    return found


def end_gaps(cut: Cut) -> dict[tuple[int, tuple[float, float]], float]:
    """(iii) How far apart the two raw edges end, for each join and each end of its seam."""
    gaps = {}
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
        partial = cut.order.joins[k].partial
        for toward in (points[::-1], points):
            if partial is not None and toward[-1] == cut.seams.points[partial.open]:
                continue  # nothing is asked at an open end
            ends = [raw_end(cut, unit, toward) for unit in (first, second)]
            gaps[k, toward[-1]] = abs(ends[0] - ends[1])
    return gaps


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


def raw_end(cut: Cut, unit: frozenset[str], points: Sequence[tuple[float, float]]) -> float:
    """How far past a seam's end the raw edge of a unit goes on, along the seam."""
    before, end = points[-2], points[-1]
    size = math.dist(before, end)
    middle = shapely.Point((before[0] + end[0]) / 2, (before[1] + end[1]) / 2)
    name = min(unit, key=lambda n: cut.finished[n].distance(middle))
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
