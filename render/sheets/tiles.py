"""A drawing that is larger than a sheet, cut into windows that overlap.

Where the windows join is chosen in ``render.sheets.cuts``. Windows lie in rows and columns; those
in which nothing new is drawn are left out. What stands along the joins is in
``render.sheets.join_marks``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import shapely

from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.render.drawing.linekinds import BACKGROUND
from piecewright.render.drawing.mark_index import WIDEST_HALF, MarkIndex
from piecewright.render.drawing.marks import Box, Drawing, Mark, Text
from piecewright.render.drawing.shapes import box_polygon
from piecewright.render.sheets.cuts import Axis, InkCount, good_cuts
from piecewright.render.sheets.join_marks import Cell, Join, first_sheet_marks, second_sheet_marks
from piecewright.render.sheets.sheet_settings import MOST_SHEETS

_HOPELESS: Final = 20
"""Times the most windows; even of a drawing that is mostly blank, this much is never left out."""


_LEAST_JOIN: Final = 1.0
"""Inches; windows are not trimmed where their join would be shorter."""


@dataclass(frozen=True, slots=True)
class Tile:
    """One window on a drawing, in the drawing's coordinates.

    Attributes:
        row, column: from 1, of ``rows`` and ``columns``.
        shown: the numbers of the drawing's marks of which the window shows ink.
        joins: the marks along its joins.
        new_marks: how many numbers of join marks no tile before it has.
    """

    row: int
    column: int
    rows: int
    columns: int
    window: Box
    shown: tuple[int, ...]
    joins: tuple[Mark, ...]
    new_marks: int


@dataclass(frozen=True, slots=True)
class Grid:
    """Windows in rows and columns that together show all of a drawing.

    Attributes:
        windows: each with the numbers of the marks that it shows, row by row.
        cut_labels: how many lines of text no window shows whole.
    """

    drawing: Drawing
    overlap: float
    rows: int
    columns: int
    windows: Mapping[Cell, tuple[Box, tuple[int, ...]]]
    cut_labels: int


def grid_for(
    drawing: Drawing, width: float, height: float, overlap: float, most: int = MOST_SHEETS
) -> Grid | None:
    """The windows, at most ``width`` by ``height``, that show a drawing on the fewest sheets.

    Args:
        overlap: how much two neighbours both show; less than ``width`` and ``height``.
        most: the most windows to make.

    Returns:
        None if there would be more than ``most``.
    """
    box = drawing.box
    across = Axis(box.x, box.right, width, overlap)
    down = Axis(box.y, box.bottom, height, overlap)
    # Windows without ink are left out, so that more than ``most`` may do; looking takes time.
    if across.fewest * down.fewest > _HOPELESS * most:
        return None
    # It fits but for the test squares: one window, and all marks are in it.
    if across.fewest == down.fewest == 1:
        every = tuple(range(len(drawing.marks)))
        return Grid(drawing, overlap, 1, 1, {(0, 0): (box, every)}, 0)
    ink = MarkIndex(drawing.marks)
    grids = []
    for xs, ys in good_cuts(ink, across, down, InkCount(drawing.box, ink)):
        windows = {
            (row, column): Box(left, top, right - left, bottom - top)
            for row, (top, bottom) in enumerate(down.windows(ys))
            for column, (left, right) in enumerate(across.windows(xs))
        }
        shown = _needed(ink, windows, _shown(ink, windows))
        trimmed = _trimmed(ink, {cell: windows[cell] for cell in shown})
        kept = {cell: (trimmed[cell], tuple(numbers)) for cell, numbers in shown.items()}
        cut = _cut_labels(ink, list(trimmed.values()))
        grids.append(Grid(drawing, overlap, len(ys) + 1, len(xs) + 1, kept, cut))
    # Fewest sheets first, and among those whole labels.
    best = min(grids, key=lambda grid: (len(grid.windows), grid.cut_labels))
    return None if len(best.windows) > most else best


def tiles(grid: Grid, first_mark: int = 1) -> tuple[Tile, ...]:
    """The windows of a grid with what stands along their joins, row by row.

    Args:
        first_mark: the number of the first join mark.
    """
    windows = grid.windows
    # What joins keep off: not the fills, which words and diamonds may lie over.
    ink = MarkIndex([mark for mark in grid.drawing.marks if mark.kind not in BACKGROUND])
    joins: dict[Cell, list[Mark]] = {cell: [] for cell in windows}
    new = dict.fromkeys(windows, 0)
    number = first_mark
    for cell, (window, _) in windows.items():
        row, column = cell
        # To the right and below: so each join is made once, by its left or upper sheet.
        for other in ((row, column + 1), (row + 1, column)):
            if other not in windows:
                continue
            join = Join.between(
                window, windows[other][0], cell, other, ink, number, grid.drawing.title
            )
            joins[cell] += first_sheet_marks(join)
            joins[other] += second_sheet_marks(join)
            new[cell] += len(join.places)
            number += len(join.places)
    return tuple(
        Tile(
            row=cell[0] + 1,
            column=cell[1] + 1,
            rows=grid.rows,
            columns=grid.columns,
            window=window,
            shown=shown,
            joins=tuple(joins[cell]),
            new_marks=new[cell],
        )
        for cell, (window, shown) in windows.items()
    )


# -- what each window shows


def _shown(ink: MarkIndex, windows: Mapping[Cell, Box]) -> dict[Cell, list[int]]:
    """The numbers of the marks in each window; windows that show nothing left out."""
    shown = ink.within(list(windows.values()))
    return {cell: numbers for cell, numbers in zip(windows, shown, strict=True) if numbers}


def _needed(
    ink: MarkIndex, windows: Mapping[Cell, Box], shown: Mapping[Cell, list[int]]
) -> dict[Cell, list[int]]:
    """The windows without those whose ink is all on their neighbours' sheets too.

    One that holds its neighbours together is kept.
    """
    kept = dict(shown)
    parts = _parts(kept)
    # Those that show the least first: they are the likeliest to be shown by others too.
    for cell in sorted(shown, key=lambda c: (len(shown[c]), c)):
        others = [windows[other] for other in _around(cell) if other in kept]
        if not others or not _all_shown(ink, windows[cell], others):
            continue
        # Sheets are joined along their sides: two heaps of them could not be put together.
        without = {other: numbers for other, numbers in kept.items() if other != cell}
        if _parts(without) <= parts:
            kept = without
    return kept


def _trimmed(ink: MarkIndex, windows: Mapping[Cell, Box]) -> dict[Cell, Box]:
    """The windows no larger than what is drawn in them, on the sides where none is joined.

    Small parts find room beside other shapes. Joins stay as wide as the overlap, and long enough.
    """
    found = {cell: _round_ink(ink, window, cell, windows) for cell, window in windows.items()}
    for cell in windows:
        for other, along in (((cell[0], cell[1] + 1), 1), ((cell[0] + 1, cell[1]), 0)):
            if other not in windows:
                continue
            one, two = _side(found[cell], along), _side(found[other], along)
            whole, beside = _side(windows[cell], along), _side(windows[other], along)
            least = min(_LEAST_JOIN, whole[1] - whole[0], beside[1] - beside[0])
            if min(one[1], two[1]) - max(one[0], two[0]) < least:
                found[cell], found[other] = windows[cell], windows[other]
    return found


def _side(box: Box, along: int) -> tuple[float, float]:
    """Where a box begins and ends, across (0) or down (1)."""
    return ((box.x, box.right), (box.y, box.bottom))[along]


def _round_ink(ink: MarkIndex, window: Box, cell: Cell, windows: Mapping[Cell, Box]) -> Box:
    row, column = cell
    left, top, right, bottom = shapely.total_bounds(ink.shapes_in(window)).tolist()
    if math.isnan(left):
        return window
    drawn = Box.of_bounds(left, top, right, bottom).grown(WIDEST_HALF)
    return Box.of_bounds(
        window.x if (row, column - 1) in windows else max(window.x, drawn.x),
        window.y if (row - 1, column) in windows else max(window.y, drawn.y),
        window.right if (row, column + 1) in windows else min(window.right, drawn.right),
        window.bottom if (row + 1, column) in windows else min(window.bottom, drawn.bottom),
    )


def _around(cell: Cell) -> list[Cell]:
    row, column = cell
    return [
        (row + down, column + across)
        for down in (-1, 0, 1)
        for across in (-1, 0, 1)
        if down or across
    ]


def _all_shown(ink: MarkIndex, window: Box, others: Sequence[Box]) -> bool:
    """Whether the other windows show all that a window shows."""
    # Along their rims lies the other half of a line that they show whole.
    rest = [box_polygon(other.grown(2 * WIDEST_HALF)) for other in others]
    shown = overlaid(shapely.union_all, rest, on_block=False)
    left_over = overlaid(shapely.difference, box_polygon(window), shown, on_block=False)
    return left_over.is_empty or not shapely.intersects(ink.shapes_in(window), left_over).any()


def _parts(cells: Iterable[Cell]) -> int:
    """Into how many connected parts windows fall that are joined along their sides."""
    left, count = set(cells), 0
    while left:
        count += 1
        reached = [left.pop()]
        while reached:
            row, column = reached.pop()
            beside = {(row + 1, column), (row - 1, column), (row, column + 1), (row, column - 1)}
            reached += beside & left
            left -= beside
    return count


def _cut_labels(ink: MarkIndex, windows: Sequence[Box]) -> int:
    """How many lines of text no window shows whole."""
    pairs = zip(ink.marks, ink.boxes, strict=True)
    boxes = [box for mark, box in pairs if isinstance(mark, Text)]
    return sum(not any(w.holds(b) for w in windows) for b in boxes if b is not None)
