"""How tests read by eye what points a hair off may decide: only where it is beyond doubt.

Corners may be off by ``TOLERANCE`` and still be where they are meant to be.  A shape that is off by
some such hairs may be read one way or the other, and where the line is drawn is the code's affair:
a random block with such a shape is no example of anything, and is passed over.
"""

from __future__ import annotations

from hypothesis import reject
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.geometry.vectors import TOLERANCE

SURELY = TOLERANCE / 10
"""Inches; what is off by no more is what it seems to be, by whatever reading."""

SURELY_NOT = 10 * TOLERANCE
"""Inches; more than the tolerances of all corners that a reading goes by could add up to."""


def beyond_doubt(off: float) -> bool:
    """Whether something off by so many inches is what it seems to be.

    Rejects the example where that is in doubt; where no hypothesis is at work the test fails.
    """
    if SURELY < off <= SURELY_NOT:
        reject()
    return off <= SURELY


def is_rectangle(shape: BaseGeometry) -> bool:
    """Whether the outline of a shape, its holes too, is that of the smallest rectangle round it."""
    around = shape.minimum_rotated_rectangle
    return beyond_doubt(around.boundary.hausdorff_distance(shape.boundary))
