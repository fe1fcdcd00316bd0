"""The block map: the finished block with its fabrics, piece ids, steps, and how seams are pressed.

Nothing that is written lies over a line. Step numbers and arrows keep to their seams, piece ids to
their pieces; where there is no room for one it stands outside, with a leader. What lies where is
found by ``placement`` and the modules that it calls; here it is drawn.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from shapely import STRtree
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.model import extent
from piecewright.patchwork.block.seams import straightened
from piecewright.patchwork.block.wording import block_size
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.sewing.plan import SewingPlan
from piecewright.render.drawing.fabric_fills import fabric_fills, filled, piece_part
from piecewright.render.drawing.marks import Drawing, Mark, Stroke, box_of, moved
from piecewright.render.printables.block_map.key import COLUMNS, COLUMNS_BELOW, key_drawing
from piecewright.render.printables.block_map.names import MANY
from piecewright.render.printables.block_map.occupied import Bounds, PlacedSign, kept_clear
from piecewright.render.printables.block_map.outlines import EDGE, block_outlines
from piecewright.render.printables.block_map.placement import label_placement
from piecewright.render.printables.block_map.seam_signs import NEAR
from piecewright.render.sheets.furniture import Heading

_ONE_SHEET: Final = 7.9
"""Inches; a larger map goes over several sheets of the usual papers."""

_ABOVE_KEY: Final = 0.4
"""Inches below a map of several sheets, so that their overlap may lie between it and its key."""


def heading(plan: SewingPlan) -> Heading:
    """What every sheet says about the map."""
    pressing = plan.pressing
    nest = f"{pressing.nested} of {len(pressing.meetings)} seam intersections nest"
    return Heading(
        block=plan.block.name,
        what="Block map, seen from the right side",
        size=f"Finished {block_size(plan.block)}",
        allowance="No seam allowance on this map",
        corners=nest if pressing.meetings else "",
    )


def block_map_drawings(plan: SewingPlan) -> tuple[Drawing, ...]:
    """The map, and what its fills and signs mean.

    The key has a drawing of its own where it may share the map's sheet; below a map that
    goes over several sheets it rather takes none of its own.
    """
    shapes = [polygon_of(piece.outline) for piece in plan.block.pieces]
    # Signs are placed first, as the patterns of fabrics keep clear of them.
    placement = label_placement(plan, shapes)
    found = _map(plan, shapes, placement.placed)
    if max(found.box.width, found.box.height) <= _ONE_SHEET:
        return found, key_drawing(plan, placement.names, placement.steps, COLUMNS)
    key = key_drawing(plan, placement.names, placement.steps, COLUMNS_BELOW)
    dx, dy = found.box.x - key.box.x, found.box.bottom + _ABOVE_KEY - key.box.y
    below = [moved(mark, dx, dy) for mark in key.marks]
    box = found.box.joined(box_of(below))
    return (Drawing(found.id, found.title, found.description, (*found.marks, *below), box),)


def _map(plan: SewingPlan, shapes: Sequence[Polygon], placed: Sequence[PlacedSign]) -> Drawing:
    seams, block = plan.seams, plan.block
    marks = list(_fills(plan, shapes, placed))
    for join in plan.order.joins:
        chain = straightened(tuple(seams.segment(s) for s in join.seam.sides))
        closed = join.seam.ends is None
        marks.append(Stroke("sewing-line", chain, closed, solid=True))
    rim: list[Mark] = [
        Stroke("sewing-line", ring, closed=True, solid=True, weight=EDGE)
        for ring in block_outlines(seams)
    ]
    marks += rim
    marks += [mark for one in placed for mark in one.marks]
    count = len(block.pieces)
    return Drawing(
        "block-map",
        "Block map",
        f"{block.name} at its finished size, {count} piece{'s' * (count != 1)}, without "
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
