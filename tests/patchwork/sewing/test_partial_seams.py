"""Partial seams in the plan: what steps say of them, how they are pressed, what is matched.

That the first seam of such a ring is sewn halfway, and finished when the last rectangle is on, is
common practice, as is pressing all four away from the square.
"""

from __future__ import annotations

from typing import Any

import pytest

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.read import block_from_pieces
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.sewing.plan import SewingPlan, sewing_plan
from piecewright.patchwork.sewing.wording import Words

RING = {
    "c": (2, 2, 4, 4),
    "n": (0, 0, 4, 2),
    "e": (4, 0, 6, 4),
    "s": (2, 4, 6, 6),
    "w": (0, 2, 2, 6),
}
CLOCKWISE = (((("c", "n"), "e"), "s"), "w")


def block_of(boxes: dict[str, tuple[int, int, int, int]], joins: Any = None) -> Block:
    pieces = [
        {"id": id, "outline": [[a, b], [c, b], [c, d], [a, d]]}
        for id, (a, b, c, d) in boxes.items()
    ]
    return block_from_pieces({"pieces": pieces, "joins": joins} if joins else {"pieces": pieces})


def mirrored(boxes: dict[str, tuple[int, int, int, int]]) -> dict[str, tuple[int, int, int, int]]:
    return {id: (-c, b, -a, d) for id, (a, b, c, d) in boxes.items()}


def lines(plan: SewingPlan) -> list[tuple[Point, Point, int] | None]:
    """Where each step's partial seam starts and stops, and what finishes it."""
    return [
        None if one is None else (one.start, one.stop, one.finished_by)
        for one in (step.partial for step in plan.sewing.steps)
    ]


def test_a_seam_is_sewn_to_its_middle_and_finished_after_the_last() -> None:
    plan = sewing_plan(block_of(RING, CLOCKWISE))
    assert lines(plan) == [((4, 2), (3, 2), 3), None, None, None]
    last = plan.sewing.steps[-1]
    assert (last.kind, last.pivots) == ("straight", ())
    assert {last.seam[0], last.seam[-1]} == {(2, 2), (2, 6)}
    assert last.finishes is not None
    assert (last.finishes.join, last.finishes.seam) == (0, ((3, 2), (2, 2), (0, 2)))
    # With a seam open there is nothing to trim to; then the block is a square.
    assert [step.unfinished is not None for step in plan.sewing.steps] == [False] * 3 + [True]


def test_a_rectangle_in_which_a_seam_stands_open_is_not_trimmed_yet() -> None:
    """A four patch made piece by piece: two squares are a rectangle, but for half of their seam."""
    boxes = {"a": (0, 0, 2, 2), "b": (2, 0, 4, 2), "d": (2, 2, 4, 4), "c": (0, 2, 2, 4)}
    plan = sewing_plan(block_of(boxes, ((("a", "b"), "d"), "c")))
    assert lines(plan) == [((2, 0), (2, 1), 2), None, None]
    assert [step.unfinished is not None for step in plan.sewing.steps] == [False, False, True]


def test_a_seam_that_finishes_another_may_itself_stand_open() -> None:
    plan = sewing_plan(block_of(RING, (((("c", "n"), "w"), "s"), "e")))
    assert lines(plan) == [
        ((4, 2), (3, 2), 1),
        ((2, 2), (2, 3), 2),
        ((2, 4), (3, 4), 3),
        None,
    ]
    assert plan.measures.pivots == 0


@pytest.mark.parametrize("boxes", [RING, mirrored(RING)])
def test_the_four_seams_of_a_ring_are_pressed_alike_and_away_from_the_square(
    boxes: dict[str, tuple[int, int, int, int]],
) -> None:
    plan = sewing_plan(block_of(boxes))
    assert (plan.pressing.pairs, plan.pressing.alike) == (6, 6)
    for step in plan.sewing.steps:
        (toward,) = {"first": step.units[0], "second": step.units[1]}[step.press]
        assert toward != "c"
    assert plan.order.pressed_with.count(0) == 2  # the square's side, and the stretch beyond


def test_where_the_open_end_lies_at_an_earlier_seam_the_two_are_matched() -> None:
    """Above the stretch another rectangle ends: there four seams come together."""
    boxes = {**RING, "n": (2, 0, 4, 2), "nw": (0, 0, 2, 2)}
    plan = sewing_plan(block_of(boxes, (((("c", ("nw", "n")), "e"), "s"), "w")))
    partial, last = 1, 4
    assert lines(plan)[partial] == ((4, 2), (3, 2), last)
    (meeting,) = plan.pressing.meetings
    assert (plan.seams.points[meeting.at], meeting.step) == ((2, 2), last)
    assert sorted(meeting.arrive) == [(0,), (last,)]
    assert meeting.nests
    assert plan.measures.meeting_seams == 1


def test_seams_that_meet_on_the_stretch_are_matched_as_it_is_finished() -> None:
    boxes = {**RING, "n": (1, 0, 4, 2), "nw": (0, 0, 1, 2), "w": (1, 2, 2, 6), "ww": (0, 2, 1, 6)}
    plan = sewing_plan(block_of(boxes, (((("c", ("nw", "n")), "e"), "s"), ("ww", "w"))))
    (meeting,) = plan.pressing.meetings
    assert (plan.seams.points[meeting.at], meeting.step) == ((1, 2), 5)
    (off,) = plan.budget.points
    assert off.at == meeting.at
    # Two seams each, cut and sewn, and eased in: some 1/16 in, as everywhere.
    assert 0.02 < off.mismatch.untrimmed.likely < 0.2


@pytest.mark.parametrize(("flipped", "alike"), [(False, True), (True, False)])
def test_steps_are_alike_where_the_same_end_stands_open(flipped: bool, alike: bool) -> None:
    other = mirrored(RING) if flipped else RING
    boxes = {f"a{id}": box for id, box in RING.items()}
    boxes |= {
        f"b{id}": (a + (12 if flipped else 6), b, c + (12 if flipped else 6), d)
        for id, (a, b, c, d) in other.items()
    }
    joins = tuple((((f"{k}c", f"{k}n"), f"{k}e"), f"{k}s") for k in "ab")
    plan = sewing_plan(block_of(boxes, ((joins[0], "aw"), (joins[1], "bw"))))
    steps = plan.sewing.steps
    assert [step.like for step in steps[4:8]] == ([0, 1, 2, 3] if alike else [4, 5, 6, 7])


def test_cards_say_how_far_to_sew_and_when_the_seam_is_finished() -> None:
    plan = sewing_plan(catalogue.load("bright-hopes"))
    words = Words(plan)
    first, *_, last = (" ".join(words.step(step)) for step in plan.sewing.steps)
    assert "Partial seam, 2 in finished" in first
    assert "to its middle, 1 in" in first
    assert "finished in step 4" in first
    assert "Trim nothing yet." in first
    assert "Then finish step 1" in last
    assert "3 in" in last
    assert "1 partial seam: step 1 is finished in step 4." in words.overview()
