"""Which part of which drawing lies where on which sheet.

Whole drawings stand in rows; a drawing that is larger than a sheet is tiled:
cut into windows that overlap, a sheet each. Nothing is scaled and nothing is left
out. A place on a sheet is inches from its top left corner, x right and y down.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from patchwork.faults import BlockError, Fault
from patchwork.lengths import Unit, in_unit
from render import furniture
from render.drawing import Box, Drawing, Mark, reaches
from render.furniture import Heading
from render.papers import PAPERS, Orientation, Paper, Sheet
from render.tiles import Tile, tiles

__all__ = [
    "PAPERS",
    "Heading",
    "Page",
    "Paper",
    "Placed",
    "Sheet",
    "SheetSettings",
    "described",
    "lay_out",
    "numbered",
    "on_one_canvas",
]

GAP: Final = 0.15
"""Between drawings that share a sheet, and between them and the test squares."""

MOST_SHEETS: Final = 500

LARGEST_SHEET: Final = 200.0
"""Inches; a PDF page is at most 14,400 units long (ISO 32000-1, annex C)."""

_LEAST_WINDOW: Final = 1.0
"""A sheet must show at least this much of a drawing, each way, beyond its overlap."""

_TILE_INSET: Final = 0.08
"""A tile stays clear of the left edge of the 5 cm square, which lies along the border."""

_CANVAS_MARGIN: Final = 0.25

_ENOUGH: Final = 1e-9


@dataclass(frozen=True, slots=True)
class SheetSettings:
    """The sheets to print on.

    Attributes:
        width, height: of the paper, either way up.
        orientation: ``auto`` takes the one that needs fewer sheets, upright if both need the same.
        margin: what the printer leaves blank along each side.
        overlap: how much of a tiled drawing two neighbouring sheets both show.
        paper: the paper's name, for the reader.
    """

    width: float = 8.5
    height: float = 11.0
    orientation: Literal["auto", "portrait", "landscape"] = "auto"
    margin: float = 0.25
    overlap: float = 0.25
    paper: str = ""


@dataclass(frozen=True, slots=True)
class Placed:
    """A drawing on a sheet: its origin lies at ``x``, ``y`` of the sheet."""

    drawing: Drawing
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Page:
    """A sheet and what it shows.

    Attributes:
        number, count: this sheet and all sheets, from 1.
        row, column: of a tile, from 1; else 1.
        rows, columns: into how many the drawing is tiled; else 1.
        of: the id of the drawing whose tile this is; None for a sheet of whole drawings.
        window: what a tile shows, in the drawing's coordinates; what of the sheet is
            there for drawings, in the sheet's coordinates, if ``of`` is None.
        shown: the marks that a tile's window shows; None where drawings are whole.
        joins: overlap lines and join marks of a tile, in the drawing's coordinates.
        whole_square: whether there is room for the whole 5 cm test square.
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
        return self.window.moved(placed.x, placed.y)

    @property
    def furniture(self) -> tuple[Mark, ...]:
        """Test squares and footer, at their places on the sheet."""
        place = [f"page {self.number} of {self.count}"] if self.sheet.orientation else []
        if self._tile:
            place += [self.items[0].drawing.title, self._tile]
        return (
            *furniture.squares(self.sheet, self.whole_square),
            *furniture.footer(self.sheet, self.heading, place),
        )


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
            more than ``most`` sheets would be needed (``too-many-sheets``).
    """
    layouts: list[list[Page]] = []
    faults: list[Fault] = []
    for sheet in _sheets(settings):
        try:
            layouts.append(_on(sheet, drawings, settings.overlap, heading, most))
        except BlockError as error:
            faults += error.faults
    if not layouts:
        raise BlockError(faults[:1])
    fewest = min(layouts, key=len)
    return numbered(fewest)


def numbered(pages: Iterable[Page]) -> tuple[Page, ...]:
    """The pages counted through from 1, so that several sets can make one document."""
    pages = tuple(pages)
    return tuple(
        replace(page, number=number, count=len(pages)) for number, page in enumerate(pages, 1)
    )


def described(page: Page, unit: Unit) -> dict[str, object]:
    """The page as JSON answers describe it, lengths in ``unit``."""
    window = page.window
    return {
        "number": page.number,
        "row": page.row,
        "column": page.column,
        "of": page.of,
        "window": {
            "x": in_unit(window.x, unit),
            "y": in_unit(window.y, unit),
            "width": in_unit(window.width, unit),
            "height": in_unit(window.height, unit),
        },
        "items": [
            {
                "drawing": placed.drawing.id,
                "x": in_unit(placed.x, unit),
                "y": in_unit(placed.y, unit),
            }
            for placed in page.items
        ],
    }


# -- the sheet


def _sheets(settings: SheetSettings) -> list[Sheet]:
    """The sheet in each orientation asked for, upright first."""
    short, long = sorted((settings.width, settings.height))
    if long > LARGEST_SHEET:
        said = f"a sheet can be at most {LARGEST_SHEET:g} in long"
        raise BlockError([Fault("/sheet", "paper-too-large", said)])
    ways: list[Orientation] = ["portrait", "landscape"]
    if settings.orientation != "auto":
        ways = [settings.orientation]
    elif short == long:
        ways = ["portrait"]
    sheets = []
    for way in ways:
        width, height = (short, long) if way == "portrait" else (long, short)
        sheets.append(Sheet(width, height, settings.margin, settings.paper, way))
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
        said = (
            "the sheet leaves no useful room inside its margins beside the test squares and the "
            "overlap; take larger paper, a smaller margin or a smaller overlap"
        )
        raise BlockError([Fault("/sheet", "paper-too-small", said)])


def _on(
    sheet: Sheet, drawings: Sequence[Drawing], overlap: float, heading: Heading, most: int
) -> list[Page]:
    """The drawings on sheets of one orientation."""
    field = _field(sheet)
    _check_room(sheet, field, overlap)
    taken = furniture.corner(sheet).grown(GAP)
    in_rows = [d for d in drawings if _fits(d.box, field, taken)]
    alone = [d for d in drawings if not _fits(d.box, field, taken)]

    pages = [_page(sheet, heading, field, items) for items in _in_rows(in_rows, field, taken)]
    room = Box(field.x + _TILE_INSET, field.y, field.width - _TILE_INSET, field.height)
    next_mark = 1
    for drawing in alone:
        left = most - len(pages)
        parts = tiles(drawing, room.width, room.height, overlap, next_mark, left)
        if parts is None:
            _refuse(most)
            break
        next_mark += sum(tile.new_marks for tile in parts)
        pages += [_tile_page(sheet, heading, room, drawing, tile) for tile in parts]
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
    said = f"this needs more than {most} sheets; take larger paper or a smaller finished size"
    raise BlockError([Fault("/sheet", "too-many-sheets", said)])


# -- whole drawings, in rows


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


def _tile_page(sheet: Sheet, heading: Heading, room: Box, drawing: Drawing, tile: Tile) -> Page:
    """The sheet of a tile: its window against the top right corner, off the test squares."""
    window = tile.window
    x, y = room.right - window.right, room.y - window.y
    square = furniture.corner(sheet).grown(GAP).moved(-x, -y)
    whole = not any(reaches(mark, square) for mark in (*tile.marks, *tile.joins))
    return Page(
        sheet=sheet,
        heading=heading,
        number=1,
        count=1,
        row=tile.row,
        column=tile.column,
        rows=tile.rows,
        columns=tile.columns,
        of=drawing.id,
        window=window,
        items=(Placed(drawing, x, y),),
        shown=tile.marks,
        joins=tile.joins,
        whole_square=whole,
    )


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
    height = bottom + GAP + furniture.FIVE_CENTIMETRES + margin
    width = right + margin
    sheet = Sheet(width, height, margin, "", None)
    window = Box(margin, margin, right - margin, bottom - margin)
    return _page(sheet, heading, window, items)
