"""The tip of a seam allowance: what lies beyond a piece's corner, and how it is cut back.

Every tip is seen from its corner point.  Its outer rim is a chain of straight bounds, from the
raw edge of the arriving side to that of the leaving side; each bound keeps the points
``x`` (from the corner) with ``normal · x <= reach``.  A bound for one allowance ``a`` that all
sides share touches the circle of radius ``a`` round the corner, which is why cutting a
tip back never takes away allowance beside a finished edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

from patchwork.points import Point, Vector, cross, dot, minus, outward, plus, turn, unit
from patchwork.seams import Corner

FLAT = 0.01
"""Degrees; a corner that turns by less is a point on a straight side."""

TipKey: TypeAlias = tuple[int, int]
"""A piece, and the number of the side that leaves the tip's corner."""

AGREED = 1e-6
"""Inches; raw edges that end this close end together."""

_ROUNDING = 1e-9
_PARALLEL = 1e-9
_LONGEST = 40.0
"""Allowances; no tip is longer, so that a cusp has one at all (a point of under 3 degrees)."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A straight line that a tip does not cross."""

    normal: Vector
    reach: float

    def excess(self, x: Vector) -> float:
        """How far ``x`` lies beyond the bound; negative inside."""
        return dot(self.normal, x) - self.reach

    def mirrored(self, along: Vector) -> Bound:
        """The bound's mirror image in the line through the corner along ``along``."""
        across = outward(along)
        twice = -2 * dot(self.normal, across)
        normal = (self.normal[0] + twice * across[0], self.normal[1] + twice * across[1])
        return Bound(normal, self.reach)


def meeting_point(one: Bound, other: Bound) -> Vector:
    """Where two bounds cross, seen from the corner."""
    (a, b), (c, d) = one.normal, other.normal
    size = a * d - b * c
    return ((one.reach * d - other.reach * b) / size, (other.reach * a - one.reach * c) / size)


class Tip:
    """One piece's allowance beyond one of its corners.

    Attributes:
        corner: which one it is.
        place: where that is on the block.
        bounds: the chain of bounds; the first is the arriving side's raw edge, the last the
            leaving side's.
    """

    __slots__ = ("bounds", "corner", "ends", "place")

    def __init__(self, corner: Corner, place: Point, arriving: float, leaving: float) -> None:
        """The whole mitred tip, for the allowances (inches) of the two sides."""
        self.place = place
        first = Bound(outward(corner.arrives), arriving)
        last = Bound(outward(corner.leaves), leaving)
        self.corner = corner
        self.bounds = [first, last]
        # Where the two raw edges must reach: straight out from the corner, or, where
        # unequal allowances make the sides cross earlier, where they do.
        self.ends = [
            (first.normal[0] * arriving, first.normal[1] * arriving),
            (last.normal[0] * leaving, last.normal[1] * leaving),
        ]
        if self.pointed:
            most = _LONGEST * max(arriving, leaving)
            if corner.turns > 179.0:  # sharper than 1 degree: the raw edges hardly meet at all
                self.bounds.insert(1, Bound(self.straight_on, most))
            elif math.hypot(*(x := meeting_point(first, last))) > most:
                self.bounds.insert(1, Bound(unit(x), most))
            if self.arriving_end < 0:
                self.ends[0] = meeting_point(*self.bounds[:2])
            if self.leaving_end < 0:
                self.ends[1] = meeting_point(*self.bounds[-2:])

    @property
    def pointed(self) -> bool:
        """Whether the corner is convex, so that there is a tip to cut back."""
        return self.corner.turns > FLAT

    @property
    def flat(self) -> bool:
        return abs(self.corner.turns) <= FLAT

    @property
    def straight_on(self) -> Vector:
        """The direction from the corner along the line that halves it."""
        return unit(minus(self.corner.arrives, self.corner.leaves))

    @property
    def arriving_end(self) -> float:
        """How far (inches) past the corner the arriving side's raw edge ends."""
        if self.flat:
            return math.inf
        return dot(meeting_point(self.bounds[0], self.bounds[1]), self.corner.arrives)

    @property
    def leaving_end(self) -> float:
        """How far (inches) before the corner the leaving side's raw edge begins."""
        if self.flat:
            return math.inf
        return -dot(meeting_point(self.bounds[-2], self.bounds[-1]), self.corner.leaves)

    def rim(self) -> list[Vector]:
        """The corners of the rim, seen from the corner; none on a straight side."""
        if self.flat:
            return []
        return [meeting_point(a, b) for a, b in zip(self.bounds, self.bounds[1:], strict=False)]

    def on_block(self) -> list[Point]:
        """The tip as a ring of points on the block, from the corner round its rim."""
        seen = [(0.0, 0.0), self.ends[0], *self.rim(), self.ends[1]]
        return [plus(self.place, x) for x in seen]

    def keeps_allowance(self, bound: Bound) -> bool:
        """Whether a cut would leave the allowance straight out from both sides whole."""
        return all(bound.excess(end) <= _ROUNDING for end in self.ends)

    def cut(self, bound: Bound) -> bool:
        """Cut the tip back by one straight line; says whether that took anything away.

        A cut that would take allowance from beside a finished edge is not made.
        """
        if not self.pointed or not self.keeps_allowance(bound):
            return False
        bounds = self.bounds
        from_first = turn(bounds[0].normal, bound.normal)
        if not _ROUNDING < from_first < self.corner.turns - _ROUNDING:
            return False
        k = 1
        while k < len(bounds) - 1 and self._angle(bounds[k]) < from_first:
            k += 1
        for same in (bounds[k - 1], bounds[k]):
            if abs(cross(same.normal, bound.normal)) < _PARALLEL:
                if bound.reach >= same.reach - _ROUNDING or same in (bounds[0], bounds[-1]):
                    return False
                # A cut nearer to the corner takes the place of one that runs the same way.
                k -= same is bounds[k - 1]
                bounds.remove(same)
        before, after = bounds[k - 1], bounds[k]
        if bound.excess(meeting_point(before, after)) <= _ROUNDING:
            return False
        while k >= 2 and self._superfluous(bounds[k - 2], bounds[k - 1], bound):
            del bounds[k - 1]
            k -= 1
        while k < len(bounds) - 1 and self._superfluous(bound, bounds[k], bounds[k + 1]):
            del bounds[k]
        bounds.insert(k, bound)
        return True

    def _angle(self, bound: Bound) -> float:
        return turn(self.bounds[0].normal, bound.normal)

    @staticmethod
    def _superfluous(before: Bound, between: Bound, after: Bound) -> bool:
        return between.excess(meeting_point(before, after)) <= _ROUNDING
