"""Whole drawings packed on few sheets, by outline and turned freely: irregular packing on a raster.

Sheet and shapes are laid on a grid of cells. A shape, grown by half the gap, may lie where
none of its cells is taken; all places on a sheet are looked at together, as a correlation of
the taken cells with the shape's (by fast Fourier transform). Of the free places, over
all turns, the one is taken at which the most of the shape's rim touches something: a border
or a neighbour. So triangles find their slots and little pieces go between large ones.

A cell counts as a shape's if any part of the grown shape touches it, so that what the grid
allows is allowed truly; what it rounds away is part of a cell on each side.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from piecewright.render.drawing.marks import Box

_Cells: TypeAlias = npt.NDArray[np.bool_]
_Waves: TypeAlias = npt.NDArray[np.complex128]

FINEST: Final = 0.05
"""Inches; the side of a cell on a sheet of ordinary size."""

_MOST_CELLS: Final = 240
"""Along the longer side of a sheet; larger sheets have larger cells. The time of a transform grows
with their number; letter paper has 190."""

_MOST_TURNS: Final = 12
"""Of most shapes three slants by four quarters; each costs up to two transforms a sheet."""

_FEW: Final = 40
"""Shapes; more are laid in one order only, and in fewer turns."""

_MOST_OPEN: Final = 8
"""Sheets that are still looked at for room: the last ones begun that have enough at all."""

_STEPS_TO_FIT: Final = 36
"""Turns, evenly spread, that are tried for a shape that fits a sheet in no plain turn."""


@dataclass(frozen=True, slots=True)
class PlacedShape:
    """A shape on a sheet: turned about its own origin, clockwise as seen, then moved.

    Attributes:
        shape: its number.
        turn: degrees.
        x, y: inches.
    """

    shape: int
    turn: float
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class _Turned:
    """A shape in one turn, as cells.

    Attributes:
        left, top: where the corner of its cells lies when it is turned about its origin.
        waves: the transform of its cells, and that of its rim.
    """

    turn: float
    left: float
    top: float
    cells: _Cells
    rim: int
    waves: _Waves
    rim_waves: _Waves


class _Grid:
    """The cells of a sheet's field, and shapes laid on them."""

    def __init__(self, field: Box, taken: Box, gap: float) -> None:
        self.field, self.gap = field, gap
        self.cell = max(FINEST, max(field.width, field.height) / _MOST_CELLS)
        # Shapes are grown by half the gap; at the borders that half may lie outside.
        self.left, self.top = field.x - gap / 2, field.y - gap / 2
        self.columns = int((field.width + gap) / self.cell)
        self.rows = int((field.height + gap) / self.cell)
        # One more row and column on each side stand for the borders.
        self.shape = (self.rows + 2, self.columns + 2)
        self.empty: _Cells = np.ones(self.shape, dtype=np.bool_)
        self.empty[1:-1, 1:-1] = False
        if taken.width > 0:
            grown = taken.grown(gap / 2)
            xs = self.left + (np.arange(self.columns) + 0.5) * self.cell
            ys = self.top + (np.arange(self.rows) + 0.5) * self.cell
            half = self.cell / 2
            in_x = (xs > grown.x - half) & (xs < grown.right + half)
            in_y = (ys > grown.y - half) & (ys < grown.bottom + half)
            self.empty[1:-1, 1:-1] |= np.outer(in_y, in_x)

    def turned(self, shape: BaseGeometry, turn: float) -> _Turned | None:
        """The shape's cells in one turn; None if they are more than the sheet has."""
        region = affinity.rotate(shape, turn, origin=(0, 0)) if turn else shape
        # A cell that the grown shape touches has its middle no further away than this; round
        # corners are drawn with chords, which are up to 2 percent nearer.
        reach = self.gap / 2 + self.cell * math.sqrt(0.5)
        grown = region.buffer(1.02 * reach, quad_segs=4)
        left, top, right, bottom = region.bounds
        left, top = left - self.gap / 2, top - self.gap / 2
        right, bottom = right + self.gap / 2, bottom + self.gap / 2
        columns = max(1, math.ceil((right - left) / self.cell - 1e-9))
        rows = max(1, math.ceil((bottom - top) / self.cell - 1e-9))
        if columns > self.columns or rows > self.rows:
            return None
        xs = left + (np.arange(columns) + 0.5) * self.cell
        ys = top + (np.arange(rows) + 0.5) * self.cell
        shapely.prepare(grown)
        across, down = np.meshgrid(xs, ys)
        cells: _Cells = np.asarray(shapely.contains_xy(grown, across, down))
        rim = _widened(cells) & ~np.pad(cells, 1)
        return _Turned(
            turn,
            left,
            top,
            cells,
            int(rim.sum()),
            self._waves(cells),
            self._waves(rim),
        )

    def _waves(self, cells: _Cells) -> _Waves:
        """The conjugate transform: its product with another one is that of their correlation."""
        return np.conj(np.fft.rfft2(cells.astype(np.float64), s=self.shape))

    def best(self, taken: _Cells, turns: Sequence[_Turned]) -> tuple[_Turned, int, int] | None:
        """The turn, row and column at which a shape touches the most; None if there is none."""
        waves = np.fft.rfft2(taken.astype(np.float64))
        found: tuple[float, int, int, _Turned] | None = None
        for turned in turns:
            rows, columns = turned.cells.shape
            # Row r, column c of the result: the shape's corner lies on that cell.
            # The transform wraps round, but no place is looked at where the shape would reach over.
            hits = np.fft.irfft2(waves * turned.waves, s=self.shape)
            # Counts are whole numbers but for rounding: less than a half is none.
            free = hits[1 : self.rows - rows + 2, 1 : self.columns - columns + 2] < 0.5
            if not free.any():
                continue
            # The rim's cells begin one row and column before the shape's.
            touching = np.fft.irfft2(waves * turned.rim_waves, s=self.shape)
            touch = touching[: self.rows - rows + 1, : self.columns - columns + 1]
            # As a share, so that turns with more cells on their rim have no advantage.
            score = np.where(free, touch / turned.rim, -1.0)
            # Among places that touch as much, the one nearest to the top left corner.
            depth = np.add.outer(np.arange(score.shape[0]) + rows, 0.5 * np.arange(score.shape[1]))
            place = int(np.argmax(score - 1e-4 * depth))
            row, column = divmod(place, score.shape[1])
            value = float(score[row, column])
            # Earlier turns are plainer ones, and are kept unless another one is truly better.
            if found is None or value > found[0] + 1e-3:
                found = (value, row, column, turned)
        if found is None:
            return None
        _, row, column, turned = found
        return turned, row, column

    def fits(self, turned: _Turned) -> bool:
        """Whether a shape can lie on an empty sheet."""
        rows, columns = turned.cells.shape
        field = self.empty[1:-1, 1:-1]
        if not field[:rows].any() or not field[:, -columns:].any():
            return True  # above what is kept clear, or beside it
        return self.best(self.empty, [turned]) is not None

    def place(self, number: int, turned: _Turned, row: int, column: int) -> PlacedShape:
        x = self.left + column * self.cell - turned.left
        y = self.top + row * self.cell - turned.top
        return PlacedShape(number, turned.turn, x, y)


def _widened(cells: _Cells) -> _Cells:
    """The cells and those that share a side with one, on a grid one wider on each side."""
    padded = np.pad(cells, 1)
    wide = padded.copy()
    wide[1:] |= padded[:-1]
    wide[:-1] |= padded[1:]
    wide[:, 1:] |= padded[:, :-1]
    wide[:, :-1] |= padded[:, 1:]
    return wide


def pack(
    shapes: Sequence[BaseGeometry],
    field: Box,
    taken: Box,
    gap: float,
    free: Sequence[bool] | None = None,
) -> tuple[list[list[PlacedShape]], list[int]]:
    """Lay shapes on as few sheets as are found, at least ``gap`` apart.

    Args:
        shapes: the ink of each drawing, in its own coordinates (inches).
        field: what of a sheet there is for drawings, in the sheet's coordinates.
        taken: a part of the field that is kept clear, by ``gap`` too; without width for none.
        free: for each shape whether it may be turned; all may, if not given.

    Returns:
        For each sheet what lies on it; and the numbers of the shapes that fit no sheet in
        any turn.
    """
    grid = _Grid(field, taken, gap)
    most = _MOST_TURNS if len(shapes) <= _FEW else 4
    turns: list[list[_Turned]] = []
    for number, shape in enumerate(shapes):
        if free is None or free[number]:
            turns.append(_plain_turns(grid, shape, most) or _slanted_turns(grid, shape))
        else:
            turns.append(_those_that_fit(grid, shape, (0.0,)))
    unfit = [n for n in range(len(shapes)) if not turns[n]]
    fit = [n for n in range(len(shapes)) if turns[n]]
    if not fit:
        return [], unfit
    # No packing needs fewer sheets than the shapes have cells for; one that reaches it is taken.
    sizes = {n: min(int(t.cells.sum()) for t in turns[n]) for n in fit}
    room = int((~grid.empty).sum())
    fewest = math.ceil(sum(sizes.values()) / room)
    # As they were drawn they read best, so that is kept where turning saves no sheet.
    upright = [[t for t in own if t.turn == 0.0] or own for own in turns]
    orders = list(_orders(fit, sizes, turns))
    if len(shapes) > _FEW:
        orders = orders[:1]
    best = _packed(grid, orders[0], upright, sizes)
    for order in orders:
        if len(best) <= fewest:
            break
        sheets = _packed(grid, order, turns, sizes)
        if len(sheets) < len(best):
            best = sheets
    return best, unfit


def _orders(
    fit: Sequence[int], sizes: dict[int, int], turns: Sequence[Sequence[_Turned]]
) -> Iterator[list[int]]:
    """Orders in which shapes are laid: the largest first, by several measures."""
    spans = {n: min(max(t.cells.shape) for t in turns[n]) for n in fit}
    boxes = {n: min(t.cells.size for t in turns[n]) for n in fit}
    yield sorted(fit, key=lambda n: (-sizes[n], n))
    yield sorted(fit, key=lambda n: (-spans[n], n))
    yield sorted(fit, key=lambda n: (-boxes[n], n))


def _packed(
    grid: _Grid,
    order: Sequence[int],
    turns: Sequence[Sequence[_Turned]],
    sizes: dict[int, int],
) -> list[list[PlacedShape]]:
    """Each shape on the first sheet with room for it."""
    sheets: list[list[PlacedShape]] = []
    taken: list[_Cells] = []
    for number in order:
        # A sheet with fewer free cells than the shape has need not be looked at.
        roomy = [s for s, c in enumerate(taken) if c.size - int(c.sum()) >= sizes[number]]
        roomy = roomy[-_MOST_OPEN:]
        places = ((s, grid.best(taken[s], turns[number])) for s in roomy)
        sheet, found = next((p for p in places if p[1] is not None), (len(sheets), None))
        if found is None:
            found = grid.best(grid.empty, turns[number])
            assert found is not None, "the shape fits an empty sheet"
            sheets.append([])
            taken.append(grid.empty.copy())
        turned, row, column = found
        rows, columns = turned.cells.shape
        taken[sheet][row + 1 : row + 1 + rows, column + 1 : column + 1 + columns] |= turned.cells
        sheets[sheet].append(grid.place(number, turned, row, column))
    return sheets


def _those_that_fit(grid: _Grid, shape: BaseGeometry, turns: Sequence[float]) -> list[_Turned]:
    found = [grid.turned(shape, turn) for turn in turns]
    return [t for t in found if t is not None and grid.fits(t)]


def _plain_turns(grid: _Grid, shape: BaseGeometry, most: int) -> list[_Turned]:
    """The shape in quarter turns, and with each side of its hull along the sheet's."""
    # A side of the hull along a border or a neighbour's side leaves no gap there. The longest four
    # gain the most; of two that differ by a degree one is enough.
    angles = [0.0]
    hull = shapely.get_coordinates(shape.convex_hull)
    sides = np.diff(hull, axis=0)
    for k in np.argsort(-(sides**2).sum(axis=1))[:4]:
        slant = -math.degrees(math.atan2(sides[k][1], sides[k][0])) % 90.0
        if all(min(abs(slant - a), 90.0 - abs(slant - a)) > 1.0 for a in angles):
            angles.append(slant)
    every = [(a + quarter) % 360.0 for a in angles for quarter in (0.0, 90.0, 180.0, 270.0)]
    if abs(shape.minimum_rotated_rectangle.area - shape.area) < 0.02 * shape.area:
        every = [a for a in every if a < 180.0]  # a rectangle is the same upside down
    return _those_that_fit(grid, shape, every[:most])


def _slanted_turns(grid: _Grid, shape: BaseGeometry) -> list[_Turned]:
    """The first turn in which a shape fits at all: a long one may lie across the sheet."""
    for k in range(_STEPS_TO_FIT):
        turned = grid.turned(shape, 180.0 * k / _STEPS_TO_FIT)
        if turned is not None and grid.fits(turned):
            return [turned]
    return []
