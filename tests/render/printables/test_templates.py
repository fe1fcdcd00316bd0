"""Template drawings: what a maker reads, and that nothing lies over anything else."""

from __future__ import annotations

import math
from functools import cache

import pytest
import shapely
from shapely.geometry import LineString, Point, Polygon

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.block.model import finished
from piecewright.patchwork.cutting.templates import TemplateSet, template_set
from piecewright.patchwork.geometry import paths
from piecewright.render.drawing.marks import Dot, Drawing, Stroke, Text, text_corners
from piecewright.render.printables.templates import heading, template_drawings
from piecewright.render.sheets.named import lay_out_named, windows_of
from piecewright.render.sheets.sheet_settings import SheetSettings
from tests.render.specimens import HEADING

CATALOGUE = [entry.id for entry in catalogue.entries()]
SIZES = (3.0, 6.0, 12.0)


@cache
def drawings_of(name: str, width: float) -> tuple[TemplateSet, tuple[Drawing, ...]]:
    block = finished(catalogue.load(name), width=width)
    templates = template_set(block, Allowance())
    return templates, template_drawings(templates)


def letters(drawing: Drawing) -> list[Polygon]:
    """The boxes of the label's lines."""
    return [Polygon(text_corners(m)) for m in drawing.marks if isinstance(m, Text)]


def strokes(drawing: Drawing, *kinds: str) -> list[LineString]:
    found = []
    for mark in drawing.marks:
        if isinstance(mark, Stroke) and mark.kind in kinds:
            points = [*paths.ring(mark.segments), mark.segments[-1].end]
            found.append(LineString(points))
    return found


@pytest.mark.parametrize("width", SIZES)
@pytest.mark.parametrize("name", CATALOGUE)
def test_label_lies_over_no_line(name: str, width: float) -> None:
    _, drawings = drawings_of(name, width)
    for drawing in drawings:
        ink = [
            *strokes(drawing, "cutting-line", "sewing-line", "grain", "notch", "leader"),
            *(Point(m.at).buffer(0.02) for m in drawing.marks if isinstance(m, Dot)),
        ]
        for box in letters(drawing):
            assert all(box.distance(line) > 0.005 for line in ink), drawing.id


@pytest.mark.parametrize("width", SIZES)
@pytest.mark.parametrize("name", CATALOGUE)
def test_lines_of_a_label_lie_over_no_other(name: str, width: float) -> None:
    _, drawings = drawings_of(name, width)
    for drawing in drawings:
        boxes = letters(drawing)
        for i, box in enumerate(boxes):
            assert all(not box.intersects(other) for other in boxes[:i]), drawing.id


@pytest.mark.parametrize("width", SIZES)
@pytest.mark.parametrize("name", CATALOGUE)
def test_grain_arrow_lies_inside_the_finished_piece_along_the_grain(
    name: str, width: float
) -> None:
    templates, drawings = drawings_of(name, width)
    for template, drawing in zip(templates.templates, drawings, strict=True):
        inside = Polygon(paths.ring(template.finished))
        arrows = strokes(drawing, "grain")
        assert arrows, f"{drawing.id} has a grain and no arrow"
        assert all(inside.contains(arrow) for arrow in arrows)
        shaft = max(arrows, key=lambda a: a.length)
        (x0, y0), (x1, y1) = shaft.coords[0], shaft.coords[-1]
        way = paths.Line((x0, y0), (x1, y1))
        assert template.grain is not None
        u = paths.tangent(way, 0.0)
        grain = math.radians(template.grain)
        assert abs(u[0] * math.sin(grain) - u[1] * math.cos(grain)) < 1e-6


@pytest.mark.parametrize("name", CATALOGUE)
def test_label_says_all_that_is_needed_to_cut(name: str) -> None:
    templates, drawings = drawings_of(name, 6.0)
    fabrics = {f.id: f.name for f in templates.block.fabrics}
    for template, drawing in zip(templates.templates, drawings, strict=True):
        message = " · ".join(m.text for m in drawing.marks if isinstance(m, Text))
        assert template.id in message.split()[0]
        assert "Finished " in message
        assert templates.block.name[:12] in message
        for cut in template.cuts:
            counts = [str(cut.plain)] if cut.plain else []
            counts += [f"{cut.reversed} reversed"] if cut.reversed else []
            assert f"Cut {' + '.join(counts)} {fabrics[cut.fabric or '']}" in message


def test_letters_are_large_enough_to_read() -> None:
    for name in CATALOGUE:
        for drawing in drawings_of(name, 3.0)[1]:
            sizes = [m.size for m in drawing.marks if isinstance(m, Text)]
            assert min(sizes) * 72 >= 5.7  # points


def test_small_piece_has_its_label_outside_with_a_leader_into_the_piece() -> None:
    templates, drawings = drawings_of("nine-patch", 1.5)
    (drawing,), (template,) = drawings, templates.templates
    piece = Polygon(paths.ring(template.finished))
    (leader,) = strokes(drawing, "leader")
    assert piece.contains(Point(leader.coords[-1]))
    cut = Polygon(paths.ring(template.cut))
    assert all(not box.intersects(cut) for box in letters(drawing))


def test_label_stays_in_the_box_of_its_drawing() -> None:
    for name in CATALOGUE:
        for drawing in drawings_of(name, 4.0)[1]:
            box = drawing.box
            around = shapely.box(box.x, box.y, box.right, box.bottom).buffer(1e-6)
            assert all(around.covers(line) for line in letters(drawing))


def test_finished_sizes_are_fractions_of_an_inch() -> None:
    _, drawings = drawings_of("sawtooth-star", 9.0)
    message = [m.text for d in drawings for m in d.marks if isinstance(m, Text)]
    assert "Finished 4 1/2 × 2 1/4 in" in message


def test_heading_says_size_allowance_and_corners() -> None:
    block = finished(catalogue.load("pinwheel"), width=7.5)
    message = heading(template_set(block, Allowance(0.25, 0.5), "blunt"))
    assert message.size == "Finished 7 1/2 × 7 1/2 in"
    assert message.allowance == "Seam allowance 1/4 in, 1/2 in at the edge of the block"
    assert message.corners == "Blunt corners"


def test_a_template_says_what_a_block_and_what_all_blocks_take() -> None:
    templates = template_set(catalogue.load("sawtooth-star"), Allowance())
    said = [
        text.text
        for drawing in template_drawings(templates, 20)
        for text in drawing.marks
        if isinstance(text, Text) and text.text.startswith("Cut")
    ]
    assert "Cut 4 Sail white a block, 80 in all" in said
    assert "Cut 1 Tide blue a block, 20 in all" in said


@pytest.mark.parametrize(("name", "width"), [("log-cabin", 30.0), ("drunkards-path", 24.0)])
def test_no_label_is_divided_and_every_sheet_of_a_template_names_it(
    name: str, width: float
) -> None:
    templates, _ = drawings_of(name, width)
    pages = lay_out_named(
        lambda windows: template_drawings(templates, 1, windows), SheetSettings(), HEADING
    )
    windows = windows_of(pages)
    assert windows
    drawn = {placed.drawing.id: placed.drawing for page in pages for placed in page.items}
    for id, shown in windows.items():
        sheets = shown
        boxes = letters(drawn[id])
        for box in boxes:
            assert any(sheet.covers(box) for sheet in sheets), (id, box.bounds)
        (shape,) = (t for t in templates.templates if t.id == id)
        finished_shape = Polygon(paths.ring(shape.finished))
        for sheet in sheets:
            if sheet.intersection(finished_shape).area > 12:
                assert any(sheet.covers(box) for box in boxes)
