"""Shapes packed on few sheets, by outline and turned freely: irregular packing on a raster.

Of the free places of a shape on a sheet, over all turns, the one is taken at which the most of the
shape's rim touches something: a border or a neighbour. So triangles find their slots and little
pieces go between large ones. The shapes are laid in several orders, until a bound shows that fewer
sheets cannot do or the work that it may take is done. What cells are is told in ``raster``.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from piecewright.render.drawing.marks import Box
from piecewright.render.sheets.raster import Grid, Laid, TurnedShape

_MOST_TURNS: Final = 12
"""Of most shapes three slants by four quarters."""

FEW: Final = 40
"""Shapes; more are laid in fewer turns."""

_MOST_OPEN: Final = 8
"""Sheets that are still looked at for room: the last ones begun that have enough at all."""

_STEPS_TO_FIT: Final = 36
"""Turns, evenly spread, that are tried for a shape that fits a sheet in no plain turn."""

QUICK: Final = 0
USUAL: Final = 200_000
"""Shifts of whole sheets after which no other order is tried; a million of them take a second."""


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


class Packer:
    """Packs shapes on sheets of which a part is for them.

    Args:
        grid: of the sheets; packers of several fields may share it.
        field: what of a sheet there is for drawings, in the sheet's coordinates.
        taken: a part of the field that is kept clear, by the gap too; without width for none.
    """

    def __init__(self, grid: Grid, field: Box, taken: Box) -> None:
        self._grid, self._empty = grid, grid.empty(field, taken)
        self._room = int((~self._empty).sum())
        self._turns: dict[tuple[bytes, bool, int], list[TurnedShape]] = {}

    def turns(self, shape: BaseGeometry, free: bool, most: int = _MOST_TURNS) -> list[TurnedShape]:
        """The turns in which a shape fits the sheet; none if there is none.

        Args:
            free: whether it may be turned.
            most: of its plain turns, which are tried first.
        """
        key = (shape.wkb, free, most)
        if key not in self._turns:
            if free:
                found = self._that_fit(shape, _plain_turns(shape)[:most])
                self._turns[key] = found or self._slanted(shape)
            else:
                self._turns[key] = self._that_fit(shape, (0.0,))
        return self._turns[key]

    def _that_fit(self, shape: BaseGeometry, turns: Sequence[float]) -> list[TurnedShape]:
        found = (self._grid.in_turn(shape, turn) for turn in turns)
        return [t for t in found if t is not None and self._fits(t)]

    def _fits(self, shape: TurnedShape) -> bool:
        """Whether a shape can lie on an empty sheet."""
        # Most shapes lie in its first corner.
        if not self._empty[1 : 1 + shape.rows, 1 : 1 + shape.columns].any():
            return True
        return bool(Laid(self._grid, self._empty).free(shape))

    def _slanted(self, shape: BaseGeometry) -> list[TurnedShape]:
        """The first turn in which a shape fits at all: a long one may lie across the sheet."""
        for k in range(_STEPS_TO_FIT):
            found = self._that_fit(shape, (180.0 * k / _STEPS_TO_FIT,))
            if found:
                return found
        return []

    def pack(
        self,
        shapes: Sequence[BaseGeometry],
        free: Sequence[bool] | None = None,
        least: int = 1,
        work: int = USUAL,
    ) -> tuple[list[list[PlacedShape]], list[int]]:
        """Lay shapes on as few sheets as are found, at least the gap apart.

        Args:
            shapes: the ink of each drawing, in its own coordinates (inches).
            free: for each shape whether it may be turned; all may, if not given.
            least: a number of sheets that is known to be needed; what reaches it is taken.
            work: after so much of it no other order is tried.

        Returns:
            For each sheet what lies on it; and the numbers of the shapes that fit no sheet in
            any turn.
        """
        grid = self._grid
        most = _MOST_TURNS if len(shapes) <= FEW else 4
        turns = [
            self.turns(shape, free is None or free[number], most)
            for number, shape in enumerate(shapes)
        ]
        unfit = [n for n in range(len(shapes)) if not turns[n]]
        fit = [n for n in range(len(shapes)) if turns[n]]
        if not fit:
            return [], unfit
        # No packing on this grid needs fewer sheets than the shapes have cells for.
        size = sum(min(t.size for t in turns[n]) for n in fit)
        fewest = max(least, math.ceil(size / self._room))
        # As they were drawn they read best, so that is kept where turning saves no sheet.
        upright = [[t for t in own if t.turn == 0.0] or own for own in turns]
        until = grid.work + work
        orders = _orders(fit, turns)
        best = self._packed(next(orders), upright, None)
        for tried, order in enumerate(orders):
            if len(best) <= fewest or (tried and grid.work > until):
                break
            sheets = self._packed(order, turns, len(best))
            if len(sheets) < len(best):
                best = sheets
        return best, unfit

    def _packed(
        self, order: Sequence[int], turns: Sequence[Sequence[TurnedShape]], most: int | None
    ) -> list[list[PlacedShape]]:
        """Each shape on the first sheet with room for it; given up where ``most`` is reached."""
        sheets: list[list[PlacedShape]] = []
        laid: list[Laid] = []
        most_open = _MOST_OPEN if len(order) <= FEW else _MOST_OPEN // 2
        for number in order:
            own = turns[number]
            size = min(t.size for t in own)
            # A sheet with fewer free cells than the shape has need not be looked at.
            roomy = [s for s, sheet in enumerate(laid) if sheet.left_over >= size][-most_open:]
            places = ((s, laid[s].best(own)) for s in roomy)
            sheet, found = next((p for p in places if p[1] is not None), (len(sheets), None))
            if found is None:
                sheets.append([])
                if len(sheets) == most:
                    return sheets
                laid.append(Laid(self._grid, self._empty))
                found = laid[-1].best(own)
                assert found is not None, "the shape fits an empty sheet"
            shape, row, column = found
            x, y = laid[sheet].lay(shape, row, column)
            sheets[sheet].append(PlacedShape(number, shape.turn, x, y))
        return sheets


def _orders(fit: Sequence[int], turns: Sequence[Sequence[TurnedShape]]) -> Iterator[list[int]]:
    """Orders in which shapes are laid: the largest first, by several measures, then shuffled."""
    sizes = {n: min(t.size for t in turns[n]) for n in fit}
    spans = {n: min(max(t.rows, t.columns) for t in turns[n]) for n in fit}
    boxes = {n: min(t.rows * t.columns for t in turns[n]) for n in fit}
    yield sorted(fit, key=lambda n: (-sizes[n], n))
    for measure in (sizes, spans, boxes):
        yield sorted(fit, key=lambda n: (-measure[n], n))
    # Always the same ones, so that the same request gives the same bytes.
    chance = random.Random(len(fit))
    while True:
        measure = chance.choice((sizes, spans, boxes))
        shaken = {n: measure[n] * chance.uniform(0.7, 1.3) for n in fit}
        yield sorted(fit, key=lambda n: (-shaken[n], n))


def _plain_turns(shape: BaseGeometry) -> list[float]:
    """Quarter turns, and those in which a side of the shape's hull lies along the sheet's."""
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
    return every
