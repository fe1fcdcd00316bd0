"""Drawings whose names are placed once it is known what each sheet shows of them.

What a sheet shows of a drawing that goes over several is known only when it is laid out. Then
names are placed again: whole on each sheet that shows enough of what they name, off the strips that
two sheets show.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Final, TypeAlias

from shapely import affinity
from shapely.geometry import Polygon

from piecewright.render.drawing.marks import Drawing, Text, text_corners
from piecewright.render.drawing.shapes import box_polygon
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.sheet_settings import MOST_SHEETS, SheetSettings

Windows: TypeAlias = Mapping[str, Sequence[Polygon]]
"""Of each drawing that goes over several sheets, by its id, what each sheet shows of it, in the
drawing's coordinates."""

NO_WINDOWS: Final[Windows] = MappingProxyType({})

_CLEAR: Final = 0.01
"""Inches between words and a line along a join."""

_MOST_LAYOUTS: Final = 3
"""After the first one; most drawings need one, and one whose words find no place off the joins
would never be done."""


def windows_of(pages: Sequence[Page]) -> Windows:
    """What sheets show of the drawings that go over several."""
    windows: dict[str, list[Polygon]] = {}
    for page in pages:
        for placed in page.items:
            if placed.part is not None:
                # Parts are upright on the drawing turned by their slant.
                shown = affinity.rotate(
                    box_polygon(placed.part.window), -placed.part.slant, origin=(0, 0)
                )
                windows.setdefault(placed.drawing.id, []).append(shown)
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


def _words_are_whole(drawing: Drawing, windows: Sequence[Polygon]) -> bool:
    """Whether each line of text is whole on some sheet, and off the lines along joins."""
    for mark in drawing.marks:
        if isinstance(mark, Text):
            words = Polygon(text_corners(mark)).buffer(_CLEAR, join_style="mitre")
            # A sheet shows all of it, or nothing, or it crosses a line.
            shown = [window.covers(words) for window in windows if window.intersects(words)]
            if not shown or not all(shown):
                return False
    return True
