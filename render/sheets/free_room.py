"""Where on a sheet nothing is drawn: places for what may stand anywhere.

The sheet is laid over with cells; of each it is known whether there is ink in it, and whether it
lies inside a drawing, such as the blank middle of a template.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.drawing.linekinds import BACKGROUND
from piecewright.render.drawing.marks import Box, Mark, Stroke, mark_box, path_points, text_corners
from piecewright.render.drawing.marks import Text as TextMark
from piecewright.render.sheets.placed import PlacedDrawing

_CELL: Final = 0.05
_MOST_CELLS: Final = 400
"""Inches; the side of a cell, and how many there are at most along a sheet."""

CLEAR: Final = 0.05
"""Inches between what is placed and what is drawn, at the least."""


class FreeRoom:
    """The free room on a sheet.

    Args:
        area: what of the sheet can be printed on.
        items: what lies there.
    """

    def __init__(self, area: Box, items: Iterable[PlacedDrawing]) -> None:
        # Beyond the borders there is nothing to keep clear of.
        around = area.grown(CLEAR)
        self._area, self._origin = area, (around.x, around.y)
        self._cell = max(_CELL, max(around.width, around.height) / _MOST_CELLS)
        columns, rows = (int(side / self._cell) for side in (around.width, around.height))
        self._ink: NDArray[np.bool_] = np.zeros((rows, columns), dtype=np.bool_)
        self._inside: NDArray[np.bool_] = np.zeros((rows, columns), dtype=np.bool_)
        for placed in items:
            self._draw([*placed.shown, *placed.joins])
            for outline in _outlines(placed):
                self._fill(self._inside, outline, placed.clip)
        self._sums: dict[bool, NDArray[np.int_]] = {}

    def place(self, width: float, height: float, near: Point, inside: bool) -> Box | None:
        """A free place for a box, its top left corner as near to a point as can be.

        Args:
            inside: inside drawings too, where nothing is drawn.
        """
        # Cells that begin or end in the box with what is clear round it.
        columns = math.ceil((width + 2 * CLEAR) / self._cell - 1e-6) + 1
        rows = math.ceil((height + 2 * CLEAR) / self._cell - 1e-6) + 1
        sums = self._summed(inside)
        if rows >= len(sums) or columns >= sums.shape[1]:
            columns, rows = min(columns, sums.shape[1] - 1), min(rows, len(sums) - 1)
            if width > self._area.width + 1e-9 or height > self._area.height + 1e-9:
                return None
        taken = sums[rows:, columns:] - sums[:-rows, columns:]
        taken = taken - sums[rows:, :-columns] + sums[:-rows, :-columns]
        y, x = np.nonzero(taken == 0)
        if not len(x):
            return None
        left = np.minimum(self._origin[0] + x * self._cell + CLEAR, self._area.right - width)
        top = np.minimum(self._origin[1] + y * self._cell + CLEAR, self._area.bottom - height)
        # A place has a cell more than it needs, so that the box can lie at the very point.
        left = np.clip(near[0], left, np.minimum(left + self._cell, self._area.right - width))
        top = np.clip(near[1], top, np.minimum(top + self._cell, self._area.bottom - height))
        best = int(np.argmin(np.abs(left - near[0]) + np.abs(top - near[1])))
        return Box(float(left[best]), float(top[best]), width, height)

    def keep_inside(self) -> None:
        """Places are inside of drawings only."""
        self._ink |= ~self._inside
        self._sums = {}

    def take(self, box: Box) -> None:
        """Nothing else is placed there."""
        (left, top), cell = self._origin, self._cell
        rows = slice(max(0, int((box.y - top) / cell)), int((box.bottom - top) / cell) + 1)
        columns = slice(max(0, int((box.x - left) / cell)), int((box.right - left) / cell) + 1)
        self._ink[rows, columns] = True
        self._sums = {}

    def _summed(self, inside: bool) -> NDArray[np.int_]:
        """How many cells are taken above and left of each corner of a cell."""
        if inside not in self._sums:
            taken = self._ink if inside else self._ink | self._inside
            self._sums[inside] = np.pad(taken.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
        return self._sums[inside]

    def _draw(self, marks: Iterable[Mark]) -> None:
        """Mark the cells of ink, with half the width of its lines."""
        lines: list[tuple[float, float, float, float]] = []
        for mark in marks:
            if isinstance(mark, Stroke) and not mark.filled:
                points = path_points(mark) if mark.segments else []
                lines += [(*p, *q) for p, q in zip(points, points[1:], strict=False)]
            elif isinstance(mark, TextMark):
                corners = text_corners(mark)
                if corners:
                    self._fill(self._ink, corners)
                    lines += [
                        (*p, *q) for p, q in zip(corners, corners[1:] + corners[:1], strict=True)
                    ]
            elif mark.kind not in BACKGROUND:
                box = mark_box(mark)
                if box is not None:
                    self.take(box)
        if not lines:
            return
        ends = np.array(lines)
        along = np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1])
        # Two points to a cell, so that none along a line is missed.
        counts = (along / self._cell * 2).astype(int) + 2
        first = np.repeat(np.cumsum(counts) - counts, counts)
        share = (np.arange(len(first)) - first) / np.repeat(counts - 1, counts)
        rows = np.repeat(ends, counts, axis=0)
        xs = rows[:, 0] + share * (rows[:, 2] - rows[:, 0])
        ys = rows[:, 1] + share * (rows[:, 3] - rows[:, 1])
        x = np.clip((xs - self._origin[0]) / self._cell, 0, self._ink.shape[1] - 1).astype(int)
        y = np.clip((ys - self._origin[1]) / self._cell, 0, len(self._ink) - 1).astype(int)
        self._ink[y, x] = True

    def _fill(
        self,
        grid: NDArray[np.bool_],
        outline: Sequence[Point],
        window: Sequence[Point] | None = None,
    ) -> None:
        """Mark the cells whose middle lies inside an outline, and in a window if there is one."""
        shape = Polygon(outline)
        left, top, right, bottom = shape.bounds
        x0, y0 = self._origin
        rows, columns = grid.shape
        first_x, last_x = (int(np.clip((v - x0) / self._cell, 0, columns)) for v in (left, right))
        first_y, last_y = (int(np.clip((v - y0) / self._cell, 0, rows)) for v in (top, bottom))
        xs = x0 + (np.arange(first_x, min(last_x + 1, columns)) + 0.5) * self._cell
        ys = y0 + (np.arange(first_y, min(last_y + 1, rows)) + 0.5) * self._cell
        across, down = np.meshgrid(xs, ys)
        shapely.prepare(shape)
        there = shapely.contains_xy(shape, across, down)
        if window is not None:
            seen = Polygon(window)
            shapely.prepare(seen)
            there &= shapely.contains_xy(seen, across, down)
        grid[first_y : first_y + len(ys), first_x : first_x + len(xs)] |= there


def _outlines(placed: PlacedDrawing) -> Iterator[list[Point]]:
    """The closed outlines of a drawing, all of it, at their places on the sheet."""
    closed = [m for m in placed.drawing.marks if isinstance(m, Stroke) and m.closed]
    # All else of a thing to cut out lies inside its cutting line.
    cut = [mark for mark in closed if mark.kind == "cutting-line"]
    for mark in cut or (m for m in closed if m.kind in ("tint", "sewing-line")):
        on_sheet = placed.on_sheet(mark)
        assert isinstance(on_sheet, Stroke)
        points = path_points(on_sheet)
        if len(points) > 3:
            yield points
