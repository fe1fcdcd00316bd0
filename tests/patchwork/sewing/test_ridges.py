"""What the presser foot meets along a seam, against cloth laid out with Shapely.

Common practice at the machine: raw edges to the right of the needle and cloth to its left; points
on top, where they are seen; underneath, allowances point to the maker.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import cache

import pytest
import shapely
from shapely.geometry import LineString, Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import Spans
from piecewright.patchwork.block.model import Block, finished
from piecewright.patchwork.block.read import block_from_pieces
from piecewright.patchwork.block.seams import Edge, planar_map
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import Point, Vector, between, minus, normalised, plus
from piecewright.patchwork.sewing.crossings import Press
from piecewright.patchwork.sewing.order import order_of
from piecewright.patchwork.sewing.plan import SewingPlan, sewing_plan
from piecewright.patchwork.sewing.ridges import AtNeedle, at_needle
from piecewright.patchwork.sewing.steps import Step

WIDE = 0.25
"""Inches; the allowance."""

BLOCKS = ["nine-patch", "dutchmans-puzzle", "storm-at-sea", "wonky-star", "eight-point-star"]


@cache
def planned(name: str) -> SewingPlan:
    return sewing_plan(catalogue.load(name))


def fed(plan: SewingPlan) -> Iterator[tuple[Step, AtNeedle]]:
    """The steps with straight seams that others cross."""
    for step in plan.sewing.steps:
        if step.needle is not None and step.kind == "straight":
            yield step, step.needle


class Cloth:
    """The units that a step sews to each other, right sides up as they lie in the block."""

    def __init__(self, plan: SewingPlan, step: Step) -> None:
        self.plan, self.join = plan, plan.order.joins[step.join]
        spans = Spans(plan.order)
        self.pieces = [spans.pieces(unit) for unit in (self.join.first, self.join.second)]
        shapes = [Polygon(paths.ring(piece.outline)) for piece in plan.block.pieces]
        self.units = [shapely.union_all([shapes[i] for i in own]) for own in self.pieces]

    def raw_edge(self, unit: int, start: Point, back: Vector) -> float:
        """How far the cloth of a unit reaches back along the stitches from their start."""
        whole = self.units[unit].buffer(WIDE, join_style="mitre", mitre_limit=99)
        stitches = LineString([plus(start, back, -0.01), plus(start, back, 6 * WIDE)])
        under_them = shapely.get_parts(stitches.intersection(whole))
        (found,) = (part for part in under_them if part.distance(shapely.Point(start)) < 1e-9)
        return float(found.length) - 0.01

    def arriving(self, at: Point) -> list[tuple[Edge, Polygon]]:
        """The seams that arrive at a point, with the allowances that were pressed to a side."""
        found = []
        for edge, join in zip(self.plan.seams.edges, self.plan.order.sewn_by, strict=True):
            ends = [self.plan.seams.points[p] for p in (edge.start, edge.end)]
            inside = any({edge.left, edge.right} <= set(own) for own in self.pieces)
            if join is None or at not in ends or not inside:
                continue
            toward = self.plan.order.joins[join]
            unit = toward.first if self.plan.pressing.directions[join] == "first" else toward.second
            to_right = Spans(self.plan.order).holds(unit, edge.right)
            along = normalised(minus(ends[1], ends[0]))
            aside = (-along[1], along[0]) if to_right else (along[1], -along[0])
            one, other = plus(at, along, 9.0), plus(at, along, -9.0)
            found.append(
                (edge, Polygon([one, other, plus(other, aside, WIDE), plus(one, aside, WIDE)]))
            )
        return found


@pytest.mark.parametrize("name", BLOCKS)
def test_the_foot_climbs_where_allowances_lie_under_it(name: str) -> None:
    plan = planned(name)
    for step, needle in fed(plan):
        cloth, along = Cloth(plan, step), normalised(minus(needle.end, needle.start))
        back = (-along[0], -along[1])
        before = min(cloth.raw_edge(unit, needle.start, back) for unit in (0, 1))
        stitches = LineString([plus(needle.start, back, before), needle.end])
        expected = []
        for side in plan.order.joins[step.join].seam.sides[1:]:
            at = plan.seams.points[plan.seams.start(side)]
            arms = cloth.arriving(at)
            angles = [angle_between(plan, edge, along) for edge, _ in arms]
            under = [
                2 + 2 * sum(strip.covers(shapely.Point(plus(at, along, by))) for _, strip in arms)
                for by in (-0.02, 0.02)
            ]
            if max(under) > 4 or any(degrees < 66.0 for degrees in angles):
                begins = min(
                    stitches.project(shapely.Point(p))
                    for _, strip in arms
                    for p in strip.intersection(stitches).coords
                )
                expected.append((round(begins, 6), max(under), min(angles) < 66.0))
        found = [(round(r.from_start, 6), r.layers, r.slanted) for r in needle.ridges]
        assert sorted(found) == sorted(expected)


def angle_between(plan: SewingPlan, edge: Edge, along: Vector) -> float:
    ends = [plan.seams.points[p] for p in (edge.start, edge.end)]
    way = normalised(minus(ends[1], ends[0]))
    return math.degrees(math.acos(min(1.0, abs(way[0] * along[0] + way[1] * along[1]))))


@pytest.mark.parametrize("name", BLOCKS)
def test_laid_right_sides_together_the_cloth_is_to_the_left_of_the_needle(name: str) -> None:
    """The unit underneath lies face up as in the block; the maker faces the start of the seam."""
    plan = planned(name)
    for step, needle in fed(plan):
        beneath = Cloth(plan, step).units[needle.on_top == "first"]
        facing = normalised(minus(needle.start, needle.end))
        left = (facing[1], -facing[0])  # facing up the page, where y gets less, x gets less
        middle = between(needle.start, needle.end, 0.5)
        assert beneath.distance(shapely.Point(plus(middle, left, 0.01))) == 0.0


# --- by hand ---------------------------------------------------------------------------------


def needle_of(
    block: Block, directions: list[Press], allowance: Allowance | None = None
) -> AtNeedle:
    """How the last seam of a block is fed."""
    seams = planar_map([piece.outline for piece in block.pieces])
    order = order_of(block, seams)
    found = at_needle(seams, order, directions, allowance or Allowance())[-1]
    assert found is not None
    return found


def four_patch() -> Block:
    boxes = {"a": (0, 0), "b": (3, 0), "c": (0, 3), "d": (3, 3)}
    return block_from_pieces(
        {
            "pieces": [
                {"id": k, "outline": [[x, y], [x + 3, y], [x + 3, y + 3], [x, y + 3]]}
                for k, (x, y) in boxes.items()
            ],
            "joins": [["a", "b"], ["c", "d"]],
        }
    )


def test_seams_of_a_four_patch_nest_without_a_ridge() -> None:
    """Upper row toward its left, lower row to its right: sewn from the left, the lower one lies
    underneath, and its allowance points to the maker."""
    needle = needle_of(four_patch(), ["first", "second", "first"])
    assert (needle.start, needle.on_top) == ((0.0, 3.0), "first")
    assert (needle.ridges, needle.folds) == ((), ())


def test_an_allowance_underneath_that_lies_toward_the_start_may_fold_over() -> None:
    """The other way about. It is met a quarter inch before the seams, which are 3 1/4 in along."""
    needle = needle_of(four_patch(), ["second", "first", "first"])
    assert [(fold.at, fold.from_start) for fold in needle.folds] == [((3.0, 3.0), 3.0)]
    assert needle.ridges == ()


def test_seams_pressed_to_one_side_make_a_ridge_of_six_layers() -> None:
    needle = needle_of(four_patch(), ["first", "first", "first"])
    assert [(r.layers, r.slanted) for r in needle.ridges] == [(6, False)]


def test_a_ridge_is_measured_from_the_raw_edge_of_the_outside() -> None:
    found = [
        needle_of(four_patch(), ["first", "first", "first"], Allowance(0.25, edge)).ridges[0]
        for edge in (0.25, 0.5)
    ]
    assert found[1].from_start - found[0].from_start == pytest.approx(0.25)


def test_a_pieced_row_lies_on_a_plain_strip() -> None:
    """Common practice: what is pieced is seen."""
    block = block_from_pieces(
        {
            "pieces": [
                {"id": "a", "outline": [[0, 0], [3, 0], [3, 3], [0, 3]]},
                {"id": "b", "outline": [[3, 0], [6, 0], [6, 3], [3, 3]]},
                {"id": "strip", "outline": [[0, 3], [6, 3], [6, 4], [0, 4]]},
            ],
            "joins": [["a", "b"], "strip"],
        }
    )
    for press in ("first", "second"):
        needle = needle_of(block, [press, "first"])
        assert (needle.on_top, needle.folds, needle.ridges) == ("first", (), ())


def test_the_point_of_a_goose_lies_on_top() -> None:
    """Common practice: one sews just beside the point, and so has to see it."""
    for step, needle in fed(planned("nine-patch-star")):
        for unit, name in zip(step.units, ("first", "second"), strict=True):
            if len(unit) == 3 and len(needle.ridges) == 1:  # sewn to the nine patch, point inward
                assert needle.on_top == name


def test_the_foot_meets_the_middle_of_a_pinwheel_two_and_seven_eighths_in_on() -> None:
    """At 6 in finished: 3 in and a quarter to the raw edge, less a slanted quarter inch."""
    last = sewing_plan(finished(catalogue.load("pinwheel"), width=6)).sewing.steps[-1]
    assert last.needle is not None
    (ridge,) = last.needle.ridges
    assert (ridge.at, ridge.layers, ridge.slanted) == ((3.0, 3.0), 8, True)
    assert ridge.from_start == pytest.approx(3.25 - 0.25 * math.sqrt(2))


def test_a_log_cabin_has_nothing_to_slow_down_for() -> None:
    steps = planned("log-cabin").sewing.steps
    assert all(step.needle is None or not step.needle.ridges for step in steps)
