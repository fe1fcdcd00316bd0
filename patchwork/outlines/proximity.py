"""A spatial index of a block: what lies near a place, and in which unit it does so first.

It holds the block's edges, its pieces and the strips of allowance beside them as Shapely's
geometries; the edges stand in an R-tree (``shapely.STRtree``).  Which unit has two pieces first is
answered from the tree of joins.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence, Set
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.joins import Order, Spans
from piecewright.patchwork.block.seams import Corner, Seams
from piecewright.patchwork.geometry.convex_cover import Convex, Stretch, convex, is_convex
from piecewright.patchwork.geometry.path_arrays import chains
from piecewright.patchwork.geometry.paths import Curve
from piecewright.patchwork.geometry.polygons import polygons, ring_polygon
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import Point, minus, normalised, outward, plus
from piecewright.patchwork.outlines.edge_gaps import EdgeGaps
from piecewright.patchwork.outlines.mitres import FLAT, SHORT, Mitre

_FINE = 2e-5
"""Inches; how far the points that stand for a curve are from it here.

Less than half of what a mitre may stick out unseen (see ``patchwork.outlines.dog_ears``), so that
chords alone never make an ear.
"""


@dataclass(frozen=True, slots=True)
class AllowanceStrip:
    """The allowance straight out from a side, and its raw edge in the sense of travel."""

    shape: BaseGeometry
    raw_edge: LineString


@dataclass(frozen=True, slots=True)
class UnitMitre:
    """The whole mitre of a sewn unit's corner: its ring, that as a convex shape, and its rim."""

    ring: Sequence[Point]
    shape: Convex
    rim: Sequence[Stretch]


class SpatialIndex:
    """A block's edges, pieces and strips by where they lie; shapes are made when asked for.

    Attributes:
        widths: the allowance of each edge, inches; ``least`` and ``most`` of them.
        lines: the edges as Shapely's lines, by number.
        curved: which of them are curves.
        ends: the numbers of the points at which each begins and ends, shape (edges, 2).
        tree: finds edges by where they lie.
        gaps: says how far points are from edges.
    """

    def __init__(self, seams: Seams, order: Order, widths: Sequence[float]) -> None:
        self.seams, self.order, self.widths = seams, order, widths
        self.least, self.most = min(widths), max(widths)
        segments = [edge.segment for edge in seams.edges]
        self.curved = np.array([isinstance(s, Curve) for s in segments])
        self.ends = np.array([p for edge in seams.edges for p in (edge.start, edge.end)])
        self.ends = self.ends.reshape(-1, 2)
        self._chains = chains(segments, _FINE)
        starts = self._chains.starts
        owner = np.repeat(np.arange(len(seams.edges)), np.diff(starts))
        self.lines = np.asarray(shapely.linestrings(self._chains.points, indices=owner))
        self.tree = STRtree(self.lines)
        self.gaps = EdgeGaps(self._chains, self.lines, _FINE)
        self._unit_mitres: dict[tuple[int, int, int], UnitMitre | None] = {}
        self._strips: dict[tuple[int, bool], AllowanceStrip] = {}
        self._cloths: dict[int, Polygon] = {}
        self._convex_strips: dict[tuple[int, bool], tuple[Convex, Stretch]] = {}
        self._convex_cloths: dict[int, Sequence[Convex]] = {}

    # --- units -------------------------------------------------------------------------------

    @cached_property
    def _spans(self) -> Spans:
        return Spans(self.order)

    @cached_property
    def _span_arrays(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        # One more at the end, which index -1 finds: outside the block, a place that no unit has.
        return np.array([*self._spans.starts, -1]), np.array([*self._spans.ends, -1])

    @cached_property
    def beside(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """For each edge the piece to its right and the one to its left; -1 outside the block."""
        edges = self.seams.edges
        left = [-1 if edge.left is None else edge.left for edge in edges]
        return np.array([edge.right for edge in edges]), np.array(left)

    def hold(self, units: NDArray[np.int64], pieces: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Whether each unit holds the piece at the same place of the other array.

        Args:
            units, pieces: numbers, of one shape; piece -1 lies outside the block.
        """
        starts, ends = self._span_arrays
        place = starts[pieces]
        held: NDArray[np.bool_] = (starts[units] <= place) & (place < ends[units])
        return held

    def first_common_units(self, piece: int) -> Callable[[int], int]:
        """For each other piece the first unit of which both are part: their lowest common ancestor.

        All units that hold the piece are gone through once, so that each answer is looked up. With
        pieces of sections that lie apart there is none, and a number past all units is given.
        """
        starts, ends, parents = self._spans.starts, self._spans.ends, self.order.parents
        # Pieces stand in one row in which each unit has a stretch, within that of the next one.
        first = [len(parents)] * self.order.pieces
        first[starts[piece]] = piece
        start, end = starts[piece], ends[piece]
        unit = parents[piece]
        while unit is not None:
            first[starts[unit] : start] = [unit] * (start - starts[unit])
            first[end : ends[unit]] = [unit] * (ends[unit] - end)
            start, end = starts[unit], ends[unit]
            unit = parents[unit]
        return lambda other: first[starts[other]]

    def unit_corners(self, pieces: Set[int], point: int) -> list[Sequence[Corner]]:
        """The runs of piece corners at a point that are one corner of a unit.

        A unit may touch the point with several such corners.

        Args:
            pieces: those of the unit, of all that have a corner there.
        """
        found: list[Sequence[Corner]] = []
        for run in self.seams.around[point]:
            inside = [corner.piece in pieces for corner in run]
            if False in inside and self.seams.closes(run):
                # It goes all the way round: begun outside the unit, no corner of that is divided.
                k = inside.index(False)
                run, inside = run[k:] + run[:k], inside[k:] + inside[:k]
            elif False not in inside:
                found += [] if self.seams.closes(run) else [run]
                continue
            k = 0
            for held, same in itertools.groupby(inside):
                count = len(list(same))
                if held:
                    found.append(run[k : k + count])
                k += count
        return found

    def unit_mitre(self, point: int, corners: Sequence[Corner]) -> UnitMitre | None:
        """The whole mitre at a unit's corner; None where that is reflex, or a straight side.

        Args:
            corners: those of its pieces (see ``unit_corners``).
        """
        first, last = corners[0], corners[-1]
        key = point, first.leaving, last.arriving
        if key not in self._unit_mitres:
            turns = 180.0 - sum([corner.inner_angle for corner in corners])
            self._unit_mitres[key] = None
            if turns > FLAT:
                sides = self.widths[last.arriving], self.widths[first.leaving]
                mitre = Mitre(last.arrives, first.leaves, turns, *sides)
                ring = mitre.ring(self.seams.points[point])
                rim = [r for r in itertools.pairwise(ring[1:]) if math.dist(*r) > SHORT]
                self._unit_mitres[key] = UnitMitre(ring, convex(ring), rim)
        return self._unit_mitres[key]

    # --- shapes ------------------------------------------------------------------------------

    def cloth(self, piece: int) -> Polygon:
        """The finished piece; its points on a curve are the very same ones as its neighbour's.

        Chords of its own would leave slits between the two, or let them overlap.
        """
        known = self._cloths.get(piece)
        if known is None:
            own = [self._points(s.edge, s.forward)[:-1] for s in self.seams.sides[piece]]
            known = self._cloths[piece] = ring_polygon(np.concatenate(own))
            shapely.prepare(known)
        return known

    @cached_property
    def bent(self) -> frozenset[int]:
        """The pieces that have a curved side."""
        return frozenset(np.concatenate([side[self.curved] for side in self.beside]).tolist())

    def convex_cloth(self, piece: int) -> Sequence[Convex]:
        """A piece without curves as convex shapes: itself, or the triangles of one that is not."""
        known = self._convex_cloths.get(piece)
        if known is None:
            seams = self.seams
            ring = [seams.points[seams.start(side)] for side in seams.sides[piece]]
            if is_convex(ring):
                known = [convex(ring)]
            else:
                cut_up = shapely.constrained_delaunay_triangles(self.cloth(piece))
                facing = shapely.orient_polygons(cut_up, exterior_cw=False)
                rings = [t.exterior.coords[:-1] for t in polygons(facing)]
                known = [convex([(x, y) for x, y in r]) for r in rings]
            self._convex_cloths[piece] = known
        return known

    def convex_strip(self, e: int, forward: bool) -> tuple[Convex, Stretch]:
        """The strip beside a straight edge, as ``strip`` has it, and its raw edge."""
        known = self._convex_strips.get((e, forward))
        if known is None:
            edge, width = self.seams.edges[e], self.widths[e]
            ends = self.seams.points[edge.start], self.seams.points[edge.end]
            start, end = ends if forward else ends[::-1]
            along = normalised(minus(end, start))
            out = outward(along)
            raw_edge = plus(start, out, width), plus(end, out, width)
            known = self._convex_strips[e, forward] = convex([start, *raw_edge, end]), raw_edge
        return known

    def near(
        self, places: NDArray[np.float64], within: float
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """All pairs of a point, by its number, and a piece within some inches of it."""
        found, edges = self.edges_about(places, places, within)
        close = self.gaps.close(places[found], edges, within)
        found, edges = found[close], edges[close]
        right, left = self.beside
        # Edges stand for the pieces beside them. A point near none lies deep in a piece, or off
        # the block.
        deep = np.flatnonzero(np.bincount(found, minlength=len(places)) == 0)
        inside = np.array([self.piece_at((x, y)) for x, y in places[deep].tolist()], dtype=int)
        found = np.concatenate((found, found, deep))
        pieces = np.concatenate((right[edges], left[edges], inside))
        return found[pieces >= 0], pieces[pieces >= 0]

    def edges_about(
        self,
        least: NDArray[np.float64],
        most: NDArray[np.float64],
        within: NDArray[np.float64] | float,
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """All pairs of a box, by its number, and an edge whose own box is no further from it.

        Args:
            least, most: two opposite corners of each box, shape (boxes, 2).
            within: inches, for each box or for all.
        """
        wide = shapely.box(*(least.T - within), *(most.T + within))
        found, edges = self.tree.query(wide)
        return found, edges

    def reaches(self, e: int, p: Point, within: float) -> bool:
        """Whether one point lies within some inches of one edge."""
        edge = self.seams.edges[e]
        if isinstance(edge.segment, Curve):
            return bool(self.lines[e].distance(shapely.Point(p)) <= within)
        # Written out: this is asked of each point of a mitre and each side near it.
        (sx, sy), (ex, ey) = self.seams.points[edge.start], self.seams.points[edge.end]
        dx, dy, x, y = ex - sx, ey - sy, p[0] - sx, p[1] - sy
        t = (x * dx + y * dy) / (dx * dx + dy * dy)
        t = 0.0 if t < 0.0 else 1.0 if t > 1.0 else t
        x, y = x - t * dx, y - t * dy
        return x * x + y * y <= within * within

    @cached_property
    def _bounds(self) -> tuple[Point, Point]:
        xs, ys = self._chains.points.T
        return (float(xs.min()), float(ys.min())), (float(xs.max()), float(ys.max()))

    def piece_at(self, place: Point) -> int:
        """The piece in which a point lies; -1 outside the block."""
        (left, top), (right, bottom) = self._bounds
        if not (left <= place[0] <= right and top <= place[1] <= bottom):
            return -1
        # The nearest edge; of curves, all that may be it.
        least, most = self.gaps.bounds(np.array([place]), np.arange(len(self.lines)))
        edges = [self.seams.edges[e] for e in np.flatnonzero(least <= most.min())]
        beside = [p for edge in edges for p in (edge.right, edge.left) if p is not None]
        # Where a reflex corner is the nearest point, all edges that end there are equally near,
        # those of other pieces too.
        points = (p for edge in edges for p in (edge.start, edge.end))
        around = (c.piece for p in points for run in self.seams.around[p] for c in run)
        dot = shapely.Point(place)
        for piece in dict.fromkeys((*beside, *around)):
            if self.cloth(piece).intersects(dot):
                return piece
        return -1

    def strip(self, e: int, forward: bool) -> AllowanceStrip:
        """The strip beside edge ``e``, to the left of one who travels it that way."""
        known = self._strips.get((e, forward))
        if known is None:
            points, out = self._points(e, forward), self._outward[self._rows(e)]
            rim = points + self.widths[e] * (out if forward else -out[::-1])
            known = self._strips[e, forward] = AllowanceStrip(
                _between(points, rim), LineString(rim)
            )
        return known

    @cached_property
    def _outward(self) -> NDArray[np.float64]:
        return self._chains.outward()

    def _points(self, e: int, forward: bool) -> NDArray[np.float64]:
        points = self._chains.points[self._rows(e)]
        return points if forward else points[::-1]

    def _rows(self, e: int) -> slice:
        return slice(self._chains.starts[e], self._chains.starts[e + 1])


def _between(points: NDArray[np.float64], rim: NDArray[np.float64]) -> BaseGeometry:
    """The strip between a side and its raw edge."""
    strip = Polygon(np.concatenate((points, rim[::-1])))
    if len(points) == 2 or strip.is_valid:
        return strip
    # The raw edge of a tight bay crosses itself; each stride of it does not.
    quads = np.stack((points[:-1], rim[:-1], rim[1:], points[1:]), axis=1)
    whole: BaseGeometry = overlaid(shapely.union_all, [ring_polygon(quad) for quad in quads])
    return whole
