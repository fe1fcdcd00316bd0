"""The occupied area of a block map: what lies on it already, and what has room beside that.

The map is a case of point-feature label placement: each sign has a feature that it belongs to, and
may lie where it covers nothing else. What a sign covers is its claim. Claims are found by their
place in a uniform grid of cells.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.drawing.marks import Box, Mark

Bounds: TypeAlias = tuple[float, float, float, float]
"""Least x and y, and greatest."""

TIP: Final = 0.05
"""Inches at a leader's end in which it may run into the sign that it is for."""

_SAME: Final = 1e6
"""Places an inch that are told apart: shapes that differ by less have one form. Coordinates of
like pieces differ by rounding alone, which is far finer."""

_COARSE: Final = 0.004
"""Inches by which a coarse outline may be off; less than the width of a thin line."""

_CORNERS: Final = 8
"""Of a sign that are looked at to see what it hides."""


def grown(bounds: Bounds, room: float) -> Bounds:
    """The bounds with ``room`` on all sides."""
    left, top, right, bottom = bounds
    return left - room, top - room, right + room, bottom + room


def steps(x: float, y: float) -> tuple[int, int]:
    """A way in whole millionths of an inch, so that equal ways are equal numbers."""
    return round(x * _SAME), round(y * _SAME)


@dataclass(frozen=True, slots=True)
class Form:
    """A shape without its place: those that differ only in where they lie have the same points.

    It is the key under which what has been worked out for one shape is found for the next.

    Attributes:
        at: the shape's first point.
        points: all of its points as seen from there.
    """

    at: Point
    points: bytes

    def seen_from(self, origin: Point) -> tuple[bytes, int, int]:
        """What of the shape matters to something at ``origin``; equal for equal pictures."""
        return self.points, *steps(self.at[0] - origin[0], self.at[1] - origin[1])


def form_of(shape: BaseGeometry) -> Form:
    """The form of a shape that is not empty."""
    points = shapely.get_coordinates(shape)
    first = points[0]
    away = np.rint((points - first) * _SAME).astype(np.int64)
    return Form((float(first[0]), float(first[1])), away.tobytes())


class Claim:
    """A shape that a mark takes up."""

    __slots__ = ("bounds", "form", "shape")

    def __init__(self, shape: BaseGeometry) -> None:
        self.shape = shape
        self.bounds: Bounds = shape.bounds
        self.form = form_of(shape)


def kept_clear(claims: Sequence[Claim], gap: float, coarse: bool) -> NDArray[np.object_]:
    """What else keeps off claims by a gap: each claim with the gap around it.

    Args:
        coarse: with few corners, which makes what is cut out of others by them faster.
    """
    shapes = np.array([claim.shape for claim in claims], dtype=object)
    if not coarse:
        return np.asarray(shapely.buffer(shapes, gap))
    return np.asarray(shapely.buffer(shapely.simplify(shapes, _COARSE), gap + _COARSE, quad_segs=2))


class ClaimIndex:
    """Claims by their place: a uniform grid, each cell with the claims whose bounds meet it."""

    _CELL: Final = 0.6
    """Inches; about the size of a piece and its signs, so that a cell has few claims and a claim
    lies in few cells. Claims come one by one, for which an R-tree would be built anew each time."""

    def __init__(self) -> None:
        self._cells: dict[tuple[int, int], list[Claim]] = {}

    def copy(self) -> ClaimIndex:
        own = ClaimIndex()
        own._cells = {cell: [*claims] for cell, claims in self._cells.items()}
        return own

    def add(self, claim: Claim) -> None:
        for cell in self._around(claim.bounds):
            self._cells.setdefault(cell, []).append(claim)

    def near(self, bounds: Bounds) -> list[Claim]:
        """What has its bounds in these, in the order in which it was taken cell by cell."""
        left, top, right, bottom = bounds
        found: dict[Claim, None] = {}
        for cell in self._around(bounds):
            for claim in self._cells.get(cell, ()):
                x0, y0, x1, y1 = claim.bounds
                if x0 <= right and x1 >= left and y0 <= bottom and y1 >= top:
                    found[claim] = None
        return list(found)

    def free(self, shape: BaseGeometry, room: float = 0.0) -> bool:
        """Whether nothing is in a shape, nor within ``room`` of it."""
        if shape.is_empty:
            return True
        others = self.near(grown(shape.bounds, room))
        if not others:
            return True
        return not shapely.dwithin(shape, [claim.shape for claim in others], room).any()

    def _around(self, bounds: Bounds) -> Iterator[tuple[int, int]]:
        left, top, right, bottom = (math.floor(c / self._CELL) for c in bounds)
        for x in range(left, right + 1):
            for y in range(top, bottom + 1):
                yield x, y


class ClaimsAndJoins(ClaimIndex):
    """Claims, and with them the lines along which sheets join, as if these were taken too."""

    def __init__(self, claims: ClaimIndex, joins: ClaimIndex) -> None:
        self._claims, self._joins = claims, joins

    def near(self, bounds: Bounds) -> list[Claim]:
        """The claims and the joins that have their bounds in these."""
        return [*self._claims.near(bounds), *self._joins.near(bounds)]


@dataclass(frozen=True, slots=True)
class PlacedSign:
    """An arrow, a number, a dot or a name that has its place, and what it and its leader claim."""

    marks: tuple[Mark, ...]
    claims: tuple[Claim, ...]
    leaders: tuple[Claim, ...] = ()


class OccupiedArea:
    """What is placed so far.

    Attributes:
        taken: all of it.
        signs: the same without leaders, which a leader may cross if it must.
        full: slots beyond the block where a label of a size has no room; that stays so.
    """

    def __init__(self) -> None:
        self.placed: list[PlacedSign] = []
        self.taken, self.signs = ClaimIndex(), ClaimIndex()
        self.full: set[tuple[float, float, Point]] = set()
        self._hulls: dict[Claim, NDArray[np.float64]] = {}

    def copy(self) -> OccupiedArea:
        own = OccupiedArea()
        own.placed, own.full = [*self.placed], {*self.full}
        own.taken, own.signs = self.taken.copy(), self.signs.copy()
        return own

    def add(self, one: PlacedSign) -> None:
        self.placed.append(one)
        for claim in one.claims:
            self.taken.add(claim)
            self.signs.add(claim)
        for leader in one.leaders:
            self.taken.add(leader)

    def reachable(self, anchor: Point, around: Box, ends: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Which of some points beyond the block may be reached from an anchor inside it.

        A sign on the block stands in the way of all that lies behind it, between its outermost
        corners as seen from the anchor. Of a round one some corners are looked at, so that it
        covers a little less than it does; signs that touch the leader's tip count as none.

        This only spares exact looks at leaders that are bound to fail: with n signs and m points
        it takes (n + m) log n steps, where to cut every leader with every sign takes n m.
        """
        reached = np.ones(len(ends), dtype=np.bool_)
        corners = self._corners()
        if not len(corners):
            return reached
        low, high = (around.x, around.y), (around.right, around.bottom)
        away = corners - np.array(anchor)
        # Signs beyond the block may stand behind the end of the leader, and so are no shade.
        within = ((corners >= low) & (corners <= high)).all(axis=(1, 2))
        middles = away.mean(axis=1)
        widest = np.hypot(*(away - middles[:, None]).transpose(2, 0, 1)).max(axis=1)
        apart = np.hypot(middles[:, 0], middles[:, 1]) - widest > TIP
        away, middles = away[within & apart], middles[within & apart]
        if not len(away):
            return reached
        # Each sign shades the angles between its outermost corners, reckoned from its middle, so
        # that none comes near half a turn, where angles jump.
        toward = np.arctan2(middles[:, 1], middles[:, 0])
        aside = np.arctan2(
            middles[:, :1] * away[..., 1] - middles[:, 1:] * away[..., 0],
            middles[:, :1] * away[..., 0] + middles[:, 1:] * away[..., 1],
        )
        starts, stops = toward + aside.min(axis=1) + 1e-9, toward + aside.max(axis=1) - 1e-9
        # Once round in both senses, so that none is cut in two; then merged.
        starts = np.concatenate([starts - math.tau, starts, starts + math.tau])
        stops = np.concatenate([stops - math.tau, stops, stops + math.tau])
        order = np.argsort(starts)
        starts, furthest = starts[order], np.maximum.accumulate(stops[order])
        ways = np.arctan2(ends[:, 1] - anchor[1], ends[:, 0] - anchor[0])
        # A point is in the shade if, of the shades that begin before it, one ends behind it.
        before = np.searchsorted(starts, ways) - 1
        return np.asarray((before < 0) | (furthest[before] < ways))

    def _corners(self) -> NDArray[np.float64]:
        """Some corners round each of the signs."""
        for one in self.placed:
            for claim in one.claims:
                if claim not in self._hulls:
                    points = shapely.get_coordinates(claim.shape.convex_hull)[:-1]
                    few = np.linspace(0, len(points), _CORNERS, endpoint=False).astype(int)
                    self._hulls[claim] = points[few]
        return np.array(list(self._hulls.values()))
