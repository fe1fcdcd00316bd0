"""A drawing, or a part of one, at its place on a sheet.

A place on a sheet is inches from its top left corner, x right and y down.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.drawing.marks import (
    Box,
    Drawing,
    Mark,
    moved,
    turn_about_origin,
    turned,
    turned_box,
)
from piecewright.render.sheets.join_marks import Cell

BLEED: Final = 0.005
"""Inches; a part shows this much more than its window: a line on its border keeps its weight."""


@dataclass(frozen=True, slots=True)
class Window:
    """An upright rectangle of a drawing that is turned by ``turn`` degrees about its origin."""

    x: float
    y: float
    width: float
    height: float
    turn: float = 0.0

    @classmethod
    def of(cls, box: Box, turn: float) -> Window:
        """The window that a box is on a turned drawing; upright on the drawing if it can be."""
        if turn % 90.0 == 0.0:
            box, turn = turned_box(box, -turn), 0.0
        return cls(box.x, box.y, box.width, box.height, turn)


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a drawing that is divided over sheets.

    Attributes:
        window: what it shows, a box on the drawing turned by ``slant`` degrees.
        row, column: from 1, as the parts lie beside each other on the drawing so turned.
        rows, columns: into how many the drawing is divided.
        shown: what the window shows of the drawing's marks, lines cut at its border; on the
            drawing so turned.
        joins: the marks along its joins, there too.
        cells: row and column of each part of the drawing.
        pages: on which page of its layout each of these lies, from 1.
    """

    window: Box
    slant: float
    row: int
    column: int
    rows: int
    columns: int
    shown: tuple[Mark, ...]
    joins: tuple[Mark, ...]
    cells: tuple[Cell, ...]
    pages: tuple[int, ...] = ()

    @property
    def title(self) -> str:
        """Which part it is; nothing if it is all of the drawing."""
        if self.rows == self.columns == 1:
            return ""
        return f"row {self.row} of {self.rows}, column {self.column} of {self.columns}"


@dataclass(frozen=True, slots=True)
class PlacedDrawing:
    """A drawing, or a part of one, on a sheet: turned about its origin, which is then moved.

    A point of the drawing lies on the sheet at ``(x, y)`` plus the point turned by ``turn``.

    Attributes:
        turn: degrees, clockwise as seen.
        part: what of the drawing it is; None for all of it.
    """

    drawing: Drawing
    x: float
    y: float
    turn: float = 0.0
    part: Part | None = None

    @property
    def row(self) -> int:
        return self.part.row if self.part else 1

    @property
    def column(self) -> int:
        return self.part.column if self.part else 1

    @property
    def window(self) -> Window | None:
        """What of the drawing a part shows; None for all of it."""
        return Window.of(self.part.window, self.part.slant) if self.part else None

    @property
    def own_turn(self) -> float:
        """Degrees from the marks as they are kept (see ``Part``) to the sheet."""
        # Rounded, so that a quarter turn is one to the last digit.
        return round(self.turn - self.part.slant, 9) % 360.0 if self.part else self.turn

    @property
    def kept(self) -> tuple[Mark, ...]:
        """What is shown of the drawing, turned by ``own_turn`` less than on the sheet."""
        return self.part.shown if self.part else self.drawing.marks

    @property
    def box(self) -> Box:
        """A box on the sheet that holds all of the drawing that is shown."""
        box = self.part.window if self.part else self.drawing.box
        return turned_box(box, self.own_turn).moved(self.x, self.y)

    @property
    def clip(self) -> tuple[Point, ...] | None:
        """The corners on the sheet of what a part shows, bleed included; None for whole ones."""
        if self.part is None:
            return None
        box = self.part.window.grown(BLEED)
        at = turn_about_origin(self.own_turn)
        corners = (
            (box.x, box.y),
            (box.right, box.y),
            (box.right, box.bottom),
            (box.x, box.bottom),
        )
        return tuple((x + self.x, y + self.y) for x, y in map(at, corners))

    @property
    def shown(self) -> list[Mark]:
        """What is shown of the drawing, at its place on the sheet."""
        return [self._on_sheet(mark) for mark in self.kept]

    @property
    def joins(self) -> list[Mark]:
        """The marks along a part's joins, at their places on the sheet."""
        return [self._on_sheet(mark) for mark in self.part.joins] if self.part else []

    def on_sheet(self, mark: Mark) -> Mark:
        """A mark of the drawing at its place on the sheet."""
        return moved(turned(mark, self.turn) if self.turn else mark, self.x, self.y)

    def _on_sheet(self, mark: Mark) -> Mark:
        turn = self.own_turn
        return moved(turned(mark, turn) if turn else mark, self.x, self.y)
