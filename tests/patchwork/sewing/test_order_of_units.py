"""Blocks made of blocks are sewn block by block, and alike ones alike; against walks through the
joins, and against the orders of the blocks by themselves."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.grid import block_from_grid
from piecewright.patchwork.block.joins import Order, nested
from piecewright.patchwork.block.model import Block, BlockUnit, finished
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.sewing.order import WorkedOrder, order_of, work_out_order
from piecewright.patchwork.sewing.order_measures import measured
from piecewright.patchwork.sewing.plan import sewing_plan
from piecewright.patchwork.sewing.wording import Words
from tests.patchwork import partitions
from tests.patchwork.block.nine_peaks import GROUND, NINE_PEAKS
from tests.patchwork.unit_members import members

Json = dict[str, Any]


def read(spec: Json) -> Block:
    return block_from_grid(spec, lambda id, _: catalogue.load(id))


def worked(block: Block) -> WorkedOrder:
    seams = planar_map([p.outline for p in block.pieces])
    return work_out_order(seams, [p.id for p in block.pieces], block.built)


def units_of(block: Block, order: Order) -> set[frozenset[str]]:
    """The ids of the pieces of every unit that an order makes."""
    count = order.pieces + len(order.joins)
    return {frozenset(block.pieces[i].id for i in members(order, u)) for u in range(count)}


def blocks_within(unit: BlockUnit) -> list[frozenset[str]]:
    return [frozenset(unit.pieces), *(s for u in unit.units for s in blocks_within(u))]


def test_nine_peaks_are_made_whole_and_alike_before_rows_are() -> None:
    block = read(NINE_PEAKS)
    plan = sewing_plan(block)
    order = plan.order
    assert set(blocks_within(block.built)) <= units_of(block, order)  # type: ignore[arg-type]
    # Four peaks in two joins each, then rows of three and three rows.
    sizes = [len(members(order, order.pieces + k)) for k in range(len(order.joins))]
    assert sizes.count(2) == 4
    assert sizes[-1] == 17
    assert {5, 7} <= set(sizes)
    assert sum(len(join.seam.pivots) for join in order.joins) == 0
    # A peak's two wings, and the whole unit; all four are one kind each.
    assert plan.measures.rectangles == 4 + 8
    assert (plan.fewest_pivots, plan.optimal) == (True, True)


def test_units_stay_whole_where_an_order_without_them_would_be_another() -> None:
    # Twelve squares in two rows: as three four patches, and as patches of one grid.
    cloth = {"fabrics": [{"id": "background"}]}
    four = {"grid": {"blocks": [[GROUND, GROUND], [GROUND, GROUND]]}, **cloth}
    patches = read({"grid": {"blocks": [[four, four, four]]}})
    plain = read({"grid": {"blocks": [[GROUND] * 6] * 2}, **cloth})
    assert set(blocks_within(patches.built)) <= units_of(patches, worked(patches).order)  # type: ignore[arg-type]
    by_itself = {frozenset(f"b{n}" for n in (k, k + 1, k + 6, k + 7)) for k in (1, 3, 5)}
    assert not by_itself <= units_of(plain, worked(plain).order)


@pytest.mark.parametrize("id", ["sawtooth-star", "eight-point-star", "pineapple", "log-cabin"])
def test_block_in_a_grid_is_sewn_as_it_is_by_itself(id: str) -> None:
    block = read(
        {"grid": {"blocks": [[id, id]], "turns": [[90, 180]], "mirrored": [[False, True]]}}
    )
    alone = catalogue.load(id)
    seams = planar_map([p.outline for p in alone.pieces])
    own = measured(seams, order_of(alone, seams))
    plan = sewing_plan(block)
    assert plan.measures.pivots == 2 * own.pivots
    assert plan.measures.rectangles == 2 * own.rectangles + 1
    assert plan.measures.kinds == own.kinds + 1  # alike, and the seam between them
    assert plan.measures.levels == own.levels + 1


def test_joins_of_a_block_and_of_the_grid_are_kept() -> None:
    joins = ["peak", ["left", "right"]]
    own = {
        "pieces": [
            {"id": "left", "outline": [[0, 0], [3, 0], [3, 3], [0, 3]]},
            {"id": "right", "outline": [[3, 0], [6, 0], [6, 3], [3, 3]]},
            {"id": "peak", "outline": [[0, 3], [6, 3], [6, 6], [0, 6]]},
        ],
        "joins": joins,
    }
    spec = {
        "grid": {"blocks": [[own, own], [own, own]]},
        "joins": [["b1", "b3"], ["b2", "b4"]],
    }
    block = read(spec)
    found = nested(worked(block).order, [p.id for p in block.pieces])
    assert found == tuple(
        tuple((f"b{n}.peak", (f"b{n}.left", f"b{n}.right")) for n in column)
        for column in ((1, 3), (2, 4))
    )


def test_stretched_block_is_sewn_as_it_was() -> None:
    block = read(NINE_PEAKS)
    wide = finished(block, 18, 9)
    ids = [p.id for p in block.pieces]
    inner = block.built.units  # type: ignore[union-attr]
    units = units_of(wide, worked(wide).order)
    assert {frozenset(u.pieces) for u in inner} <= units
    assert len(nested(worked(wide).order, ids)) == 2


@settings(max_examples=8, deadline=None)
@given(st.lists(partitions.blocks(), min_size=1, max_size=2), st.data())
def test_each_block_of_a_grid_is_one_unit_of_the_order(
    blocks: list[Block], data: st.DataObject
) -> None:
    down, across = data.draw(st.tuples(st.integers(1, 2), st.integers(1, 3)))
    pick = st.sampled_from([str(k) for k in range(len(blocks))])
    cell = st.one_of(pick, st.just({"fabric": None}))
    grid = {
        "blocks": [[data.draw(cell) for _ in range(across)] for _ in range(down)],
        "turns": [
            [data.draw(st.sampled_from([0, 90, 180, 270])) for _ in range(across)]
            for _ in range(down)
        ],
    }
    inner = {"grid": grid}
    outer = {"grid": {"blocks": [[inner, inner]]}}
    for spec in (inner, outer):
        block = block_from_grid(spec, lambda id, _: blocks[int(id)])
        order = worked(block).order
        assert block.built is not None
        assert set(blocks_within(block.built)) <= units_of(block, order)
        assert sorted(members(order, order.pieces + len(order.joins) - 1)) == list(
            range(len(block.pieces))
        )
    # The same block is sewn alike in both places, piece for piece.
    assert block.built is not None
    one, other = (
        {
            frozenset(id.split(".", 1)[1] for id in unit)
            for unit in units_of(block, order)
            if all(id.startswith(place) for id in unit)
        }
        for place in ("b1.", "b2.")
    )
    assert one == other


def test_sewing_plan_says_that_blocks_are_made_first() -> None:
    said = " ".join(Words(sewing_plan(read(NINE_PEAKS))).overview())
    assert "9 blocks" in said
