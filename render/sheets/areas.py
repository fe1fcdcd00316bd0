"""What of a sheet there is for drawings, and how far they keep off what else stands there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from piecewright.patchwork.faults import BlockError, Fault
from piecewright.render.drawing.marks import Box, Mark, reaches
from piecewright.render.sheets import furniture
from piecewright.render.sheets.papers import Sheet

GAP: Final = 0.13
"""Inches between drawings that share a sheet, and between them and the test squares: a little
more than the 1/8 in that scissors need, so that rounding never takes it below that."""

CLEAR_OF_SCALE: Final = 0.02
"""Inches between a drawing and the ticks of a scale or the 1 in square."""

ENOUGH: Final = 1e-9
"""Inches; what is larger than its room by no more than this is so by rounding, and fits."""

_ABOVE_FOOTER: Final = 0.05
"""Inches between a drawing and the footer."""

_TILE_INSET: Final = furniture.RULE + 0.065
"""A tile stays clear of the scale and the left edge of the 5 cm square, near the border."""

_LEAST_WINDOW: Final = 1.0
"""Inches; a sheet must show at least this much of a drawing, each way, beyond its overlap."""

UNDER_TILE: Final = furniture.TILE_FOOTER + _ABOVE_FOOTER
"""Inches of a tile's sheet below the tile."""


def drawing_area(sheet: Sheet) -> Box:
    """What of the sheet there is for whole drawings: all above the footer."""
    area = sheet.printable
    height = area.height - furniture.FOOTER_HEIGHT - _ABOVE_FOOTER
    return Box(area.x, area.y, area.width, height)


def tile_area(sheet: Sheet) -> Box:
    """What of the sheet there is for a tile; its footer is lower."""
    area = sheet.printable
    height = area.height - furniture.TILE_FOOTER - _ABOVE_FOOTER
    return Box(area.x + _TILE_INSET, area.y, area.width - _TILE_INSET, height)


def check_room(sheet: Sheet, overlap: float) -> None:
    """Refuse a sheet on which nothing useful can be drawn.

    Args:
        overlap: how much of a tiled drawing two neighbouring sheets both show.

    Raises:
        BlockError: at ``/sheet``: it leaves no useful room (``paper-too-small``).
    """
    area = drawing_area(sheet)
    narrow = sheet.printable.width < furniture.LEAST_WIDTH
    window = min(area.width - _TILE_INSET, area.height) - overlap
    if sheet.margin < 0 or overlap < 0 or narrow or window < _LEAST_WINDOW:
        message = (
            "the sheet leaves no useful room inside its margins beside the test squares and the "
            "overlap; take larger paper, a smaller margin or a smaller overlap"
        )
        raise BlockError([Fault("/sheet", "paper-too-small", message)])


def room_for_squares(sheet: Sheet, ink: Sequence[Mark]) -> tuple[bool, bool]:
    """Whether the 5 cm and whether the 1 in test square can be drawn whole, clear of ink."""
    five = furniture.corner(sheet).grown(GAP)
    inch = furniture.inch_corner(sheet).grown(CLEAR_OF_SCALE)
    return not any(reaches(m, five) for m in ink), not any(reaches(m, inch) for m in ink)
