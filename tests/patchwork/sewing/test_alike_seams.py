"""Seams that are alike: worked examples; their pairs are counted in ``test_pressing``."""

from __future__ import annotations

from dataclasses import replace

import pytest

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.read import block_from_drawing
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.sewing.alike_seams import AlikeSeams, alike_seams
from piecewright.patchwork.sewing.order import order_of


def classes(block: Block) -> list[AlikeSeams]:
    seams = planar_map([p.outline for p in block.pieces])
    return alike_seams(seams, order_of(block, seams))


def test_seams_of_a_fan_are_alike_however_its_arcs_are_drawn() -> None:
    # Some blades' arcs are two curves, where the arc of the whole fan was cut up.
    (blades,) = classes(catalogue.load("grandmothers-fan"))
    assert len(blades.joins) == 5
    assert not blades.either
    assert len(set(blades.first)) == 1


def test_the_two_seams_of_a_goose_are_carried_onto_each_other_by_a_flip() -> None:
    block = replace(catalogue.load("triangle-in-a-square"), joins=(("peak", "left"), "right"))
    (pair,) = classes(block)
    # Both have the peak in their first unit, and both go away from it or both toward it.
    assert (pair.joins, pair.either) == ((0, 1), False)
    assert len(set(pair.first)) == 1


def test_squares_are_pressed_alike_either_way() -> None:
    frame = [[0, 0], [2, 0], [2, 2], [0, 2]]
    block = block_from_drawing({"frame": frame, "lines": [[[1, 0], [1, 2]], [[0, 1], [2, 1]]]})
    (pair,) = classes(block)
    assert pair.either
    assert pair.pressed_alike(("first", "second", "first")) == pair.pairs == 1


def test_strips_of_other_widths_are_not_alike() -> None:
    frame = [[0, 0], [4, 0], [4, 6], [0, 6]]
    lines = [[[1, 0], [1, 6]], [[2.2, 0], [2.2, 6]], [[3, 0], [3, 6]]]
    assert classes(block_from_drawing({"frame": frame, "lines": lines})) == []


@pytest.mark.parametrize(
    ("directions", "alike"),
    [
        (("first", "first", "first"), 3),
        (("first", "second", "first"), 1),
        (("open", "open", "first"), 1),
        (("open", "second", "first"), 0),
    ],
)
def test_pairs_pressed_alike(directions: tuple[str, ...], alike: int) -> None:
    one = AlikeSeams((0, 1, 2), (True, True, True), False)
    assert one.pressed_alike(directions) == alike  # type: ignore[arg-type]
