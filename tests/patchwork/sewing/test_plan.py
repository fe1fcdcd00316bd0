"""The whole plan: its options, and how it is said."""

from __future__ import annotations

import re

import pytest

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.model import Block, finished
from piecewright.patchwork.faults import BlockError
from piecewright.patchwork.lengths import Unit
from piecewright.patchwork.sewing.crossings import Press
from piecewright.patchwork.sewing.plan import Kept, PlanOptions, sewing_plan
from piecewright.patchwork.sewing.wording import Words, all_steps, listed, steps_title


def block(name: str, width: float) -> Block:
    return finished(catalogue.load(name), width=width)


def test_the_order_that_a_block_brings_is_kept_and_not_called_best() -> None:
    plan = sewing_plan(block("hexagon-rosette", 9))
    assert plan.given
    assert not plan.fewest_pivots


def test_a_worked_out_order_says_what_is_proven() -> None:
    plan = sewing_plan(block("ohio-star", 9))
    assert plan.given == (plan.block.joins is not None)
    if not plan.given:
        assert plan.fewest_pivots


@pytest.mark.parametrize("press", ["first", "second", "open"])
def test_directions_that_are_given_are_kept(press: Press) -> None:
    options = PlanOptions(tuple(Kept(step, press) for step in (1, 4)))
    plan = sewing_plan(block("nine-patch", 9), options=options)
    assert [plan.sewing.steps[k].press for k in (0, 3)] == [press, press]


def test_directions_for_steps_that_there_are_not_are_refused_all_at_once() -> None:
    kept = (Kept(0, "first"), Kept(9, "first"), Kept(2, "first"), Kept(2, "second"))
    with pytest.raises(BlockError) as caught:
        sewing_plan(block("nine-patch", 9), options=PlanOptions(kept))
    assert {f.pointer: f.code for f in caught.value.faults} == {
        "/pressing/keep/0/step": "unknown-step",
        "/pressing/keep/1/step": "unknown-step",
        "/pressing/keep/3/step": "duplicate",
    }


def test_deviations_are_those_of_the_maker() -> None:
    exact = sewing_plan(block("nine-patch", 9), options=PlanOptions(cutting=0.0, sewing=0.0))
    assert all(point.mismatch.untrimmed.worst == 0.0 for point in exact.budget.points)
    usual = sewing_plan(block("nine-patch", 9))
    assert usual.budget.first_to_suffer[0].mismatch.untrimmed.likely > 0.0


def test_a_step_is_said_in_sentences() -> None:
    plan = sewing_plan(block("half-square-triangle", 3))
    assert Words(plan).step(plan.sewing.steps[0]) == [
        "Sew light (Dune sand) to dark (Deep channel).",
        "Straight seam, ~4 1/4 in finished.",
        "Press toward Deep channel (dark).",
        "Trim to 3 1/2 × 3 1/2 in.",
    ]


def test_a_side_of_many_fabrics_is_told_by_the_piece_across() -> None:
    plan = sewing_plan(block("log-cabin", 9))
    message = [Words(plan).press(step) for step in plan.sewing.steps]
    # Each log lies away from the middle, whatever its fabric.
    assert message[4] == "Press toward Sail white (n2)."
    assert message[6] == "Press toward Quay slate (s2)."
    inward = sewing_plan(block("log-cabin", 9), options=PlanOptions((Kept(5, "first"),)))
    assert Words(inward).press(inward.sewing.steps[4]) == "Press away from n2 (Sail white)."


def test_meetings_that_do_not_nest_say_why() -> None:
    kept = tuple(Kept(step, "open") for step in range(1, 9))
    plan = sewing_plan(block("nine-patch", 9), options=PlanOptions(kept))
    message = Words(plan).not_nested()
    assert len(message) == 4
    assert all("pressed open" in reason for reason in message)
    last = plan.sewing.steps[-1]
    assert "Press the seam open." in Words(plan).step(last)


@pytest.mark.parametrize(
    ("unit", "trim", "off"),
    [
        ("cm", "Trim to ~24.15 × ~24.15 cm.", "0.08 cm"),
        ("mm", "Trim to ~241.5 × ~241.5 mm.", "0.8 mm"),
    ],
)
def test_metric_blocks_are_told_in_their_unit(unit: Unit, trim: str, off: str) -> None:
    one = block("nine-patch", 9)
    plan = sewing_plan(Block(one.name, unit, one.pieces, one.fabrics, one.joins))
    words = Words(plan)
    assert words.trim(plan.sewing.steps[-1]) == trim
    assert off in words.budget()[0]


def test_lists_of_steps() -> None:
    assert listed(["1", "2", "3"]) == "1, 2 and 3"
    steps = sewing_plan(block("sawtooth-star", 12)).sewing.steps
    assert steps_title(steps[:1]) == "Step 1"
    assert steps_title(steps[:2]) == "Steps 1 and 2: make 2"
    assert steps_title(steps[:9]) == "Steps 1, 2, 3, 4, 5 and 4 more: make 9"
    assert all_steps(steps[:9]) == "Steps 1, 2, 3, 4, 5, 6, 7, 8 and 9."
    assert all_steps(steps[:8]) == ""


@pytest.mark.parametrize("name", ["ohio-star", "sawtooth-star", "shoo-fly"])
def test_the_error_budget_is_told_in_fractions_that_a_ruler_has(name: str) -> None:
    told = Words(sewing_plan(block(name, 9))).budget()
    points = [message for message in told if message[0].isdigit()]
    assert points
    for message in points:
        assert re.fullmatch(
            r"\d\. Point [\w/, ]+ \(step \d+\): \d+/(2|4|8|16) in off is likely"
            r"(, trimmed or not|; trim units first and it is \d+/(2|4|8|16) in)\.",
            message,
        ), message


def test_points_of_many_pieces_are_told_by_their_place() -> None:
    told = Words(sewing_plan(block("kaleidoscope", 9))).budget()
    assert any("Point of 8 pieces, 4 1/2 in from the left, 4 1/2 in down" in one for one in told)
