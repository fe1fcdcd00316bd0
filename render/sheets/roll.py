"""Drawings on paper from a roll: one sheet if that serves, cut off where the drawings end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import compress
from typing import Final

from piecewright.render.drawing.marks import Box, Drawing, mark_box
from piecewright.render.sheets import furniture
from piecewright.render.sheets.areas import (
    NOTHING,
    UNDER_PART,
    Field,
    above_footer,
    check_room,
)
from piecewright.render.sheets.furniture import GAP, Heading
from piecewright.render.sheets.packing import QUICK
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.papers import Sheet
from piecewright.render.sheets.placed import PlacedDrawing
from piecewright.render.sheets.sheet_settings import SheetSettings, roll_sheet
from piecewright.render.sheets.tiling import divided, pieces_of, too_many_sheets
from piecewright.render.sheets.whole import (
    FieldPacker,
    Piece,
    Sheetfuls,
    bleed,
    cells_of,
    go_in_rows,
    whole_piece,
)

_SHORTEST: Final = 1.0
"""Inches; the least room for drawings on a sheet from a roll that is tried."""

_LONGER: Final = 1.25
"""By how much the room is made longer until all drawings lie on it. A smaller step tries more
often; what is too long costs no paper, as the sheet is cut off below the lowest drawing."""

_SQUARES: Final = furniture.FIVE_CENTIMETRES + furniture.RULE
"""Inches that the test squares and the ruler below them are high."""


def on_roll(
    width: float,
    settings: SheetSettings,
    drawings: Sequence[Drawing],
    heading: Heading,
    most: int,
) -> list[Page]:
    """The drawings on one sheet from a roll, or few; those wider than the roll divided.

    Args:
        width: of the roll.
        most: the most sheets to make.

    Raises:
        BlockError: as ``render.sheets.layout.lay_out``.
    """
    longest = roll_sheet(settings, width)
    check_room(longest, settings.overlap)
    # All drawings stand above the test squares: paper is not scarce along a roll.
    below = GAP + _SQUARES
    area = replace(above_footer(longest), height=longest.printable.height - below)
    line = bleed(drawings)
    pieces = [whole_piece(drawing) for drawing in drawings]
    fit = _packer(area, line, len(drawings)).fit(pieces)
    narrow = list(compress(pieces, fit))
    pages = [
        _cut_off(Page(longest, heading, area, items), _bottom(items) - area.y + below)
        for items in _packed(narrow, area, line)
    ]
    wide = [
        divided(p.drawing, area, area, settings.overlap, most)
        for p, fits in zip(pieces, fit, strict=True)
        if not fits
    ]
    parts = pieces_of(wide)
    if len(pages) + len(parts) > most:
        raise too_many_sheets(most)
    return pages + [_part_alone(piece, longest, heading) for piece in parts]


def _packed(pieces: Sequence[Piece], area: Box, line: float) -> Sheetfuls:
    """The pieces on as short an area as is found."""
    if not pieces:
        return []
    drawings = [piece.drawing for piece in pieces]
    if go_in_rows(drawings):
        return _packer(area, line, len(drawings)).in_rows(drawings)
    # No sheet can be shorter than one without any waste.
    length = max(_SHORTEST, sum(piece.shape.area for piece in pieces) / area.width)
    while True:
        room = replace(area, height=min(area.height, length))
        found = _packer(room, line, len(drawings)).packed(pieces, work=QUICK)
        if (found is not None and len(found) <= 1) or length >= area.height:
            return found or []
        length *= _LONGER


def _packer(area: Box, line: float, count: int) -> FieldPacker:
    return FieldPacker(cells_of(area, line, count), Field(area, NOTHING, area), line)


def _part_alone(piece: Piece, longest: Sheet, heading: Heading) -> Page:
    """A sheet with one part of a divided drawing, against its right border."""
    part, area = piece.part, longest.printable
    assert part is not None
    x, y = area.right - part.window.right, area.y - part.window.y
    placed = PlacedDrawing(piece.drawing, x, y, part.slant, part)
    page = Page(longest, heading, area, (placed,))
    return _cut_off(page, max(part.window.height + UNDER_PART, _SQUARES))


def _bottom(items: Sequence[PlacedDrawing]) -> float:
    """How far down a sheet ink reaches."""
    boxes = (mark_box(mark) for placed in items for mark in placed.shown)
    return max(box.bottom for box in boxes if box is not None)


def _cut_off(page: Page, height: float) -> Page:
    """The page on a sheet of which no more than ``height`` can be printed on."""
    # A printer that prints too short leaves that much less of the sheet for the print.
    shrunk = min(1, page.sheet.printer.down)
    margins = page.sheet.height - page.sheet.printable.height / shrunk
    sheet = replace(page.sheet, height=height / shrunk + margins)
    # The print stays about the middle of the sheet, so that its top moves with the length.
    down = sheet.printable.y - page.sheet.printable.y
    items = tuple(replace(p, y=p.y + down) for p in page.items)
    return replace(page, sheet=sheet, items=items, area=above_footer(sheet))
