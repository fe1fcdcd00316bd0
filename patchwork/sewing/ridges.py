"""Where the presser foot meets a ridge along a seam, and where a fold is easily left in it.

The two units of a seam are fed with their raw edges to the right of the needle and the cloth to its
left (common practice), so that the end at which a maker starts settles which of them lies on top:
seen from the face of the block, the one to the left as the seam is travelled.  A point at which
seams arrive aslant is kept whole by whoever sees it (common practice: points on top).  An allowance
that lies back, toward the start, is met at its free edge: the foot brushes over one on top, in
sight, but the throat plate folds over one underneath, out of sight (common practice: underneath,
allowances point to the maker).  So the start that is advised has the most points on top, then the
fewest allowances that lie back underneath, then the fewest that lie there at all.

Where allowances lie, the foot climbs.  Over two seams that nest it climbs from two layers to four,
as everywhere in a row of squares.  A ridge that a maker has to slow down for is a thick one, or a
slanted one: the half of the foot on the allowance meets it earlier or later than the half on the
cloth, and is pushed aside.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Final, Literal, TypeAlias

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import Join, Order, Spans
from piecewright.patchwork.block.seams import Seams, travelled_back
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import Point, Vector, angle, cross, dot
from piecewright.patchwork.sewing.crossings import (
    Arm,
    Crossing,
    Press,
    crossings,
    layers_beside,
    lies_onward,
)

USUAL_LAYERS: Final = 4
"""Under the foot where two seams nest: the two units, and an allowance folded double on either."""

SLANTED: Final = 0.45
"""Cotangent of the angle between two seams, 66 degrees: the middles of the two halves of a foot,
half an allowance away from the needle on either side, meet the ridge nearly half an allowance
apart.  No seam of patchwork comes so near it that rounding could matter: a triangle in a square
has 63 degrees, a kaleidoscope's wedge 67 1/2."""

_LONGEST: Final = 6.0
"""Allowances; no point of a cut outline, nor what lies aslant beside a seam, reaches further."""

Unit: TypeAlias = Literal["first", "second"]


@dataclass(frozen=True, slots=True)
class Ridge:
    """A place where the foot climbs over the allowances of earlier seams.

    Attributes:
        at: the point of the seam at which they arrive, at finished size.
        from_start: inches along the stitches from the raw edge at the start to where it begins.
        layers: of cloth under the foot there.
        slanted: whether a seam arrives aslant, so that the foot is pushed aside.
    """

    at: Point
    from_start: float
    layers: int
    slanted: bool


@dataclass(frozen=True, slots=True)
class Fold:
    """A place where an allowance underneath lies back, and is easily folded over.

    Attributes:
        at: the point of the seam, at finished size.
        from_start: inches along the stitches from the raw edge at the start to its free edge.
    """

    at: Point
    from_start: float


@dataclass(frozen=True, slots=True)
class AtNeedle:
    """How a seam that earlier seams cross is best fed to the needle.

    Attributes:
        start, end: of the seam as it is sewn, at finished size.
        on_top: the unit that then lies on top.
        ridges, folds: along it, from the start.
    """

    start: Point
    end: Point
    on_top: Unit
    ridges: tuple[Ridge, ...]
    folds: tuple[Fold, ...]


def at_needle(
    seams: Seams, order: Order, directions: Sequence[Press], allowance: Allowance
) -> list[AtNeedle | None]:
    """How each join's seam is fed; None where no earlier seam arrives inside it, or it closes.

    Args:
        directions: which way each join is pressed.
    """
    spans = Spans(order)
    # Only what lies on the line of the seam itself counts, whatever else its join has to do with.
    inside = [{seams.start(side) for side in join.seam.sides[1:]} for join in order.joins]
    arriving: list[list[Crossing]] = [[] for _ in order.joins]
    for crossing in crossings(seams, order):
        if crossing.at in inside[crossing.step]:
            arriving[crossing.step].append(crossing)
    fed: list[AtNeedle | None] = []
    for join, found in zip(order.joins, arriving, strict=True):
        if not found or join.seam.ends is None:
            fed.append(None)
            continue
        ways = [_Feed(seams, spans, join, way, directions, allowance) for way in (True, False)]
        fed.append(min(ways, key=lambda way: way.drawbacks(found)).met(found))
    return fed


class _Feed:
    """A seam with two ends as it is fed to the needle from one of them.

    Attributes:
        forward: whether it is sewn as its sides are travelled, or the other way.
        start, end: numbers of its ends, as it is sewn.
        first_on_top: whether its first unit lies on top.
    """

    def __init__(
        self,
        seams: Seams,
        spans: Spans,
        join: Join,
        forward: bool,
        directions: Sequence[Press],
        allowance: Allowance,
    ) -> None:
        assert join.seam.ends is not None
        self.seams, self.spans, self.join, self.forward = seams, spans, join, forward
        self.directions, self.allowance = directions, allowance
        sides = join.seam.sides
        if not forward:
            sides = travelled_back(sides)
        self.start, self.end = join.seam.ends if forward else join.seam.ends[::-1]
        _, left = seams.beside(sides[0])
        self.first_on_top = spans.holds(join.first, left)
        segments = [seams.segment(side) for side in sides]
        lengths = accumulate((paths.run_length([s]) for s in segments), initial=0.0)
        # At each point of the seam: how far along it lies, and which way the seam goes on.
        self.gone = dict(zip(map(seams.start, sides), lengths, strict=False))
        self.ways = {
            seams.start(side): paths.tangent(segment, 0.0)
            for side, segment in zip(sides, segments, strict=True)
        }

    def drawbacks(self, found: Sequence[Crossing]) -> tuple[int, int, int, float, float]:
        """What speaks against this start, first things first."""
        beneath = [arm for crossing in found for arm in self._beneath(crossing)]
        points = sum(self._slants(crossing, self._beneath(crossing)) for crossing in found)
        folds = sum(map(self._lies_back, beneath))
        # Of two ends that are as good the left one, or the upper one.
        x, y = self.seams.points[self.start]
        return points, folds, len(beneath), round(x, 2), round(y, 2)

    def met(self, found: Sequence[Crossing]) -> AtNeedle:
        """What is met on the way."""
        before = self._cloth_before()
        ridges, folds = [], []
        for crossing in sorted(found, key=lambda crossing: self.gone[crossing.at]):
            at, away = self.seams.points[crossing.at], before + self.gone[crossing.at]
            layers, slanted = self._layers(crossing), self._slants(crossing, crossing.arms)
            # At a pivot the needle stops anyway, and the cloth is laid anew.
            stops = crossing.at in self.join.seam.pivots
            if not stops and (layers > USUAL_LAYERS or slanted):
                ridges.append(
                    Ridge(at, away - self._reach(crossing, crossing.arms), layers, slanted)
                )
            beneath = [arm for arm in self._beneath(crossing) if self._lies_back(arm)]
            if beneath:
                folds.append(Fold(at, away - self._reach(crossing, beneath)))
        return AtNeedle(
            self.seams.points[self.start],
            self.seams.points[self.end],
            "first" if self.first_on_top else "second",
            tuple(ridges),
            tuple(folds),
        )

    def _beneath(self, crossing: Crossing) -> Iterator[Arm]:
        """The seams that arrive in the unit underneath."""
        return (arm for arm in crossing.arms if arm.from_first != self.first_on_top)

    def _lies_back(self, arm: Arm) -> bool:
        """Whether an arm's allowance lies toward the start alone; one pressed open does not."""
        press = self.directions[arm.join]
        return press != "open" and lies_onward(arm, press) != self.forward

    def _layers(self, crossing: Crossing) -> int:
        """Of cloth under the foot, at most."""
        pressed = [self.directions[arm.join] for arm in crossing.arms]
        return max(sum(layers_beside(crossing.arms, pressed, onward)) for onward in (True, False))

    def _slants(self, crossing: Crossing, arms: Iterable[Arm]) -> bool:
        """Whether one of the arms arrives aslant."""
        along = self.ways[crossing.at]
        ways = (_leaving(self.seams, arm.edge, crossing.at) for arm in arms)
        return any(abs(dot(along, way)) >= SLANTED * abs(cross(along, way)) for way in ways)

    def _reach(self, crossing: Crossing, arms: Iterable[Arm]) -> float:
        """How far before a point, along the stitches, the first allowance of its arms begins."""
        along, reach = self.ways[crossing.at], 0.0
        for arm in arms:
            if self.directions[arm.join] == "open" or self._lies_back(arm):
                sine = abs(cross(along, _leaving(self.seams, arm.edge, crossing.at)))
                reach = max(reach, self.allowance.seam / max(sine, 1.0 / _LONGEST))
        return min(reach, self.gone[crossing.at])

    def _cloth_before(self) -> float:
        """How far the raw edge at the start lies before the seam, measured along the stitches.

        That of the unit that ends first: the other one's point is trimmed to it, or stands out.
        """
        along = angle(self.ways[self.start])
        found = _LONGEST * self.allowance.seam
        at_start = (c for run in self.seams.around[self.start] for c in run)
        for e in {e for corner in at_start for e in (corner.arriving, corner.leaving)}:
            edge = self.seams.edges[e]
            for unit in (self.join.first, self.join.second):
                # An edge of the unit's outline has the unit on one side alone; the seam itself,
                # which has both units, makes no angle with itself.
                if self.spans.holds(unit, edge.left) == self.spans.holds(unit, edge.right):
                    continue
                turn = angle(_leaving(self.seams, e, self.start)) - along
                on_left = (unit == self.join.first) == self.first_on_top
                sine = math.sin(math.radians(-turn if on_left else turn))
                # A unit that goes on past the end of the seam has no raw edge there.
                if sine > 1.0 / _LONGEST:
                    wide = self.allowance.edge if edge.left is None else self.allowance.seam
                    found = min(found, wide / sine)
        return found


def _leaving(seams: Seams, e: int, point: int) -> Vector:
    """The direction in which an edge leaves one of its ends."""
    edge = seams.edges[e]
    return paths.tangent(edge.segment if edge.start == point else paths.reverse(edge.segment), 0.0)
