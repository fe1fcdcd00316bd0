"""Units that are rectangles, turned by whatever angle, and the size to trim them to.

Their *unfinished* size is the finished size and the allowance of each of the four sides, that of
the edge where the side lies at the outside of the block.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve
from piecewright.patchwork.geometry.vectors import TOLERANCE, Vector, distance


@dataclass(frozen=True, slots=True)
class Size:
    """Inches along a rectangle's own sides; ``width`` is the one nearer to level."""

    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Rectangle:
    """A unit that is a rectangle, at finished size.

    Attributes:
        along: the direction of its width, within 45 degrees of +x; its height runs across that,
            clockwise.
        left, right: of its sides, along ``along``.
        top, bottom: of its sides, across it.
        sides: the edges of its left, top, right and bottom side.
    """

    along: Vector
    left: float
    top: float
    right: float
    bottom: float
    sides: tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...], tuple[int, ...]]

    @property
    def across(self) -> Vector:
        return (-self.along[1], self.along[0])


def unit_rectangles(seams: Seams, order: Order) -> list[Rectangle | None]:
    """Each unit as a rectangle, pieces first.

    None for one that is no rectangle, or in which a seam still stands open: it cannot be laid flat
    and trimmed.
    """
    boundaries = BoundaryReader(seams)
    # A unit's boundary is that of its two units, without the edges that both have.  Those of the
    # two are let go at once: a chain of n strips would keep order n squared edges otherwise.
    kept = [np.array(sorted({s.edge for s in sides})) for sides in seams.sides]
    areas = [paths.area([seams.segment(s) for s in sides]) for sides in seams.sides]
    nothing = np.array([], dtype=np.int64)
    found = [boundaries.rectangle(own, area) for own, area in zip(kept, areas, strict=True)]
    for join in order.joins:
        kept.append(np.setxor1d(kept[join.first], kept[join.second], assume_unique=True))
        kept[join.first] = kept[join.second] = nothing
        areas.append(areas[join.first] + areas[join.second])
        found.append(boundaries.rectangle(kept[-1], areas[-1]))
    for unit in _open_units(order):
        found[unit] = None
    return found


def _open_units(order: Order) -> Iterator[int]:
    """The units with a partial seam that is not finished yet."""
    for k, join in enumerate(order.joins):
        if join.partial is not None:
            unit: int | None = order.pieces + k
            while unit is not None and unit != order.pieces + join.partial.finished_by:
                yield unit
                unit = order.parents[unit]


class BoundaryReader:
    """The edges of a block, in arrays: a chain of many strips has many long boundaries.

    Attributes:
        starts, ends: of each edge, shape (n, 2).
        lengths: from end to end, shape (n,).
        curved: whether it is a curve, shape (n,).
        around: for each piece the numbers of its edges.
    """

    def __init__(self, seams: Seams) -> None:
        self.around = [np.array([side.edge for side in own]) for own in seams.sides]
        segments = [edge.segment for edge in seams.edges]
        self.starts = np.array([s.start for s in segments])
        self.ends = np.array([s.end for s in segments])
        self.lengths = np.array([round(distance(s.start, s.end), 6) for s in segments])
        self.curved = np.array([isinstance(s, Curve) for s in segments])

    def rectangle_of(self, pieces: Iterable[int], area: float) -> Rectangle | None:
        """The unit of these pieces as a rectangle, or None if it is none.

        Args:
            area: of the unit, square inches.
        """
        # An edge inside the unit belongs to two of its pieces, one at the boundary to one.
        edges, counts = np.unique(
            np.concatenate([self.around[i] for i in pieces]), return_counts=True
        )
        return self.rectangle(edges[counts == 1], area)

    def rectangle(self, boundary: NDArray[np.int64], area: float) -> Rectangle | None:
        """The unit with this boundary (edge numbers) as a rectangle, or None if it is none.

        Its corners may be off by the tolerance within which points are one point.
        """
        if self.curved[boundary].any():
            return None
        starts, ends = self.starts[boundary], self.ends[boundary]
        # A side of a rectangle gives its direction, the longest edge most exactly.  Lengths are
        # rounded, so that of equal edges it is the one with the lowest number everywhere.
        longest = self.lengths[boundary].argmax()
        (px, py), (qx, qy) = starts[longest].tolist(), ends[longest].tolist()
        degrees = math.degrees(math.atan2(qy - py, qx - px)) % 90.0
        if degrees >= 45.0 - 1e-6:
            degrees -= 90.0  # within 45 degrees of level; a square on its point leans upward
        along = (math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))
        if abs(degrees) < 1e-9:
            along = (1.0, 0.0)  # exactly, so that sizes of upright units are those of their points
        across = (-along[1], along[0])
        (from_x, to_x), (from_y, to_y) = (
            [p[:, 0] * way[0] + p[:, 1] * way[1] for p in (starts, ends)] for way in (along, across)
        )
        left, right = float(min(from_x.min(), to_x.min())), float(max(from_x.max(), to_x.max()))
        top, bottom = float(min(from_y.min(), to_y.min())), float(max(from_y.max(), to_y.max()))
        width, height = right - left, bottom - top
        # It fills its bounding box, but for a strip along the sides as wide as corners may be off.
        if abs(area - width * height) > 4 * TOLERANCE * (width + height):
            return None
        # Every edge lies along one of the sides; a short one at a corner counts once (``free``).
        sides = []
        free = np.ones(len(boundary), dtype=np.bool_)
        for one, other, place in (
            (from_x, to_x, left),
            (from_y, to_y, top),
            (from_x, to_x, right),
            (from_y, to_y, bottom),
        ):
            on = free & (abs(one - place) <= 2 * TOLERANCE) & (abs(other - place) <= 2 * TOLERANCE)
            free &= ~on
            sides.append(tuple(boundary[on].tolist()))
        if free.any() or not all(sides):
            return None
        a, b, c, d = sides
        return Rectangle(along, left, top, right, bottom, (a, b, c, d))


def unfinished(seams: Seams, rectangle: Rectangle, allowance: Allowance) -> Size:
    """The rectangle's size with the allowances of its sides."""
    left, top, right, bottom = side_allowances(seams, rectangle, allowance)
    return Size(
        rectangle.right - rectangle.left + left + right,
        rectangle.bottom - rectangle.top + top + bottom,
    )


def side_allowances(
    seams: Seams, rectangle: Rectangle, allowance: Allowance
) -> tuple[float, float, float, float]:
    """The allowance of the left, top, right and bottom side.

    A side that lies partly at the outside of the block has the larger of the two allowances.
    """
    left, top, right, bottom = (
        max(allowance.edge if seams.edges[e].left is None else allowance.seam for e in side)
        for side in rectangle.sides
    )
    return left, top, right, bottom
