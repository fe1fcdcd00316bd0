"""A page: a sheet, the drawings or the tile of one that lie on it, and what stands beside them.

A place on a sheet is inches from its top left corner, x right and y down.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

from piecewright.render.drawing.marks import Box, Drawing, Mark, mark_box, moved, turned, turned_box
from piecewright.render.sheets import furniture
from piecewright.render.sheets.areas import CLEAR_OF_SCALE, GAP
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.join_marks import Cell
from piecewright.render.sheets.papers import Sheet

BLEED: Final = 0.005
"""Inches; a tile shows this much more than its window: a line on its border keeps its weight."""

_BY_TURNING: Final = 0.05
"""By no more than this does the box of a mark, turned, reach out of the box of its drawing."""


@dataclass(frozen=True, slots=True)
class PlacedDrawing:
    """A drawing on a sheet: turned about its origin, which is then moved to ``x``, ``y``.

    A point of the drawing lies on the sheet at ``(x, y)`` plus the point turned by ``turn``.

    Attributes:
        turn: degrees, clockwise as seen.
    """

    drawing: Drawing
    x: float
    y: float
    turn: float = 0.0

    @property
    def box(self) -> Box:
        """A box on the sheet that holds all of the drawing."""
        return turned_box(self.drawing.box, self.turn).moved(self.x, self.y)

    def on_sheet(self, mark: Mark) -> Mark:
        """A mark of the drawing at its place on the sheet."""
        return moved(turned(mark, self.turn) if self.turn else mark, self.x, self.y)


@dataclass(frozen=True, slots=True)
class Page:
    """A sheet and what it shows.

    Attributes:
        window: what a tile shows, in the drawing's coordinates before it is turned; what of
            the sheet is there for drawings, in the sheet's coordinates, if ``of`` is None.
        number, count: this sheet and all sheets, from 1.
        row, column: of a tile, from 1, as the sheets lie beside each other; else 1.
        rows, columns: into how many the drawing is tiled; else 1.
        of: the id of the drawing whose tile this is; None for a sheet of whole drawings.
        shown: what a tile's window shows of the drawing's marks, lines cut at its border;
            None where drawings are whole.
        joins: the marks along the joins of a tile, at their places on the sheet.
        whole_square, whole_inch: whether there is room for the whole 5 cm and the whole 1 in
            test square.
        cells: row and column of each tile of the drawing, in the order of their sheets.
    """

    sheet: Sheet
    heading: Heading
    window: Box
    items: tuple[PlacedDrawing, ...]
    number: int = 1
    count: int = 1
    row: int = 1
    column: int = 1
    rows: int = 1
    columns: int = 1
    of: str | None = None
    shown: tuple[Mark, ...] | None = None
    joins: tuple[Mark, ...] = ()
    whole_square: bool = True
    whole_inch: bool = True
    cells: tuple[Cell, ...] = ()

    @property
    def title(self) -> str:
        """What is on the sheet, in a line."""
        titles = ", ".join(placed.drawing.title for placed in self.items)
        return " · ".join(part for part in (titles, self._tile) if part)

    @property
    def _tile(self) -> str:
        if self.rows == self.columns == 1:
            return ""
        return f"row {self.row} of {self.rows}, column {self.column} of {self.columns}"

    @property
    def clip(self) -> Box | None:
        """The place of a tile's window on the sheet; None where whole drawings stand."""
        if self.of is None:
            return None
        (placed,) = self.items
        return turned_box(self.window, placed.turn).moved(placed.x, placed.y)

    def marks_of(self, placed: PlacedDrawing) -> tuple[Mark, ...]:
        """What the sheet shows of one of its drawings, in the drawing's own coordinates."""
        return placed.drawing.marks if self.shown is None else self.shown

    @property
    def furniture(self) -> tuple[Mark, ...]:
        """Test squares, scales, footer and map, at their places on the sheet."""
        sheet = self.sheet
        # A canvas is no sheet of paper: it is not counted.
        place = [f"page {self.number} of {self.count}"] if sheet.orientation else []
        if self._tile:
            place += [self.items[0].drawing.title, self._tile]
        map_marks: tuple[Mark, ...] = ()
        taken = 0.0
        high = furniture.FOOTER_HEIGHT if self.of is None else furniture.TILE_FOOTER
        if len(self.cells) > 1:
            here = (self.row, self.column)
            # The sheets of a drawing follow each other, in the order of its cells.
            first = self.number - self.cells.index(here)
            map_marks = furniture.sheet_map(sheet, self.cells, here, first)
            taken = furniture.map_box(sheet, self.cells).width + GAP
        return (
            *furniture.squares(sheet, self.whole_square, self.whole_inch),
            *furniture.scales(sheet, self._room_for_scale()),
            *furniture.footer(sheet, self.heading, place, taken, high),
            *map_marks,
        )

    @property
    def name_place(self) -> Box:
        """Where a name can be put on the print; nothing else is there."""
        return furniture.name_place(self.sheet)

    def _room_for_scale(self) -> float:
        """How long the scale up the left side can be before it meets ink."""
        strip = furniture.longest_scale(self.sheet)
        near = strip.grown(CLEAR_OF_SCALE)
        lowest = strip.y
        for placed in self.items:
            # Boxes of thousands of marks take their time; most drawings do not come near.
            if not placed.box.grown(_BY_TURNING).meets(near):
                continue
            boxes = (mark_box(placed.on_sheet(mark)) for mark in self.marks_of(placed))
            lowest = max([lowest, *(b.bottom for b in boxes if b is not None and b.meets(near))])
        return strip.bottom - lowest


def numbered(pages: Iterable[Page]) -> tuple[Page, ...]:
    """The pages counted through from 1, so that several sets can make one document."""
    pages = tuple(pages)
    return tuple(
        replace(page, number=number, count=len(pages)) for number, page in enumerate(pages, 1)
    )
