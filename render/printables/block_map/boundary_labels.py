"""Boundary labels: those that stand outside the block map, with a leader each to their feature.

They stand in rows of slots round the block. A leader is a straight line, which may cross another
leader if it must, but no sign.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import Point, distance
from piecewright.render.drawing.labels import text_block
from piecewright.render.drawing.linekinds import PENS
from piecewright.render.drawing.marks import Box, Mark, box_of, line
from piecewright.render.drawing.shapes import box_polygon
from piecewright.render.printables.block_map.occupied import TIP, Claim, OccupiedArea, PlacedSign
from piecewright.render.printables.block_map.signs import number_radius, step_number

_LETTERS: Final = 0.09
"""Inches to the em; one size for all, so that slots are alike."""

_AWAY: Final = 0.09
"""Inches between the block and the first row of labels round it."""

_ROW: Final = 0.24
_SLOT: Final = 0.16
"""Inches from a row of labels to the next one, and from a place in it to the next one."""

_ROWS_TO_TRY: Final = 3
"""Rows in which a leader that crosses no other is looked for, before one that does is taken."""

_MOST_ROWS: Final = 10
"""Of labels round the block; one for which there is no room in any is left out."""


def label_outside(
    message: str, is_step: bool, anchor: Point, around: Box, occupied: OccupiedArea
) -> PlacedSign | None:
    """A label outside the block, with a leader to what it is for; None where there is no room.

    The leader crosses another one only if there is no other way, and never a label.

    Args:
        is_step: whether it is a step's number, or a piece's id.
        anchor: where the leader ends.
        around: the block.
    """
    taken, signs = occupied.taken, occupied.signs
    if is_step:
        wide = high = 2 * number_radius(message, _LETTERS)
    else:
        block = text_block([(message, _LETTERS, False)])
        wide, high = block.width, block.height
    crossing: tuple[Point, BaseGeometry, BaseGeometry] | None = None
    tip = shapely.Point(anchor).buffer(TIP)
    rows = [list(_slots(around, wide, high, row)) for row in range(_MOST_ROWS)]
    ends = np.array([at for row_slots in rows for at in row_slots])
    # All slots are looked at together once, as one by one takes far longer.
    reachable = iter(occupied.reachable(anchor, around, ends).tolist())
    for row, row_slots in enumerate(rows):
        open_slots = [at for at in row_slots if next(reachable)]
        if row >= _ROWS_TO_TRY and crossing is not None:
            break
        for at in sorted(open_slots, key=lambda p: distance(p, anchor)):
            if (wide, high, at) in occupied.full:
                continue
            box = shapely.box(
                at[0] - wide / 2, at[1] - high / 2, at[0] + wide / 2, at[1] + high / 2
            )
            if not taken.free(box, 0.03):
                # Nothing is ever taken away, so that it need not be looked at again.
                occupied.full.add((wide, high, at))
                continue
            whole = LineString([at, anchor])
            # The leader ends short of its label, and may run into the sign that it points to.
            leader = overlaid(shapely.difference, whole, box.buffer(0.015), on_block=False)
            beyond_tip = overlaid(shapely.difference, leader, tip, on_block=False)
            if not signs.free(beyond_tip):
                continue
            if taken.free(beyond_tip):
                return _labelled(message, is_step, at, box, leader)
            if crossing is None:
                crossing = at, box, leader
    return None if crossing is None else _labelled(message, is_step, *crossing)


def _slots(around: Box, wide: float, high: float, row: int) -> Iterator[Point]:
    """Places for the middle of a label round the block, ``row`` rows away from it."""
    away = _AWAY + row * _ROW
    for k in range(int(around.width / _SLOT) + 1):
        x = around.x + k * _SLOT
        yield x, around.y - away - high / 2
        yield x, around.bottom + away + high / 2
    for k in range(int(around.height / _SLOT) + 1):
        y = around.y + k * _SLOT
        yield around.x - away - wide / 2, y
        yield around.right + away + wide / 2, y


def _labelled(
    message: str, is_step: bool, at: Point, box: BaseGeometry, leader: BaseGeometry
) -> PlacedSign:
    marks: list[Mark] = []
    leaders: list[Claim] = []
    if isinstance(leader, LineString) and not leader.is_empty:
        (x0, y0), (x1, y1) = leader.coords[0], leader.coords[-1]
        marks.append(line("leader", (x0, y0), (x1, y1)))
        leaders.append(Claim(leader.buffer(0.012)))
    if is_step:
        return PlacedSign(
            (*marks, *step_number(message, at, _LETTERS)), (Claim(box),), tuple(leaders)
        )
    name = text_block([(message, _LETTERS, False)]).placed(at, 0.0)
    # Letters reach a little below their line, and other leaders keep off with their middles only.
    ink = box_polygon(box_of(name).grown(PENS["leader"].half))
    return PlacedSign((*marks, *name), (Claim(ink),), tuple(leaders))
