"""The name of a part of a divided drawing, which a person joins to the others by it."""

from __future__ import annotations

from typing import Final

from piecewright.render.drawing import fonts
from piecewright.render.drawing.marks import Mark, Text, moved, turned
from piecewright.render.sheets.free_room import FreeRoom
from piecewright.render.sheets.placed import Part, PlacedDrawing

_SIZES: Final = (0.15, 0.12, 0.1, 0.085)
"""Inches to the em; the least are 6 points."""


def part_label(placed: PlacedDrawing, part: Part, cut_out: bool) -> list[Mark]:
    """The drawing's name with the part's row and column, where nothing else is drawn in the part.

    Empty where there is no room for it; the words of the sheet name the part all the same.

    Args:
        placed: the part at its own place: where its window is.
        cut_out: it stands on what is cut out, not beside it.
    """
    window = part.window
    room = FreeRoom(window, [placed])
    if cut_out:
        room.keep_inside()
    middle = (window.x + window.width / 2, window.y + window.height / 2)
    title = placed.drawing.title
    where = f"row {part.row}, column {part.column}"
    for size in _SIZES:
        for lines in ((f"{title}: {where}",), (title, where)):
            wide = max(fonts.text_width(line, size, True) for line in lines)
            high = 1.3 * size * len(lines)
            texts = [
                Text(line, (wide / 2, 1.3 * size * (n + 0.75)), size, "middle", bold=True)
                for n, line in enumerate(lines)
            ]
            near = (middle[0] - wide / 2, middle[1] - high / 2)
            found = room.place(wide, high, near, inside=True)
            if found is not None:
                return [moved(text, found.x, found.y) for text in texts]
            near = (middle[0] - high / 2, middle[1] - wide / 2)
            found = room.place(high, wide, near, inside=True)
            if found is not None:
                return [moved(turned(text, 270.0), found.x, found.bottom) for text in texts]
    return []
