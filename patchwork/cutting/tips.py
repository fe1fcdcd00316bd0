"""Tips: how the raw edges lie at a seam's end at which they do not end together.

Like pieces are cut alike, and right corners stay whole, so that at some ends of seams one tip
stands out beyond the other raw edge or stays back from it.  A maker who knows by how much can pin
the seam true all the same; a short line on the template marks where the other raw edge ends.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import Order
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry.vectors import Point, Vector, outward, plus
from piecewright.patchwork.outlines.cut_outlines import Corners, cut_outlines
from piecewright.patchwork.outlines.matching import Mismatch
from piecewright.patchwork.sewing.steps import Tip


def tips_of_joins(
    block: Block, seams: Seams, order: Order, allowance: Allowance, corners: Corners
) -> dict[int, tuple[Tip, ...]]:
    """The tips at the ends of each join's seam, of joins that have any."""
    found: dict[int, tuple[Tip, ...]] = {}
    for one in cut_outlines(seams, order, allowance, corners).mismatches:
        if not math.isinf(one.by):
            tip = Tip(seams.points[one.point], block.pieces[one.piece].id, one.by)
            found[one.join] = (*found.get(one.join, ()), tip)
    return found


def ends_of_others(
    seams: Seams, order: Order, mismatches: Sequence[Mismatch]
) -> Iterator[tuple[int, Point, Vector]]:
    """Where on a piece that reaches further the other raw edge ends.

    Gives the piece, the place on its finished edge prolonged past the corner, and the direction
    from there to its raw edge.
    """
    for one in mismatches:
        for corner in (c for run in seams.around[one.point] for c in run):
            if corner.piece != one.longer or math.isinf(one.by):
                continue
            x, y = corner.leaves
            for edge, way, out in (
                (corner.arriving, corner.arrives, outward(corner.arrives)),
                (corner.leaving, (-x, -y), outward(corner.leaves)),
            ):
                if order.sewn_by[edge] == one.join:
                    yield one.longer, plus(seams.points[one.point], way, one.until), out
