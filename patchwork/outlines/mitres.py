"""The mitre at a corner: the allowance that lies beyond the corner's point, and how it is cut back.

Two sides moved out by their allowances are prolonged until they meet: that is the mitre (a maker
calls it the tip, and what of it sticks out of a sewn unit a dog ear).  All coordinates here are
seen from the corner.  A mitre is the intersection of half-planes, kept as a chain that runs from
the raw edge of the arriving side to that of the leaving side; each half-plane holds the points
``x`` with ``normal · x <= reach``.  Where the sides share one allowance ``a``, every such line that
touches the circle of radius ``a`` round the corner leaves the whole allowance beside both sides.
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
"""Degrees; a corner that turns by less is a point on a straight side.

Its raw edges are all but parallel: where their allowances differ, they would meet thousands of
times that difference away.
"""

POINTED = 90.1
"""Degrees; a corner that turns by more is a point, sharper than a right angle.

A right corner of a drawing in decimals is off by less than a tenth of a degree.
"""

MitreKey: TypeAlias = tuple[int, int]
"""A piece, and the number of the side that leaves the mitre's corner."""

AGREED = 1e-6
"""Inches; raw edges that end this close end together.

Far more than the rounding of a few crossings, and far less than a printer or a cutter resolves.
"""

CLOSE = 5e-5
"""Inches by which a mitre may stick out of a unit unseen: more than a curve's points are off."""

SHORT = 1e-9
"""Inches; a shorter line has no direction worth cutting along."""

_ROUNDING = 1e-9
"""Inches (and degrees): differences that floating point alone may make."""

_DECIMALS = 6
"""Of inches and of directions, to which mitres that lie alike agree."""

_PARALLEL = 1e-9
"""The sine of the angle between two normals below which their lines are parallel."""

_MITRE_LIMIT = 40.0
"""Allowances; no mitre is longer, so that a cusp has one at all (a point of under 3 degrees)."""


@dataclass(frozen=True, slots=True)
class HalfPlane:
    """The points ``x`` with ``normal · x <= reach``: one side of a line that a mitre keeps to.

    Attributes:
        normal: the direction out of it, of length one.
        reach: how far (inches) from the corner its line lies.

    >>> HalfPlane((0.0, -1.0), 0.25).excess((3.0, -1.0))
    0.75
    """

    normal: Vector
    reach: float

    def excess(self, x: Vector) -> float:
        """How far (inches) ``x`` lies outside; negative inside."""
        return dot(self.normal, x) - self.reach

    def mirrored(self, along: Vector) -> HalfPlane:
        """The mirror image in the line through the corner in the direction ``along``."""
        across = outward(along)
        twice = -2 * dot(self.normal, across)
        normal = (self.normal[0] + twice * across[0], self.normal[1] + twice * across[1])
        return HalfPlane(normal, self.reach)


def meeting_point(one: HalfPlane, other: HalfPlane) -> Vector:
    """Where the lines of two half-planes cross, seen from the corner (Cramer's rule).

    Raises:
        ZeroDivisionError: they are parallel.
    """
    (a, b), (c, d) = one.normal, other.normal
    size = a * d - b * c
    return ((one.reach * d - other.reach * b) / size, (other.reach * a - one.reach * c) / size)


class Mitre:
    """A piece's allowance beyond one of its corners, seen from the corner.

    Where the corner lies does not matter to it, so corners of one shape may share a mitre
    (see ``patchwork.outlines.matching``); who cuts it for one of them alone takes a ``copy``.

    Attributes:
        arrives, leaves, turns: the corner's (see ``patchwork.block.seams.Corner``).
        half_planes: the chain; the first is the arriving side's raw edge, the last the leaving
            side's. Only ``cut`` changes it.
        ends: where the two raw edges must reach: straight out from the corner, or, where
            unequal allowances make the sides cross earlier, where they do.

    The corner of a square, with a quarter of an inch on both sides:

    >>> corner = Mitre((1.0, 0.0), (0.0, 1.0), 90.0, 0.25, 0.25)
    >>> corner.rim(), corner.arriving_end
    (((0.25, -0.25),), 0.25)
    """

    __slots__ = ("_chain", "_reach", "_rim", "arrives", "ends", "half_planes", "leaves", "turns")

    def __init__(
        self, arrives: Vector, leaves: Vector, turns: float, arriving: float, leaving: float
    ) -> None:
        """The whole mitred mitre, for the allowances (inches) of the two sides."""
        self.arrives, self.leaves, self.turns = arrives, leaves, turns
        first = HalfPlane(outward(arrives), arriving)
        last = HalfPlane(outward(leaves), leaving)
        self.half_planes = [first, last]
        self.ends = (
            (first.normal[0] * arriving, first.normal[1] * arriving),
            (last.normal[0] * leaving, last.normal[1] * leaving),
        )
        self._rim: tuple[Vector, ...] | None = None
        self._reach: float | None = None
        self._chain: tuple[float, ...] | None = None
        if self.pointed:
            most = _MITRE_LIMIT * max(arriving, leaving)
            # A third half-plane closes a mitre that would be too long, square to its length.
            if turns > 179.0:  # sharper than 1 degree: the raw edges hardly meet at all
                self.half_planes.insert(1, HalfPlane(self.straight_on, most))
            elif math.hypot(*(x := meeting_point(first, last))) > most:
                self.half_planes.insert(1, HalfPlane(normalised(x), most))
            # With unequal allowances the mitre's point may lie beside one of the sides, not
            # beyond it. That side's strip ends there, and no more of it can be kept.
            rim = self.rim()
            self.ends = (
                rim[0] if dot(rim[0], arrives) < 0 else self.ends[0],
                rim[-1] if dot(rim[-1], leaves) > 0 else self.ends[1],
            )

    def copy(self) -> Mitre:
        """The same mitre, to be cut on its own."""
        own = object.__new__(Mitre)
        own.arrives, own.leaves, own.turns = self.arrives, self.leaves, self.turns
        own.half_planes, own.ends, own._rim = self.half_planes[:], self.ends, self._rim
        own._reach, own._chain = self._reach, self._chain
        return own

    @property
    def pointed(self) -> bool:
        """Whether the corner is convex, so that there is a mitre to cut back."""
        return self.turns > FLAT

    @property
    def sharp(self) -> bool:
        """Whether the corner is a point: sharper than a right angle. Only points are trimmed."""
        return self.turns > POINTED

    @property
    def flat(self) -> bool:
        """Whether the corner is a point on a straight side, beyond which nothing lies."""
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
        """How far (inches) past the corner the arriving side's raw edge ends; infinite if flat."""
        if self.flat:
            return math.inf
        return dot(self.rim()[0], self.arrives)

    @property
    def leaving_end(self) -> float:
        """How far (inches) before the corner the leaving side's raw edge begins; as above."""
        if self.flat:
            return math.inf
        return -dot(self.rim()[-1], self.leaves)

    @property
    def reach(self) -> float:
        """How far (inches) from the corner the mitre reaches."""
        if self._reach is None:
            self._reach = max((math.hypot(x, y) for x, y in self.rim()), default=0.0)
        return self._reach

    @property
    def chain(self) -> tuple[float, ...]:
        """The half-planes in numbers, rounded: those of mitres that lie alike are equal."""
        if self._chain is None:
            numbers = [x for h in self.half_planes for x in (*h.normal, h.reach)]
            self._chain = tuple([round(x, _DECIMALS) for x in numbers])
        return self._chain

    def rim(self) -> tuple[Vector, ...]:
        """The corners of the rim, seen from the corner; none on a straight side."""
        if self._rim is None:
            chain = () if self.flat else zip(self.half_planes, self.half_planes[1:], strict=False)
            self._rim = tuple(meeting_point(one, other) for one, other in chain)
        return self._rim

    def ring(self, place: Point) -> list[Point]:
        """The mitre of a corner at ``place`` as a ring of points, from there round its rim."""
        seen = [(0.0, 0.0), self.ends[0], *self.rim(), self.ends[1]]
        return [plus(place, x) for x in seen]

    def moved_out(self, cut: HalfPlane) -> HalfPlane:
        """A cut, moved out parallel to itself until it takes no allowance."""
        return HalfPlane(cut.normal, max(cut.reach, *(dot(cut.normal, end) for end in self.ends)))

    def keeps_allowance(self, cut: HalfPlane) -> bool:
        """Whether a cut would leave the allowance straight out from both sides whole."""
        return all(cut.excess(end) <= _ROUNDING for end in self.ends)

    def cut(self, cut: HalfPlane) -> bool:
        """Cut the mitre back by one straight line; whether that took anything away.

        Only points are trimmed, and a cut that would take allowance from beside a finished edge
        is not made.
        """
        if not self.sharp or all(cut.excess(x) <= _ROUNDING for x in self.rim()):
            return False
        if not self.keeps_allowance(cut):
            return False
        chain = self.half_planes
        # The chain is convex: its normals turn one way, from the first side's to the last one's,
        # and the cut has its place among them by its own. One whose normal is not between those
        # two would take from a side further back, and not from the point.
        from_first = turn(chain[0].normal, cut.normal)
        if not _ROUNDING < from_first < self.turns - _ROUNDING:
            return False
        k = 1
        while k < len(chain) - 1 and self._angle(chain[k]) < from_first:
            k += 1
        # Parallel lines do not cross, and the rim is made of crossings.
        for same in (chain[k - 1], chain[k]):
            if abs(cross(same.normal, cut.normal)) < _PARALLEL:
                if cut.reach >= same.reach - _ROUNDING or same in (chain[0], chain[-1]):
                    return False
                # A cut nearer to the corner takes the place of one that runs the same way.
                k -= same is chain[k - 1]
                chain.remove(same)
                self._rim = self._reach = self._chain = None
        before, after = chain[k - 1], chain[k]
        if cut.excess(meeting_point(before, after)) <= _ROUNDING:
            return False
        # Earlier cuts that now lie wholly outside are dropped, so that neighbours in the chain
        # always cross on the rim.
        while k >= 2 and self._superfluous(chain[k - 2], chain[k - 1], cut):
            del chain[k - 1]
            k -= 1
        while k < len(chain) - 1 and self._superfluous(cut, chain[k], chain[k + 1]):
            del chain[k]
        chain.insert(k, cut)
        self._rim = self._reach = self._chain = None
        return True

    def _angle(self, one: HalfPlane) -> float:
        return turn(self.half_planes[0].normal, one.normal)

    @staticmethod
    def _superfluous(before: HalfPlane, between: HalfPlane, after: HalfPlane) -> bool:
        """Whether a line takes nothing away that its neighbours in the chain do not."""
        return between.excess(meeting_point(before, after)) <= _ROUNDING
