"""Drawings that are larger than a sheet, divided into parts: which way up they take fewest.

How one drawing is divided is chosen in ``tiles``, and where its windows join in ``cuts``. The parts
of a thing to cut out lie on sheets like other shapes, side by side; see ``layout``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.render.drawing.clipping import clipped
from piecewright.render.drawing.footprints import footprint, turns_freely
from piecewright.render.drawing.marks import Box, Drawing, box_of, mark_box, turned, turned_box
from piecewright.render.drawing.shapes import box_polygon
from piecewright.render.sheets.cuts import Axis
from piecewright.render.sheets.part_label import part_label
from piecewright.render.sheets.placed import BLEED, Part, PlacedDrawing
from piecewright.render.sheets.tiles import Grid, Tile, grid_for, tiles
from piecewright.render.sheets.whole import Piece

_TURNS: Final = (0.0, 270.0)
"""Degrees that are tried. Turned by half a turn, a drawing takes as many parts as before."""


_HARDLY_TURNED: Final = 0.5
"""Degrees; turned by less, a drawing takes as many parts as before."""


def too_many_sheets(most: int) -> BlockError:
    """More than ``most`` sheets would be needed."""
    message = f"this needs more than {most} sheets; take larger paper or a smaller finished size"
    return BlockError([Fault("/sheet", "too-many-sheets", message)])


@dataclass(frozen=True, slots=True)
class Division:
    """A drawing, turned by ``slant`` degrees, and the windows on it."""

    drawing: Drawing
    slant: float
    grid: Grid

    def pieces(self, first_mark: int) -> tuple[list[Piece], int]:
        """Its parts, row by row, and the number of the next join mark.

        Args:
            first_mark: the number of its first join mark.
        """
        parts = tiles(self.grid, first_mark)
        free = turns_freely(self.drawing)
        covered = None
        if free:
            covered = affinity.rotate(footprint(self.drawing), self.slant, origin=(0, 0))
        cells = tuple((tile.row, tile.column) for tile in parts)
        marks = self.grid.drawing.marks
        pieces = []
        for tile in parts:
            shown = (cut for n in tile.shown for cut in clipped(marks[n], tile.window.grown(BLEED)))
            part = Part(
                window=tile.window,
                slant=self.slant,
                row=tile.row,
                column=tile.column,
                rows=tile.rows,
                columns=tile.columns,
                shown=tuple(shown),
                joins=tile.joins,
                cells=cells,
            )
            if len(cells) > 1:
                placed = PlacedDrawing(self.drawing, 0.0, 0.0, self.slant, part)
                label = part_label(placed, part, cut_out=free)
                part = replace(part, joins=(*part.joins, *label))
            pieces.append(Piece(self.drawing, _covered(tile, covered), free, part))
        return pieces, first_mark + sum(tile.new_marks for tile in parts)


def _covered(tile: Tile, drawing: BaseGeometry | None) -> BaseGeometry:
    """What a part covers: its window, or what of a thing to cut out lies in it with its joins."""
    window = box_polygon(tile.window)
    if drawing is None:
        return window
    boxes = (mark_box(mark) for mark in tile.joins)
    joins = [box_polygon(box) for box in boxes if box is not None]
    every = overlaid(shapely.union_all, [drawing, *joins], on_block=False)
    covered: BaseGeometry = overlaid(shapely.intersection, every, window, on_block=False)
    return covered


def divided(drawing: Drawing, room: Box, every: Box, overlap: float, most: int) -> Division:
    """A drawing in the fewest parts, then with the fewest labels cut.

    Args:
        room: the largest part, where that costs no more of them than ``every`` would.
        every: the largest part that can be.
        overlap: how much two neighbours both show.
        most: the most parts to make.

    Raises:
        BlockError: at ``/sheet``: there would be too many (``too-many-sheets``).
    """
    slants = _slants(drawing)
    turned_drawings = [_turned(drawing, slant) for slant in slants]
    counts = [_rectangles(one, every, overlap) for one in turned_drawings]
    ways = []
    for slant, one, count in zip(slants, turned_drawings, counts, strict=True):
        if count > min(counts):
            continue
        for used in (room, every):
            if _rectangles(one, used, overlap) == count:
                grid = grid_for(one, used.width, used.height, overlap, most)
                if grid is not None:
                    ways.append(Division(drawing, slant, grid))
                    # A larger part may keep a join off a label.
                    if not grid.cut_labels:
                        break
    if not ways:
        raise too_many_sheets(most)
    # Upright comes first, and ``min`` takes the first of equals.
    return min(ways, key=lambda w: (len(w.grid.windows), w.grid.cut_labels))


def _slants(drawing: Drawing) -> tuple[float, ...]:
    """Degrees by which a drawing is turned to be divided: the plain ones first.

    A thing to cut out may also lie so that the least box round it is upright: a long strip that
    runs aslant is then cut across alone.
    """
    if not turns_freely(drawing):
        return _TURNS
    corners = shapely.get_coordinates(footprint(drawing).minimum_rotated_rectangle)
    (x, y), *_ = np.diff(corners, axis=0).tolist()
    along = round(-math.degrees(math.atan2(y, x)) % 90.0, 6)
    if min(along, 90.0 - along) < _HARDLY_TURNED:
        return _TURNS
    return (*_TURNS, along, (along + 270.0) % 360.0)


def _turned(drawing: Drawing, slant: float) -> Drawing:
    marks = tuple(turned(mark, slant) for mark in drawing.marks)
    box = turned_box(drawing.box, slant) if slant in _TURNS else box_of(marks)
    return replace(drawing, marks=marks, box=box)


def _rectangles(drawing: Drawing, room: Box, overlap: float) -> int:
    """How many windows cover the box round a drawing."""
    box = drawing.box
    across = Axis(box.x, box.right, room.width, overlap)
    down = Axis(box.y, box.bottom, room.height, overlap)
    return across.fewest * down.fewest


def pieces_of(divisions: Sequence[Division]) -> list[Piece]:
    """The parts of divided drawings; no two of their join marks have one number."""
    pieces: list[Piece] = []
    next_mark = 1
    for division in divisions:
        own, next_mark = division.pieces(next_mark)
        pieces += own
    return pieces
