"""The map of a block: points, edges and corners, counted and measured apart from the code.

References: Euler's formula for a map without holes, the sum of angles round a point, Shapely's
union for the outside of the block and its shared paths for the seams.
"""

from __future__ import annotations

import math
import random
from collections import Counter
from typing import Any

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.model import Block
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.block.seams import Corner, Seams, knit, planar_map, straightened
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Line, Outline
from piecewright.patchwork.geometry.vectors import TOLERANCE, Point, distance
from tests.patchwork import partitions

CATALOGUE = [entry.id for entry in catalogue.entries()]


def seams_of(block: Block) -> Seams:
    return planar_map([p.outline for p in block.pieces])


def pieces(**outlines: list[list[float]] | str) -> Block:
    given: list[dict[str, Any]] = [
        {"id": id, "path" if isinstance(o, str) else "outline": o} for id, o in outlines.items()
    ]
    return block_from_pieces({"pieces": given})


def corners_at(seams: Seams, at: Point) -> list[tuple[Corner, ...]]:
    return list(seams.around[seams.points.index(at)])


def angles(run: tuple[Corner, ...]) -> list[float]:
    return [round(c.inner_angle, 6) for c in run]


# --- edges --------------------------------------------------------------------------------


def check_edges(block: Block) -> None:
    """Every edge is travelled by one piece at the outside, by two inside, in opposite ways."""
    seams = seams_of(block)
    travelled = Counter((s.edge, s.forward) for own in seams.sides for s in own)
    assert set(travelled.values()) == {1}
    for number, edge in enumerate(seams.edges):
        assert (number, True) in travelled
        assert ((number, False) in travelled) == (edge.left is not None)
        assert edge.left != edge.right
        assert seams.points[edge.start] == edge.segment.start
        assert seams.points[edge.end] == edge.segment.end
        assert edge.back == (None if edge.left is None else paths.reverse(edge.segment))
    for piece, own in enumerate(seams.sides):
        assert tuple(seams.segment(side) for side in own) == block.pieces[piece].outline
        for side, after in zip(own, [*own[1:], own[0]], strict=True):
            edge = seams.edges[side.edge]
            assert piece == (edge.right if side.forward else edge.left)
            assert seams.segment(side).end == seams.segment(after).start
            assert seams.start(after) == (edge.end if side.forward else edge.start)


def check_whole(block: Block) -> None:
    """Outside and seams have the lengths that Shapely finds, and the map has no hole."""
    seams = seams_of(block)
    shapes = [Polygon(paths.ring(p.outline)) for p in block.pieces]
    # A hair wider, so that neighbours overlap and rounding leaves no slit between them.
    whole = shapely.union_all([s.buffer(1e-5, join_style="mitre") for s in shapes])
    assert isinstance(whole, Polygon)
    rim = math.fsum(paths.run_length([e.segment]) for e in seams.edges if e.left is None)
    assert rim == pytest.approx(whole.exterior.length, abs=0.01)
    every = math.fsum(paths.run_length([e.segment]) for e in seams.edges)
    assert 2 * every - rim == pytest.approx(sum(s.length for s in shapes), abs=0.05)
    assert len(seams.points) - len(seams.edges) + len(seams.sides) == 1


def check_corners(block: Block) -> None:
    """Round every point the corners follow each other clockwise and fill what they should."""
    seams = seams_of(block)
    assert len(seams.around) == len(seams.points)
    seen = Counter((c.piece, c.side) for runs in seams.around for run in runs for c in run)
    assert seen == {(i, k): 1 for i, own in enumerate(seams.sides) for k in range(len(own))}
    outer = {p for e in seams.edges if e.left is None for p in (e.start, e.end)}
    for point, runs in enumerate(seams.around):
        for run in runs:
            for corner, after in zip(run, run[1:], strict=False):
                assert corner.arriving == after.leaving
            for corner in run:
                assert 0 <= corner.inner_angle <= 360
                side = seams.sides[corner.piece][corner.side]
                assert seams.start(side) == point
                assert side.edge == corner.leaving
        if point in outer:
            assert not any(seams.closes(run) for run in runs)
            assert sum(sum(c.inner_angle for c in run) for run in runs) < 360 + 1e-6
        else:
            (run,) = runs
            assert seams.closes(run)
            assert sum(c.inner_angle for c in run) == pytest.approx(360, abs=1e-6)


@pytest.mark.parametrize("id", CATALOGUE)
def test_every_block_of_the_catalogue_has_a_sound_map(id: str) -> None:
    block = catalogue.load(id)
    check_edges(block)
    check_whole(block)
    check_corners(block)


@settings(max_examples=100, deadline=None)
@given(partitions.blocks())
def test_every_random_block_has_a_sound_map(block: Block) -> None:
    check_edges(block)
    check_whole(block)
    check_corners(block)


@settings(max_examples=50, deadline=None)
@given(partitions.blocks())
def test_seams_are_where_shapely_finds_neighbours(block: Block) -> None:
    seams = seams_of(block)
    shapes = [Polygon(paths.ring(p.outline)) for p in block.pieces]
    shared: Counter[tuple[int, int]] = Counter()
    for edge in seams.edges:
        if edge.left is not None:
            pair = (min(edge.left, edge.right), max(edge.left, edge.right))
            shared[pair] += distance(edge.segment.start, edge.segment.end)  # type: ignore[assignment]
    for i, one in enumerate(shapes):
        for j, other in enumerate(shapes[i + 1 :], i + 1):
            length = one.intersection(other).length
            assert shared[i, j] == pytest.approx(length, abs=1e-6)


# --- worked maps --------------------------------------------------------------------------


def test_the_map_of_a_four_patch() -> None:
    block = block_from_drawing(
        {
            "frame": [[0, 0], [2, 0], [2, 2], [0, 2]],
            "lines": [[[1, 0], [1, 2]], [[0, 1], [2, 1]]],
        }
    )
    seams = seams_of(block)
    assert (len(seams.points), len(seams.edges)) == (9, 12)
    assert sum(e.left is not None for e in seams.edges) == 4
    (run,) = corners_at(seams, (1, 1))
    assert angles(run) == [90] * 4
    assert seams.closes(run)
    # Clockwise as seen from the upper left: p1, p2, p4, p3.
    order = [c.piece for c in run]
    first = order.index(0)
    assert order[first:] + order[:first] == [0, 1, 3, 2]


def test_where_a_seam_ends_on_a_straight_side_the_corner_is_flat() -> None:
    block = pieces(
        tall=[[0, 0], [1, 0], [1, 2], [0, 2]],
        top=[[1, 0], [2, 0], [2, 1], [1, 1]],
        end=[[1, 1], [2, 1], [2, 2], [1, 2]],
    )
    (run,) = corners_at(seams_of(block), (1, 1))
    assert {c.piece: c.inner_angle for c in run} == pytest.approx({0: 180, 1: 90, 2: 90})
    (flat,) = (c for c in run if c.piece == 0)
    assert flat.turns == pytest.approx(0)
    assert flat.arrives == pytest.approx(flat.leaves)


def test_at_a_reflex_corner_there_is_more_than_half_a_turn_of_cloth() -> None:
    block = pieces(
        ell=[[0, 0], [2, 0], [2, 1], [1, 1], [1, 2], [0, 2]],
        square=[[1, 1], [2, 1], [2, 2], [1, 2]],
    )
    (run,) = corners_at(seams_of(block), (1, 1))
    assert {c.piece: c.inner_angle for c in run} == pytest.approx({0: 270, 1: 90})
    assert {c.piece: c.turns for c in run} == pytest.approx({0: -90, 1: 90})


def test_at_the_outside_corners_run_clockwise_from_edge_to_edge() -> None:
    block = pieces(
        a=[[0, 0], [1, 0], [1, 1], [0, 1]],
        b=[[1, 1], [2, 1], [2, 2], [1, 2]],
        elbow=[[0, 1], [1, 1], [1, 2], [2, 2], [2, 3], [0, 3]],
    )
    seams = seams_of(block)
    (run,) = corners_at(seams, (1, 1))
    # A bay is open toward the upper right; clockwise from it come b, elbow and a.
    assert [block.pieces[c.piece].id for c in run] == ["b", "elbow", "a"]
    assert angles(run) == [90, 90, 90]
    assert not seams.closes(run)


def test_the_outside_breaks_the_corners_round_a_point_into_runs() -> None:
    squares = [
        paths.polygon([(0, 0), (1, 0), (1, 1), (0, 1)]),
        paths.polygon([(1, 1), (2, 1), (2, 2), (1, 2)]),
    ]
    seams = planar_map(squares)
    runs = corners_at(seams, (1, 1))
    assert sorted([c.piece for c in run] for run in runs) == [[0], [1]]
    assert not any(seams.closes(run) for run in runs)


def test_corners_beside_curves_are_measured_by_their_tangents() -> None:
    # A quarter circle round (0, 0) meets the edges of its square at right angles.
    block = pieces(
        pie="M0 0 L3 0 A3 3 0 0 1 0 3 Z",
        rest="M3 0 L4 0 L4 4 L0 4 L0 3 A3 3 0 0 0 3 0 Z",
    )
    seams = seams_of(block)
    for at in ((3.0, 0.0), (0.0, 3.0)):
        (run,) = corners_at(seams, at)
        assert angles(run) == pytest.approx([90, 90], abs=1e-3)


def test_at_a_cusp_one_piece_has_no_angle_and_the_other_a_full_turn() -> None:
    # A circle's arc that touches the bottom edge at (2, 0): a horn of cloth runs out there.
    block = pieces(
        horn="M0 0 L2 0 A2 2 0 0 0 0 2 Z",
        rest="M2 0 L4 0 L4 3 L0 3 L0 2 A2 2 0 0 1 2 0 Z",
    )
    (run,) = corners_at(seams_of(block), (2, 0))
    assert {c.piece: c.inner_angle for c in run} == pytest.approx({0: 0, 1: 180}, abs=1e-3)
    lens = pieces(
        a="M0 0 C2 0 2 0 4 1 L4 -1 C2 0 2 0 0 0 Z",
        b="M0 0 C2 0 2 0 4 -1 L4 -3 L-3 -3 L-3 3 L4 3 L4 1 C2 0 2 0 0 0 Z",
    )
    (run,) = corners_at(seams_of(lens), (0, 0))
    assert {c.piece: c.inner_angle for c in run} == pytest.approx({0: 0, 1: 360}, abs=1e-3)


# --- knitting -----------------------------------------------------------------------------


@settings(max_examples=80, deadline=None)
@given(partitions.blocks(), st.integers(0, 2**32))
def test_what_is_knitted_once_is_knitted(block: Block, seed: int) -> None:
    rng = random.Random(seed)

    def tremble(p: Point) -> Point:
        return (p[0] + rng.uniform(-1, 1) * 0.0013, p[1] + rng.uniform(-1, 1) * 0.0013)

    rough = [paths.polygon([tremble(q) for q in paths.ring(p.outline)]) for p in block.pieces]
    once = knit(rough)
    assert knit(once) == once
    seams = planar_map(once)
    assert len(seams.edges) == len(seams_of(block).edges)
    assert len(seams.points) == len(seams_of(block).points)


@pytest.mark.parametrize("id", CATALOGUE)
def test_a_block_of_the_catalogue_is_knitted_as_it_is(id: str) -> None:
    outlines = tuple(p.outline for p in catalogue.load(id).pieces)
    assert knit(outlines) == outlines


@settings(max_examples=50, deadline=None)
@given(partitions.blocks())
def test_knitting_moves_nothing_by_more_than_the_tolerance(block: Block) -> None:
    rough = [
        paths.polygon([(round(x, 3), round(y, 3)) for x, y in paths.ring(p.outline)])
        for p in block.pieces
    ]
    for before, after in zip(rough, knit(rough), strict=True):
        one, other = Polygon(paths.ring(before)), Polygon(paths.ring(after))
        far = shapely.hausdorff_distance(one.exterior, other.exterior)
        assert far <= 2 * TOLERANCE


def test_an_outline_smaller_than_the_tolerance_shrinks_to_nothing() -> None:
    speck = paths.polygon([(0, 0), (0.003, 0), (0.002, 0.003)])
    square = paths.polygon([(0, 0), (1, 0), (1, 1), (0, 1)])
    assert knit([speck, square]) == ((), square)


def test_a_spike_thinner_than_the_tolerance_goes() -> None:
    spiked = paths.polygon([(0, 0), (1, 0), (3, 0.001), (1, 0.002), (1, 1), (0, 1)])
    (square,) = knit([spiked])
    assert paths.ring(square) == [(0, 0), (1, 0), (1, 1), (0, 1)]


def test_two_descriptions_of_one_curve_become_one() -> None:
    pie = (Line((0, 0), (3, 0)), *paths.arc((3, 0), 3, 3, 0, False, True, (0, 3)))
    handle = 4 * (math.sqrt(2) - 1)
    rest: Outline = (
        Curve((0, 3), (handle, 3), (3, handle), (3, 0)),
        *paths.polygon([(3, 0), (4, 0), (4, 4), (0, 4), (0, 3)])[:-1],
    )
    for outlines in ([(*pie, Line((0, 3), (0, 0))), rest], [rest, (*pie, Line((0, 3), (0, 0)))]):
        one, other = ([s for s in o if isinstance(s, Curve)] for o in knit(outlines))
        # The cubic is divided where the arcs end, and both sides are the very same curves.
        assert [paths.reverse(s) for s in reversed(one)] == other
        assert len(one) == 4
        for curve in one:
            for t in (0, 0.3, 0.5, 0.7, 1):
                assert math.hypot(*paths.point_at(curve, t)) == pytest.approx(3, abs=0.001)


def test_two_curves_between_the_same_points_that_run_apart_stay_two() -> None:
    bulge = Curve((0, 0), (1, -1), (2, -1), (3, 0))
    lens: Outline = (bulge, Line((3, 0), (0, 0)))
    below: Outline = (Line((0, 0), (3, 0)), *paths.polygon([(3, 0), (3, 2), (0, 2), (0, 0)])[:-1])
    seams = planar_map(knit([lens, below]))
    assert sum(e.left is not None for e in seams.edges) == 1
    assert sum(isinstance(e.segment, Curve) for e in seams.edges) == 1


# --- straight sides -----------------------------------------------------------------------


def test_points_in_the_middle_of_a_straight_side_are_left_out() -> None:
    ring: list[Point] = [(1, 0), (2, 0), (2, 1), (2, 2), (0, 2), (0, 0)]
    assert paths.ring(straightened(paths.polygon(ring))) == [(0, 0), (2, 0), (2, 2), (0, 2)]


@settings(max_examples=50, deadline=None)
@given(partitions.blocks())
def test_a_straightened_outline_is_the_same_shape_with_corners_only(block: Block) -> None:
    for piece in block.pieces:
        straight = straightened(piece.outline)
        assert paths.area(straight) == pytest.approx(paths.area(piece.outline), abs=1e-4)
        assert {s.start for s in straight} <= {s.start for s in piece.outline}
        assert straightened(straight) == straight
        ring = Polygon(paths.ring(straight))
        assert len(shapely.get_coordinates(ring.simplify(1e-7))) == len(straight) + 1


def test_curves_are_never_straightened() -> None:
    arc = paths.arc((0, 0), 2, 2, 0, False, True, (4, 0))
    outline = (*arc, Line((4, 0), (2, 0)), Line((2, 0), (0, 0)))
    assert straightened(outline) == (*arc, Line((4, 0), (0, 0)))
