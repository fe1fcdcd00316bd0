"""How many sheets drawings need at the least: what is proven, whichever way they are laid.

Two arguments, of which the better one counts. Shapes that keep a gap from each other, each grown by
half of it, do not overlap and lie in the sheet's area grown as much: so their areas add up. And
two shapes of which each holds a large circle cannot share a sheet on which these circles have no
room beside each other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from piecewright.render.drawing.marks import Box
from piecewright.render.sheets.papers import Sheet
from piecewright.render.sheets.whole import Piece, bleed

_APART: Final = 1 / 8
"""Inches that drawings keep from each other in any layout, for scissors."""

_INEXACT: Final = 1e-3
"""Inches; the circles in shapes are found to that."""


def least_sheets(pieces: Sequence[Piece], sheets: Sequence[Sheet]) -> int:
    """A number of sheets below which no layout goes.

    Args:
        pieces: whole drawings, of which some may be larger than a sheet.
        sheets: each orientation that may be used.
    """
    if not pieces or not sheets:
        return 0
    line = bleed([piece.drawing for piece in pieces])
    areas = [sheet.printable.grown(line) for sheet in sheets]
    return max(1, _by_area(pieces, areas), _by_circles(pieces, areas))


def _by_area(pieces: Sequence[Piece], areas: Sequence[Box]) -> int:
    room = max((a.width + _APART) * (a.height + _APART) for a in areas)
    # What is divided keeps no gap from itself that is known beforehand: its bare area counts.
    total = sum(
        float(p.shape.buffer(_APART / 2, quad_segs=4).area)
        if _lies_whole(p, areas)
        else float(p.shape.area)
        for p in pieces
    )
    return math.ceil(total / room - 1e-6)


def _lies_whole(piece: Piece, areas: Sequence[Box]) -> bool:
    """Whether a piece surely is not divided: some sheet holds the box round it."""
    left, top, right, bottom = piece.shape.bounds
    width, height = right - left, bottom - top
    return any(width <= a.width and height <= a.height for a in areas)


def _by_circles(pieces: Sequence[Piece], areas: Sequence[Box]) -> int:
    """How many shapes there are of which no two share a sheet."""
    radii = sorted(
        (_radius(p.shape) for p in pieces if _lies_whole(p, areas) and p.shape.area), reverse=True
    )

    def apart(one: float, other: float) -> bool:
        """Whether circles of two radii do not lie on any of the sheets together."""
        both = one + other
        return all(
            math.hypot(max(0.0, a.width - both), max(0.0, a.height - both)) < both + _APART
            for a in areas
        )

    # If a circle cannot lie beside the next smaller one, it cannot beside any larger one either.
    count = 1
    for larger, smaller in pairwise(radii):
        if not apart(larger, smaller):
            break
        count += 1
    return count if radii else 0


def _radius(shape: BaseGeometry) -> float:
    """Of the largest circle in a shape, or a little less."""
    circle = shapely.maximum_inscribed_circle(shape, _INEXACT)  # type: ignore[call-overload]
    return float(circle.length) - _INEXACT
