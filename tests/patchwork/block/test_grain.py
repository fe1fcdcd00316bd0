"""Grain lines and bias edges.

A grain is ``auto``, degrees, or ``free``; the outside of a block lies on the straight grain where
it can (common practice of the trade).
"""

from __future__ import annotations

from typing import Any

import pytest

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.grain import bias_edges, grain_lines
from piecewright.patchwork.block.model import Block, finished
from piecewright.patchwork.block.read import block_from_pieces
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.geometry import paths


def grains(block: Block) -> dict[str, float | None]:
    seams = planar_map([p.outline for p in block.pieces])
    found = grain_lines(seams, block.pieces)
    return {p.id: g for p, g in zip(block.pieces, found, strict=True)}


def block_of(**outlines: Any) -> Block:
    pieces = []
    for name, given in outlines.items():
        outline, grain = given if isinstance(given, tuple) else (given, "auto")
        pieces.append({"id": name, "outline": outline, "grain": grain})
    return block_from_pieces({"pieces": pieces})


def test_longest_edge_at_the_outside_of_the_block_takes_the_grain() -> None:
    found = grains(block_of(wide=[[0, 0], [6, 0], [6, 2], [0, 2]]))
    assert found == {"wide": 0.0}


def test_parts_of_one_outside_edge_count_as_one() -> None:
    # The long side is divided by nothing of its own but by a neighbour's corner.
    found = grains(
        block_of(
            strip=[[0, 0], [4, 0], [4, 3], [0, 3]],
            right=[[4, 0], [6, 0], [6, 3], [4, 3]],
        )
    )
    assert found["strip"] == 0.0
    assert found["right"] == 90.0


def test_setting_triangle_has_its_long_edge_on_the_grain() -> None:
    # A flying goose at the edge of the block: its base is at the outside.
    star = grains(catalogue.load("sawtooth-star"))
    assert star["n"] == 0.0
    assert star["e"] == 90.0


def test_inner_piece_takes_the_direction_of_a_side_of_the_block() -> None:
    nine_patch = grains(catalogue.load("nine-patch"))
    assert set(nine_patch.values()) <= {0.0, 90.0}


def test_inner_square_on_point_takes_its_longest_edge() -> None:
    block = block_of(
        centre=[[3, 0.5], [5.5, 3], [3, 5.5], [0.5, 3]],
        nw=[[0, 0], [3, 0], [3, 0.5], [0.5, 3], [0, 3]],
        ne=[[3, 0], [6, 0], [6, 3], [5.5, 3], [3, 0.5]],
        se=[[6, 3], [6, 6], [3, 6], [3, 5.5], [5.5, 3]],
        sw=[[3, 6], [0, 6], [0, 3], [0.5, 3], [3, 5.5]],
    )
    assert grains(block)["centre"] in (pytest.approx(45.0), pytest.approx(135.0))


def test_grain_given_in_degrees_wins() -> None:
    found = grains(block_of(a=([[0, 0], [6, 0], [6, 2], [0, 2]], 30)))
    assert found == {"a": 30.0}


def test_free_piece_has_no_grain() -> None:
    found = grains(block_of(a=([[0, 0], [6, 0], [6, 2], [0, 2]], "free")))
    assert found == {"a": None}


def test_given_grain_turns_with_a_block_that_is_stretched() -> None:
    block = block_of(a=([[0, 0], [6, 0], [6, 6], [0, 6]], 45))
    tall = finished(block, width=6, height=12)
    assert grains(tall)["a"] == pytest.approx(63.4349, abs=1e-3)


def test_piece_of_curves_alone_takes_the_chord_of_its_longest() -> None:
    peel = grains(catalogue.load("orange-peel"))
    assert peel["peel-ne"] is not None


class TestBias:
    TRIANGLE = paths.polygon([(0.0, 0.0), (3.0, 0.0), (0.0, 3.0)])

    def test_long_edge_of_a_half_square_triangle_is_bias(self) -> None:
        assert bias_edges(self.TRIANGLE, 0.0) == (1,)

    def test_legs_are_bias_when_the_long_edge_is_on_the_grain(self) -> None:
        assert bias_edges(self.TRIANGLE, 135.0) == (0, 2)

    def test_no_edge_is_named_without_a_grain(self) -> None:
        assert bias_edges(self.TRIANGLE, None) == ()

    def test_cross_grain_is_no_bias(self) -> None:
        assert bias_edges(paths.polygon([(0, 0), (2, 0), (2, 1), (0, 1)]), 90.0) == ()

    def test_curved_edge_is_bias_with_all_its_parts(self) -> None:
        pie = (
            *paths.arc((0.0, 2.0), 2, 2, 0, False, True, (2.0, 0.0)),
            paths.Line((2.0, 0.0), (2.0, 2.0)),
            paths.Line((2.0, 2.0), (0.0, 2.0)),
        )
        points = paths.ring(pie)
        assert bias_edges(pie, 0.0) == tuple(range(len(points) - 2))
