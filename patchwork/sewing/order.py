"""The order of sewing of a block: the one given with it, or else one worked out.

``sewing.order_search`` says what makes one order better than another; it cuts the finished block up
along the lines of ``sewing.cut_graph``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from piecewright.patchwork.block.joins import Order, order_from
from piecewright.patchwork.block.model import Block, BlockUnit
from piecewright.patchwork.block.seams import Seams
from piecewright.patchwork.sewing.cut_graph import CutGraph
from piecewright.patchwork.sewing.order_of_units import search_units
from piecewright.patchwork.sewing.order_search import search_order


@dataclass(frozen=True, slots=True)
class WorkedOrder:
    """An order of sewing that was worked out.

    Attributes:
        fewest_pivots: whether no order can have fewer pivots; proven.
        fewest_levels: whether, besides, no order with as few pivots has fewer levels.
            Levels are counted as in ``unit_levels``.
    """

    order: Order
    fewest_pivots: bool
    optimal: bool


def order_of(block: Block, seams: Seams) -> Order:
    """The order of sewing of a block: the one given, or else one worked out.

    Raises:
        BlockError: a given join is not legal, or no order can be worked out.
    """
    ids = [p.id for p in block.pieces]
    if block.joins is not None:
        return order_from(seams, ids, block.joins)
    return work_out_order(seams, ids, block.built).order


def work_out_order(seams: Seams, ids: Sequence[str], built: BlockUnit | None = None) -> WorkedOrder:
    """The order of sewing that a sewist would choose (see ``sewing.order_search``).

    Args:
        built: how the block is made of blocks, each of which is sewn whole
            (``sewing.order_of_units``).

    Raises:
        BlockError: there is none, because the block has a hole or falls apart.
    """
    found = search_order(CutGraph(seams), ids) if built is None else search_units(seams, ids, built)
    order = order_from(seams, ids, found.joins, "/block")
    return WorkedOrder(order, found.fewest_pivots, found.optimal)


def unit_levels(order: Order) -> list[int]:
    """The level of each unit, as units are numbered: pieces are at level 0.

    A join is one level above the higher of the units that it joins, so that the last is the
    longest chain of joins that wait for each other.
    """
    levels = [0] * order.pieces
    for join in order.joins:
        levels.append(1 + max(levels[join.first], levels[join.second]))
    return levels
