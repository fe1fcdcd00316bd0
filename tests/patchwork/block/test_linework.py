"""Drawings: lines that cut a frame into pieces, compared with Shapely and worked by hand.

Shapely's ``split`` and the outlines of random blocks are the reference for what the pieces
are.  A line's end within 0.004 in of a line is joined to it, one that dangles further is a fault;
pieces are p1, p2, … from top to bottom, then left to right, by their centroids rounded to 0.01 in.
"""

from __future__ import annotations

import math
import random
from collections import Counter
from typing import Any, TypeAlias

import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon, box
from shapely.ops import split

from piecewright.patchwork.block.linework import cut_into_pieces
from piecewright.patchwork.block.model import Block, FaultyBlock, finished
from piecewright.patchwork.block.read import block_from_drawing
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import Point, between, distance
from tests.patchwork import partitions

Lines: TypeAlias = list[list[list[Any]]]

SQUARE: list[Any] = [[0, 0], [3, 0], [3, 3], [0, 3]]
INNER = [[1, 1], [2, 1], [2, 2], [1, 2], [1, 1]]


def draw(lines: Lines, frame: list[Any] = SQUARE, **more: Any) -> Block:
    return block_from_drawing({"frame": frame, "lines": lines, **more})


def shapes(block: Block) -> dict[str, Polygon]:
    return {p.id: Polygon(paths.ring(p.outline)) for p in block.pieces}


def centres(block: Block) -> dict[str, Point]:
    return {id: (round(s.centroid.x, 2), round(s.centroid.y, 2)) for id, s in shapes(block).items()}


def faults(lines: Lines, frame: list[Any] = SQUARE, **more: Any) -> list[Fault]:
    with pytest.raises(BlockError) as raised:
        draw(lines, frame, **more)
    return list(raised.value.faults)


def codes(lines: Lines, frame: list[Any] = SQUARE, **more: Any) -> Counter[tuple[str, str]]:
    return Counter((f.pointer, f.code) for f in faults(lines, frame, **more))


# --- pieces and their names ---------------------------------------------------------------


def test_a_frame_without_lines_is_one_piece() -> None:
    assert {id: s.area for id, s in shapes(draw([])).items()} == {"p1": 9}


def test_pieces_are_named_from_top_to_bottom_and_left_to_right() -> None:
    block = draw([[[0, 1], [3, 1]], [[0, 2], [3, 2]], [[1, 0], [1, 3]], [[2, 0], [2, 3]]])
    expected = {
        f"p{3 * row + column + 1}": (column + 0.5, row + 0.5)
        for row in range(3)
        for column in range(3)
    }
    assert centres(block) == expected


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        # Crossing diagonals: top, then left and right at one height, then bottom.
        (
            [[[0, 0], [3, 3]], [[3, 0], [0, 3]]],
            {"p1": (1.5, 0.5), "p2": (0.5, 1.5), "p3": (2.5, 1.5), "p4": (1.5, 2.5)},
        ),
        # The lower left triangle has its centre below the upper right one's.
        ([[[0, 0], [3, 3]]], {"p1": (2, 1), "p2": (1, 2)}),
        (
            [[[1.5, 0], [1.5, 3]], [[1.5, 1.5], [3, 1.5]]],
            {"p1": (2.25, 0.75), "p2": (0.75, 1.5), "p3": (2.25, 2.25)},
        ),
        # Rounded to 0.01 in, the centroids at heights 1.0 and 0.997 are in one row.
        (
            [[[0, 2], [1.5, 2]], [[1.5, 1.994], [3, 1.994]], [[1.5, 0], [1.5, 3]]],
            {"p1": (0.75, 1.0), "p2": (2.25, 1.0), "p3": (0.75, 2.5), "p4": (2.25, 2.5)},
        ),
    ],
)
def test_names_follow_the_centroids(lines: Lines, expected: dict[str, Point]) -> None:
    found = centres(draw(lines))
    assert list(found) == list(expected)
    for id, at in expected.items():
        assert found[id] == pytest.approx(at, abs=0.011)


def test_lines_may_have_corners_and_cross_themselves() -> None:
    # A zigzag from side to side that crosses itself once.
    block = draw([[[0, 1], [3, 2], [3, 1], [0, 2]]])
    areas = {id: s.area for id, s in shapes(block).items()}
    assert areas == pytest.approx({"p1": 3.75, "p2": 0.75, "p3": 0.75, "p4": 3.75})


@pytest.mark.parametrize(
    "lines",
    [
        [[[1, 0], [1, 3]], [[1, 0], [1, 3]]],
        [[[1, 0], [1, 3]], [[1, 3], [1, 0]]],
        [[[1, 0], [1, 2]], [[1, 1], [1, 3]]],
        [[[1, 0], [1, 3]], [[1.002, 0], [1.002, 3]]],
        [[[1, 0], [1, 1], [1, 1], [1, 3]]],
        [[[1, 0], [1, 3]], [[0, 0], [3, 0]], [[3, 1], [3, 2]]],
        [[["1", "0"], ["1 in", "3 in"]]],
    ],
    ids=["twice", "back", "in-parts", "almost-twice", "point-twice", "on-the-frame", "text"],
)
def test_lines_drawn_over_each_other_cut_once(lines: Lines) -> None:
    block = draw(lines)
    assert [s.area for s in shapes(block).values()] == pytest.approx([3, 6], abs=0.01)
    assert centres(block)["p1"] == (0.5, 1.5)


def test_a_drawing_in_centimetres() -> None:
    block = draw(
        [[[2.54, 0], [2.54, "3 in"]]], [[0, 0], [7.62, 0], [7.62, 7.62], [0, 7.62]], unit="cm"
    )
    assert [s.area for s in shapes(block).values()] == pytest.approx([3, 6])


def test_a_frame_may_be_any_simple_outline_and_run_either_way() -> None:
    house = [[0, 3], [3, 3], [3, 1], [1.5, 0], [0, 1]]
    for frame in (house, house[::-1]):
        block = draw([[[0, 1], [3, 1]]], frame)
        assert [s.area for s in shapes(block).values()] == pytest.approx([1.5, 6])
        assert all(paths.area(p.outline) > 0 for p in block.pieces)


@settings(deadline=None)
@given(
    st.floats(0, 12).map(lambda along: round(along, 2)),
    st.floats(0, 12).map(lambda along: round(along, 2)),
    st.sampled_from([0, 0.0035]),
)
def test_one_line_through_the_frame_cuts_it_as_shapely_does(
    first: float, last: float, short: float
) -> None:
    # Both ends are points of the rim, given by how far round it they lie.
    rim = box(0, 0, 3, 3).exterior
    p, q = ((spot.x, spot.y) for spot in (rim.interpolate(a) for a in (first, last)))
    line = LineString([p, q])
    assume(line.length > 0.5)
    assume(not rim.buffer(0.01).contains(line))
    off = short / line.length
    drawn = draw([[list(between(p, q, off)), list(between(q, p, off))]])
    long = shapely.affinity.scale(line, 1.1, 1.1)
    expected = sorted(s.area for s in split(box(0, 0, 3, 3), long).geoms)
    found = sorted(s.area for s in shapes(drawn).values())
    assert found == pytest.approx(expected, abs=0.03)


@settings(max_examples=60, deadline=None)
@given(partitions.blocks(), st.integers(0, 2**32))
def test_a_blocks_seams_drawn_as_lines_give_its_pieces_back(block: Block, seed: int) -> None:
    # Each seam of its own, in any direction, one end short or too long by up to 0.0015: the
    # ends that meet at a point are then within 0.003 of each other.
    rng = random.Random(seed)
    lines: Lines = []
    for edge in planar_map([p.outline for p in block.pieces]).edges:
        if edge.left is not None:
            p, q = rng.sample([edge.segment.start, edge.segment.end], 2)
            off = rng.uniform(-0.0015, 0.0015) / distance(p, q)
            lines.append([list(between(p, q, off)), list(between(q, p, 0))])
    rng.shuffle(lines)
    drawn = list(shapes(draw(lines, [[0, 0], [6, 0], [6, 6], [0, 6]])).values())
    assert len(drawn) == len(block.pieces)
    for piece in shapes(block).values():
        assert min(piece.symmetric_difference(s).area for s in drawn) < 0.08


# --- ends ---------------------------------------------------------------------------------


@pytest.mark.parametrize("off", [0, 0.002, 0.0035, -0.002, -0.0035])
def test_a_line_that_almost_reaches_the_frame_ends_on_it(off: float) -> None:
    block = draw([[[1, off], [1, 3 - off]]])
    assert [s.area for s in shapes(block).values()] == pytest.approx([3, 6])
    assert sum(s.area for s in shapes(block).values()) == pytest.approx(9, abs=1e-9)


@pytest.mark.parametrize("off", [0.0035, -0.0035])
def test_a_line_that_almost_reaches_another_line_ends_on_it(off: float) -> None:
    block = draw([[[1, 0], [1, 3]], [[1 + off, 1], [3, 1]]])
    (left,) = [p for p in block.pieces if p.id == "p2"]
    corners = {(round(x, 5), round(y, 5)) for x, y in paths.ring(left.outline)}
    assert corners == {(0, 0), (1, 0), (1, 1), (1, 3), (0, 3)}
    assert [s.area for s in shapes(block).values()] == pytest.approx([2, 3, 4])


@pytest.mark.parametrize(
    ("line", "at"),
    [
        ([[1, 0], [1, 2]], (1, 2)),
        ([[1, 2], [1, 0]], (1, 2)),
        ([[1, 0.02], [1, 3]], (1, 0.02)),
        ([[1, 0], [1, 2.98]], (1, 2.98)),
        ([[0, 1], [1, 1], [1, 2]], (1, 2)),
        ([[1.5, 0], [1.5, 1.5], [2, 2]], (2, 2)),
    ],
)
def test_a_line_that_ends_in_the_middle_of_a_piece_is_told_with_its_end(
    line: list[Any], at: Point
) -> None:
    found = faults([[[0, 0.5], [3, 0.5]], [[2.5, 0.5], [2.5, 3]], line])
    assert {(f.pointer, f.code) for f in found} == {("/block/lines/2", "dangling-line")}
    assert any(f.at == pytest.approx(at, abs=1e-4) for f in found)


def test_a_line_that_touches_nothing_is_told() -> None:
    (fault,) = faults([[[1, 1], [2, 2]]])
    assert (fault.pointer, fault.code) == ("/block/lines/0", "dangling-line")
    assert min(math.dist(fault.at or (0, 0), end) for end in [(1, 1), (2, 2)]) < 1e-4


def test_every_dangling_line_is_told() -> None:
    found = faults([[[1, 0], [1, 2]], [[0, 2.5], [3, 2.5]], [[2, 2.5], [2, 1]]])
    at = {f.pointer: f.at for f in found}
    assert at == {
        "/block/lines/0": pytest.approx((1, 2), abs=1e-4),
        "/block/lines/2": pytest.approx((2, 1), abs=1e-4),
    }
    assert {f.code for f in found} == {"dangling-line"}


@pytest.mark.parametrize(
    ("line", "beyond"),
    [
        ([[1, -0.02], [1, 3]], box(0, -1, 3, 0)),
        ([[1, 0], [1, 4]], box(0, 3, 3, 4)),
        ([[0, 1], [4, 1], [4, 2], [0, 2]], box(3, 0, 5, 3)),
        ([[-2, -2], [-1, -1]], box(-2, -2, 0, 0)),
    ],
)
def test_a_line_that_leaves_the_frame_is_told_with_a_place_outside(
    line: list[Any], beyond: Polygon
) -> None:
    (fault,) = faults([line])
    assert (fault.pointer, fault.code) == ("/block/lines/0", "outside-frame")
    assert fault.at is not None
    assert beyond.covers(shapely.Point(fault.at))


def test_a_line_may_not_cut_across_a_bay_of_the_frame() -> None:
    u = [[0, 0], [1, 0], [1, 2], [2, 2], [2, 0], [3, 0], [3, 3], [0, 3]]
    (fault,) = faults([[[0, 1], [3, 1]]], u)
    assert (fault.pointer, fault.code) == ("/block/lines/0", "outside-frame")
    assert box(1, 0, 2, 2).contains(shapely.Point(fault.at or (9, 9)))


@pytest.mark.parametrize("line", [[], [[1, 1]], [[1, 1], [1, 1]]])
def test_a_line_of_one_point_is_told(line: list[Any]) -> None:
    (fault,) = faults([[[2, 0], [2, 3]], line])
    assert (fault.pointer, fault.code) == ("/block/lines/1", "no-length")


def test_bent_lines_that_almost_meet_each_other_and_the_frame() -> None:
    # Both bent lines end within the tolerance of each other's corners and of the frame.
    found = faults(
        [
            [[2.001, 0], [2.001, 2.002], [3.001, 2]],
            [[2.997, 2], [1, 1], [3.001, 1], [0.5, 1]],
        ]
    )
    assert [(f.pointer, f.code) for f in found] == [("/block/lines/1", "dangling-line")]
    assert found[0].at == pytest.approx((0.5, 1), abs=1e-4)


# --- pieces within pieces -----------------------------------------------------------------


@pytest.mark.parametrize(
    "lines",
    [
        [INNER],
        [INNER[:3], INNER[2:]],
        [[[1.5, 0], [2, 1], [1, 1], [1.5, 0]]],
        [[[1, 0.5], [2, 0.5], [1.5, 0], [1, 0.5]], [[0, 2], [3, 2]]],
    ],
    ids=["square", "in-two-lines", "from-a-point-of-the-frame", "to-a-point-of-the-frame"],
)
def test_a_piece_that_lies_free_in_another_one_is_told(lines: Lines) -> None:
    (fault,) = faults(lines)
    assert (fault.pointer, fault.code) == ("/block/lines", "ring-shaped")
    assert fault.at is not None
    corners = [p for line in lines for p in line]
    assert min(math.dist(fault.at, p) for p in corners) < 1e-4


def test_every_free_piece_is_told() -> None:
    dot = [[0.2, 0.2], [0.5, 0.2], [0.2, 0.5], [0.2, 0.2]]
    assert codes([INNER, dot]) == {("/block/lines", "ring-shaped"): 2}


def test_a_free_piece_tied_by_one_line_is_still_in_a_ring() -> None:
    assert ("/block/lines", "ring-shaped") in codes([INNER, [[0, 0], [1, 1]]])


def test_a_piece_tied_by_two_lines_is_a_piece() -> None:
    block = draw([INNER, [[0, 0], [1, 1]], [[2, 2], [3, 3]]])
    assert [s.area for s in shapes(block).values()] == pytest.approx([4, 1, 4])


# --- frame and fills ----------------------------------------------------------------------


@pytest.mark.parametrize(
    "frame",
    [
        [],
        [[0, 0]],
        [[0, 0], [3, 3]],
        [[0, 0], [3, 0], [1, 0]],
        [[0, 0], [3, 3], [3, 0], [0, 3]],
        [[0, 0], [3, 0], [3, 0.002], [0, 0.002]],
        [[0, 0], [3, 0], [3, 3], [1, 0], [0, 3]],
    ],
    ids=["none", "point", "line", "flat", "crossing", "hair", "touching"],
)
def test_a_frame_that_is_no_simple_outline_is_told(frame: list[Any]) -> None:
    (fault,) = faults([[[1, 0], [1, 3]]], frame)
    assert (fault.pointer, fault.code) == ("/block/frame", "frame")
    assert fault.at == (tuple(frame[0]) if frame else None)


def test_fills_give_the_pieces_their_fabrics() -> None:
    block = draw(
        [[[1, 0], [1, 3]], [[1, 1], [3, 1]]],
        fills=[
            {"at": [2, 2], "fabric": "red"},
            {"at": ["1/2", 1], "fabric": "tan"},
            {"at": [2.5, 2], "fabric": "red"},
        ],
        fabrics=[{"id": "red"}, {"id": "tan"}],
    )
    assert {p.id: p.fabric for p in block.pieces} == {"p1": None, "p2": "tan", "p3": "red"}


FABRICS = [{"id": "red"}, {"id": "tan"}]


@pytest.mark.parametrize(
    ("fills", "pointer", "code", "at"),
    [
        ([([0, 1], "red")], "/block/fills/0/at", "fill-outside", (0, 1)),
        ([([4, 1], "red")], "/block/fills/0/at", "fill-outside", (4, 1)),
        ([([2, 1], "red"), ([2, 2], "tan")], "/block/fills/1", "filled-twice", (2, 2)),
        ([([2, 1], "blue")], "/block/fills/0/fabric", "unknown-fabric", None),
        ([(["x", 1], "red")], "/block/fills/0/at/0", "length", None),
    ],
)
def test_faults_of_fills(
    fills: list[tuple[list[Any], str]], pointer: str, code: str, at: Point | None
) -> None:
    given = [{"at": spot, "fabric": fabric} for spot, fabric in fills]
    (fault,) = faults([[[1, 0], [1, 3]]], fills=given, fabrics=FABRICS)
    assert (fault.pointer, fault.code, fault.at) == (pointer, code, at)


def read_with_fills(*fills: tuple[Any, str]) -> Block:
    """A square of 3 in that a line cuts 1 in from its left side."""
    given = [{"at": at, "fabric": fabric} for at, fabric in fills]
    return draw([[[1, 0], [1, 3]]], fills=given, fabrics=FABRICS)


@pytest.mark.parametrize("x", [1, 0.9975, 1.0025])
def test_a_fill_that_a_line_runs_through_goes_to_the_larger_part(x: float) -> None:
    block = read_with_fills(([x, 1], "red"))
    assert {p.id: p.fabric for p in block.pieces} == {"p1": None, "p2": "red"}
    (caution,) = block.cautions
    assert (caution.pointer, caution.code) == ("/block/fills/0/at", "fill-on-line")
    assert caution.at == (x, 1)


def test_a_piece_with_a_fill_of_its_own_keeps_it() -> None:
    block = read_with_fills(([1, 1], "red"), ([2, 1], "tan"))
    assert {p.id: p.fabric for p in block.pieces} == {"p1": "red", "p2": "tan"}
    full = read_with_fills(([1, 1], "red"), ([2, 1], "tan"), (["1/2", 1], "tan"))
    assert {p.fabric for p in full.pieces} == {"tan"}
    assert [caution.code for caution in full.cautions] == ["fill-on-line"]


def test_the_place_of_a_caution_goes_with_the_finished_size() -> None:
    (caution,) = finished(read_with_fills(([1, 1], "red")), scale=2).cautions
    assert caution.at == (2, 2)


def test_a_fabric_that_no_list_has_is_a_fault() -> None:
    (fault,) = faults([], fills=[{"at": [1, 1], "fabric": "red"}])
    assert (fault.pointer, fault.code) == ("/block/fills/0/fabric", "unknown-fabric")


def test_in_spite_of_faults_pieces_are_found() -> None:
    """A line cuts a square of 3 in, and another one dangles in the right part."""
    fills = [{"at": [2, 1], "fabric": "red"}, {"at": [2, 2], "fabric": "tan"}]
    with pytest.raises(FaultyBlock) as refused:
        draw([[[1, 0], [1, 3]], [[1, 1], [2, 1.5]]], fills=fills, fabrics=FABRICS)
    assert [fault.code for fault in refused.value.faults] == ["dangling-line"]
    pieces = refused.value.pieces
    assert [(p.id, p.fabric) for p in pieces] == [("p1", None), ("p2", "red")]
    assert [paths.area(p.outline) for p in pieces] == pytest.approx([3, 6])


# --- all at once --------------------------------------------------------------------------


def test_all_faults_of_a_drawing_are_told_at_once() -> None:
    found = codes(
        [
            [[1, 0], [1, 2]],
            [[2, 0], [2, 4]],
            [[1, 1]],
            [[2.2, 2.2], [2.8, 2.2], [2.5, 2.8], [2.2, 2.2]],
        ],
        fills=[{"at": [1, 1], "fabric": "blue"}],
        fabrics=[{"id": "red"}, {"id": "red"}],
    )
    assert found == {
        ("/block/fabrics/0/id", "duplicate-id"): 1,
        ("/block/fabrics/1/id", "duplicate-id"): 1,
        ("/block/fills/0/fabric", "unknown-fabric"): 1,
        ("/block/lines/0", "dangling-line"): 1,
        ("/block/lines/1", "outside-frame"): 1,
        ("/block/lines/2", "no-length"): 1,
        ("/block/lines", "ring-shaped"): 1,
    }


def test_all_lengths_of_a_drawing_that_cannot_be_read_are_told() -> None:
    found = codes([[["1/0", 0], [1, 3]], [[2, 0], [2, "down"]]], [[0, 0], ["x", 0], [3, 3]])
    assert found == {
        ("/block/frame/1", "length"): 1,
        ("/block/lines/0/0", "length"): 1,
        ("/block/lines/1/1", "length"): 1,
    }


def test_a_line_of_more_than_200_points_is_told() -> None:
    line = [[1 + (k % 2) / 10, 3 * k / 200] for k in range(201)]
    assert codes([line]) == {("/block/lines/0", "too-many-points"): 1}


def test_lines_that_make_more_than_2000_pieces_are_told() -> None:
    frame = [[0, 0], [51, 0], [51, 40], [0, 40]]
    across = [[[k, 0], [k, 40]] for k in range(1, 51)]
    down = [[[0, k], [51, k]] for k in range(1, 40)]
    (fault,) = faults([*across, *down], frame)
    assert (fault.pointer, fault.code) == ("/block/lines", "too-many-pieces")
    assert "2040" in fault.detail
    down = [[[0, k], [50, k]] for k in range(1, 40)]
    block = draw([*across[:-1], *down], [[0, 0], [50, 0], [50, 40], [0, 40]])
    assert len(block.pieces) == 2000


rough = st.sampled_from([0, 1, 2, 3, 1.002, 0.997, 2.006])


@settings(max_examples=250, deadline=None)
@given(st.lists(st.lists(st.tuples(rough, rough), max_size=4), max_size=4))
def test_whatever_lines_are_drawn_there_are_pieces_or_faults(lines: list[list[Point]]) -> None:
    frame: list[Point] = [(0, 0), (3, 0), (3, 3), (0, 3)]
    try:
        pieces = [Polygon(ring) for ring in cut_into_pieces(frame, lines)]
    except BlockError as error:
        found = error.faults
    else:
        assert all(p.is_valid for p in pieces)
        assert sum(p.area for p in pieces) == pytest.approx(9, abs=0.03)
        assert shapely.unary_union(pieces).area == pytest.approx(9, abs=0.03)
        return
    assert found
    assert all(f.pointer.startswith("/block/lines") and f.detail for f in found)


def test_lines_that_nearly_meet_are_told_where() -> None:
    frame = [[0, 0], [4, 0], [4, 4], [0, 4]]
    lines: Lines = [[[3.997, 1.002], [2, 1], [2.001, 4.002]], [[4, 2.002], [0.997, 2], [2.006, 1]]]
    (fault,) = faults(lines, frame)
    assert (fault.pointer, fault.code) == ("/block/lines", "sliver")
    assert fault.at == pytest.approx((2.0, 1.0), abs=0.01)
