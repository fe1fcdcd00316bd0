"""Joins: whether they are legal, their seams and pivots, and the faults where they are not.

A join is legal if both units are connected and their common boundary is one connected line;
here that is judged by Shapely's unions and intersections of the finished pieces.  Its pivots are
the bends of that line by more than a degree.  Which blocks are sewn with straight seams alone, and
which are set in, is common practice of the trade.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiLineString, Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.joins import (
    BrokenSeam,
    Order,
    Seam,
    Spans,
    nested,
    order_from,
    seam_along,
    seam_bends,
)
from piecewright.patchwork.block.model import Block, Joins
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.block.seams import Seams, planar_map
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point
from piecewright.patchwork.sewing.order import order_of
from tests.patchwork import partitions
from tests.patchwork.outlines.raw_edges import units
from tests.patchwork.unit_members import members

CATALOGUE = [entry.id for entry in catalogue.entries()]


def seams_of(block: Block) -> Seams:
    return planar_map([p.outline for p in block.pieces])


def ids_of(block: Block) -> list[str]:
    return [p.id for p in block.pieces]


def sewn(block: Block, joins: Any) -> Order:
    return order_from(seams_of(block), ids_of(block), joins)


def worked_out(block: Block) -> Order:
    assert block.joins is None
    return order_of(block, seams_of(block))


def without_joins(id: str) -> Block:
    block = catalogue.load(id)
    return Block(block.name, block.unit, block.pieces, block.fabrics)


def kinds(order: Order) -> Counter[str]:
    return Counter(join.seam.kind for join in order.joins)


def squares(rows: int, columns: int) -> Block:
    lines = [[[x, 0], [x, rows]] for x in range(1, columns)]
    lines += [[[0, y], [columns, y]] for y in range(1, rows)]
    frame = [[0, 0], [columns, 0], [columns, rows], [0, rows]]
    return block_from_drawing({"frame": frame, "lines": lines})


def bright_hopes() -> Block:
    """Four rectangles that run round a square; it is p3 of p1 … p5."""
    return block_from_drawing(
        {
            "frame": [[0, 0], [6, 0], [6, 6], [0, 6]],
            "lines": [[[0, 2], [4, 2]], [[4, 0], [4, 4]], [[2, 4], [6, 4]], [[2, 2], [2, 6]]],
        }
    )


# --- legality, apart from the code under test ---------------------------------------------


def shapes_of(block: Block) -> dict[str, Polygon]:
    """The pieces as polygons whose points on a curve are the very same on both its sides."""
    seams = seams_of(block)
    found = {}
    for piece, sides in zip(block.pieces, seams.sides, strict=True):
        ring: list[Point] = []
        for side in sides:
            segment = seams.edges[side.edge].segment
            points = [*paths.flatten(segment), segment.end]
            ring += (points if side.forward else points[::-1])[:-1]
        found[piece.id] = Polygon(ring)
    return found


def common_line(one: BaseGeometry, other: BaseGeometry) -> LineString:
    """The line that two shapes have in common, which must be one."""
    common = one.intersection(other)
    lines = [g for g in shapely.get_parts(common).tolist() if isinstance(g, LineString)]
    line = shapely.line_merge(MultiLineString(lines)) if len(lines) > 1 else lines[0]
    assert isinstance(line, LineString), "the common boundary is not one line"
    return line


def bends_of(line: LineString) -> list[Point]:
    """The points at which a line of straight edges turns by more than a degree.

    Points within the tolerance of the straight way between their neighbours are none.
    """
    found = []
    for p, q, r in zip(*(line.coords[k:] for k in range(3)), strict=False):
        u, v = (q[0] - p[0], q[1] - p[1]), (r[0] - q[0], r[1] - q[1])
        turn = math.atan2(u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1])
        aside = LineString([p, r]).distance(shapely.Point(q))
        if abs(math.degrees(turn)) > 1 and aside > TOLERANCE:
            found.append((q[0], q[1]))
    return found


def check_order(block: Block, order: Order) -> None:
    """Every piece is sewn exactly once, and every join along one line, with Shapely's pivots."""
    ids, seams, shapes = ids_of(block), seams_of(block), shapes_of(block)
    curved = any(not isinstance(s, Line) for p in block.pieces for s in p.outline)
    joins = nested(order, ids)
    assert Counter(leaves(joins)) == Counter(ids)
    assert len(order.joins) == len(ids) - 1
    by_units = {
        tuple(frozenset(ids[i] for i in members(order, u)) for u in (j.first, j.second)): j
        for j in order.joins
    }
    pairs = list(units(joins))
    assert set(pairs) == set(by_units)
    for first, second in pairs:
        one, other = (shapely.unary_union([shapes[n] for n in unit]) for unit in (first, second))
        assert isinstance(one, Polygon)
        assert isinstance(other, Polygon)
        line = common_line(one, other)
        join = by_units[first, second]
        seam = join.seam
        ends, bent = set(seam.ends or ()), list(seam.pivots)
        if join.finishes is not None:  # the stretch begins where the seam ends, with no pivot
            start = seams.start(join.finishes.stretch[0])
            assert start in ends
            ends = ends - {start} | {join.finishes.end}
            bent.append(start)
        if line.is_ring:  # round a piece that reaches the outside at one point only
            assert seam.ends is None
            line = LineString([*line.coords, line.coords[1]])
        else:
            assert {seams.points[p] for p in ends} == {line.coords[0], line.coords[-1]}
        length = paths.run_length(seams.segment(s) for s in join.sewn)
        assert length == pytest.approx(one.intersection(other).length, rel=1e-3)
        if not curved:
            assert sorted(seams.points[p] for p in bent) == sorted(bends_of(line))
            assert seam.kind == ("set-in" if seam.pivots else "straight")


def check_bookkeeping(block: Block, order: Order) -> None:
    """Units, parents and sewn edges agree with the joins."""
    seams, count = seams_of(block), len(block.pieces)
    assert order.pieces == count
    assert len(order.parents) == 2 * count - 1
    assert order.parents[-1] is None
    for k, join in enumerate(order.joins):
        assert max(join.first, join.second) < count + k, "a unit is sewn before it is joined"
        assert order.parents[join.first] == order.parents[join.second] == count + k
        for side in join.seam.sides:
            assert order.sewn_by[side.edge] == order.pressed_with[side.edge] == k
        if join.finishes is not None:
            for side in join.finishes.stretch:
                assert order.sewn_by[side.edge] == k
                assert order.pressed_with[side.edge] == join.finishes.join
    assert Counter(e for e in order.pressed_with if e is not None) == Counter(
        k for k in range(len(order.joins)) for _ in order.pressed_line(k).sides
    )
    for edge, by in zip(seams.edges, order.sewn_by, strict=True):
        assert (by is None) == (edge.left is None)
    spans = Spans(order)
    for unit in range(len(order.parents)):
        assert spans.pieces(unit) == members(order, unit)
        own = [p for p in range(count) if spans.holds(unit, p)]
        assert own == sorted(members(order, unit))


def leaves(joins: Joins) -> Iterator[str]:
    if isinstance(joins, str):
        yield joins
    else:
        yield from leaves(joins[0])
        yield from leaves(joins[1])


# --- orders that are worked out -----------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(partitions.blocks())
def test_the_order_of_any_block_is_legal_and_sews_every_piece_once(block: Block) -> None:
    order = worked_out(block)
    check_order(block, order)
    check_bookkeeping(block, order)


@pytest.mark.parametrize("id", CATALOGUE)
def test_the_order_of_a_block_of_the_catalogue_is_legal(id: str) -> None:
    block = without_joins(id)
    order = worked_out(block)
    check_order(block, order)
    check_bookkeeping(block, order)


@settings(max_examples=60, deadline=None)
@given(partitions.straight_blocks())
def test_what_was_cut_with_straight_cuts_is_sewn_with_straight_seams(block: Block) -> None:
    order = worked_out(block)
    assert sum(len(join.seam.pivots) for join in order.joins) == 0
    assert set(kinds(order)) == {"straight"}


STRAIGHT = [
    "log-cabin",
    "off-centre-log-cabin",
    "courthouse-steps",
    "nine-patch",
    "pinwheel",
    "hourglass",
    "churn-dash",
    "shoo-fly",
    "ohio-star",
    "sawtooth-star",
    "friendship-star",
    "flying-geese",
    "dutchmans-puzzle",
    "rail-fence",
    "economy",
    "bear-paw",
    "snail-trail",
    "kaleidoscope",
    "storm-at-sea",
    "pineapple",
    "triangle-in-a-square",
]


@pytest.mark.parametrize("id", STRAIGHT)
def test_blocks_of_straight_seams(id: str) -> None:
    assert set(kinds(worked_out(without_joins(id)))) == {"straight"}


@pytest.mark.parametrize(
    "id", ["hexagon-rosette", "tumbling-blocks", "bow-tie", "spools", "attic-windows",
           "eight-point-star"]
)  # fmt: skip
def test_blocks_with_set_in_seams(id: str) -> None:
    assert kinds(worked_out(without_joins(id)))["set-in"] > 0


def test_a_drunkards_path_is_sewn_along_its_curve() -> None:
    (join,) = worked_out(without_joins("drunkards-path")).joins
    assert join.seam.kind == "curved"
    assert join.seam.pivots == ()


def test_the_hexagons_of_a_rosette_are_set_in_at_each_corner_of_the_centre() -> None:
    order = worked_out(without_joins("hexagon-rosette"))
    pivots = Counter(p for join in order.joins for p in join.seam.pivots)
    seams = seams_of(catalogue.load("hexagon-rosette"))
    centre = {seams.start(side) for side in seams.sides[0]}
    assert set(pivots) == centre
    assert set(pivots.values()) == {1}


@pytest.mark.parametrize(("rows", "columns"), [(1, 2), (2, 2), (3, 3), (2, 5), (6, 6)])
def test_squares_in_rows_are_sewn_by_seams_from_side_to_side(rows: int, columns: int) -> None:
    block = squares(rows, columns)
    order = worked_out(block)
    shapes = shapes_of(block)
    for join in order.joins:
        # Every unit on the way is a rectangle of squares.
        for unit in (join.first, join.second):
            whole = shapely.unary_union([shapes[ids_of(block)[i]] for i in members(order, unit)])
            assert whole.area == pytest.approx(whole.envelope.area)


def test_a_straight_seam_through_the_whole_block_is_sewn_last() -> None:
    # Two of four rectangles round a square, which have no through-cut of their own.
    half = bright_hopes()
    pieces = [
        {"id": f"{side}{p.id}", "outline": [[x + shift, y] for x, y in paths.ring(p.outline)]}
        for side, shift in (("w", 0), ("e", 6))
        for p in half.pieces
    ]
    block = block_from_pieces({"pieces": pieces})
    order = worked_out(block)
    last = order.joins[-1]
    seams = seams_of(block)
    assert last.seam.kind == "straight"
    assert {seams.points[p] for p in last.seam.ends or ()} == {(6, 0), (6, 6)}


def test_a_block_of_one_piece_is_not_joined() -> None:
    block = block_from_drawing({"frame": [[0, 0], [1, 0], [1, 1]], "lines": []})
    order = worked_out(block)
    assert order.joins == ()
    assert nested(order, ids_of(block)) == "p1"


# --- orders that are given ----------------------------------------------------------------


@pytest.mark.parametrize("id", [id for id in CATALOGUE if catalogue.load(id).joins])
def test_the_joins_of_the_catalogue_are_kept_and_legal(id: str) -> None:
    block = catalogue.load(id)
    assert block.joins is not None
    order = order_of(block, seams_of(block))
    assert nested(order, ids_of(block)) == block.joins
    check_order(block, order)
    check_bookkeeping(block, order)


def test_joins_are_sewn_from_the_inside_out() -> None:
    # 1 2 3 over 4 5 6: rows first, then the rows to each other.
    order = sewn(squares(2, 3), ((("p1", "p2"), "p3"), ("p4", ("p5", "p6"))))
    assert [(j.first, j.second) for j in order.joins] == [(0, 1), (6, 2), (4, 5), (3, 8), (7, 9)]
    assert order.parents == (6, 6, 7, 9, 8, 8, 7, 10, 9, 10, None)
    assert members(order, 7) == [0, 1, 2]
    assert members(order, 10) == [0, 1, 2, 3, 4, 5]
    last = order.joins[-1].seam
    assert len(last.sides) == 3
    assert last.kind == "straight"


def test_the_units_of_a_join_keep_their_order() -> None:
    order = sewn(squares(2, 2), (("p4", "p3"), ("p2", "p1")))
    assert members(order, 6) == [3, 2, 1, 0]
    assert nested(order, ["p1", "p2", "p3", "p4"]) == (("p4", "p3"), ("p2", "p1"))


@pytest.mark.parametrize(
    ("joins", "pivots", "partial"),
    [
        # Square and top, then right and bottom on; the left one finishes the first seam.
        ((((("p3", "p1"), "p2"), "p5"), "p4"), [], [(0, (4, 2), (2, 2), 3)]),
        # One way round and then back: each next one finishes the seam before it.
        (
            (((("p3", "p1"), "p4"), "p5"), "p2"),
            [],
            [(0, (4, 2), (2, 2), 1), (1, (2, 2), (2, 4), 2), (2, (2, 4), (4, 4), 3)],
        ),
        # The square last of all would fill a hole; before the last it is set in at one corner, and
        # the last one at another: the seam that would have to be straight there is not.
        ((((("p1", "p2"), "p5"), "p3"), "p4"), [(4, 2), (2, 2)], [(1, (6, 4), (4, 4), 2)]),
    ],
)
def test_the_partial_seams_of_a_ring(
    joins: Joins, pivots: list[Point], partial: list[tuple[int, Point, Point, int]]
) -> None:
    block = bright_hopes()
    centres = {p.id: Polygon(paths.ring(p.outline)).centroid.coords[0] for p in block.pieces}
    assert centres == {
        "p1": (2, 1), "p2": (5, 2), "p3": (3, 3), "p4": (1, 4), "p5": (4, 5),
    }  # fmt: skip
    order = sewn(block, joins)
    check_order(block, order)
    seams = seams_of(block)
    found = [seams.points[p] for join in order.joins for p in join.seam.pivots]
    assert sorted(found) == sorted(pivots)
    assert [
        (k, seams.points[one.start], seams.points[one.open], one.finished_by)
        for k, join in enumerate(order.joins)
        if (one := join.partial) is not None
    ] == partial


def faults(block: Block, joins: Joins, pointer: str = "/block/joins") -> list[Fault]:
    with pytest.raises(BlockError) as raised:
        order_from(seams_of(block), ids_of(block), joins, pointer)
    return list(raised.value.faults)


def test_pieces_that_touch_at_a_corner_only_cannot_be_joined() -> None:
    found = faults(squares(2, 2), (("p1", "p4"), ("p2", "p3")))
    assert [(f.pointer, f.code) for f in found[:2]] == [
        ("/block/joins/0", "illegal-join"),
        ("/block/joins/1", "illegal-join"),
    ]
    assert "piece p1 and piece p4 share no edge" in found[0].detail
    assert "piece p2 and piece p3 share no edge" in found[1].detail
    assert all(f.at is not None for f in found)


def test_units_that_meet_along_two_lines_cannot_be_joined() -> None:
    # Three sides of a frame round the centre, and the fourth: two seams at once.
    block = squares(3, 3)
    ring: Joins = ((((("p1", "p2"), "p3"), "p6"), "p9"), "p8")
    rest: Joins = ("p7", "p4")
    (fault,) = faults(block, ((ring, rest), "p5"), "/items/0/block/joins")[:1]
    assert (fault.pointer, fault.code) == ("/items/0/block/joins/0", "illegal-join")
    assert "unit p1+p2+p3+p6+… and unit p7+p4 meet along several separate lines" in fault.detail
    assert fault.at in {(0, 1), (1, 1), (1, 2), (1, 3)}


def test_every_illegal_join_is_told() -> None:
    found = faults(squares(1, 6), ((("p1", "p3"), ("p2", "p5")), ("p4", "p6")))
    pointers = [f.pointer for f in found]
    assert pointers[:2] == ["/block/joins/0/0", "/block/joins/0/1"]
    assert "/block/joins/1" in pointers
    assert {f.code for f in found} == {"illegal-join"}


@settings(max_examples=60, deadline=None)
@given(partitions.blocks(), st.randoms(use_true_random=False))
def test_any_order_is_taken_if_shapely_finds_it_legal_and_told_if_not(
    block: Block, rng: Any
) -> None:
    built: list[Joins] = list(ids_of(block))
    while len(built) > 1:
        pair = rng.sample(built, 2)
        built = [u for u in built if u not in pair] + [(pair[0], pair[1])]
    shapes, wrong = shapes_of(block), 0
    for first, second in units(built[0]):
        one, other = (shapely.unary_union([shapes[n] for n in unit]) for unit in (first, second))
        wrong += not one_line(one, other)
    if not wrong:
        check_order(block, sewn(block, built[0]))
    else:
        assert len(faults(block, built[0])) == wrong


def one_line(one: BaseGeometry, other: BaseGeometry) -> bool:
    lines = [
        g
        for g in shapely.get_parts(one.intersection(other)).tolist()
        if g.geom_type == "LineString"
    ]
    if not lines:
        return False
    return shapely.line_merge(MultiLineString(lines)).geom_type == "LineString"


def test_a_chain_of_1500_joins_is_sewn() -> None:
    strips = [
        {"id": f"s{k}", "outline": [[k, 0], [k + 1, 0], [k + 1, 2], [k, 2]]} for k in range(1500)
    ]
    block = block_from_pieces({"pieces": strips})
    chain: Joins = "s0"
    for k in range(1, 1500):
        chain = (chain, f"s{k}")
    order = sewn(block, chain)
    assert kinds(order) == {"straight": 1499}
    assert members(order, 2 * 1500 - 2) == list(range(1500))
    unit, depth = nested(order, ids_of(block)), 0
    while not isinstance(unit, str):
        unit, depth = unit[0], depth + 1
    assert (unit, depth) == ("s0", 1499)


# --- seams --------------------------------------------------------------------------------


def seam_between(block: Block, first: Sequence[str], second: Sequence[str]) -> Seam:
    seams, ids = seams_of(block), ids_of(block)
    edges = [
        k
        for k, e in enumerate(seams.edges)
        if e.left is not None
        and {ids[e.left] in first, ids[e.right] in first} == {True, False}
        and {ids[e.left] in second, ids[e.right] in second} == {True, False}
    ]
    return seam_along(seams, edges)


def test_a_seam_runs_from_one_end_to_the_other() -> None:
    block = squares(2, 3)
    seams = seams_of(block)
    seam = seam_between(block, ["p1", "p2", "p3"], ["p4", "p5", "p6"])
    assert seam.ends is not None
    start, end = (seams.points[p] for p in seam.ends)
    assert {start, end} == {(0, 1), (3, 1)}
    assert len(seam.sides) == 3
    assert seams.segment(seam.sides[0]).start == start
    assert seams.segment(seam.sides[-1]).end == end
    for side, after in itertools.pairwise(seam.sides):
        assert seams.segment(side).end == seams.segment(after).start


def test_a_seam_round_a_piece_closes_on_itself() -> None:
    # A square frame sewn to the square in it: such a unit cannot be sewn, but has a seam.
    ring = ["p1", "p2", "p3", "p4", "p6", "p7", "p8", "p9"]
    seam = seam_between(squares(3, 3), ring, ["p5"])
    assert seam.ends is None
    assert len(seam.sides) == len(seam.pivots) == 4
    assert seam.kind == "set-in"


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (["p1", "p2", "p3"], ["p7", "p8", "p9"]),
        (["p1", "p3"], ["p2"]),
        (["p2", "p4", "p6", "p8"], ["p1", "p3", "p5", "p7", "p9"]),
    ],
    ids=["none", "two", "many"],
)
def test_what_is_not_one_line_is_no_seam(first: list[str], second: list[str]) -> None:
    with pytest.raises(BrokenSeam):
        seam_between(squares(3, 3), first, second)


@pytest.mark.parametrize(
    ("before", "after", "bends"),
    [
        (Line((0, 0), (3, 0)), Line((3, 0), (6, 0)), False),
        (Line((0, 0), (3, 0)), Line((3, 0), (6, 0.04)), False),  # 0.8 degrees
        (Line((0, 0), (3, 0)), Line((3, 0), (6, 0.07)), True),  # 1.3 degrees
        (Line((0, 0), (3, 0)), Line((3, 0), (3, 3)), True),
        (Line((0, 0), (3, 0)), Line((3, 0), (0, 0.5)), True),
        (Line((0, 0), (3, 0)), Line((3, 0), (3.06, 0.003)), False),  # within the tolerance
        (Line((0, 0), (0.06, 0.003)), Line((0.06, 0.003), (3, 0.003)), False),
        (Line((0, 0), (3, 0)), Line((3, 0), (3.06, 0.03)), True),
    ],
)
def test_a_seam_bends_by_more_than_a_degree_and_the_tolerance(
    before: Line, after: Line, bends: bool
) -> None:
    assert seam_bends(before, after) == bends
    assert seam_bends(paths.reverse(after), paths.reverse(before)) == bends


def test_a_smooth_curve_has_no_pivot_and_a_kink_in_it_has_one() -> None:
    pie = "M0 0 L3 0 A3 3 0 0 1 0 3 Z"
    rest = "M3 0 L4 0 L4 4 L0 4 L0 3 A3 3 0 0 0 3 0 Z"
    smooth = block_from_pieces({"pieces": [{"id": "a", "path": pie}, {"id": "b", "path": rest}]})
    seam = seam_between(smooth, ["a"], ["b"])
    assert (seam.kind, seam.pivots) == ("curved", ())
    heart = "M0 0 L4 0 A2 2 0 0 1 2 2 A2 2 0 0 1 0 4 Z"
    outer = "M4 0 L5 0 L5 5 L0 5 L0 4 A2 2 0 0 0 2 2 A2 2 0 0 0 4 0 Z"
    kinked = block_from_pieces({"pieces": [{"id": "a", "path": heart}, {"id": "b", "path": outer}]})
    seam = seam_between(kinked, ["a"], ["b"])
    assert seam.kind == "set-in"
    assert [seams_of(kinked).points[p] for p in seam.pivots] == [(2, 2)]
