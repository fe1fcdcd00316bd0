"""A spatial index of a block: what lies near a place, and in which unit it does so first.

It holds the block's edges, its pieces and the strips of allowance beside them as Shapely's
geometries; the edges stand in an R-tree (``shapely.STRtree``).  Which unit has two pieces first is
answered from the tree of joins.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.joins import Order, Spans
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry.path_arrays import chains
from piecewright.patchwork.geometry.paths import Curve
from piecewright.patchwork.geometry.polygons import ring_polygon
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import Point

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


class SpatialIndex:
    """A block's edges, pieces and strips by where they lie; shapes are made when asked for.

    Attributes:
        widths: the allowance of each edge, inches; ``least`` and ``most`` of them.
        lines: the edges as Shapely's lines, by number.
        curved: which of them are curves.
        ends: the numbers of the points at which each begins and ends, shape (edges, 2).
        tree: finds edges by where they lie.
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
        self._strips: dict[tuple[int, bool], AllowanceStrip] = {}
        self._cloths: dict[int, Polygon] = {}

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

    def first_common_unit(self, one: int, other: int) -> int:
        """The first unit of which two pieces are part: their lowest common ancestor.

        Of pieces of sections that lie apart there is none, and a number past all units is given.
        """
        unit = one
        while not self._spans.holds(unit, other):
            above = self.order.parents[unit]
            if above is None:
                return len(self.order.parents)
            unit = above
        return unit

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

    def near(
        self, points: Sequence[Point], within: float
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """All pairs of a point, by its number, and a piece within some inches of it."""
        dots = np.asarray(shapely.points(points))
        found, edges = self.tree.query(dots, "dwithin", within)
        right, left = self.beside
        # Edges stand for the pieces beside them. A point near none lies deep in a piece, or off
        # the block.
        deep = np.flatnonzero(np.bincount(found, minlength=len(dots)) == 0)
        inside = np.array([self.piece_at(dot) for dot in dots[deep]], dtype=int)
        found = np.concatenate((found, found, deep))
        pieces = np.concatenate((right[edges], left[edges], inside))
        return found[pieces >= 0], pieces[pieces >= 0]

    def piece_at(self, dot: shapely.Point) -> int:
        """The piece in which a point lies; -1 outside the block."""
        edge = self.seams.edges[self.tree.nearest(dot)]
        beside = [edge.right] if edge.left is None else [edge.right, edge.left]
        # Where a reflex corner is the nearest point, all edges that end there are equally near,
        # those of other pieces too.
        around = (self.seams.around[p] for p in (edge.start, edge.end))
        for piece in (*beside, *(c.piece for runs in around for run in runs for c in run)):
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
