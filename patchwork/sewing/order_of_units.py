"""The order of sewing of a block that is made of blocks.

Each of its blocks is a unit that is sewn whole: in the order that it brings along, or in the one
that is worked out for it (``sewing.order_search``).  Units that are the same block, turned or
flipped over, are sewn alike, step by step.  Then the units are joined as the pieces of a coarser
block are; which of them are alike, and which look the same after a half turn, is seen from the
pieces inside them.

What is proven is so of each block by itself, and of joining them: not that it would be worse to
take a block apart and sew its pieces to those of its neighbours, which nobody asks for.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from piecewright.patchwork.block.coarse import outlines_of
from piecewright.patchwork.block.joins import order_from, renamed
from piecewright.patchwork.block.model import BlockUnit, Joins
from piecewright.patchwork.block.seams import Seams, planar_map, straightened
from piecewright.patchwork.geometry.congruence import Shape, congruences
from piecewright.patchwork.geometry.paths import Outline
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.geometry.vectors import Point, between
from piecewright.patchwork.sewing.cut_graph import CutGraph
from piecewright.patchwork.sewing.figures import Figures, Inside
from piecewright.patchwork.sewing.order_search import FoundOrder, search_order


def search_units(seams: Seams, ids: Sequence[str], built: BlockUnit) -> FoundOrder:
    """The order of sewing of a block that is made of blocks, each of them sewn whole.

    Args:
        seams: of the whole block.
        ids: of its pieces.

    Raises:
        BlockError: an order that was given is not legal, or none is found.
    """
    outlines = {
        id: tuple(seams.segment(side) for side in sides)
        for id, sides in zip(ids, seams.sides, strict=True)
    }
    return _order_of(built, outlines)


def _order_of(unit: BlockUnit, outlines: dict[str, Outline]) -> FoundOrder:
    """The order of a unit. The calls nest as deep as blocks lie in each other, which is not deep.

    Args:
        outlines: of the pieces, by their ids.
    """
    if len(unit.pieces) == 1:
        return FoundOrder(unit.pieces[0], True, True)
    own = planar_map([outlines[id] for id in unit.pieces])
    if not unit.units:
        if unit.joins is not None:
            return _given(own, unit.pieces, unit.joins)
        return search_order(CutGraph(own), unit.pieces)
    parts = _orders_of(unit.units, outlines)
    number = {id: i for i, id in enumerate(unit.pieces)}
    groups = [[number[id] for id in one.pieces] for one in unit.units]
    names = [one.name for one in unit.units]
    coarse = planar_map(outlines_of(own, groups))
    if unit.joins is not None:
        whole = _given(coarse, names, unit.joins)
    else:
        figures = Figures(coarse, _insides(unit.units, outlines))
        found = search_order(CutGraph(coarse), names, figures)
        # Where seams of two units meet in the middle of their sides the search has not seen it.
        hidden = len(names) > 2 and _meet_along_sides(own, groups)
        whole = FoundOrder(found.joins, found.fewest_pivots, found.optimal and not hidden)
    by_name = {name: part.joins for name, part in zip(names, parts, strict=True)}
    every = (whole, *parts)
    return FoundOrder(
        renamed(whole.joins, by_name.__getitem__),
        all(one.fewest_pivots for one in every),
        all(one.optimal for one in every),
    )


def _given(seams: Seams, ids: Sequence[str], joins: Joins) -> FoundOrder:
    """An order that is brought along: nothing is proven of it but what is plain."""
    order = order_from(seams, ids, joins)
    straight = not any(join.seam.pivots for join in order.joins)
    return FoundOrder(joins, straight, len(ids) < 3)


def _orders_of(units: Sequence[BlockUnit], outlines: dict[str, Outline]) -> list[FoundOrder]:
    """The orders of units, the same one for all units of a design."""
    first: dict[int, tuple[BlockUnit, FoundOrder]] = {}
    found = []
    for unit in units:
        if unit.design not in first:
            first[unit.design] = unit, _order_of(unit, outlines)
        model, order = first[unit.design]
        piece = dict(zip(model.pieces, unit.pieces, strict=True))
        joins = renamed(order.joins, piece.__getitem__)
        found.append(FoundOrder(joins, order.fewest_pivots, order.optimal))
    return found


def _insides(units: Sequence[BlockUnit], outlines: dict[str, Outline]) -> list[Inside]:
    """How each unit is divided, so that alike ones are known and seen to be turned."""
    plain = {id: straightened(outlines[id]) for unit in units for id in unit.pieces}
    shapes = congruences([Shape(o, o) for o in plain.values()])
    kind = {id: one.first for id, one in zip(plain, shapes, strict=True)}
    insides = []
    for unit in units:
        # Halfway from each piece's middle to its corners: no two of these points are the same, as
        # corners would be, and none is the middle of the unit.  One of a single piece needs none.
        points: list[Point] = []
        kinds: list[int] = []
        for id in unit.pieces if len(unit.pieces) > 1 else ():
            dot = polygon_of(plain[id]).centroid
            halfway = [between((dot.x, dot.y), s.start, 0.5) for s in plain[id]]
            points += halfway
            kinds += [kind[id]] * len(halfway)
        at = np.array(points, dtype=float).reshape(-1, 2)
        insides.append(Inside(unit.design, at, np.array(kinds, dtype=np.int64)))
    return insides


def _meet_along_sides(seams: Seams, groups: Sequence[Sequence[int]]) -> bool:
    """Whether seams inside units meet at a point where the coarser block has too few of its own."""
    group_of = {p: n for n, group in enumerate(groups) for p in group}
    for runs in seams.around:
        if not all(seams.closes(run) for run in runs):
            continue
        pieces: dict[int, int] = {}
        for corner in (c for run in runs for c in run):
            n = group_of[corner.piece]
            pieces[n] = pieces.get(n, 0) + 1
        several = sum(count > 1 for count in pieces.values())
        if (len(pieces) == 2 and several == 2) or (len(pieces) == 3 and several):
            return True
    return False
