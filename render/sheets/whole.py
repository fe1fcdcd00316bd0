"""Drawings that go whole on sheets: in rows, or packed by their outlines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from shapely.geometry.base import BaseGeometry

from piecewright.render.drawing.footprints import footprint, turns_freely
from piecewright.render.drawing.marks import Box, Drawing
from piecewright.render.sheets.areas import GAP
from piecewright.render.sheets.packing import pack
from piecewright.render.sheets.page import PlacedDrawing
from piecewright.render.sheets.rows import NOTHING, fits, in_rows

Sheetfuls = tuple[list[tuple[PlacedDrawing, ...]], list[Drawing]]
"""What lies on each sheet, and the drawings that fit none."""

MOST_PACKED: Final = 150
"""Drawings; more than these stand in rows, which takes more paper and far less time."""


def go_in_rows(drawings: Sequence[Drawing]) -> bool:
    """Whether drawings stand in rows: they are many, or cards.

    Cards are all to be read and of one size, so that rows show them in their order and packing
    could gain nothing.
    """
    sizes = {(round(d.box.width, 6), round(d.box.height, 6)) for d in drawings}
    are_cards = len(sizes) == 1 and not any(turns_freely(d) for d in drawings)
    return len(drawings) > MOST_PACKED or are_cards


def whole_in_rows(drawings: Sequence[Drawing], area: Box, corner: Box | None = None) -> Sheetfuls:
    """The drawings in rows.

    Args:
        area: what of a sheet there is for drawings.
        corner: the place of the test squares, which are kept clear; None if it is not in the area.
    """
    taken = NOTHING if corner is None else corner.grown(GAP)
    fit = [d for d in drawings if fits(d.box, area, taken)]
    return in_rows(fit, area, taken), [d for d in drawings if d not in fit]


def whole_packed(
    drawings: Sequence[Drawing],
    footprints: Sequence[BaseGeometry],
    area: Box,
    corner: Box | None = None,
) -> Sheetfuls:
    """The drawings packed by their footprints; on each sheet they are in their order.

    Args:
        area, corner: as in ``whole_in_rows``.
    """
    free = [turns_freely(d) for d in drawings]
    sheets, unfit = pack(footprints, area, NOTHING if corner is None else corner, GAP, free)
    together = [
        tuple(
            PlacedDrawing(drawings[item.shape], item.x, item.y, item.turn)
            for item in sorted(items, key=lambda i: i.shape)
        )
        for items in sheets
    ]
    return together, [drawings[n] for n in unfit]


def whole(drawings: Sequence[Drawing], area: Box, corner: Box) -> Sheetfuls:
    """The drawings that go whole on a sheet, sheet by sheet; and those that do not.

    Args:
        area, corner: as in ``whole_in_rows``.
    """
    if go_in_rows(drawings):
        return whole_in_rows(drawings, area, corner)
    return whole_packed(drawings, [footprint(d) for d in drawings], area, corner)
