"""The order of sewing that is worked out, against an exhaustive search of this file's own.

The search knows of the code under test only the block's pieces, their points and edges made one:
it looks at every way to part every set of pieces in two, and counts bends by their angle.
"""

from __future__ import annotations

import itertools
import math
import random
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import TypeAlias

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import box

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.joins import Order, nested, order_from
from piecewright.patchwork.block.model import Block, Joins
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.block.seams import Seams, planar_map
from piecewright.patchwork.faults import BlockError
from piecewright.patchwork.geometry.paths import Line, Outline, polygon
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.sewing import order_search
from piecewright.patchwork.sewing.order import WorkedOrder, order_of, unit_levels, work_out_order
from tests.patchwork import partitions

Score: TypeAlias = tuple[float, float]
"""(pivots in all, levels)."""

IMPOSSIBLE: Score = (math.inf, math.inf)
"""The score of a ring of pieces: its last seam would be two lines."""


# --- the exhaustive search --------------------------------------------------------------------


class Exhaustive:
    """Every order of sewing of a block with straight edges, and the best score of them all."""

    def __init__(self, block: Block) -> None:
        self.count = len(block.pieces)
        self.edges: list[set[frozenset[Point]]] = [
            {frozenset((s.start, s.end)) for s in piece.outline} for piece in block.pieces
        ]
        self.beside = [
            sum(1 << j for j in range(self.count) if j != i and self.edges[i] & self.edges[j])
            for i in range(self.count)
        ]
        self.known: dict[int, Score] = {}

    def best(self) -> Score:
        return self.best_of((1 << self.count) - 1)

    def best_of(self, unit: int) -> Score:
        if unit & (unit - 1) == 0:
            return 0, 0
        if unit not in self.known:
            scores = []
            for part in self.parts_with_first(unit):
                pivots = self.pivots(part, unit ^ part)
                if pivots is not None:
                    one, other = self.best_of(part), self.best_of(unit ^ part)
                    scores.append((pivots + one[0] + other[0], 1 + max(one[1], other[1])))
            self.known[unit] = min(scores, default=IMPOSSIBLE)
        return self.known[unit]

    def parts_with_first(self, unit: int) -> Iterator[int]:
        """The connected parts of a unit that hold its first piece and leave a connected rest."""
        first = unit & -unit
        seen, row = {first}, [first]
        for part in row:
            for i in range(self.count):
                grown = part | 1 << i
                if unit >> i & 1 and grown not in seen and self.beside[i] & part:
                    seen.add(grown)
                    row.append(grown)
        return (part for part in row if part != unit and self.hangs_together(unit ^ part))

    def hangs_together(self, unit: int) -> bool:
        found = unit & -unit
        while True:
            near = 0
            for i in range(self.count):
                if found >> i & 1:
                    near |= self.beside[i]
            more = (found | near) & unit
            if more == found:
                return found == unit
            found = more

    def pivots(self, one: int, other: int) -> int | None:
        """The bends of the line between two units; None if it is no single line."""
        shared = self.rim(one) & self.rim(other)
        at = Counter(point for edge in shared for point in edge)
        ends = [point for point, meeting in at.items() if meeting == 1]
        if max(at.values()) > 2 or len(ends) not in (0, 2):
            return None
        line = [ends[0] if ends else next(iter(at))]
        while shared:
            edge = next((e for e in shared if line[-1] in e), None)
            if edge is None:
                return None
            shared.remove(edge)
            line += edge - {line[-1]}
        if not ends:
            line.append(line[1])
        return sum(map(bends, line, line[1:], line[2:]))

    def rim(self, unit: int) -> set[frozenset[Point]]:
        rim: set[frozenset[Point]] = set()
        for i in range(self.count):
            if unit >> i & 1:
                rim ^= self.edges[i]
        return rim


def bends(p: Point, q: Point, r: Point) -> bool:
    """Whether a line turns at ``q`` by more than 1 degree, and by more than 0.004 in aside."""
    u, v = (q[0] - p[0], q[1] - p[1]), (r[0] - q[0], r[1] - q[1])
    one, other = math.hypot(*u), math.hypot(*v)
    cosine = (u[0] * v[0] + u[1] * v[1]) / one / other
    turns = math.acos(max(-1.0, min(1.0, cosine)))
    aside = math.sin(min(math.pi / 2, turns)) * one * other / (one + other)
    return math.degrees(turns) > 1 and aside > 0.004


def score(order: Order) -> Score:
    return sum(len(join.seam.pivots) for join in order.joins), unit_levels(order)[-1]


def worked(block: Block) -> WorkedOrder:
    return work_out_order(
        planar_map([p.outline for p in block.pieces]), [p.id for p in block.pieces]
    )


# --- blocks -----------------------------------------------------------------------------------


def board(seed: int, size: int) -> Block | None:
    """A square filled with rectangles at random; some stand round others and end on each other."""
    rng = random.Random(seed)
    taken: set[tuple[int, int]] = set()
    shapes = []
    for y, x in itertools.product(range(size), repeat=2):
        if (x, y) in taken:
            continue
        width = rng.randint(1, 3)
        while any(x + k >= size or (x + k, y) in taken for k in range(width)):
            width -= 1
        height = min(rng.randint(1, 3), size - y)
        taken |= {(x + i, y + j) for i in range(width) for j in range(height)}
        shapes.append(box(x, y, x + width, y + height))
    return partitions.block_of(shapes)


SOME_MAKE_NONE = [HealthCheck.filter_too_much]
"""Of many cuts some are too short for a block; such seeds are passed over."""


def small_blocks(most: int) -> st.SearchStrategy[Block]:
    """Blocks of all kinds, of 2 to ``most`` pieces."""
    return st.one_of(
        partitions.some(partitions.through_cut, st.integers(1, most - 1), most),
        partitions.some(partitions.crossing_lines, st.integers(1, 3), most),
        partitions.some(partitions.cells, st.integers(2, most), most),
        partitions.some(board, st.integers(3, 5), most),
    )


def frame(side: float) -> list[list[float]]:
    return [[0, 0], [side, 0], [side, side], [0, side]]


def grid(rows: int, columns: int) -> Block:
    return block_of_rings(
        [
            [(x, y), (x + 1, y), (x + 1, y + 1), (x, y + 1)]
            for y in range(rows)
            for x in range(columns)
        ]
    )


def block_of_rings(rings: Iterable[Sequence[Point]]) -> Block:
    pieces = [{"id": f"p{i}", "outline": ring} for i, ring in enumerate(rings)]
    return block_from_pieces({"pieces": pieces})


def log_cabin(pieces: int) -> Block:
    """Strips sewn round a square, each along the whole of one side, clockwise."""
    left, top, right, bottom = 0, 0, 1, 1
    boxes = [(0, 0, 1, 1)]
    for k in range(pieces - 1):
        if k % 4 == 0:
            boxes.append((left, top - 1, right, top))
            top -= 1
        elif k % 4 == 1:
            boxes.append((right, top, right + 1, bottom))
            right += 1
        elif k % 4 == 2:
            boxes.append((left, bottom, right, bottom + 1))
            bottom += 1
        else:
            boxes.append((left - 1, top, left, bottom))
            left -= 1
    return block_of_rings([[(a, b), (c, b), (c, d), (a, d)] for a, b, c, d in boxes])


def pinwheels(rows: int, columns: int) -> Block:
    """Four rectangles round a square (bright hopes), again and again."""
    boxes = [(0, 0, 2, 1), (2, 0, 3, 2), (1, 2, 3, 3), (0, 1, 1, 3), (1, 1, 2, 2)]
    return block_of_rings(
        [
            [(x + a, y + b), (x + c, y + b), (x + c, y + d), (x + a, y + d)]
            for x in range(0, 3 * columns, 3)
            for y in range(0, 3 * rows, 3)
            for a, b, c, d in boxes
        ]
    )


# --- against the exhaustive search ------------------------------------------------------------


@settings(max_examples=120, deadline=None)
@given(small_blocks(7))
def test_no_order_is_better(block: Block) -> None:
    result = worked(block)
    assert score(result.order) == Exhaustive(block).best()
    assert result.fewest_pivots
    assert result.fewest_levels


@settings(max_examples=25, deadline=None)
@given(small_blocks(10))
def test_no_order_of_some_more_pieces_is_better(block: Block) -> None:
    result = worked(block)
    assert score(result.order) == Exhaustive(block).best()


SEARCHABLE = [
    entry.id
    for entry in catalogue.entries()
    if (entry.pieces <= 10 or entry.id == "eight-point-star")
    and all(isinstance(s, Line) for p in catalogue.load(entry.id).pieces for s in p.outline)
]
"""Blocks with straight edges that the exhaustive search is quick with."""


@pytest.mark.parametrize("id", SEARCHABLE)
def test_no_order_of_a_block_of_the_catalogue_is_better(id: str) -> None:
    block = catalogue.load(id)
    result = worked(block)
    assert score(result.order) == Exhaustive(block).best()
    assert (result.fewest_pivots, result.fewest_levels) == (True, True)


def assert_honest(result: WorkedOrder, best: Score) -> None:
    """What is called the fewest is so."""
    found = score(result.order)
    assert found >= best
    assert found[0] == best[0] or not result.fewest_pivots
    assert found == best or not result.fewest_levels


def forget(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let no unit be searched: everything is divided as in large blocks."""
    monkeypatch.setattr(order_search, "SEARCHED", 1)
    monkeypatch.setattr(order_search, "SEARCHED_STRAIGHT", 1)


@settings(max_examples=60, deadline=None)
@given(small_blocks(7))
def test_what_is_called_proven_is_so_even_where_nothing_is_searched(block: Block) -> None:
    with pytest.MonkeyPatch.context() as patch:
        forget(patch)
        result = worked(block)
    assert_honest(result, Exhaustive(block).best())


@settings(max_examples=40, deadline=None)
@given(small_blocks(9))
def test_what_is_called_proven_is_so_even_where_the_steps_run_out(block: Block) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(order_search, "STEPS", 30)
        result = worked(block)
    assert_honest(result, Exhaustive(block).best())


# --- straight orders --------------------------------------------------------------------------


@settings(max_examples=60, deadline=None, suppress_health_check=SOME_MAKE_NONE)
@given(st.integers(0, 2**32), st.integers(1, 90))
def test_what_through_cuts_made_is_sewn_with_straight_seams(seed: int, cuts: int) -> None:
    block = partitions.through_cut(seed, cuts, 24.0)
    assume(block is not None)
    assert block is not None
    result = worked(block)
    assert {join.seam.kind for join in result.order.joins} == {"straight"}
    assert result.fewest_pivots


@settings(max_examples=20, deadline=None, suppress_health_check=SOME_MAKE_NONE)
@given(st.integers(0, 2**32), st.integers(2, 6))
def test_what_lines_through_the_whole_block_made_is_sewn_with_straight_seams(
    seed: int, lines: int
) -> None:
    block = partitions.crossing_lines(seed, lines, 12.0)
    assume(block is not None)
    assert block is not None
    assert {join.seam.kind for join in worked(block).order.joins} == {"straight"}


@pytest.mark.parametrize(
    ("block", "expected"),
    [
        pytest.param(grid(3, 3), 4, id="nine patch: rows of three, 2 levels each way"),
        pytest.param(grid(4, 4), 4, id="sixteen patch"),
        pytest.param(grid(1, 5), 3, id="five strips"),
        pytest.param(grid(1, 300), 9, id="300 strips"),
        pytest.param(grid(16, 16), 8, id="256 squares"),
        pytest.param(log_cabin(1), 0, id="one piece"),
        pytest.param(log_cabin(17), 16, id="log cabin, four rounds: each strip waits"),
        pytest.param(log_cabin(300), 299, id="log cabin of 300 pieces"),
        pytest.param(catalogue.load("pinwheel"), 3, id="pinwheel: pairs, halves, whole"),
        pytest.param(catalogue.load("economy"), 8, id="square in a square, twice"),
    ],
)
def test_levels_of_straight_blocks(block: Block, expected: int) -> None:
    result = worked(block)
    assert score(result.order) == (0, expected)
    assert result.fewest_levels


def test_where_a_straight_and_a_curved_seam_are_as_good_the_straight_one_comes_last() -> None:
    # A square with a straight and an S-shaped line across: sewn in halves either way.
    halves = {
        "a": "M0 0 H3 C3.5 1 2.5 2 3 3 H0 Z",
        "b": "M3 0 H6 V3 H3 C2.5 2 3.5 1 3 0 Z",
        "c": "M0 3 H3 C3.5 4 2.5 5 3 6 H0 Z",
        "d": "M3 3 H6 V6 H3 C2.5 5 3.5 4 3 3 Z",
    }
    block = block_from_pieces({"pieces": [{"id": k, "path": v} for k, v in halves.items()]})
    assert [join.seam.kind for join in worked(block).order.joins] == [
        "curved",
        "curved",
        "straight",
    ]


# --- set-in and partial seams -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("id", "pivots"),
    [
        # A hexagon of the ring is set in at every corner of the middle one (common practice).
        ("hexagon-rosette", 6),
        # Eight set-in squares and triangles, a Y-seam for each (common practice).
        ("eight-point-star", 8),
        # One partial seam: the first rectangle is sewn to half of the square's side.
        ("bright-hopes", 1),
        # The mitred corner of the two sashes.
        ("attic-windows", 1),
        # The third diamond is set into the other two.
        ("tumbling-blocks", 1),
    ],
)
def test_pivots_of_blocks_that_no_straight_seams_can_sew(id: str, pivots: int) -> None:
    result = worked(catalogue.load(id))
    bent = [join.seam for join in result.order.joins if join.seam.pivots]
    assert sum(len(seam.pivots) for seam in bent) == pivots
    assert {seam.kind for seam in bent} == {"set-in"}
    assert result.fewest_pivots


def test_the_partial_seam_of_bright_hopes_turns_at_a_corner_of_the_square() -> None:
    block = catalogue.load("bright-hopes")
    seams = planar_map([p.outline for p in block.pieces])
    order = order_of(block, seams)
    (pivot,) = (p for join in order.joins for p in join.seam.pivots)
    (square,) = (p for p in block.pieces if _sides(p.outline) == {(0, 1), (1, 0)})
    assert seams.points[pivot] in {s.start for s in square.outline}


def _sides(outline: Outline) -> set[tuple[int, int]]:
    """Directions of the sides, for outlines whose sides are all as long as each other."""
    spans = {(abs(s.end[0] - s.start[0]), abs(s.end[1] - s.start[1])) for s in outline}
    longest = {max(span) for span in spans}
    return (
        {(round(x / max(x, y)), round(y / max(x, y))) for x, y in spans}
        if len(longest) == 1
        else set()
    )


@pytest.mark.parametrize(("rows", "columns"), [(1, 2), (2, 2), (4, 15)])
def test_each_pinwheel_of_a_quilt_needs_one_partial_seam(rows: int, columns: int) -> None:
    result = worked(pinwheels(rows, columns))
    assert score(result.order)[0] == rows * columns
    assert result.fewest_pivots


@settings(max_examples=15, deadline=None, suppress_health_check=SOME_MAKE_NONE)
@given(st.integers(0, 2**32), st.integers(20, 120))
def test_cells_are_set_in_at_every_point_inside(seed: int, count: int) -> None:
    block = partitions.cells(seed, count, 30.0)
    assume(block is not None)
    assert block is not None
    seams = planar_map([p.outline for p in block.pieces])
    result = worked(block)
    outer = {p for e in seams.edges if e.left is None for p in (e.start, e.end)}
    straight_on = sum(_runs_straight(seams, p) for p in range(len(seams.points)) if p not in outer)
    assert score(result.order)[0] >= len(seams.points) - len(outer) - straight_on
    assert straight_on or result.fewest_pivots


def _runs_straight(seams: Seams, point: int) -> bool:
    corners = [c for run in seams.around[point] for c in run]
    ways = [c.leaves for c in corners]
    return any(
        math.degrees(abs(math.atan2(u[0] * v[1] - u[1] * v[0], -u[0] * v[0] - u[1] * v[1]))) < 6
        for u, v in itertools.combinations(ways, 2)
    )


# --- any block --------------------------------------------------------------------------------


@settings(max_examples=30, deadline=None)
@given(st.one_of(partitions.blocks(), st.builds(board, st.integers(0, 2**32), st.integers(6, 16))))
def test_the_order_is_legal_and_the_same_each_time(block: Block | None) -> None:
    assume(block is not None)
    assert block is not None
    ids = [p.id for p in block.pieces]
    seams = planar_map([p.outline for p in block.pieces])
    order = work_out_order(seams, ids).order
    assert order_from(seams, ids, nested(order, ids)) == order
    assert work_out_order(seams, ids).order == order


@pytest.mark.parametrize(
    ("block", "expected"),
    [
        pytest.param(grid(40, 50), (0, 12), id="grid: 6 levels each way"),
        pytest.param(log_cabin(1200), (0, 1199), id="log cabin"),
    ],
)
def test_large_blocks_are_put_in_order(block: Block, expected: Score) -> None:
    assert score(worked(block).order) == expected


def test_a_given_order_is_kept() -> None:
    joins: Joins = ("p1", ("p2", ("p3", "p4")))
    lines = [[[1, 0], [1, 4]], [[2, 0], [2, 4]], [[3, 0], [3, 4]]]
    block = block_from_drawing({"frame": frame(4), "lines": lines, "joins": joins})
    seams = planar_map([p.outline for p in block.pieces])
    order = order_of(block, seams)
    assert nested(order, [p.id for p in block.pieces]) == joins
    assert unit_levels(worked(block).order)[-1] == 2


def test_a_block_of_one_piece_has_no_joins() -> None:
    result = worked(block_from_drawing({"frame": frame(3), "lines": []}))
    assert result.order.joins == ()
    assert (result.fewest_pivots, result.fewest_levels) == (True, True)


def test_pieces_that_do_not_meet_have_no_order() -> None:
    outlines = [polygon([(x, 0.0), (x + 1, 0.0), (x + 1, 1.0), (x, 1.0)]) for x in (0.0, 3.0)]
    with pytest.raises(BlockError, match="no order of sewing"):
        work_out_order(planar_map(outlines), ["a", "b"])


def test_a_ring_of_pieces_with_a_hole_has_no_order() -> None:
    ring = [[(0, 0), (3, 0), (2, 1), (1, 1)], [(3, 0), (3, 3), (2, 2), (2, 1)]]
    ring += [[(3, 3), (0, 3), (1, 2), (2, 2)], [(0, 3), (0, 0), (1, 1), (1, 2)]]
    outlines = [polygon([(float(x), float(y)) for x, y in one]) for one in ring]
    with pytest.raises(BlockError, match="no order of sewing"):
        work_out_order(planar_map(outlines), ["a", "b", "c", "d"])
