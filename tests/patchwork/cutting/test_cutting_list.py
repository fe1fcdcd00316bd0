"""Cutting lists, by hand: each worked example shows its arithmetic.

The additions for rotary cutting (+ 1/2, + 7/8 and + 1 1/4 in at a 1/4 in allowance) are common
practice of the trade, quoted from memory; the formulas that they round are geometry.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import Block, finished
from piecewright.patchwork.block.read import block_from_pieces
from piecewright.patchwork.cutting.borders import Binding, Border
from piecewright.patchwork.cutting.cutting_list import (
    Cloth,
    Cut,
    CuttingList,
    FabricCuts,
    Quilt,
    cutting_list,
)
from piecewright.patchwork.cutting.rotary import ruler
from piecewright.patchwork.cutting.templates import TemplateSet, template_set
from piecewright.patchwork.cutting.wording import edging_text, note, strip_text
from piecewright.patchwork.faults import BlockError
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.polygons import polygon_of

CATALOGUE = [entry.id for entry in catalogue.entries()]
ROOT2 = math.sqrt(2)


def list_of(
    block: str | Block,
    width: float | None = None,
    allowance: Allowance | None = None,
    cloth: Cloth | None = None,
    quilt: Quilt | None = None,
) -> CuttingList:
    if isinstance(block, str) and width is None and allowance is None:
        return cutting_list(_templates(block), cloth, quilt)
    block = catalogue.load(block) if isinstance(block, str) else block
    block = finished(block, width=width) if width else block
    return cutting_list(template_set(block, allowance or Allowance()), cloth, quilt)


@cache
def _templates(name: str) -> TemplateSet:
    return template_set(catalogue.load(name), Allowance())


def fabric_of(found: CuttingList, id: str) -> FabricCuts:
    return next(f for f in found.fabrics if f.fabric == id)


def described(cut: Cut) -> tuple[str, tuple[float, float], int, int]:
    return cut.shape, cut.cut, cut.count, cut.blanks


def one_piece(points: list[list[float]], **more: object) -> Block:
    """A block of one patch, of fabric ``f``."""
    return block_from_pieces(
        {
            "name": "one",
            "pieces": [{"id": "a", "outline": points, "fabric": "f", **more}],
            "fabrics": [{"id": "f", "name": "F", "colour": "#123456"}],
        }
    )


class TestHandbook:
    """With a = 1/4 in: + 1/2, + 7/8, + 1 1/4 in (common practice, from memory)."""

    @pytest.mark.parametrize("s", [1, 1.5, 2, 2.5, 3, 4, 6, 7.75])
    def test_square(self, s: float) -> None:
        (fabric,) = list_of(one_piece([[0, 0], [s, 0], [s, s], [0, s]])).fabrics
        assert described(fabric.cuts[0]) == ("square", (s + 1 / 2, s + 1 / 2), 1, 1)
        assert not fabric.cuts[0].trim

    @pytest.mark.parametrize("s", [1, 1.5, 2, 2.5, 3, 4, 6, 7.75])
    def test_half_square_triangle(self, s: float) -> None:
        # A leg is the longest side at the outside that lies on the grain given: 0 degrees.
        (fabric,) = list_of(one_piece([[0, 0], [s, 0], [0, s]], grain=0)).fabrics
        (cut,) = fabric.cuts
        assert described(cut) == ("half-square triangle", (s + 7 / 8, s + 7 / 8), 1, 1)
        assert cut.exact[0] == pytest.approx(s + (2 + ROOT2) / 4)  # + 0.8536
        assert not cut.trim  # 0.875 - 0.8536 = 0.0214 < 1/32

    @pytest.mark.parametrize("s", [2, 3, 4, 6, 7.75])
    def test_quarter_square_triangle(self, s: float) -> None:
        # The longest side at the outside is the long one, so that it lies on the grain.
        (fabric,) = list_of(one_piece([[0, 0], [s, 0], [s / 2, s / 2]])).fabrics
        (cut,) = fabric.cuts
        assert described(cut) == ("quarter-square triangle", (s + 5 / 4, s + 5 / 4), 1, 1)
        assert cut.exact[0] == pytest.approx(s + (2 + 2 * ROOT2) / 4)  # + 1.2071
        assert cut.trim  # 1.25 - 1.2071 = 0.0429 > 1/32

    @pytest.mark.parametrize(
        ("allowance", "square", "half", "quarter"),
        [
            (0.75, 1.5, 2.6, 3.7),  # half: + 2.561; quarter: + 3.621 cm
            (1.0, 2.0, 3.5, 4.9),  # half: + 3.414; quarter: + 4.828 cm
        ],
    )
    def test_metric(self, allowance: float, square: float, half: float, quarter: float) -> None:
        wide = Allowance(allowance / 2.54, allowance / 2.54)
        for points, grain, more in (
            ([[0, 0], [10, 0], [10, 10], [0, 10]], "auto", square),
            ([[0, 0], [10, 0], [0, 10]], 0, half),
            ([[0, 0], [10, 0], [5, 5]], "auto", quarter),
        ):
            piece = {"id": "a", "outline": points, "grain": grain}
            block = block_from_pieces({"name": "one", "unit": "cm", "pieces": [piece]})
            (cut,) = list_of(block, allowance=wide).fabrics[0].cuts
            assert cut.cut[0] * 2.54 == pytest.approx(10 + more)

    def test_another_step_is_rounded_up_to(self) -> None:
        block = one_piece([[0, 0], [3, 0], [0, 3]], grain=0)  # + 0.854 in
        templates = template_set(block, Allowance())
        for step, side in ((1 / 16, 3.875), (1 / 4, 4.0), (1 / 2, 4.0)):
            (fabric,) = cutting_list(templates, rule=ruler("in", step)).fabrics
            assert fabric.cuts[0].cut[0] == side

    def test_rounding_up_says_trim_beyond_a_thirty_second(self) -> None:
        for over, trim in ((3 / 32, False), (0.09, True)):
            s = 3 + over
            (fabric,) = list_of(one_piece([[0, 0], [s, 0], [s, s], [0, s]])).fabrics
            assert fabric.cuts[0].cut[0] == 3.625
            assert fabric.cuts[0].trim is trim
            assert ("trim to size" in note(fabric.cuts[0], "in")) is trim

    def test_ruler_does_not_round_up_what_the_tolerance_forgives(self) -> None:
        assert ruler("in").up(3.503) == 3.5
        assert ruler("in").up(3.505) == 3.625


class TestWorkedExamples:
    def test_nine_patch_of_nine_inches(self) -> None:
        found = list_of("nine-patch", 9)
        dark, light = fabric_of(found, "dark"), fabric_of(found, "light")
        # 3 + 1/2 = 3 1/2 in; 40 / 3.5 = 11 to a strip: one strip each.
        assert [described(c) for c in dark.cuts] == [("square", (3.5, 3.5), 5, 5)]
        assert [described(c) for c in light.cuts] == [("square", (3.5, 3.5), 4, 4)]
        assert [(s.width, s.count, s.parts[0].count) for s in dark.strips] == [(3.5, 1, 5)]
        assert dark.length == light.length == 3.5
        # 3.5 * 1.05 / 0.97 = 3.789 in; an eighth of a yard is 4.5 in.
        assert str(dark.yardage) == "1/8 yd"

    def test_twenty_sawtooth_stars_of_twelve_inches(self) -> None:
        found = list_of("sawtooth-star", 12, quilt=Quilt(blocks=20))
        background, dark = fabric_of(found, "background"), fabric_of(found, "dark")
        accent = fabric_of(found, "accent")
        # 4 geese each: 80 triangles, 4 of a square 6 + 1 1/4 = 7 1/4; 80 corners 3 1/2.
        assert [described(c) for c in background.cuts] == [
            ("quarter-square triangle", (7.25, 7.25), 80, 20),
            ("square", (3.5, 3.5), 80, 80),
        ]
        # 40 / 7.25 = 5: 4 strips; 40 / 3.5 = 11: 8 strips; 4 * 7.25 + 8 * 3.5 = 57 in.
        assert [(s.width, s.count) for s in background.strips] == [
            (7.25, 4), (3.5, 7), (3.5, 1),
        ]  # fmt: skip
        assert background.length == 57
        # 57 * 1.05 / 0.97 = 61.70 in = 13.71 eighths of a yard -> 14.
        assert str(background.yardage) == "1 3/4 yd"
        # 8 points each: 160 triangles, 2 of a square 3 7/8; 10 to a strip: 8 strips, 31 in.
        assert [described(c) for c in dark.cuts] == [
            ("half-square triangle", (3.875, 3.875), 160, 80)
        ]
        assert dark.length == 8 * 3.875
        # 20 centres of 6 1/2 in, 6 to a strip: 4 strips.
        assert [described(c) for c in accent.cuts] == [("square", (6.5, 6.5), 20, 20)]
        assert accent.length == 4 * 6.5

    def test_ohio_star_of_nine_inches(self) -> None:
        found = list_of("ohio-star", 9)
        # Every triangle is a quarter of a square of 3 + 1 1/4 = 4 1/4 in.
        assert [described(c) for c in fabric_of(found, "background").cuts] == [
            ("quarter-square triangle", (4.25, 4.25), 4, 1),
            ("square", (3.5, 3.5), 4, 4),
        ]
        assert [described(c) for c in fabric_of(found, "dark").cuts] == [
            ("quarter-square triangle", (4.25, 4.25), 8, 2),
            ("square", (3.5, 3.5), 1, 1),
        ]
        assert [described(c) for c in fabric_of(found, "accent").cuts] == [
            ("quarter-square triangle", (4.25, 4.25), 4, 1),
        ]

    def test_flying_geese_of_three_by_six_inches(self) -> None:
        found = list_of("flying-geese", 6)
        # Geese 6 + 1 1/4 = 7 1/4; four squares of sky, 3 + 7/8 = 3 7/8, make eight triangles.
        assert [described(c) for c in fabric_of(found, "background").cuts] == [
            ("half-square triangle", (3.875, 3.875), 8, 4)
        ]
        assert [described(c) for c in fabric_of(found, "dark").cuts] == [
            ("quarter-square triangle", (7.25, 7.25), 1, 1)
        ]
        assert note(fabric_of(found, "dark").cuts[0], "in") == (
            "cut twice corner to corner; 3 left over; trim to size"
        )

    def test_diamonds_of_the_eight_point_star(self) -> None:
        found = list_of("eight-point-star", 12)
        (cut,) = fabric_of(found, "dark").cuts
        # Side 12 / (2 + √2) = 3.5147; high 3.5147 sin 45 = 2.4853; + 1/2 = 2.9853 -> 3 in.
        assert (cut.shape, cut.name, cut.source, cut.cut) == (
            "template",
            "diamond",
            "strip",
            (3, 3),
        )
        # One takes 3 / sin 45 = 4.2426 of a strip, and 3 in are lost at the slant:
        # (40 - 3) / 4.2426 = 8.7.
        (strip,) = fabric_of(found, "dark").strips
        assert (strip.count, strip.parts[0].count) == (1, 4)
        assert strip.used == pytest.approx(4 * 3 * ROOT2 + 3)
        many = list_of("eight-point-star", 12, quilt=Quilt(blocks=2))
        assert [s.parts[0].count for s in fabric_of(many, "dark").strips] == [8]
        assert "cut at 45°" in note(cut, "in")

    def test_trapezoids_of_attic_windows_are_turned_to_and_fro(self) -> None:
        found = list_of("attic-windows")
        (cut,) = fabric_of(found, "light").cuts
        # Finished 6 and 4 along the sides, 2 high.  Cut: 2 + 1/2 wide.  The long side: 6 +
        # 1/4 at the square end, + 0.25 √2 at the slant, + 1/4 as it lies 1/4 in further out.
        assert cut.exact == pytest.approx((6 + 0.25 + 0.25 * ROOT2 + 0.25, 2.5))
        assert (cut.name, cut.cut) == ("trapezoid", (6.875, 2.5))

    def test_sixty_degree_triangles_take_half_their_base(self) -> None:
        s, high = 4.0, 4.0 * math.sqrt(3) / 2
        (fabric,) = list_of(one_piece([[0, high], [s / 2, 0], [s, high]])).fabrics
        (cut,) = fabric.cuts
        # The plain offset of a triangle adds 3 a to its height: 3.4641 + 0.75 = 4.2141 -> 4.25.
        assert cut.name == "triangle"
        assert cut.exact[1] == pytest.approx(high + 0.75)
        assert cut.cut[1] == 4.25
        assert cut.slant is not None
        assert cut.slant.advance == pytest.approx(4.25 / math.sqrt(3))
        # n triangles end on (n + 1) half bases: 40 / 2.4537 = 16.3, so 15.
        assert cut.slant.per_strip(40) == 15

    def test_a_triangle_too_sharp_for_a_ruler_is_cut_by_its_template(self) -> None:
        # The long sides of b differ by half a degree: on a strip they would never meet.
        outlines = {
            "a": [[-3, 2.7], [3.06, 5.37], [3.06, 8.7]],
            "b": [[-3, 2.7], [3.06, 8.7], [3.06, 8.76]],
            "c": [[-3, 2.7], [3.06, 8.76], [-3, 8.76]],
        }
        pieces = [{"id": id, "outline": outline} for id, outline in outlines.items()]
        (fabric,) = list_of(block_from_pieces({"pieces": pieces})).fabrics
        assert [cut.shape for cut in fabric.cuts].count("template") == 2

    @pytest.mark.parametrize("angle", [30, 45, 60])
    @pytest.mark.parametrize("reversed_", [False, True])
    def test_parallelograms(self, angle: int, reversed_: bool) -> None:
        lean = 3 / math.tan(math.radians(angle))
        points = [[lean, 0.0], [lean + 5, 0.0], [5.0, 3.0], [0.0, 3.0]]
        if reversed_:
            points = [[-x, y] for x, y in points]
        (fabric,) = list_of(one_piece(points, grain=90)).fabrics
        (cut,) = fabric.cuts
        assert cut.name == "parallelogram"
        # 3 + 1/2 wide; cuts 5 sin + 1/2 apart, square to them.
        exact = (5 * math.sin(math.radians(angle)) + 0.5, 3.5)
        assert cut.exact == pytest.approx(exact)
        assert cut.slant is not None
        assert cut.slant.angles[0] == (angle if reversed_ else 180 - angle)
        assert ("leaning like \\" if reversed_ else "leaning like /") in note(cut, "in")

    def test_a_parallelogram_and_its_mirror_image_are_cut_apart(self) -> None:
        found = list_of(
            block_from_pieces(
                {
                    "name": "chevron",
                    "pieces": [
                        {"id": "a", "outline": [[0, 0], [5, 0], [8, 3], [3, 3]]},
                        {"id": "b", "outline": [[3, 3], [8, 3], [5, 6], [0, 6]]},
                    ],
                }
            )
        )
        cuts = found.fabrics[0].cuts
        assert [(c.name, c.count, c.reversed) for c in cuts] == [
            ("parallelogram", 1, 0),
            ("parallelogram", 1, 1),
        ]
        assert [strip.count for strip in found.fabrics[0].strips] == [1, 1]
        assert "with the strip face down" in note(cuts[1], "in")

    def test_a_shape_with_other_angles_is_a_template(self) -> None:
        (fabric,) = list_of(one_piece([[0, 3], [2, 0], [5, 0], [6, 3]])).fabrics
        assert [(c.shape, c.source) for c in fabric.cuts] == [("template", "template")]
        assert fabric.length >= 3.5


class TestGrain:
    def test_a_square_on_the_bias_is_a_template(self) -> None:
        (fabric,) = list_of(one_piece([[0, 0], [3, 0], [3, 3], [0, 3]], grain=45)).fabrics
        assert fabric.cuts[0].source == "template"

    def test_given_grain_lies_along_the_cloth(self) -> None:
        points: list[list[float]] = [[0, 0], [6, 0], [6, 3], [0, 3]]
        # Strips are cut across, so what lies along the cloth is the strip's width.
        for grain, strip, along in ((0, 6.5, 3.5), (90, 3.5, 6.5)):
            (fabric,) = list_of(one_piece(points, grain=grain)).fabrics
            assert fabric.strips[0].width == strip
            assert fabric.strips[0].parts[0].length == along

    def test_directional_fabric_keeps_the_length_along_the_cloth(self) -> None:
        block = one_piece([[0, 0], [6, 0], [6, 3], [0, 3]])
        (plain,) = list_of(block).fabrics
        assert plain.strips[0].width == 3.5
        (printed,) = list_of(block, cloth=Cloth(directional=frozenset({"f"}))).fabrics
        assert printed.strips[0].width == 6.5
        assert printed.cuts[0].lengthwise == 0

    def test_half_of_a_square_cut_twice_serves_a_one_way_print(self) -> None:
        found = list_of("ohio-star", 9, cloth=Cloth(directional=frozenset({"accent"})))
        # Two of every four triangles have their long side along the cloth: 2 squares for 4.
        (cut,) = fabric_of(found, "accent").cuts
        assert described(cut) == ("quarter-square triangle", (4.25, 4.25), 4, 2)
        assert "use the two with the long side along the cloth" in note(cut, "in")
        assert fabric_of(found, "dark").cuts[0].blanks == 2

    @pytest.mark.parametrize(("grain", "where"), [(0, "along"), (90, "across")])
    def test_given_grain_of_a_triangle_cut_twice(self, grain: int, where: str) -> None:
        (fabric,) = list_of(one_piece([[0, 0], [4, 0], [2, 2]], grain=grain)).fabrics
        assert fabric.cuts[0].shape == "quarter-square triangle"
        assert f"long side {where} the cloth" in note(fabric.cuts[0], "in")

    def test_mirrored_triangles_with_a_given_grain_are_cut_along_the_other_diagonal(self) -> None:
        pieces = [
            {"id": "a", "outline": [[0, 0], [3, 0], [0, 3]], "grain": 90},
            {"id": "b", "outline": [[3, 0], [3, 3], [0, 3]], "grain": 90},
            {"id": "c", "outline": [[3, 0], [6, 0], [6, 3]], "grain": 90},
            {"id": "d", "outline": [[3, 0], [6, 3], [3, 3]], "grain": 90},
        ]
        found = list_of(block_from_pieces({"name": "kite", "pieces": pieces}))
        # Turned half round a is like b, and c like d; the two pairs are mirror images.
        told_ = [(c.shape, c.count, c.blanks, c.reversed) for c in found.fabrics[0].cuts]
        assert told_ == [
            ("half-square triangle", 2, 1, 0),
            ("half-square triangle", 2, 1, 2),
        ]
        assert "the other diagonal" in note(found.fabrics[0].cuts[1], "in")

    def test_free_grain_goes_either_way(self) -> None:
        (fabric,) = list_of(one_piece([[0, 0], [4, 0], [2, 2]], grain="free")).fabrics
        assert fabric.cuts[0].shape == "half-square triangle"


class TestEdgeAllowance:
    """a = 1/4 in at seams, 1/2 in at the outside of the block."""

    def test_nine_patch_has_three_sizes(self) -> None:
        found = list_of("nine-patch", 9, Allowance(0.25, 0.5))
        cuts = {described(c)[:3] for f in found.fabrics for c in f.cuts}
        assert cuts == {
            ("square", (3.75, 3.75), 4),  # corners: 3 + 1/4 + 1/2 both ways
            ("rectangle", (3.75, 3.5), 4),  # sides: one edge outside
            ("square", (3.5, 3.5), 1),  # the centre
        }

    def test_half_square_triangles_with_one_leg_outside(self) -> None:
        found = list_of("flying-geese", 6, Allowance(0.25, 0.5))
        by_cut = {c.exact[0]: c.count for c in fabric_of(found, "background").cuts}
        # s + l + m + √2 h: six have one leg outside, the two at the top have both.
        one = 3 + 0.25 + 0.5 + 0.25 * ROOT2
        expected = {one: 6, one + 0.25: 2}
        assert sorted(by_cut) == pytest.approx(sorted(expected))
        assert [by_cut[k] for k in sorted(by_cut)] == [6, 2]

    @pytest.mark.parametrize("name", CATALOGUE)
    def test_a_blank_holds_every_cut_outline(self, name: str) -> None:
        """Whatever is cut from strips is at least as large as the templates it stands for."""
        for allowance in (Allowance(0.25, 0.5), Allowance(0.25, 0.0)):
            found = list_of(name, allowance=allowance)
            areas = {t.id: paths.area(t.cut) for t in found.templates.templates}
            for fabric in found.fabrics:
                for cut in fabric.cuts:
                    if cut.source == "template":
                        continue
                    area = cut.cut[0] * cut.cut[1] / cut.yields
                    if cut.slant is not None:
                        area = cut.slant.advance * cut.slant.width
                    assert all(area >= areas[t] - 0.05 for t in cut.templates)


@pytest.mark.parametrize("name", CATALOGUE)
def test_what_is_cut_without_rounding_is_the_plain_offset(name: str) -> None:
    """Shapely's mitred buffer is the reference for the patch with its allowance all round."""
    found = list_of(name)
    outlines = {t.id: polygon_of(t.finished) for t in found.templates.templates}
    for cut in (c for f in found.fabrics for c in f.cuts if c.source == "strip"):
        offset = outlines[cut.templates[0]].buffer(0.25, join_style="mitre", mitre_limit=50).area
        share = {"half-square triangle": 2, "quarter-square triangle": 4}.get(cut.shape, 1)
        exact = cut.exact[0] * cut.exact[1] / share
        if cut.name in ("diamond", "parallelogram"):
            assert cut.slant is not None
            exact /= math.sin(math.radians(cut.slant.angles[0]))
        elif cut.name == "trapezoid":
            assert cut.slant is not None
            left, right = (1 / math.tan(math.radians(a)) for a in cut.slant.angles)
            exact -= cut.exact[1] ** 2 * abs(right - left) / 2
        elif cut.name == "triangle":
            exact /= 2
        assert exact == pytest.approx(offset, abs=0.02)


@pytest.mark.parametrize("name", CATALOGUE)
def test_every_patch_is_counted_once(name: str) -> None:
    found = list_of(name, quilt=Quilt(blocks=3))
    pieces = found.templates.block.pieces
    for fabric in found.fabrics:
        own = sum(p.fabric == fabric.fabric for p in pieces)
        assert sum(cut.count for cut in fabric.cuts) == 3 * own
        for k, cut in enumerate(fabric.cuts):
            assert cut.blanks * cut.yields >= cut.count > (cut.blanks - 1) * cut.yields
            from_strips = sum(
                s.count * part.count for s in fabric.strips for part in s.parts if part.cut == k
            )
            assert from_strips == (cut.blanks if cut.source == "strip" else 0)


@pytest.mark.parametrize("name", CATALOGUE)
def test_strips_and_cloth_hold_what_is_cut(name: str) -> None:
    found = list_of(name, quilt=Quilt(blocks=7))
    areas = {t.id: paths.area(t.cut) for t in found.templates.templates}
    for fabric in found.fabrics:
        for strip in fabric.strips:
            assert strip.used <= 40 + 1e-9
        assert fabric.bound <= sum(s.count for s in fabric.strips) <= fabric.bound + 1
        patches = sum(
            cut.plain + cut.reversed
            for t in found.templates.templates
            for cut in t.cuts
            if cut.fabric == fabric.fabric
        )
        least = 7 * sum(
            areas[t.id] * (cut.plain + cut.reversed)
            for t in found.templates.templates
            for cut in t.cuts
            if cut.fabric == fabric.fabric
        )
        assert patches
        assert fabric.length * 40 >= least * 0.999
        assert fabric.yardage.inches * 0.97 >= fabric.length * 1.05 - 1e-4


@pytest.mark.parametrize("name", ["sawtooth-star", "log-cabin", "crazy-patch", "kaleidoscope"])
def test_more_blocks_never_take_less_cloth(name: str) -> None:
    lengths: dict[str | None, list[float]] = {}
    templates = template_set(catalogue.load(name), Allowance())
    for blocks in (*range(1, 9), 20, 40, 41, 80, 200):
        for fabric in cutting_list(templates, quilt=Quilt(blocks=blocks)).fabrics:
            lengths.setdefault(fabric.fabric, []).append(fabric.length)
    for found in lengths.values():
        assert found == sorted(found)


@given(
    sizes=st.lists(
        st.tuples(st.integers(2, 24), st.integers(2, 24)), min_size=1, max_size=4, unique=True
    ),
    blocks=st.integers(1, 9),
)
@settings(max_examples=30, deadline=None)
def test_rectangles_take_no_more_cloth_than_strips_as_wide_as_their_short_sides(
    sizes: list[tuple[int, int]], blocks: int
) -> None:
    """A column of rectangles, half an inch a unit, against the plainest way of cutting."""
    pieces, y = [], 0.0
    total = max(width for width, _ in sizes) / 2
    for n, (_, height) in enumerate(sizes):
        h = height / 2
        outline = [[0, y], [total, y], [total, y + h], [0, y + h]]
        pieces.append({"id": f"p{n}", "outline": outline})
        y += h
    found = list_of(
        block_from_pieces({"name": "column", "pieces": pieces}), quilt=Quilt(blocks=blocks)
    )
    plain = 0.0
    for _, height in sizes:
        short, long = sorted((total + 0.5, height / 2 + 0.5))
        plain += short * math.ceil(blocks / int(40 / long))
    (fabric,) = found.fabrics
    assert fabric.length <= plain + 1e-9
    assert fabric.length * 40 >= blocks * sum((total + 0.5) * (h / 2 + 0.5) for _, h in sizes)


class TestCloth:
    def test_too_narrow_for_a_template(self) -> None:
        with pytest.raises(BlockError) as error:
            list_of("drunkards-path", 30, cloth=Cloth(width=20))
        (fault,) = error.value.faults
        assert (fault.pointer, fault.code) == ("/cloth/width", "cloth-too-narrow")

    def test_a_side_wider_than_the_cloth_lies_along_it(self) -> None:
        (fabric,) = list_of(one_piece([[0, 0], [50, 0], [50, 3], [0, 3]])).fabrics
        assert (fabric.strips[0].width, fabric.length) == (50.5, 50.5)

    def test_a_triangle_whose_square_is_too_wide_is_a_template(self) -> None:
        (fabric,) = list_of(one_piece([[0, 0], [39, 0], [19.5, 19.5]])).fabrics
        assert fabric.cuts[0].source == "template" or fabric.cuts[0].slant is not None

    def test_shrinkage_and_spare(self) -> None:
        bought = [
            fabric_of(
                list_of(
                    "sawtooth-star", 12, cloth=Cloth(shrinkage=s, spare=p), quilt=Quilt(blocks=20)
                ),
                "background",
            ).yardage.parts
            for s, p in ((0, 0), (5, 0), (0, 10))
        ]
        # 57 in of cloth: 12.67 eighths; 57 / 0.95 = 60: 13.33; 57 * 1.1 = 62.7: 13.93.
        assert bought == [13, 14, 14]


class TestEdges:
    quilt = Quilt(1, (60.0, 70.0), Border(4.0, "dark"), Binding(2.5, "accent"))

    def test_a_butted_border(self) -> None:
        found = list_of("sawtooth-star", 12, quilt=self.quilt)
        border = found.edgings[0]
        # 4 + 1/2 wide; sides 70 + 1/2, top and bottom 60 + 8 + 1/2.
        assert border.width == 4.5
        assert border.lengths == ((70.5, 2, "sides"), (68.5, 2, "top and bottom"))
        # 278 in: 7 strips of 40 with 6 joins of 4.5 give 253; 8 with 7 give 288.5.
        assert (border.strips, border.joins, border.cloth) == (8, 7, 36)
        dark = fabric_of(found, "dark")
        assert dark.length == 3.875 + 36
        assert [s.purpose for s in dark.strips] == ["patches", "border"]

    def test_a_mitred_border_reaches_its_points(self) -> None:
        quilt = replace(self.quilt, border=Border(4.0, "dark", "mitred"))
        border = list_of("sawtooth-star", 12, quilt=quilt).edgings[0]
        # 70 + 8 + (2 + 2 √2) / 4 + 2 = 81.207 -> 81 1/4.
        assert [size for size, _, _ in border.lengths] == [81.25, 71.25]

    def test_the_binding_goes_round_the_border_too(self) -> None:
        found = list_of("sawtooth-star", 12, quilt=self.quilt)
        binding = found.edgings[1]
        # 2 (68 + 78) + 12 = 304; 8 strips give 320 - 17.5 = 302.5, so 9 with 8 joins.
        assert binding.lengths == ((304, 1, "all round"),)
        assert (binding.strips, binding.joins) == (9, 8)
        assert "9 strips 2 1/2 in wide; 8 diagonal joins; 304 in in all" in edging_text(
            binding, "in"
        )

    def test_a_directional_border_is_cut_along_the_cloth(self) -> None:
        cloth = Cloth(directional=frozenset({"dark"}))
        border = list_of("sawtooth-star", 12, cloth=cloth, quilt=self.quilt).edgings[0]
        # 8 strips of 4 1/2 in lie side by side: all four on one length of 70 1/2 in.
        assert (border.strips, border.joins, border.cloth) == (4, 0, 70.5)

    def test_a_border_needs_a_quilt(self) -> None:
        with pytest.raises(BlockError) as error:
            list_of("sawtooth-star", 12, quilt=Quilt(border=Border(4.0)))
        assert error.value.faults[0].code == "quilt-size"


def test_strips_are_told_in_a_sentence() -> None:
    found = list_of("sawtooth-star", 12, quilt=Quilt(blocks=20))
    background = fabric_of(found, "background")
    assert strip_text(background.strips[0], background.cuts, "in") == (
        "4 strips 7 1/4 in wide: each into 5 squares 7 1/4 in"
    )
