"""The cutting list as sheets: everything on them, nothing clipped, no text over other text."""

from __future__ import annotations

import io
import itertools

import pdfplumber
import pytest

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.cutting.borders import Binding, Border
from piecewright.patchwork.cutting.cutting_list import Cloth, CuttingList, Quilt, cutting_list
from piecewright.patchwork.cutting.templates import template_set
from piecewright.patchwork.cutting.wording import CAUTION
from piecewright.render.drawing.marks import Box, Drawing, Stroke, Text, mark_box
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.printables.cutting_list import (
    canvas_drawings,
    cutting_list_drawings,
    cutting_list_pages,
    heading,
)
from piecewright.render.sheets.papers import PAPERS
from piecewright.render.sheets.sheet_settings import SheetSettings

NAMES = ["sawtooth-star", "log-cabin", "pineapple", "eight-point-star", "crazy-patch", "spools"]


def list_of(name: str, blocks: int = 20, *, edges: bool = True) -> CuttingList:
    templates = template_set(catalogue.load(name), Allowance())
    first, last = templates.block.fabrics[0].id, templates.block.fabrics[-1].id
    quilt = Quilt(blocks, (60, 72), Border(4, first, "mitred"), Binding(2.5, last))
    cloth = Cloth(directional=frozenset({last}))
    return cutting_list(templates, cloth, quilt if edges else Quilt(blocks))


def boxes(drawing: Drawing) -> list[tuple[str, Box]]:
    found = [(m.text, mark_box(m)) for m in drawing.marks if isinstance(m, Text)]
    return [(text, box) for text, box in found if box is not None]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("width", "height"), [(7.4, 8.0), (4.0, 5.0)])
def test_no_text_lies_over_another_or_outside(name: str, width: float, height: float) -> None:
    for drawing in cutting_list_drawings(list_of(name), width, height):
        texts = boxes(drawing)
        for (_, one), (_, other) in itertools.combinations(texts, 2):
            assert not one.grown(-0.002).meets(other.grown(-0.002))
        assert drawing.box.right <= width + 0.02
        assert drawing.box.bottom <= height + 0.02


@pytest.mark.parametrize("name", NAMES)
def test_no_cut_runs_through_a_text(name: str) -> None:
    for drawing in cutting_list_drawings(list_of(name), 7.4, 8.0):
        upright = [
            (s.start[0], min(s.start[1], s.end[1]), max(s.start[1], s.end[1]))
            for mark in drawing.marks
            if isinstance(mark, Stroke)
            for s in mark.segments
            if abs(s.start[0] - s.end[0]) < 1e-9
        ]
        for text, box in boxes(drawing):
            for x, top, bottom in upright:
                inside = box.x < x < box.right and top < box.bottom and bottom > box.y
                assert not inside, text


def test_there_is_a_box_to_tick_for_every_strip_and_cut() -> None:
    found = list_of("sawtooth-star", 4, edges=False)
    (drawing,) = cutting_list_drawings(found, 7.4, 20.0)
    ticks = [
        mark
        for mark in drawing.marks
        if isinstance(mark, Stroke) and mark.kind == "label" and mark.closed
    ]
    strips = sum(strip.count for fabric in found.fabrics for strip in fabric.strips)
    assert len(ticks) == strips + sum(len(fabric.cuts) for fabric in found.fabrics)


def test_the_caution_stands_in_one_line() -> None:
    for width in (7.4, 6.5):
        (first, *_) = cutting_list_drawings(list_of("sawtooth-star"), width, 8.0)
        assert first.marks[0].text == CAUTION  # type: ignore[union-attr]
    for word in ("blade closed", "away from your body", "held down flat or weighted"):
        assert word in CAUTION


def test_sheets_say_what_is_cut_and_bought() -> None:
    found = list_of("sawtooth-star")
    pages = cutting_list_pages(found, SheetSettings())
    with pdfplumber.open(io.BytesIO(sheets_pdf(pages))) as document:
        message = "\n".join(page.extract_text(x_tolerance=1) for page in document.pages)
    assert "Cutting list for 20 blocks" in message
    assert "Sail white" in message
    assert "3 strips 6 1/2 in wide: each into 6 squares 6 1/2 in" in message
    assert "80 squares 3 7/8 in for 160 half-square triangles" in message
    assert "Cut once corner to corner" in message
    for fabric in found.fabrics:
        assert f"Buy {fabric.yardage}" in message
    assert message.count("Rotary cutter: blade closed") == 1


@pytest.mark.parametrize("paper", ["a5", "letter", "a4", "tabloid"])
@pytest.mark.parametrize("orientation", ["auto", "landscape"])
def test_a_sheet_holds_one_drawing_whole(paper: str, orientation: str) -> None:
    size = PAPERS[paper]
    settings = SheetSettings(size.width, size.height, orientation)  # type: ignore[arg-type]
    found = list_of("log-cabin")
    for page in cutting_list_pages(found, settings):
        (placed,) = page.items
        assert placed.part is None
        box = placed.box
        # Half of a line's width may lie in the margin.
        area = page.sheet.printable.grown(0.007)
        assert box.x >= area.x - 1e-6
        assert box.y >= area.y - 1e-6
        assert box.right <= area.right + 1e-6
        assert box.bottom <= area.bottom + 1e-6


@pytest.mark.parametrize("paper", ["a5", "letter", "a4"])
def test_no_text_meets_what_stands_on_every_sheet(paper: str) -> None:
    size = PAPERS[paper]
    pages = cutting_list_pages(list_of("pineapple"), SheetSettings(size.width, size.height))
    for page in pages:
        (placed,) = page.items
        texts = [placed.on_sheet(m) for m in placed.drawing.marks if isinstance(m, Text)]
        for text, other in itertools.product(texts, page.furniture):
            one, two = mark_box(text), mark_box(other)
            assert one is None or two is None or not one.meets(two)


def test_sheets_come_in_the_order_of_the_list() -> None:
    pages = cutting_list_pages(list_of("pineapple"), SheetSettings())
    assert [page.number for page in pages] == list(range(1, len(pages) + 1))
    assert [page.items[0].drawing.id for page in pages] == [
        f"cutting-list-{n}" for n in range(1, len(pages) + 1)
    ]


def test_a_heading_leaves_no_drawing_alone_at_the_foot() -> None:
    """The fabric's name and what to buy stand on the sheet of its first strip."""
    for drawing in cutting_list_drawings(list_of("log-cabin"), 7.4, 4.0):
        last = max(boxes(drawing), key=lambda b: b[1].bottom)[0]
        assert not last.startswith("Buy")


def test_canvas_has_the_whole_list() -> None:
    found = list_of("spools")
    texts = [text for d in canvas_drawings(found) for text, _ in boxes(d)]
    assert [text for text in texts if text.startswith("Buy")]
    assert heading(found).what == "Cutting list for 20 blocks"
