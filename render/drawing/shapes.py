"""Boxes and marks as shapely geometry."""

from __future__ import annotations

import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.render.drawing.marks import (
    Box,
    Mark,
    Stroke,
    Text,
    mark_box,
    path_points,
    text_corners,
)


def box_polygon(box: Box) -> Polygon:
    """A box as geometry.

    >>> box_polygon(Box(0, 0, 3, 2)).area
    6.0
    """
    return shapely.box(box.x, box.y, box.right, box.bottom)


def mark_shape(mark: Mark) -> BaseGeometry:
    """Where a mark has ink; an empty polygon where it has none.

    Lines are as thin as their middle and dashed ones count as whole ones; letters count as their
    box, turned as they are, dots and filled paths as their upright box.
    """
    if isinstance(mark, Text):
        return Polygon(text_corners(mark))
    if isinstance(mark, Stroke) and mark.segments and not mark.filled:
        return LineString(path_points(mark))
    box = mark_box(mark)
    return Polygon() if box is None else box_polygon(box)
