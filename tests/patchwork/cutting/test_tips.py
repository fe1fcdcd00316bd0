"""Tips: what is said of a seam's end is what Shapely measures on the cut outlines there."""

from __future__ import annotations

import math
from functools import cache

import pytest

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.cutting.templates import template_set
from piecewright.patchwork.cutting.tips import ends_of_others, tips_of_joins
from piecewright.patchwork.sewing.plan import SewingPlan, sewing_plan
from piecewright.patchwork.sewing.wording import Words
from tests.patchwork.outlines import raw_edges
from tests.patchwork.outlines.raw_edges import Cut

BLOCKS = ["bow-tie", "storm-at-sea", "triangle-in-a-square", "ohio-star"]


@cache
def plan_of(name: str) -> SewingPlan:
    plan = sewing_plan(catalogue.load(name))
    tips = tips_of_joins(plan.block, plan.seams, plan.order, plan.allowance, "matched")
    return plan.with_tips(tips)


@pytest.mark.parametrize("name", BLOCKS)
def test_every_end_that_does_not_agree_has_a_tip_and_no_other(name: str) -> None:
    cut = Cut(catalogue.load(name))
    measured = {
        end: {first: one - other, second: other - one}
        for end, ((first, one), (second, other)) in raw_edges.raw_ends(cut).items()
        if abs(one - other) > 0.002
    }
    told = {(s.join, tip.at): tip for s in plan_of(name).sewing.steps for tip in s.tips}
    assert told.keys() == measured.keys()
    for end, tip in told.items():
        assert tip.by == pytest.approx(measured[end][tip.piece], abs=1e-4)


@pytest.mark.parametrize("name", BLOCKS)
def test_template_is_marked_where_the_other_raw_edge_ends(name: str) -> None:
    cut = Cut(catalogue.load(name))
    ends = raw_edges.raw_ends(cut)
    marks = list(ends_of_others(cut.seams, cut.order, cut.result.mismatches))
    assert len(marks) == len(cut.result.mismatches)
    for mismatch, (piece, at, _) in zip(cut.result.mismatches, marks, strict=True):
        point = cut.seams.points[mismatch.point]
        shorter = min(end for _, end in ends[mismatch.join, point])
        assert cut.ids[piece] == max(ends[mismatch.join, point], key=lambda one: one[1])[0]
        assert math.dist(point, at) == pytest.approx(abs(shorter), abs=1e-4)
    templates = template_set(catalogue.load(name), Allowance()).templates
    marked = {i for t in templates if t.centre_marks for i in t.pieces}
    assert {cut.ids[piece] for piece, *_ in marks} <= marked


def test_square_that_stands_out_at_both_ends_is_centred() -> None:
    # At an octagon's corner of 135 degrees a quarter inch of allowance ends 0.1 in past the seam,
    # that of a square 0.25 in.
    plan = plan_of("bow-tie")
    step = plan.sewing.steps[0]
    assert [tip.by for tip in step.tips] == pytest.approx([0.25 * (2 - math.sqrt(2))] * 2)
    assert "Centre it: 1/8 in stands out at each end (knot)." in Words(plan).step(step)


def test_tip_at_one_end_is_told_with_its_end() -> None:
    plan = plan_of("triangle-in-a-square")
    told = [message for s in plan.sewing.steps if (message := Words(plan).tips(s))]
    assert told == [
        "Match the dots, not the raw edges: less than 1/16 in stays back at the upper end (left)."
    ]


def test_steps_that_are_sewn_alike_say_what_differs() -> None:
    plan = plan_of("storm-at-sea")
    words = Words(plan)
    for group in words.groups.values():
        differing = [s.join + 1 for s in group if words.tips(s) != words.tips(group[0])]
        told = " ".join(words.other_tips(group[0]))
        assert all(str(number) in told for number in differing)
        assert bool(told) is bool(differing)
