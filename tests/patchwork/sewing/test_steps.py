"""Steps of sewing: sizes of the trade (a 12 in block is 12 1/2 in unfinished), Shapely's mitred
buffer and rotated rectangle, and what stays the same when a block is turned."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from functools import cache

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import Order, nested, order_from
from piecewright.patchwork.block.model import Block, Joins, finished
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.block.seams import Seams, planar_map
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.sewing.crossings import Press
from piecewright.patchwork.sewing.order import order_of
from piecewright.patchwork.sewing.pressing import pressing_plan
from piecewright.patchwork.sewing.rectangles import Size
from piecewright.patchwork.sewing.steps import SewingSteps, sewing_steps
from tests.patchwork import partitions
from tests.patchwork.beyond_doubt import is_rectangle
from tests.patchwork.foundation.foundations import strips

CATALOGUE = [entry.id for entry in catalogue.entries()]


@cache
def planned(name: str) -> tuple[Seams, Order, tuple[Press, ...]]:
    """A block of the catalogue, with its order of sewing and which way each seam is pressed."""
    block = catalogue.load(name)
    seams, order = sewn(block)
    return seams, order, pressing_plan(block, seams, order).directions


def sewn(block: Block) -> tuple[Seams, Order]:
    seams = planar_map([p.outline for p in block.pieces])
    return seams, order_of(block, seams)


def steps_of(block: Block, allowance: Allowance | None = None) -> SewingSteps:
    seams, order = sewn(block)
    directions = pressing_plan(block, seams, order).directions
    return sewing_steps(block, seams, order, directions, allowance)


def pressed_alike(block: Block) -> SewingSteps:
    seams, order = sewn(block)
    return sewing_steps(block, seams, order, ["first"] * len(order.joins))


def square(*lines: list[list[float]], side: float = 3.0) -> Block:
    frame = [[0, 0], [side, 0], [side, side], [0, side]]
    return block_from_drawing({"frame": frame, "lines": list(lines)})


def turned(block: Block, degrees: float) -> Block:
    cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))

    def at(p: Point) -> Point:
        return (cos * p[0] - sin * p[1], sin * p[0] + cos * p[1])

    def piece(outline: paths.Outline) -> paths.Outline:
        return tuple(
            Line(at(s.start), at(s.end))
            if isinstance(s, Line)
            else paths.Curve(at(s.start), at(s.handle1), at(s.handle2), at(s.end))
            for s in outline
        )

    return replace(block, pieces=tuple(replace(p, outline=piece(p.outline)) for p in block.pieces))


def size(width: float, height: float) -> Size:
    return Size(pytest.approx(width), pytest.approx(height))  # type: ignore[arg-type]


# --- sizes -----------------------------------------------------------------------------------


def test_twelve_inch_block_is_twelve_and_a_half_unfinished() -> None:
    block = finished(catalogue.load("sawtooth-star"), width=12)
    assert steps_of(block).steps[-1].unfinished == size(12.5, 12.5)


def test_units_of_a_nine_patch_have_an_allowance_on_each_side() -> None:
    sizes = [s.unfinished for s in steps_of(finished(catalogue.load("nine-patch"), width=9)).steps]
    assert Counter((s.width, s.height) for s in sizes if s) == {
        (6.5, 3.5): 3,
        (9.5, 3.5): 3,
        (9.5, 6.5): 1,
        (9.5, 9.5): 1,
    }


def test_outside_of_the_block_has_its_own_allowance() -> None:
    block = square([[3, 0], [3, 6]], [[0, 3], [6, 3]], side=6.0)
    steps = steps_of(block, Allowance(seam=0.25, edge=0.5)).steps
    # Two squares side by side: outside on three sides, a seam is still to come on the fourth.
    assert sorted((steps[0].unfinished.width, steps[0].unfinished.height)) == [3.75, 7.0]  # type: ignore[union-attr]
    assert steps[-1].unfinished == size(7.0, 7.0)


def test_square_on_point_is_measured_along_its_own_sides() -> None:
    block = square(
        [[3, 0], [6, 3]],
        [[6, 3], [3, 6]],
        [[3, 6], [0, 3]],
        [[0, 3], [3, 0]],
        [[1.5, 1.5], [4.5, 4.5]],
        side=6.0,
    )
    seams = planar_map([p.outline for p in block.pieces])
    # The two halves of the inner square first, then the corners.
    inner = [
        p.id
        for p in block.pieces
        if all(abs(s.start[0] - 3) + abs(s.start[1] - 3) <= 3 + 1e-6 for s in p.outline)
    ]
    joins: Joins = (inner[0], inner[1])
    for piece in block.pieces:
        if piece.id not in inner:
            joins = (joins, piece.id)
    order = order_from(seams, [p.id for p in block.pieces], joins)
    found = sewing_steps(block, seams, order, ["first"] * len(order.joins)).steps
    side = 3 * math.sqrt(2) + 0.5
    assert found[0].unfinished == size(side, side)


def test_triangular_and_curved_units_have_no_size_to_trim_to() -> None:
    geese = steps_of(catalogue.load("flying-geese")).steps
    assert [s.unfinished is None for s in geese].count(True) == 4
    petals = steps_of(catalogue.load("orange-peel")).steps
    assert petals[0].unfinished is None


def test_unit_with_a_curved_seam_inside_is_trimmed_all_the_same() -> None:
    (step,) = steps_of(catalogue.load("drunkards-path")).steps
    assert step.kind == "curved"
    assert len(step.seam) > 10
    assert step.unfinished == size(6.5, 6.5)


def test_pivots_of_a_set_in_seam_are_given() -> None:
    last = steps_of(catalogue.load("attic-windows")).steps[-1]
    assert last.kind == "set-in"
    assert last.pivots == ((2.0, 4.0),)


def assert_sizes_as_shapely_has_them(block: Block) -> None:
    seams, order = sewn(block)
    found = sewing_steps(block, seams, order, ["first"] * len(order.joins))
    shapes = {p.id: Polygon(paths.ring(p.outline)).buffer(1e-6) for p in block.pieces}
    straight = {p.id: all(isinstance(s, Line) for s in p.outline) for p in block.pieces}
    for step in found.steps:
        pieces = step.units[0] + step.units[1]
        unit = shapely.unary_union([shapes[i] for i in pieces])
        around = unit.minimum_rotated_rectangle
        full = is_rectangle(unit) if all(straight[i] for i in pieces) else None
        if full is False:
            assert step.unfinished is None
        elif step.unfinished is not None:
            assert unit.area / around.area > 1 - 1e-3
            corners = list(around.buffer(0.25, join_style="mitre").exterior.coords)
            sides = sorted(math.dist(p, q) for p, q in zip(corners[:2], corners[1:3], strict=True))
            assert sorted((step.unfinished.width, step.unfinished.height)) == pytest.approx(
                sides, abs=5e-3
            )
        else:
            assert full is None


@pytest.mark.parametrize("name", CATALOGUE)
def test_sizes_of_a_catalogue_block_are_those_of_the_units_rectangles(name: str) -> None:
    assert_sizes_as_shapely_has_them(catalogue.load(name))


@given(partitions.straight_blocks(), st.sampled_from([0.0, 30.0, 45.0, 77.5]))
@settings(max_examples=40, deadline=None)
def test_sizes_of_a_random_block_are_those_of_the_units_rectangles(
    block: Block, degrees: float
) -> None:
    assert_sizes_as_shapely_has_them(turned(block, degrees))


def test_each_strip_of_a_long_chain_adds_its_finished_width() -> None:
    """Five hundred strips, each sewn to all before it; an allowance stays on either side."""
    block = strips([1.5] * 500)
    row: Joins = "s1"
    for k in range(2, 501):
        row = (row, f"s{k}")
    steps = pressed_alike(replace(block, joins=row)).steps
    assert [s.unfinished for s in steps] == [size(1.5 * k + 0.5, 6.5) for k in range(2, 501)]
    assert [s.level for s in steps] == list(range(1, 500))
    assert all(s.like == s.join for s in steps)  # each has one strip more than any other


def test_drawing_in_rounded_thirds_is_still_a_rectangle() -> None:
    block = square([[3.333, 0], [3.333, 10]], [[6.667, 0], [6.667, 10]], side=10.0)
    for step in steps_of(block).steps:
        assert step.unfinished is not None
        assert step.unfinished.height == pytest.approx(10.5)


# --- levels ----------------------------------------------------------------------------------


@given(partitions.blocks())
@settings(max_examples=30, deadline=None)
def test_units_of_a_step_are_made_at_lower_levels(block: Block) -> None:
    found = pressed_alike(block)
    made: dict[tuple[str, ...], int] = {(p.id,): 0 for p in block.pieces}
    for step in found.steps:
        first, second = step.units
        assert step.level == 1 + max(made[first], made[second])
        made[first + second] = step.level
    assert sorted(k for batch in found.batches for k in batch) == list(range(len(found.steps)))
    assert all(found.steps[k].level == n for n, b in enumerate(found.batches, 1) for k in b)


def test_four_half_squares_of_a_pinwheel_are_one_batch() -> None:
    found = steps_of(catalogue.load("pinwheel"))
    assert [len(batch) for batch in found.batches] == [4, 2, 1]


# --- steps that are alike --------------------------------------------------------------------


def test_a_pinwheel_is_sewn_in_three_kinds_of_steps() -> None:
    found = pressed_alike(catalogue.load("pinwheel"))
    assert len({s.like for s in found.steps}) <= 4
    assert len({found.steps[k].like for k in found.batches[2]}) == 1


def test_pieces_turned_any_way_make_alike_steps() -> None:
    block = _two_squares()
    likes = [s.like for s in pressed_alike(block).steps]
    assert likes[:2] == [0, 0]


def _two_squares() -> Block:
    """Two squares cut from corner to corner, the one as the other is after a quarter turn."""
    lines = [[[3, 0], [3, 3]], [[0, 0], [3, 3]], [[3, 3], [6, 0]]]
    frame = [[0, 0], [6, 0], [6, 3], [0, 3]]
    return block_from_drawing({"frame": frame, "lines": lines})


def rectangles_cut_from_corner_to_corner(flipped: bool) -> Block:
    """Two upright rectangles, the second cut like the first or like its mirror image."""
    second = [[2, 4], [4, 0]] if flipped else [[2, 0], [4, 4]]
    frame = [[0, 0], [4, 0], [4, 4], [0, 4]]
    lines = [[[2, 0], [2, 4]], [[0, 0], [2, 4]], second]
    return block_from_drawing({"frame": frame, "lines": lines})


def test_mirrored_step_is_not_alike() -> None:
    assert [s.like for s in pressed_alike(rectangles_cut_from_corner_to_corner(False)).steps][
        :2
    ] == [0, 0]
    assert [s.like for s in pressed_alike(rectangles_cut_from_corner_to_corner(True)).steps][
        :2
    ] == [0, 1]


def test_units_named_the_other_way_round_are_alike_if_pressed_to_the_same_side() -> None:
    block = block_from_pieces(
        {
            "pieces": [
                {"id": f"{c}{r}", "outline": [[x, y], [x + w, y], [x + w, y + 2], [x, y + 2]]}
                for r, y in enumerate((0, 2))
                for c, x, w in (("narrow", 0, 1), ("wide", 1, 3))
            ],
            "joins": [["narrow0", "wide0"], ["wide1", "narrow1"]],
        }
    )
    seams, order = sewn(block)
    same: list[Press] = ["first", "second", "first"]
    other: list[Press] = ["first", "first", "first"]
    assert [s.like for s in sewing_steps(block, seams, order, same).steps] == [0, 0, 2]
    assert [s.like for s in sewing_steps(block, seams, order, other).steps] == [0, 1, 2]


def test_side_divided_by_a_neighbour_makes_no_difference() -> None:
    # Below the first square lie two strips, below the second lies one.
    boxes = {
        "a": (0, 0, 2, 2), "b": (2, 0, 4, 2), "c": (4, 0, 6, 2), "d": (6, 0, 8, 2),
        "e": (0, 2, 1, 4), "f": (1, 2, 4, 4), "g": (4, 2, 8, 4),
    }  # fmt: skip
    block = block_from_pieces(
        {
            "pieces": [
                {"id": i, "outline": [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]}
                for i, (x0, y0, x1, y1) in boxes.items()
            ],
            "joins": [[["a", "b"], ["c", "d"]], [["e", "f"], "g"]],
        }
    )
    seams, order = sewn(block)
    assert sewing_steps(block, seams, order, ["first"] * 6).steps[1].like == 0


@pytest.mark.parametrize("name", CATALOGUE)
@pytest.mark.parametrize("degrees", [90.0, 33.0])
def test_turning_a_block_changes_neither_likeness_nor_rounds(name: str, degrees: float) -> None:
    block = catalogue.load(name)
    seams, order, directions = planned(name)
    other = turned(block, degrees)
    other_seams = planar_map([p.outline for p in other.pieces])
    joins = nested(order, [p.id for p in block.pieces])
    other_order = order_from(other_seams, [p.id for p in block.pieces], joins)
    one = sewing_steps(block, seams, order, directions)
    two = sewing_steps(other, other_seams, other_order, directions)
    assert [s.like for s in one.steps] == [s.like for s in two.steps]
    assert [(r.number, r.centre, r.joins) for r in one.rounds] == [
        (r.number, r.centre, r.joins) for r in two.rounds
    ]


# --- rounds ----------------------------------------------------------------------------------


def test_log_cabin_is_squared_up_after_each_round() -> None:
    rounds = steps_of(catalogue.load("log-cabin")).rounds
    assert [r.centre for r in rounds] == [("centre",)] * 4
    assert [len(r.joins) for r in rounds] == [4, 4, 4, 4]
    assert [r.unfinished for r in rounds] == [size(s, s) for s in (3.5, 5.5, 7.5, 9.5)]
    assert rounds[1].from_centre == pytest.approx((2.75,) * 4)


def test_off_centre_log_cabin_is_measured_from_its_centre() -> None:
    first, *_ = steps_of(catalogue.load("off-centre-log-cabin")).rounds
    assert first.unfinished == size(4.5, 4.5)
    assert first.from_centre == pytest.approx((2.75, 1.75, 1.75, 2.75))


def test_cabin_that_grows_round_one_corner_has_rounds_of_two_strips() -> None:
    pieces = [{"id": "c", "outline": [[0, 0], [2, 0], [2, 2], [0, 2]]}]
    joins: object = "c"
    for n in (2, 3, 4):
        pieces.append({"id": f"r{n}", "outline": [[n, 0], [n + 1, 0], [n + 1, n], [n, n]]})
        pieces.append({"id": f"b{n}", "outline": [[0, n], [n + 1, n], [n + 1, n + 1], [0, n + 1]]})
        joins = [[joins, f"r{n}"], f"b{n}"]
    rounds = steps_of(block_from_pieces({"pieces": pieces, "joins": joins})).rounds
    assert [r.centre for r in rounds] == [("c",)] * 3
    assert [r.unfinished for r in rounds] == [size(s, s) for s in (3.5, 4.5, 5.5)]


def test_cabin_of_many_rounds_grows_by_two_strips_each_time() -> None:
    """Strips of an inch: each round adds two inches to both sides of a centre of two."""
    pieces = [{"id": "c", "outline": [[-1, -1], [1, -1], [1, 1], [-1, 1]]}]
    joins: object = "c"
    for n in range(1, 41):
        m = n + 1
        logs = {
            "n": [[-n, -m], [n, -m], [n, -n], [-n, -n]],
            "e": [[n, -m], [m, -m], [m, n], [n, n]],
            "s": [[-n, n], [m, n], [m, m], [-n, m]],
            "w": [[-m, -m], [-n, -m], [-n, m], [-m, m]],
        }
        for side, outline in logs.items():
            pieces.append({"id": f"{side}{n}", "outline": outline})
            joins = [joins, f"{side}{n}"]
    rounds = steps_of(block_from_pieces({"pieces": pieces, "joins": joins})).rounds
    assert [r.joins for r in rounds] == [tuple(range(4 * k, 4 * k + 4)) for k in range(40)]
    assert [r.unfinished for r in rounds] == [
        size(s, s) for s in (2.5 + 2 * k for k in range(1, 41))
    ]
    assert all(r.from_centre == pytest.approx((1.25 + r.number,) * 4) for r in rounds)


def test_centre_of_several_pieces_is_framed_in_one_round() -> None:
    pieces = [
        {"id": f"{i}{j}", "outline": [[x, y], [x + 2, y], [x + 2, y + 2], [x, y + 2]]}
        for i, x in enumerate((1, 3))
        for j, y in enumerate((1, 3))
    ]
    pieces += [
        {"id": "n", "outline": [[1, 0], [5, 0], [5, 1], [1, 1]]},
        {"id": "s", "outline": [[1, 5], [5, 5], [5, 6], [1, 6]]},
        {"id": "w", "outline": [[0, 0], [1, 0], [1, 6], [0, 6]]},
        {"id": "e", "outline": [[5, 0], [6, 0], [6, 6], [5, 6]]},
    ]
    joins = [[[[[["00", "01"], ["10", "11"]], "n"], "s"], "w"], "e"]
    (only,) = steps_of(block_from_pieces({"pieces": pieces, "joins": joins})).rounds
    assert only.centre == ("00", "01", "10", "11")
    assert only.unfinished == size(6.5, 6.5)
    assert only.from_centre == pytest.approx((3.25,) * 4)


@pytest.mark.parametrize(
    "name", ["nine-patch", "flying-geese", "roman-stripe", "attic-windows", "wonky-star"]
)
def test_rows_strips_and_geese_have_no_rounds(name: str) -> None:
    assert steps_of(catalogue.load(name)).rounds == ()
