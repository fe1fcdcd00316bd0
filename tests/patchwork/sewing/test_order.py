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
from shapely.affinity import translate
from shapely.geometry import LineString, Polygon, box
from shapely.geometry import Point as ShapelyPoint
from shapely.ops import split

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.joins import Order, Spans, nested, order_from
from piecewright.patchwork.block.model import Block, Joins, extent
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.block.seams import Seams, planar_map
from piecewright.patchwork.faults import BlockError
from piecewright.patchwork.geometry.paths import Line, polygon
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.sewing import order_search
from piecewright.patchwork.sewing.order import WorkedOrder, order_of, unit_levels, work_out_order
from piecewright.patchwork.sewing.order_measures import measured
from tests.patchwork import partitions
from tests.patchwork.beyond_doubt import SURELY_NOT, beyond_doubt, is_rectangle

IMPOSSIBLE = (math.inf,)
"""The score of a ring of pieces: its last seam would be two lines."""

Score: TypeAlias = tuple[float, ...]
"""Pivots in all, partial seams, rectangles and half turns (both negative), different units, inches
of set-in seams, seams with a meeting inside, levels: the first that differs decides."""

Sums: TypeAlias = tuple[int, int, int, int]
"""The first four of a score."""

Demands: TypeAlias = frozenset[tuple[Point, Point]]
"""Of seams that must be straight and stand open at an end: that end, and the next point."""

Shapes: TypeAlias = NDArray[Any]
"""An array of polygons."""


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
        self.looks: dict[int, tuple[int, int, int]] = {}
        self.known: dict[tuple[int, Demands], tuple[Sums, set[Rest]]] = {}
        self.partial = False

    def best(self) -> Score:
        """The best score; infinite if there is no order.

        Partial seams are tried only where an order has more pivots without them than there are
        points inside at which no two edges run straight on: of these, none can be saved.
        """
        whole = (1 << self.count) - 1
        sums, rests = self.best_of(whole)
        if rests and sums[0] > self.bent_points():
            self.partial, self.known = True, {}
            sums, rests = self.best_of(whole)
        if not rests:
            return IMPOSSIBLE
        return *sums, *min((len(r.kinds), round(r.set_in, 3), r.meetings, r.levels) for r in rests)

    def bent_points(self) -> int:
        """Points inside the block at which no two edges run straight on into each other."""
        edges = {edge for own in self.edges for edge in own}
        rim = {p for edge in self.rim((1 << self.count) - 1) for p in edge}
        found = 0
        for p in {p for edge in edges for p in edge} - rim:
            others = [q for edge in edges if p in edge for q in edge - {p}]
            found += all(bends(q, p, r) for q, r in itertools.combinations(others, 2))
        return found

    def best_of(self, unit: int, demands: Demands = frozenset()) -> tuple[Sums, set[Rest]]:
        """The best sums of a unit, and all that trees with these sums can come to besides."""
        if unit & (unit - 1) == 0:
            return (0, 0, 0, 0), {Rest(frozenset(), 0.0, 0, 0)}
        if (unit, demands) not in self.known:
            found: dict[Sums, set[Rest]] = {}
            for part in self.parts_with_first(unit):
                line = self.line(part, unit ^ part)
                if line is None:
                    continue
                for bend in (None, *self.openings(unit, line)) if self.partial else (None,):
                    if self.meets_demands(line, bend, demands):
                        self.add_trees(found, part, unit ^ part, bend or Bend(line), demands)
            found = {sums: rests for sums, rests in found.items() if rests}
            best = min(found, default=(0, 0, 0, 0))
            self.known[unit, demands] = best, found.get(best, set())
        return self.known[unit, demands]

    def add_trees(
        self, found: dict[Sums, set[Rest]], one: int, other: int, bend: Bend, demands: Demands
    ) -> None:
        """All best trees of two units that are sewn along a line."""
        unit, seam = one | other, bend.seam
        if bend.earlier is not None:
            demands |= {(seam[0], bend.earlier)}
        (a, ones), (b, others) = (
            self.best_of(u, frozenset(d for d in demands if self.has_edge(u, frozenset(d))))
            for u in (one, other)
        )
        turns = sum(map(bends, seam, seam[1:], seam[2:]))
        if unit not in self.looks:
            self.looks[unit] = (
                -self.is_rectangle(unit), -self.turns_by_half(unit), self.figure(unit),
            )  # fmt: skip
        rectangle, half_turn, kind = self.looks[unit]
        own = (turns, bend.earlier is not None, rectangle, half_turn)
        sums = tuple(map(sum, zip(a, b, own, strict=True)))
        long = sum(map(math.dist, seam, seam[1:])) if turns else 0.0
        meets = self.meets(bend.stretch, one, other) or self.meets(seam, one, other)
        meets = meets or self.meets_at_bend(bend, one, other)
        found.setdefault(sums, set()).update(  # type: ignore[arg-type] # four of four
            Rest(
                r.kinds | s.kinds | {kind},
                round(r.set_in + s.set_in + long, 6),
                r.meetings + s.meetings + meets,
                1 + max(r.levels, s.levels),
            )
            for r in ones
            for s in others
        )

    def has_edge(self, unit: int, edge: frozenset[Point]) -> bool:
        """Whether an edge lies between two pieces of a unit."""
        return sum(edge in self.edges[i] for i in self.pieces(unit)) == 2

    def openings(self, unit: int, line: list[Point]) -> Iterator[Bend]:
        """Where a line ends in a stretch that goes straight on from an edge beside the line."""
        if closes(line):
            return
        rim = {p for edge in self.rim(unit) for p in edge}
        for way in (line, line[::-1]):
            for k in range(1, len(way) - 1):
                if not bends(*way[k - 1 : k + 2]):
                    continue
                edges = {edge for own in self.edges for edge in own if way[k] in edge}
                others = {q for edge in edges for q in edge} - set(way)
                straight = [q for q in others if not bends(way[k - 1], way[k], q)]
                if straight and way[k] not in rim:
                    back = min(straight, key=lambda q: turns_by(way[k - 1], way[k], q))
                    yield Bend(way[k:], way[: k + 1], back)
                break

    def meets_demands(self, line: list[Point], bend: Bend | None, demands: Demands) -> bool:
        """Whether the line is none of the seams in demand, or is one and straight."""
        along = {frozenset(pair) for pair in itertools.pairwise(line)}
        own = [d for d in demands if frozenset(d) in along]
        seam = line if bend is None else bend.seam
        if not own:
            return True
        return (
            len(own) == 1
            and not closes(line)
            and own[0] in ((seam[0], seam[1]), (seam[-1], seam[-2]))
            and not any(map(bends, seam, seam[1:], seam[2:]))
        )

    def meets_at_bend(self, bend: Bend, one: int, other: int) -> bool:
        """Whether the seam of the line ends at a seam that arrives from across the finished one."""
        if bend.earlier is None:
            return False
        at, (x, y) = bend.seam[0], bend.stretch[-2]
        across = (at[1] - y, x - at[0])
        holding = next(u for u in (one, other) if self.has_edge(u, frozenset((at, bend.earlier))))
        sides: dict[bool, list[int]] = {True: [], False: []}
        for i in self.pieces(one | other):
            if at in self.points[i]:
                near = self.shapes[i].intersection(ShapelyPoint(at).buffer(0.01)).centroid
                aside = (near.x - at[0]) * across[0] + (near.y - at[1]) * across[1]
                sides[aside > 0].append(i)
        return any(len(own) > 1 and all(holding >> i & 1 for i in own) for own in sides.values())

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


class Bend(NamedTuple):
    """A line between two units, as it is sewn.

    Attributes:
        seam: what is sewn of it before an earlier seam is finished, if one is.
        stretch: with which that is finished, to where the seam begins.
        earlier: the point before that on the earlier seam.
    """

    seam: Sequence[Point]
    stretch: Sequence[Point] = ()
    earlier: Point | None = None


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


def closes(line: Sequence[Point]) -> bool:
    return len(line) > 2 and line[-1] == line[1]


def turns_by(p: Point, q: Point, r: Point) -> float:
    """Radians by which a line turns at ``q``."""
    u, v = (q[0] - p[0], q[1] - p[1]), (r[0] - q[0], r[1] - q[1])
    cosine = (u[0] * v[0] + u[1] * v[1]) / math.hypot(*u) / math.hypot(*v)
    return math.acos(max(-1.0, min(1.0, cosine)))


def bends(p: Point, q: Point, r: Point) -> bool:
    """Whether a line turns at ``q`` by more than 1 degree, and by more than 0.004 in aside."""
    one, other, turns = math.dist(p, q), math.dist(q, r), turns_by(p, q, r)
    aside = math.sin(min(math.pi / 2, turns)) * one * other / (one + other)
    return math.degrees(turns) > 1 and aside > 0.004


def score(block: Block, order: Order) -> Score:
    m = measured(planar_map([p.outline for p in block.pieces]), order)
    sums = (m.pivots, m.partial, -m.rectangles, -m.half_turns)
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
    assert result.optimal


@settings(max_examples=5, deadline=None)
@given(small_blocks(9))
def test_no_order_of_some_more_pieces_is_better(block: Block) -> None:
    result = worked(block)
    assert_same(score(block, result.order), Exhaustive(block).best())


def assert_same(found: Score, best: Score) -> None:
    """Lengths are added up in another order here."""
    assert found == pytest.approx(best, abs=0.002)


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
    assert result.optimal


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


def test_the_first_seam_of_bright_hopes_is_partial() -> None:
    """A rectangle is sewn to half of the square's side, and the last one finishes that."""
    block = catalogue.load("bright-hopes")
    seams = planar_map([p.outline for p in block.pieces])
    order = order_of(block, seams)
    assert {join.seam.kind for join in order.joins} == {"straight"}
    (first,) = (join for join in order.joins if join.partial is not None)
    assert first is order.joins[0]
    assert first.partial is not None
    assert first.partial.finished_by == 3
    (square,) = (p for p in block.pieces if p.id == "centre")
    corners = {s.start for s in square.outline}
    assert {seams.points[p] for p in (first.partial.start, first.partial.open)} <= corners


@pytest.mark.parametrize(("rows", "columns"), [(1, 2), (2, 2), (4, 15)])
def test_each_pinwheel_of_a_quilt_needs_one_partial_seam(rows: int, columns: int) -> None:
    block = pinwheels(rows, columns)
    result = worked(block)
    assert score(block, result.order)[:2] == (0, rows * columns)
    assert result.fewest_pivots
    assert result.optimal or rows * columns > 2


def ring(left: float, top: float, inner: float, mirrored: bool = False) -> list[Polygon]:
    """Four rectangles, 2 in wide, round a square that is left out."""
    long, side = inner + 2, inner + 4
    corners = [(0, 0, long, 2), (long, 0, side, long), (2, long, side, side), (0, 2, 2, side)]
    if mirrored:
        corners = [(side - c, b, side - a, d) for a, b, c, d in corners]
    return [translate(box(*one), left, top) for one in corners]


def cut_up(shapes: list[Polygon], seed: int, count: int) -> list[Polygon]:
    """Shapes of which some are cut across, straight or from corner to corner."""
    rng = random.Random(seed)
    while len(shapes) < count:
        one = shapes.pop(rng.randrange(len(shapes)))
        left, top, right, bottom = one.bounds
        share = rng.choice([1 / 3, 0.5])
        x, y = left + share * (right - left), top + share * (bottom - top)
        ends: list[tuple[Point, Point]] = [
            ((x, -1), (x, 30)), ((-1, y), (30, y)), ((left, top), (right, bottom)),
        ]  # fmt: skip
        parts = split(one, LineString(rng.choice(ends))).geoms
        shapes += [part for part in parts if isinstance(part, Polygon)]
    return shapes


def block_of_shapes(shapes: Sequence[Polygon]) -> Block:
    block = partitions.block_of(list(shapes))
    assert block is not None
    return block


RINGS = {
    "its mirror image": [*ring(0, 0, 2, mirrored=True), box(2, 2, 4, 4)],
    "of unlike strips": [box(0, 0, 5, 2), box(5, 0, 6, 5), box(3, 5, 6, 8), box(0, 2, 3, 8),
                         box(3, 2, 5, 5)],
    "in a larger block": [*ring(0, 0, 2), box(2, 2, 4, 4), box(6, 0, 8, 6), box(0, 6, 8, 8)],
    "round a ring": [*ring(0, 0, 6), *ring(2, 2, 2, mirrored=True), box(4, 4, 6, 6)],
    "round a four patch": [*ring(0, 0, 4), box(2, 2, 4, 4), box(4, 2, 6, 4), box(2, 4, 4, 6),
                           box(4, 4, 6, 6)],
}  # fmt: skip


@pytest.mark.parametrize("id", RINGS)
def test_no_order_of_a_ring_of_rectangles_is_better(id: str) -> None:
    block = block_of_shapes(RINGS[id])
    result = worked(block)
    best = Exhaustive(block).best()
    assert_same(score(block, result.order), best)
    assert best[:2] == (0, 2 if id == "round a ring" else 1)
    assert result.fewest_pivots
    assert result.optimal


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 2**32), st.integers(6, 7), st.booleans())
def test_no_order_of_a_ring_of_which_pieces_are_cut_up_is_better(
    seed: int, count: int, mirrored: bool
) -> None:
    shapes = cut_up([*ring(0, 0, 2, mirrored), box(2, 2, 4, 4)], seed, count)
    block = partitions.block_of(shapes)
    assume(block is not None)
    assert block is not None
    result = worked(block)
    assert_same(score(block, result.order), Exhaustive(block).best())
    assert result.optimal


def test_borders_are_run_round_a_large_middle_with_one_partial_seam() -> None:
    """A middle of 81 patches is too large to be searched (common practice for a medallion)."""
    middle = [box(x, y, x + 1, y + 1) for x in range(2, 11) for y in range(2, 11)]
    block = block_of_shapes([*ring(0, 0, 9), *middle])
    result = worked(block)
    assert score(block, result.order)[:2] == (0, 1)
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
