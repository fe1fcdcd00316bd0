"""Pressing plans: meetings found independently with Shapely, every plan of a small block tried,
and worked values of the trade (nested four-patches and nine-patches).

A meeting is a point inside a seam, not its ends, at which earlier seams arrive from both of its
units.  It nests if the allowances of all that arrive from the first unit lie to one side along the
seam, and those of all that arrive from the second to the other.

Luminance: WCAG 2.2, relative luminance, and the contrast ratios it publishes.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiLineString, Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.joins import BrokenSeam, Order, order_from, seam_along
from piecewright.patchwork.block.model import Block, Fabric, Joins
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.block.seams import Seams, planar_map
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.sewing.order import order_of
from piecewright.patchwork.sewing.pressing import (
    Press,
    PressingPlan,
    crossings,
    layers_at,
    luminance,
    pressing_plan,
)
from tests.patchwork import partitions
from tests.patchwork.clocks import running_ahead

CATALOGUE = [entry.id for entry in catalogue.entries()]
COLOURS = ("#101820", "#8a2432", "#c9a26b", "#f4efe2")


# --- meetings, found with Shapely alone ------------------------------------------------------


@dataclass(frozen=True)
class Arrival:
    """An earlier seam at a point of a later one; ``onward``: where its allowance lies when it is
    pressed toward its first unit."""

    join: int
    from_first: bool
    onward: bool


@dataclass(frozen=True)
class Place:
    step: int
    at: tuple[float, float]
    arrivals: tuple[Arrival, ...]

    @property
    def meeting(self) -> bool:
        return len({a.from_first for a in self.arrivals}) == 2


class Reading:
    """A block's joins as polygons and lines, and what arrives at every point inside a seam."""

    def __init__(self, block: Block, seams: Seams, order: Order) -> None:
        self.pieces = [
            Polygon(
                [p for side in sides for p in _points(seams.edges[side.edge].segment, side.forward)]
            )
            for sides in seams.sides
        ]
        self.units = [*self.pieces]
        self.members = [frozenset([i]) for i in range(len(self.pieces))]
        self.lines: list[LineString] = []
        for join in order.joins:
            one, other = self.units[join.first], self.units[join.second]
            common = one.intersection(other)
            parts = [g for g in getattr(common, "geoms", [common]) if g.geom_type == "LineString"]
            line = shapely.line_merge(MultiLineString(parts)) if len(parts) > 1 else parts[0]
            whole = shapely.unary_union([one, other])
            assert isinstance(line, LineString)
            assert isinstance(whole, Polygon)
            self.lines.append(line)
            self.units.append(whole)
            self.members.append(self.members[join.first] | self.members[join.second])
        self.order = order
        corners = sorted({s.start for p in block.pieces for s in p.outline})
        self.places = [
            place
            for k in range(len(order.joins))
            for corner in corners
            if (place := self._place(k, corner)) is not None
        ]

    def _place(self, k: int, corner: tuple[float, float]) -> Place | None:
        line, point = self.lines[k], shapely.Point(corner)
        if line.distance(point) > 1e-7:
            return None
        if (
            not line.is_ring
            and min(math.dist(corner, p) for p in (line.coords[0], line.coords[-1])) < 1e-7
        ):
            return None
        arrivals = []
        circle = point.buffer(0.012, quad_segs=720).exterior
        along = sorted((line.project(shapely.Point(q)), q) for q in _crossing(line, circle))
        assert len(along) == 2
        ahead = along[1][1] if not line.is_ring else along[0][1]
        onward = _angle(corner, ahead)
        join = self.order.joins[k]
        for unit in (join.first, join.second):
            turns = 1 if self._holds(unit, corner, onward + 0.4) else -1
            for j in range(k):
                inner = self.order.joins[j]
                if not self.members[len(self.pieces) + j] <= self.members[unit]:
                    continue
                if self.lines[j].distance(point) > 1e-7:
                    continue
                for q in _crossing(self.lines[j], circle):
                    arm = _angle(corner, q)
                    # The allowance lies on the side of the arm on which its first unit is.
                    side = 0.4 if self._holds(inner.first, corner, arm + 0.4) else -0.4
                    assert self._holds(inner.second, corner, arm - side)
                    nearer = (turns * (arm + side - onward)) % 360 < (turns * (arm - onward)) % 360
                    arrivals.append(Arrival(j, unit == join.first, nearer))
        return Place(k, corner, tuple(arrivals)) if arrivals else None

    def _holds(self, unit: int, corner: tuple[float, float], degrees: float) -> bool:
        way = math.radians(degrees)
        probe = (corner[0] + 0.012 * math.cos(way), corner[1] + 0.012 * math.sin(way))
        return bool(self.units[unit].contains(shapely.Point(probe)))

    def worth(self, toward_first: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Nested meetings and layers of many plans: one plan a row, one join a column."""
        nested = np.zeros(len(toward_first), dtype=np.int64)
        layers = np.zeros(len(toward_first), dtype=np.int64)
        for place in self.places:
            onward = {a: toward_first[:, a.join] == a.onward for a in set(place.arrivals)}
            if place.meeting:
                fits = np.zeros(len(toward_first), dtype=bool)
                for side in (True, False):
                    fits |= np.all(
                        [onward[a] == (a.from_first == side) for a in place.arrivals], axis=0
                    )
                nested += fits
            thickest = np.zeros(len(toward_first), dtype=np.int64)
            for side in (True, False):
                cloth = [
                    1
                    + 2
                    * sum(
                        (onward[a] == side).astype(np.int64)
                        for a in place.arrivals
                        if a.from_first == unit
                    )
                    for unit in (True, False)
                ]
                pressed = np.where(toward_first[:, place.step], cloth[0], cloth[1])
                thickest = np.maximum(thickest, cloth[0] + cloth[1] + pressed)
            layers += thickest
        return nested, layers

    def toward_darker(self, block: Block) -> list[bool | None]:
        """For each join whether its first unit is the darker along the seam."""
        colours = {f.id: f.colour for f in block.fabrics}
        found: list[bool | None] = []
        for join, line in zip(self.order.joins, self.lines, strict=True):
            lights = []
            for unit in (join.first, join.second):
                weights, sums = 0.0, 0.0
                for i in self.members[unit]:
                    fabric = block.pieces[i].fabric
                    if fabric is not None:
                        size = shapely.intersection(self.pieces[i], line).length
                        weights += size
                        sums += size * _light(colours[fabric])
                lights.append(sums / weights if weights > 1e-9 else math.nan)
            apart = lights[0] - lights[1]
            found.append(None if math.isnan(apart) or abs(apart) < 0.002 else apart < 0)
        return found


def _points(segment: paths.Segment, forward: bool) -> list[tuple[float, float]]:
    points = [*paths.flatten(segment, 1e-5), segment.end]
    return (points if forward else points[::-1])[:-1]


def _crossing(line: LineString, circle: LineString) -> list[tuple[float, float]]:
    return [(g.x, g.y) for g in shapely.get_parts(line.intersection(circle))]


def _angle(p: Sequence[float], q: Sequence[float]) -> float:
    return math.degrees(math.atan2(q[1] - p[1], q[0] - p[0]))


def _light(colour: str) -> float:
    value = int(colour[1:], 16)
    rgb = np.array([value >> 16, value >> 8 & 255, value & 255]) / 255
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def best_by_trying_all(
    block: Block, reading: Reading, kept: Sequence[Press | None] = ()
) -> tuple[int, int, int]:
    """Most nested, most toward the darker, fewest layers, in this order, over all plans."""
    count = len(reading.order.joins)
    plans = (np.arange(2**count)[:, None] >> np.arange(count)) & 1 == 1
    for k, press in enumerate(kept):
        if press is not None:
            plans = plans[plans[:, k] == (press == "first")]
    nested, layers = reading.worth(plans)
    darker = np.zeros(len(plans), dtype=np.int64)
    for k, first in enumerate(reading.toward_darker(block)):
        if first is not None:
            darker += plans[:, k] == first
    best = np.lexsort((layers, -darker, -nested))[0]
    return int(nested[best]), int(darker[best]), int(layers[best])


def totals(plan: PressingPlan) -> tuple[int, int, int]:
    return plan.nested, plan.darker, plan.layers


def plan_of(block: Block, order: Order | None = None) -> tuple[Seams, Order, PressingPlan]:
    seams = planar_map([p.outline for p in block.pieces])
    order = order or order_of(block, seams)
    return seams, order, pressing_plan(block, seams, order)


def assert_best(block: Block, order: Order | None = None) -> None:
    seams, order, plan = plan_of(block, order)
    reading = Reading(block, seams, order)
    assert plan.optimal
    assert plan.settled
    assert plan.bound == plan.nested == sum(m.nests for m in plan.meetings)
    assert all((m.reason is None) == m.nests for m in plan.meetings)
    assert {(m.step, seams.points[m.at]) for m in plan.meetings} == {
        (p.step, p.at) for p in reading.places if p.meeting
    }
    own = np.array([[d == "first" for d in plan.directions]])
    nested, layers = reading.worth(own)
    assert (nested[0], layers[0]) == (plan.nested, plan.layers)
    if len(order.joins) <= 16:
        assert totals(plan) == best_by_trying_all(block, reading)


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
@settings(max_examples=60, deadline=None)
def test_random_block_has_the_best_plan(block: Block, seed: int) -> None:
    assert_best(coloured(block, seed))


@given(st.integers(0, 2**32), st.sampled_from([(2, 2), (3, 2), (4, 2), (3, 3), (4, 3)]))
@settings(max_examples=50, deadline=None)
def test_random_grid_has_the_best_plan(seed: int, size: tuple[int, int]) -> None:
    assert_best(grid(seed, *size))


@given(st.integers(0, 2**32), st.sampled_from([(2, 2), (3, 2), (4, 2), (3, 3), (4, 3)]))
@settings(max_examples=60, deadline=None)
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


def test_seams_of_a_strip_meet_nowhere_and_go_to_the_darker_side() -> None:
    _, _, plan = plan_of(catalogue.load("roman-stripe"))
    assert plan.meetings == ()
    assert plan.darker == len(plan.directions)


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
    reading = Reading(block, seams, order)
    assert totals(plan) == best_by_trying_all(block, reading, kept)


def test_meeting_that_given_directions_spoil_says_so() -> None:
    block = grid(1, 2, 2, cut=0)
    seams, order, best = plan_of(block)
    other: dict[Press, Press] = {"first": "second", "second": "first"}
    kept = [best.directions[0], other[best.directions[1]], None]
    plan = pressing_plan(block, seams, order, given=kept)
    assert (plan.nested, plan.bound, plan.optimal) == (0, 0, True)
    assert plan.meetings[0].alone
    assert "given for the seams of steps 1 and 2" in str(plan.meetings[0].reason)


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
    assert "the seam of step 2 arrives here twice" in str(meeting.reason)


def test_meetings_that_spoil_each_other_say_so_and_as_few_as_possible_are_given_up() -> None:
    found = 0
    for seed in (105, 130, 166, 186, 188, 341):
        block = grid(seed, 3, 3, cut=0.6)
        _, order, plan = plan_of(block, any_order(block, seed))
        given_up = [m for m in plan.meetings if not m.nests and not m.alone]
        if given_up:
            found += 1
            assert_best(block, order)
            assert all("at least one other meeting would not" in str(m.reason) for m in given_up)
    assert found


def test_three_hundred_pieces_that_cannot_all_nest_are_proven_best() -> None:
    block = grid(1, 10, 15, cut=1)
    _, order, plan = plan_of(block)
    assert len(order.joins) == 299
    assert plan.nested < len(plan.meetings)
    assert plan.optimal


def test_search_without_time_gives_a_bound() -> None:
    block = grid(1, 10, 15, cut=1)
    seams, order, best = plan_of(block)
    plan = pressing_plan(block, seams, order, seconds=0)
    assert plan.nested <= best.nested <= plan.bound
    assert plan.optimal == (plan.nested == plan.bound)


@pytest.mark.parametrize(
    ("block", "seconds", "settled"),
    [
        pytest.param(grid(2, 8, 8, cut=0.8), 2.0, True, id="done"),
        pytest.param(grid(1, 10, 15, cut=1), 0.02, False, id="broken off"),
    ],
)
def test_a_block_gets_the_same_plan_however_slow_the_machine_is(
    block: Block, seconds: float, settled: bool
) -> None:
    seams, order, _ = plan_of(block)
    plan = pressing_plan(block, seams, order, seconds=seconds)
    assert plan.settled == settled
    assert plan != pressing_plan(block, seams, order, seconds=0)
    with running_ahead():
        assert pressing_plan(block, seams, order, seconds=seconds) == plan


def test_a_longer_search_gives_no_worse_plan() -> None:
    block = grid(1, 10, 15, cut=1)
    seams, order, _ = plan_of(block)
    plans = [pressing_plan(block, seams, order, seconds=s) for s in (0, 0.01, 0.03, 0.3)]
    worth = [(plan.nested, plan.darker, -plan.layers) for plan in plans]
    assert worth == sorted(worth)
    assert worth[0] < worth[-1]


class TestLuminance:
    def test_black_and_white(self) -> None:
        assert luminance("#000000") == 0.0
        assert luminance("#ffffff") == pytest.approx(1.0)

    @pytest.mark.parametrize(
        ("colour", "contrast"),
        [("#767676", 4.54), ("#777777", 4.48), ("#0000ff", 8.59), ("#ff0000", 4.0)],
    )
    def test_contrast_with_white_is_as_wcag_checkers_print_it(
        self, colour: str, contrast: float
    ) -> None:
        assert 1.05 / (luminance(colour) + 0.05) == pytest.approx(contrast, abs=0.005)
