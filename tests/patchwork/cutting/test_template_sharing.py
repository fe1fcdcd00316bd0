"""Which pieces share a template: counts of the trade, grain that is needed, and faces."""

from __future__ import annotations

from typing import Any

import pytest

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.read import block_from_pieces
from piecewright.patchwork.cutting.templates import TemplateSet, template_set
from piecewright.patchwork.outlines.cut_outlines import Corners

# How many templates a maker has of these blocks, by their shapes and the grain at the outside.
NEEDED = {
    "ohio-star": 2,
    "shoo-fly": 2,
    "birds-in-the-air": 2,
    "snail-trail": 5,
    "storm-at-sea": 7,
    "sailboat": 3,
    "dutchmans-puzzle": 2,
    "economy": 3,
    "tumbling-blocks": 1,
    "triangle-in-a-square": 2,
    "grandmothers-fan": 3,  # all blades are one, whichever corner of the block lies behind them
}


def set_of(block: Block, corners: Corners = "matched") -> TemplateSet:
    return template_set(block, Allowance(), corners)


def counts(found: TemplateSet) -> list[tuple[int, int]]:
    """How many pieces are cut face up and face down with each template, the most first."""
    return sorted(
        ((sum(c.plain for c in t.cuts), sum(c.reversed for c in t.cuts)) for t in found.templates),
        reverse=True,
    )


def block_of(**pieces: Any) -> Block:
    return block_from_pieces(
        {"pieces": [{"id": name, "outline": outline} for name, outline in pieces.items()]}
    )


@pytest.mark.parametrize("corners", ["matched", "blunt", "full"])
@pytest.mark.parametrize("name", NEEDED)
def test_one_template_for_each_shape_whatever_the_corners(name: str, corners: Corners) -> None:
    assert len(set_of(catalogue.load(name), corners).templates) == NEEDED[name]


def test_each_piece_by_itself_may_need_more() -> None:
    block = catalogue.load("triangle-in-a-square")
    assert len(set_of(block, "matched-each").templates) == 3


@pytest.mark.parametrize("name", ["eight-point-star", "tumbling-blocks", "orange-peel"])
def test_grain_along_one_side_of_a_diamond_reverses_none(name: str) -> None:
    assert all(reverse == 0 for _, reverse in counts(set_of(catalogue.load(name))))


def test_legs_on_the_grain_here_and_the_long_side_there_are_two_templates() -> None:
    # Quarter-square triangles: those at the corners of the block have their legs at its outside,
    # one in the middle of a side has its long side there.
    corner = {"nw": [[0, 0], [2, 0], [0, 2]], "ne": [[4, 0], [6, 0], [6, 2]]}
    goose = {"s": [[1, 4], [3, 2], [5, 4]]}
    block = block_of(
        **corner,
        **goose,
        w=[[2, 0], [3, 0], [3, 2], [1, 4], [0, 4], [0, 2]],
        e=[[3, 0], [4, 0], [6, 2], [6, 4], [5, 4], [3, 2]],
    )
    found = set_of(block, "full")
    (of_corners,) = (t for t in found.templates if set(t.pieces) & set(corner))
    (of_goose,) = (t for t in found.templates if "s" in t.pieces)
    assert set(of_corners.pieces) == set(corner)
    assert of_goose.bias_edges != of_corners.bias_edges
    assert len(of_goose.bias_edges) == 2
    assert len(of_corners.bias_edges) == 1


def test_piece_inside_takes_the_grain_of_the_template_of_its_shape() -> None:
    # The star's inner triangles lie with their long side to the middle square, those at the
    # outside with it on the edge of the block: one template, its long side on the grain.
    (triangle,) = (t for t in set_of(catalogue.load("ohio-star")).templates if len(t.pieces) == 16)
    assert len(triangle.bias_edges) == 2


def test_template_shows_the_face_that_most_of_its_pieces_have() -> None:
    # A scalene triangle, and three that are its mirror images.
    one = [[0, 0], [3, 0], [0, 1]]
    block = block_of(
        a=one,
        b=[[3, 0], [3, 1], [0, 1]],
        c=[[6, 0], [6, 1], [3, 0]],
        d=[[3, 0], [6, 1], [3, 1]],
        e=[[6, 0], [9, 0], [9, 1]],
        f=[[6, 0], [9, 1], [6, 1]],
    )
    found = set_of(block, "full")
    assert counts(found) == [(4, 2)]
    assert {p.id for p in found.pieces if p.reversed} == {"a", "b"}
