"""The block map: the finished block with its fabrics, piece ids, steps, and how seams are pressed.

Nothing that is written lies over a line. Step numbers and arrows keep to their seams, piece ids to
their pieces; where there is no room for one it stands outside, with a leader. What lies where is
found by ``placement`` and the modules that it calls; here it is drawn.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import shapely
from shapely import STRtree
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.model import extent
from piecewright.patchwork.block.seams import straightened
from piecewright.patchwork.block.wording import block_size, counted
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.sewing.plan import SewingPlan
from piecewright.render.drawing.fabric_fills import fabric_fills, filled, piece_part
from piecewright.render.drawing.labels import (
    CLEAR,
    Room,
    TextBlock,
    largest_room,
    parts_on_sheets,
)
from piecewright.render.drawing.marks import Drawing, Mark, Stroke, box_of, moved
from piecewright.render.printables.block_map.key import COLUMNS, COLUMNS_BELOW, key_drawing
from piecewright.render.printables.block_map.names import MANY
from piecewright.render.printables.block_map.occupied import Bounds, Claim, PlacedSign, kept_clear
from piecewright.render.printables.block_map.outlines import EDGE, block_outlines
from piecewright.render.printables.block_map.placement import LabelPlacement, label_placement
from piecewright.render.printables.block_map.seam_signs import NEAR
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.named import NO_WINDOWS, Windows

MAP: Final = "block-map"
"""The id of the drawing of the map."""

_ONE_SHEET: Final = 7.9
"""Inches; a larger map goes over several sheets of the usual papers."""

_TRUE: Final = "at its finished size"

_RIM: Final = 0.1
"""Inches; more than half the line round the map."""

_MOST_TRIED: Final = 12
"""Parts of pieces in which the key is tried, the largest first."""

_ABOVE_KEY: Final = 0.4
"""Inches below a map of several sheets, so that their overlap may lie between it and its key."""


def heading(plan: SewingPlan) -> Heading:
    """What every sheet says about the map."""
    pressing = plan.pressing
    total = counted(len(pressing.meetings), "seam intersection")
    return Heading(
        block=plan.block.name,
        what="Block map, seen from the right side",
        size=f"Finished {block_size(plan.block)}",
        allowance="No seam allowance on this map",
        corners=f"Seams nest at {pressing.nested} of {total}" if pressing.meetings else "",
    )


def block_map_drawings(plan: SewingPlan, windows: Windows = NO_WINDOWS) -> tuple[Drawing, ...]:
    """The map, and what its fills and signs mean.

    Args:
        windows: what of the map each sheet shows, where it goes over several.

    The key has a drawing of its own where it may share the map's sheet; below a map that
    goes over several sheets it rather takes none of its own, and where it would take one even so,
    it stands in a piece that has room for it.
    """
    shown = windows.get(MAP, ())
    shapes, placement = _placement(plan, shown)
    found = _map(plan, shapes, placement.placed, _TRUE)
    if max(found.box.width, found.box.height) <= _ONE_SHEET:
        return found, key_drawing(plan, placement.names, placement.steps, COLUMNS)
    if _none_for_key(shown, found.box.bottom):
        with_key = _with_key(plan, shapes, placement, shown)
        if with_key is not None:
            return (_map(plan, shapes, with_key, _TRUE),)
    key = key_drawing(plan, placement.names, placement.steps, COLUMNS_BELOW)
    dx, dy = found.box.x - key.box.x, found.box.bottom + _ABOVE_KEY - key.box.y
    below = [moved(mark, dx, dy) for mark in key.marks]
    box = found.box.joined(box_of(below))
    return (Drawing(found.id, found.title, found.description, (*found.marks, *below), box),)


def map_and_key(plan: SewingPlan, columns: int, size: str) -> tuple[Drawing, Drawing]:
    """The map, and the key in so many columns; ``size`` says how large the block is drawn."""
    shapes, placement = _placement(plan)
    key = key_drawing(plan, placement.names, placement.steps, columns)
    return _map(plan, shapes, placement.placed, size), key


def _placement(
    plan: SewingPlan, windows: Sequence[Polygon] = ()
) -> tuple[list[Polygon], LabelPlacement]:
    """The shapes of the pieces, and the signs on them.

    They are placed before anything is drawn, as the patterns of fabrics keep clear of them.
    """
    shapes = [polygon_of(piece.outline) for piece in plan.block.pieces]
    return shapes, label_placement(plan, shapes, windows)


def _none_for_key(windows: Sequence[Polygon], bottom: float) -> bool:
    """Whether a sheet shows the key alone, or none was made for it as it stands in the map.

    Args:
        windows: what the sheets show of the map that was drawn last.
        bottom: of the map without its key.
    """
    if not windows:
        return False
    bounds = [window.bounds for window in windows]
    alone = any(top >= bottom - _RIM for _, top, _, _ in bounds)
    return alone or max(lowest for *_, lowest in bounds) <= bottom + _RIM


def _with_key(
    plan: SewingPlan,
    shapes: Sequence[Polygon],
    placement: LabelPlacement,
    windows: Sequence[Polygon],
) -> tuple[PlacedSign, ...] | None:
    """The signs with the key in a piece, whole on one sheet; None where no piece has room."""
    claims = [claim for one in placement.placed for claim in (*one.claims, *one.leaders)]
    around = STRtree(kept_clear(claims, CLEAR, coarse=False))
    for columns in (COLUMNS_BELOW, 2, COLUMNS):
        key = key_drawing(plan, placement.names, placement.steps, columns)
        block = TextBlock((), key.box.width, key.box.height)
        parts = [part for shape in shapes for part in parts_on_sheets(shape, windows)]
        for part in sorted(parts, key=lambda part: -part.area)[:_MOST_TRIED]:
            near = around.geometries[around.query(part)]
            taken = overlaid(shapely.union_all, list(near), on_block=False)
            room = largest_room(overlaid(shapely.difference, part, taken, on_block=False))
            at = next(Room(room).places(block, 0.0), None)
            if at is not None:
                dx, dy = at[0] - block.width / 2, at[1] - block.height / 2
                marks = [moved(m, dx - key.box.x, dy - key.box.y) for m in key.marks]
                claim = Claim(shapely.box(dx, dy, dx + block.width, dy + block.height))
                return (*placement.placed, PlacedSign(tuple(marks), (claim,)))
    return None


def _map(
    plan: SewingPlan, shapes: Sequence[Polygon], placed: Sequence[PlacedSign], size: str
) -> Drawing:
    seams, block = plan.seams, plan.block
    marks = list(_fills(plan, shapes, placed))
    for join in range(len(plan.order.joins)):
        pressed = plan.order.pressed_line(join)
        chain = straightened(tuple(seams.segment(s) for s in pressed.sides))
        closed = pressed.ends is None
        marks.append(Stroke("sewing-line", chain, closed, solid=True))
    rim: list[Mark] = [
        Stroke("sewing-line", ring, closed=True, solid=True, weight=EDGE)
        for ring in block_outlines(seams)
    ]
    marks += rim
    marks += [mark for one in placed for mark in one.marks]
    count = len(block.pieces)
    return Drawing(
        MAP,
        "Block map",
        f"{block.name} {size}, {counted(count, 'piece')}, without "
        "seam allowance, with step numbers on the seams and arrows toward the pressed side.",
        tuple(marks),
        # All else lies inside the rim, and boxes of thousands of marks take their time.
        box_of([*rim, *_beyond(placed, extent(block.pieces))]),
    )


def _beyond(placed: Sequence[PlacedSign], block: Bounds) -> Iterator[Mark]:
    """Marks of what reaches beyond the block."""
    left, top, right, bottom = block
    for one in placed:
        for x0, y0, x1, y1 in (claim.bounds for claim in (*one.claims, *one.leaders)):
            if x0 <= left or y0 <= top or x1 >= right or y1 >= bottom:
                yield from one.marks
                break


def _fills(
    plan: SewingPlan, shapes: Sequence[Polygon], placed: Sequence[PlacedSign]
) -> Iterator[Mark]:
    """The pieces' fabrics; no line of a pattern runs into a sign."""
    claims = [claim for one in placed for claim in (*one.claims, *one.leaders)]
    clear = kept_clear(claims, NEAR, coarse=len(shapes) > MANY)
    over: list[list[BaseGeometry]] = [[] for _ in shapes]
    for piece, claim in STRtree(clear).query(shapes).T.tolist():
        over[piece].append(clear[claim])
    known = fabric_fills(plan.block)
    for piece, signs in zip(plan.block.pieces, over, strict=True):
        # Each piece is cut with the signs over it alone: with all, it would take far longer.
        fill = known[piece.fabric]
        yield from filled(fill, piece.outline, signs, part=piece_part(piece, fill.name))
