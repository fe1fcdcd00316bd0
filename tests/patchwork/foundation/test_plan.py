"""Foundation sections: against exhaustion, blocks of the trade, given sections, fabric."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from typing import Any

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import Block, Section, finished
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.faults import BlockError
from piecewright.patchwork.foundation.plan import EASE, Foundation, foundation
from piecewright.patchwork.foundation.sections import fewest_sections, joined
from piecewright.patchwork.foundation.straight_cuts import StraightCuts
from piecewright.patchwork.geometry import paths
from tests.patchwork.foundation.foundations import Exhaustive, notched, strips
from tests.patchwork.outlines.raw_edges import Cut, end_gaps, reach_outside
from tests.patchwork.partitions import block_of, crossing_lines, straight_blocks, through_cut

STRAIGHT = [
    "bear-paw",
    "birds-in-the-air",
    "cake-stand",
    "churn-dash",
    "courthouse-steps",
    "crazy-patch",
    "dutchmans-puzzle",
    "economy",
    "flying-geese",
    "friendship-star",
    "hourglass",
    "kaleidoscope",
    "log-cabin",
    "maple-leaf",
    "nine-patch",
    "nine-patch-star",
    "ohio-star",
    "pineapple",
    "pinwheel",
    "rail-fence",
    "sailboat",
    "sawtooth-star",
    "snail-trail",
    "storm-at-sea",
    "wonky-star",
]


def of(name: str, width: float | None = None, **more: Any) -> Foundation:
    block = catalogue.load(name)
    return foundation(finished(block, width=width) if width else block, Allowance(), **more)


def drawing(lines: list[Any], width: float = 6, height: float = 6) -> Block:
    frame = [[0, 0], [width, 0], [width, height], [0, height]]
    return block_from_drawing({"frame": frame, "lines": lines})


def orders(found: Foundation) -> dict[str, tuple[str, ...]]:
    return {section.id: section.order for section in found.sections}


# --- the fewest sections ------------------------------------------------------------------------


def has_the_fewest_sections(block: Block) -> None:
    """A block's sections are as few as exhaustion finds; each can be sewn, and all be joined."""
    exhaustive = Exhaustive(block)
    found = foundation(block, Allowance())
    assert found.optimal
    assert len(found.sections) == exhaustive.fewest(frozenset(range(len(block.pieces))))
    assert all(exhaustive.order_is_sewable(section.order) for section in found.sections)
    assert found.joins is not None
    assert exhaustive.joins_are_straight(found.joins, orders(found))


@given(straight_blocks(8))
@settings(max_examples=50, deadline=None)
def test_sections_are_the_fewest_that_exhaustion_finds(block: Block) -> None:
    has_the_fewest_sections(block)


@st.composite
def patched(draw: st.DrawFn) -> Block:
    """Two to four squares in a row or a square, each whole or cut across once or twice.

    Seams meet from both sides at many of their points, which random cuts hardly ever do.
    """
    across, down = draw(st.sampled_from([(2, 1), (3, 1), (2, 2)]))
    shapes: list[Any] = []
    for x in range(across):
        for y in range(down):
            a, b, c, d = [(x, y), (x + 1, y), (x + 1, y + 1), (x, y + 1)]
            h, m = (x + 0.5, y), (x + 0.5, y + 1)
            middle = (x + 0.5, y + 0.5)
            shapes += draw(
                st.sampled_from(
                    [
                        [[a, b, c, d]],
                        [[a, b, c], [a, c, d]],
                        [[a, b, d], [b, c, d]],
                        [[a, h, m, d], [h, b, c, m]],
                        [[a, b, middle], [a, middle, c, d], [b, c, middle]],
                        [[a, h, d], [h, b, c], [h, c, d]],
                    ]
                )
            )
    block = block_of([Polygon([(3 * x, 3 * y) for x, y in shape]) for shape in shapes])
    assert block is not None
    return block


@given(patched().filter(lambda block: len(block.pieces) <= 9))
@settings(max_examples=40, deadline=None)
def test_the_same_where_seams_cross(block: Block) -> None:
    exhaustive = Exhaustive(block)
    fewest = exhaustive.fewest(frozenset(range(len(block.pieces))))
    if fewest is None:
        with pytest.raises(BlockError):
            foundation(block, Allowance())
        return
    found = foundation(block, Allowance())
    assert found.optimal
    assert len(found.sections) == fewest
    assert all(exhaustive.order_is_sewable(section.order) for section in found.sections)


@given(st.integers(0, 2**32), st.integers(2, 3))
@settings(max_examples=30, deadline=None)
def test_the_same_for_lines_that_all_cross(seed: int, lines: int) -> None:
    block = crossing_lines(seed, lines)
    if block is None or len(block.pieces) > 8:
        return
    exhaustive = Exhaustive(block)
    found = foundation(block, Allowance())
    assert len(found.sections) == exhaustive.fewest(frozenset(range(len(block.pieces))))


@given(st.integers(0, 2**32))
@settings(max_examples=50, deadline=None)
def test_the_same_for_blocks_that_are_not_convex(seed: int) -> None:
    block = notched(seed)
    if block is None or len(block.pieces) > 8:
        return
    has_the_fewest_sections(block)


@pytest.mark.parametrize("name", STRAIGHT)
def test_blocks_of_the_trade_follow_the_rules(name: str) -> None:
    found = of(name)
    exhaustive = Exhaustive(found.block)
    assert found.optimal
    assert sorted(p for s in found.sections for p in s.order) == sorted(exhaustive.ids)
    assert all(exhaustive.order_is_sewable(section.order) for section in found.sections)
    assert found.joins is not None
    assert exhaustive.joins_are_straight(found.joins, orders(found))


@pytest.mark.parametrize(
    ("name", "count"),
    [
        ("flying-geese", 1),
        ("roman-stripe", 1),
        ("economy", 1),
        ("triangle-in-a-square", 1),
        ("log-cabin", 1),
        ("courthouse-steps", 1),
        ("pineapple", 1),
        ("nine-patch", 3),
        ("pinwheel", 2),  # half of it is a fan of four
        ("hourglass", 2),
        ("storm-at-sea", 4),
    ],
)
def test_count_of_blocks_of_the_trade(name: str, count: int) -> None:
    assert len(of(name).sections) == count


def test_string_of_strips_is_one_section_from_the_middle() -> None:
    found = foundation(drawing([[[x, 0], [x, 6]] for x in (1, 2, 3.5, 5)]), Allowance())
    assert len(found.sections) == 1
    assert found.sections[0].order[0] == "p3"
    assert found.joins == "A"


def test_two_thousand_strips_are_one_section() -> None:
    """As many pieces as a block may have, each sewn to the row of those before it.

    The row is a thousand inches long, and a line may be off by a two-thousandth of that.
    """
    found = foundation(strips([0.5] * 2000), Allowance())
    assert found.joins == "A"
    assert found.optimal
    row = [int(name[1:]) for name in found.sections[0].order]
    assert sorted(row) == list(range(1, 2001))
    first = last = row[0]
    for strip in row[1:]:
        assert strip in (first - 1, last + 1)
        first, last = min(first, strip), max(last, strip)


def test_two_thousand_strips_in_a_given_order_are_kept() -> None:
    block = strips([1.5] * 2000)
    names = [piece.id for piece in block.pieces]
    given_order = replace(block, sections=(Section("run", tuple(names)),))
    assert foundation(given_order, Allowance()).sections[0].order == tuple(names)
    names[7], names[1500] = names[1500], names[7]
    with pytest.raises(BlockError) as caught:
        foundation(replace(block, sections=(Section("run", tuple(names)),)), Allowance())
    assert [fault.pointer for fault in caught.value.faults] == ["/block/sections/0/order/7"]


def test_fan_starts_in_its_middle() -> None:
    lines = [[[3, 6], [x, 0]] for x in (1, 2.5, 3.5, 5)]
    found = foundation(drawing(lines), Allowance())
    assert found.sections[0].order[0] == "p2"


@pytest.mark.parametrize(
    ("name", "first"),
    [("log-cabin", "centre"), ("economy", "centre"), ("flying-geese", "goose4")],
)
def test_section_starts_where_a_maker_would(name: str, first: str) -> None:
    assert of(name).sections[0].order[0] == first


def test_letters_follow_the_joins() -> None:
    found = of("bear-paw")
    assert found.joins == ((("A", "B"), ("C", "D")), (("E", ("F", "G")), ("H", "I")))
    assert [s.id for s in found.sections] == list("ABCDEFGHI")
    assert [step.first + step.second for step in found.steps][-1] == tuple("ABCDEFGHI")


def _grid(rows: int, columns: int, seed: int) -> Block:
    """Squares of which some are cut across, or have a square on point inside."""
    rng = random.Random(seed)
    on_point = [[[1, 0], [2, 1], [1, 2], [0, 1]]]
    on_point += [[[0, 0], [1, 0], [0, 1]], [[1, 0], [2, 0], [2, 1]]]
    on_point += [[[2, 1], [2, 2], [1, 2]], [[0, 1], [1, 2], [0, 2]]]
    kinds = [
        [[[0, 0], [2, 0], [2, 2], [0, 2]]],
        [[[0, 0], [2, 0], [0, 2]], [[2, 0], [2, 2], [0, 2]]],
        [[[0, 0], [2, 0], [2, 2]], [[0, 0], [2, 2], [0, 2]]],
        on_point,
    ]
    pieces: list[Any] = []
    for row in range(rows):
        for column in range(columns):
            for shape in rng.choice(kinds) if seed else on_point:
                outline = [[2 * column + x, 2 * row + y] for x, y in shape]
                pieces.append({"id": f"p{len(pieces)}", "outline": outline})
    return block_from_pieces({"pieces": pieces})


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_what_120_pieces_need_is_proven(seed: int) -> None:
    block = _grid(5, 5, 0) if seed == 0 else _grid(7, 8, seed)
    assert 100 < len(block.pieces) < 170
    assert foundation(block, Allowance()).optimal


def test_large_block_is_not_claimed_to_have_the_fewest() -> None:
    cuts = StraightCuts(planar_map([p.outline for p in _grid(5, 6, 3).pieces]))
    short = fewest_sections(cuts, most_units=40)
    proven = fewest_sections(cuts)
    assert proven.fewest
    assert len(short.units) >= len(proven.units)
    assert not short.fewest or len(short.units) == len(proven.units)


def test_levels_are_the_fewest() -> None:
    """Eight strips join in three levels, five in three, two in one."""
    for count, levels in ((8, 3), (5, 3), (2, 1), (1, 0)):
        block = strips([1.0] * count)
        pairs = joined(StraightCuts(planar_map([p.outline for p in block.pieces])))
        depth = [0] * count
        for first, second in pairs:
            depth.append(max(depth[first], depth[second]) + 1)
        assert depth[-1] == levels


# --- blocks that have no sections -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "code", "pieces", "at"),
    [
        ("drunkards-path", "curved-seam", ("pie", "ground"), None),
        ("tumbling-blocks", "set-in-seam", ("p1", "p2", "p3"), (2.598076, 3.0)),
        ("attic-windows", "set-in-seam", ("sill", "window", "side"), (2.0, 4.0)),
    ],
)
def test_seam_that_is_not_straight_is_named(
    name: str, code: str, pieces: tuple[str, ...], at: tuple[float, float] | None
) -> None:
    with pytest.raises(BlockError) as caught:
        of(name)
    (fault,) = caught.value.faults
    assert fault.code == code
    assert all(piece in fault.detail for piece in pieces)
    assert fault.pointer.startswith("/block/pieces/")
    assert fault.at is not None
    if at is not None:
        assert math.dist(fault.at, at) < 0.01


def test_a_ring_of_rectangles_has_a_section_each_joined_with_a_partial_seam() -> None:
    found = of("bright-hopes")
    assert sorted(orders(found).values()) == [("centre",), ("e",), ("n",), ("s",), ("w",)]
    assert [step.finished_by for step in found.steps] == [3, None, None, None]
    assert [step.finishes for step in found.steps] == [None, None, None, 0]
    assert not found.optimal
    # Given sections, and joins of these, are sewn so too.
    names = {next(iter(section.order)): section.id for section in found.sections}
    given = with_sections("bright-hopes", *((name, piece) for piece, name in names.items()))
    assert foundation(given, Allowance()).joins == found.joins


def test_pieces_about_a_ring_are_put_together_in_sections() -> None:
    """A border of strips and a divided square need no sections of their own pieces each."""
    outlines = {
        "n": (0, 0, 4, 2), "e": (4, 0, 6, 4), "s": (2, 4, 6, 6), "w": (0, 2, 2, 6),
        "left": (2, 2, 3, 4), "right": (3, 2, 4, 4), "over": (0, -1, 6, 0), "top": (0, -2, 6, -1),
    }  # fmt: skip
    pieces = [
        {"id": id, "outline": [[a, b], [c, b], [c, d], [a, d]]}
        for id, (a, b, c, d) in outlines.items()
    ]
    found = foundation(block_from_pieces({"pieces": pieces}), Allowance())
    assert sorted(sorted(order) for order in orders(found).values()) == [
        ["e"], ["left", "right"], ["n"], ["over", "top"], ["s"], ["w"],
    ]  # fmt: skip
    assert sum(step.finishes is not None for step in found.steps) == 1


def test_seam_is_named_at_the_block_where_no_pieces_are_listed() -> None:
    with pytest.raises(BlockError) as caught:
        of("drunkards-path", pieces_pointer=None)
    assert caught.value.faults[0].pointer == "/block"


# --- given sections -------------------------------------------------------------------------------


def with_sections(name: str, *sections: tuple[str, str]) -> Block:
    given = tuple(Section(id, tuple(order.split())) for id, order in sections)
    return replace(catalogue.load(name), sections=given)


def test_given_sections_are_kept() -> None:
    block = with_sections(
        "nine-patch", ("left", "nw w sw"), ("mid", "n centre s"), ("r", "e ne se")
    )
    found = foundation(block, Allowance())
    assert orders(found) == {
        "left": ("nw", "w", "sw"),
        "mid": ("n", "centre", "s"),
        "r": ("e", "ne", "se"),
    }
    assert found.optimal
    assert [patch.number for patch in found.sections[1].patches] == [1, 2, 3]


def test_more_sections_than_needed_are_kept_and_not_optimal() -> None:
    block = with_sections(
        "nine-patch", *((i, i) for i in ["nw", "n", "ne", "w", "centre", "e", "sw", "s", "se"])
    )
    found = foundation(block, Allowance())
    assert len(found.sections) == 9
    assert not found.optimal


def faults_of(block: Block) -> list[Any]:
    with pytest.raises(BlockError) as caught:
        foundation(block, Allowance())
    return list(caught.value.faults)


def test_failing_step_of_a_given_section_is_named() -> None:
    block = with_sections(
        "log-cabin", ("A", "centre n1 e1 s1 w1 n2 e2 s2 w2 n3 e3 s3 w3 n4 s4 e4 w4")
    )
    (fault,) = faults_of(block)
    assert fault.code == "unsewable-step"
    assert fault.pointer == "/block/sections/0/order/15"
    assert "'e4'" in fault.detail
    assert "step 16" in fault.detail
    assert fault.at is not None


def test_every_failing_section_is_named() -> None:
    block = with_sections("nine-patch", ("A", "nw ne n"), ("B", "w centre e"), ("C", "sw se s"))
    found = faults_of(block)
    assert [f.pointer for f in found] == ["/block/sections/0/order/1", "/block/sections/2/order/1"]
    assert all("no edge" in f.detail for f in found)


def test_piece_that_bends_round_is_named() -> None:
    block = with_sections("nine-patch", ("A", "nw n ne w centre"), ("B", "e se s sw"))
    found = faults_of(block)
    assert found[0].pointer == "/block/sections/0/order/4"


def test_piece_before_that_reaches_over_the_line_is_named() -> None:
    pieces = [
        {"id": "a", "outline": [[0, 0], [2, 0], [2, 3], [0, 3]]},
        {"id": "b", "outline": [[2, 1], [4, 1], [4, 3], [2, 3]]},
        {"id": "c", "outline": [[2, 0], [4, 0], [4, 1], [2, 1]]},
    ]
    block = block_from_pieces(
        {"pieces": pieces, "sections": [{"id": "A", "order": ["a", "b", "c"]}]}
    )
    (fault,) = faults_of(block)
    assert fault.pointer == "/block/sections/0/order/2"


def test_given_sections_round_a_middle_are_joined_with_a_partial_seam() -> None:
    block = with_sections(
        "nine-patch", ("A", "nw n"), ("B", "ne e"), ("C", "se s"), ("D", "sw w"), ("E", "centre")
    )
    found = foundation(block, Allowance())
    assert sum(step.finished_by is not None for step in found.steps) == 1


def test_sections_that_do_not_join_straight_are_named() -> None:
    found = faults_of(with_sections("tumbling-blocks", ("A", "p1"), ("B", "p2"), ("C", "p3")))
    assert found
    assert all(f.code == "sections-not-straight" for f in found)
    assert found[0].pointer == "/block/sections"
    assert found[0].at is not None


def test_joins_of_the_block_are_kept_where_sections_are_units_of_them() -> None:
    block = with_sections("nine-patch", ("T", "n nw ne"), ("M", "centre w e"), ("B", "s sw se"))
    rows: Any = (((("nw", "n"), "ne"), (("w", "centre"), "e")), (("sw", "s"), "se"))
    found = foundation(replace(block, joins=rows), Allowance())
    assert found.joins == (("T", "M"), "B")
    columns: Any = ((("nw", "w"), "sw"), ((("n", "centre"), "s"), (("ne", "e"), "se")))
    assert foundation(replace(block, joins=columns), Allowance()).joins == ("T", ("M", "B"))


# --- outlines -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", STRAIGHT)
def test_sections_fill_the_block(name: str) -> None:
    found = of(name, 12.0)
    whole = shapely.union_all([Polygon(paths.ring(p.outline)) for p in found.block.pieces])
    parts = [Polygon(paths.ring(s.outline)) for s in found.sections]
    assert sum(p.area for p in parts) == pytest.approx(whole.area, rel=1e-6)
    assert shapely.union_all(parts, grid_size=1e-6).symmetric_difference(whole).area < 1e-3


@pytest.mark.parametrize("width", [6.0, 20.0])
@pytest.mark.parametrize("name", STRAIGHT)
def test_allowance_is_the_same_at_any_size(name: str, width: float) -> None:
    for section in of(name, width).sections:
        outline, cut = Polygon(paths.ring(section.outline)), Polygon(paths.ring(section.cut))
        assert (
            reach_outside(outline.buffer(0.25 - 1e-6, cap_style="flat"), cut.buffer(0.002)) < 0.11
        )
        plain = outline.buffer(0.25, join_style="mitre", mitre_limit=100)
        assert reach_outside(cut, plain) < 1e-6
        for (x0, y0), (x1, y1) in _sides(outline):
            size = math.dist((x0, y0), (x1, y1))
            n = ((y1 - y0) / size, -(x1 - x0) / size)
            strip = Polygon(
                [(x0, y0), (x1, y1), (x1 + n[0] / 4, y1 + n[1] / 4), (x0 + n[0] / 4, y0 + n[1] / 4)]
            )
            assert strip.difference(cut.buffer(1e-4)).area < 1e-6


def _sides(shape: Polygon) -> list[Any]:
    ring = [*shape.exterior.coords]
    if not shapely.is_ccw(shape.exterior):
        ring.reverse()
    return list(zip(ring, ring[1:], strict=False))


@given(straight_blocks())
@settings(max_examples=25, deadline=None)
def test_raw_edges_of_sections_end_together(block: Block) -> None:
    """That raw edges end together at both ends of the joins between sections, by Shapely."""
    found = foundation(block, Allowance())
    coarse = block_from_pieces(
        {
            "pieces": [
                {"id": s.id, "outline": [list(p) for p in paths.ring(s.outline)]}
                for s in found.sections
            ],
            "joins": found.joins,
        }
    )
    if len(found.sections) > 1:
        expected = Cut(coarse)
        for section in found.sections:
            cut = Polygon(paths.ring(section.cut))
            assert cut.symmetric_difference(expected.cut[section.id]).area < 1e-3
        assert len(end_gaps(expected)) == 2 * len(found.steps)


def test_marks_pair_up() -> None:
    for name in STRAIGHT:
        found = of(name)
        by_number: dict[int, list[Any]] = {}
        for section in found.sections:
            rim = Polygon(paths.ring(section.outline)).exterior
            for mark in section.marks:
                assert rim.distance(Point(mark.at)) < 1e-5
                by_number.setdefault(mark.number, []).append(mark)
        for one, other in by_number.values():
            assert one.at == other.at
            assert one.out == (-other.out[0], -other.out[1])
        joined_pairs = sum(len(s.marks) for s in found.sections)
        assert joined_pairs >= 2 * len(found.steps)


def test_seams_of_a_section_are_one_line_each() -> None:
    found = of("sawtooth-star", 12.0)
    for section in found.sections:
        assert len(section.seams) == len(section.order) - 1


# --- fabric ---------------------------------------------------------------------------------------


def test_patch_has_a_quarter_inch_and_ease_all_round() -> None:
    found = foundation(drawing([[[2, 0], [2, 6]]]), Allowance())
    sizes = {p.piece: (p.width, p.height) for s in found.sections for p in s.patches}
    assert sizes == {"p1": (2.75, 6.75), "p2": (4.75, 6.75)}


def test_patch_lies_along_its_grain() -> None:
    block = block_from_pieces(
        {
            "pieces": [
                {"id": "a", "outline": [[0, 0], [4, 0], [0, 4]], "grain": 45},
                {"id": "b", "outline": [[4, 0], [4, 4], [0, 4]], "grain": "free"},
            ]
        }
    )
    patches = {p.piece: p for s in foundation(block, Allowance()).sections for p in s.patches}
    long, short = 4 * math.sqrt(2) + 0.75, 2 * math.sqrt(2) + 0.75
    assert sorted((patches["a"].width, patches["a"].height)) == pytest.approx([short, long])
    assert (patches["b"].width, patches["b"].height) == pytest.approx((4.75, 4.75))


def test_wide_allowance_is_covered_too() -> None:
    found = foundation(drawing([[[2, 0], [2, 6]]]), Allowance(0.25, 1.0))
    assert found.sections[0].patches[0].width >= 2 + 2 * (1.0 + EASE)


def test_rectangles_are_summed_by_fabric() -> None:
    found = of("pinwheel", 6.0)
    assert {need.fabric for need in found.fabrics} == {"dark", "light"}
    for need in found.fabrics:
        ((width, height, count),) = need.sizes
        assert (width, height, count) == (3.75, 3.75, 4)
        assert need.area == pytest.approx(4 * 3.75**2)


def test_what_a_random_block_of_many_pieces_needs_is_proven() -> None:
    block = next(b for s in range(400) if (b := through_cut(s, 25, 20.0)) is not None)
    assert foundation(block, Allowance()).optimal
