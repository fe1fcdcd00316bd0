"""What an order of sewing comes to, by all that counts for one."""

from __future__ import annotations

from dataclasses import dataclass

from piecewright.patchwork.block.joins import Order, Seam
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.sewing.bitset import PieceSet
from piecewright.patchwork.sewing.crossings import crossings
from piecewright.patchwork.sewing.figures import Figures
from piecewright.patchwork.sewing.order import unit_levels


@dataclass(frozen=True, slots=True)
class OrderMeasures:
    """What counts for an order of sewing, first things first.

    Attributes:
        pivots: in all seams together; the fewer the better.
        partial: seams that are left open at one end, to be finished later; the fewer the better.
        rectangles: joins that make a rectangle; the more the better.
        half_turns: joins whose unit, divided into its pieces, looks the same after a half
            turn; the more the better.
        kinds: different units that are sewn, alike ones (``sewing.figures``) counted once; the
            fewer the better, as are all that follow.
        set_in: inches of set-in seams.
        meeting_seams: joins that sew a seam with a meeting inside: a point, not one of the two
            ends, at which an earlier seam arrives from either side.
        levels: the longest chain of joins that wait for each other.
    """

    pivots: int
    partial: int
    rectangles: int
    half_turns: int
    kinds: int
    set_in: float
    meeting_seams: int
    levels: int


def measured(seams: Seams, order: Order) -> OrderMeasures:
    """What an order of sewing comes to."""
    figures = Figures(seams)
    units: list[PieceSet] = [1 << i for i in range(order.pieces)]
    found: list[int] = []
    for join in order.joins:
        units.append(units[join.first] | units[join.second])
        found.append(figures.of(units[-1]))
    return OrderMeasures(
        pivots=sum(len(join.seam.pivots) for join in order.joins),
        partial=sum(join.partial is not None for join in order.joins),
        rectangles=sum(figures.rectangle[f] for f in found),
        half_turns=sum(figures.half_turn[f] for f in found),
        kinds=len(set(found)),
        set_in=sum(_length(seams, j.seam) for j in order.joins if j.seam.kind == "set-in"),
        meeting_seams=len({c.step for c in crossings(seams, order) if c.meeting}),
        levels=unit_levels(order)[-1],
    )


def _length(seams: Seams, seam: Seam) -> float:
    return paths.run_length(seams.segment(side) for side in seam.sides)
