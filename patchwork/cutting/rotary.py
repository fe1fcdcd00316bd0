"""Squares, rectangles and triangles that a rotary cutter cuts without a template.

What is cut is the plain offset of the patch (points and all), so that a ruler can follow it:

* a square or rectangle: each side and the allowances at its two ends;
* a half-square triangle (legs on the straight grain): a square cut once corner to corner.
  Beside legs of length s, with the allowances l and m at the legs and h at the long side, its
  side is ``s + l + m + √2 h``;
* a quarter-square triangle (long side on the straight grain): a square cut twice corner to
  corner; beside a long side of length s its side is ``s + 2 h + √2 (l + m)``.

With one allowance a that is s + 2a, s + (2 + √2)a and s + (2 + 2√2)a.  At a = 1/4 in handbooks of
the trade round to s + 1/2, s + 7/8 and s + 1 1/4 in (common practice; quoted from memory, and
checked against these formulas in the tests).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal, TypeAlias

import shapely
from shapely.geometry import LineString

from piecewright.patchwork.block.grain import ON_GRAIN
from piecewright.patchwork.cutting.templates import Template
from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import (
    TOLERANCE,
    Point,
    angle,
    between,
    cross,
    distance,
    dot,
    minus,
    normalised,
    outward,
    plus,
)
from piecewright.patchwork.lengths import PER_INCH, Unit

ShapeName: TypeAlias = Literal[
    "square", "rectangle", "half-square triangle", "quarter-square triangle", "template"
]

TRIM: Final = 1 / 32
"""Inches; where rounding leaves more than this, the patch is to be trimmed to size."""

SAME: Final = 2 * TOLERANCE
"""Inches within which sides are as long as each other, and ends square to them: each of two points
may be off by the tolerance."""

_MOST_SIDES: Final = 8
"""More than a quadrilateral has, even with a point on each of its sides."""

_STATIONS: Final = (0.05, 0.275, 0.5, 0.725, 0.95)
"""Of a side: where its allowance is measured, to see whether it is one all along."""

_FAR: Final = 12.0
"""Inches; longer than any allowance is wide."""


@dataclass(frozen=True, slots=True)
class Ruler:
    """The divisions that sizes to cut are rounded up to.

    Attributes:
        step: inches.
    """

    step: float

    def steps(self, inches: float) -> int:
        """A size rounded up, in steps; what is over by less than the tolerance is not."""
        return max(1, math.ceil((inches - TOLERANCE) / self.step))

    def up(self, inches: float) -> float:
        """A size rounded up, inches.

        >>> Ruler(1 / 8).up(3 + (2 + 2**0.5) / 4)
        3.875
        """
        return self.steps(inches) * self.step


_USUAL_STEP: Final[dict[Unit, Fraction]] = {
    "in": Fraction(1, 8),
    "cm": Fraction(1, 10),
    "mm": Fraction(1),
}
"""Of each unit: eighths of an inch, and millimetres, the lines of common rotary rulers."""


def ruler(unit: Unit, step: float | None = None) -> Ruler:
    """A rotary ruler: with the usual lines of its unit, or with others.

    Args:
        step: inches from a line to the next; None for the usual ones.

    >>> ruler("in").step, ruler("in", 1 / 4).step
    (0.125, 0.25)
    """
    return Ruler(float(_USUAL_STEP[unit] / PER_INCH[unit]) if step is None else step)


@dataclass(frozen=True, slots=True)
class Side:
    """A straight side of a patch with its allowance, inches."""

    start: Point
    end: Point
    allowance: float

    @property
    def size(self) -> float:
        """Inches, without allowances."""
        return distance(self.start, self.end)

    @property
    def way(self) -> float:
        """Degrees, 0 <= way < 180."""
        return angle(minus(self.end, self.start)) % 180.0


def sides_of(template: Template) -> tuple[Side, ...] | None:
    """The sides of a convex patch with straight edges, clockwise; None for any other.

    The allowance of each is measured from the cut outline.  None, too, where a side has more
    than one: part of it lies at the outside of the block.
    """
    if not all(isinstance(s, Line) for s in template.finished):
        return None
    if len(template.finished) > _MOST_SIDES:
        return None
    # Points that lie on a straight side but for the tolerance are no corners.
    corners = [s.start for s in template.finished]
    corners = [
        q
        for p, q, r in zip(
            [corners[-1], *corners[:-1]], corners, [*corners[1:], corners[0]], strict=True
        )
        if abs(cross(normalised(minus(r, p)), minus(q, p))) > TOLERANCE
    ]
    ends = corners[1:] + corners[:1]
    if len(corners) < 3 or any(
        cross(minus(q, p), minus(r, q)) <= 0
        for p, q, r in zip(corners, ends, ends[1:] + ends[:1], strict=True)
    ):
        return None
    # A template does not say which of its sides lie at the outside of the block.
    cloth = polygon_of(template.cut)
    sides = []
    for p, q in zip(corners, ends, strict=True):
        out = outward(normalised(minus(q, p)))
        found = []
        for t in _STATIONS:
            at = between(p, q, t)
            ray = LineString([at, plus(at, out, _FAR)])
            beyond = overlaid(shapely.intersection, ray, cloth, on_block=False)
            found.append(float(beyond.length))
        if max(found) - min(found) > TOLERANCE:
            return None
        sides.append(Side(p, q, found[2]))
    return tuple(sides)


@dataclass(frozen=True, slots=True)
class Rotary:
    """A patch that is cut from a square or rectangle.

    Attributes:
        finished: the longer and the shorter side of the patch; of a triangle its two legs, or
            its long side and its height.
        cut: the same two sides of what to cut, before rounding; a square's for triangles.
        lengthwise: which of the two lies along the cloth (0 or 1); None where straight and
            cross grain serve alike.
        yields: patches from each square or rectangle: 1, 2 or 4; 2 of a square cut twice where
            the grain lets only those serve whose long side lies along (or across) the cloth.
    """

    shape: ShapeName
    finished: tuple[float, float]
    cut: tuple[float, float]
    lengthwise: int | None
    yields: int


def recognised(
    sides: Sequence[Side], grain: float | None, one_way: bool, long_way: bool = False
) -> Rotary | None:
    """The rotary cut of a patch, or None if it is none of the shapes or lies off the grain.

    Args:
        grain: degrees of the straight grain; None if any will do.
        one_way: the grain must lie along the cloth, not across it.
        long_way: a rectangle's longer side must, whatever its grain.
    """
    if len(sides) == 4:
        return _rectangle(sides, grain, one_way, long_way)
    if len(sides) == 3:
        return _triangle(sides, grain, one_way)
    return None


def on_grain(way: float, grain: float) -> bool | None:
    """Whether a direction runs along (True) or square to (False) a grain line; else None."""
    apart = abs(way - grain) % 180.0
    apart = min(apart, 180.0 - apart)
    if apart <= ON_GRAIN:
        return True
    return False if apart >= 90.0 - ON_GRAIN else None


def _square_to(one: Side, other: Side) -> bool:
    """Whether two sides are at right angles: the shorter one ends where it would if they were."""
    short, long = sorted((one, other), key=lambda s: s.size)
    return abs(dot(normalised(minus(long.end, long.start)), minus(short.end, short.start))) <= SAME


def _rectangle(
    sides: Sequence[Side], grain: float | None, one_way: bool, long_way: bool
) -> Rotary | None:
    """The rotary cut of a patch with four sides."""
    top, right, bottom, left = sides
    if not all(_square_to(a, b) for a, b in ((top, right), (right, bottom), (bottom, left))):
        return None
    # Opposite sides of a drawing in decimals differ by a little.
    width, height = (top.size + bottom.size) / 2, (right.size + left.size) / 2
    cut_width = width + left.allowance + right.allowance
    cut_height = height + top.allowance + bottom.allowance
    lies = True if grain is None else on_grain(top.way, grain)
    if lies is None:
        return None
    if long_way and not one_way and abs(width - height) > SAME:
        lies = width > height
    # With another allowance on one side a square patch is cut from a rectangle.
    is_square = abs(width - height) <= SAME and abs(cut_width - cut_height) <= SAME
    if is_square:
        cut = max(cut_width, cut_height)
        return Rotary("square", (width, height), (cut, cut), None, 1)
    # (finished, to cut, whether along the grain), the longer finished side first.
    dimensions = [(width, cut_width, lies), (height, cut_height, not lies)]
    dimensions.sort(key=lambda d: (-round(d[0], 3), -d[1]))
    fixed = long_way or (one_way and grain is not None)
    return Rotary(
        "rectangle",
        (dimensions[0][0], dimensions[1][0]),
        (dimensions[0][1], dimensions[1][1]),
        (0 if dimensions[0][2] else 1) if fixed else None,
        1,
    )


def _triangle(sides: Sequence[Side], grain: float | None, one_way: bool) -> Rotary | None:
    """The rotary cut of a patch with three sides: a right triangle with equal legs."""
    first = max(range(3), key=lambda k: sides[k].size)
    long, leg, other = (sides[(first + k) % 3] for k in range(3))
    if abs(leg.size - other.size) > SAME or not _square_to(leg, other):
        return None
    s = (leg.size + other.size) / 2
    # The legs of the triangle with its allowances, which are the side of a square cut once (see
    # the top of this module).
    side = s + leg.allowance + other.allowance + math.sqrt(2) * long.allowance
    if grain is None or on_grain(leg.way, grain) is not None:
        return Rotary("half-square triangle", (s, s), (side, side), None, 2)
    lies = on_grain(long.way, grain)
    if lies is None:
        return None
    side *= math.sqrt(2)  # its long side, which is the side of a square cut twice
    # Half the triangles of a square have their long side along the cloth, half across it.
    return Rotary(
        "quarter-square triangle",
        (long.size, long.size / 2),
        (side, side),
        (0 if lies else 1) if one_way else None,
        2 if one_way else 4,
    )
