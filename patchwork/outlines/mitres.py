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

from piecewright.patchwork.geometry.vectors import (
    Point,
    Vector,
    cross,
    dot,
    minus,
    normalised,
    outward,
    plus,
    turn,
)

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
    """A piece's allowance beyond one of its corners, seen from the corner.

    Where the corner lies does not matter to it, so corners of one shape may share a tip
    (see ``patchwork.outlines.matching``); who cuts it for one of them alone takes a ``copy``.

    Attributes:
        arrives, leaves, turns: the corner's (see ``patchwork.block.seams.Corner``).
        bounds: the chain of bounds; the first is the arriving side's raw edge, the last the
            leaving side's. Only ``cut`` changes it.
        ends: where the two raw edges must reach: straight out from the corner, or, where
            unequal allowances make the sides cross earlier, where they do.
    """

    __slots__ = ("_reach", "_rim", "arrives", "bounds", "ends", "leaves", "turns")

    def __init__(
        self, arrives: Vector, leaves: Vector, turns: float, arriving: float, leaving: float
    ) -> None:
        """The whole mitred tip, for the allowances (inches) of the two sides."""
        self.arrives, self.leaves, self.turns = arrives, leaves, turns
        first = Bound(outward(arrives), arriving)
        last = Bound(outward(leaves), leaving)
        self.bounds = [first, last]
        self.ends = (
            (first.normal[0] * arriving, first.normal[1] * arriving),
            (last.normal[0] * leaving, last.normal[1] * leaving),
        )
        self._rim: tuple[Vector, ...] | None = None
        self._reach: float | None = None
        if self.pointed:
            most = _LONGEST * max(arriving, leaving)
            if turns > 179.0:  # sharper than 1 degree: the raw edges hardly meet at all
                self.bounds.insert(1, Bound(self.straight_on, most))
            elif math.hypot(*(x := meeting_point(first, last))) > most:
                self.bounds.insert(1, Bound(normalised(x), most))
            rim = self.rim()
            self.ends = (
                rim[0] if dot(rim[0], arrives) < 0 else self.ends[0],
                rim[-1] if dot(rim[-1], leaves) > 0 else self.ends[1],
            )

    def copy(self) -> Tip:
        """The same tip, to be cut on its own."""
        own = object.__new__(Tip)
        own.arrives, own.leaves, own.turns = self.arrives, self.leaves, self.turns
        own.bounds, own.ends, own._rim = self.bounds[:], self.ends, self._rim
        own._reach = self._reach
        return own

    @property
    def pointed(self) -> bool:
        """Whether the corner is convex, so that there is a tip to cut back."""
        return self.turns > FLAT

    @property
    def flat(self) -> bool:
        return abs(self.turns) <= FLAT

    @property
    def inner_angle(self) -> float:
        """Degrees of cloth at the corner."""
        return 180.0 - self.turns

    @property
    def straight_on(self) -> Vector:
        """The direction from the corner along the line that halves it."""
        return normalised(minus(self.arrives, self.leaves))

    @property
    def arriving_end(self) -> float:
        """How far (inches) past the corner the arriving side's raw edge ends."""
        if self.flat:
            return math.inf
        return dot(self.rim()[0], self.arrives)

    @property
    def leaving_end(self) -> float:
        """How far (inches) before the corner the leaving side's raw edge begins."""
        if self.flat:
            return math.inf
        return -dot(self.rim()[-1], self.leaves)

    @property
    def reach(self) -> float:
        """How far (inches) from the corner the tip reaches."""
        if self._reach is None:
            self._reach = max((math.hypot(x, y) for x, y in self.rim()), default=0.0)
        return self._reach

    def rim(self) -> tuple[Vector, ...]:
        """The corners of the rim, seen from the corner; none on a straight side."""
        if self._rim is None:
            chain = () if self.flat else zip(self.bounds, self.bounds[1:], strict=False)
            self._rim = tuple(meeting_point(one, other) for one, other in chain)
        return self._rim

    def ring(self, place: Point) -> list[Point]:
        """The tip of a corner at ``place`` as a ring of points, from there round its rim."""
        seen = [(0.0, 0.0), self.ends[0], *self.rim(), self.ends[1]]
        return [plus(place, x) for x in seen]

    def keeps_allowance(self, bound: Bound) -> bool:
        """Whether a cut would leave the allowance straight out from both sides whole."""
        return all(bound.excess(end) <= _ROUNDING for end in self.ends)

    def cut(self, bound: Bound) -> bool:
        """Cut the tip back by one straight line; says whether that took anything away.

        A cut that would take allowance from beside a finished edge is not made.
        """
        if not self.pointed or all(bound.excess(x) <= _ROUNDING for x in self.rim()):
            return False
        if not self.keeps_allowance(bound):
            return False
        bounds = self.bounds
        from_first = turn(bounds[0].normal, bound.normal)
        if not _ROUNDING < from_first < self.turns - _ROUNDING:
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
                self._rim = self._reach = None
        before, after = bounds[k - 1], bounds[k]
        if bound.excess(meeting_point(before, after)) <= _ROUNDING:
            return False
        while k >= 2 and self._superfluous(bounds[k - 2], bounds[k - 1], bound):
            del bounds[k - 1]
            k -= 1
        while k < len(bounds) - 1 and self._superfluous(bound, bounds[k], bounds[k + 1]):
            del bounds[k]
        bounds.insert(k, bound)
        self._rim = self._reach = None
        return True

    def _angle(self, bound: Bound) -> float:
        return turn(self.bounds[0].normal, bound.normal)

    @staticmethod
    def _superfluous(before: Bound, between: Bound, after: Bound) -> bool:
        return between.excess(meeting_point(before, after)) <= _ROUNDING
