"""Drawings that lie whole on sheets, with parts of larger ones: in rows, or packed by outline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from shapely.geometry.base import BaseGeometry

from piecewright.render.drawing.footprints import footprint, turns_freely
from piecewright.render.drawing.linekinds import PENS
from piecewright.render.drawing.marks import Box, Drawing, Stroke
from piecewright.render.sheets.areas import Field
from piecewright.render.sheets.furniture import GAP
from piecewright.render.sheets.packing import FEW, USUAL, Packer
from piecewright.render.sheets.placed import Part, PlacedDrawing
from piecewright.render.sheets.raster import FINEST, Grid
from piecewright.render.sheets.rows import fits, in_rows

Sheetfuls = list[tuple[PlacedDrawing, ...]]
"""What lies on each sheet."""

MOST_PACKED: Final = 200
"""Drawings; more than these stand in rows, which takes more paper and far less time."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A drawing, or a part of one, as it is laid on a sheet.

    Attributes:
        shape: what it covers; of a part on the drawing as that is turned for it.
        free: it is cut out, and may lie any way.
    """

    drawing: Drawing
    shape: BaseGeometry
    free: bool
    part: Part | None = None


def whole_piece(drawing: Drawing) -> Piece:
    """A drawing that is not divided."""
    return Piece(drawing, footprint(drawing), turns_freely(drawing))


def bleed(drawings: Sequence[Drawing]) -> float:
    """Half the width of the widest outline: so much of a line may lie in the margin."""
    outlines = (
        mark.half
        for drawing in drawings
        for mark in drawing.marks
        if isinstance(mark, Stroke) and mark.closed and not mark.filled
    )
    return max(outlines, default=PENS["cutting-line"].half)


def go_in_rows(drawings: Sequence[Drawing]) -> bool:
    """Whether drawings stand in rows: they are many, or cards.

    Cards are all to be read and of one size, so that rows show them in their order and packing
    could gain nothing.
    """
    sizes = {(round(d.box.width, 6), round(d.box.height, 6)) for d in drawings}
    are_cards = len(sizes) == 1 and not any(turns_freely(d) for d in drawings)
    return len(drawings) > MOST_PACKED or are_cards


def cells_of(area: Box, bleed: float, count: int) -> Grid:
    """The cells of what can be printed on of a sheet, for so many drawings."""
    # Many drawings fill each other's gaps anyway, and the time goes with the cells.
    return Grid(area.grown(bleed), GAP, FINEST if count <= FEW else 2 * FINEST)


class FieldPacker:
    """Packs pieces in one field of a sheet."""

    def __init__(self, grid: Grid, field: Field, bleed: float) -> None:
        self._field = Field(field.area.grown(bleed), field.taken, field.room)
        self._packer = Packer(grid, self._field.area, field.taken)

    def fits_in_rows(self, drawing: Drawing) -> bool:
        """Whether a drawing stands in the field as it is."""
        return fits(drawing.box, self._field.area, self._field.taken)

    def fits(self, piece: Piece) -> bool:
        """Whether a piece lies in the field in any turn that it may have."""
        box = Box.of_bounds(*piece.shape.bounds)
        if fits(box, self._field.area, self._field.taken):
            return True
        return bool(self._packer.turns(piece.shape, piece.free))

    def fit(self, pieces: Sequence[Piece]) -> list[bool]:
        """Whether each of the pieces that are laid out together lies in the field."""
        if go_in_rows([piece.drawing for piece in pieces]):
            return [self.fits_in_rows(piece.drawing) for piece in pieces]
        return [self.fits(piece) for piece in pieces]

    def in_rows(self, drawings: Sequence[Drawing]) -> Sheetfuls:
        """Drawings, all of which fit in rows."""
        return in_rows(drawings, self._field.area, self._field.taken)

    def packed(
        self, pieces: Sequence[Piece], least: int = 1, work: int = USUAL
    ) -> Sheetfuls | None:
        """The pieces on few sheets, those of each sheet in their order; None if one fits none.

        Args:
            least, work: as ``Packer.pack``.
        """
        found, unfit = self._packer.pack(
            [piece.shape for piece in pieces], [piece.free for piece in pieces], least, work
        )
        if unfit:
            return None
        return [
            tuple(
                _placed(pieces[item.shape], item.x, item.y, item.turn)
                for item in sorted(items, key=lambda i: i.shape)
            )
            for items in found
        ]


def _placed(piece: Piece, x: float, y: float, turn: float) -> PlacedDrawing:
    slant = piece.part.slant if piece.part else 0.0
    return PlacedDrawing(piece.drawing, x, y, (turn + slant) % 360.0, piece.part)
