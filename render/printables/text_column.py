"""Text in one column, as wide as a sheet has room for, broken over sheets between entries."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from piecewright.patchwork.faults import BlockError, Fault
from piecewright.render.drawing import fonts
from piecewright.render.drawing.labels import LEAST_SIZE
from piecewright.render.drawing.marks import Box, Drawing, Mark, Text, moved, rectangle
from piecewright.render.sheets import furniture
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.sheet_settings import MOST_SHEETS, SheetSettings

BODY: Final = 0.125
"""Inches; the size of letters, 9 points."""

SMALL: Final = 0.1
"""Inches; the size of letters of remarks, 7 points."""

LEADING: Final = 1.3
"""From a line to the next, in sizes of its letters."""

TICK: Final = 0.13
"""The side of a box to tick."""

WIDEST: Final = 7.4
"""Inches; lines on larger sheets are no longer, so that an eye finds the next one."""

_FROM_ROLL: Final = 14.0
"""Inches of paper from a roll that a column may take."""

_INDENT: Final = 0.24
"""Inches; where the text beside a box to tick begins."""


@dataclass(frozen=True, slots=True)
class Entry:
    """Some lines that stay together.

    Attributes:
        marks: below y = 0, within ``height``.
        leads: it must not stand last on a sheet.
    """

    marks: tuple[Mark, ...]
    height: float
    leads: bool = False


@dataclass(frozen=True, slots=True)
class Column:
    """The room for text on the sheets of some settings, above the test squares.

    Attributes:
        settings: with the orientation that the column is made for.
        width, height: inches.
    """

    settings: SheetSettings
    width: float
    height: float


def column(settings: SheetSettings) -> Column:
    """The column on sheets that are upright unless the settings say otherwise."""
    orientation = "portrait" if settings.orientation == "auto" else settings.orientation
    settings = replace(settings, orientation=orientation)
    sheet = settings.sheet(orientation)
    if settings.roll_width is not None:
        sheet = replace(sheet, width=settings.roll_width, height=_FROM_ROLL)
    room = sheet.printable
    # Above the test squares, so that the lines are as long from the top of a sheet to them.
    across = min(WIDEST, room.width - 0.2)
    down = furniture.corner(sheet).y - room.y - 0.25
    return Column(settings, max(across, 1.0), max(down, 1.0))


def column_pages(
    drawings: Iterable[Drawing], room: Column, heading: Heading, most: int = MOST_SHEETS
) -> list[Page]:
    """The drawings of a column, each on a sheet of its own, in their order.

    Raises:
        BlockError: as ``render.sheets.layout.lay_out``.
    """
    pages: list[Page] = []
    for drawing in drawings:
        pages += lay_out([drawing], room.settings, heading, most)
        if len(pages) > most:
            message = f"this needs more than {most} sheets; take larger paper"
            raise BlockError([Fault("/sheet", "too-many-sheets", message)])
    return pages


def broken(entries: Iterable[Entry], height: float) -> Iterator[list[Mark]]:
    """The marks of each sheet, from y = 0 down to ``height`` if every entry fits."""
    marks: list[Mark] = []
    used = 0.0
    for group in _groups(entries):
        # A group stays together if it can; one that is higher than a sheet is broken all the same.
        tall = sum(entry.height for entry in group)
        if marks and used + tall > height:
            yield marks
            marks, used = [], 0.0
        for entry in group:
            if marks and used + entry.height > height:
                yield marks
                marks, used = [], 0.0
            marks += [moved(mark, 0.0, used) for mark in entry.marks]
            used += entry.height
    yield marks


def _groups(entries: Iterable[Entry]) -> Iterator[list[Entry]]:
    """Entries with the ones that lead to them."""
    group: list[Entry] = []
    for entry in entries:
        group.append(entry)
        if not entry.leads:
            yield group
            group = []
    if group:
        yield group


def paragraph(
    text: str,
    width: float,
    letters: float,
    *,
    bold: bool = False,
    one_line: bool = False,
    after: float = 0.0,
    leads: bool = False,
) -> Entry:
    """A paragraph as wide as the column.

    Args:
        one_line: set in smaller letters if it would need a second line.
        after: room below it.
    """
    if one_line:
        # A thousandth less, so that rounding does not break the line after all.
        natural = fonts.text_width(text, letters, bold)
        letters = max(LEAST_SIZE, min(letters, letters * width / natural * 0.999))
    marks, height = lines(text, width, letters, bold)
    return Entry(marks, height + after, leads)


def lines(
    text: str, width: float, letters: float, bold: bool = False, left: float = 0.0
) -> tuple[tuple[Mark, ...], float]:
    """Wrapped text below y = 0 from ``left`` to ``width``, and how far down it goes."""
    marks: list[Mark] = []
    y = 0.0
    for words in fonts.wrapped(text, letters, width - left, bold):
        y += letters * LEADING
        baseline = y - fonts.descent(letters, bold)
        marks.append(Text(words, (left, baseline), letters, bold=bold))
    return tuple(marks), y


def ticked(text: str, smaller: Sequence[str], width: float) -> Entry:
    """A box to tick, a line beside it, and remarks below."""
    marks: list[Mark] = [rectangle("label", Box(0.0, 0.02, TICK, TICK))]
    beside, y = lines(text, width, BODY, False, _INDENT)
    marks += beside
    for remark in smaller:
        below, more = lines(remark[0].upper() + remark[1:] + ".", width, SMALL, False, _INDENT)
        marks += [moved(mark, 0.0, y) for mark in below]
        y += more
    return Entry(tuple(marks), y + 0.06)
