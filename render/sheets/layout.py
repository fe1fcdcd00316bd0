"""Which part of which drawing lies where on which sheet.

Whole drawings are packed by their outlines; a drawing that is larger than a sheet is
tiled: cut into windows that overlap, a sheet each. Nothing is scaled and nothing is left
out. A place on a sheet is inches from its top left corner, x right and y down.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.lengths import spoken
from piecewright.render.drawing.clipping import clipped
from piecewright.render.drawing.footprints import footprint, turns_freely
from piecewright.render.drawing.marks import (
    Box,
    Drawing,
    Mark,
    mark_box,
    moved,
    reaches,
    turned,
    turned_box,
)
from piecewright.render.sheets import furniture
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.packing import pack
from piecewright.render.sheets.papers import PAPERS, TRUE, Orientation, Paper, Printer, Sheet
from piecewright.render.sheets.tiles import Cell, Grid, Tile, grid_for, tiles

__all__ = [
    "PAPERS",
    "Heading",
    "Page",
    "Paper",
    "Placed",
    "Printer",
    "Sheet",
    "SheetSettings",
    "lay_out",
    "numbered",
    "on_one_canvas",
]

MOST_PACKED: Final = 150
"""Drawings; more than these stand in rows, which takes more paper and far less time."""

GAP: Final = 0.13
"""Between drawings that share a sheet, and between them and the test squares."""

MOST_SHEETS: Final = 500

LARGEST_SHEET: Final = 200.0
"""Inches; a PDF page is at most 14,400 units long (ISO 32000-1, annex C)."""

_LEAST_WINDOW: Final = 1.0
"""A sheet must show at least this much of a drawing, each way, beyond its overlap."""

_TILE_INSET: Final = furniture.RULE + 0.065
"""A tile stays clear of the scale and the left edge of the 5 cm square, near the border."""

_CLEAR_OF_SCALE: Final = 0.02

_BY_TURNING: Final = 0.05
"""By no more than this does the box of a mark, turned, reach out of the box of its drawing."""

_TILE_TURNS: Final = (0.0, 270.0)
"""Turned by half a turn, a drawing needs as many sheets as before."""

BLEED: Final = 0.005
"""A tile shows this much more than its window: a line on its border keeps its weight."""

_CANVAS_MARGIN: Final = 0.25

_ENOUGH: Final = 1e-9


@dataclass(frozen=True, slots=True)
class SheetSettings:
    """The sheets to print on.

    Attributes:
        width, height: of the paper, either way up.
        roll_width: of paper from a roll, in place of width, height and orientation: each
            sheet is as long as what is on it needs, 200 in at most.
        orientation: ``auto`` takes the one that needs fewer sheets, upright if both need the same.
        margin: what the printer leaves blank along each side.
        overlap: how much of a tiled drawing two neighbouring sheets both show.
        paper: the paper's name, for the reader.
        printer: what the printer made of the test square; the sheets are corrected for it.
    """

    width: float = 8.5
    height: float = 11.0
    orientation: Literal["auto", "portrait", "landscape"] = "auto"
    margin: float = 0.25
    overlap: float = 0.25
    paper: str = ""
    printer: Printer = TRUE
    roll_width: float | None = None


@dataclass(frozen=True, slots=True)
class Placed:
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
        number, count: this sheet and all sheets, from 1.
        row, column: of a tile, from 1, as the sheets lie beside each other; else 1.
        rows, columns: into how many the drawing is tiled; else 1.
        of: the id of the drawing whose tile this is; None for a sheet of whole drawings.
        window: what a tile shows, in the drawing's coordinates before it is turned; what of
            the sheet is there for drawings, in the sheet's coordinates, if ``of`` is None.
        shown: what a tile's window shows of the drawing's marks, lines cut at its border;
            None where drawings are whole.
        joins: the marks along the joins of a tile, at their places on the sheet.
        whole_square, whole_inch: whether there is room for the whole 5 cm and the whole 1 in
            test square.
        cells: row and column of each tile of the drawing, in the order of their sheets.
    """

    sheet: Sheet
    heading: Heading
    number: int
    count: int
    row: int
    column: int
    rows: int
    columns: int
    of: str | None
    window: Box
    items: tuple[Placed, ...]
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

    @property
    def furniture(self) -> tuple[Mark, ...]:
        """Test squares, scales, footer and map, at their places on the sheet."""
        sheet = self.sheet
        place = [f"page {self.number} of {self.count}"] if sheet.orientation else []
        if self._tile:
            place += [self.items[0].drawing.title, self._tile]
        map_marks: tuple[Mark, ...] = ()
        taken = 0.0
        high = furniture.FOOTER_HEIGHT if self.of is None else furniture.TILE_FOOTER
        if len(self.cells) > 1:
            here = (self.row, self.column)
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
        near = strip.grown(_CLEAR_OF_SCALE)
        lowest = strip.y
        for placed in self.items:
            if not placed.box.grown(_BY_TURNING).meets(near):
                continue
            marks = placed.drawing.marks if self.shown is None else self.shown
            boxes = (mark_box(placed.on_sheet(mark)) for mark in marks)
            lowest = max([lowest, *(b.bottom for b in boxes if b is not None and b.meets(near))])
        return strip.bottom - lowest


def lay_out(
    drawings: Sequence[Drawing],
    settings: SheetSettings,
    heading: Heading,
    most: int = MOST_SHEETS,
) -> tuple[Page, ...]:
    """Every drawing, at true size, on as few sheets as rows allow.

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
        return numbered(_on_roll(settings.roll_width, settings, drawings, heading, most))
    layouts: list[list[Page]] = []
    faults: list[Fault] = []
    sheets = []
    for sheet in _sheets(settings):
        try:
            _check_room(sheet, _field(sheet), settings.overlap)
            sheets.append(sheet)
        except BlockError as error:
            faults += error.faults
    tiler = _Tiler(sheets, settings.overlap, most)
    for sheet in sheets:
        try:
            layouts.append(_on(sheet, drawings, tiler, heading, most))
        except BlockError as error:
            faults += error.faults
    if not layouts:
        raise BlockError(faults[:1])
    fewest = min(layouts, key=_cost)
    return numbered(fewest)


def _cost(pages: Sequence[Page]) -> tuple[int, int, float]:
    """How many sheets a layout takes; then how many are tiles, and how many drawings turn."""
    tiled = sum(page.of is not None for page in pages)
    turning = sum(
        1.0 if placed.turn % 90.0 else 0.5 for page in pages for placed in page.items if placed.turn
    )
    return len(pages), tiled, turning


def numbered(pages: Iterable[Page]) -> tuple[Page, ...]:
    """The pages counted through from 1, so that several sets can make one document."""
    pages = tuple(pages)
    return tuple(
        replace(page, number=number, count=len(pages)) for number, page in enumerate(pages, 1)
    )


# -- the sheet


def _sheets(settings: SheetSettings) -> list[Sheet]:
    """The sheet in each orientation asked for, upright first."""
    short, long = sorted((settings.width, settings.height))
    if long > LARGEST_SHEET:
        message = f"a sheet can be at most {LARGEST_SHEET:g} in long"
        raise BlockError([Fault("/sheet", "paper-too-large", message)])
    ways: list[Orientation] = ["portrait", "landscape"]
    if settings.orientation != "auto":
        ways = [settings.orientation]
    elif short == long:
        ways = ["portrait"]
    sheets = []
    for way in ways:
        width, height = (short, long) if way == "portrait" else (long, short)
        sheets.append(Sheet(width, height, settings.margin, settings.paper, way, settings.printer))
    return sheets


def _field(sheet: Sheet) -> Box:
    """What of the sheet there is for drawings: all above the footer."""
    area = sheet.printable
    height = area.height - furniture.FOOTER_HEIGHT - 0.05
    return Box(area.x, area.y, area.width, height)


def _check_room(sheet: Sheet, field: Box, overlap: float) -> None:
    narrow = sheet.printable.width < furniture.LEAST_WIDTH
    window = min(field.width - _TILE_INSET, field.height) - overlap
    if sheet.margin < 0 or overlap < 0 or narrow or window < _LEAST_WINDOW:
        message = (
            "the sheet leaves no useful room inside its margins beside the test squares and the "
            "overlap; take larger paper, a smaller margin or a smaller overlap"
        )
        raise BlockError([Fault("/sheet", "paper-too-small", message)])


def _on(
    sheet: Sheet, drawings: Sequence[Drawing], tiler: _Tiler, heading: Heading, most: int
) -> list[Page]:
    """The drawings on sheets of one orientation; tiled ones on the other where that needs fewer."""
    field = _field(sheet)
    together, alone = _whole(sheet, drawings, field)
    pages = [_page(sheet, heading, field, items) for items in together]
    next_mark = 1
    for drawing in alone:
        way = tiler.best(drawing, sheet)
        if way is None or len(pages) + len(way.grid.windows) > most:
            _refuse(most)
            break
        parts = tiles(way.grid, next_mark)
        next_mark += sum(tile.new_marks for tile in parts)
        pages += way.pages(heading, parts)
    if len(pages) > most:
        _refuse(most)
    order = {drawing.id: number for number, drawing in enumerate(drawings)}
    return sorted(pages, key=lambda page: min(order[p.drawing.id] for p in page.items))


def _page(sheet: Sheet, heading: Heading, window: Box, items: tuple[Placed, ...]) -> Page:
    """A sheet of whole drawings."""
    return Page(
        sheet=sheet,
        heading=heading,
        number=1,
        count=1,
        row=1,
        column=1,
        rows=1,
        columns=1,
        of=None,
        window=window,
        items=items,
    )


def _refuse(most: int) -> None:
    message = f"this needs more than {most} sheets; take larger paper or a smaller finished size"
    raise BlockError([Fault("/sheet", "too-many-sheets", message)])


# -- whole drawings


def _are_cards(drawings: Sequence[Drawing]) -> bool:
    """Whether all are to be read, and of one size: they then stand in rows, in their order."""
    sizes = {(round(d.box.width, 6), round(d.box.height, 6)) for d in drawings}
    return len(sizes) == 1 and not any(turns_freely(d) for d in drawings)


def _whole(
    sheet: Sheet, drawings: Sequence[Drawing], field: Box
) -> tuple[list[tuple[Placed, ...]], list[Drawing]]:
    """The drawings that go whole on a sheet, sheet by sheet; and those that do not."""
    if len(drawings) > MOST_PACKED or _are_cards(drawings):
        taken = furniture.corner(sheet).grown(GAP)
        fit = [d for d in drawings if _fits(d.box, field, taken)]
        return _in_rows(fit, field, taken), [d for d in drawings if d not in fit]
    shapes = [footprint(d) for d in drawings]
    free = [turns_freely(d) for d in drawings]
    laid, unfit = pack(shapes, field, furniture.corner(sheet), GAP, free)
    together = [
        tuple(
            Placed(drawings[item.shape], item.x, item.y, item.turn)
            for item in sorted(items, key=lambda i: i.shape)
        )
        for items in laid
    ]
    return together, [drawings[n] for n in unfit]


def _fits(box: Box, field: Box, taken: Box) -> bool:
    """Whether a box stands on an empty sheet clear of the test squares."""
    above = box.width <= field.width + _ENOUGH and box.height <= taken.y - field.y + _ENOUGH
    beside = (
        box.width <= field.right - taken.right + _ENOUGH and box.height <= field.height + _ENOUGH
    )
    return above or beside


@dataclass(slots=True)
class _Row:
    """A row with room left from ``x`` on."""

    x: float
    y: float
    height: float


def _in_rows(drawings: Sequence[Drawing], field: Box, taken: Box) -> list[tuple[Placed, ...]]:
    """The drawings of each sheet, every one clear of the others and of ``taken``.

    The tallest come first; each goes into the first row with room for it, or else
    into a new row on the first sheet with room for that.
    """
    rows: list[list[_Row]] = []
    items: list[list[Placed]] = []

    def put(drawing: Drawing, sheet: int, row: _Row) -> None:
        box = drawing.box
        items[sheet].append(Placed(drawing, row.x - box.x, row.y - box.y))
        row.x += box.width + GAP

    def room_for(box: Box) -> tuple[int, _Row]:
        for sheet, there in enumerate(rows):
            for row in there:
                fits = row.x + box.width <= field.right + _ENOUGH
                if fits and box.height <= row.height + _ENOUGH:
                    return sheet, row
            new = _new_row(there, box, field, taken)
            if new is not None:
                there.append(new)
                return sheet, new
        new = _new_row([], box, field, taken)
        assert new is not None, "the drawing fits an empty sheet"
        rows.append([new])
        items.append([])
        return len(rows) - 1, new

    for drawing in sorted(drawings, key=lambda d: -round(d.box.height, 6)):
        put(drawing, *room_for(drawing.box))
    order = {drawing.id: number for number, drawing in enumerate(drawings)}
    return [tuple(sorted(there, key=lambda p: order[p.drawing.id])) for there in items]


def _new_row(rows: Sequence[_Row], box: Box, field: Box, taken: Box) -> _Row | None:
    """A row below the others for a box; beside ``taken`` where it would reach down to that."""
    y = rows[-1].y + rows[-1].height + GAP if rows else field.y
    if y + box.height > field.bottom + _ENOUGH:
        return None
    x = field.x if y + box.height <= taken.y + _ENOUGH else taken.right
    if x + box.width > field.right + _ENOUGH:
        return None
    return _Row(x, y, box.height)


# -- tiles


@dataclass(frozen=True, slots=True)
class _Tiled:
    """A drawing laid over sheets of one orientation, turned as it is."""

    drawing: Drawing
    sheet: Sheet
    room: Box
    turn: float
    grid: Grid

    def pages(self, heading: Heading, parts: Sequence[Tile]) -> list[Page]:
        cells = tuple((tile.row, tile.column) for tile in parts)
        return [replace(self._page(heading, tile), cells=cells) for tile in parts]

    def _page(self, heading: Heading, tile: Tile) -> Page:
        """The sheet of a tile: its window against the top right corner, off the test squares."""
        window = tile.window
        x, y = self.room.right - window.right, self.room.y - window.y
        placed = Placed(self.drawing, x, y, self.turn)
        part = turned_box(window, -self.turn)
        marks = (self.drawing.marks[n] for n in tile.shown)
        shown = tuple(cut for mark in marks for cut in clipped(mark, part.grown(BLEED)))
        joins = tuple(moved(mark, x, y) for mark in tile.joins)
        ink = (*map(placed.on_sheet, shown), *joins)
        whole_square, whole_inch = _room_for_squares(self.sheet, ink)
        return Page(
            sheet=self.sheet,
            heading=heading,
            number=1,
            count=1,
            row=tile.row,
            column=tile.column,
            rows=tile.rows,
            columns=tile.columns,
            of=self.drawing.id,
            window=part,
            items=(placed,),
            shown=shown,
            joins=joins,
            whole_square=whole_square,
            whole_inch=whole_inch,
        )


class _Tiler:
    """Finds how drawings are tiled, each only once."""

    def __init__(self, sheets: Sequence[Sheet], overlap: float, most: int) -> None:
        self._sheets, self._overlap, self._most = sheets, overlap, most
        self._found: dict[tuple[str, Sheet, float], Grid | None] = {}

    def best(self, drawing: Drawing, sheet: Sheet) -> _Tiled | None:
        """The drawing on the fewest sheets, of the orientation of ``sheet`` if that is as good.

        None if all ways need more than the most sheets.
        """
        ways = []
        for other in sorted(self._sheets, key=lambda s: s != sheet):
            for turn in _TILE_TURNS:
                grid = self._grid(drawing, other, turn)
                if grid is not None:
                    ways.append(_Tiled(drawing, other, _room(other), turn, grid))
        return min(ways, key=lambda w: (len(w.grid.windows), w.grid.cut_labels), default=None)

    def _grid(self, drawing: Drawing, sheet: Sheet, turn: float) -> Grid | None:
        key = (drawing.id, sheet, turn)
        if key not in self._found:
            room = _room(sheet)
            way = replace(
                drawing,
                marks=tuple(turned(mark, turn) for mark in drawing.marks),
                box=turned_box(drawing.box, turn),
            )
            self._found[key] = grid_for(way, room.width, room.height, self._overlap, self._most)
        return self._found[key]


def _room(sheet: Sheet) -> Box:
    """What of a sheet there is for a tile."""
    area = sheet.printable
    height = area.height - furniture.TILE_FOOTER - 0.05
    return Box(area.x + _TILE_INSET, area.y, area.width - _TILE_INSET, height)


def _room_for_squares(sheet: Sheet, ink: Sequence[Mark]) -> tuple[bool, bool]:
    """Whether the 5 cm and whether the 1 in test square can be drawn whole, clear of ink."""
    five = furniture.corner(sheet).grown(GAP)
    inch = furniture.inch_corner(sheet).grown(_CLEAR_OF_SCALE)
    return not any(reaches(m, five) for m in ink), not any(reaches(m, inch) for m in ink)


# -- paper from a roll

_SHORTEST: Final = 1.0
"""Inches; the least room for drawings on a sheet from a roll that is tried."""

_LONGER: Final = 1.25
"""By how much the room is made longer until all drawings lie on it."""


def _on_roll(
    width: float,
    settings: SheetSettings,
    drawings: Sequence[Drawing],
    heading: Heading,
    most: int,
) -> list[Page]:
    """The drawings on one sheet from a roll, or few; those wider than the roll tiled."""
    longest = Sheet(
        width, LARGEST_SHEET, settings.margin, "", "portrait", settings.printer, roll=True
    )
    if width > LARGEST_SHEET:
        message = f"a roll can be at most {LARGEST_SHEET:g} in wide"
        raise BlockError([Fault("/sheet", "paper-too-large", message)])
    longest = replace(longest, paper=f"roll {spoken(width, 'in')} wide")
    _check_room(longest, _field(longest), settings.overlap)
    field = _field(longest)
    below = GAP + furniture.FIVE_CENTIMETRES + furniture.RULE
    field = replace(field, height=longest.printable.height - below)
    narrow = [d for d in drawings if min(d.box.width, d.box.height) <= field.width + _ENOUGH]
    together, unfit = _packed_on_roll(narrow, field)
    pages = [
        _cut_off(_page(longest, heading, field, items), _bottom(items) - field.y + below)
        for items in together
    ]
    tiler = _Tiler([longest], settings.overlap, most)
    next_mark = 1
    for drawing in drawings:
        if drawing in narrow and drawing not in unfit:
            continue
        way = tiler.best(drawing, longest)
        if way is None or len(pages) + len(way.grid.windows) > most:
            _refuse(most)
            break
        parts = tiles(way.grid, next_mark)
        next_mark += sum(tile.new_marks for tile in parts)
        under = furniture.TILE_FOOTER + 0.05
        for page, tile in zip(way.pages(heading, parts), parts, strict=True):
            needed = max(tile.window.height + under, furniture.FIVE_CENTIMETRES + furniture.RULE)
            pages.append(_cut_off(page, needed))
    if len(pages) > most:
        _refuse(most)
    order = {drawing.id: number for number, drawing in enumerate(drawings)}
    return sorted(pages, key=lambda page: min(order[p.drawing.id] for p in page.items))


def _packed_on_roll(
    drawings: Sequence[Drawing], field: Box
) -> tuple[list[tuple[Placed, ...]], list[Drawing]]:
    """The drawings on as short a field as is found; and those that fit no field."""
    if not drawings:
        return [], []
    nothing = Box(0.0, math.inf, 0.0, 0.0)
    if len(drawings) > MOST_PACKED or _are_cards(drawings):
        fit = [d for d in drawings if d.box.width <= field.width + _ENOUGH]
        return _in_rows(fit, field, nothing), [d for d in drawings if d not in fit]
    shapes = [footprint(d) for d in drawings]
    free = [turns_freely(d) for d in drawings]
    length = max(_SHORTEST, sum(shape.area for shape in shapes) / field.width)
    while True:
        room = replace(field, height=min(field.height, length))
        laid, unfit = pack(shapes, room, Box(0.0, 0.0, 0.0, 0.0), GAP, free)
        if (len(laid) <= 1 and not unfit) or length >= field.height:
            break
        length *= _LONGER
    together = [
        tuple(
            Placed(drawings[item.shape], item.x, item.y, item.turn)
            for item in sorted(items, key=lambda i: i.shape)
        )
        for items in laid
    ]
    return together, [drawings[n] for n in unfit]


def _bottom(items: Sequence[Placed]) -> float:
    """How far down a sheet ink reaches."""
    boxes = (mark_box(p.on_sheet(mark)) for p in items for mark in p.drawing.marks)
    return max(box.bottom for box in boxes if box is not None)


def _cut_off(page: Page, height: float) -> Page:
    """The page on a sheet of which no more than ``height`` can be printed on."""
    margins = page.sheet.height - page.sheet.printable.height / min(1, page.sheet.printer.down)
    sheet = replace(page.sheet, height=height / min(1, page.sheet.printer.down) + margins)
    down = sheet.printable.y - page.sheet.printable.y
    items = tuple(replace(p, y=p.y + down) for p in page.items)
    joins = tuple(moved(mark, 0.0, down) for mark in page.joins)
    if page.of is None:
        field = _field(sheet)
        return replace(page, sheet=sheet, items=items, window=field)
    ink = [*map(items[0].on_sheet, page.shown or ()), *joins]
    five, inch = _room_for_squares(sheet, ink)
    return replace(page, sheet=sheet, items=items, joins=joins, whole_square=five, whole_inch=inch)


# -- one canvas


def on_one_canvas(drawings: Sequence[Drawing], heading: Heading) -> Page:
    """All drawings whole on one sheet that is made as large as they need, test squares below."""
    margin = _CANVAS_MARGIN
    widest = max((d.box.width for d in drawings), default=0.0)
    size = sum((d.box.width + GAP) * (d.box.height + GAP) for d in drawings)
    across = max(widest, 1.2 * math.sqrt(size), furniture.LEAST_WIDTH + 2.0)
    endless = Box(margin, margin, across, math.inf)
    nothing = Box(0.0, math.inf, 0.0, 0.0)
    (items,) = _in_rows(drawings, endless, nothing) or [()]
    boxes = [p.drawing.box.moved(p.x, p.y) for p in items]
    right = max([*(box.right for box in boxes), margin + furniture.LEAST_WIDTH + 2.0])
    bottom = max([*(box.bottom for box in boxes), margin])
    height = bottom + GAP + furniture.FIVE_CENTIMETRES + furniture.RULE + margin
    width = right + margin
    sheet = Sheet(width, height, margin, "", None)
    window = Box(margin, margin, right - margin, bottom - margin)
    return _page(sheet, heading, window, items)
