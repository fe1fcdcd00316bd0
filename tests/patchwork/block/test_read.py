"""Reading a block given as pieces: what is clean, and every fault with its place.

Points within 0.004 in are one point.  A block has at most 2,000 pieces with 200 points an outline;
outlines are simple and have an area, pieces neither overlap nor leave holes, ids are unique.  The
curves are circles whose areas are known.
"""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Sequence
from typing import Any, TypeAlias

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from piecewright.patchwork.block.model import MOST_PIECES, MOST_POINTS, Block, Fabric, Section
from piecewright.patchwork.block.read import block_from_pieces
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.lengths import Unit
from tests.patchwork import partitions

Spec: TypeAlias = dict[str, Any]
Ring: TypeAlias = list[list[Any]]


def rectangle(x: float, y: float, width: float = 1, height: float = 1) -> Ring:
    return [[x, y], [x + width, y], [x + width, y + height], [x, y + height]]


def piece(id: str, outline: Ring | str, **more: Any) -> Spec:
    return {"id": id, "path" if isinstance(outline, str) else "outline": outline, **more}


def four_patch(**more: Spec) -> list[Spec]:
    """Four unit squares, a b over c d; ``more`` changes single pieces."""
    squares = {"a": (0, 0), "b": (1, 0), "c": (0, 1), "d": (1, 1)}
    return [piece(id, rectangle(*at)) | more.get(id, {}) for id, at in squares.items()]


def read(pieces: Sequence[Spec], **more: Any) -> Block:
    return block_from_pieces({"pieces": pieces, **more})


def faults(pieces: Sequence[Spec], **more: Any) -> list[Fault]:
    with pytest.raises(BlockError) as raised:
        read(pieces, **more)
    return list(raised.value.faults)


def place(fault: Fault) -> shapely.Point:
    assert fault.at is not None
    return shapely.Point(fault.at)


def codes(pieces: Sequence[Spec], **more: Any) -> Counter[tuple[str, str]]:
    return Counter((f.pointer, f.code) for f in faults(pieces, **more))


def ring(block: Block, id: str) -> list[Point]:
    return next(paths.ring(p.outline) for p in block.pieces if p.id == id)


def seam_lines(block: Block) -> int:
    """How many edges lie between two pieces."""
    return sum(e.left is not None for e in planar_map([p.outline for p in block.pieces]).edges)


# --- clean blocks -------------------------------------------------------------------------


def test_a_clean_block_keeps_what_its_author_gave() -> None:
    block = read(
        four_patch(a={"fabric": "red", "grain": 30}, d={"grain": "free"}),
        name="Four Patch",
        fabrics=[{"id": "red", "name": "Brick", "colour": "#aa3322"}],
        joins=[["a", "b"], ["c", "d"]],
        sections=[{"id": "A", "order": ["a", "b"]}, {"id": "B", "order": ["d", "c"]}],
    )
    assert block.name == "Four Patch"
    assert block.fabrics == (Fabric("red", "Brick", "#aa3322"),)
    assert [p.id for p in block.pieces] == ["a", "b", "c", "d"]
    assert [p.fabric for p in block.pieces] == ["red", None, None, None]
    assert [p.grain for p in block.pieces] == [30, "auto", "auto", "free"]
    assert block.joins == (("a", "b"), ("c", "d"))
    assert block.sections == (Section("A", ("a", "b")), Section("B", ("d", "c")))
    assert [ring(block, id)[0] for id in "abcd"] == [(0, 0), (1, 0), (0, 1), (1, 1)]


def test_what_is_not_given_is_left_to_be_worked_out() -> None:
    block = read(four_patch())
    assert (block.joins, block.sections, block.fabrics, block.unit) == (None, None, (), "in")


@pytest.mark.parametrize(
    ("given", "expected"), [(0, 0), (45, 45), (180, 0), (190, 10), (-30, 150), (359.5, 179.5)]
)
def test_a_grain_in_degrees_is_a_direction_from_0_to_180(given: float, expected: float) -> None:
    assert read(four_patch(b={"grain": given})).pieces[1].grain == pytest.approx(expected)


@pytest.mark.parametrize(
    "outline",
    [
        [[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]],
        [[0, 0], [0, 1], [1, 1], [1, 0]],
        [[0, 0], [0, 0], [1, 0], [1, 1], [1, 1], [0, 1]],
        [[0, 0], [0.5, 0], [1, 0], [1, 1], [0, 1]],
        [["0", 0], ["1/2", 0], ["1", "0 in"], ["25.4 mm", "2.54 cm"], [0, "1"]],
        "M0 0 H1 V1 H0 Z",
        "M0 0 V1 H1 V0 Z",
    ],
)
def test_an_outline_may_be_closed_or_not_and_run_either_way(outline: Ring | str) -> None:
    block = read([piece("a", outline), *four_patch()[1:]])
    assert paths.area(block.pieces[0].outline) == pytest.approx(1)
    assert seam_lines(block) == 4


@pytest.mark.parametrize("third", [3.333, 10 / 3, "3 1/3", "3.3333"])
@pytest.mark.parametrize("two_thirds", [6.667, 6.666, 20 / 3, "6 2/3"])
def test_thirds_are_clean_however_they_are_written(third: Any, two_thirds: Any) -> None:
    # A nine patch of 10 in; each piece writes its own thirds, its neighbours exact ones.
    mine = [0, third, two_thirds, 10]
    others = [0, 10 / 3, 20 / 3, 10]
    pieces = []
    for row in range(3):
        for column in range(3):
            xs, ys = (mine, others) if (row + column) % 2 else (others, mine)
            x0, x1, y0, y1 = xs[column], xs[column + 1], ys[row], ys[row + 1]
            pieces.append(piece(f"p{row}{column}", [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
    block = read(pieces)
    assert sum(paths.area(p.outline) for p in block.pieces) == pytest.approx(100)
    assert seam_lines(block) == 12


@pytest.mark.parametrize("off", [0.001, 0.003, -0.003])
@pytest.mark.parametrize("axis", [0, 1])
def test_points_within_the_tolerance_are_one_point(off: float, axis: int) -> None:
    shifted = [[x + off * (axis == 0), y + off * (axis == 1)] for x, y in rectangle(1, 0)]
    block = read(four_patch(b={"outline": shifted}))
    assert seam_lines(block) == 4
    assert sum(paths.area(p.outline) for p in block.pieces) == pytest.approx(4, abs=0.01)
    every = {q for p in block.pieces for q in paths.ring(p.outline)}
    assert min(math.dist(p, q) for p in every for q in every if p != q) > 0.9


@pytest.mark.parametrize(("off", "code"), [(0.02, "gap"), (-0.02, "overlap")])
def test_what_is_off_by_more_than_the_tolerance_is_a_fault(off: float, code: str) -> None:
    outline = [[1 + off, 0], [2, 0], [2, 1], [1 + off, 1]]
    (fault,) = faults(four_patch(b={"outline": outline}))
    assert fault.code == code
    assert fault.at == pytest.approx((1 + off / 2, 0.5), abs=0.02)


def test_a_seam_may_end_in_the_middle_of_an_edge() -> None:
    block = read(
        [
            piece("tall", rectangle(0, 0, 1, 3)),
            *(piece(f"s{k}", rectangle(1, k)) for k in range(3)),
        ]
    )
    assert ring(block, "tall") == [(0, 0), (1, 0), (1, 1), (1, 2), (1, 3), (0, 3)]
    assert seam_lines(block) == 5


@pytest.mark.parametrize("off", [0, 0.003, -0.003])
def test_a_seam_that_ends_almost_on_an_edge_ends_on_it(off: float) -> None:
    block = read(
        [
            piece("tall", rectangle(0, 0, 1, 2)),
            piece("top", [[1, 0], [2, 0], [2, 1], [1 + off, 1]]),
            piece("end", [[1 + off, 1], [2, 1], [2, 2], [1, 2]]),
        ]
    )
    assert ring(block, "tall") == [(0, 0), (1, 0), (1, 1), (1, 2), (0, 2)]
    assert seam_lines(block) == 3


@pytest.mark.parametrize(("unit", "per_inch"), [("in", 1), ("cm", 2.54), ("mm", 25.4)])
def test_a_block_in_another_unit_is_the_same_block(unit: Unit, per_inch: float) -> None:
    path = "M{r} 0 L{w} 0 L{w} {w} L0 {w} L0 {r} A{r} {r} 0 0 0 {r} 0 Z"
    pie = "M0 0 L{r} 0 A{r} {r} 0 0 1 0 {r} Z"
    sizes = {"r": f"{3 * per_inch}", "w": f"{4 * per_inch}"}
    block = read(
        [
            piece("pie", pie.format(**sizes)),
            piece("rest", path.format(**sizes)),
            piece("strip", [[4 * per_inch, 0], ["6 in", 0], ["6 in", "4 in"], ["4 in", "4 in"]]),
        ],
        unit=unit,
    )
    assert block.unit == unit
    areas = [paths.area(p.outline) for p in block.pieces]
    assert areas == pytest.approx([math.pi * 9 / 4, 16 - math.pi * 9 / 4, 8], abs=1e-4)
    assert seam_lines(block) == 4 + 1  # four curves of 22.5 degrees, and the strip's edge


def test_many_small_errors_do_not_add_up() -> None:
    # Twenty strips, each drawn 0.003 in too wide on both sides.
    wide = [piece(f"s{k}", rectangle(k - 0.0015, 0, 1.003, 5)) for k in range(20)]
    block = read(wide)
    assert seam_lines(block) == 19
    assert sum(paths.area(p.outline) for p in block.pieces) == pytest.approx(100, abs=0.02)


def test_a_frayed_outside_is_no_gap() -> None:
    # Corners all off by a thousandth: GEOS once took the whole block for a crack in itself.
    block = read(
        [
            piece(
                "big",
                [
                    [1.3628842522721467, 5.99985237445864],
                    [-0.0011938967844956645, 4.273279107304473],
                    [-0.0006627860164727103, -0.001009197010604926],
                    [6.00042499075907, 0.00030443894594166785],
                    [6.000624518894789, 5.999676901825619],
                ],
            ),
            piece(
                "corner",
                [
                    [0.000727035068704431, 4.273902742437282],
                    [1.3624429681070336, 6.000277065528681],
                    [0.0001101800691898447, 6.001199077769793],
                ],
            ),
        ]
    )
    assert seam_lines(block) == 1


@settings(max_examples=60, deadline=None)
@given(partitions.blocks(), st.integers(0, 2**32))
def test_a_block_whose_points_all_tremble_is_the_same_block(block: Block, seed: int) -> None:
    # Each corner off by up to 0.0013 in each way, so that any two copies are within 0.004.
    rng = random.Random(seed)
    trembling = [
        piece(
            p.id,
            [[x + rng.uniform(-1, 1) * 0.0013, y + rng.uniform(-1, 1) * 0.0013] for x, y in ring],
        )
        for p, ring in ((p, paths.ring(p.outline)) for p in block.pieces)
    ]
    again = read(trembling)
    assert seam_lines(again) == seam_lines(block)
    for before, after in zip(block.pieces, again.pieces, strict=True):
        assert paths.area(after.outline) == pytest.approx(paths.area(before.outline), abs=0.08)


# --- curves -------------------------------------------------------------------------------

KAPPA = 4 / 3 * (math.sqrt(2) - 1)
"""Handles of one cubic for a quarter circle, which is then 0.0003 of the radius off."""

REST = "M3 0 L4 0 L4 4 L0 4 L0 3 {curve} Z"


def fine_points(count: int) -> str:
    angles = (math.pi / 2 * (1 - k / count) for k in range(1, count + 1))
    return " ".join(f"L{3 * math.cos(a):.6f} {3 * math.sin(a):.6f}" for a in angles)


@pytest.mark.parametrize(
    "curve",
    [
        "A3 3 0 0 0 3 0",
        "A3.001 3.001 0 0 0 3 0",
        f"C{3 * KAPPA} 3 3 {3 * KAPPA} 3 0",
        f"A3 3 0 0 0 {3 * math.cos(1)} {3 * math.sin(1)} A3 3 0 0 0 3 0",
        fine_points(48),
    ],
    ids=["arc", "arc-almost", "one-cubic", "two-arcs", "points"],
)
def test_a_curve_may_be_described_in_another_way_on_its_other_side(curve: str) -> None:
    pie = piece("pie", "M0 0 L3 0 A3 3 0 0 1 0 3 Z")
    for pieces in ([pie, piece("rest", REST.format(curve=curve))],) * 2:
        for order in (pieces, pieces[::-1]):
            block = read(order)
            seams = planar_map([p.outline for p in block.pieces])
            inner = [e for e in seams.edges if e.left is not None]
            length = paths.run_length(e.segment for e in inner)
            assert length == pytest.approx(math.pi * 3 / 2, abs=0.002)
            outer = sum(paths.run_length([e.segment]) for e in seams.edges if e.left is None)
            assert outer == pytest.approx(16, abs=1e-6)
            assert sum(paths.area(p.outline) for p in block.pieces) == pytest.approx(16)


@pytest.mark.parametrize(
    ("curve", "code"),
    [("A3.1 3.1 0 0 0 3 0", "overlap"), ("A2.9 2.9 0 0 0 3 0", "gap"), ("L3 0", "overlap")],
)
def test_curves_that_run_apart_are_a_fault(curve: str, code: str) -> None:
    pieces = [piece("pie", "M0 0 L3 0 A3 3 0 0 1 0 3 Z"), piece("rest", REST.format(curve=curve))]
    found = faults(pieces)
    assert {f.code for f in found} == {code}
    for fault in found:
        assert fault.at is not None
        assert math.hypot(*fault.at) == pytest.approx(3, abs=0.5)


def test_a_whole_circle_is_a_piece() -> None:
    half = "A2 2 0 0 1"
    block = read([piece("dot", f"M0 2 {half} 4 2 {half} 0 2 Z")])
    assert paths.area(block.pieces[0].outline) == pytest.approx(4 * math.pi, abs=1e-5)


def test_a_curve_that_ends_where_it_starts_is_a_piece() -> None:
    block = read([piece("drop", "M0 0 C4 -4 4 4 0 0 Z")])
    (drop,) = block.pieces
    assert all(isinstance(s, Curve) and math.dist(s.start, s.end) > 1 for s in drop.outline)
    # Green's theorem on B(t) = (12 s t, 12 s t (2 t - 1)) with s = 1 - t gives 24/5.
    assert paths.area(drop.outline) == pytest.approx(4.8, abs=1e-9)


# --- single faults ------------------------------------------------------------------------

BOW = [[0, 0], [1, 1], [1, 0], [0, 1]]
UNREADABLE = [[0, 0], ["one", 0], [1, 1], [0, "1/0"]]


@pytest.mark.parametrize(
    ("a", "code", "pointer", "at"),
    [
        ({"outline": BOW}, "self-crossing", "", (0.5, 0.5)),
        ({"outline": [*BOW[:3], [1, -1], [1, 0], [0, 1]]}, "self-crossing", "", None),
        ({"outline": [[0, 0], [0.5, 0], [1, 0]]}, "no-area", "", (0, 0)),
        ({"outline": [[0, 0], [1, 0], [0, 0], [0, 1]]}, "no-area", "", (0, 0)),
        (
            {"outline": [[0, 0], [1, 0], [1, 1], [0.5, 0.001], [0, 1]]},
            "self-crossing",
            "",
            (0.5, 0),
        ),
        ({"outline": [[0, 0], [1, 0], [1, 1], [0.5, 0], [0, 1]]}, "self-crossing", "", (0.5, 0)),
        ({"outline": [[0, 0], [1, 0]]}, "no-area", "", None),
        ({"outline": [[0, 0], [0, 0], [0, 0]]}, "no-area", "", None),
        ({"outline": []}, "no-area", "", None),
        ({"outline": [[0, 0], [1, 0], [1, 0.003], [0, 0.003]]}, "no-area", "", (0, 0)),
        ({"outline": [[0, 0], [0.003, 0], [0.002, 0.003]]}, "no-area", "", (0, 0)),
        ({"path": "M0 0 H1 V1 H0"}, "path", "/path", None),
        ({"path": "M0 0 H1 V1 Z M3 3 H4 V4 Z"}, "path", "/path", None),
        ({"path": "M0 0 H1e300 V1 Z"}, "path", "/path", None),
        ({"path": "a square"}, "path", "/path", None),
        ({"path": "M0 0 Z"}, "no-area", "", None),
        ({"path": "M0 0 C1 1 1 1 0 0 Z"}, "no-area", "", None),
    ],
)
def test_an_outline_that_is_no_piece(a: Spec, code: str, pointer: str, at: Point | None) -> None:
    for pieces, number in (([{"id": "a"} | a], 0), ([*four_patch()[1:], {"id": "a"} | a], 3)):
        (fault,) = faults(pieces)
        assert (fault.pointer, fault.code) == (f"/block/pieces/{number}{pointer}", code)
        assert fault.detail
        if at is not None:
            assert fault.at == pytest.approx(at, abs=0.005)


@pytest.mark.parametrize(
    ("outline", "corners"),
    [
        (UNREADABLE, [1, 3]),
        ([["1e9", 0], [1, 0], [1, 1], [0, 1]], [0]),
        ([[0, 0], [1, 0], [1, 1], [0, 1e12]], [3]),
        ([[0, 0], [1, 0], [True, 1], [0, 1]], [2]),
    ],
)
def test_a_corner_that_cannot_be_read_is_told_alone(outline: Ring, corners: list[int]) -> None:
    # The other faults of a piece without that corner would only mislead.
    expected = {(f"/block/pieces/0/outline/{k}", "length"): 1 for k in corners}
    assert codes([piece("a", outline), *four_patch()[1:]]) == expected
    assert codes([piece("a", outline)]) == expected


def test_the_pieces_of_an_id_that_is_used_twice_are_all_told() -> None:
    found = faults(four_patch(d={"id": "a"}))
    assert [(f.pointer, f.code) for f in found] == [
        ("/block/pieces/0/id", "duplicate-id"),
        ("/block/pieces/3/id", "duplicate-id"),
    ]
    assert [f.at for f in found] == [(0, 0), (1, 1)]
    assert all("'a'" in f.detail for f in found)


def test_an_unknown_fabric() -> None:
    (fault,) = faults(four_patch(c={"fabric": "blue"}), fabrics=[{"id": "red"}, {"id": "tan"}])
    assert (fault.pointer, fault.code) == ("/block/pieces/2/fabric", "unknown-fabric")
    assert "'blue'" in fault.detail
    assert "red, tan" in fault.detail


def test_fabrics_of_one_id() -> None:
    found = codes(four_patch(), fabrics=[{"id": "red"}, {"id": "tan"}, {"id": "red"}])
    assert found == {
        ("/block/fabrics/0/id", "duplicate-id"): 1,
        ("/block/fabrics/2/id", "duplicate-id"): 1,
    }


@pytest.mark.parametrize(
    ("outline", "size"),
    [
        (rectangle(0.5, 0, 1.5), 0.5),
        (rectangle(0.9, 0, 1.1), 0.1),
        (rectangle(0.98, 0, 1.02), 0.02),
    ],
)
def test_an_overlap_is_told_with_both_pieces_and_a_place_in_it(outline: Ring, size: float) -> None:
    (fault,) = faults(four_patch(b={"outline": outline}))
    assert (fault.pointer, fault.code) == ("/block/pieces/1", "overlap")
    assert "'a'" in fault.detail
    assert "'b'" in fault.detail
    assert f"{size:g} square inches" in fault.detail
    assert box(1 - size, 0, 1, 1).contains(place(fault))


def test_a_piece_upon_another_one_overlaps_it() -> None:
    (fault,) = faults([*four_patch(), piece("e", rectangle(1.25, 1.25, 0.5, 0.5))])
    assert (fault.pointer, fault.code) == ("/block/pieces/4", "overlap")
    assert box(1.25, 1.25, 1.75, 1.75).contains(place(fault))


@pytest.mark.parametrize(
    ("pieces", "hole"),
    [
        (
            # A missing centre.
            [
                piece("n", rectangle(0, 0, 3, 1)),
                piece("s", rectangle(0, 2, 3, 1)),
                piece("w", rectangle(0, 1)),
                piece("e", rectangle(2, 1)),
            ],
            box(1, 1, 2, 2),
        ),
        (
            # A crack inside, closed at both ends.
            [
                piece("n", [[0, 0], [3, 0], [3, 1], [2, 1], [1.5, 0.98], [1, 1], [0, 1]]),
                piece("s", rectangle(0, 1, 3, 1)),
            ],
            Polygon([(1, 1), (1.5, 0.98), (2, 1)]),
        ),
        (
            # A crack open to both sides of the block.
            [piece("n", rectangle(0, 0, 3, 1)), piece("s", rectangle(0, 1.02, 3, 1))],
            box(0, 1, 3, 1.02),
        ),
        (
            # A crack open at one end.
            [
                piece("n", [[0, 0], [3, 0], [3, 0.97], [2, 1], [0, 1]]),
                piece("s", rectangle(0, 1, 3, 1)),
            ],
            Polygon([(2, 1), (3, 0.97), (3, 1)]),
        ),
    ],
    ids=["missing-piece", "inner-crack", "crack", "wedge"],
)
def test_a_gap_is_told_with_a_place_in_it(pieces: list[Spec], hole: Polygon) -> None:
    (fault,) = faults(pieces)
    assert fault.code == "gap"
    assert fault.pointer.startswith("/block/pieces/")
    assert hole.buffer(1e-9).contains(place(fault))


@pytest.mark.parametrize("at", [(2, 2), (3, 0), (2.5, 1)], ids=["corner", "apart", "apart"])
def test_a_piece_that_shares_no_edge_with_the_block_is_apart(at: Point) -> None:
    (fault,) = faults([*four_patch(), piece("e", rectangle(*at, 0.5, 0.5))])
    assert (fault.pointer, fault.code) == ("/block/pieces/4", "apart")
    assert "'e'" in fault.detail
    assert box(*at, at[0] + 0.5, at[1] + 0.5).contains(place(fault))


def test_a_block_need_not_be_a_square() -> None:
    # A wide bay in the outside is the block's own shape and no gap.
    u = [rectangle(0, 0, 3, 1), rectangle(0, 1), rectangle(2, 1), rectangle(0, 2), rectangle(2, 2)]
    assert len(read([piece(f"p{k}", o) for k, o in enumerate(u)]).pieces) == 5


# --- limits -------------------------------------------------------------------------------


def grid(count: int, columns: int = 50) -> list[Spec]:
    return [piece(f"p{k}", rectangle(k % columns, k // columns)) for k in range(count)]


def test_as_many_pieces_as_a_block_may_have_are_read() -> None:
    block = read(grid(MOST_PIECES))
    assert len(block.pieces) == MOST_PIECES == 2000
    assert seam_lines(block) == 49 * 40 + 50 * 39


@pytest.mark.parametrize("count", [0, MOST_PIECES + 1])
def test_a_block_has_1_to_2000_pieces(count: int) -> None:
    (fault,) = faults(grid(count))
    assert (fault.pointer, fault.code) == ("/block/pieces", "too-many-pieces")
    assert str(count) in fault.detail


def wheel(count: int) -> Ring:
    turns = (math.tau * k / count for k in range(count))
    return [[3 * math.cos(a), 3 * math.sin(a)] for a in turns]


def wheel_path(count: int) -> str:
    return "M" + " L".join(f"{x:.6f} {y:.6f}" for x, y in wheel(count)) + " Z"


def test_as_many_points_as_an_outline_may_have_are_read() -> None:
    assert MOST_POINTS == 200
    for outline in (wheel(MOST_POINTS), wheel_path(MOST_POINTS)):
        assert len(read([piece("a", outline)]).pieces[0].outline) == MOST_POINTS


@pytest.mark.parametrize(
    ("outline", "field"),
    [(wheel(MOST_POINTS + 1), "outline"), (wheel_path(MOST_POINTS + 1), "path")],
)
def test_an_outline_of_more_than_200_points_is_a_fault(outline: Ring | str, field: str) -> None:
    assert codes([piece("a", outline)]) == {(f"/block/pieces/0/{field}", "too-many-points"): 1}


# --- the order of sewing, and sections ----------------------------------------------------


def test_joins_that_name_a_missing_piece() -> None:
    found = faults(four_patch(), joins=[["a", "b"], [["c", "e"], "d"]])
    assert [(f.pointer, f.code) for f in found] == [("/block/joins/1/0/1", "unknown-piece")]
    assert "'e'" in found[0].detail


@pytest.mark.parametrize(
    ("joins", "wrong"),
    [
        (["a", "b"], {"c": "never", "d": "never"}),
        ([["a", "b"], ["c", "c"]], {"c": "2 times", "d": "never"}),
        ([[["a", "b"], ["c", "d"]], "a"], {"a": "2 times"}),
        ("a", {"b": "never", "c": "never", "d": "never"}),
    ],
)
def test_joins_name_every_piece_exactly_once(joins: Any, wrong: dict[str, str]) -> None:
    found = faults(four_patch(), joins=joins)
    assert {(f.pointer, f.code) for f in found} == {("/block/joins", "joins-incomplete")}
    assert len(found) == len(wrong)
    for fault, (id, times) in zip(found, wrong.items(), strict=True):
        assert f"'{id}'" in fault.detail
        assert times in fault.detail
        assert fault.at == {"a": (0, 0), "b": (1, 0), "c": (0, 1), "d": (1, 1)}[id]


def test_a_join_that_cannot_be_sewn() -> None:
    (first, second) = faults(four_patch(), joins=[["a", "d"], ["b", "c"]])[:2]
    assert (first.pointer, first.code) == ("/block/joins/0", "illegal-join")
    assert (second.pointer, second.code) == ("/block/joins/1", "illegal-join")
    assert "piece a and piece d share no edge" in first.detail


def strips(count: int) -> list[Spec]:
    return [piece(f"s{k}", rectangle(k, 0, 1, 2)) for k in range(count)]


@pytest.mark.parametrize("first_side", [True, False])
def test_joins_1500_levels_deep_are_read(first_side: bool) -> None:
    joins: Any = "s0"
    for k in range(1, 1500):
        joins = [joins, f"s{k}"] if first_side else [f"s{k}", joins]
    unit: Any = read(strips(1500), joins=joins).joins
    named = []
    while not isinstance(unit, str):
        unit, single = unit if first_side else unit[::-1]
        named.append(single)
    assert [*named, unit] == [f"s{k}" for k in range(1499, -1, -1)]


def test_an_error_1500_levels_down_is_told_with_its_pointer() -> None:
    joins: Any = ["s0", "nowhere"]
    for k in range(1, 1500):
        joins = [joins, f"s{k}"]
    (fault,) = faults(strips(1500), joins=joins)
    assert (fault.pointer, fault.code) == ("/block/joins" + "/0" * 1499 + "/1", "unknown-piece")


@pytest.mark.parametrize(
    ("sections", "expected"),
    [
        (
            [{"id": "A", "order": ["a", "b", "e"]}, {"id": "B", "order": ["c", "d"]}],
            [("/block/sections/0/order/2", "unknown-piece")],
        ),
        (
            [{"id": "A", "order": ["a", "b"]}, {"id": "A", "order": ["c", "d"]}],
            [
                ("/block/sections/0/id", "duplicate-id"),
                ("/block/sections/1/id", "duplicate-id"),
            ],
        ),
        (
            [{"id": "A", "order": ["a", "b", "c"]}],
            [("/block/sections", "sections-incomplete")],
        ),
        (
            [{"id": "A", "order": ["a", "b", "c", "d"]}, {"id": "B", "order": ["d"]}],
            [("/block/sections", "sections-incomplete")],
        ),
        ([], [("/block/sections", "sections-incomplete")] * 4),
    ],
    ids=["unknown", "same-id", "left-out", "twice", "none"],
)
def test_faults_of_sections(sections: list[Spec], expected: list[tuple[str, str]]) -> None:
    assert codes(four_patch(), sections=sections) == Counter(expected)


# --- all at once --------------------------------------------------------------------------


def test_all_faults_of_a_block_are_told_at_once() -> None:
    pieces = [
        piece("a", rectangle(0, 0), fabric="blue"),
        piece("b", rectangle(0.5, 0, 1.5)),
        piece("c", BOW),
        piece("c", rectangle(1, 1)),
        piece("e", [[0, "x"], [1, 2], [1, 3]]),
        piece("f", "M0 0 H1 V1"),
        piece("g", [[1, 1], [2, 2]]),
    ]
    found = codes(
        pieces,
        fabrics=[{"id": "red"}, {"id": "red"}],
        joins=[["a", "b"], ["c", "z"]],
        sections=[{"id": "A", "order": ["a", "b", "c", "y"]}, {"id": "A", "order": ["e", "f"]}],
    )
    assert found == {
        ("/block/fabrics/0/id", "duplicate-id"): 1,
        ("/block/fabrics/1/id", "duplicate-id"): 1,
        ("/block/pieces/0/fabric", "unknown-fabric"): 1,
        ("/block/pieces/1", "overlap"): 1,
        ("/block/pieces/2/id", "duplicate-id"): 1,
        ("/block/pieces/3/id", "duplicate-id"): 1,
        ("/block/pieces/2", "self-crossing"): 1,
        ("/block/pieces/4/outline/0", "length"): 1,
        ("/block/pieces/5/path", "path"): 1,
        ("/block/pieces/6", "no-area"): 1,
        ("/block/joins/1/1", "unknown-piece"): 1,
        ("/block/joins", "joins-incomplete"): 3,
        ("/block/sections/0/id", "duplicate-id"): 1,
        ("/block/sections/1/id", "duplicate-id"): 1,
        ("/block/sections/0/order/3", "unknown-piece"): 1,
        ("/block/sections", "sections-incomplete"): 1,
    }


def test_every_gap_and_every_overlap_is_told() -> None:
    # Four squares in a row: b reaches into a, c stands off b, d reaches into c.
    xs = [(0, 1), (0.9, 1.9), (2, 3), (2.9, 4)]
    found = faults([piece(f"p{k}", rectangle(x, 0, y - x)) for k, (x, y) in enumerate(xs)])
    assert [(f.pointer, f.code) for f in found[:2]] == [
        ("/block/pieces/1", "overlap"),
        ("/block/pieces/3", "overlap"),
    ]
    (rest,) = found[2:]
    assert rest.code in ("gap", "apart")
    assert rest.at is not None


def test_a_fault_of_piece_10_does_not_hide_one_of_piece_1() -> None:
    pieces = grid(11, 11)
    pieces[1]["outline"] = [[1, 0], [2, 0]]
    pieces[10]["outline"] = UNREADABLE
    assert codes(pieces) == {
        ("/block/pieces/1", "no-area"): 1,
        ("/block/pieces/10/outline/1", "length"): 1,
        ("/block/pieces/10/outline/3", "length"): 1,
    }


def test_pointers_start_where_the_block_stands() -> None:
    with pytest.raises(BlockError) as raised:
        block_from_pieces({"pieces": [piece("a", BOW)]}, pointer="/items/2/block")
    assert [f.pointer for f in raised.value.faults] == ["/items/2/block/pieces/0"]


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.lists(st.tuples(*[st.sampled_from([0, 1, 2, 3, 1.003, 1.006, 0.5])] * 2), max_size=6),
        min_size=1,
        max_size=4,
    )
)
def test_whatever_outlines_are_given_there_is_a_block_or_faults(
    outlines: list[list[tuple[float, float]]],
) -> None:
    pieces = [piece(f"p{k}", [list(p) for p in o]) for k, o in enumerate(outlines)]
    try:
        block = read(pieces)
    except BlockError as error:
        found = error.faults
    else:
        shapes = [Polygon(paths.ring(p.outline)).buffer(0) for p in block.pieces]
        whole = shapely.unary_union(shapes).area
        assert sum(s.area for s in shapes) == pytest.approx(whole, abs=0.02)
        return
    assert found
    assert all(f.code and f.detail and f.pointer.startswith("/block/pieces/") for f in found)
