"""Drawings on paper from a roll: one sheet if that serves, cut off where the drawings end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from piecewright.render.drawing.footprints import footprint
from piecewright.render.drawing.marks import Box, Drawing, mark_box, moved
from piecewright.render.sheets import furniture
from piecewright.render.sheets.areas import (
    ENOUGH,
    GAP,
    UNDER_TILE,
    check_room,
    drawing_area,
    room_for_squares,
)
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.page import Page, PlacedDrawing
from piecewright.render.sheets.sheet_settings import SheetSettings, roll_sheet
from piecewright.render.sheets.tiling import Tiler
from piecewright.render.sheets.whole import Sheetfuls, go_in_rows, whole_in_rows, whole_packed

_SHORTEST: Final = 1.0
"""Inches; the least room for drawings on a sheet from a roll that is tried."""

_LONGER: Final = 1.25
"""By how much the room is made longer until all drawings lie on it. A smaller step tries more
often; what is too long costs no paper, as the sheet is cut off below the lowest drawing."""

_SQUARES: Final = furniture.FIVE_CENTIMETRES + furniture.RULE
"""Inches that the test squares and the scale below them are high."""


def on_roll(
    width: float,
    settings: SheetSettings,
    drawings: Sequence[Drawing],
    heading: Heading,
    most: int,
) -> list[Page]:
    """The drawings on one sheet from a roll, or few; those wider than the roll tiled.

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
    area = replace(drawing_area(longest), height=longest.printable.height - below)
    narrow = [d for d in drawings if min(d.box.width, d.box.height) <= area.width + ENOUGH]
    together, unfit = _packed(narrow, area)
    pages = [
        _cut_off(Page(longest, heading, area, items), _bottom(items) - area.y + below)
        for items in together
    ]
    wide = [d for d in drawings if d not in narrow or d in unfit]
    tiler = Tiler([longest], settings.overlap, most)
    for page, tile in tiler.tiled(wide, longest, heading, len(pages)):
        pages.append(_cut_off(page, max(tile.window.height + UNDER_TILE, _SQUARES)))
    return pages


def _packed(drawings: Sequence[Drawing], area: Box) -> Sheetfuls:
    """The drawings on as short an area as is found; and those that fit none."""
    if not drawings:
        return [], []
    if go_in_rows(drawings):
        return whole_in_rows(drawings, area)
    footprints = [footprint(d) for d in drawings]
    # No sheet can be shorter than one without any waste.
    length = max(_SHORTEST, sum(shape.area for shape in footprints) / area.width)
    while True:
        room = replace(area, height=min(area.height, length))
        together, unfit = whole_packed(drawings, footprints, room)
        if (len(together) <= 1 and not unfit) or length >= area.height:
            return together, unfit
        length *= _LONGER


def _bottom(items: Sequence[PlacedDrawing]) -> float:
    """How far down a sheet ink reaches."""
    boxes = (mark_box(p.on_sheet(mark)) for p in items for mark in p.drawing.marks)
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
    joins = tuple(moved(mark, 0.0, down) for mark in page.joins)
    if page.of is None:
        return replace(page, sheet=sheet, items=items, window=drawing_area(sheet))
    ink = [*map(items[0].on_sheet, page.shown or ()), *joins]
    five, inch = room_for_squares(sheet, ink)
    return replace(page, sheet=sheet, items=items, joins=joins, whole_square=five, whole_inch=inch)
