"""Templates: counts, match points, notches, cautions."""

from __future__ import annotations

import itertools
import math

import pytest
from shapely.geometry import LineString, Point, Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import finished
from piecewright.patchwork.block.read import block_from_drawing, block_from_pieces
from piecewright.patchwork.cutting.templates import TemplateSet, template_set
from piecewright.patchwork.geometry import paths

CATALOGUE = [entry.id for entry in catalogue.entries()]


def templates_of(name: str, width: float | None = None) -> TemplateSet:
    block = catalogue.load(name)
    return template_set(finished(block, width=width) if width else block, Allowance())


@pytest.mark.parametrize("name", CATALOGUE)
def test_every_piece_is_cut_exactly_once(name: str) -> None:
    found = templates_of(name)
    counted = sum(cut.plain + cut.reversed for t in found.templates for cut in t.cuts)
    assert counted == len(found.pieces) == len(found.block.pieces)
    named = sorted(itertools.chain.from_iterable(t.pieces for t in found.templates))
    assert named == sorted(p.id for p in found.block.pieces)


@pytest.mark.parametrize("name", CATALOGUE)
def test_counts_by_fabric_are_those_of_the_block(name: str) -> None:
    found = templates_of(name)
    counts: dict[str | None, int] = {}
    for template in found.templates:
        for cut in template.cuts:
            counts[cut.fabric] = counts.get(cut.fabric, 0) + cut.plain + cut.reversed
    fabrics = [p.fabric for p in found.block.pieces]
    assert counts == {fabric: fabrics.count(fabric) for fabric in set(fabrics)}


@pytest.mark.parametrize("name", CATALOGUE)
def test_template_has_the_area_of_each_of_its_pieces(name: str) -> None:
    found = templates_of(name)
    by_id = {t.id: t for t in found.templates}
    for piece in found.pieces:
        template = by_id[piece.template]
        assert paths.area(piece.cut) == pytest.approx(paths.area(template.cut), rel=2e-3)
        assert paths.area(piece.finished) == pytest.approx(paths.area(template.finished), rel=2e-3)


@pytest.mark.parametrize("name", CATALOGUE)
def test_template_touches_both_axes(name: str) -> None:
    for template in templates_of(name).templates:
        left, top, _, _ = Polygon(paths.ring(template.cut)).bounds
        assert left == pytest.approx(0, abs=1e-9)
        assert top == pytest.approx(0, abs=1e-9)


class TestCounts:
    """Common practice of the trade."""

    def test_nine_patch_needs_one_template(self) -> None:
        (template,) = templates_of("nine-patch").templates
        assert sum(cut.plain for cut in template.cuts) == 9
        assert sum(cut.reversed for cut in template.cuts) == 0

    def test_pinwheel_needs_one_triangle_of_two_fabrics(self) -> None:
        (template,) = templates_of("pinwheel").templates
        assert [(cut.plain, cut.reversed) for cut in template.cuts] == [(4, 0), (4, 0)]

    def test_side_pieces_of_a_triangle_in_a_square_are_a_mirrored_pair(self) -> None:
        block = catalogue.load("triangle-in-a-square")
        full = template_set(block, Allowance(), "full")
        counts = sorted((c.plain, c.reversed) for t in full.templates for c in t.cuts)
        assert counts == [(1, 0), (1, 1)]

    def test_diamonds_of_an_eight_point_star_share_a_template(self) -> None:
        found = template_set(catalogue.load("eight-point-star"), Allowance(), "full")
        assert sorted(len(t.pieces) for t in found.templates) == [4, 4, 8]

    def test_letters_go_on_after_z(self) -> None:
        lines = [[[x, 0], [x, 6]] for x in _uneven(28)]
        frame = [[0, 0], [60, 0], [60, 6], [0, 6]]
        found = template_set(
            block_from_drawing({"frame": frame, "lines": lines}), Allowance(), "full"
        )
        assert [t.id for t in found.templates][-3:] == ["Z", "AA", "AB"]


def _uneven(count: int) -> list[float]:
    """Places of lines that make ``count`` strips, each a little wider than the one before."""
    places = list(itertools.accumulate(1 + k / 16 for k in range(count - 1)))
    assert places[-1] < 59
    return places


class TestMatchPoints:
    def test_are_where_three_pieces_meet_or_two_and_the_outside(self) -> None:
        frame = [[0, 0], [4, 0], [4, 4], [0, 4]]
        lines = [[[0, 2], [4, 2]], [[2, 2], [2, 4]]]
        found = template_set(block_from_drawing({"frame": frame, "lines": lines}), Allowance())
        points = {p.id: set(p.match_points) for p in found.pieces}
        assert points["p1"] == {(0, 2), (4, 2), (2, 2)}
        assert points["p2"] == {(0, 2), (2, 2), (2, 4)}
        assert points["p3"] == {(4, 2), (2, 2), (2, 4)}

    def test_pivot_of_a_set_in_seam_is_marked(self) -> None:
        found = template_set(
            block_from_pieces(
                {
                    "pieces": [
                        {"id": "l", "outline": [[0, 0], [4, 0], [4, 2], [2, 2], [2, 4], [0, 4]]},
                        {"id": "s", "outline": [[2, 2], [4, 2], [4, 4], [2, 4]]},
                    ]
                }
            ),
            Allowance(),
        )
        for piece in found.pieces:
            assert (2, 2) in piece.match_points

    def test_lie_on_the_finished_outline(self) -> None:
        for name in CATALOGUE:
            for piece in templates_of(name).pieces:
                for p in piece.match_points:
                    assert min(paths.nearest(s, p)[1] for s in piece.finished) < 1e-6


class TestNotches:
    def test_both_pieces_of_a_curved_seam_have_the_same(self) -> None:
        pie, ground = templates_of("drunkards-path", 6).templates
        assert len(pie.notches) == len(ground.notches) > 0

    def test_divide_the_seam_evenly(self) -> None:
        found = templates_of("drunkards-path", 6)
        for template in found.templates:
            curve = [s for s in template.finished if isinstance(s, paths.Curve)]
            ends = (curve[0].start, curve[-1].end)
            spots = [ends[0], *(n.at for n in template.notches), ends[1]]
            along = sorted(_along(curve, p) for p in spots)
            parts = [b - a for a, b in itertools.pairwise(along)]
            assert max(parts) - min(parts) < 0.005
            assert max(parts) <= 2.0

    def test_point_from_the_seam_to_the_raw_edge(self) -> None:
        for template in templates_of("drunkards-path", 6).templates:
            raw = Polygon(paths.ring(template.cut, 1e-5)).exterior
            for notch in template.notches:
                end = (
                    notch.at[0] + notch.away * notch.out[0],
                    notch.at[1] + notch.away * notch.out[1],
                )
                assert raw.distance(Point(end)) < 0.001

    def test_straight_seams_have_none(self) -> None:
        assert all(not t.notches for t in templates_of("sawtooth-star").templates)


def _along(curve: list[paths.Curve], point: tuple[float, float]) -> float:
    line = LineString([*paths.ring(curve, 1e-6), curve[-1].end])
    return float(line.project(Point(point)))


class TestCautions:
    def codes(self, found: TemplateSet) -> list[str]:
        return [c.code for c in found.cautions]

    def test_block_of_the_trade_at_its_usual_size_has_none(self) -> None:
        assert self.codes(templates_of("sawtooth-star", 12)) == []

    def test_piece_narrower_than_twice_its_allowance_is_told(self) -> None:
        frame = [[0, 0], [6, 0], [6, 6], [0, 6]]
        narrow = block_from_drawing({"frame": frame, "lines": [[[0, 0.45], [6, 0.45]]]})
        (caution,) = template_set(narrow, Allowance()).cautions
        assert caution.code == "narrow-piece"
        assert "'p1'" in caution.detail
        assert caution.pointer == "/block/pieces/0"
        assert caution.at is not None
        assert 0 < caution.at[1] < 0.45

    def test_piece_of_just_twice_its_allowance_is_not(self) -> None:
        frame = [[0, 0], [6, 0], [6, 6], [0, 6]]
        strip = block_from_drawing({"frame": frame, "lines": [[[0, 0.5], [6, 0.5]]]})
        assert self.codes(template_set(strip, Allowance())) == []

    def test_point_sharper_than_20_degrees_is_told_with_its_place(self) -> None:
        frame = [[0, 0], [6, 0], [6, 6], [0, 6]]
        wedge = block_from_drawing({"frame": frame, "lines": [[[0, 0], [6, 2]]]})
        sharp = [c for c in template_set(wedge, Allowance()).cautions if c.code == "sharp-point"]
        assert [c.at for c in sharp] == [(0, 0)]
        assert "18 degrees" in sharp[0].detail
        assert math.degrees(math.atan2(2, 6)) == pytest.approx(18.43, abs=0.01)

    def test_partial_seam_is_told_with_its_units(self) -> None:
        found = [c for c in templates_of("bright-hopes").cautions if c.code == "raw-edges"]
        assert found
        assert all("match point" in c.detail and c.at is not None for c in found)

    @pytest.mark.parametrize("name", ["bow-tie", "storm-at-sea"])
    def test_tips_that_stand_out_of_templates_that_are_shared_are_no_caution(
        self, name: str
    ) -> None:
        # The sewing plan says how they lie; nothing is wrong with the block.
        found = templates_of(name, 12)
        assert any(t.centre_marks for t in found.templates)
        assert "raw-edges" not in self.codes(found)

    def test_drawing_points_to_the_block(self) -> None:
        frame = [[0, 0], [6, 0], [6, 6], [0, 6]]
        narrow = block_from_drawing({"frame": frame, "lines": [[[0, 0.45], [6, 0.45]]]})
        (caution,) = template_set(narrow, Allowance(), pieces_pointer=None).cautions
        assert caution.pointer == "/block"
