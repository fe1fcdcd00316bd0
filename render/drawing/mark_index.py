"""A spatial index of marks: which of them have ink in a box, found by their place.

It is an R-tree of their shapes (packed by sort-tile-recursive, as shapely's ``STRtree`` is), so
that the marks of a window are found without looking at all the others.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.render.drawing.linekinds import BACKGROUND, PENS
from piecewright.render.drawing.marks import Box, Mark, Stroke, mark_box, path_points
from piecewright.render.drawing.shapes import box_polygon, mark_shape

WIDEST_HALF: Final = max(pen.half for pen in PENS.values())
"""No pen's ink reaches further from the middle of its line, inches."""


class MarkIndex:
    """Marks by their place; their numbers are those of the sequence that it is made from.

    Attributes:
        marks: all of them.
        boxes: of each mark; None where there is no ink.
        points: of each path by its number, its curves as chords.
    """

    def __init__(self, marks: Sequence[Mark]) -> None:
        self.marks = tuple(marks)
        self.boxes = [mark_box(mark) for mark in marks]
        self.points = {
            n: path_points(mark)
            for n, mark in enumerate(marks)
            if isinstance(mark, Stroke) and mark.segments
        }
        # Marks without ink are not in the tree, so that its numbers are not theirs.
        self._numbers = np.array(
            [n for n, box in enumerate(self.boxes) if box is not None], dtype=int
        )
        shapes = [self._shape(n) for n in self._numbers.tolist()]
        self._shapes: NDArray[np.object_] = np.array(shapes, dtype=object)
        self._tree = STRtree(shapes)

    def _shape(self, number: int) -> BaseGeometry:
        mark = self.marks[number]
        if isinstance(mark, Stroke) and not mark.filled:
            return LineString(self.points[number])  # its chords are known already
        return mark_shape(mark)

    def within(self, boxes: Sequence[Box]) -> list[list[int]]:
        """For each box the numbers of the marks with ink in it, in their order."""
        found: list[list[int]] = [[] for _ in boxes]
        if len(self._numbers):
            # Shapes of lines have no width: what they lack of it, the boxes have more.
            areas = [box_polygon(box.grown(WIDEST_HALF)) for box in boxes]
            for box, shape in self._tree.query(areas, predicate="intersects").T:
                found[box].append(int(self._numbers[shape]))
        return [sorted(numbers) for numbers in found]

    def shapes_in(self, box: Box, background: bool = True) -> NDArray[np.object_]:
        """The shapes of the marks in a box, cut off at its border.

        Args:
            background: with marks that others may lie over.
        """
        if not len(self._numbers):
            return self._shapes
        around = box_polygon(box)
        hits = self._tree.query(around, predicate="intersects").tolist()
        if not background:
            hits = [n for n in hits if self.marks[self._numbers[n]].kind not in BACKGROUND]
        parts: NDArray[np.object_] = overlaid(
            shapely.intersection, self._shapes[hits], around, on_block=False
        )
        return parts
