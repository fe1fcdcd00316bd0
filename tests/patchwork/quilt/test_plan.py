"""Group quilts: the whole quilt sewn as one block, whose meetings must nest where those of the
quilt do; every way of pressing a small quilt tried; and common practice: identical four-patches
and nine-patches set edge to edge nest everywhere if every other one is pressed the opposite way.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cache, reduce

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.joins import nested, order_from
from piecewright.patchwork.block.model import Block, Joins, Piece, extent, finished
from piecewright.patchwork.block.read import block_from_drawing
from piecewright.patchwork.block.seams import knit, planar_map
from piecewright.patchwork.faults import BlockError
from piecewright.patchwork.geometry.paths import Curve, Line, Segment
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.quilt.layout import GroupQuilt, place_name, quilt_of
from piecewright.patchwork.quilt.plan import QuiltPlan, group_quilt
from piecewright.patchwork.sewing.crossings import Crossing, Press, crossings, nests
from piecewright.patchwork.sewing.plan import Kept, PlanOptions, SewingPlan, sewing_plan
from tests.patchwork.unit_members import members

FOUR_PATCH = {
    "name": "Four-patch",
    "frame": [[0, 0], [6, 0], [6, 6], [0, 6]],
    "lines": [[[3, 0], [3, 6]], [[0, 3], [6, 3]]],
}
STEPPED = {
    "name": "Stepped",
    "frame": [[0, 0], [6, 0], [6, 4], [3, 4], [3, 6], [0, 6]],
    "lines": [[[3, 0], [3, 4]]],
}
SQUARES = [
    entry.id
    for entry in catalogue.entries()
    if entry.id not in ("hexagon-rosette", "tumbling-blocks")
]


@cache
def design(id: str) -> SewingPlan:
    """A design of 6 in by 6 in."""
    if id == "four-patch":
        return sewing_plan(block_from_drawing(FOUR_PATCH))
    return sewing_plan(finished(catalogue.load(id), width=6, height=6))


def planned(
    blocks: Sequence[Sequence[str]],
    turns: Sequence[Sequence[int]] | None = None,
    makers: Sequence[str] | None = None,
) -> QuiltPlan:
    names = {id for row in blocks for id in row}
    return group_quilt(quilt_of(blocks, turns), {id: design(id) for id in names}, makers)


# --- the whole quilt as one block ------------------------------------------------------------


class Whole:
    """A quilt of blocks of 6 in by 6 in as one large block, sewn block by block and row by row."""

    def __init__(self, quilt: GroupQuilt) -> None:
        pieces: list[Piece] = []
        rows: list[Joins] = []
        self.first_piece: dict[tuple[int, int], int] = {}
        for r, row in enumerate(quilt.cells):
            sewn: list[Joins] = []
            for c, cell in enumerate(row):
                plan = design(cell.design)
                ids = [f"{r}.{c}.{n}" for n in range(len(plan.block.pieces))]
                self.first_piece[r, c] = len(pieces)
                for id, piece in zip(ids, plan.block.pieces, strict=True):
                    outline = tuple(_laid(s, cell.turn, c, r) for s in piece.outline)
                    pieces.append(replace(piece, id=id, outline=outline))
                sewn.append(nested(plan.order, ids))
            rows.append(reduce(lambda a, b: (a, b), sewn))
        joins = reduce(lambda a, b: (a, b), rows)
        self.quilt = quilt
        self.seams = planar_map(knit([p.outline for p in pieces]))
        self.order = order_from(self.seams, [p.id for p in pieces], joins)
        count = self.order.pieces
        self.by_pieces = {
            frozenset(members(self.order, count + k)): k for k in range(len(self.order.joins))
        }
        self.meetings = [c for c in crossings(self.seams, self.order) if c.meeting]
        self.rest: dict[int, Press] = {}
        self.own: dict[tuple[int, int], list[int]] = {}
        for (r, c), first in self.first_piece.items():
            order = design(quilt.cells[r][c].design).order
            self.own[r, c] = [
                self.by_pieces[frozenset(first + i for i in members(order, order.pieces + k))]
                for k in range(len(order.joins))
            ]
        inside = {k for own in self.own.values() for k in own}
        row_of = {
            piece: r for (r, c), first in self.first_piece.items() for piece in range(first, count)
        }
        for k, join in enumerate(self.order.joins):
            if k not in inside:
                # The first unit of a seam within a row is the left one.
                odd = row_of[members(self.order, join.second)[0]] % 2
                self.rest[k] = "first" if odd else "second"

    def count(self, plan: QuiltPlan) -> tuple[int, int]:
        """How many meetings nest if every block is pressed as planned, and how many there are."""
        directions: list[Press] = [self.rest.get(k, "open") for k in range(len(self.order.joins))]
        variants = {v.id: v for v in plan.variants}
        for placed in plan.placements:
            own = self.own[placed.row, placed.column]
            for k, press in zip(own, variants[placed.variant].directions, strict=True):
                directions[k] = press
        return sum(nests(m, directions) for m in self.meetings), len(self.meetings)

    def best(self) -> tuple[int, int]:
        """The most meetings that can nest, every block being pressed as is best inside it.

        Also how few variants can do it.  Every way is tried.
        """
        places = list(self.own)
        best_inside = {
            id: _best_inside(design(id))
            for id in {c.design for row in self.quilt.cells for c in row}
        }
        ways = [best_inside[self.quilt.cells[r][c].design] for r, c in places]
        shape = tuple(len(own) for own in ways)
        assert math.prod(shape) <= 300_000
        chosen = np.indices(shape).reshape(len(places), -1)
        first: dict[int, NDArray[np.bool_]] = {
            k: np.array([press == "first"]) for k, press in self.rest.items()
        }
        for n, place in enumerate(places):
            for j, k in enumerate(self.own[place]):
                first[k] = np.array([way[j] for way in ways[n]])[chosen[n]]
        total = np.zeros(chosen.shape[1], dtype=int)
        for meeting in self.meetings:
            total += _nested(meeting, first)
        most = int(total.max())
        used = chosen[:, total == most]
        variants = np.zeros(used.shape[1], dtype=int)
        for id in best_inside:
            mine = [n for n, (r, c) in enumerate(places) if self.quilt.cells[r][c].design == id]
            own = np.sort(used[mine], axis=0)
            variants += 1 + (np.diff(own, axis=0) != 0).sum(axis=0)
        return most, int(variants.min())


def _nested(meeting: Crossing, first: dict[int, NDArray[np.bool_]]) -> NDArray[np.bool_]:
    ways = np.broadcast_arrays(
        *((arm.onward == first[arm.join]) == arm.from_first for arm in meeting.arms)
    )
    found: NDArray[np.bool_] = np.logical_and.reduce([way == ways[0] for way in ways])
    return found


def _best_inside(plan: SewingPlan) -> list[list[bool]]:
    """Whether each step is pressed toward its first unit, in all ways that nest most inside."""
    count = len(plan.order.joins)
    every = np.array(list(np.ndindex(*(2,) * count)), dtype=bool)
    first = {j: every[:, j] for j in range(count)}
    total = np.zeros(len(every), dtype=int)
    for crossing in crossings(plan.seams, plan.order):
        if crossing.meeting:
            total += _nested(crossing, first)
    return [list(map(bool, way)) for way in every[total == total.max()]]


def _laid(segment: Segment, turn: int, column: int, row: int) -> Segment:
    """A segment of a block of 6 in by 6 in, turned and put into its place."""

    def at(p: Point) -> Point:
        x, y = p[0] - 3.0, p[1] - 3.0
        for _ in range(turn // 90):
            x, y = -y, x
        return (round(x + 3.0 + 6 * column, 9), round(y + 3.0 + 6 * row, 9))

    if isinstance(segment, Line):
        return Line(at(segment.start), at(segment.end))
    return Curve(at(segment.start), at(segment.handle1), at(segment.handle2), at(segment.end))


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_meetings_are_those_of_the_quilt_sewn_as_one_block(data: st.DataObject) -> None:
    rows, columns = data.draw(st.sampled_from([(1, 2), (2, 1), (2, 2), (3, 2), (2, 3)]))
    some = ["four-patch", *(id for id in SQUARES if len(design(id).block.pieces) < 30)]
    blocks = [[data.draw(st.sampled_from(some)) for _ in range(columns)] for _ in range(rows)]
    turns = [
        [data.draw(st.sampled_from([0, 90, 180, 270])) for _ in range(columns)] for _ in range(rows)
    ]
    plan = planned(blocks, turns)
    whole = Whole(plan.quilt)
    assert whole.count(plan) == (plan.nested, plan.inside_meetings + len(plan.meetings))
    assert plan.inside_nested == sum(
        design(cell.design).pressing.nested for row in plan.quilt.cells for cell in row
    )


@pytest.mark.parametrize(
    ("blocks", "turns"),
    [
        ([["nine-patch"] * 2] * 2, None),
        ([["four-patch"] * 3] * 2, None),
        ([["four-patch"] * 2] * 3, None),
        ([["pinwheel"] * 3] * 2, None),
        ([["pinwheel"] * 2] * 3, None),
        ([["half-square-triangle"] * 3] * 3, [[0, 90, 0], [270, 180, 270], [0, 90, 180]]),
        ([["hourglass"] * 2] * 3, None),
        ([["hourglass", "half-square-triangle"]] * 2, [[0, 90], [90, 180]]),
        ([["roman-stripe"] * 2] * 2, [[0, 90], [90, 0]]),
        ([["four-patch", "nine-patch"], ["nine-patch", "four-patch"]], None),
        ([["flying-geese", "four-patch"], ["four-patch", "four-patch"]], [[0, 90], [90, 0]]),
    ],
)
def test_nothing_nests_more_with_fewer_variants(
    blocks: list[list[str]], turns: list[list[int]] | None
) -> None:
    plan = planned(blocks, turns)
    most, variants = Whole(plan.quilt).best()
    assert plan.nested == most
    assert plan.bound >= most
    assert plan.optimal
    if plan.fewest_variants:
        assert len(plan.variants) == variants
    assert len(plan.variants) >= variants


@pytest.mark.parametrize("id", ["four-patch", "nine-patch"])
@pytest.mark.parametrize(("rows", "columns"), [(2, 2), (3, 5), (20, 20)])
def test_every_other_block_pressed_the_opposite_way_nests_everywhere(
    id: str, rows: int, columns: int
) -> None:
    plan = planned([[id] * columns] * rows)
    assert all(m.nests for m in plan.meetings)
    assert plan.optimal
    assert plan.fewest_variants
    assert [v.id for v in plan.variants] == [f"{id} A", f"{id} B"]
    for placed in plan.placements:
        # The long seam of this four-patch runs across: it alternates from column to column, and
        # the short ones, which nest in the middle, lie as their neighbours' need them.
        number = placed.column if id == "four-patch" else placed.row + placed.column
        assert placed.variant == f"{id} {'AB'[number % 2]}"
    one, other = (v.directions for v in plan.variants)
    assert one[-1] != other[-1]
    if id == "nine-patch":
        assert all(a != b for a, b in zip(one, other, strict=True))


def test_a_nine_patch_has_two_meetings_on_each_side_and_one_at_each_corner() -> None:
    plan = planned([["nine-patch"] * 4] * 3)
    assert len(plan.meetings) == 2 * (3 * 3 + 2 * 4) + 2 * 3


def test_rows_are_pressed_in_turn_so_that_plain_corners_nest() -> None:
    plan = planned([["economy"] * 3] * 3)
    ways = {j.first.top: j.press for j in plan.joinings if j.kind == "blocks"}
    assert ways == {0: "right", 1: "left", 2: "right"}
    corners = [m for m in plan.meetings if len(m.blocks) == 4]
    assert len(corners) == 4
    assert all(m.nests for m in corners)


def test_pinwheels_cannot_nest_at_the_corners_of_every_row() -> None:
    # The blades of a pinwheel run to its corners.  Its middle nests if the upper two lie to one
    # side and the lower two to the other; its corners ask both for the side of its row.
    plan = planned([["pinwheel"] * 4] * 4)
    left_open = [m for m in plan.meetings if not m.nests]
    assert len(left_open) == 3
    assert plan.optimal
    assert all(m.reason and "meet others elsewhere too" in m.reason for m in left_open)


@pytest.mark.parametrize("id", SQUARES)
def test_a_makers_plan_with_all_directions_kept_is_the_variant(id: str) -> None:
    plan = planned([[id] * 3] * 3)
    own = design(id)
    assert sum(v.count for v in plan.variants) == 9
    for variant in plan.variants:
        made = sewing_plan(own.block, own.allowance, PlanOptions(kept=variant.kept))
        assert made.pressing.directions == variant.directions
        assert made.pressing.nested == own.pressing.nested


@settings(max_examples=20, deadline=None)
@given(st.data())
def test_turning_the_whole_quilt_changes_no_count(data: st.DataObject) -> None:
    # Of designs none of whose seams ends at a corner: there rows and columns differ.
    some = ["four-patch", "nine-patch", "rail-fence", "economy", "log-cabin", "churn-dash"]
    rows, columns = data.draw(st.integers(1, 4)), data.draw(st.integers(1, 4))
    blocks = [[data.draw(st.sampled_from(some)) for _ in range(columns)] for _ in range(rows)]
    turns = [
        [data.draw(st.sampled_from([0, 90, 180, 270])) for _ in range(columns)] for _ in range(rows)
    ]
    before = planned(blocks, turns)
    after = planned(
        [[blocks[rows - 1 - c][r] for c in range(rows)] for r in range(columns)],
        [[(turns[rows - 1 - c][r] + 90) % 360 for c in range(rows)] for r in range(columns)],
    )
    assert (before.nested, len(before.meetings)) == (after.nested, len(after.meetings))
    assert len(before.variants) == len(after.variants)


def test_of_what_is_left_open_the_more_blocks_are_pressed_toward_the_darker_fabric() -> None:
    drawn = {
        "frame": [[0, 0], [6, 0], [6, 6], [0, 6]],
        "lines": [[[0, 3], [6, 3]]],
        "fills": [{"at": [3, 1], "fabric": "d"}, {"at": [3, 5], "fabric": "l"}],
        "fabrics": [
            {"id": "d", "name": "Harbour navy", "colour": "#102040"},
            {"id": "l", "name": "Sail", "colour": "#f0f0e8"},
        ],
    }
    own = sewing_plan(block_from_drawing({"name": "Horizon", **drawn}))
    plan = group_quilt(quilt_of([["h"] * 5]), {"h": own})
    assert all(m.nests for m in plan.meetings)
    toward = own.pressing.directions
    assert [(v.directions == toward, v.count) for v in plan.variants] == [(True, 3), (False, 2)]
    assert plan.darker == 3


def test_a_block_by_itself_is_pressed_as_its_own_plan_has_it() -> None:
    for id in SQUARES:
        (variant,) = planned([[id]]).variants
        assert variant.directions == design(id).pressing.directions


def test_directions_that_were_given_are_kept_in_every_block() -> None:
    kept = (Kept(1, "first"), Kept(2, "second"), Kept(3, "first"))
    block = block_from_drawing(FOUR_PATCH)
    own = sewing_plan(block, None, PlanOptions(kept=kept))
    plan = group_quilt(quilt_of([["f"] * 3] * 3), {"f": own}, kept={"f": kept})
    assert [v.directions for v in plan.variants] == [("first", "second", "first")]
    # The short seams of neighbours nest; the long one lies to the same side in all.
    long = [m for m in plan.meetings if len(m.blocks) == 2 and m.at[0] % 6 == 0]
    assert len(long) == 6
    assert all(m.nests == (m not in long) for m in plan.meetings)
    assert all(m.reason and "as you gave it" in m.reason for m in long)
    assert plan.optimal


def test_seams_pressed_open_stay_open_and_do_not_nest() -> None:
    own = sewing_plan(block_from_drawing(FOUR_PATCH), None, PlanOptions(kept=(Kept(3, "open"),)))
    plan = group_quilt(quilt_of([["f", "f"]]), {"f": own})
    assert {v.directions[2] for v in plan.variants} == {"open"}
    (meeting,) = plan.meetings
    assert meeting.reason is not None
    assert "pressed open" in meeting.reason


# --- sharing ---------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_blocks_are_shared_evenly_and_each_once(data: st.DataObject) -> None:
    rows, columns = data.draw(st.integers(1, 7)), data.draw(st.integers(1, 7))
    some = ["four-patch", "nine-patch", "economy", "orange-peel"]
    blocks = [[data.draw(st.sampled_from(some)) for _ in range(columns)] for _ in range(rows)]
    makers = [f"maker {n}" for n in range(data.draw(st.integers(1, rows * columns)))]
    plan = planned(blocks, None, makers)
    totals = [sum(count for _, count in share.variants) for share in plan.shares]
    assert [share.maker for share in plan.shares] == makers
    assert sum(totals) == rows * columns
    assert max(totals) - min(totals) <= 1
    for share in plan.shares:
        own = [p.variant for p in plan.placements if p.maker == share.maker]
        assert dict(share.variants) == {v: own.count(v) for v in own}
    # Handing out one variant after another never needs more.
    kinds = sum(len(share.variants) for share in plan.shares)
    assert kinds <= len(plan.variants) + len(makers) - 1
    assert plan == planned(blocks, None, makers)


def test_makers_get_one_variant_each_where_shares_allow_it() -> None:
    plan = planned([["nine-patch"] * 4] * 4, None, ["Ada", "Bente", "Carl", "Dora"])
    assert [len(share.variants) for share in plan.shares] == [1, 1, 1, 1]
    for share in plan.shares:
        own = [(p.row, p.column) for p in plan.placements if p.maker == share.maker]
        # Half of the blocks of a chequer board of 4 by 4, shared by two: those of two rows or two
        # columns side by side.
        assert min(max(axis) - min(axis) for axis in zip(*own, strict=True)) == 1


# --- joining ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("rows", "columns"), [(1, 1), (1, 5), (4, 4), (3, 7)])
def test_every_unit_is_joined_after_it_is_made(rows: int, columns: int) -> None:
    plan = planned([["four-patch"] * columns] * rows)
    assert len(plan.joinings) == rows * columns - 1
    made = {(r, c, r, c) for r in range(rows) for c in range(columns)}
    for joining in sorted(plan.joinings, key=lambda j: (j.level, j.number)):
        one, other = joining.first, joining.second
        for area in (one, other):
            made.remove((area.top, area.left, area.bottom, area.right))
        made.add((one.top, one.left, other.bottom, other.right))
        across, down = other.right - one.left + 1, other.bottom - one.top + 1
        assert joining.unfinished.width == pytest.approx(6 * across + 0.5)
        assert joining.unfinished.height == pytest.approx(6 * down + 0.5)
    assert made == {(0, 0, rows - 1, columns - 1)}


# --- what may be wrong -----------------------------------------------------------------------


def faults(
    blocks: list[list[str]], turns: list[list[int]] | None, designs: dict[str, SewingPlan]
) -> list[tuple[str, str]]:
    with pytest.raises(BlockError) as caught:
        group_quilt(quilt_of(blocks, turns), designs, ["Ada"])
    return [(fault.pointer, fault.code) for fault in caught.value.faults]


def test_faults_say_where_they_are() -> None:
    four = design("four-patch")
    small = sewing_plan(finished(four.block, width=4))
    wide = sewing_plan(finished(four.block, width=6, height=3))
    stepped = sewing_plan(block_from_drawing(STEPPED))
    edged = sewing_plan(four.block, Allowance(0.25, 0.5))
    ones = {"four": four, "small": small, "wide": wide, "stepped": stepped, "edged": edged}
    assert faults([["four", "lost"]], None, ones) == [("/quilt/blocks/0/1", "unknown-block")]
    assert faults([["four", "small"]], None, ones) == [("/quilt/blocks/0/1", "block-size")]
    assert faults([["four"], ["small"]], None, ones) == [("/quilt/blocks/1/0", "block-size")]
    assert faults([["four", "stepped"]], None, ones) == [("/quilt/blocks/0/1", "not-a-rectangle")]
    assert faults([["four", "edged"]], None, ones) == [("/quilt/blocks/0/1", "quilt-allowance")]
    assert faults([["wide"], ["wide"]], [[0], [90]], ones) == [("/quilt/blocks/1/0", "block-size")]
    assert group_quilt(quilt_of([["wide"], ["wide"]], [[0], [180]]), ones).heights == (3.0, 3.0)


def test_a_layout_with_gaps_is_refused() -> None:
    with pytest.raises(BlockError) as caught:
        quilt_of([["a", "b"], ["a"]], [[0, 45], [0, 0], [0, 0]], rows=2)
    assert [f.pointer for f in caught.value.faults] == [
        "/quilt/blocks/1",
        "/quilt/turns",
        "/quilt/turns/0/1",
    ]


def test_more_makers_than_blocks_are_refused() -> None:
    with pytest.raises(BlockError) as caught:
        planned([["four-patch"]], None, ["Ada", "Bente"])
    assert [f.pointer for f in caught.value.faults] == ["/makers"]


def test_places_have_a_letter_for_the_row_and_a_number_for_the_column() -> None:
    assert [place_name(r, c) for r, c in ((0, 0), (1, 2), (27, 11))] == ["A1", "B3", "AB12"]


def _size(block: Block) -> tuple[float, float]:
    left, top, right, bottom = extent(block.pieces)
    return right - left, bottom - top


def test_oblong_blocks_turned_keep_rows_and_columns_even() -> None:
    wide = sewing_plan(finished(design("four-patch").block, width=6, height=3))
    assert _size(wide.block) == (6.0, 3.0)
    plan = group_quilt(quilt_of([["w"] * 3] * 2, [[90] * 3] * 2), {"w": wide})
    assert plan.widths == (3.0, 3.0, 3.0)
    assert plan.heights == (6.0, 6.0)
    assert all(m.nests for m in plan.meetings)
