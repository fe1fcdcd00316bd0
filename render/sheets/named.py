"""Drawings whose names are placed once it is known what each sheet shows of them.

What a sheet shows of a drawing that goes over several is known only when it is laid out. Then
names are placed again: whole on each sheet that shows enough of what they name, off the strips that
two sheets show.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Final, TypeAlias

from piecewright.render.drawing.marks import Box, Drawing, Text, mark_box
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.sheet_settings import MOST_SHEETS, SheetSettings

Windows: TypeAlias = Mapping[str, Sequence[Box]]
"""Of each drawing that goes over several sheets, by its id, what each sheet shows of it, in the
drawing's coordinates."""

NO_WINDOWS: Final[Windows] = MappingProxyType({})

_CLEAR: Final = 0.01
"""Inches between words and such a border."""

_MOST_LAYOUTS: Final = 3
"""After the first one; most drawings need one, and one whose words find no place off the joins
would never be done."""


def windows_of(pages: Sequence[Page]) -> Windows:
    """What sheets show of the drawings that go over several."""
    windows: dict[str, list[Box]] = {}
    for page in pages:
        if page.of is not None:
            windows.setdefault(page.of, []).append(page.window)
    return {id: shown for id, shown in windows.items() if len(shown) > 1}


def lay_out_named(
    draw: Callable[[Windows], Sequence[Drawing]],
    settings: SheetSettings,
    heading: Heading,
    most: int = MOST_SHEETS,
) -> tuple[Page, ...]:
    """Drawings on sheets, no name of theirs divided that half of what it names could hold.

    Args:
        draw: makes the drawings, for what sheets show of them; the same but for where words stand.

    Raises:
        BlockError: as ``render.sheets.layout.lay_out``.
    """
    pages = lay_out(draw(NO_WINDOWS), settings, heading, most)
    windows = windows_of(pages)
    # Where words stand also has a say in where sheets join: so again until none is divided.
    for _ in range(_MOST_LAYOUTS):
        if not windows:
            break
        drawings = draw(windows)
        again = lay_out(drawings, settings, heading, most)
        # Words cost no sheet.
        if len(again) > len(pages):
            break
        pages, windows = again, windows_of(again)
        if all(_words_are_whole(one, windows[one.id]) for one in drawings if one.id in windows):
            break
    return pages


def _words_are_whole(drawing: Drawing, windows: Sequence[Box]) -> bool:
    """Whether each line of text is whole on some sheet, and clear of where others are trimmed."""
    boxes = [mark_box(mark) for mark in drawing.marks if isinstance(mark, Text)]
    return all(
        any(w.holds(box) for w in windows)
        and not any(_trims(w, box.grown(_CLEAR)) for w in windows)
        for box in boxes
        if box is not None
    )


def _trims(window: Box, box: Box) -> bool:
    """Whether a box lies across the left or the upper border of what a sheet shows.

    There that sheet is trimmed, and laid on the one before it.
    """
    beside = window.y < box.bottom and box.y < window.bottom
    below = window.x < box.right and box.x < window.right
    left, top = box.x < window.x < box.right, box.y < window.y < box.bottom
    return (left and beside) or (top and below)
