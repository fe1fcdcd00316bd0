"""Sheets with single parts of divided drawings on them, for what looks at these alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from shapely import affinity
from shapely.geometry import box as rectangle
from shapely.geometry.base import BaseGeometry

from piecewright.render.sheets.furnishing import Furnished
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.placed import PlacedDrawing


def bare_parts(
    pages: Iterable[Page], id: str | None = None
) -> Iterator[tuple[Page, PlacedDrawing]]:
    """For each part (of one drawing, if named) its sheet with nothing else on it, without joins."""
    for page in pages:
        for placed in page.items:
            if placed.part is None or id not in (None, placed.drawing.id):
                continue
            alone = replace(placed, part=replace(placed.part, joins=()))
            found = replace(page, items=(alone,))
            # In place of what would be found out when it is first asked for.
            found.__dict__["furnished"] = Furnished((), page.name_place, False, False)
            yield found, alone


def window_on_sheet(placed: PlacedDrawing) -> BaseGeometry:
    """Where the window of a part lies on the sheet, as the answer's fields tell it."""
    window = placed.window
    assert window is not None
    upright = rectangle(window.x, window.y, window.x + window.width, window.y + window.height)
    turned = affinity.rotate(upright, placed.turn - window.turn, origin=(0, 0))
    return affinity.translate(turned, placed.x, placed.y)


def window_on_drawing(placed: PlacedDrawing) -> BaseGeometry:
    """The window of a part on its drawing."""
    window = placed.window
    assert window is not None
    upright = rectangle(window.x, window.y, window.x + window.width, window.y + window.height)
    return affinity.rotate(upright, -window.turn, origin=(0, 0))
