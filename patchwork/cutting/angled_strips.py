"""Diamonds, parallelograms, trapezoids and pointed triangles cut from strips at an angle.

Two sides of the patch run along the strip; the others are cut across it at an angle for which
rotary rulers have a line: 30, 45 or 60 degrees, or square (the lines are common practice, from
memory).  Patches follow each other without waste: the ends of a parallelogram are parallel, and a
trapezoid or a triangle is turned half round every time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from piecewright.patchwork.cutting.rotary import SAME, Ruler, Side, on_grain
from piecewright.patchwork.geometry.vectors import cross, minus, normalised, turn

RULED: Final = (30.0, 45.0, 60.0, 90.0)
"""Degrees to the edge of the strip that a ruler has lines for."""

_NEAR: Final = 0.4
"""Degrees that an angle may be off its ruler's line: on a patch of a foot that is a twelfth of an
inch, which the allowance takes up."""


@dataclass(frozen=True, slots=True)
class Slanted:
    """A patch that is cut from a strip at an angle.

    Attributes:
        name: what a maker calls it.
        finished: its length along the strip and its height.
        width: of the strip, inches, before rounding.
        step: for a parallelogram the distance between two cuts, square to them; else the longer
            side along the strip that is cut; inches, before rounding.
        advance: how much of a strip each patch takes, inches.
        angles: of the left and the right end, degrees clockwise from the strip's direction to
            the cut, as seen: at 45 the cut goes down and to the right.
        half_turns: every second patch lies the other way up.
        measured_across: whether ``step`` is measured square to the cuts.
        mirrored: whether the same cuts serve for the patch face down.
    """

    name: str
    finished: tuple[float, float]
    width: float
    step: float
    advance: float
    angles: tuple[float, float]
    half_turns: bool
    measured_across: bool
    mirrored: bool

    def length(self, count: int) -> float:
        """How much (inches) of a strip so many patches take, its slanting ends included."""
        first = self.angles[0]
        last = self.angles[1] if not self.half_turns or count % 2 else first
        lean = sum(
            abs(math.cos(math.radians(a)) / math.sin(math.radians(a))) for a in (first, last)
        )
        return count * self.advance + self.width / 2 * lean

    def per_strip(self, room: float) -> int:
        """How many patches a strip gives, with ``room`` inches of it to use."""
        most = int(room / self.advance) + 1
        return next((n for n in range(most, 0, -1) if self.length(n) <= room + 1e-9), 0)


def rounded_up(cut: Slanted, ruler: Ruler) -> Slanted:
    """The same with its strip's width and its step rounded up; it takes as much more strip."""
    width = ruler.up(cut.width)
    # How much shorter the outline gets for every inch across the strip.
    narrows = abs(_cot(cut.angles[1]) - _cot(cut.angles[0]))
    if cut.measured_across:
        step = ruler.up(cut.step)
        advance = step / math.sin(math.radians(cut.angles[0]))
    elif cut.name == "triangle":
        step = width * narrows  # cut from edge to edge, so its width alone makes its size
        advance = step / 2
    else:
        step = ruler.up(cut.step + (width - cut.width) * narrows)
        advance = step - width * narrows / 2
    return replace(cut, width=width, step=step, advance=advance)


def slanted(
    sides: Sequence[Side], grain: float | None, one_way: bool, one_way_up: bool = False
) -> Slanted | None:
    """How a patch is cut from a strip at an angle, or None.

    Args:
        grain: degrees; None if any will do.
        one_way: the grain must lie along the cloth, so square to the strip.
        one_way_up: the print has an upper end, so that no patch may be turned half round.
    """
    # Each side may lie along the strip's edge. A strip is cut across the cloth, so a grain line
    # along it comes to lie across the cloth: that serves unless it must lie along the cloth. One
    # that is neither along nor square to the strip never serves.
    found = []
    for k, base in enumerate(sides):
        lies = True if grain is None else on_grain(base.way, grain)
        if lies is None or (one_way and grain is not None and lies):
            continue
        turned = [*sides[k:], *sides[:k]]
        cut = _trapezoid(turned) if len(turned) == 4 else None
        cut = _triangle(turned) if len(turned) == 3 else cut
        if cut is not None and not (cut.half_turns and one_way_up):
            found.append(cut)
    # Of several ways the one that takes the least cloth.
    return min(found, key=lambda c: round(c.width * c.advance, 6), default=None)


def _ruled(angle: float) -> float | None:
    """The exact angle of the ruler's line near an angle, 0 < degrees < 180; None if none is.

    >>> _ruled(119.8), _ruled(50.0)
    (120.0, None)
    """
    for line in RULED:
        for exact in (line, 180.0 - line):
            if abs(angle - exact) <= _NEAR:
                return exact
    return None


def _even(sides: Sequence[Side]) -> bool:
    """Whether all sides have the same allowance."""
    widths = [side.allowance for side in sides]
    return max(widths) - min(widths) <= SAME


def _ends(sides: Sequence[Side]) -> tuple[float, float] | None:
    """The angles of the right and of the left end, the first side being the top."""
    along = minus(sides[0].end, sides[0].start)
    right = _ruled(turn(along, minus(sides[1].end, sides[1].start)))
    left = _ruled(turn(along, minus(sides[-1].start, sides[-1].end)))
    return None if right is None or left is None else (left, right)


def _cot(angle: float) -> float:
    """The cotangent of an angle in degrees: the lean of a cut for every inch across the strip."""
    return math.cos(math.radians(angle)) / math.sin(math.radians(angle))


def _widened(sides: Sequence[Side], left: float, right: float, height: float) -> tuple[float, ...]:
    """The cut lengths of the top and of the bottom, and the strip's width, inches.

    Args:
        left, right: the angles of the ends, degrees.
        height: of the finished patch, inches.
    """
    top = sides[0]
    below = sides[2].allowance if len(sides) == 4 else 0.0
    # An end moved out by its allowance moves by this much along the strip.
    ends = [
        side.allowance / math.sin(math.radians(a))
        for side, a in ((sides[1], right), (sides[-1], left))
    ]
    # Lengthwise the outline changes by this much for every inch further down.
    change = _cot(right) - _cot(left)
    at_top = top.size + sum(ends) - top.allowance * change
    if len(sides) == 3:
        # The point: as far down as both sides go until they meet.
        tall = at_top / -change
        return at_top, 0.0, tall
    return (
        at_top,
        at_top + (height + top.allowance + below) * change,
        height + top.allowance + below,
    )


def _trapezoid(sides: Sequence[Side]) -> Slanted | None:
    """How a patch of four sides is cut with its first side along the strip."""
    top, _, bottom, _ = sides
    along = normalised(minus(top.end, top.start))
    if abs(cross(along, minus(bottom.end, bottom.start))) > SAME:
        return None
    if top.size < bottom.size - SAME:
        return None  # seen from the other side
    angles = _ends(sides)
    if angles is None:
        return None
    left, right = angles
    height = abs(cross(along, minus(bottom.start, top.start)))
    at_top, at_bottom, width = _widened(sides, left, right, height)
    if min(at_top, at_bottom) <= 0:
        return None
    parallel = left == right
    if parallel and left == 90.0:
        return None  # a rectangle
    # A ruler measures a parallelogram from cut to cut, square to them.
    across = at_top * math.sin(math.radians(left))
    same = abs(top.size - sides[1].size) <= SAME
    return Slanted(
        name=("diamond" if same else "parallelogram") if parallel else "trapezoid",
        finished=(max(top.size, bottom.size), height),
        width=width,
        step=across if parallel else max(at_top, at_bottom),
        advance=(at_top + at_bottom) / 2,
        angles=(left, right),
        half_turns=not parallel,
        measured_across=parallel,
        mirrored=_even(sides) and (same if parallel else left + right == 180.0),
    )


def _triangle(sides: Sequence[Side]) -> Slanted | None:
    """How a patch of three sides is cut with its first side along the strip."""
    base, right_side, _ = sides
    angles = _ends(sides)
    # Ends with one angle never meet: the point is finer than the angles of a ruler's lines.
    if angles is None or 90.0 in angles or angles[0] == angles[1]:
        return None
    left, right = angles
    along = normalised(minus(base.end, base.start))
    height = abs(cross(along, minus(right_side.end, base.start)))
    at_base, _, width = _widened(sides, left, right, height)
    return Slanted(
        name="triangle",
        finished=(base.size, height),
        width=width,
        step=at_base,
        advance=at_base / 2,
        angles=(left, right),
        half_turns=True,
        measured_across=False,
        mirrored=_even(sides) and left + right == 180.0,
    )
