"""Cells of a grid: what fills them, how it lies there, and what is wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import shapely

from piecewright.patchwork.block.model import Block, Piece
from piecewright.patchwork.faults import Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line, Outline
from piecewright.patchwork.geometry.polygons import point_inside, polygon_of
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point
from piecewright.patchwork.lengths import Unit, spoken

Box: TypeAlias = tuple[float, float, float, float]
"""Left, top, right and bottom, inches."""


@dataclass(frozen=True, slots=True)
class Inner:
    """What fills a cell, as it was read.

    Attributes:
        block: None where it has faults.
        faults: their places are those on the block as it is drawn itself.
        box: its extent as drawn; None where it cannot be told, and for a plain patch, which
            fills any cell.
        wanted: fabrics that it is cut from and does not bring along, with the pointers to them.
    """

    block: Block | None
    faults: tuple[Fault, ...] = ()
    box: Box | None = None
    wanted: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell, and how the block in it lies.

    Attributes:
        number: from 1, in reading order.
        pointer: to what fills it.
        box: its place on the whole block.
        turn: degrees, clockwise as seen; ``mirrored`` before it is turned.
    """

    number: int
    row: int
    column: int
    pointer: str
    inner: Inner
    box: Box
    turn: int
    mirrored: bool

    @property
    def name(self) -> str:
        return f"b{self.number}"

    @property
    def words(self) -> str:
        return f"row {self.row + 1}, column {self.column + 1}"

    @property
    def middle(self) -> Point:
        left, top, right, bottom = self.box
        return ((left + right) / 2, (top + bottom) / 2)

    @property
    def outline(self) -> Outline:
        left, top, right, bottom = self.box
        return paths.polygon([(left, top), (right, top), (right, bottom), (left, bottom)])

    @property
    def drawn(self) -> tuple[float, float]:
        """Width and height of its block as drawn, once it is turned."""
        assert self.inner.box is not None
        return turned_size(self.inner.box, self.turn)

    def at(self, p: Point) -> Point:
        """Where a point of its block lies on the whole block."""
        assert self.inner.box is not None
        left, top, right, bottom = self.inner.box
        wide, high = right - left, bottom - top
        x, y = p[0] - left, p[1] - top
        if self.mirrored:
            x = wide - x
        turned = {
            0: (x, y),
            90: (high - y, x),
            180: (wide - x, high - y),
            270: (y, wide - x),
        }[self.turn]
        across, down = self.drawn
        x0, y0, x1, y1 = self.box
        return (x0 + turned[0] * (x1 - x0) / across, y0 + turned[1] * (y1 - y0) / down)

    def placed(self, piece: Piece) -> Piece:
        """A piece of its block at its place on the whole block, under its name there."""
        if self.inner.box is None:
            return Piece(self.name, self.outline, piece.fabric)
        outline: Outline = tuple(_mapped(segment, self.at) for segment in piece.outline)
        grain = piece.grain
        if not isinstance(grain, str):
            grain = ((-grain if self.mirrored else grain) + self.turn) % 180.0
        return Piece(
            f"{self.name}.{piece.id}",
            paths.reverse_outline(outline) if self.mirrored else outline,
            piece.fabric,
            grain,
        )


def turned_size(box: Box, turn: int) -> tuple[float, float]:
    """Width and height of what has an extent, once it is turned."""
    left, top, right, bottom = box
    wide, high = right - left, bottom - top
    return (high, wide) if turn % 180 else (wide, high)


def _mapped(segment: paths.Segment, at: Callable[[Point], Point]) -> paths.Segment:
    if isinstance(segment, Line):
        return Line(at(segment.start), at(segment.end))
    return paths.Curve(at(segment.start), at(segment.handle1), at(segment.handle2), at(segment.end))


def faults_of_cells(cells: Sequence[Cell], unit: Unit) -> list[Fault]:
    """What is wrong with the blocks, and with how they fit their cells; sizes in ``unit``."""
    # A design with faults is told of once, at the first of its cells.
    found: dict[tuple[str, str, str], Fault] = {}
    for cell in cells:
        for fault in cell.inner.faults:
            key = (fault.pointer, fault.code, fault.detail)
            at = cell.middle
            if fault.at is not None and cell.inner.box is not None and min(cell.drawn) > 0:
                at = cell.at(fault.at)
            found.setdefault(key, replace(fault, at=at))
    misfits = [_misfit(cell, unit) for cell in cells]
    return [*found.values(), *(one for one in misfits if one is not None)]


def _misfit(cell: Cell, unit: Unit) -> Fault | None:
    """The fault of a block that does not fill its cell when it is scaled to it."""
    if cell.inner.block is None or cell.inner.box is None:
        return None
    block = cell.inner.block
    wide, high = cell.drawn
    left, top, right, bottom = cell.box
    across, down = right - left, bottom - top
    if abs(wide * down / high - across) > TOLERANCE:
        size, room = (
            f"{spoken(w, unit)} by {spoken(h, unit)}" for w, h in ((wide, high), (across, down))
        )
        message = (
            f"{block.name!r} is {size} as it lies here, and its cell ({cell.words}) is {room}, of "
            "other proportions; give 'rows' and 'columns' as lengths that suit it, or turn it"
        )
        return Fault(cell.pointer, "cell-proportions", message, cell.middle)
    share = sum(paths.area(p.outline) for p in block.pieces) / (wide * high)
    if (1 - share) * across * down > TOLERANCE * (across + down):
        whole = shapely.union_all([polygon_of(p.outline) for p in block.pieces])
        bare = overlaid(shapely.difference, shapely.box(*cell.inner.box), whole)
        message = (
            f"{block.name!r} is no rectangle and leaves a part of its cell ({cell.words}) bare; "
            "add pieces that make it one"
        )
        return Fault(cell.pointer, "cell-not-filled", message, cell.at(point_inside(bare)))
    return None
