"""A drawing that is larger than a sheet, cut into windows that overlap.

Where the windows join is chosen for the fewest sheets, and then so that joins keep off labels and
match points. Windows lie in rows and columns; those in which nothing new is drawn are
left out. What stands along the joins is in ``render.sheets.join_marks``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.render.drawing.linekinds import BACKGROUND
from piecewright.render.drawing.mark_index import HALF, Ink, area
from piecewright.render.drawing.marks import Box, Dot, Drawing, Mark, Stroke, Text
from piecewright.render.sheets.join_marks import Join, first_sheet_marks, second_sheet_marks

Cell: TypeAlias = tuple[int, int]
"""Row and column, from 0."""

_Cuts: TypeAlias = tuple[float, ...]
"""Along one axis, where each strip that two windows share begins."""

_ENOUGH: Final = 1e-9

_OFFSETS: Final = 24
"""Into how many steps the play of a grid of windows is divided."""

_STEP: Final = 0.05
"""Inches; joins are moved by this much to find a better place."""

_LARGER_GRID: Final = 0.05
"""What each row or column that could be spared counts for, beside a label cut counting 1."""

_FINEST: Final = 0.04
_MOST_CELLS: Final = 1024
"""The ink is counted on a grid of cells this large (inches), and of this many at most."""

_LEAST_WINDOW: Final = 0.5
"""What a window shows beyond its overlaps, inches; less is not worth a sheet."""


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
    drawing: Drawing, width: float, height: float, overlap: float, most: int = 500
) -> Grid | None:
    """The windows, at most ``width`` by ``height``, that show a drawing on the fewest sheets.

    Args:
        overlap: how much two neighbours both show; less than ``width`` and ``height``.
        most: the most windows to make.

    Returns:
        None if there would be more than ``most``.
    """
    box = drawing.box
    across = _Axis(box.x, box.right, width, overlap)
    down = _Axis(box.y, box.bottom, height, overlap)
    if across.fewest * down.fewest > 20 * most:
        return None
    if across.fewest == down.fewest == 1:
        every = tuple(range(len(drawing.marks)))
        return Grid(drawing, overlap, 1, 1, {(0, 0): (box, every)}, 0)
    ink = Ink(drawing.marks)
    grids = []
    for xs, ys in _good_cuts(ink, across, down, _Count(drawing.box, ink)):
        windows = {
            (row, column): Box(left, top, right - left, bottom - top)
            for row, (top, bottom) in enumerate(down.windows(ys))
            for column, (left, right) in enumerate(across.windows(xs))
        }
        shown = _needed(ink, windows, _shown(ink, windows))
        kept = {cell: (windows[cell], tuple(numbers)) for cell, numbers in shown.items()}
        cut = _cut_labels(ink, [windows[cell] for cell in shown])
        grids.append(Grid(drawing, overlap, len(ys) + 1, len(xs) + 1, kept, cut))
    best = min(grids, key=lambda grid: (len(grid.windows), grid.cut_labels))
    return None if len(best.windows) > most else best


def tiles(grid: Grid, first_mark: int = 1) -> tuple[Tile, ...]:
    """The windows of a grid with what stands along their joins, row by row.

    Args:
        first_mark: the number of the first join mark.
    """
    windows = grid.windows
    ink = Ink([mark for mark in grid.drawing.marks if mark.kind not in BACKGROUND])
    joins: dict[Cell, list[Mark]] = {cell: [] for cell in windows}
    new = dict.fromkeys(windows, 0)
    number = first_mark
    for cell, (window, _) in windows.items():
        row, column = cell
        for other in ((row, column + 1), (row + 1, column)):
            if other not in windows:
                continue
            join = Join.between(window, windows[other][0], cell, other, ink, number)
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


# -- one axis


@dataclass(frozen=True, slots=True)
class _Axis:
    """What windows have to cover along one axis.

    Attributes:
        start, end: of the drawing.
        room: the longest window.
        overlap: of two windows.
    """

    start: float
    end: float
    room: float
    overlap: float

    @property
    def step(self) -> float:
        """From a window to the next, if they are as long as they can be."""
        return self.room - self.overlap

    @property
    def fewest(self) -> int:
        """How many windows cover it."""
        needed = self.end - self.start
        if needed <= self.room + _ENOUGH:
            return 1
        return math.ceil((needed - self.overlap) / self.step - _ENOUGH)

    def windows(self, cuts: _Cuts) -> list[tuple[float, float]]:
        """Start and end of each window."""
        starts = [self.start, *cuts]
        ends = [*(cut + self.overlap for cut in cuts), self.end]
        return list(zip(starts, ends, strict=True))

    def even(self, count: int) -> _Cuts:
        """Windows of one length."""
        length = (self.end - self.start + (count - 1) * self.overlap) / count
        return tuple(self.start + n * (length - self.overlap) for n in range(1, count))

    def choices(self) -> list[_Cuts]:
        """Windows of one length, and windows as long as they can be at every offset.

        With one more window than needed, too: it can leave more of them empty.
        """
        found = []
        for count in (self.fewest, self.fewest + 1):
            found.append(self.even(count))
            play = self.room + (count - 1) * self.step - (self.end - self.start)
            for n in range(_OFFSETS + 1):
                first = self.start + self.step - play * n / _OFFSETS
                cuts = tuple(first + k * self.step for k in range(count - 1))
                if self.allows(cuts):
                    found.append(cuts)
        return list(dict.fromkeys(found))

    def allows(self, cuts: _Cuts) -> bool:
        """Whether no window is too long, and none hardly shows anything."""
        if not cuts:
            return True
        windows = self.windows(cuts)
        if any(end - start > self.room + _ENOUGH for start, end in windows):
            return False
        least = min(_LEAST_WINDOW, self.step / 2)
        beyond = [self.start, *(cut + self.overlap for cut in cuts)]
        return all(
            cut - before >= least - _ENOUGH
            for before, cut in zip(beyond, [*cuts, self.end], strict=True)
        )


class _Count:
    """How many cells of a fine grid have ink, for any window at once (a summed-area table)."""

    def __init__(self, box: Box, ink: Ink) -> None:
        self._box = box
        self._size = max(_FINEST, max(box.width, box.height) / _MOST_CELLS)
        columns, rows = (int(side / self._size) + 1 for side in (box.width, box.height))
        taken = np.zeros((rows, columns), dtype=np.int32)
        for points in _ink_points(ink, self._size / 2):
            there = (points - (box.x, box.y)) / self._size
            column = np.clip(there[:, 0].astype(int), 0, columns - 1)
            row = np.clip(there[:, 1].astype(int), 0, rows - 1)
            taken[row, column] = 1
        self._sums: NDArray[np.int32] = np.zeros((rows + 1, columns + 1), dtype=np.int32)
        self._sums[1:, 1:] = taken.cumsum(axis=0).cumsum(axis=1)

    def sheets(
        self,
        across: Sequence[Sequence[tuple[float, float]]],
        down: Sequence[Sequence[tuple[float, float]]],
    ) -> NDArray[np.int_]:
        """How many windows have ink: a row for each division down, a column for each across."""
        rows, columns = self._sums.shape
        left, right, first_across = self._ends(across, self._box.x, columns - 1)
        top, bottom, first_down = self._ends(down, self._box.y, rows - 1)
        sums = self._sums
        inside = (
            sums[np.ix_(bottom, right)]
            - sums[np.ix_(top, right)]
            - sums[np.ix_(bottom, left)]
            + sums[np.ix_(top, left)]
        )
        with_ink = (inside > 0).astype(int)
        by_row = np.add.reduceat(with_ink, first_down, axis=0)
        found: NDArray[np.int_] = np.add.reduceat(by_row, first_across, axis=1)
        return found

    def _ends(
        self, divisions: Sequence[Sequence[tuple[float, float]]], origin: float, count: int
    ) -> tuple[NDArray[np.int_], NDArray[np.int_], NDArray[np.int_]]:
        ends = (np.array([w for windows in divisions for w in windows]) - origin) / self._size
        low = np.clip(np.floor(ends[:, 0] + 1e-6).astype(int), 0, count - 1)
        high = np.clip(np.ceil(ends[:, 1] - 1e-6).astype(int), 1, count)
        lengths = [len(windows) for windows in divisions]
        first = np.concatenate(([0], np.cumsum(lengths)[:-1]))
        return low, high, first


def _ink_points(ink: Ink, step: float) -> Iterable[NDArray[np.float64]]:
    """Points along lines, and all over letters, dots and filled shapes."""
    for number, (mark, box) in enumerate(zip(ink.marks, ink.boxes, strict=True)):
        if box is None or mark.kind in ("pattern", "dots"):
            continue  # a pattern lies inside its tint
        if isinstance(mark, Stroke) and not mark.filled:
            points = np.array(ink.corners[number])
            lengths = np.hypot(*np.diff(points, axis=0).T)
            along = np.concatenate(([0.0], np.cumsum(lengths)))
            places = np.linspace(0.0, along[-1], int(along[-1] / step) + 2)
            yield np.column_stack([np.interp(places, along, points[:, axis]) for axis in (0, 1)])
        else:
            xs = np.linspace(box.x, box.right, int(box.width / step) + 2)
            ys = np.linspace(box.y, box.bottom, int(box.height / step) + 2)
            yield np.array(np.meshgrid(xs, ys)).reshape(2, -1).T


# -- where to join


def _good_cuts(
    ink: Ink, across: _Axis, down: _Axis, count: _Count
) -> Iterator[tuple[_Cuts, _Cuts]]:
    """Ways to join with few sheets that spoil little: the best of each number of joins.

    The count does not know which windows show nothing new, so all are to be looked at closely.
    """
    xs, ys = across.choices(), down.choices()
    harm_across, harm_down = _Harm(ink, across, 0), _Harm(ink, down, 1)
    sheets = count.sheets([across.windows(c) for c in xs], [down.windows(c) for c in ys])
    harm = np.add.outer([harm_down.of(c) for c in ys], [harm_across.of(c) for c in xs])
    more = np.outer([len(c) + 1 for c in ys], [len(c) + 1 for c in xs])
    harm += _LARGER_GRID * more
    kinds = {(len(x), len(y)) for x in xs for y in ys}
    for columns, rows in sorted(kinds):
        of_these = np.outer([len(y) == rows for y in ys], [len(x) == columns for x in xs])
        most = int(sheets[of_these].min())
        if most > sheets.min() + 1:
            continue
        least = np.where(of_these & (sheets == most), harm, np.inf)
        row, column = divmod(int(np.argmin(least)), len(xs))
        x, y = xs[column], ys[row]

        def few(x: _Cuts, y: _Cuts, most: int = most) -> bool:
            return int(count.sheets([across.windows(x)], [down.windows(y)])[0, 0]) <= most

        x = _moved_off(x, across, harm_across, partial(few, y=y))
        y = _moved_off(y, down, harm_down, partial(few, x))
        yield x, y


def _moved_off(cuts: _Cuts, axis: _Axis, harm: _Harm, few: Callable[[_Cuts], bool]) -> _Cuts:
    """The joins, each moved to where it spoils less, if that costs no sheet."""
    for n in range(len(cuts)):
        before = cuts[n - 1] if n else axis.start - axis.overlap
        after = cuts[n + 1] if n + 1 < len(cuts) else axis.end - axis.overlap
        low, high = max(before, after - axis.step), min(after, before + axis.step)
        if n == 0:
            high = min(high, axis.start + axis.step)
        steps = max(0, int((high - low) / _STEP))
        others = [(*cuts[:n], low + k * _STEP, *cuts[n + 1 :]) for k in range(steps + 1)]
        better = [(harm.of(c), c) for c in others if axis.allows(c)]
        now = harm.of(cuts)
        for value, other in sorted(better):
            if value >= now - _ENOUGH:
                break
            if few(other):
                cuts = other
                break
    return cuts


class _Harm:
    """How much joins along one axis spoil: labels and match points that they cut."""

    def __init__(self, ink: Ink, axis: _Axis, which: int) -> None:
        self._axis = axis
        self._even: dict[int, _Cuts] = {}
        spans: list[tuple[float, float, float, float]] = []
        lines: list[tuple[float, float]] = []
        length = axis.end - axis.start
        for number, (mark, box) in enumerate(zip(ink.marks, ink.boxes, strict=True)):
            if box is None or mark.kind in BACKGROUND:
                continue
            low = (box.x, box.y)[which]
            high = (box.right, box.bottom)[which]
            if isinstance(mark, Text):
                spans.append((low, high, 1.0, 0.1))
            elif isinstance(mark, Dot):
                spans.append((low, high, 0.6, 0.1))
            elif mark.filled:
                spans.append((low, high, 0.3, 0.0))
            else:
                points = ink.corners[number]
                for p, q in zip(points, points[1:], strict=False):
                    along = abs(q[1 - which] - p[1 - which])
                    if abs(q[which] - p[which]) < 0.02 and along > 0.5:
                        lines.append((p[which], min(1.0, along / length)))
        self._spans = np.array(spans).reshape(-1, 4)
        self._lines = np.array(lines).reshape(-1, 2)

    def of(self, cuts: _Cuts) -> float:
        if not cuts:
            return 0.0
        axis = self._axis
        even = self._even.setdefault(len(cuts), axis.even(len(cuts) + 1))
        uneven = sum(abs(a - b) for a, b in zip(cuts, even, strict=True)) / axis.room
        start = np.array(cuts)[:, None]
        end = start + axis.overlap
        low, high, cut, touched = self._spans.T
        whole = (high <= end) | (low >= start)
        reached = (low < end) & (high > start)
        # A line of the drawing along a line of the join would be mistaken for it.
        at, weight = self._lines.T
        beside = (at > start - 0.06) & (at < end + 0.06)
        return float(
            (cut * ~whole + touched * reached).sum() + 0.5 * (weight * beside).sum() + 0.02 * uneven
        )


# -- what each window shows


def _shown(ink: Ink, windows: Mapping[Cell, Box]) -> dict[Cell, list[int]]:
    """The numbers of the marks in each window; windows that show nothing left out."""
    shown = ink.within(list(windows.values()))
    return {cell: numbers for cell, numbers in zip(windows, shown, strict=True) if numbers}


def _needed(
    ink: Ink, windows: Mapping[Cell, Box], shown: Mapping[Cell, list[int]]
) -> dict[Cell, list[int]]:
    """The windows without those whose ink is all on their neighbours' sheets too.

    One that holds its neighbours together is kept.
    """
    kept = dict(shown)
    parts = _parts(kept)
    for cell in sorted(shown, key=lambda c: (len(shown[c]), c)):
        others = [windows[other] for other in _around(cell) if other in kept]
        if not others or not _all_shown(ink, windows[cell], others):
            continue
        without = {other: numbers for other, numbers in kept.items() if other != cell}
        if _parts(without) <= parts:
            kept = without
    return kept


def _around(cell: Cell) -> list[Cell]:
    row, column = cell
    return [
        (row + down, column + across)
        for down in (-1, 0, 1)
        for across in (-1, 0, 1)
        if down or across
    ]


def _all_shown(ink: Ink, window: Box, others: Sequence[Box]) -> bool:
    """Whether the other windows show all that a window shows."""
    # Along their rims lies the other half of a line that they show whole.
    rest = [area(other.grown(2 * HALF)) for other in others]
    shown = overlaid(shapely.union_all, rest, on_block=False)
    left_over = overlaid(shapely.difference, area(window), shown, on_block=False)
    return left_over.is_empty or not shapely.intersects(ink.near(window), left_over).any()


def _parts(cells: Iterable[Cell]) -> int:
    """Into how many parts windows fall that are joined along their sides."""
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


def _cut_labels(ink: Ink, windows: Sequence[Box]) -> int:
    pairs = zip(ink.marks, ink.boxes, strict=True)
    boxes = [box for mark, box in pairs if isinstance(mark, Text)]
    return sum(not any(_holds(w, b) for w in windows) for b in boxes if b is not None)


def _holds(window: Box, box: Box) -> bool:
    return (
        window.x <= box.x
        and window.y <= box.y
        and box.right <= window.right
        and box.bottom <= window.bottom
    )
