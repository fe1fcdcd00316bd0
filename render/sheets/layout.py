"""The layout: every drawing on sheets, at true size, in the way that takes the fewest.

Whole drawings are packed by their outlines or stand in rows (``whole``); a drawing that is larger
than a sheet is tiled: cut into windows that overlap, a sheet each (``tiling``). Nothing is scaled
and nothing is left out. Paper from a roll is cut off where the drawings end (``roll``).
"""

from __future__ import annotations

from collections.abc import Sequence

from piecewright.patchwork.faults import BlockError, Fault
from piecewright.render.drawing.marks import Drawing
from piecewright.render.sheets import furniture
from piecewright.render.sheets.areas import check_room, drawing_area
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.page import Page, numbered
from piecewright.render.sheets.papers import Sheet
from piecewright.render.sheets.roll import on_roll
from piecewright.render.sheets.sheet_settings import MOST_SHEETS, SheetSettings, sheets
from piecewright.render.sheets.tiling import Tiler, too_many_sheets
from piecewright.render.sheets.whole import whole


def lay_out(
    drawings: Sequence[Drawing],
    settings: SheetSettings,
    heading: Heading,
    most: int = MOST_SHEETS,
) -> tuple[Page, ...]:
    """Every drawing, at true size, on the fewest sheets that are found.

    Args:
        most: the most sheets to make.

    Raises:
        BlockError: at ``/sheet``: the sheet leaves no useful room within its margins
            (``paper-too-small``), is larger than a PDF page can be (``paper-too-large``), or
            more than ``most`` sheets would be needed (``too-many-sheets``). At ``/printer``: it
            is too far off to be corrected for (``printer``).
    """
    if settings.printer.faults():
        raise BlockError(settings.printer.faults())
    if settings.roll_width is not None:
        pages = on_roll(settings.roll_width, settings, drawings, heading, most)
        return numbered(_in_order(pages, drawings, most))
    # A sheet may serve one way up only; it is refused if it serves neither way.
    faults: list[Fault] = []
    useful: list[Sheet] = []
    for sheet in sheets(settings):
        try:
            check_room(sheet, settings.overlap)
            useful.append(sheet)
        except BlockError as error:
            faults += error.faults
    tiler = Tiler(useful, settings.overlap, most)
    layouts: list[list[Page]] = []
    for sheet in useful:
        try:
            pages = _on(sheet, drawings, tiler, heading, most)
            layouts.append(_in_order(pages, drawings, most))
        except BlockError as error:
            faults += error.faults
    if not layouts:
        raise BlockError(faults[:1])
    # Upright comes first, and ``min`` takes the first of equals.
    fewest = min(layouts, key=_cost)
    return numbered(fewest)


def _on(
    sheet: Sheet, drawings: Sequence[Drawing], tiler: Tiler, heading: Heading, most: int
) -> list[Page]:
    """The drawings on sheets of one orientation; tiled ones on the other where that needs fewer."""
    area = drawing_area(sheet)
    together, large = whole(drawings, area, furniture.corner(sheet))
    pages = [Page(sheet, heading, area, items) for items in together]
    return pages + [page for page, _ in tiler.tiled(large, sheet, heading, len(pages))]


def _in_order(pages: Sequence[Page], drawings: Sequence[Drawing], most: int) -> list[Page]:
    """The pages in the order of the first drawing on each."""
    if len(pages) > most:
        raise too_many_sheets(most)
    order = {drawing.id: number for number, drawing in enumerate(drawings)}
    return sorted(pages, key=lambda page: min(order[p.drawing.id] for p in page.items))


def _cost(pages: Sequence[Page]) -> tuple[int, int, float]:
    """How many sheets a layout takes; then how many are tiles, and how many drawings turn.

    A quarter turn counts half: what is at a slant is harder to read.
    """
    tiled = sum(page.of is not None for page in pages)
    turning = sum(
        1.0 if placed.turn % 90.0 else 0.5 for page in pages for placed in page.items if placed.turn
    )
    return len(pages), tiled, turning
