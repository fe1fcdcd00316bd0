"""Drawings in rows on sheets: shelf packing, first fit by decreasing height.

Each goes into the first row with room for it. That wastes paper where drawings are of many
shapes, but takes no time, and drawings of one size stand in their order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from piecewright.render.drawing.marks import Box, Drawing
from piecewright.render.sheets.areas import ENOUGH, NOTHING
from piecewright.render.sheets.furniture import GAP
from piecewright.render.sheets.placed import PlacedDrawing


@dataclass(slots=True)
class _Row:
    """A row with room left from ``x`` on."""

    x: float
    y: float
    height: float


def fits(box: Box, area: Box, taken: Box) -> bool:
    """Whether a box stands in an empty area clear of ``taken``, a corner at its bottom left."""
    taken = _kept_clear(taken, area)
    height = min(taken.y - area.y, area.height)
    above = box.width <= area.width + ENOUGH and box.height <= height + ENOUGH
    beside = box.width <= area.right - taken.right + ENOUGH and box.height <= area.height + ENOUGH
    return above or beside


def _kept_clear(taken: Box, area: Box) -> Box:
    """What rows keep clear of: the corner with a gap round it, or a corner of no size."""
    return taken.grown(GAP) if taken.width else Box(area.x, area.bottom, 0.0, 0.0)


def in_rows(
    drawings: Sequence[Drawing], area: Box, taken: Box = NOTHING
) -> list[tuple[PlacedDrawing, ...]]:
    """The drawings of each sheet, every one clear of the others and of ``taken``.

    The tallest come first; each goes into the first row with room for it, or else
    into a new row on the first sheet with room for that.

    Args:
        drawings: of which each ``fits``.
        area: what of a sheet there is for drawings, in the sheet's coordinates.
        taken: a corner at its bottom left that is kept clear; without width for none.
    """
    taken = _kept_clear(taken, area)
    rows: list[list[_Row]] = []
    items: list[list[PlacedDrawing]] = []

    def put(drawing: Drawing, sheet: int, row: _Row) -> None:
        box = drawing.box
        items[sheet].append(PlacedDrawing(drawing, row.x - box.x, row.y - box.y))
        row.x += box.width + GAP

    def room_for(box: Box) -> tuple[int, _Row]:
        for sheet, there in enumerate(rows):
            for row in there:
                across = row.x + box.width <= area.right + ENOUGH
                if across and box.height <= row.height + ENOUGH:
                    return sheet, row
            new = _new_row(there, box, area, taken)
            if new is not None:
                there.append(new)
                return sheet, new
        new = _new_row([], box, area, taken)
        assert new is not None, "the drawing fits an empty sheet"
        rows.append([new])
        items.append([])
        return len(rows) - 1, new

    # Rounded, so that drawings of one height keep their order (the sort is stable).
    for drawing in sorted(drawings, key=lambda d: -round(d.box.height, 6)):
        put(drawing, *room_for(drawing.box))
    order = {drawing.id: number for number, drawing in enumerate(drawings)}
    return [tuple(sorted(there, key=lambda p: order[p.drawing.id])) for there in items]


def _new_row(rows: Sequence[_Row], box: Box, area: Box, taken: Box) -> _Row | None:
    """A row below the others for a box; beside ``taken`` where it would reach down to that."""
    y = rows[-1].y + rows[-1].height + GAP if rows else area.y
    if y + box.height > area.bottom + ENOUGH:
        return None
    x = area.x if y + box.height <= taken.y + ENOUGH else taken.right
    if x + box.width > area.right + ENOUGH:
        return None
    return _Row(x, y, box.height)
