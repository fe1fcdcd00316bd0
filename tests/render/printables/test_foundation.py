"""Printed foundation sections: mirrored, labelled clear of lines, and true at any size."""

from __future__ import annotations

import io
import math
import re
from functools import lru_cache

import pdfplumber
import pytest
import shapely
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import finished
from piecewright.patchwork.block.read import block_from_drawing
from piecewright.patchwork.foundation.plan import Foundation, foundation
from piecewright.patchwork.geometry import paths
from piecewright.render.drawing.footprints import footprint
from piecewright.render.drawing.linekinds import PENS
from piecewright.render.drawing.marks import (
    Drawing,
    Stroke,
    Text,
    mark_box,
    path_points,
    text_corners,
)
from piecewright.render.drawing.shapes import box_polygon
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.output.svg import canvas_svg
from piecewright.render.printables.foundation.print_style import PrintStyle
from piecewright.render.printables.foundation.section_map import MAP
from piecewright.render.printables.foundation.sections import section_drawing
from piecewright.render.printables.foundation.sheets import (
    FoundationSet,
    foundation_drawings,
    foundation_pages,
    foundation_set,
    heading,
)
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.placed import PlacedDrawing
from tests.patchwork.foundation.test_plan import STRAIGHT
from tests.render.sheets.bare import bare_parts
from tests.render.sheets.test_reassembly import check, drawn_lines, on_drawing
from tests.render.specimens import paper

SIZES = (3.0, 6.0, 20.0)


@lru_cache
def of(name: str, width: float, allowance: float = 0.25) -> Foundation:
    block = finished(catalogue.load(name), width=width)
    return foundation(block, Allowance(allowance, allowance))


def drawings_of(name: str, width: float, style: PrintStyle = PrintStyle()) -> list[Drawing]:  # noqa: B008
    return sections_of(foundation_set(of(name, width), style))


def sections_of(asked: FoundationSet) -> list[Drawing]:
    """The foundations alone, without keys and map."""
    return [section_drawing(asked.found, k, asked.style, asked.rule) for k in asked.kinds]


def texts(drawing: Drawing) -> list[Text]:
    return [m for m in drawing.marks if isinstance(m, Text)]


def marked(drawing: Drawing) -> list[str]:
    """What stands beside the marks on seams."""
    return [t.text for t in texts(drawing) if re.fullmatch(r"\d+|\w+:\d+( \w+:\d+)*", t.text)]


def strokes(drawing: Drawing, *kinds: str) -> list[LineString]:
    marks = (m for m in drawing.marks if isinstance(m, Stroke) and m.kind in kinds)
    return [LineString(path_points(mark)) for mark in marks]


# --- what a maker reads ---------------------------------------------------------------------------


@pytest.mark.parametrize("width", SIZES)
@pytest.mark.parametrize("name", STRAIGHT)
def test_no_text_lies_over_a_line_or_another_text(name: str, width: float) -> None:
    for drawing in drawings_of(name, width):
        boxes = [Polygon(text_corners(text)) for text in texts(drawing)]
        ink = strokes(drawing, "cutting-line", "sewing-line", "notch", "leader")
        near = shapely.STRtree(ink).query(boxes, predicate="dwithin", distance=0.004)
        assert near.size == 0, (drawing.id, [texts(drawing)[i].text for i in near[0]])
        pairs = shapely.STRtree(boxes).query(boxes, predicate="intersects")
        assert all(a == b for a, b in pairs.T), drawing.id


@pytest.mark.parametrize("name", STRAIGHT)
def test_every_patch_has_its_number_once(name: str) -> None:
    kinds = foundation_set(of(name, 6.0)).kinds
    for section, drawing in zip([k.first for k in kinds], drawings_of(name, 6.0), strict=True):
        words = [text.text.split(" ")[0] for text in texts(drawing) if text.kind == "label"]
        for patch in section.patches:
            assert words.count(f"{section.id}{patch.number}") == 1


def test_number_stands_in_its_patch_on_the_mirrored_side() -> None:
    found = of("log-cabin", 12.0)
    (section,) = found.sections
    (drawing,) = drawings_of("log-cabin", 12.0)
    pieces = {p.id: Polygon(paths.ring(p.outline)) for p in found.block.pieces}
    for patch in section.patches:
        (number,) = (t for t in texts(drawing) if t.text.split(" ")[0] == f"A{patch.number}")
        x, y = Polygon(text_corners(number)).centroid.coords[0]
        assert pieces[patch.piece].contains(Point(12.25 - x, y - 0.25))
        fabric = next(f.name for f in found.block.fabrics if f.id == patch.fabric)
        assert fabric in [text.text for text in texts(drawing)]


def test_fabric_name_is_shortened_before_it_is_left_out() -> None:
    frame = [[0, 0], [1.6, 0], [1.6, 4], [0, 4]]
    block = block_from_drawing(
        {
            "frame": frame,
            "lines": [[[0.8, 0], [0.8, 4]]],
            "fills": [{"at": [0.4, 1], "fabric": "x"}, {"at": [1.2, 1], "fabric": "x"}],
            "fabrics": [{"id": "x", "name": "Midnight harbour in a gale with herring gulls"}],
        }
    )
    (drawing,) = sections_of(foundation_set(foundation(block, Allowance())))
    message = " ".join(t.text for t in texts(drawing))
    assert "Midnight" in message
    assert "…" in message


def test_marks_of_a_seam_have_the_same_numbers_on_both_sections() -> None:
    numbers: dict[str, int] = {}
    for drawing in drawings_of("sawtooth-star", 12.0):
        # Beside a mark of a foundation for two sections stands whose number is which.
        for number in re.findall(r"(?:^| |:)(\d+)(?= |$)", " ; ".join(marked(drawing))):
            numbers[number] = numbers.get(number, 0) + 1
    assert numbers
    assert set(numbers.values()) == {2}


def test_unit_of_joining_stands_in_grey_in_the_allowance() -> None:
    found = of("nine-patch", 9.0)
    assert PENS["joining"].colour == "#777777"
    kinds = foundation_set(found).kinds
    for kind, drawing in zip(kinds, drawings_of("nine-patch", 9.0), strict=True):
        grey = [t for t in texts(drawing) if t.kind == "joining"]
        steps = {str(e.step + 1) for m in kind.members for e in m.section.edges}
        assert steps == {n for t in grey for n in re.findall(r"join (\d+)", t.text)}
        (cut,) = strokes(drawing, "cutting-line")
        sewn = Polygon(strokes(drawing, "sewing-line")[0].coords)
        for text in grey:
            box = Polygon(text_corners(text))
            assert Polygon(cut.coords).contains(box)
            assert not sewn.intersects(box)


def test_map_names_sections_and_steps() -> None:
    found = of("sawtooth-star", 12.0)
    drawing = foundation_drawings(foundation_set(found))[-1]
    first = (found.steps[0].first, found.steps[0].second)
    words = [t.text for t in texts(drawing)]
    assert drawing.id == MAP
    assert {"A", "B", "C", "D", "Order of joining"} <= set(words)
    assert "Map of the sections, mirrored as the print is" in words
    assert [w for w in words if w[0] == "1"] == ["1. " + " to ".join("+".join(u) for u in first)]


def test_one_section_needs_no_map() -> None:
    drawings = foundation_drawings(foundation_set(of("log-cabin", 6.0)))
    assert [d.id for d in drawings] == ["A", "A (key)"]


def test_keys_and_map_take_no_sheet_of_their_own_and_meet_nothing() -> None:
    for name, width in (("sawtooth-star", 6.0), ("nine-patch-star", 12.0)):
        asked = foundation_set(of(name, width))
        head = heading(asked.found)
        pages = foundation_pages(asked, paper("letter"))
        assert len(pages) == len(lay_out(sections_of(asked), paper("letter"), head))
        shown = {placed.drawing.id for page in pages for placed in page.items}
        assert {MAP, *(kind.first.id for kind in asked.kinds)} <= shown
        for page in pages:
            boxes = [footprint_on(placed) for placed in page.items]
            pairs = shapely.STRtree(boxes).query(boxes, predicate="intersects")
            assert all(a == b for a, b in pairs.T)
            added = [b for b, p in zip(boxes, page.items, strict=True) if "(" in p.drawing.id]
            furniture = [box_polygon(b) for m in page.furniture if (b := mark_box(m)) is not None]
            assert not shapely.STRtree(added).query(furniture, predicate="intersects").size


def footprint_on(placed: PlacedDrawing) -> BaseGeometry:
    turned = affinity.rotate(footprint(placed.drawing), placed.turn, origin=(0, 0))
    return affinity.translate(turned, placed.x, placed.y)


# --- enough by itself -----------------------------------------------------------------------------


def test_half_turn_twins_are_printed_once_with_the_numbers_of_both() -> None:
    asked = foundation_set(of("sawtooth-star", 8.0), blocks=20)
    assert [kind.ids for kind in asked.kinds] == [("A", "D"), ("B",), ("C",)]
    drawing = sections_of(asked)[0]
    assert drawing.title == "Sections A, D"
    assert {"A:2 D:7", "A:1", "D:5"} <= set(marked(drawing))
    key = foundation_drawings(asked)[1]
    assert "Make 2 a block, 40 in all" in [t.text for t in texts(key)]


def test_a_foundation_is_printed_so_many_times() -> None:
    found = of("sawtooth-star", 4.0)
    for style, blocks, expected in (
        (PrintStyle(), 3, {"A": 1, "B": 1, "C": 1}),
        (PrintStyle(copies=2), 1, {"A": 2, "B": 2, "C": 2}),
        (PrintStyle(copies="needed"), 2, {"A": 4, "B": 2, "C": 2}),
    ):
        pages = foundation_pages(foundation_set(found, style, blocks=blocks), paper("letter"))
        ids = [p.drawing.id for page in pages for p in page.items]
        printed = [id.split(" ")[0] for id in ids if id != MAP and "key" not in id]
        assert {id: printed.count(id) for id in printed} == expected


def test_a_patch_says_what_fabric_to_cut_for_it() -> None:
    (drawing,) = drawings_of("log-cabin", 9.0)
    (section,) = of("log-cabin", 9.0).sections
    first = section.patches[0]
    assert (first.width, first.height) == (1.75, 1.75)
    assert [t.text for t in texts(drawing)].count("1 3/4 × 1 3/4 in") >= 1
    key = foundation_drawings(foundation_set(of("log-cabin", 9.0)))[1]
    assert any("1 3/4 × 1 3/4 in: 1" in t.text for t in texts(key))


def test_key_shows_the_section_from_the_face() -> None:
    """Patch 4 of the star's wide section lies left on the face, and right on the print."""
    asked = foundation_set(of("sawtooth-star", 8.0))
    key = foundation_drawings(asked)[5]
    printed = sections_of(asked)[2]
    at = {t.text: t.at[0] for t in texts(key) if t.text.isdigit()}
    there = {t.text: t.at[0] for t in texts(printed)}
    assert at["4"] < at["1"]
    assert there["C4"] > there["C1"]


# --- mirrored -------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["log-cabin", "wonky-star", "flying-geese"])
def test_print_is_the_mirror_image_of_the_face(name: str) -> None:
    found = of(name, 9.0)
    plain = drawings_of(name, 9.0, PrintStyle(mirrored=False))
    firsts = [kind.first for kind in foundation_set(found).kinds]
    for section, printed, face in zip(firsts, drawings_of(name, 9.0), plain, strict=True):
        cut = Polygon(paths.ring(section.cut))
        left, top, right, _ = cut.bounds
        (on_face,) = strokes(face, "cutting-line")
        moved = affinity.translate(cut, -left, -top)
        assert Polygon(on_face.coords).symmetric_difference(moved).area < 1e-9
        lines = shapely.MultiLineString(strokes(face, "cutting-line", "sewing-line"))
        mirrored = affinity.translate(affinity.scale(lines, -1, 1, origin=(0, 0)), right - left)
        of_print = shapely.MultiLineString(strokes(printed, "cutting-line", "sewing-line"))
        assert shapely.hausdorff_distance(of_print, mirrored) < 1e-9


def test_heading_says_which_side_is_printed() -> None:
    found = of("log-cabin", 6.0)
    assert "mirror" in heading(found).what
    assert "face" in heading(found, PrintStyle(mirrored=False)).what
    assert heading(found).allowance == "Seam allowance 1/4 in"


def test_text_is_not_mirrored() -> None:
    svg = canvas_svg(
        foundation_drawings(foundation_set(of("log-cabin", 6.0))), heading(of("log-cabin", 6.0))
    )
    assert "scale(" not in svg
    assert "matrix(" not in svg
    assert ">A1<" in svg


def test_weight_of_lines_can_be_chosen() -> None:
    style = PrintStyle(line_weight=1.2)
    pdf = sheets_pdf(
        lay_out(
            drawings_of("economy", 6.0, style),
            paper("letter"),
            heading(of("economy", 6.0)),
        )
    )
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        page = document.pages[0]
        drawn = [*page.lines, *page.rects, *page.curves]
        weights = {round(mark["linewidth"], 2) for mark in drawn if mark["stroke"]}
    assert {1.2, 1.8} <= weights
    assert not {0.6, 0.9} & weights


# --- any size -------------------------------------------------------------------------------------


POSTER_SHEETS = {"flying-geese": 6, "triangle-in-a-square": 6, "log-cabin": 6}
"""Letter sheets that a 10 in pattern takes at 200 % by a printer's poster setting, at the most:
four to six by common practice of the trade."""


@pytest.mark.parametrize("name", ["triangle-in-a-square", "log-cabin"])
def test_10_in_pattern_at_20_in_keeps_its_quarter_inch(name: str) -> None:
    """Measured on the PDF: the dashed outline lies 1/4 in inside the solid one."""
    found = of(name, 20.0)
    asked = foundation_set(found)
    (drawing,) = sections_of(asked)
    pages = foundation_pages(asked, paper("letter"))
    cut: list[BaseGeometry] = []
    sewn: list[BaseGeometry] = []
    parts = list(bare_parts(pages))
    with pdfplumber.open(io.BytesIO(sheets_pdf([page for page, _ in parts]))) as document:
        for (page, placed), sheet in zip(parts, document.pages, strict=True):
            cut.append(
                on_drawing(page, placed, drawn_lines(sheet, "cutting-line", turn=placed.own_turn))
            )
            sewn.append(
                on_drawing(page, placed, drawn_lines(sheet, "sewing-line", turn=placed.own_turn))
            )
    outside = shapely.union_all(cut)
    left, top, right, bottom = outside.bounds
    assert (right - left, bottom - top) == pytest.approx((20.5, 20.5), abs=0.003)
    inner = shapely.union_all(sewn)
    left, top, right, bottom = inner.bounds
    assert (right - left, bottom - top) == pytest.approx((20.0, 20.0), abs=0.003)
    assert outside.distance(inner) == pytest.approx(0.25, abs=0.003)
    assert drawing.box.width == pytest.approx(20.5 + PENS["cutting-line"].weight / 72, abs=1e-6)


@pytest.mark.parametrize("name", sorted(POSTER_SHEETS))
def test_it_needs_no_more_sheets_than_a_poster(name: str) -> None:
    block = catalogue.load(name)
    found = foundation(finished(block, width=10.0 if name == "flying-geese" else 20.0), Allowance())
    pages = foundation_pages(foundation_set(found), paper("letter"))
    assert len(pages) <= POSTER_SHEETS[name]


def test_half_the_block_takes_no_more_sheets_than_a_poster() -> None:
    """A pattern of 5 x 10 in at 10 x 20 in: a poster at 200 % takes four to six."""
    found = of("flying-geese", 10.0)
    pages = foundation_pages(foundation_set(found), paper("letter"))
    assert len(pages) <= 6


@pytest.mark.parametrize("name", ["log-cabin", "sawtooth-star", "kaleidoscope"])
def test_lines_go_on_from_sheet_to_sheet(name: str) -> None:
    assert check(tuple(drawings_of(name, 20.0)), paper("letter")) > 0


def test_sections_that_fit_a_sheet_are_whole() -> None:
    found = of("sawtooth-star", 6.0)
    pages = foundation_pages(foundation_set(found), paper("letter"))
    assert all(page.of is None for page in pages)
    assert len(pages) <= 2


def test_letters_of_numbers_do_not_grow_with_the_block() -> None:
    sizes = {}
    for width in (12.0, 24.0):
        (drawing,) = drawings_of("log-cabin", width)
        sizes[width] = max(t.size for t in texts(drawing))
    assert math.isclose(sizes[12.0], sizes[24.0])
