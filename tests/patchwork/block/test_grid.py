"""Blocks made of blocks: where everything comes to lie, by facts of the square's turns and by
Shapely's areas, and what is said of what does not fit."""

from __future__ import annotations

from typing import Any

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.grid import DEEPEST, block_from_grid
from piecewright.patchwork.block.model import Block, extent
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.faults import BlockError, Fault
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.vectors import Point
from tests.patchwork import partitions
from tests.patchwork.block.nine_peaks import GROUND, NINE_PEAKS, PEAK

Json = dict[str, Any]


def named(id: str, pointer: str) -> Block:
    try:
        return catalogue.load(id)
    except KeyError:
        raise BlockError([Fault(pointer, "unknown-block", f"no {id}")]) from None


def read(spec: Json) -> Block:
    return block_from_grid(spec, named)


def faults(spec: Json) -> list[Fault]:
    with pytest.raises(BlockError) as refused:
        read(spec)
    return list(refused.value.faults)


def shape(block: Block, id: str) -> set[Point]:
    """The corners of a piece, to a thousandth of an inch."""
    (piece,) = [p for p in block.pieces if p.id == id]
    return {(round(s.start[0], 3), round(s.start[1], 3)) for s in piece.outline}


def square(id: str, side: float = 1.0, **more: object) -> Json:
    return {"id": id, "outline": [[0, 0], [side, 0], [side, side], [0, side]], **more}


# --- what lies where ---------------------------------------------------------------------------


def test_nine_patch_of_peaks_is_said_in_five_lines() -> None:
    block = read(NINE_PEAKS)
    assert len(block.pieces) == 4 * 3 + 5
    assert extent(block.pieces) == (0, 0, 18, 18)
    assert [p.id for p in block.pieces][:5] == ["b1", "b2.left", "b2.peak", "b2.right", "b3"]
    # All four points look outward.
    assert shape(block, "b2.peak") == {(9, 0), (12, 6), (6, 6)}
    assert shape(block, "b4.peak") == {(0, 9), (6, 6), (6, 12)}
    assert shape(block, "b6.peak") == {(18, 9), (12, 6), (12, 12)}
    assert shape(block, "b8.peak") == {(9, 18), (6, 12), (12, 12)}
    assert {f.id: f.name for f in block.fabrics} == {
        "background": "Dune sand",
        "dark": "Deep channel",
    }


@pytest.mark.parametrize(
    ("turn", "mirrored", "corner"),
    [
        (0, False, (0, 0)),
        (90, False, (4, 0)),
        (180, False, (4, 4)),
        (270, False, (0, 4)),
        (0, True, (4, 0)),
        (90, True, (4, 4)),
    ],
)
def test_top_left_corner_goes_where_the_turn_takes_it(
    turn: int, mirrored: bool, corner: Point
) -> None:
    flag = {
        "pieces": [
            {"id": "corner", "outline": [[0, 0], [1, 0], [0, 1]]},
            {"id": "rest", "outline": [[1, 0], [4, 0], [4, 4], [0, 4], [0, 1]], "grain": 30},
        ]
    }
    grid = {"blocks": [[flag]], "turns": [[turn]], "mirrored": [[mirrored]]}
    block = read({"grid": grid})
    assert corner in shape(block, "b1.corner")
    for piece in block.pieces:
        ring = paths.ring(piece.outline)
        assert Polygon(ring).exterior.is_ccw  # clockwise as seen, as y runs down
    # The grain goes with the cloth: a mirror image in an upright line turns 30 into 150 degrees.
    rest = next(p for p in block.pieces if p.id == "b1.rest")
    assert rest.grain == ((150 if mirrored else 30) + turn) % 180


def test_curves_are_turned_and_flipped_with_their_block() -> None:
    grid = {
        "blocks": [["drunkards-path", "drunkards-path"], ["drunkards-path", "drunkards-path"]],
        "mirrored": [[True, False], [True, False]],
        "turns": [[0, 0], [270, 90]],
    }
    block = read({"grid": grid})
    # However they lie, the curved seams keep the length that the catalogue's block has.
    lone = planar_map([p.outline for p in catalogue.load("drunkards-path").pieces])
    curved = sum(paths.run_length([e.segment]) for e in lone.edges if hasattr(e.segment, "handle1"))
    seams = planar_map([p.outline for p in block.pieces])
    all_curved = [e for e in seams.edges if hasattr(e.segment, "handle1")]
    assert all(e.left is not None for e in all_curved)
    assert sum(paths.run_length([e.segment]) for e in all_curved) == pytest.approx(4 * curved)


def test_blocks_are_scaled_to_their_cells() -> None:
    grid = {
        "rows": [4, "2 in"],
        "columns": [2, 4],
        "blocks": [["flying-geese", "nine-patch"], [GROUND, {"fabric": "dark"}]],
    }
    block = read({"grid": grid, "fabrics": [{"id": "background"}, {"id": "dark"}, {"id": "light"}]})
    assert extent(block.pieces) == (0, 0, 6, 6)
    geese = [p for p in block.pieces if p.id.startswith("b1.")]
    assert extent(geese) == (0, 0, 2, 4)  # drawn 6 by 12
    nine = [p for p in block.pieces if p.id.startswith("b2.")]
    assert extent(nine) == (2, 0, 6, 4)
    assert sum(paths.area(p.outline) for p in block.pieces) == pytest.approx(36)


def test_lengths_are_in_the_unit_of_the_block() -> None:
    cells = {"rows": [1], "columns": ["1 in", 2.54], "blocks": [[{"fabric": None}] * 2]}
    block = read({"unit": "cm", "grid": {**cells, "rows": ["1 in"]}})
    assert [round(c, 9) for c in extent(block.pieces)] == [0, 0, 2, 1]


def test_grid_of_grids_names_pieces_after_both() -> None:
    four = {
        "grid": {
            "blocks": [["half-square-triangle"] * 2] * 2,
            "turns": [[0, 90], [270, 180]],
        }
    }
    grid = {"blocks": [["four", GROUND], [GROUND, "four"]], "designs": {"four": four}}
    block = read({"grid": grid, "fabrics": [{"id": "background"}]})
    assert len(block.pieces) == 2 * 8 + 2
    half = {p.id for p in catalogue.load("half-square-triangle").pieces}
    assert {p.id for p in block.pieces} >= {f"b1.b4.{id}" for id in half}
    assert block.built is not None
    assert [u.name for u in block.built.units] == ["b1", "b2", "b3", "b4"]
    assert [u.name for u in block.built.units[0].units] == ["b1.b1", "b1.b2", "b1.b3", "b1.b4"]
    # The same block in two places is one design.
    assert block.built.units[0].design == block.built.units[3].design


def test_seams_of_neighbours_end_on_each_other() -> None:
    # A row of three patches over one of two: all five share their edges where they meet.
    three = {"grid": {"columns": [2, 2, 2], "rows": [3], "blocks": [[{"fabric": None}] * 3]}}
    two = {"grid": {"columns": [3, 3], "rows": [3], "blocks": [[{"fabric": None}] * 2]}}
    block = read({"grid": {"blocks": [[three], [two]]}})
    seams = planar_map([p.outline for p in block.pieces])
    inner = sum(paths.run_length([e.segment]) for e in seams.edges if e.left is not None)
    assert inner == pytest.approx(6 + 2 * 3 + 3)


@settings(max_examples=15, deadline=None)
@given(
    st.lists(partitions.straight_blocks(6), min_size=1, max_size=2),
    st.data(),
)
def test_area_and_pieces_of_a_grid_add_up(blocks: list[Block], data: st.DataObject) -> None:
    down, across = data.draw(st.tuples(st.integers(1, 3), st.integers(1, 3)))
    pick = st.integers(0, len(blocks) - 1)
    which = [[data.draw(pick) for _ in range(across)] for _ in range(down)]
    turns = [[data.draw(st.sampled_from([0, 90, 180, 270])) for _ in row] for row in which]
    flips = [[data.draw(st.booleans()) for _ in row] for row in which]
    grid = {
        "blocks": [[str(k) for k in row] for row in which],
        "turns": turns,
        "mirrored": flips,
    }
    block = block_from_grid({"grid": grid}, lambda id, _: blocks[int(id)])
    chosen = [blocks[k] for row in which for k in row]
    assert len(block.pieces) == sum(len(b.pieces) for b in chosen)
    assert sum(paths.area(p.outline) for p in block.pieces) == pytest.approx(36 * down * across)
    # Each piece keeps its area, wherever it lies.
    areas = [paths.area(p.outline) for b in chosen for p in b.pieces]
    for piece, area in zip(block.pieces, areas, strict=True):
        assert paths.area(piece.outline) == pytest.approx(area, abs=0.05)
    assert block.built is not None
    together = [id for unit in block.built.units for id in unit.pieces]
    assert together == [p.id for p in block.pieces]


# --- fabrics -----------------------------------------------------------------------------------


def test_one_fabric_id_of_two_colours_is_told() -> None:
    other = {
        "pieces": [square("a", fabric="dark")],
        "fabrics": [{"id": "dark", "colour": "#000000"}],
    }
    spec: Json = {"grid": {"blocks": [[PEAK, other]]}}
    (fault,) = faults(spec)
    assert (fault.pointer, fault.code) == ("/block/grid/blocks/0/1", "fabric-clash")
    assert "#000000" in fault.detail
    assert "#2f6b78" in fault.detail
    assert fault.at == (9, 3)
    # What the whole block says of it holds for both.
    block = read({**spec, "fabrics": [{"id": "dark", "colour": "#123456"}]})
    assert {f.id: f.colour for f in block.fabrics}["dark"] == "#123456"


def test_fabrics_of_one_cell_are_exchanged() -> None:
    swapped = {"block": PEAK, "fabrics": {"dark": "background", "background": "dark"}}
    block = read({"grid": {"blocks": [[PEAK, swapped]]}})
    cloth = {p.id: p.fabric for p in block.pieces}
    assert (cloth["b1.peak"], cloth["b2.peak"]) == ("dark", "background")
    assert (cloth["b1.left"], cloth["b2.left"]) == ("background", "dark")


def test_fabric_that_nobody_has_is_a_fault() -> None:
    other = {"block": PEAK, "fabrics": {"dark": "sky"}}
    (fault,) = faults({"grid": {"blocks": [[other]]}})
    assert (fault.pointer, fault.code) == (
        "/block/grid/blocks/0/0/fabrics/dark",
        "unknown-fabric",
    )
    block = read({"grid": {"blocks": [[other]]}, "fabrics": [{"id": "sky"}]})
    assert {p.fabric for p in block.pieces} == {"sky", "background"}
    (fault,) = faults({"grid": {"blocks": [[{"block": PEAK, "fabrics": {"drak": "dark"}}]]}})
    assert fault.pointer == "/block/grid/blocks/0/0/fabrics/drak"
    (fault,) = faults({"grid": {"blocks": [[PEAK, {"fabric": "sky"}]]}})
    assert fault.pointer == "/block/grid/blocks/0/1/fabric"


def test_block_in_a_cell_may_leave_fabrics_to_the_grid() -> None:
    inner = {"pieces": [square("a", fabric="sky")]}
    block = read({"grid": {"blocks": [[inner]]}, "fabrics": [{"id": "sky", "colour": "#abcdef"}]})
    assert [f.colour for f in block.fabrics] == ["#abcdef"]
    (fault,) = faults({"grid": {"blocks": [[inner]]}})
    assert fault.pointer == "/block/grid/blocks/0/0/pieces/0/fabric"


# --- faults ------------------------------------------------------------------------------------


def test_fault_within_a_block_points_into_it_and_lies_on_the_whole_block() -> None:
    # The second piece's outline crosses itself at (2, 2) of 4 by 4 in.
    crossed = [[0, 0], [4, 0], [0, 4], [4, 4]]
    torn = {"pieces": [square("a", 4), {"id": "bow", "outline": crossed}]}
    spec = {
        "grid": {
            "rows": [8, 8],
            "columns": [8, 8],
            "blocks": [["nine-patch", "nine-patch"], ["nine-patch", torn]],
        }
    }
    (fault,) = [f for f in faults(spec) if f.code == "self-crossing"]
    assert fault.pointer == "/block/grid/blocks/1/1/pieces/1"
    # Scaled to twice its size, in the cell at (8, 8).
    assert fault.at == pytest.approx((12, 12))


def test_fault_of_a_turned_block_is_turned_with_it() -> None:
    # A line that ends in the air near the top left corner, at (1, 1) of 4 by 4 in.
    torn = {"frame": [[0, 0], [4, 0], [4, 4], [0, 4]], "lines": [[[0, 1], [1, 1]]]}
    for turn, at in ((0, (1, 1)), (90, (3, 1)), (180, (3, 3)), (270, (1, 3))):
        (fault,) = faults({"grid": {"blocks": [[torn]], "turns": [[turn]]}})
        assert fault.pointer == "/block/grid/blocks/0/0/lines/0"
        assert fault.at == pytest.approx(at)


def test_faults_of_a_grid_in_a_grid_and_of_a_design_point_into_them() -> None:
    torn = {"frame": [[0, 0], [4, 0], [4, 4], [0, 4]], "lines": [[[0, 1], [1, 1]]]}
    inner = {"grid": {"blocks": [[{"fabric": None}, torn]]}}
    (fault,) = faults({"grid": {"blocks": [[inner], [inner]], "rows": [4, 4], "columns": [8]}})[:1]
    assert fault.pointer == "/block/grid/blocks/0/0/grid/blocks/0/1/lines/0"
    assert fault.at == pytest.approx((5, 1))
    spec = {"grid": {"blocks": [["t", "t"]], "designs": {"t": torn}}}
    (fault,) = faults(spec)  # once, though two cells have it
    assert fault.pointer == "/block/grid/designs/t/lines/0"


def test_unknown_block_is_a_fault_of_its_cell() -> None:
    (fault,) = faults({"grid": {"blocks": [[PEAK, "no-such-block"]]}})
    assert (fault.pointer, fault.code) == ("/block/grid/blocks/0/1", "unknown-block")
    assert fault.at is not None


def test_block_of_other_proportions_than_its_cell_is_a_fault() -> None:
    (fault,) = faults({"grid": {"rows": [4], "columns": [4, 2], "blocks": [[PEAK, PEAK]]}})
    assert (fault.pointer, fault.code) == ("/block/grid/blocks/0/1", "cell-proportions")
    assert "row 1, column 2" in fault.detail
    assert fault.at == (5, 2)


def test_block_that_is_no_rectangle_leaves_its_cell_bare() -> None:
    (fault,) = faults({"grid": {"blocks": [["tumbling-blocks"]]}})
    assert (fault.pointer, fault.code) == ("/block/grid/blocks/0/0", "cell-not-filled")
    # The place lies outside the hexagon.
    assert fault.at is not None
    hexagon = [Polygon(paths.ring(p.outline)) for p in catalogue.load("tumbling-blocks").pieces]
    left, top, *_ = extent(catalogue.load("tumbling-blocks").pieces)
    at = shapely.Point(fault.at[0] + left, fault.at[1] + top)
    assert not any(one.intersects(at) for one in hexagon)


@pytest.mark.parametrize(
    ("grid", "pointer"),
    [
        ({"blocks": [[PEAK, PEAK], [PEAK]]}, "/block/grid/blocks/1"),
        ({"rows": 2, "blocks": [[PEAK]]}, "/block/grid/rows"),
        ({"columns": [1, 2], "blocks": [[PEAK]]}, "/block/grid/columns"),
        ({"turns": [[0, 0]], "blocks": [[PEAK]]}, "/block/grid/turns/0"),
        ({"mirrored": [[False], [False]], "blocks": [[PEAK]]}, "/block/grid/mirrored"),
        ({"columns": [0], "blocks": [[PEAK]]}, "/block/grid/columns/0"),
        ({"designs": {"a": PEAK}, "blocks": [[PEAK]]}, "/block/grid/designs/a"),
    ],
)
def test_uneven_grids_are_told_of(grid: Json, pointer: str) -> None:
    assert pointer in {fault.pointer for fault in faults({"grid": grid})}


def test_grids_lie_only_so_deep_in_each_other() -> None:
    spec: Json = {"grid": {"blocks": [[{"fabric": None}]]}}
    for _ in range(DEEPEST - 1):
        spec = {"grid": {"blocks": [[spec]]}}
    assert [p.id for p in read(spec).pieces] == [".".join(["b1"] * DEEPEST)]
    (fault,) = faults({"grid": {"blocks": [[spec]]}})
    assert fault.code == "too-deep"


def test_no_more_pieces_than_a_block_may_have() -> None:
    (fault,) = faults({"grid": {"blocks": [["nine-patch"] * 15] * 15}})
    assert (fault.pointer, fault.code) == ("/block/grid", "too-many-pieces")
    assert "2025" in fault.detail


def test_given_joins_of_cells_are_checked() -> None:
    grid = {"blocks": [[PEAK, PEAK], [PEAK, PEAK]]}
    (fault,) = faults({"grid": grid, "joins": [["b1", "b4"], ["b2", "b3"]]})[:1]
    assert fault.pointer == "/block/joins/0"
    assert "/block/joins" in {f.pointer for f in faults({"grid": grid, "joins": ["b1", "b2"]})}
    built = read({"grid": grid, "joins": [["b1", "b3"], ["b2", "b4"]]}).built
    assert built is not None
    assert built.joins == (("b1", "b3"), ("b2", "b4"))
