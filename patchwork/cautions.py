"""Cautions: what a maker should know about a block that can be made.

They are written as faults are (``patchwork.faults.Fault``), and stop nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TypeAlias

from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import Order, Spans
from piecewright.patchwork.block.model import Block, innermost
from piecewright.patchwork.block.seams import Seams, planar_map
from piecewright.patchwork.faults import Fault
from piecewright.patchwork.geometry.polygons import inner_point, polygon_of
from piecewright.patchwork.lengths import spoken
from piecewright.patchwork.outlines.cut_outlines import Corners, cut_outlines
from piecewright.patchwork.outlines.matching import Mismatch
from piecewright.patchwork.sewing.order import order_of

_Pointer: TypeAlias = Callable[[int], str]

_HAIR = 1e-4
"""Inches by which a piece may be narrower than two allowances without a caution."""

SHARP = 20.0
"""Degrees; a point that is sharper gets a caution. Its mitre is nearly six allowances long."""


def cautions(
    block: Block,
    allowance: Allowance,
    corners: Corners = "matched",
    pieces_pointer: str | None = "/block/pieces",
) -> tuple[Fault, ...]:
    """The cautions for a block at finished size.

    Args:
        pieces_pointer: where the request lists the pieces; None if it does not (a drawing, a
            block of the catalogue), and the cautions then point to ``/block``. Those of a block
            that is made of blocks point to its cell.

    Raises:
        BlockError: the joins given are not legal, or none can be worked out.
    """
    seams = planar_map([p.outline for p in block.pieces])
    order = order_of(block, seams)
    mismatches = cut_outlines(seams, order, allowance, corners).mismatches
    return found_cautions(block, seams, order, allowance, mismatches, pieces_pointer)


def found_cautions(
    block: Block,
    seams: Seams,
    order: Order,
    allowance: Allowance,
    mismatches: tuple[Mismatch, ...],
    pieces_pointer: str | None = "/block/pieces",
) -> tuple[Fault, ...]:
    """The cautions of a block whose cut outlines are known already (see ``cautions``)."""

    units = () if block.built is None else innermost(block.built)
    cells = {id: unit.pointer for unit in units for id in unit.pieces}

    def pointer(piece: int) -> str:
        if cells:
            return cells[block.pieces[piece].id]
        return "/block" if pieces_pointer is None else f"{pieces_pointer}/{piece}"

    return (
        *block.cautions,
        *_narrow_pieces(block, allowance, pointer),
        *_sharp_points(block, seams, pointer),
        *_mismatches(block, seams, order, mismatches, pointer),
    )


def _narrow_pieces(block: Block, allowance: Allowance, pointer: _Pointer) -> Iterator[Fault]:
    for i, piece in enumerate(block.pieces):
        shape = polygon_of(piece.outline)
        # A strip as wide as two allowances has both its allowances side by side behind it.
        within = shape.buffer(_HAIR - allowance.seam, join_style="mitre")
        if allowance.seam > _HAIR and within.is_empty:
            message = (
                f"piece {piece.id!r} is narrower than twice its seam allowance of "
                f"{spoken(allowance.seam, block.unit)}: the allowances behind it will overlap; "
                "trim them after sewing, or make the block larger"
            )
            yield Fault(pointer(i), "narrow-piece", message, inner_point(shape))


def _sharp_points(block: Block, seams: Seams, pointer: _Pointer) -> Iterator[Fault]:
    for point, runs in enumerate(seams.around):
        for corner in (c for run in runs for c in run):
            if corner.inner_angle < SHARP:
                message = (
                    f"piece {block.pieces[corner.piece].id!r} has a point of "
                    f"{corner.inner_angle:.0f} degrees here, sharper than {SHARP:.0f}: "
                    "sew toward the point, and expect it to be hard to match"
                )
                yield Fault(pointer(corner.piece), "sharp-point", message, seams.points[point])


def _mismatches(
    block: Block, seams: Seams, order: Order, mismatches: Sequence[Mismatch], pointer: _Pointer
) -> Iterator[Fault]:
    spans = Spans(order)  # once for all of them, as it takes the whole order
    # Where like pieces are cut alike, or a corner stays whole, the sewing plan says how tips lie.
    for mismatch in (one for one in mismatches if one.cause in ("allowance", "runs-on")):
        yield _mismatch(block, seams, order, spans, mismatch, pointer)


def _mismatch(
    block: Block, seams: Seams, order: Order, spans: Spans, mismatch: Mismatch, pointer: _Pointer
) -> Fault:
    """The caution for one seam's end."""
    join = order.joins[mismatch.join]
    one, other = (
        "+".join(block.pieces[i].id for i in spans.pieces(unit)[:6])
        for unit in (join.first, join.second)
    )
    # It points to a piece beside the seam's last edge there.
    edge = next(
        seams.edges[s.edge]
        for s in join.seam.sides
        if mismatch.point in (seams.edges[s.edge].start, seams.edges[s.edge].end)
    )
    if mismatch.by == float("inf"):
        message = (
            f"the seam between {one} and {other} stops here in the middle of an edge: "
            "sew it only up to the match point"
        )
    else:
        message = (
            f"at this end of the seam between {one} and {other} the raw edges end "
            f"{spoken(mismatch.by, block.unit)} apart, as trimming more would cut into the seam "
            "allowance: pin the match points instead"
        )
    return Fault(pointer(edge.right), "raw-edges", message, seams.points[mismatch.point])
