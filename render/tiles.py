"""A drawing that is larger than a sheet, cut into windows that overlap.

Neighbouring windows both show the overlap between them, bounded by two lines, and
in it a numbered join mark: sheets belong together where the numbers are the same.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from patchwork.paths import polygon
from render import fonts
from render.drawing import Box, Drawing, Mark, Stroke, Text, line, mark_box, reaches

_Cell: TypeAlias = tuple[int, int]
"""Row and column, from 0."""

_ENOUGH: Final = 1e-9
_MARK: Final = 0.09
"""From the middle of a join mark to its tips."""

_NUMBER: Final = 0.12


@dataclass(frozen=True, slots=True)
class Tile:
    """One window on a drawing, in the drawing's coordinates.

    Attributes:
        row, column: from 1, of ``rows`` and ``columns``.
        marks: those of the drawing of which the window shows ink.
        joins: the overlap lines and join marks that this window shows.
        new_marks: how many of its join marks no tile before it has.
    """

    row: int
    column: int
    rows: int
    columns: int
    window: Box
    marks: tuple[Mark, ...]
    joins: tuple[Mark, ...]
    new_marks: int


def tiles(
    drawing: Drawing,
    width: float,
    height: float,
    overlap: float,
    first_mark: int = 1,
    most: int = 500,
) -> tuple[Tile, ...] | None:
    """The windows that together show all of a drawing, row by row.

    Windows are of one size, at most ``width`` by ``height``; those without ink are left out.

    Args:
        overlap: how much two neighbours both show; less than ``width`` and ``height``.
        first_mark: the number of the first join mark.
        most: the most windows to make.

    Returns:
        None if there would be more than ``most``.
    """
    box = drawing.box
    columns, rows = _count(box.width, width, overlap), _count(box.height, height, overlap)
    if columns * rows > 20 * most:
        return None
    across = (box.width + (columns - 1) * overlap) / columns
    down = (box.height + (rows - 1) * overlap) / rows
    windows = {
        (row, column): Box(
            box.x + column * (across - overlap), box.y + row * (down - overlap), across, down
        )
        for row in range(rows)
        for column in range(columns)
    }
    shown = _shown(drawing.marks, windows)
    if len(shown) > most:
        return None

    joins: dict[_Cell, list[Mark]] = {cell: [] for cell in shown}
    new = dict.fromkeys(shown, 0)
    number = first_mark
    for cell in shown:
        row, column = cell
        for other in ((row, column + 1), (row + 1, column)):
            if other not in shown:
                continue
            marks = _join(windows[cell], windows[other], str(number), shown[cell])
            joins[cell] += marks
            joins[other] += marks
            new[cell] += 1
            number += 1
    return tuple(
        Tile(
            row=cell[0] + 1,
            column=cell[1] + 1,
            rows=rows,
            columns=columns,
            window=windows[cell],
            marks=tuple(shown[cell]),
            joins=tuple(joins[cell]),
            new_marks=new[cell],
        )
        for cell in shown
    )


def _count(needed: float, room: float, overlap: float) -> int:
    """How many windows of ``room`` cover ``needed``."""
    if needed <= room + _ENOUGH:
        return 1
    return math.ceil((needed - overlap) / (room - overlap) - _ENOUGH)


def _shown(marks: Sequence[Mark], windows: Mapping[_Cell, Box]) -> dict[_Cell, list[Mark]]:
    """What each window shows, in the order of the windows; those that show nothing left out."""
    shown: dict[_Cell, list[Mark]] = {cell: [] for cell in windows}
    for mark in marks:
        around = mark_box(mark)
        if around is None:
            continue
        for cell, window in windows.items():
            if around.meets(window) and reaches(mark, window):
                shown[cell].append(mark)
    return {cell: marks for cell, marks in shown.items() if marks}


def _join(one: Box, other: Box, number: str, ink: Sequence[Mark]) -> list[Mark]:
    """The lines along the strip that two neighbours share, and the mark in it."""
    strip = Box(
        max(one.x, other.x),
        max(one.y, other.y),
        min(one.right, other.right) - max(one.x, other.x),
        min(one.bottom, other.bottom) - max(one.y, other.y),
    )
    upright = one.y == other.y
    if upright:
        ends = [((x, strip.y), (x, strip.bottom)) for x in (strip.x, strip.right)]
    else:
        ends = [((strip.x, y), (strip.right, y)) for y in (strip.y, strip.bottom)]
    if ends[0] == ends[1]:
        ends.pop()
    lines: list[Mark] = [line("overlap", start, end) for start, end in ends]
    return [*lines, *_mark_clear_of(ink, strip, upright, number)]


def _mark_clear_of(ink: Sequence[Mark], strip: Box, upright: bool, number: str) -> tuple[Mark, ...]:
    """The mark in a strip, where nothing is in its way; else where its number can be read."""
    near = [mark for mark in ink if reaches(mark, strip)]

    def clear(mark: Mark) -> bool:
        box = mark_box(mark)
        return box is None or not any(reaches(other, box.grown(0.015)) for other in near)

    middle = _mark(strip, upright, 0.5, 0.5, number)
    choices = [
        _mark(strip, upright, along, across, number)
        for across in (0.5, 0.25, 0.75)
        for along in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)
    ]
    all_clear = (choice for choice in choices if all(clear(mark) for mark in choice))
    readable = (choice for choice in choices if clear(choice[1]))
    return next(all_clear, None) or next(readable, middle)


def _mark(
    strip: Box, upright: bool, along: float, across: float, number: str
) -> tuple[Stroke, Text]:
    """A diamond in the middle of a strip, and its number beside it along the strip.

    Args:
        along: where along the strip, from 0 to 1.
        across: where across it the number stands; 0.5 is the middle.
    """
    if upright:
        x, y = strip.x + strip.width / 2, strip.y + strip.height * along
    else:
        x, y = strip.x + strip.width * along, strip.y + strip.height / 2
    tips = [(x, y - _MARK), (x + _MARK, y), (x, y + _MARK), (x - _MARK, y)]
    diamond = Stroke("join-mark", polygon(tips), closed=True)
    thin = strip.width if upright else strip.height
    size = min(_NUMBER, max(0.07, 0.6 * thin))
    capital = fonts.cap_height(size)
    aside = (across - 0.5) * thin
    if upright:
        below = (x + aside, y + _MARK + 0.05 + capital)
        return diamond, Text(number, below, size, "middle", kind="join-mark")
    beside = (x + _MARK + 0.05, y + capital / 2 + aside)
    return diamond, Text(number, beside, size, kind="join-mark")
