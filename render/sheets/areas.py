"""What of a sheet there is for drawings, and how far they keep off what else stands there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from piecewright.patchwork.faults import BlockError, Fault
from piecewright.render.drawing.marks import Box
from piecewright.render.sheets import furniture
from piecewright.render.sheets.papers import Sheet

ENOUGH: Final = 1e-9
"""Inches; what is larger than its room by no more than this is so by rounding, and fits."""

NOTHING: Final = Box(0.0, 0.0, 0.0, 0.0)
"""No part of a sheet."""

_ABOVE_FOOTER: Final = 0.05
"""Inches between a drawing and the footer."""

_BESIDE_SCALE: Final = furniture.RULE + 0.065
"""A part stays clear of the ruler at the left where that costs nothing."""

_LEAST_WINDOW: Final = 1.0
"""Inches; a sheet must show at least this much of a drawing, each way, beyond its overlap."""

UNDER_PART: Final = furniture.FOOTER_HEIGHT + _ABOVE_FOOTER
"""Inches of a sheet below a part on it."""


@dataclass(frozen=True, slots=True)
class Field:
    """A part of a sheet that drawings may lie in.

    Attributes:
        area: in the sheet's coordinates.
        taken: a corner of it, at its bottom left, that whole drawings keep clear of.
        room: for a part of a larger drawing, which need not keep clear of the corner.
    """

    area: Box
    taken: Box
    room: Box


def above_footer(sheet: Sheet) -> Box:
    """What of the sheet lies above the furniture along the bottom."""
    area = sheet.printable
    height = area.height - furniture.FOOTER_HEIGHT - _ABOVE_FOOTER
    return Box(area.x, area.y, area.width, height)


def fields(sheet: Sheet, to_scale: bool) -> tuple[Field, ...]:
    """Fields of a sheet, from the one that leaves the furniture its usual places to all there is.

    Args:
        to_scale: whether there are test squares.
    """
    high = above_footer(sheet)
    room = Box(high.x + _BESIDE_SCALE, high.y, high.width - _BESIDE_SCALE, high.height)
    every = sheet.printable
    found = [Field(high, NOTHING, room), Field(every, NOTHING, every)]
    if to_scale:
        found.insert(0, Field(high, furniture.corner(sheet), room))
    return tuple(found)


def check_room(sheet: Sheet, overlap: float) -> None:
    """Refuse a sheet on which nothing useful can be drawn.

    Args:
        overlap: how much of a tiled drawing two neighbouring sheets both show.

    Raises:
        BlockError: at ``/sheet``: it leaves no useful room (``paper-too-small``).
    """
    area = above_footer(sheet)
    narrow = sheet.printable.width < furniture.LEAST_WIDTH
    window = min(area.width - _BESIDE_SCALE, area.height) - overlap
    if sheet.margin < 0 or overlap < 0 or narrow or window < _LEAST_WINDOW:
        message = (
            "the sheet leaves no useful room inside its margins beside the test squares and the "
            "overlap; take larger paper, a smaller margin or a smaller overlap"
        )
        raise BlockError([Fault("/sheet", "paper-too-small", message)])
