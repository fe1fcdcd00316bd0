"""The ink of a drawing's marks as geometry, found fast by its place."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.drawing.linekinds import BACKGROUND, PENS
from piecewright.render.drawing.marks import Box, Dot, Mark, Stroke, Text, mark_box, text_corners

HALF: Final = max(pen.half for pen in PENS.values())
"""No line's ink reaches further from its middle, inches."""


def corners(stroke: Stroke) -> list[Point]:
    """The points of a path, its curves as chords; the first once more if it is closed."""
    points = paths.ring(stroke.segments)
    points.append(stroke.segments[-1].end)
    if stroke.closed:
        points.append(points[0])
    return points


def area(box: Box) -> BaseGeometry:
    """A box as geometry."""
    return shapely.box(box.x, box.y, box.right, box.bottom)


class Ink:
    """Where a drawing's marks have ink.

    Lines are as thin as their middle; dashed ones count as whole ones, letters as their box.
    """

    def __init__(self, marks: Sequence[Mark]) -> None:
        self.marks = tuple(marks)
        self.boxes = [mark_box(mark) for mark in marks]
        self._numbers = np.array(
            [n for n, box in enumerate(self.boxes) if box is not None], dtype=int
        )
        self.corners = {
            n: corners(mark)
            for n, mark in enumerate(marks)
            if isinstance(mark, Stroke) and mark.segments
        }
        shapes = [self._shape(int(n)) for n in self._numbers]
        self.shapes: NDArray[np.object_] = np.array(shapes, dtype=object)
        self._tree = STRtree(shapes)

    def _shape(self, number: int) -> BaseGeometry:
        mark, box = self.marks[number], self.boxes[number]
        assert box is not None
        if isinstance(mark, Text):
            return Polygon(text_corners(mark))
        if isinstance(mark, Dot) or mark.filled:
            return area(box)
        return LineString(self.corners[number])

    def within(self, boxes: Sequence[Box]) -> list[list[int]]:
        """For each box the numbers of the marks with ink in it, in their order."""
        found: list[list[int]] = [[] for _ in boxes]
        if len(self._numbers):
            areas = [area(box.grown(HALF)) for box in boxes]
            for box, shape in self._tree.query(areas, predicate="intersects").T:
                found[box].append(int(self._numbers[shape]))
        return [sorted(numbers) for numbers in found]

    def near(self, box: Box, behind: bool = True) -> NDArray[np.object_]:
        """The ink in a box as geometry, cut off at its border.

        Args:
            behind: with what other marks may lie over.
        """
        if not len(self._numbers):
            return self.shapes
        around = area(box)
        hits = self._tree.query(around, predicate="intersects").tolist()
        if not behind:
            hits = [n for n in hits if self.marks[self._numbers[n]].kind not in BACKGROUND]
        parts: NDArray[np.object_] = overlaid(
            shapely.intersection, self.shapes[hits], around, on_block=False
        )
        return parts
