"""Pressing plans: what counts is found independently with Shapely (``press_reading``), and every
plan of a small block tried.

What a sewist does with common units is common practice; it is written down in no standard.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.joins import (
    BrokenSeam,
    Order,
    Spans,
    nested,
    order_from,
    seam_along,
)
from piecewright.patchwork.block.model import Block, Fabric, Joins
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.block.seams import Seams, knit, planar_map
from piecewright.patchwork.geometry.congruence import Isometry
from piecewright.patchwork.sewing.crossings import Press, crossings, layers_at
from piecewright.patchwork.sewing.order import order_of
from piecewright.patchwork.sewing.pressing import PressingPlan, pressing_plan
from tests.patchwork import partitions
from tests.patchwork.clocks import running_ahead
from tests.patchwork.sewing.press_reading import Plans, PressReading

CATALOGUE = [entry.id for entry in catalogue.entries()]
COLOURS = ("#101820", "#8a2432", "#c9a26b", "#f4efe2")


def all_plans(count: int, kept: Sequence[Press | None] = ()) -> Plans:
    plans: Plans = (np.arange(2**count)[:, None] >> np.arange(count)) & 1 == 1
    for k, press in enumerate(kept):
        if press is not None:
            plans = plans[plans[:, k] == (press == "first")]
    return plans


def totals(plan: PressingPlan) -> tuple[int, ...]:
    return plan.nested, plan.alike, plan.bulk, plan.away, plan.darker


def plan_of(block: Block, order: Order | None = None) -> tuple[Seams, Order, PressingPlan]:
    seams = planar_map([p.outline for p in block.pieces])
    order = order or order_of(block, seams)
    return seams, order, pressing_plan(block, seams, order)


def assert_best(block: Block, order: Order | None = None) -> None:
    seams, order, plan = plan_of(block, order)
    reading = PressReading(block, seams, order)
    assert plan.optimal
    assert plan.bound == plan.nested == sum(m.nests for m in plan.meetings)
    assert all((m.reason is None) == m.nests for m in plan.meetings)
    assert {(m.step, seams.points[m.at]) for m in plan.meetings} == {
        (p.step, p.at) for p in reading.places if p.meeting
    }
    own = np.array([[d == "first" for d in plan.directions]])
    assert reading.nested_and_layers(own)[1][0] == plan.layers
    assert plan.pairs == len(reading.pairs)
    assert tuple(reading.worth(own)[0]) == totals(plan)
    if len(order.joins) <= 12:
        assert totals(plan) == reading.best(all_plans(len(order.joins)))


def coloured(block: Block, seed: int) -> Block:
    """The block in four colours at random; some pieces without a fabric."""
    rng = random.Random(seed)
    names = [c[1:] for c in COLOURS]
    pieces = tuple(replace(p, fabric=rng.choice([*names, None])) for p in block.pieces)
    return replace(block, pieces=pieces, fabrics=tuple(Fabric(n, n, f"#{n}") for n in names))


def grid(seed: int, across: int, down: int, cut: float = 0.5) -> Block:
    """Squares in rows, some of them cut from corner to corner."""
    rng = random.Random(seed)
    size = [[0, 0], [across, 0], [across, down], [0, down]]
    lines = [[[x, 0], [x, down]] for x in range(1, across)]
    lines += [[[0, y], [across, y]] for y in range(1, down)]
    for x, y in itertools.product(range(across), range(down)):
        if rng.random() < cut:
            ends = [[x, y], [x + 1, y + 1]], [[x + 1, y], [x, y + 1]]
            lines.append(rng.choice(ends))
    return coloured(block_from_drawing({"frame": size, "lines": lines}), seed)


def any_order(block: Block, seed: int) -> Order:
    """An order of legal joins, taken at random: set-in seams and odd units come up in it."""
    rng = random.Random(seed)
    seams = planar_map([p.outline for p in block.pieces])
    ids = [p.id for p in block.pieces]
    for _ in range(200):
        beside = [set[int]() for _ in ids]
        for edge in seams.edges:
            if edge.left is not None:
                beside[edge.right].add(edge.left)
                beside[edge.left].add(edge.right)
        units: list[tuple[frozenset[int], Joins]] = [
            (frozenset([i]), name) for i, name in enumerate(ids)
        ]
        while len(units) > 1:
            pairs = [
                (a, b)
                for a, b in itertools.permutations(range(len(units)), 2)
                if any(beside[i] & units[b][0] for i in units[a][0])
            ]
            rng.shuffle(pairs)
            for a, b in pairs:
                edges = [
                    e
                    for e, edge in enumerate(seams.edges)
                    if (edge.right in units[a][0] and edge.left in units[b][0])
                    or (edge.right in units[b][0] and edge.left in units[a][0])
                ]
                try:
                    seam_along(seams, edges)
                except BrokenSeam:
                    continue
                joined = (units[a][0] | units[b][0], (units[a][1], units[b][1]))
                units = [u for k, u in enumerate(units) if k not in (a, b)] + [joined]
                break
            else:
                break
        if len(units) == 1:
            return order_from(seams, ids, units[0][1])
    raise AssertionError("no legal order was found")


# --- the best plan ---------------------------------------------------------------------------


@pytest.mark.parametrize("name", CATALOGUE)
def test_catalogue_block_has_the_best_plan(name: str) -> None:
    assert_best(catalogue.load(name))


@pytest.mark.parametrize("name", CATALOGUE)
def test_every_meeting_of_a_catalogue_block_nests(name: str) -> None:
    _, _, plan = plan_of(catalogue.load(name))
    assert plan.nested == len(plan.meetings)


@given(partitions.blocks(), st.integers(0, 999))
@settings(max_examples=35, deadline=None)
def test_random_block_has_the_best_plan(block: Block, seed: int) -> None:
    assert_best(coloured(block, seed))


@given(st.integers(0, 2**32), st.sampled_from([(2, 2), (3, 2), (4, 2), (3, 3), (4, 3)]))
@settings(max_examples=30, deadline=None)
def test_random_grid_has_the_best_plan(seed: int, size: tuple[int, int]) -> None:
    assert_best(grid(seed, *size))


@given(st.integers(0, 2**32), st.sampled_from([(2, 2), (3, 2), (4, 2), (3, 3), (4, 3)]))
@settings(max_examples=35, deadline=None)
def test_random_order_has_the_best_plan(seed: int, size: tuple[int, int]) -> None:
    block = grid(seed, *size)
    assert_best(block, any_order(block, seed))


@given(st.integers(0, 2**32), st.integers(3, 9))
@settings(max_examples=30, deadline=None)
def test_random_order_of_set_in_seams_has_the_best_plan(seed: int, count: int) -> None:
    block = partitions.cells(seed, count)
    if block is not None:
        block = coloured(block, seed)
        assert_best(block, any_order(block, seed))


def test_four_patch_nests_in_its_one_meeting() -> None:
    _, _, plan = plan_of(grid(1, 2, 2, cut=0))
    assert (plan.nested, len(plan.meetings), plan.optimal) == (1, 1, True)


def test_nested_four_patch_has_seven_layers_at_its_middle() -> None:
    # Two units, the allowance of one seam in one of them, and both allowances of the last seam,
    # of which one carries the allowance of that seam too: 1 + 2 + 1 + 2 + 1.
    _, _, plan = plan_of(grid(1, 2, 2, cut=0))
    assert plan.meetings[0].layers == plan.layers == 7


def test_nine_patch_nests_in_all_four_meetings() -> None:
    _, _, plan = plan_of(catalogue.load("nine-patch"))
    assert (plan.nested, len(plan.meetings), plan.optimal) == (4, 4, True)


def test_pinwheel_nests_where_its_eight_points_meet() -> None:
    _, _, plan = plan_of(catalogue.load("pinwheel"))
    assert (plan.nested, len(plan.meetings)) == (1, 1)
    assert [len(side) for side in plan.meetings[0].arrive] == [3, 3]


def test_seams_of_a_strip_go_to_the_darker_side_or_away_from_the_wider_part() -> None:
    # Two and two and then one: at the last seam alone one part has more strips.
    _, order, plan = plan_of(catalogue.load("roman-stripe"))
    assert plan.meetings == ()
    assert plan.bulk == 0
    assert (plan.away, plan.darker) == (1, len(order.joins) - 1)


# --- common practice -------------------------------------------------------------------------


def pressed_toward(name: str) -> list[tuple[set[str], set[str]]]:
    """For each step of a catalogue block the pieces toward which it is pressed, and the others."""
    block = catalogue.load(name)
    _, order, plan = plan_of(block)
    spans = Spans(order)
    found = []
    for join, press in zip(order.joins, plan.directions, strict=True):
        units = [{block.pieces[i].id for i in spans.pieces(u)} for u in (join.first, join.second)]
        found.append((units[0], units[1]) if press == "first" else (units[1], units[0]))
    return found


@pytest.mark.parametrize(
    ("name", "point"), [("flying-geese", "goose"), ("triangle-in-a-square", "peak")]
)
def test_triangles_are_pressed_away_from_the_point_between_them(name: str, point: str) -> None:
    for toward, away in pressed_toward(name):
        if len(toward | away) <= 3:
            assert any(id.startswith(point) for id in away)
            assert not any(id.startswith(point) for id in toward)


@pytest.mark.parametrize(
    "name", ["log-cabin", "off-centre-log-cabin", "courthouse-steps", "pineapple", "economy"]
)
def test_what_is_sewn_round_a_middle_is_pressed_away_from_it(name: str) -> None:
    for toward, away in pressed_toward(name):
        assert len(toward) == 1
        assert "centre" in away


def test_blades_of_a_fan_are_all_pressed_one_way_round() -> None:
    blades = [step for step in pressed_toward("grandmothers-fan") if len(step[0] | step[1]) < 7]
    last = [max(toward) > max(away) for toward, away in blades]
    assert len(set(last)) == 1


def test_points_of_a_star_are_all_pressed_one_way_round() -> None:
    # Clockwise the diamonds are d1 to d8; the whole seam, with two of them, is like no other.
    block = catalogue.load("eight-point-star")
    seams, order, plan = plan_of(block)
    spans = Spans(order)
    number = {i: int(p.id[1:]) for i, p in enumerate(block.pieces) if p.id[1:].isdigit()}
    ways = []
    for join, press in zip(order.joins, plan.directions, strict=True):
        beside = [(seams.edges[s.edge].right, seams.edges[s.edge].left) for s in join.seam.sides]
        between = [(a, b) for a, b in beside if b is not None and {a, b} <= number.keys()]
        if len(between) == 1:
            a, b = between[0]
            toward_a = spans.holds(join.first, a) == (press == "first")
            ways.append((number[a] - number[b]) * (1 if toward_a else -1) % 8)
    assert len(ways) == 6
    assert ways in ([1] * 6, [7] * 6)


@pytest.mark.parametrize("name", ["nine-patch", "hourglass", "pinwheel", "churn-dash", "shoo-fly"])
def test_a_patch_of_squares_nests_everywhere(name: str) -> None:
    _, _, plan = plan_of(catalogue.load(name))
    assert plan.meetings
    assert all(m.nests for m in plan.meetings)


def test_a_half_square_unit_is_pressed_toward_the_dark() -> None:
    assert pressed_toward("half-square-triangle") == [({"dark"}, {"light"})]


def test_the_first_strip_is_pressed_away_from_a_corner_round_which_others_are_sewn() -> None:
    # The middle of the block, (2, 2), lies on seams; dark strips would draw nothing else inward.
    block = block_from_pieces(
        {
            "pieces": [
                {"id": "corner", "outline": [[0, 0], [1, 0], [1, 1], [0, 1]], "fabric": "dark"},
                {"id": "right", "outline": [[1, 0], [2, 0], [2, 1], [1, 1]], "fabric": "light"},
                {"id": "below", "outline": [[0, 1], [2, 1], [2, 2], [0, 2]], "fabric": "light"},
                {"id": "right2", "outline": [[2, 0], [4, 0], [4, 2], [2, 2]], "fabric": "light"},
                {"id": "below2", "outline": [[0, 2], [4, 2], [4, 4], [0, 4]], "fabric": "light"},
            ],
            "fabrics": [
                {"id": "dark", "name": "Dark", "colour": "#101820"},
                {"id": "light", "name": "Light", "colour": "#f4efe2"},
            ],
            "joins": [[[["corner", "right"], "below"], "right2"], "below2"],
        }
    )
    _, _, plan = plan_of(block)
    assert plan.directions == ("second",) * 4
    assert (plan.away, plan.darker, plan.optimal) == (4, 0, True)


# --- turned and flipped ----------------------------------------------------------------------


def turned(block: Block, quarters: int, flipped: bool) -> Block:
    """The block turned by so many quarters, flipped before if it is to be."""
    isometry = Isometry(flipped, 90.0 * quarters, (0.0, 0.0))
    pieces = tuple(replace(p, outline=isometry.outline(p.outline)) for p in block.pieces)
    return replace(block, pieces=pieces)


@given(partitions.blocks(), st.integers(0, 999), st.integers(0, 3), st.booleans())
@settings(max_examples=30, deadline=None)
def test_turning_or_flipping_a_block_changes_no_count(
    block: Block, seed: int, quarters: int, flipped: bool
) -> None:
    block = coloured(block, seed)
    _, order, plan = plan_of(block)
    ids = [p.id for p in block.pieces]
    other = turned(block, quarters, flipped)
    laid = planar_map(knit([p.outline for p in other.pieces]))
    same = pressing_plan(other, laid, order_from(laid, ids, nested(order, ids)))
    assert totals(same) == totals(plan)


@pytest.mark.parametrize("name", CATALOGUE)
@pytest.mark.parametrize("flipped", [False, True])
def test_turning_or_flipping_a_catalogue_block_changes_no_count(name: str, flipped: bool) -> None:
    block = catalogue.load(name)
    _, order, plan = plan_of(block)
    ids = [p.id for p in block.pieces]
    other = turned(block, 1, flipped)
    laid = planar_map(knit([p.outline for p in other.pieces]))
    same = pressing_plan(other, laid, order_from(laid, ids, nested(order, ids)))
    assert totals(same) == totals(plan)


# --- what is given, and what is pressed open -------------------------------------------------


@given(st.integers(0, 2**32))
@settings(max_examples=25, deadline=None)
def test_given_directions_are_kept_and_the_rest_is_best(seed: int) -> None:
    block = grid(seed, 3, 2)
    rng = random.Random(seed)
    seams, order, _ = plan_of(block)
    choices: list[Press | None] = ["first", "second", None]
    kept = [rng.choice(choices) for _ in order.joins]
    plan = pressing_plan(block, seams, order, given=kept)
    assert all(k in (None, d) for k, d in zip(kept, plan.directions, strict=True))
    reading = PressReading(block, seams, order)
    assert totals(plan) == reading.best(all_plans(len(order.joins), kept))


def test_meeting_that_given_directions_spoil_says_so() -> None:
    block = grid(1, 2, 2, cut=0)
    seams, order, best = plan_of(block)
    other: dict[Press, Press] = {"first": "second", "second": "first"}
    kept = [best.directions[0], other[best.directions[1]], None]
    plan = pressing_plan(block, seams, order, given=kept)
    assert (plan.nested, plan.bound, plan.optimal) == (0, 0, True)
    assert plan.meetings[0].alone
    assert "the seams of steps 1 and 2 are pressed the way you gave" in str(plan.meetings[0].reason)


def test_wrong_number_of_given_directions_is_an_error() -> None:
    block = grid(1, 2, 2, cut=0)
    seams, order, _ = plan_of(block)
    with pytest.raises(ValueError, match="1 directions were given for 3 joins"):
        pressing_plan(block, seams, order, given=["first"])


def test_meeting_of_a_seam_pressed_open_does_not_nest() -> None:
    block = grid(1, 2, 2, cut=0)
    seams, order, _ = plan_of(block)
    plan = pressing_plan(block, seams, order, given=["open", None, None])
    assert plan.nested == plan.bound == 0
    assert plan.meetings[0].reason == (
        "the seam of step 1 is pressed open: its allowance lies to both sides here"
    )


@pytest.mark.parametrize("name", CATALOGUE)
@pytest.mark.parametrize("most", [6, 9, 12])
def test_seams_are_opened_until_none_pressed_aside_is_too_thick(name: str, most: int) -> None:
    block = catalogue.load(name)
    seams, order, closed = plan_of(block)
    plan = pressing_plan(block, seams, order, open_above=most)
    for crossing in crossings(seams, order):
        if plan.directions[crossing.step] != "open":
            assert layers_at(crossing, plan.directions) <= most
    thickest = max((layers_at(c, closed.directions) for c in crossings(seams, order)), default=0)
    assert ("open" in plan.directions) == (thickest > most)


def test_last_seam_of_a_pinwheel_is_pressed_open_for_its_bulk() -> None:
    # Three seams arrive from each side and lie to one: 2 (1 + 6) + 1 layers.
    block = catalogue.load("pinwheel")
    seams, order, plan = plan_of(block)
    assert plan.meetings[0].layers == 15
    opened = pressing_plan(block, seams, order, open_above=14)
    assert [k for k, d in enumerate(opened.directions) if d == "open"] == [plan.meetings[0].step]
    assert (opened.nested, opened.meetings[0].layers) == (1, 14)


def test_seam_set_in_round_a_corner_cannot_nest_there() -> None:
    # The wedge is set into the corner of the two upper pieces, and its point lies on the last seam,
    # where a seam of the lower half arrives too.
    block = block_from_pieces(
        {
            "pieces": [
                {"id": "a", "outline": [[0, 0], [3, 0], [3, 1], [2, 1], [4, 4], [0, 4]]},
                {"id": "wedge", "outline": [[2, 1], [6, 1], [4, 4]]},
                {"id": "b", "outline": [[3, 0], [8, 0], [8, 4], [4, 4], [6, 1], [3, 1]]},
                {"id": "c", "outline": [[0, 4], [4, 4], [4, 8], [0, 8]]},
                {"id": "d", "outline": [[4, 4], [8, 4], [8, 8], [4, 8]]},
            ],
            "joins": [[["a", "b"], "wedge"], ["c", "d"]],
        }
    )
    assert_best(block)
    _, _, plan = plan_of(block)
    (meeting,) = plan.meetings
    assert not meeting.nests
    assert meeting.alone
    assert "the seam of step 2 comes in here twice" in str(meeting.reason)


def test_meetings_that_spoil_each_other_say_so_and_as_few_as_possible_are_given_up() -> None:
    found = 0
    for seed in (100, 189, 255):
        block = grid(seed, 3, 3, cut=0.6)
        _, order, plan = plan_of(block, any_order(block, seed))
        given_up = [m for m in plan.meetings if not m.nests and not m.alone]
        if given_up:
            found += 1
            assert_best(block, order)
            end = "at least one other seam intersection would not"
            assert all(str(m.reason).endswith(end) for m in given_up)
    assert found


def test_three_hundred_pieces_that_cannot_all_nest_are_proven_best() -> None:
    block = grid(1, 10, 15, cut=1)
    _, order, plan = plan_of(block)
    assert len(order.joins) == 299
    assert plan.nested == plan.bound < len(plan.meetings)


@cache
def tangled() -> tuple[Block, Seams, Order, PressingPlan]:
    """A block of which no search proves in good time that its plan is the best."""
    block = grid(1, 10, 15, cut=1)
    return block, *plan_of(block)


def test_search_without_time_gives_a_bound() -> None:
    block, seams, order, best = tangled()
    plan = pressing_plan(block, seams, order, seconds=0)
    assert plan.nested <= best.nested <= plan.bound
    assert not plan.optimal


@pytest.mark.parametrize(
    ("seconds", "proven"),
    [pytest.param(2.0, True, id="done"), pytest.param(0.02, False, id="broken off")],
)
def test_a_block_gets_the_same_plan_however_slow_the_machine_is(
    seconds: float, proven: bool
) -> None:
    if proven:
        block = grid(2, 8, 8, cut=0.8)
        seams, order, plan = plan_of(block)
    else:
        block, seams, order, _ = tangled()
        plan = pressing_plan(block, seams, order, seconds=seconds)
    assert plan.optimal == proven
    assert plan != pressing_plan(block, seams, order, seconds=0)
    with running_ahead():
        assert pressing_plan(block, seams, order, seconds=seconds) == plan


def test_a_longer_search_gives_no_worse_plan() -> None:
    block, seams, order, _ = tangled()
    plans = [pressing_plan(block, seams, order, seconds=s) for s in (0, 0.01, 0.03, 0.3)]
    worth = [(p.nested, p.alike, -p.bulk, p.away, p.darker) for p in plans]
    assert worth == sorted(worth)
    assert worth[0] < worth[-1]
