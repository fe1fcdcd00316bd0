"""Where the windows on a large drawing join: with the fewest sheets, then off its labels.

The joins are cuts across and down the whole drawing. Each way they are tried at many offsets; how
many windows have ink is counted for all of them at once, and the joins of the best are then moved,
one by one, off labels, match points and lines that run along them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from piecewright.render.drawing.linekinds import BACKGROUND
from piecewright.render.drawing.mark_index import MarkIndex
from piecewright.render.drawing.marks import Box, Dot, Stroke, Text

Cuts: TypeAlias = tuple[float, ...]
"""Along one axis, where each strip that two windows share begins."""

_ENOUGH: Final = 1e-9
"""Inches, and shares of a window; less than that is rounding."""

_OFFSETS: Final = 24
"""Into how many steps the play of a grid of windows is divided: on letter paper at most two thirds
of an inch each. What that passes over is found by moving single joins."""

_BESIDE: Final = 0.06
"""Inches; what is nearer than this to a line of a join looks as if it belonged to it."""

_STEP: Final = 0.1
"""Inches; joins are moved by this much to find a better place."""

_LARGER_GRID: Final = 0.05
"""What each row or column that could be spared counts for, beside a label cut counting 1."""

_FINEST: Final = 0.04
_MOST_CELLS: Final = 1024
"""The ink is counted on a grid of cells this large (inches), and of this many at most along the
longer side, which is 4 MB of counts."""

_LEAST_WINDOW: Final = 0.5
"""What a window shows beyond its overlaps, inches; less is not worth a sheet."""


# -- one axis


@dataclass(frozen=True, slots=True)
class Axis:
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
        # The first window covers its room; each one more covers a step.
        return math.ceil((needed - self.overlap) / self.step - _ENOUGH)

    def windows(self, cuts: Cuts) -> list[tuple[float, float]]:
        """Start and end of each window."""
        starts = [self.start, *cuts]
        ends = [*(cut + self.overlap for cut in cuts), self.end]
        return list(zip(starts, ends, strict=True))

    def even(self, count: int) -> Cuts:
        """Windows of one length."""
        length = (self.end - self.start + (count - 1) * self.overlap) / count
        return tuple(self.start + n * (length - self.overlap) for n in range(1, count))

    def choices(self) -> list[Cuts]:
        """Windows of one length, and windows as long as they can be at every offset.

        With one more window than needed, too: it can leave more of them empty.
        """
        found = []
        for count in (self.fewest, self.fewest + 1):
            found.append(self.even(count))
            # By how much windows of full length reach further than the drawing: the first of them
            # may begin anywhere in it.
            play = self.room + (count - 1) * self.step - (self.end - self.start)
            for n in range(_OFFSETS + 1):
                first = self.start + self.step - play * n / _OFFSETS
                cuts = tuple(first + k * self.step for k in range(count - 1))
                if self.allows(cuts):
                    found.append(cuts)
        return list(dict.fromkeys(found))

    def allows(self, cuts: Cuts) -> bool:
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


class InkCount:
    """How many cells of a fine grid have ink, for any window at once (a summed-area table)."""

    def __init__(self, box: Box, ink: MarkIndex) -> None:
        self._box = box
        self._size = max(_FINEST, max(box.width, box.height) / _MOST_CELLS)
        columns, rows = (int(side / self._size) + 1 for side in (box.width, box.height))
        taken = np.zeros((rows, columns), dtype=np.int32)
        for points in _ink_points(ink, self._size / 2):
            there = (points - (box.x, box.y)) / self._size
            column = np.clip(there[:, 0].astype(int), 0, columns - 1)
            row = np.clip(there[:, 1].astype(int), 0, rows - 1)
            taken[row, column] = 1
        # Each entry: how many cells above it and to its left have ink. A row and a column of zeros
        # stand before them, so that a window at the border needs no case of its own.
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
        # Of a window: all to its lower right corner, less what is above it and left of it.
        inside = (
            sums[np.ix_(bottom, right)]
            - sums[np.ix_(top, right)]
            - sums[np.ix_(bottom, left)]
            + sums[np.ix_(top, left)]
        )
        with_ink = (inside > 0).astype(int)
        # All windows of all divisions stand in one row; each division begins at its first.
        by_row = np.add.reduceat(with_ink, first_down, axis=0)
        found: NDArray[np.int_] = np.add.reduceat(by_row, first_across, axis=1)
        return found

    def _ends(
        self, divisions: Sequence[Sequence[tuple[float, float]]], origin: float, count: int
    ) -> tuple[NDArray[np.int_], NDArray[np.int_], NDArray[np.int_]]:
        """Of every window its first cell and the one after its last, and where divisions begin."""
        ends = (np.array([w for windows in divisions for w in windows]) - origin) / self._size
        low = np.clip(np.floor(ends[:, 0] + 1e-6).astype(int), 0, count - 1)
        high = np.clip(np.ceil(ends[:, 1] - 1e-6).astype(int), 1, count)
        lengths = [len(windows) for windows in divisions]
        first = np.concatenate(([0], np.cumsum(lengths)[:-1]))
        return low, high, first


def _ink_points(ink: MarkIndex, step: float) -> Iterable[NDArray[np.float64]]:
    """Points along lines, and all over letters, dots and filled shapes."""
    for number, (mark, box) in enumerate(zip(ink.marks, ink.boxes, strict=True)):
        if box is None or mark.kind in ("pattern", "dots"):
            continue  # a pattern lies inside its tint
        if isinstance(mark, Stroke) and not mark.filled:
            points = np.array(ink.points[number])
            lengths = np.hypot(*np.diff(points, axis=0).T)
            along = np.concatenate(([0.0], np.cumsum(lengths)))
            # Two points to a cell, so that none along the line is missed.
            places = np.linspace(0.0, along[-1], int(along[-1] / step) + 2)
            yield np.column_stack([np.interp(places, along, points[:, axis]) for axis in (0, 1)])
        else:
            xs = np.linspace(box.x, box.right, int(box.width / step) + 2)
            ys = np.linspace(box.y, box.bottom, int(box.height / step) + 2)
            yield np.array(np.meshgrid(xs, ys)).reshape(2, -1).T


# -- where to join


def good_cuts(
    ink: MarkIndex, across: Axis, down: Axis, count: InkCount
) -> Iterator[tuple[Cuts, Cuts]]:
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
        # What looks like one sheet more may be one fewer, once sheets with nothing new are gone.
        if most > sheets.min() + 1:
            continue
        least = np.where(of_these & (sheets == most), harm, np.inf)
        row, column = divmod(int(np.argmin(least)), len(xs))
        x, y = xs[column], ys[row]

        def few(x: Cuts, y: Cuts, most: int = most) -> bool:
            return int(count.sheets([across.windows(x)], [down.windows(y)])[0, 0]) <= most

        x = _moved_off(x, across, harm_across, partial(few, y=y))
        y = _moved_off(y, down, harm_down, partial(few, x))
        yield x, y


def _moved_off(cuts: Cuts, axis: Axis, harm: _Harm, few: Callable[[Cuts], bool]) -> Cuts:
    """The joins, each moved to where it spoils less, if that costs no sheet."""
    for n in range(len(cuts)):
        before = cuts[n - 1] if n else axis.start - axis.overlap
        after = cuts[n + 1] if n + 1 < len(cuts) else axis.end - axis.overlap
        # Neither window beside the join becomes longer than a sheet has room for.
        low, high = max(before, after - axis.step), min(after, before + axis.step)
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
    """How much joins along one axis spoil: labels and match points that they cut.

    A label that no window shows whole counts 1, and all else in proportion to how much it would
    be missed: a match point 0.6, a filled arrow head 0.3, what lies in a strip but is whole on
    one of its sheets 0.1, a line along a join 0.5 for its share of the drawing.
    """

    def __init__(self, ink: MarkIndex, axis: Axis, which: int) -> None:
        self._axis = axis
        self._even: dict[int, Cuts] = {}
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
                points = ink.points[number]
                for p, q in zip(points, points[1:], strict=False):
                    along = abs(q[1 - which] - p[1 - which])
                    if abs(q[which] - p[which]) < 0.02 and along > 0.5:
                        lines.append((p[which], min(1.0, along / length)))
        self._spans = np.array(spans).reshape(-1, 4)
        self._lines = np.array(lines).reshape(-1, 2)

    def of(self, cuts: Cuts) -> float:
        if not cuts:
            return 0.0
        axis = self._axis
        even = self._even.setdefault(len(cuts), axis.even(len(cuts) + 1))
        # Among joins that spoil as much, those of sheets that are about as full as each other.
        uneven = sum(abs(a - b) for a, b in zip(cuts, even, strict=True)) / axis.room
        start = np.array(cuts)[:, None]
        end = start + axis.overlap
        low, high, cut, touched = self._spans.T
        # It is whole on one of the two sheets if it ends before the strip does, or begins in it.
        whole = (high <= end) | (low >= start)
        reached = (low < end + _BESIDE) & (high > start - _BESIDE)
        # A line of the drawing along a line of the join would be mistaken for it.
        at, weight = self._lines.T
        beside = (at > start - _BESIDE) & (at < end + _BESIDE)
        return float(
            (cut * ~whole + touched * reached).sum() + 0.5 * (weight * beside).sum() + 0.02 * uneven
        )
