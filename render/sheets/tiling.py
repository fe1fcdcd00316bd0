"""Drawings that are larger than a sheet, a sheet for each tile: which way up they take fewest.

How one drawing is divided is chosen in ``tiles``, and where its windows join in ``cuts``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from piecewright.patchwork.faults import BlockError, Fault
from piecewright.render.drawing.clipping import clipped
from piecewright.render.drawing.marks import Box, Drawing, moved, turned, turned_box
from piecewright.render.sheets.areas import room_for_squares, tile_area
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.page import BLEED, Page, PlacedDrawing
from piecewright.render.sheets.papers import Sheet
from piecewright.render.sheets.tiles import Grid, Tile, grid_for, tiles

_TURNS: Final = (0.0, 270.0)
"""Degrees that are tried. Turned by half a turn, a drawing needs as many sheets as before."""


def too_many_sheets(most: int) -> BlockError:
    """More than ``most`` sheets would be needed."""
    message = f"this needs more than {most} sheets; take larger paper or a smaller finished size"
    return BlockError([Fault("/sheet", "too-many-sheets", message)])


@dataclass(frozen=True, slots=True)
class _Tiling:
    """A drawing laid over sheets of one orientation, turned as it is."""

    drawing: Drawing
    sheet: Sheet
    area: Box
    turn: float
    grid: Grid

    def page(self, heading: Heading, tile: Tile) -> Page:
        """The sheet of a tile: its window against the top right corner, off the test squares."""
        window = tile.window
        x, y = self.area.right - window.right, self.area.y - window.y
        placed = PlacedDrawing(self.drawing, x, y, self.turn)
        # The window lies on the turned drawing; marks are cut before they are turned.
        part = turned_box(window, -self.turn)
        marks = (self.drawing.marks[n] for n in tile.shown)
        shown = tuple(cut for mark in marks for cut in clipped(mark, part.grown(BLEED)))
        joins = tuple(moved(mark, x, y) for mark in tile.joins)
        ink = (*map(placed.on_sheet, shown), *joins)
        whole_square, whole_inch = room_for_squares(self.sheet, ink)
        return Page(
            sheet=self.sheet,
            heading=heading,
            window=part,
            items=(placed,),
            row=tile.row,
            column=tile.column,
            rows=tile.rows,
            columns=tile.columns,
            of=self.drawing.id,
            shown=shown,
            joins=joins,
            whole_square=whole_square,
            whole_inch=whole_inch,
        )


class Tiler:
    """Tiles drawings over sheets, and finds how each of them is tiled only once.

    Both orientations of a sheet are laid out, and each may take tiles on the other.
    """

    def __init__(self, sheets: Sequence[Sheet], overlap: float, most: int) -> None:
        """Take sheets of which each orientation serves, and the most sheets to make."""
        self._sheets, self._overlap, self._most = sheets, overlap, most
        self._found: dict[tuple[str, Sheet, float], Grid | None] = {}

    def tiled(
        self, drawings: Sequence[Drawing], sheet: Sheet, heading: Heading, before: int
    ) -> list[tuple[Page, Tile]]:
        """The sheets of each drawing, in their order, with the tile that each shows.

        Args:
            sheet: whose orientation is taken where the other one saves no sheet.
            before: how many sheets are needed for other drawings.

        Raises:
            BlockError: at ``/sheet``: there would be too many (``too-many-sheets``).
        """
        pages: list[tuple[Page, Tile]] = []
        next_mark = 1
        for drawing in drawings:
            way = self._best(drawing, sheet)
            if way is None or before + len(pages) + len(way.grid.windows) > self._most:
                raise too_many_sheets(self._most)
            # Numbers of join marks run on, so that no two on the sheets are the same.
            parts = tiles(way.grid, next_mark)
            next_mark += sum(tile.new_marks for tile in parts)
            cells = tuple((tile.row, tile.column) for tile in parts)
            pages += [(replace(way.page(heading, tile), cells=cells), tile) for tile in parts]
        return pages

    def _best(self, drawing: Drawing, sheet: Sheet) -> _Tiling | None:
        """The drawing on the fewest sheets, of the orientation of ``sheet`` if that is as good.

        None if all ways need more than the most sheets.
        """
        ways = []
        # The sheet's own orientation comes first, and ``min`` takes the first of equals.
        for other in sorted(self._sheets, key=lambda s: s != sheet):
            for turn in _TURNS:
                grid = self._grid(drawing, other, turn)
                if grid is not None:
                    ways.append(_Tiling(drawing, other, tile_area(other), turn, grid))
        return min(ways, key=lambda w: (len(w.grid.windows), w.grid.cut_labels), default=None)

    def _grid(self, drawing: Drawing, sheet: Sheet, turn: float) -> Grid | None:
        key = (drawing.id, sheet, turn)
        if key not in self._found:
            area = tile_area(sheet)
            way = replace(
                drawing,
                marks=tuple(turned(mark, turn) for mark in drawing.marks),
                box=turned_box(drawing.box, turn),
            )
            self._found[key] = grid_for(way, area.width, area.height, self._overlap, self._most)
        return self._found[key]
