"""All drawings on one canvas, which is as large as they need."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from piecewright.render.drawing.marks import Box, Drawing
from piecewright.render.sheets import furniture
from piecewright.render.sheets.furniture import GAP, Heading
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.papers import Sheet
from piecewright.render.sheets.rows import in_rows

_MARGIN: Final = 0.25
"""Inches round all that is on the canvas."""

_FOOTER_WIDTH: Final = furniture.LEAST_WIDTH + 2.0
"""Inches; on a canvas of the least width a footer would be cut short."""

_SPREAD: Final = 1.2
"""How much wider the rows are than the side of a square of all the drawings' area: rows waste
some of their height, so that the canvas becomes about square."""


def on_one_canvas(drawings: Sequence[Drawing], heading: Heading) -> Page:
    """All drawings whole on one sheet that is made as large as they need, test squares below."""
    widest = max((d.box.width for d in drawings), default=0.0)
    size = sum((d.box.width + GAP) * (d.box.height + GAP) for d in drawings)
    across = max(widest, _SPREAD * math.sqrt(size), _FOOTER_WIDTH)
    endless = Box(_MARGIN, _MARGIN, across, math.inf)
    # An area without an end takes all drawings in one heap; without drawings there is none.
    (items,) = in_rows(drawings, endless) or [()]
    boxes = [p.drawing.box.moved(p.x, p.y) for p in items]
    right = max([*(box.right for box in boxes), _MARGIN + _FOOTER_WIDTH])
    bottom = max([*(box.bottom for box in boxes), _MARGIN])
    height = bottom + GAP + furniture.FIVE_CENTIMETRES + furniture.RULE + _MARGIN
    sheet = Sheet(right + _MARGIN, height, _MARGIN, "", None)
    window = Box(_MARGIN, _MARGIN, right - _MARGIN, bottom - _MARGIN)
    return Page(sheet, heading, window, items)
