"""Joining the blocks of a quilt: blocks into rows, then rows to each other.

Units are joined in pairs, neighbour to neighbour, so that no unit grows long before it must.  The
seams of the first row are all pressed to the right, those of the second to the left, and so
on, so that they nest when rows are joined (common practice); the seams between rows are all
pressed down, as nothing arrives at them later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from piecewright.patchwork.sewing.rectangles import Size

Way: TypeAlias = Literal["right", "left", "down"]


def pressed(row: int) -> Way:
    """The way in which the seams between the blocks of a row are pressed."""
    return "left" if row % 2 else "right"


@dataclass(frozen=True, slots=True)
class Area:
    """A rectangle of places: its first and last row and column, both included."""

    top: int
    left: int
    bottom: int
    right: int


@dataclass(frozen=True, slots=True)
class Joining:
    """One join of the quilt.

    Attributes:
        number: from 1, in the order of sewing.
        level: from 1; what it joins was made at lower levels.
        kind: whether it joins blocks within a row, or whole rows.
        first, second: the left one and the right one, or the upper one and the lower one.
        press: the way its allowances are pressed.
        unfinished: the size of the unit to square up to.
    """

    number: int
    level: int
    kind: Literal["blocks", "rows"]
    first: Area
    second: Area
    press: Way
    unfinished: Size


def joinings(heights: Sequence[float], widths: Sequence[float], edge: float) -> tuple[Joining, ...]:
    """All joins of a quilt, in the order of sewing.

    Args:
        heights, widths: of its rows and columns, finished, inches.
        edge: the allowance at the edge of a block.
    """
    found: list[Joining] = []

    def join(kind: Literal["blocks", "rows"], level: int, one: Area, other: Area) -> Area:
        both = Area(one.top, one.left, other.bottom, other.right)
        size = Size(
            sum(widths[both.left : both.right + 1]) + 2 * edge,
            sum(heights[both.top : both.bottom + 1]) + 2 * edge,
        )
        way: Way = "down" if kind == "rows" else pressed(one.top)
        found.append(Joining(len(found) + 1, level, kind, one, other, way, size))
        return both

    # Pair after pair, an odd one at the end waiting for the next level.  All rows take the same
    # levels, and the first level between rows comes after the last within them.
    across, down = len(widths), len(heights)
    for row in range(down):
        units, level = [Area(row, c, row, c) for c in range(across)], 0
        while len(units) > 1:
            level += 1
            units = [
                join("blocks", level, *units[n : n + 2]) if n + 1 < len(units) else units[n]
                for n in range(0, len(units), 2)
            ]
    units, level = [Area(r, 0, r, across - 1) for r in range(down)], (across - 1).bit_length()
    while len(units) > 1:
        level += 1
        units = [
            join("rows", level, *units[n : n + 2]) if n + 1 < len(units) else units[n]
            for n in range(0, len(units), 2)
        ]
    return tuple(found)
