"""The layout: every drawing on sheets, at true size, in the way that takes the fewest.

Whole drawings are packed by their outlines or stand in rows (``whole``); a drawing that is larger
than a sheet is divided into parts that overlap (``tiling``), which are packed with all else.
Nothing is scaled and nothing is left out. Test squares, words and rulers take what room is left
(``furnishing``). Paper from a roll is cut off where the drawings end (``roll``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import compress
from operator import not_

from piecewright.patchwork.faults import BlockError, Fault
from piecewright.render.drawing.footprints import turns_freely
from piecewright.render.drawing.marks import Drawing
from piecewright.render.sheets.areas import Field, check_room, fields
from piecewright.render.sheets.bounds import least_sheets
from piecewright.render.sheets.furnishing import has_squares
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.packing import QUICK, USUAL
from piecewright.render.sheets.page import Page, numbered
from piecewright.render.sheets.papers import Sheet
from piecewright.render.sheets.placed import PlacedDrawing
from piecewright.render.sheets.roll import on_roll
from piecewright.render.sheets.sheet_settings import MOST_SHEETS, SheetSettings, sheets
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
        return _counted(_in_order(pages, drawings, most), 1)
    # A sheet may serve one way up only; it is refused if it serves neither way.
    faults: list[Fault] = []
    useful: list[Sheet] = []
    for sheet in sheets(settings):
        try:
            check_room(sheet, settings.overlap)
            useful.append(sheet)
        except BlockError as error:
            faults += error.faults
    pieces = [whole_piece(drawing) for drawing in drawings]
    least = least_sheets(pieces, useful)
    layouts: list[list[Page]] = []
    for sheet in useful:
        try:
            pages = _Sheets(sheet, settings, pieces, least, most).pages(heading)
            layouts.append(_in_order(pages, drawings, most))
        except BlockError as error:
            faults += error.faults
            continue
        # Things to cut out lie any way on the paper: turned, it holds no more of them.
        if sheet.printer.exact and all(map(turns_freely, drawings)):
            break
        if len(pages) <= least and not any(placed.part for page in pages for placed in page.items):
            break
    if not layouts:
        raise BlockError(faults[:1])
    # Upright comes first, and ``min`` takes the first of equals.
    return _counted(min(layouts, key=_cost), least)


class _Sheets:
    """Drawings on sheets of one orientation."""

    def __init__(
        self,
        sheet: Sheet,
        settings: SheetSettings,
        pieces: Sequence[Piece],
        least: int,
        most: int,
    ) -> None:
        self._sheet, self._pieces, self._least, self._most = sheet, pieces, least, most
        self._drawings = [piece.drawing for piece in pieces]
        self._work = QUICK if settings.effort == "quick" else USUAL
        self._bleed = bleed(self._drawings)
        self._overlap = settings.overlap
        self._grid = cells_of(sheet.printable, self._bleed, len(pieces))
        self._packers: dict[Field, FieldPacker] = {}

    def pages(self, heading: Heading) -> list[Page]:
        """The pages, in whichever field of the sheet takes the fewest of them."""
        to_scale = any(drawing.to_scale for drawing in self._drawings)
        usable = fields(self._sheet, to_scale)
        every = usable[-1]
        whole, large = self._divided_or_not(every)
        room, overlap = usable[0].room, self._overlap
        parts = pieces_of(
            [divided(p.drawing, room, every.room, overlap, self._most) for p in large]
        )
        # Parts are not kept off the corner of the test squares: they are as large as they can be.
        tried = [field for field in usable if not (large and field.taken.width)]
        best: tuple[Field, Sheetfuls] | None = None
        # A look at each field first; then as long as it may take at all there is of the sheet.
        for field, work in [*((one, QUICK) for one in tried), (every, self._work)]:
            if best is not None and len(best[1]) <= self._least:
                break
            found = self._in(field, whole, parts, work)
            if found is not None and (best is None or len(found) < len(best[1])):
                best = (field, found)
        assert best is not None, "all of the sheet holds what is not too large for it"
        field, sheetfuls = best
        pages = [
            Page(self._sheet, heading, field.area, self._off_the_ruler(items, field))
            for items in sheetfuls
        ]
        if to_scale and not any(has_squares(page.sheet, page.items) for page in pages):
            pages.append(Page(self._sheet, heading, field.area, ()))
        return pages

    def _divided_or_not(self, field: Field) -> tuple[list[Piece], list[Piece]]:
        """The pieces that fit a field whole, and those that do not."""
        fit = self._packer(field).fit(self._pieces)
        return list(compress(self._pieces, fit)), list(compress(self._pieces, map(not_, fit)))

    def _packer(self, field: Field) -> FieldPacker:
        if field not in self._packers:
            self._packers[field] = FieldPacker(self._grid, field, self._bleed)
        return self._packers[field]

    def _in(
        self, field: Field, whole: Sequence[Piece], parts: Sequence[Piece], work: int
    ) -> Sheetfuls | None:
        """What lies on each sheet; None where the field is too small for a piece."""
        packer = self._packer(field)
        if go_in_rows(self._drawings):
            drawings = [piece.drawing for piece in whole]
            if not all(map(packer.fits_in_rows, drawings)):
                return None
            with_parts = packer.packed(parts)
            return None if with_parts is None else packer.in_rows(drawings) + with_parts
        if len(whole) + len(parts) > self._most * 50:
            raise too_many_sheets(self._most)
        return packer.packed([*whole, *parts], self._least, work)

    def _off_the_ruler(
        self, items: tuple[PlacedDrawing, ...], field: Field
    ) -> tuple[PlacedDrawing, ...]:
        """Parts against the right border, where that leaves room for the ruler at the left."""
        if not any(placed.part for placed in items):
            return items
        slack = field.area.right - max(placed.box.right for placed in items)
        return tuple(replace(placed, x=placed.x + max(0.0, slack)) for placed in items)


def _in_order(pages: Sequence[Page], drawings: Sequence[Drawing], most: int) -> list[Page]:
    """The pages in the order of the first drawing on each; one with test squares comes first."""
    if len(pages) > most:
        raise too_many_sheets(most)
    order = {drawing.id: number for number, drawing in enumerate(drawings)}

    def first(page: Page) -> tuple[int, int, int]:
        return min(
            ((order[p.drawing.id], p.row, p.column) for p in page.items),
            default=(-1, 0, 0),
        )

    ordered = sorted(pages, key=first)
    # The squares are to be measured before anything is cut.
    scaled = [page for page in ordered if page.to_scale]
    with_squares = next((p for p in scaled if has_squares(p.sheet, p.items)), None)
    if with_squares is not None and with_squares is not scaled[0]:
        ordered.remove(with_squares)
        ordered.insert(ordered.index(scaled[0]), with_squares)
    return ordered


def _counted(pages: Sequence[Page], least: int) -> tuple[Page, ...]:
    """The pages numbered, each part with the pages of all parts of its drawing."""
    on: dict[tuple[str, int, int], int] = {}
    for own, page in enumerate(pages, 1):
        for placed in page.items:
            on[placed.drawing.id, placed.row, placed.column] = own
    return numbered(
        replace(
            page,
            own=own,
            least=least,
            items=tuple(_with_pages(placed, on) for placed in page.items),
        )
        for own, page in enumerate(pages, 1)
    )


def _with_pages(placed: PlacedDrawing, on: dict[tuple[str, int, int], int]) -> PlacedDrawing:
    if placed.part is None:
        return placed
    pages = tuple(on[(placed.drawing.id, *cell)] for cell in placed.part.cells)
    return replace(placed, part=replace(placed.part, pages=pages))


def _cost(pages: Sequence[Page]) -> tuple[int, int, float]:
    """How many sheets a layout takes; then how many parts there are, and how many drawings turn.

    A quarter turn counts half: what is at a slant is harder to read.
    """
    parts = sum(placed.part is not None for page in pages for placed in page.items)
    turning = sum(
        1.0 if placed.turn % 90.0 else 0.5 for page in pages for placed in page.items if placed.turn
    )
    return len(pages), parts, turning
