"""The order of sewing that is worked out, against an exhaustive search of this file's own.

The search knows of the code under test only the block's pieces, read and knitted: it looks
at every way to part every set of pieces in two, and counts bends by their angle.
"""

from __future__ import annotations

import itertools
import math
import random
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, NamedTuple, TypeAlias

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from shapely import area, bounds, hausdorff_distance, length, transform, union_all
from shapely.geometry import Polygon, box

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.joins import Order, Spans, nested, order_from
from piecewright.patchwork.block.model import Block, Joins, extent
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.block.seams import Seams, planar_map
from piecewright.patchwork.faults import BlockError
from piecewright.patchwork.geometry.paths import Line, Outline, polygon
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.sewing import order_search
from piecewright.patchwork.sewing.order import WorkedOrder, order_of, unit_levels, work_out_order
from piecewright.patchwork.sewing.order_measures import measured
from tests.patchwork import partitions
from tests.patchwork.beyond_doubt import SURELY_NOT, beyond_doubt, is_rectangle

IMPOSSIBLE = (math.inf,)
"""The score of a ring of pieces: its last seam would be two lines."""

Score: TypeAlias = tuple[float, ...]
"""Pivots in all, rectangles and half turns (both negative), different units, inches of set-in
seams, seams with a meeting inside, levels: the first that differs decides."""

Shapes: TypeAlias = NDArray[Any]
"""An array of polygons."""

Sums: TypeAlias = tuple[int, int, int]
"""The first three of a score."""


# --- the exhaustive search --------------------------------------------------------------------


class Exhaustive:
    """Every order of sewing of a block with straight edges, and the best score of them all."""

    def __init__(self, block: Block) -> None:
        self.count = len(block.pieces)
        self.edges: list[set[frozenset[Point]]] = [
            {frozenset((s.start, s.end)) for s in piece.outline} for piece in block.pieces
        ]
        self.points = [{s.start for s in piece.outline} for piece in block.pieces]
        self.shapes: Shapes = np.array(
            [Polygon([s.start for s in piece.outline]) for piece in block.pieces]
        )
        self.beside = [
            sum(1 << j for j in range(self.count) if j != i and self.edges[i] & self.edges[j])
            for i in range(self.count)
        ]
        self.figures: list[int] = []
        self.known: dict[int, tuple[Sums, set[Rest]]] = {}

    def best(self) -> Score:
        """The best score; infinite if there is no order."""
        sums, rests = self.best_of((1 << self.count) - 1)
        if not rests:
            return IMPOSSIBLE
        return *sums, *min((len(r.kinds), round(r.set_in, 3), r.meetings, r.levels) for r in rests)

    def best_of(self, unit: int) -> tuple[Sums, set[Rest]]:
        """The best sums of a unit, and all that trees with these sums can come to besides."""
        if unit & (unit - 1) == 0:
            return (0, 0, 0), {Rest(frozenset(), 0.0, 0, 0)}
        if unit not in self.known:
            found: dict[Sums, set[Rest]] = {}
            for part in self.parts_with_first(unit):
                line = self.line(part, unit ^ part)
                if line is None:
                    continue
                (one, ones), (other, others) = self.best_of(part), self.best_of(unit ^ part)
                turns = sum(map(bends, line, line[1:], line[2:]))
                own = (turns, -self.is_rectangle(unit), -self.turns_by_half(unit))
                sums = tuple(map(sum, zip(one, other, own, strict=True)))
                long = sum(map(math.dist, line, line[1:])) if turns else 0.0
                meets = self.meets(line, part, unit ^ part)
                kind = self.figure(unit)
                found.setdefault(sums, set()).update(  # type: ignore[arg-type] # three of three
                    Rest(
                        r.kinds | s.kinds | {kind},
                        round(r.set_in + s.set_in + long, 6),
                        r.meetings + s.meetings + meets,
                        1 + max(r.levels, s.levels),
                    )
                    for r in ones
                    for s in others
                )
            found = {sums: rests for sums, rests in found.items() if rests}
            best = min(found, default=(0, 0, 0))
            self.known[unit] = best, found.get(best, set())
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

    def line(self, one: int, other: int) -> list[Point] | None:
        """The line between two units; None if it is no single line.

        One that closes goes on to its second point, so that each of its points has two beside it.
        """
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
        return line

    def rim(self, unit: int) -> set[frozenset[Point]]:
        rim: set[frozenset[Point]] = set()
        for i in self.pieces(unit):
            rim ^= self.edges[i]
        return rim

    def pieces(self, unit: int) -> list[int]:
        return [i for i in range(self.count) if unit >> i & 1]

    def meets(self, line: Sequence[Point], one: int, other: int) -> bool:
        """Whether earlier seams arrive from both units at a point inside the line."""
        return any(
            all(sum(p in self.points[i] for i in self.pieces(unit)) > 1 for unit in (one, other))
            for p in line[1:-1]
        )

    def is_rectangle(self, unit: int) -> bool:
        return is_rectangle(union_all(self.shapes[self.pieces(unit)]))

    def turns_by_half(self, unit: int) -> bool:
        shapes = self.shapes[self.pieces(unit)]
        middle = union_all(shapes).centroid
        turned = transform(shapes, lambda at: [2 * middle.x, 2 * middle.y] - at)
        return beyond_doubt(apart(turned, shapes))

    def figure(self, unit: int) -> int:
        """The first unit that was asked about that this one is like."""
        for known in self.figures:
            if known.bit_count() == unit.bit_count() and self.alike(known, unit):
                return known
        self.figures.append(unit)
        return unit

    def alike(self, one: int, other: int) -> bool:
        """Whether a turn, or a flip and a turn, lays one unit onto the other, piece onto piece."""
        these, those = self.shapes[self.pieces(one)], self.shapes[self.pieces(other)]
        if abs(area(these).sum() - area(those).sum()) > SURELY_NOT * length(these).sum():
            return False
        p, q = (complex(*at) for at in longest(these))
        off = math.inf
        for r, s in itertools.permutations([complex(*at) for at in corners_of(those)], 2):
            if abs(abs(p - q) - abs(r - s)) > 2 * SURELY_NOT:
                continue
            for flips in (False, True):
                off = min(off, apart(laid(these, (p, q), (r, s), flips), those))
        return beyond_doubt(off)


class Rest(NamedTuple):
    """What a tree comes to beside its sums."""

    kinds: frozenset[int]
    set_in: float
    meetings: int
    levels: int


def corners_of(shapes: Shapes) -> list[Point]:
    return list(dict.fromkeys((x, y) for s in shapes for x, y in s.exterior.coords))


def longest(shapes: Shapes) -> tuple[Point, Point]:
    """The two corners that lie furthest apart."""
    pairs = itertools.combinations(corners_of(shapes), 2)
    return max(pairs, key=lambda pair: math.dist(*pair))


def laid(
    shapes: Shapes, line: tuple[complex, complex], onto: tuple[complex, complex], flips: bool
) -> Shapes:
    """Shapes turned, or flipped and turned, so that a line of theirs lies along another one."""
    (p, q), (r, s) = line, onto
    along = (q - p).conjugate() if flips else q - p
    turn = (s - r) / along * abs(along) / abs(s - r)

    def moved(at: NDArray[np.float64]) -> NDArray[np.float64]:
        z = at[:, 0] + 1j * at[:, 1] - p
        z = r + turn * (z.conjugate() if flips else z)
        return np.stack([z.real, z.imag], axis=1)

    return transform(shapes, moved)


def apart(shapes: Shapes, others: Shapes) -> float:
    """How far the shapes are from lying each on one of the others, inches; infinite if too far."""
    # The boxes round shapes that lie on each other do so too, and are quicker to look at.
    gaps = np.abs(bounds(shapes)[:, None] - bounds(others)[None, :]).max(axis=2)
    if gaps.min(axis=1).max() > SURELY_NOT:
        return math.inf
    return float(hausdorff_distance(shapes[:, None], others[None, :]).min(axis=1).max())


def bends(p: Point, q: Point, r: Point) -> bool:
    """Whether a line turns at ``q`` by more than 1 degree, and by more than 0.004 in aside."""
    u, v = (q[0] - p[0], q[1] - p[1]), (r[0] - q[0], r[1] - q[1])
    one, other = math.hypot(*u), math.hypot(*v)
    cosine = (u[0] * v[0] + u[1] * v[1]) / one / other
    turns = math.acos(max(-1.0, min(1.0, cosine)))
    aside = math.sin(min(math.pi / 2, turns)) * one * other / (one + other)
    return math.degrees(turns) > 1 and aside > 0.004


def score(block: Block, order: Order) -> Score:
    m = measured(planar_map([p.outline for p in block.pieces]), order)
    sums = (m.pivots, -m.rectangles, -m.half_turns)
    return *sums, m.kinds, round(m.set_in, 3), m.meeting_seams, m.levels


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


@settings(max_examples=60, deadline=None)
@given(small_blocks(7))
def test_no_order_is_better(block: Block) -> None:
    result = worked(block)
    assert_same(score(block, result.order), Exhaustive(block).best())
    assert result.fewest_pivots
    assert result.optimal or needless_bends(block, result.order)


@settings(max_examples=5, deadline=None)
@given(small_blocks(9))
def test_no_order_of_some_more_pieces_is_better(block: Block) -> None:
    result = worked(block)
    assert_same(score(block, result.order), Exhaustive(block).best())


def assert_same(found: Score, best: Score) -> None:
    """Lengths are added up in another order here."""
    assert found == pytest.approx(best, abs=0.002)


def needless_bends(block: Block, order: Order) -> bool:
    """Whether some seam turns at a point at which others run straight on: a partial seam might
    save that pivot."""
    seams = planar_map([p.outline for p in block.pieces])
    return any(_runs_straight(seams, p) for join in order.joins for p in join.seam.pivots)


SEARCHABLE = [
    entry.id
    for entry in catalogue.entries()
    if entry.pieces <= 9
    and all(isinstance(s, Line) for p in catalogue.load(entry.id).pieces for s in p.outline)
]
"""Blocks with straight edges that the exhaustive search is quick with."""


@pytest.mark.parametrize("id", SEARCHABLE)
def test_no_order_of_a_block_of_the_catalogue_is_better(id: str) -> None:
    block = catalogue.load(id)
    result = worked(block)
    assert_same(score(block, result.order), Exhaustive(block).best())
    assert result.fewest_pivots
    assert result.optimal == (id != "bright-hopes")


def assert_honest(block: Block, result: WorkedOrder, best: Score) -> None:
    """What is called the fewest, or the best, is so."""
    found = score(block, result.order)
    assert found[0] == best[0] or not result.fewest_pivots
    if result.optimal:
        assert_same(found, best)


def forget(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let no unit be searched: everything is divided as in large blocks."""
    monkeypatch.setattr(order_search, "SEARCHED", 1)
    monkeypatch.setattr(order_search, "SEARCHED_STRAIGHT", 1)


@settings(max_examples=25, deadline=None)
@given(small_blocks(6))
def test_what_is_called_proven_is_so_even_where_nothing_is_searched(block: Block) -> None:
    with pytest.MonkeyPatch.context() as patch:
        forget(patch)
        result = worked(block)
    assert_honest(block, result, Exhaustive(block).best())


@settings(max_examples=25, deadline=None)
@given(small_blocks(7))
def test_what_is_called_proven_is_so_even_where_the_steps_run_out(block: Block) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(order_search, "STEPS", 30)
        result = worked(block)
    assert_honest(block, result, Exhaustive(block).best())


# --- straight orders --------------------------------------------------------------------------


@settings(max_examples=20, deadline=None, suppress_health_check=SOME_MAKE_NONE)
@given(st.integers(0, 2**32), st.integers(1, 60))
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
        pytest.param(grid(3, 3), (0, 8, 8, 4, 4), id="nine patch: a row, another like it, and one"),
        pytest.param(grid(4, 4), (0, 15, 15, 4, 4), id="sixteen patch: halves, and halves again"),
        pytest.param(grid(1, 5), (0, 4, 4, 3, 3), id="five strips: two and two, and one"),
        pytest.param(log_cabin(1), (0, 0, 0, 0, 0), id="one piece"),
        pytest.param(log_cabin(17), (0, 16, 1, 16, 16), id="log cabin: strip by strip"),
        pytest.param(catalogue.load("pinwheel"), (0, 7, 5, 3, 3), id="pinwheel: quarters, halves"),
        pytest.param(catalogue.load("economy"), (0, 2, 4, 8, 8), id="square in a square, twice"),
        # Four half-square units, all made (common practice): two corners of three, and the middle.
        pytest.param(catalogue.load("shoo-fly"), (0, 12, 7, 7, 5), id="shoo fly"),
    ],
)
def test_what_orders_of_straight_blocks_come_to(block: Block, expected: tuple[int, ...]) -> None:
    result = worked(block)
    m = measured(planar_map([p.outline for p in block.pieces]), result.order)
    assert (m.pivots, m.rectangles, m.half_turns, m.kinds, m.levels) == expected
    assert result.optimal


@pytest.mark.parametrize("id", ["shoo-fly", "friendship-star", "churn-dash", "ohio-star"])
def test_every_unit_of_a_nine_patch_of_units_is_finished_before_it_is_sewn_to_another(
    id: str,
) -> None:
    """Half squares, quarter squares and strip units are trimmed first (common practice)."""
    block = catalogue.load(id)
    assert all(unit is not None for unit in nine_units(block, worked(block).order))


def nine_units(block: Block, order: Order) -> list[frozenset[int] | None]:
    """For each ninth of a block, its pieces if they are made a unit; None if they are not."""
    spans = Spans(order)
    made = {frozenset(spans.pieces(unit)) for unit in range(order.pieces + len(order.joins))}
    left, top, right, bottom = extent(block.pieces)
    found: list[frozenset[int] | None] = []
    for row, column in itertools.product(range(3), repeat=2):
        cell = box(
            left + column * (right - left) / 3,
            top + row * (bottom - top) / 3,
            left + (column + 1) * (right - left) / 3,
            top + (row + 1) * (bottom - top) / 3,
        ).buffer(0.01)
        own = frozenset(
            i
            for i, piece in enumerate(block.pieces)
            if cell.contains(Polygon([s.start for s in piece.outline]))
        )
        found.append(own if own in made else None)
    return found


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
    block = pinwheels(rows, columns)
    result = worked(block)
    assert score(block, result.order)[0] == rows * columns
    assert result.fewest_pivots


@settings(max_examples=5, deadline=None, suppress_health_check=SOME_MAKE_NONE)
@given(st.integers(0, 2**32), st.integers(10, 50))
def test_cells_are_set_in_at_every_point_inside(seed: int, count: int) -> None:
    block = partitions.cells(seed, count, 30.0)
    assume(block is not None)
    assert block is not None
    seams = planar_map([p.outline for p in block.pieces])
    result = worked(block)
    outer = {p for e in seams.edges if e.left is None for p in (e.start, e.end)}
    straight_on = sum(_runs_straight(seams, p) for p in range(len(seams.points)) if p not in outer)
    assert score(block, result.order)[0] >= len(seams.points) - len(outer) - straight_on
    assert straight_on or result.fewest_pivots


def _runs_straight(seams: Seams, point: int) -> bool:
    corners = [c for run in seams.around[point] for c in run]
    ways = [c.leaves for c in corners]
    return any(
        math.degrees(abs(math.atan2(u[0] * v[1] - u[1] * v[0], -u[0] * v[0] - u[1] * v[1]))) < 6
        for u, v in itertools.combinations(ways, 2)
    )


# --- any block --------------------------------------------------------------------------------


@settings(max_examples=10, deadline=None)
@given(st.one_of(partitions.blocks(), st.builds(board, st.integers(0, 2**32), st.integers(5, 8))))
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
        pytest.param(grid(40, 50), (0, 1999), id="grid"),
        pytest.param(grid(1, 300), (0, 299), id="strips"),
        pytest.param(log_cabin(600), (0, 599), id="log cabin"),
    ],
)
def test_large_blocks_are_put_in_order(block: Block, expected: tuple[int, int]) -> None:
    """All joins make rectangles."""
    m = measured(planar_map([p.outline for p in block.pieces]), worked(block).order)
    assert (m.pivots, m.rectangles) == expected


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
    assert (result.fewest_pivots, result.optimal) == (True, True)


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
