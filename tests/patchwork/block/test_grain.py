"""Grain lines and bias edges.

A grain is ``auto``, degrees, or ``free``; the outside of a block lies on the straight grain where
it can (common practice of the trade).
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.grain import bias_edges, grain_lines
from piecewright.patchwork.block.model import Block, finished
from piecewright.patchwork.block.read import block_from_pieces
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.cutting.templates import template_set
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


# --- strips inside the block -------------------------------------------------------------------


def test_logs_across_the_corners_of_a_pineapple_lie_along_the_cloth() -> None:
    """They are cut from strips (common practice), though their short ends run with the block."""
    found = grains(catalogue.load("pineapple"))
    for k in range(1, 5):
        assert [found[f"{corner}{k}"] for corner in ("ne", "se", "sw", "nw")] == [45, 135, 45, 135]
        assert [found[f"{side}{k}"] for side in "nesw"] == [0, 90, 0, 90]


SQUARE = [[0, 0], [12, 0], [12, 12], [0, 12]]

INSIDE = [
    # Legs with the block, whatever the long side does: a half square's, inside as outside.
    pytest.param([[4, 4], [8, 4], [4, 8]], {0, 90}, id="half square"),
    # The base with the block, and the point with it: the peak of a triangle in a square.
    pytest.param([[4, 8], [6, 2], [8, 8]], {0}, id="peak"),
    pytest.param([[2, 4], [6, 4], [8, 6], [4, 6]], {0}, id="parallelogram, its long sides level"),
    # Short sides with the block, and the long ones exactly twice as long as it is wide.
    pytest.param([[4, 4], [6, 4], [8, 6], [6, 6]], {0}, id="parallelogram of two half squares"),
    pytest.param([[3, 2], [5, 2], [10, 7], [10, 9]], {45}, id="log that slants, its ends upright"),
    pytest.param([[4, 3], [8, 5], [7, 7], [3, 5]], {26.565051}, id="oblong that slants"),
    pytest.param([[6, 3], [9, 6], [6, 9], [3, 6]], {45, 135}, id="square on point"),
]


@pytest.mark.parametrize(("outline", "either"), INSIDE)
def test_piece_inside_the_block_lies_as_the_trade_cuts_it(
    outline: list[list[float]], either: set[float]
) -> None:
    """Common practice: with the block where it can, and a strip along the cloth."""
    found = grains(set_in_a_square(outline))["inner"]
    assert found is not None
    assert round(found, 6) in either


def set_in_a_square(outline: list[list[float]]) -> Block:
    """A piece in the middle of a square, which is cut to its left and right from corner to corner
    of the piece."""
    top, bottom = min(outline, key=lambda p: p[1]), max(outline, key=lambda p: p[1])
    at, end = outline.index(top), outline.index(bottom)
    right = [*outline[at:], *outline[:at]][: (end - at) % len(outline) + 1]
    left = [*outline[end:], *outline[:end]][: (at - end) % len(outline) + 1]
    return block_of(
        inner=outline,
        right=[[top[0], 0], [12, 0], [12, 12], [bottom[0], 12], *right[::-1]],
        left=[[bottom[0], 12], [0, 12], [0, 0], [top[0], 0], *left[::-1]],
    )


# --- pieces of curves alone --------------------------------------------------------------------


def test_petals_lie_from_tip_to_tip() -> None:
    """Common practice: the arrow runs along the peel, so that all are cut alike."""
    found = grains(catalogue.load("orange-peel"))
    assert {k: found[k] for k in found if k.startswith("peel")} == {
        "peel-ne": 45.0,
        "peel-se": 135.0,
        "peel-sw": 45.0,
        "peel-nw": 135.0,
    }


def test_square_with_hollow_sides_lies_as_the_block_does() -> None:
    assert grains(catalogue.load("orange-peel"))["centre"] == 90.0


@pytest.mark.parametrize("degrees", [0, 17, 30, 62.5, 90, 119.3, 163])
def test_petal_lies_along_its_own_axis_however_it_is_turned_and_drawn(degrees: float) -> None:
    """Arcs are drawn as several curves where the block's author pleases: none of them counts."""
    x, y = 3 * math.cos(math.radians(degrees)), 3 * math.sin(math.radians(degrees))
    one, other = f"{6 - x} {6 - y}", f"{6 + x} {6 + y}"
    petal = f"M{one} A4 4 0 0 1 {other} A4 4 0 0 1 {one} Z"
    assert own_grain(petal) == pytest.approx(degrees, abs=0.1)


def test_disc_lies_as_the_block_does() -> None:
    assert own_grain("M3 6 A3 3 0 0 1 9 6 A3 3 0 0 1 3 6 Z") == 90.0


def own_grain(path: str) -> float:
    """The grain of a piece that fills a block by itself."""
    (found,) = grains(block_from_pieces({"pieces": [{"id": "one", "path": path}]})).values()
    assert found is not None
    return found


# --- pieces of one shape -----------------------------------------------------------------------


def test_all_wedges_of_a_kaleidoscope_are_cut_alike() -> None:
    """Four have their base at the outside; the other four follow them (common practice: eight
    wedges from one strip, their points along its width)."""
    block = catalogue.load("kaleidoscope")
    found = template_set(block, Allowance(), "full").templates
    assert sorted(len(template.pieces) for template in found) == [4, 8]


def test_outside_edges_may_give_one_shape_two_grains() -> None:
    """A half square with its legs at the outside, and one with its long side there."""
    tip = [6 + math.sqrt(8), math.sqrt(8)]
    end = [6 + math.sqrt(32), 0]
    block = block_of(
        corner=[[0, 0], [4, 0], [0, 4]],
        setting=[[6, 0], end, tip],
        rest=[[4, 0], [6, 0], tip, end, [12, 0], [12, 12], [0, 12], [0, 4]],
    )
    assert {grains(block)["corner"], grains(block)["setting"]} <= {0.0, 90.0}
    assert len(template_set(block, Allowance(), "full").templates) == 3


def test_a_grain_that_its_author_gave_is_no_rule_for_others() -> None:
    block = block_of(
        a=([[2, 2], [4, 2], [4, 4], [2, 4]], 30),
        b=[[4, 2], [6, 2], [6, 4], [4, 4]],
        top=[[0, 0], [8, 0], [8, 2], [6, 2], [4, 2], [2, 2], [0, 2]],
        bottom=[[0, 2], [2, 2], [2, 4], [4, 4], [6, 4], [6, 2], [8, 2], [8, 8], [0, 8]],
    )
    found = grains(block)
    assert found["a"] == 30.0
    assert found["b"] in (0.0, 90.0)


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
