"""The bulk of seams and the units that they are pressed away from, against ``press_reading``."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.model import Block, Joins
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.sewing.away import sides_away
from piecewright.patchwork.sewing.bulk import seam_bulks
from piecewright.patchwork.sewing.order import order_of
from tests.patchwork import partitions
from tests.patchwork.sewing.press_reading import PressReading

CATALOGUE = [entry.id for entry in catalogue.entries()]


def assert_as_read(block: Block) -> None:
    seams = planar_map([p.outline for p in block.pieces])
    order = order_of(block, seams)
    reading = PressReading(block, seams, order)
    assert seam_bulks(seams, order) == reading.bulks()
    away = [None if side is None else side == "first" for side in sides_away(seams, order)]
    assert away == reading.away()


@pytest.mark.parametrize("name", CATALOGUE)
def test_of_a_catalogue_block(name: str) -> None:
    assert_as_read(catalogue.load(name))


@given(partitions.blocks())
@settings(max_examples=40, deadline=None)
def test_of_a_random_block(block: Block) -> None:
    assert_as_read(block)


def bulks(name: str, joins: Joins | None = None) -> list[tuple[int, int]]:
    block = replace(catalogue.load(name), joins=joins)
    seams = planar_map([p.outline for p in block.pieces])
    return seam_bulks(seams, order_of(block, seams))


def test_a_triangle_has_the_seam_of_its_other_side_at_its_point() -> None:
    joins = (("peak", "left"), "right")
    assert bulks("triangle-in-a-square", joins) == [(1, 0), (1, 0)]


def test_a_log_has_the_ends_of_the_seams_within_on_the_inner_side() -> None:
    # The first seam makes a rectangle by itself; the second is touched by it at an end.
    assert bulks("log-cabin")[:5] == [(0, 0), (1, 0), (1, 0), (2, 0), (2, 0)]


def test_a_curved_seam_of_a_rectangle_has_no_bulk_of_its_own() -> None:
    assert bulks("drunkards-path") == [(0, 0)]


def test_the_four_seams_of_a_ring_are_as_bulky_as_each_other() -> None:
    """Each runs along the square and on past it: two seams on that side, and one on the other."""
    block = catalogue.load("bright-hopes")
    seams = planar_map([p.outline for p in block.pieces])
    order = order_of(block, seams)
    centre = [i for i, piece in enumerate(block.pieces) if piece.id == "centre"]
    for join, bulk in zip(order.joins, seam_bulks(seams, order), strict=True):
        inner_is_first = order.joins[0].first in centre or join is not order.joins[0]
        assert bulk == ((2, 1) if inner_is_first else (1, 2))
