"""A sheet as a grid of cells, and shapes on it, each held as the bits of one whole number.

Cell ``(row, column)`` is bit ``row * stride + column``. A shape may lie where none of its cells is
taken; where that is, is found for all places at once: the taken cells, moved back by each of the
shape's, are where its corner cannot lie (a dilation, as mathematical morphology has it). Rows of
cells of one length are dilated by doubling, so that a rectangle takes a few shifts.

A cell counts as a shape's if any part of the grown shape touches it, so that what the grid
allows is allowed truly; what it rounds away is part of a cell on each side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from piecewright.render.drawing.marks import Box, cos_sin

Cells: TypeAlias = NDArray[np.bool_]

FINEST: Final = 0.05
"""Inches; the side of a cell on a sheet of ordinary size."""

_MOST_CELLS: Final = 240
"""Along the longer side of a sheet; larger sheets have larger cells. Letter paper has 212."""

_MOST_RIM: Final = 140
"""Cells of a shape's rim at which it is looked for what it touches."""

_MOST_PLACES: Final = 240
"""Places that are compared by what a shape touches there."""

_FIXED: Final = 50
"""Shifts that take as long as all else that is done to look at a sheet for a shape."""

_ROUNDING: Final = 1e-6
"""Inches; what reaches over a border by no more than this does so by rounding."""

_BLUNT: Final = 0.002
"""Inches by which the chords of curves are made fewer; shapes are grown by as much more."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Cells of a shape that make a rectangle: the same run in some rows below each other."""

    row: int
    column: int
    length: int
    height: int


@dataclass(frozen=True, slots=True)
class TurnedShape:
    """A shape in one turn, as cells.

    Attributes:
        turn: degrees, clockwise as seen, about the shape's origin.
        left, top: where the corner of its cells lies when it is turned about its origin.
        rows, columns: of its cells.
        size: how many cells it has.
        bits: its cells, its corner at bit 0.
        parts: its cells as rectangles.
        rim: of some cells round it, how many bits after its corner they are.
    """

    turn: float
    left: float
    top: float
    rows: int
    columns: int
    size: int
    bits: int
    parts: tuple[Rows, ...]
    rim: NDArray[np.int_]


class Grid:
    """The cells of what can be printed on of a sheet, and the cells of shapes, found only once.

    Args:
        area: in the sheet's coordinates.
        gap: between two shapes; each is grown by half of it.
        finest: the least side of a cell, inches.
    """

    def __init__(self, area: Box, gap: float, finest: float = FINEST) -> None:
        self.gap = gap
        # At the borders the half by which shapes are grown may lie outside.
        self.left, self.top = area.x - gap / 2, area.y - gap / 2
        cell = max(finest, max(area.width, area.height) / _MOST_CELLS)
        width, height = area.width + gap, area.height + gap
        # Whole cells fill the area exactly, so that what is as wide as the area fits it.
        self.columns, self.rows = max(1, int(width / cell)), max(1, int(height / cell))
        self.across, self.down = width / self.columns, height / self.rows
        # A column between the rows stands for the borders at the sides, a row above and one
        # below for the others.
        self.stride = self.columns + 1
        self.work = 0
        """How many shifts of whole sheets have been made, or what takes as long."""
        self._outlined: dict[bytes, Outlined] = {}
        self._turned: dict[tuple[bytes, float], TurnedShape | None] = {}

    def empty(self, field: Box, taken: Box) -> Cells:
        """The cells of a sheet with nothing on it: borders, and all that is kept clear.

        Args:
            field: what of the area there is for drawings.
            taken: a part of it that is kept clear, by the gap; without width for none.
        """
        cells: Cells = np.ones((self.rows + 2, self.stride), dtype=np.bool_)
        xs = self.left + np.arange(self.columns) * self.across
        ys = self.top + np.arange(self.rows) * self.down
        there = field.grown(self.gap / 2 + _ROUNDING)
        in_x = (xs >= there.x) & (xs + self.across <= there.right)
        in_y = (ys >= there.y) & (ys + self.down <= there.bottom)
        cells[1:-1, 1:] = ~np.outer(in_y, in_x)
        if taken.width > 0:
            grown = taken.grown(self.gap / 2)
            in_x = (xs + self.across > grown.x) & (xs < grown.right)
            in_y = (ys + self.down > grown.y) & (ys < grown.bottom)
            cells[1:-1, 1:] |= np.outer(in_y, in_x)
        return cells

    def in_turn(self, shape: BaseGeometry, turn: float) -> TurnedShape | None:
        """A shape's cells in one turn; None if they are more than the sheet has."""
        key = (shape.wkb, turn)
        if key not in self._turned:
            if key[0] not in self._outlined:
                self._outlined[key[0]] = Outlined.of(shape, self.gap)
            self._turned[key] = self._in_turn(self._outlined[key[0]], turn)
        return self._turned[key]

    def _in_turn(self, outline: Outlined, turn: float) -> TurnedShape | None:
        cos, sin = cos_sin(turn)
        way = np.array(((cos, sin), (-sin, cos)))
        left, top = (outline.corners @ way).min(axis=0) - self.gap / 2
        right, bottom = (outline.corners @ way).max(axis=0) + self.gap / 2
        columns = max(1, int(np.ceil((right - left) / self.across - 1e-6)))
        rows = max(1, int(np.ceil((bottom - top) / self.down - 1e-6)))
        if columns > self.columns or rows > self.rows:
            return None
        start = ((outline.starts @ way) - (left, top)) / (self.across, self.down)
        end = ((outline.ends @ way) - (left, top)) / (self.across, self.down)
        cells = _cells(start, end, rows, columns)
        return self._shape(cells, turn, float(left), float(top))

    def _shape(self, cells: Cells, turn: float, left: float, top: float) -> TurnedShape:
        rows, columns = cells.shape
        padded = np.zeros((rows, self.stride), dtype=np.bool_)
        padded[:, :columns] = cells
        down, across = np.nonzero(_widened(cells) & ~np.pad(cells, 1))
        rim = (down - 1) * self.stride + across - 1
        return TurnedShape(
            turn=turn,
            left=left,
            top=top,
            rows=rows,
            columns=columns,
            size=int(cells.sum()),
            bits=_whole_number(padded),
            parts=tuple(_rectangles(cells)),
            rim=rim[:: max(1, len(rim) // _MOST_RIM)],
        )


@dataclass(frozen=True, slots=True)
class Outlined:
    """A shape by the edges of its outline, grown by half the gap.

    Attributes:
        corners: of the shape itself.
        starts, ends: of each edge of the grown shape.
    """

    corners: NDArray[np.float64]
    starts: NDArray[np.float64]
    ends: NDArray[np.float64]

    @classmethod
    def of(cls, shape: BaseGeometry, gap: float) -> Outlined:
        corners = shapely.get_coordinates(shape.convex_hull)
        blunt = shape.simplify(_BLUNT) if shapely.get_num_coordinates(shape) > 40 else shape
        # Round corners are drawn with chords, which are up to 2 percent nearer.
        grown = blunt.buffer(1.02 * gap / 2 + _BLUNT, quad_segs=4)
        every = shapely.get_rings(shapely.get_parts(grown))
        rings = [shapely.get_coordinates(ring) for ring in every]
        starts = np.concatenate([ring[:-1] for ring in rings])
        ends = np.concatenate([ring[1:] for ring in rings])
        return cls(corners, starts, ends)


class Laid:
    """A sheet with what has been laid on it.

    Args:
        empty: its cells before that; see ``Grid.empty``.
    """

    def __init__(self, grid: Grid, empty: Cells) -> None:
        self._grid = grid
        self._flat: NDArray[np.uint8] = empty.astype(np.uint8).ravel()
        self._taken = _whole_number(empty)
        self.left_over = int((~empty).sum())
        self._runs: dict[int, int] = {1: self._taken}

    def free(self, shape: TurnedShape) -> int:
        """The places where a shape's corner may lie."""
        grid, stride = self._grid, self._grid.stride
        blocked = 0
        for part in shape.parts:
            there, reached = self._run(part.length), 1
            while 2 * reached <= part.height:
                there |= there >> (stride * reached)
                reached *= 2
            if reached < part.height:
                there |= there >> (stride * (part.height - reached))
            blocked |= there >> (part.row * stride + part.column)
        grid.work += _FIXED + 2 * len(shape.parts)
        places = _places(grid.rows - shape.rows + 1, grid.columns - shape.columns + 1, stride)
        return places & ~blocked

    def _run(self, length: int) -> int:
        """Where a row of so many cells would meet what is taken."""
        if length not in self._runs:
            half = 1 << (length - 1).bit_length() - 1
            there = self._run(half)
            self._runs[length] = there | there >> (length - half)
        return self._runs[length]

    def best(self, turns: Sequence[TurnedShape]) -> tuple[TurnedShape, int, int] | None:
        """The turn, row and column at which a shape touches the most; None if there is none."""
        found: tuple[float, int, TurnedShape] | None = None
        stride = self._grid.stride
        for shape in turns:
            places = _corners(self.free(shape), stride)
            if not len(places):
                continue
            touch = self._flat[places[:, None] + shape.rim].mean(axis=1)
            row, column = places // stride, places % stride
            # Among places that touch as much, the one nearest to the top left corner.
            score = touch - 1e-4 * (row + shape.rows + 0.5 * column)
            at = int(np.argmax(score))
            value = float(touch[at])
            # Earlier turns are plainer ones, and are kept unless another one is truly better.
            if found is None or value > found[0] + 1e-3:
                found = (value, int(places[at]), shape)
        if found is None:
            return None
        _, place, shape = found
        return shape, place // stride, place % stride

    def lay(self, shape: TurnedShape, row: int, column: int) -> tuple[float, float]:
        """Take a place for a shape; where its origin lies on the sheet then."""
        grid = self._grid
        self._taken |= shape.bits << (row * grid.stride + column)
        self._runs = {1: self._taken}
        self._flat = _flat(self._taken, len(self._flat))
        self.left_over -= shape.size
        # The first row and column are borders.
        x = grid.left + (column - 1) * grid.across - shape.left
        y = grid.top + (row - 1) * grid.down - shape.top
        return x, y


def _cells(start: NDArray[np.float64], end: NDArray[np.float64], rows: int, columns: int) -> Cells:
    """The cells that a polygon touches, by its edges in cells: the rim's, and those inside it."""
    changes: NDArray[np.int_] = np.zeros((rows, columns + 1), dtype=int)
    top = np.arange(rows)
    x0, y0, x1, y1 = start[:, 0], start[:, 1], end[:, 0], end[:, 1]
    low, high = np.minimum(y0, y1)[:, None], np.maximum(y0, y1)[:, None]
    rise = np.where(y1 == y0, 1.0, y1 - y0)[:, None]

    def across(y: NDArray[np.float64]) -> NDArray[np.float64]:
        x: NDArray[np.float64] = x0[:, None] + (y - y0[:, None]) / rise * (x1 - x0)[:, None]
        return x

    # The part of each edge in each row of cells, from where it enters to where it leaves.
    enter, leave = np.maximum(low, top), np.minimum(high, top + 1)
    level = (y0 == y1)[:, None]
    one = np.where(level, x0[:, None], across(enter))
    other = np.where(level, x1[:, None], across(leave))
    edge, row = np.nonzero(enter <= leave)
    first = np.clip(np.floor(np.minimum(one, other)[edge, row]), 0, columns - 1).astype(int)
    last = np.clip(np.floor(np.maximum(one, other)[edge, row]), 0, columns - 1).astype(int)
    np.add.at(changes, (row, first), 1)
    np.add.at(changes, (row, last + 1), -1)
    on_rim = changes[:, :columns].cumsum(axis=1) > 0
    # Inside are the cells whose middle has an odd number of crossings before it.
    middle = top + 0.5
    edge, row = np.nonzero((low <= middle) & (middle < high))
    crossing = across(np.broadcast_to(middle, (len(x0), rows)))[edge, row]
    before = np.clip(np.ceil(crossing - 0.5), 0, columns).astype(int)
    toggles: NDArray[np.int_] = np.zeros((rows, columns + 1), dtype=int)
    np.add.at(toggles, (row, before), 1)
    inside = toggles[:, :columns].cumsum(axis=1) % 2 == 1
    found: Cells = on_rim | inside
    return found


def _widened(cells: Cells) -> Cells:
    """The cells and those that share a side with one, on a grid one wider on each side."""
    padded = np.pad(cells, 1)
    wide = padded.copy()
    wide[1:] |= padded[:-1]
    wide[:-1] |= padded[1:]
    wide[:, 1:] |= padded[:, :-1]
    wide[:, :-1] |= padded[:, 1:]
    return wide


def _rectangles(cells: Cells) -> list[Rows]:
    """Cells as rectangles: the runs of each row, with those of the rows below if they are alike."""
    edges = np.diff(np.pad(cells, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    starts, ends = np.nonzero(edges == 1), np.nonzero(edges == -1)
    open_: dict[tuple[int, int], tuple[int, int]] = {}
    found: list[Rows] = []
    for row, column, end in zip(*starts, ends[1], strict=True):
        key = (int(column), int(end - column))
        first, last = open_.get(key, (int(row), int(row) - 1))
        if last == row - 1:
            open_[key] = (first, int(row))
        else:
            found.append(Rows(first, key[0], key[1], last - first + 1))
            open_[key] = (int(row), int(row))
    found += [Rows(first, *key, last - first + 1) for key, (first, last) in open_.items()]
    return found


def _whole_number(cells: Cells) -> int:
    return int.from_bytes(np.packbits(cells.ravel(), bitorder="little").tobytes(), "little")


def _flat(bits: int, count: int) -> NDArray[np.uint8]:
    data = np.frombuffer(bits.to_bytes((count + 7) // 8, "little"), dtype=np.uint8)
    return np.unpackbits(data, bitorder="little")[:count]


def _places(rows: int, columns: int, stride: int) -> int:
    """The bits of the first so many rows and columns inside the borders."""
    row = ((1 << columns) - 1) << (stride + 1)
    bits, reached = row, 1
    while 2 * reached <= rows:
        bits |= bits << (stride * reached)
        reached *= 2
    if reached < rows:
        bits |= bits << (stride * (rows - reached))
    return bits


def _corners(free: int, stride: int) -> NDArray[np.int_]:
    """The free places at which a shape is stopped both across and down, or some of them."""
    if not free:
        return np.empty(0, dtype=int)
    sides = free & ~((free << 1) & (free >> 1))
    ends = sides & ~((free << stride) & (free >> stride))
    # A region of free places always has such a one: its first.
    places: NDArray[np.int_] = np.flatnonzero(_flat(ends, ends.bit_length()).view(np.bool_))
    if len(places) > _MOST_PLACES:
        places = places[:: len(places) // _MOST_PLACES + 1]
    return places
