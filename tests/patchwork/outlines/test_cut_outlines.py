"""Cut outlines: worked values of the trade, Shapely's mitred buffer, and the properties
of matched corners over the whole catalogue and over random blocks."""

from __future__ import annotations

import math

import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import Block, finished
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.block.seams import planar_map
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.outlines.cut_outlines import Corners, cut_outlines
from piecewright.patchwork.outlines.mitres import HalfPlane, Mitre
from piecewright.patchwork.sewing.order import order_of
from tests.patchwork import partitions
from tests.patchwork.outlines import raw_edges
from tests.patchwork.outlines.raw_edges import Cut

QUARTER = 0.25
ROOT2, ROOT3 = math.sqrt(2), math.sqrt(3)

# GEOS simplifies what it buffers by up to a hundredth of the distance, which shows on curves.
STRAIGHT, CURVED = 1e-4, 0.01 * QUARTER

CATALOGUE = [entry.id for entry in catalogue.entries()]


def square(*lines: list[list[float]], side: float = 3.0) -> Block:
    frame = [[0, 0], [side, 0], [side, side], [0, side]]
    return block_from_drawing({"frame": frame, "lines": list(lines)})


def cut(block: Block, corners: Corners, width: float = QUARTER) -> dict[str, Polygon]:
    return Cut(block, width, corners).cut


def corners_of(shape: Polygon) -> set[tuple[float, float]]:
    return {(round(x, 4), round(y, 4)) for x, y in shape.exterior.coords}


class TestWorkedValues:
    """Quarter-inch allowance, by hand; the sizes are common practice of the trade."""

    def test_a_square_grows_by_half_an_inch(self) -> None:
        every: tuple[Corners, ...] = ("full", "blunt", "matched")
        for corners in every:
            (shape,) = cut(square(side=3.0), corners).values()
            assert shape.bounds == pytest.approx((-0.25, -0.25, 3.25, 3.25))
            assert shape.area == pytest.approx(3.5**2)

    def test_half_square_triangle_with_finished_legs_of_3_has_full_legs_of_3_and_7_eighths(
        self,
    ) -> None:
        # s + (2 + root 2) a = 3.8536, which the handbooks round up to 3 7/8.
        shape = cut(square([[3, 0], [0, 3]]), "full")["p1"]
        leg = 3 + (2 + ROOT2) * QUARTER
        assert leg == pytest.approx(3.8536, abs=5e-5)
        assert 0 < 3.875 - leg < 1 / 32
        assert shape.bounds == pytest.approx((-0.25, -0.25, leg - 0.25, leg - 0.25))
        assert shape.area == pytest.approx(leg**2 / 2)

    def test_half_square_triangle_is_trimmed_to_the_square_it_is_sewn_into(self) -> None:
        shape = cut(square([[3, 0], [0, 3]]), "matched")["p1"]
        ear = QUARTER * (ROOT2 - 1)
        assert corners_of(shape) == {
            (-0.25, -0.25),
            (3.25, -0.25),
            (3.25, round(ear, 4)),
            (round(ear, 4), 3.25),
            (-0.25, 3.25),
        }

    def test_blunt_points_are_cut_off_one_allowance_beyond_the_finished_corner(self) -> None:
        shape = cut(square([[3, 0], [0, 3]]), "blunt")["p1"]
        # Square to the line that halves the corner: (cos, -sin) of 22.5 degrees.
        way = (math.cos(math.radians(22.5)), -math.sin(math.radians(22.5)))
        reach = max((x - 3) * way[0] + y * way[1] for x, y in shape.exterior.coords)
        assert reach == pytest.approx(QUARTER)
        assert (-0.25, -0.25) in corners_of(shape)  # 90 degrees is not sharper than 90

    @pytest.mark.parametrize("off", [0.0, 0.002, -0.002])
    def test_right_corner_of_a_drawing_in_decimals_is_not_blunted(self, off: float) -> None:
        # A square on point whose corners rounding makes a hair sharper or wider than 90 degrees.
        outline = [[0, 0], [1.5 + off, -1.5], [3, 0], [1.5 + off, 1.5]]
        block = block_from_pieces({"pieces": [{"id": "s", "outline": outline}]})
        shape = cut(block, "blunt")["s"]
        assert len(shape.exterior.coords) == 5

    def test_quarter_square_triangle_of_finished_base_6(self) -> None:
        # s + (2 + 2 root 2) a = 7.2071, which the handbooks round up to 7 1/4.
        shape = cut(square([[0, 0], [6, 6]], [[6, 0], [0, 6]], side=6), "full")["p1"]
        base = 6 + (2 + 2 * ROOT2) * QUARTER
        assert base == pytest.approx(7.2071, abs=5e-5)
        left, top, right, bottom = shape.bounds
        assert right - left == pytest.approx(base)
        assert bottom - top == pytest.approx(base / 2)

    def test_diamond_of_60_degrees(self) -> None:
        # Side 2: parallels stay 2 sin 60 + 2a apart, so the cut side is 2 + 2a / sin 60.
        slope = [1.0, ROOT3]
        outline = [[0, 0], [2, 0], [2 + slope[0], slope[1]], slope]
        block = block_from_pieces({"pieces": [{"id": "d", "outline": outline}]})
        shape = cut(block, "full")["d"]
        side = 2 + 2 * QUARTER / math.sin(math.radians(60))
        assert shape.length == pytest.approx(4 * side)
        assert shape.area == pytest.approx(side**2 * math.sin(math.radians(60)))
        # From the sharp point the tip reaches a / sin 30 = 2a beyond the finished corner.
        assert shapely.Point(0, 0).hausdorff_distance(shape) > 0
        tip = max(shape.exterior.coords, key=lambda p: -p[0] - p[1])
        assert math.hypot(*tip) == pytest.approx(2 * QUARTER)

    def test_blunt_diamond_of_60_degrees_is_as_long_as_wide_points_allow(self) -> None:
        outline = [[0, 0], [2, 0], [3, ROOT3], [1, ROOT3]]
        block = block_from_pieces({"pieces": [{"id": "d", "outline": outline}]})
        shape = cut(block, "blunt")["d"]
        way = (math.cos(math.radians(30)), math.sin(math.radians(30)))
        spans = [x * way[0] + y * way[1] for x, y in shape.exterior.coords]
        assert max(spans) - min(spans) == pytest.approx(2 * ROOT3 + 2 * QUARTER)

    def test_triangle_in_a_square_is_trimmed_level_with_the_block_at_its_peak(self) -> None:
        block = finished(catalogue.load("triangle-in-a-square"), width=6)
        shapes = Cut(block).cut
        whole = shapely.box(-0.25, -0.25, 6.25, 6.25).buffer(1e-6)
        assert all(whole.covers(shape) for shape in shapes.values())
        peak = min(shapes.values(), key=lambda s: abs(s.centroid.x - 3))
        at_top = [x for x, y in peak.exterior.coords if y < -0.25 + 1e-6]
        # Both sides rise 2 in 1; their parallels lie a * root 5 / 2 out at every height, so
        # a quarter inch above the finished peak the piece is no wider than this:
        plain = 2 * (QUARTER * math.sqrt(5) / 2 - QUARTER / 2)
        assert 0 < max(at_top) - min(at_top) <= plain


class TestFull:
    @pytest.mark.parametrize("name", CATALOGUE)
    def test_is_shapelys_mitred_buffer_over_the_catalogue(self, name: str) -> None:
        self.compare(catalogue.load(name))

    @settings(max_examples=60, deadline=None)
    @given(block=partitions.blocks())
    def test_is_shapelys_mitred_buffer_for_random_blocks(self, block: Block) -> None:
        self.compare(block)

    @staticmethod
    def compare(block: Block) -> None:
        shapes = Cut(block, QUARTER, "full")
        for name, shape in shapes.cut.items():
            if _sharpest(block, name) < 19.5:
                continue  # a point longer than 6 allowances: GEOS cuts it elsewhere
            expected = raw_edges.offset(shapes.finished[name], QUARTER)
            # At a sharp point a small difference of two curves reaches twice as far.
            slack = STRAIGHT if shapes.straight[name] else 2 * CURVED
            assert raw_edges.reach_outside(shape, expected) < slack
            assert raw_edges.reach_outside(expected, shape) < slack

    def test_point_longer_than_6_allowances_is_cut_off_square(self) -> None:
        block = square([[0, 0], [3, 0.5]])  # a point of 9.5 degrees
        shape = cut(block, "full")["p1"]
        half = math.atan2(0.5, 3) / 2
        way = (-math.cos(half), -math.sin(half))
        reach = max(x * way[0] + y * way[1] for x, y in shape.exterior.coords)
        assert reach == pytest.approx(6 * QUARTER)


def _sharpest(block: Block, name: str) -> float:
    seams = planar_map([p.outline for p in block.pieces])
    number = [p.id for p in block.pieces].index(name)
    corners = [c for runs in seams.around for run in runs for c in run if c.piece == number]
    return min(c.inner_angle for c in corners)


class TestCurves:
    def test_parallels_of_an_arc_are_arcs_of_the_radius_and_the_allowance(self) -> None:
        block = catalogue.load("drunkards-path")
        seams = planar_map([p.outline for p in block.pieces])
        result = cut_outlines(seams, order_of(block, seams), Allowance(), "matched")
        for piece, outline in zip(block.pieces, result.outlines, strict=True):
            arcs = [s for s in piece.outline if isinstance(s, paths.Curve)]
            ends = [arcs[0].start, arcs[-1].end]
            radius = max(abs(ends[0][0] - ends[1][0]), abs(ends[0][1] - ends[1][1]))
            curves = [s for s in outline if isinstance(s, paths.Curve)]
            assert curves, "the cut outline keeps real curves"
            middle = _centre_of(block)
            for curve in curves:
                for k in range(11):
                    at = math.dist(paths.point_at(curve, k / 10), middle)
                    assert min(abs(at - radius - QUARTER), abs(at - radius + QUARTER)) < 0.001

    def test_a_notch_narrower_than_its_allowances_closes_up(self) -> None:
        # A channel 0.3 in wide and 1 in deep: with 1/4 in from both sides nothing is left of it.
        outline = [[0, 0], [3, 0], [3, 1], [1, 1], [1, 1.3], [3, 1.3], [3, 3], [0, 3]]
        inside = [[1, 1], [3, 1], [3, 1.3], [1, 1.3]]
        block = block_from_pieces(
            {"pieces": [{"id": "c", "outline": outline}, {"id": "i", "outline": inside}]}
        )
        shape = cut(block, "full")["c"]
        assert shape.is_valid
        assert shape.area == pytest.approx(3.5**2)

    def test_a_bay_tighter_than_its_allowance_is_filled_by_it(self) -> None:
        path = "M0 0 L3 0 L3 3 L1.6 3 A0.1 0.1 0 0 0 1.4 3 L0 3 Z"
        bay = "M1.6 3 A0.1 0.1 0 0 0 1.4 3 Z"
        block = block_from_pieces({"pieces": [{"id": "a", "path": path}, {"id": "b", "path": bay}]})
        shape = cut(block, "full")["a"]
        assert shape.is_valid
        assert shape.covers(shapely.box(-0.24, -0.24, 3.24, 3.0))


def _centre_of(block: Block) -> tuple[float, float]:
    """The corner of the block round which a drunkard's path's seam runs."""
    arc = next(s for p in block.pieces for s in p.outline if isinstance(s, paths.Curve))
    seam = [s for s in block.pieces[0].outline if isinstance(s, paths.Curve)]
    start, end = seam[0].start, seam[-1].end
    candidates = [(start[0], end[1]), (end[0], start[1])]
    middle = paths.point_at(arc, 0.5)
    return min(candidates, key=lambda c: abs(math.dist(c, middle) - math.dist(c, start)))


@given(
    turns=st.floats(91, 160),
    widths=st.tuples(st.floats(0.1, 1.0), st.floats(0.1, 1.0)),
    part=st.floats(0.05, 0.95),
    reach=st.floats(0.01, 1.5),
)
def test_cut_that_would_take_allowance_is_moved_out_until_it_takes_none(
    turns: float, widths: tuple[float, float], part: float, reach: float
) -> None:
    leaves = (math.cos(math.radians(turns)), math.sin(math.radians(turns)))
    mitre = Mitre((1.0, 0.0), leaves, turns, *widths)
    way = math.radians(turns * part - 90.0)
    asked = HalfPlane((math.cos(way), math.sin(way)), reach)
    moved = mitre.moved_out(asked)
    assert moved.normal == asked.normal
    assert mitre.keeps_allowance(moved)
    if mitre.keeps_allowance(asked):
        assert moved.reach == pytest.approx(asked.reach)
    else:  # no further than it has to be
        assert not mitre.keeps_allowance(HalfPlane(moved.normal, moved.reach - 1e-6))


class TestEdgeAllowance:
    def test_outside_of_the_block_has_its_own_allowance(self) -> None:
        block = square([[1.5, 0], [1.5, 3]])
        seams = planar_map([p.outline for p in block.pieces])
        result = cut_outlines(seams, order_of(block, seams), Allowance(0.25, 1.0))
        left = Polygon(paths.ring(result.outlines[0]))
        assert left.bounds == pytest.approx((-1.0, -1.0, 1.75, 4.0))

    def test_matched_corners_agree_with_a_wider_edge(self) -> None:
        block = square([[3, 0], [0, 3]])
        seams = planar_map([p.outline for p in block.pieces])
        result = cut_outlines(seams, order_of(block, seams), Allowance(0.25, 0.5))
        first, second = (Polygon(paths.ring(o)) for o in result.outlines)
        room = shapely.box(-0.5, -0.5, 3.5, 3.5).buffer(1e-6)
        assert room.covers(first)
        assert room.covers(second)
        assert not result.mismatches

    def test_nothing_is_added_outside_where_the_edge_has_no_allowance(self) -> None:
        block = square([[1.5, 0], [1.5, 3]])
        seams = planar_map([p.outline for p in block.pieces])
        result = cut_outlines(seams, order_of(block, seams), Allowance(0.25, 0.0))
        left = Polygon(paths.ring(result.outlines[0]))
        assert left.bounds == pytest.approx((0.0, 0.0, 1.75, 3.0))


def check_cut(shapes: Cut) -> None:
    """What holds of every matched outline, each property measured by itself."""
    straight = all(shapes.straight.values())
    slack = STRAIGHT if straight else CURVED
    assert max(raw_edges.outside_own_offset(shapes).values()) < slack, "(i)"
    assert max(raw_edges.lost_corners(shapes).values(), default=0.0) < 1e-6, "(ii)"
    reported = {(m.join, shapes.seams.points[m.point]): m for m in shapes.result.mismatches}
    for seam_end, ((first, one), (second, other)) in raw_edges.raw_ends(shapes).items():
        mismatch = reported.get(seam_end)
        if mismatch is None:
            assert abs(one - other) <= 0.002, f"(iii) at {seam_end}"
            continue
        assert abs(one - other) > 0.002, "(iii) a mismatch that is reported is one"
        if mismatch.cause != "runs-on":
            ends = {first: one - other, second: other - one}
            assert ends[shapes.ids[mismatch.longer]] > 0
            assert mismatch.by == pytest.approx(ends[shapes.ids[mismatch.piece]], abs=slack)
    assert max(raw_edges.lost_allowance(shapes).values()) < slack, "(iv)"
    assert max(raw_edges.dents(shapes).values(), default=0.0) < slack, "(v)"


def check_matched_each(shapes: Cut) -> None:
    """The five properties of outlines that are matched piece by piece."""
    check_cut(shapes)
    slack = STRAIGHT if all(shapes.straight.values()) else CURVED
    assert max(raw_edges.ears(shapes).values(), default=0.0) < slack, "(ii)"
    for mismatch in shapes.result.mismatches:
        if mismatch.cause == "whole-corner":
            at = shapes.seams.points[mismatch.point]
            angle = raw_edges.corner_at(shapes, shapes.ids[mismatch.longer], at)
            assert angle >= raw_edges.RIGHT, "(iii) every point is trimmed"
        assert mismatch.cause != "shared-shape"


def check_matched(shapes: Cut) -> None:
    """The same, but for ears, where like pieces are cut alike."""
    check_cut(shapes)
    assert max(raw_edges.unlike(shapes), default=0.0) < 0.01, "(vi)"


class TestMatched:
    @pytest.mark.parametrize("name", CATALOGUE)
    def test_properties_hold_for_the_catalogue_at_drawn_size(self, name: str) -> None:
        check_matched_each(Cut(catalogue.load(name), corners="matched-each"))

    @pytest.mark.parametrize("name", CATALOGUE)
    def test_properties_hold_for_the_catalogue_at_4_inches(self, name: str) -> None:
        block = finished(catalogue.load(name), width=4)
        check_matched_each(Cut(block, corners="matched-each"))

    @settings(max_examples=110, deadline=None)
    @given(block=partitions.blocks())
    def test_properties_hold_for_random_blocks(self, block: Block) -> None:
        check_matched_each(Cut(block, corners="matched-each"))

    @settings(max_examples=30, deadline=None)
    @given(block=partitions.blocks())
    def test_properties_hold_for_an_allowance_of_an_inch(self, block: Block) -> None:
        check_matched_each(Cut(block, 1.0, "matched-each"))

    @settings(max_examples=60, deadline=None)
    @given(block=partitions.straight_blocks())
    def test_points_always_match_where_all_seams_are_straight(self, block: Block) -> None:
        mismatches = Cut(block, corners="matched-each").result.mismatches
        assert {m.cause for m in mismatches} <= {"whole-corner"}

    @pytest.mark.parametrize("name", [n for n in CATALOGUE if n != "bright-hopes"])
    def test_points_match_at_every_seam_of_the_catalogue(self, name: str) -> None:
        mismatches = Cut(catalogue.load(name), corners="matched-each").result.mismatches
        assert {m.cause for m in mismatches} <= {"whole-corner"}

    def test_partial_seams_are_told(self) -> None:
        # Four rectangles round a square: the first seam stops in the middle of an edge.
        assert Cut(catalogue.load("bright-hopes")).result.mismatches

    def test_seam_order_changes_which_point_is_trimmed(self) -> None:
        outline = {
            "a": [[0, 0], [3, 0], [0, 3]],
            "b": [[3, 0], [3, 3], [0, 3]],
            "c": [[3, 0], [6, 0], [6, 3], [3, 3]],
        }
        pieces = [{"id": k, "outline": v} for k, v in outline.items()]
        block = block_from_pieces({"pieces": pieces, "joins": [["a", "b"], "c"]})
        check_matched(Cut(block))
        assert Cut(block).cut["b"].bounds == pytest.approx((-0.25, -0.25, 3.25, 3.25))

    def test_strips_narrower_than_their_allowance_stay_inside_what_they_are_sewn_into(self) -> None:
        # A leaning chain of strips, whose points cross several neighbours; Shapely's mitred
        # buffer of all that is sewn so far is the plain offset.
        lean, wide, count = 1.2, 0.1, 9
        pieces = [
            {
                "id": f"s{k}",
                "outline": [
                    [k * wide, 0],
                    [(k + 1) * wide, 0],
                    [(k + 1) * wide + lean, 3],
                    [k * wide + lean, 3],
                ],
            }
            for k in range(count)
        ]
        joins: object = "s0"
        for k in range(1, count):
            joins = [joins, f"s{k}"]
        block = block_from_pieces({"pieces": pieces, "joins": joins})
        shapes = cut(block, "matched")
        for k in range(1, count):
            sewn = shapely.union_all(
                [Polygon(paths.ring(p.outline)) for p in block.pieces[: k + 1]]
            )
            around = sewn.buffer(QUARTER + STRAIGHT, join_style="mitre", mitre_limit=10)
            assert all(around.covers(shapes[f"s{i}"]) for i in range(k + 1))

    def test_a_block_is_cut_the_same_wherever_it_lies(self) -> None:
        # Corners of one shape share what is worked out for them: they must not share their place.
        block = catalogue.load("ohio-star")
        moved = [
            {"id": p.id, "outline": [[x + 5, y + 7] for x, y in paths.ring(p.outline)]}
            for p in block.pieces
        ]
        here, there = cut(block, "matched"), cut(block_from_pieces({"pieces": moved}), "matched")
        for id, shape in here.items():
            assert shapely.affinity.translate(shape, 5, 7).equals_exact(there[id], 1e-9)

    def test_nothing_is_trimmed_from_squares(self) -> None:
        shapes = Cut(catalogue.load("nine-patch"))
        for name, shape in shapes.cut.items():
            plain = raw_edges.offset(shapes.finished[name], QUARTER)
            assert shape.symmetric_difference(plain).area < 1e-9
