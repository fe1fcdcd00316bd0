"""Sheets painted with cairo look as their SVG does when cairosvg draws it.

cairosvg had no part in painting them; both are turned into pixels by PDFium.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import replace
from xml.etree import ElementTree

import cairosvg
import numpy as np
import pdfplumber
import pypdf
import pypdfium2 as pdfium
import pytest
from numpy.typing import NDArray

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.allowance import Allowance
from piecewright.patchwork.cutting.cutting_list import Quilt, cutting_list
from piecewright.patchwork.cutting.templates import template_set
from piecewright.patchwork.foundation.plan import foundation
from piecewright.render.drawing import fonts
from piecewright.render.drawing.linekinds import LINE_KINDS
from piecewright.render.drawing.marks import Dot, Mark, Stroke, Text, drawn, moved
from piecewright.render.output.cairo import pages_pdf
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.output.svg import sheet_svg
from piecewright.render.printables import sewing_plan
from piecewright.render.printables import templates as template_sheets
from piecewright.render.printables.block_map import picture as block_map
from piecewright.render.printables.cutting_list import cutting_list_pages
from piecewright.render.printables.foundation import sheets as foundations
from piecewright.render.sheets.canvas import on_one_canvas
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.papers import Printer
from piecewright.render.sheets.sheet_settings import SheetSettings
from tests.render.sewn import cards_of, map_of, plan_of
from tests.render.specimens import HEADING, LONG_HEADING, paper, plain, quarter_circle

DOTS_PER_INCH = 150

SHADE = 80
"""Of 255; less is the smoothing of edges, as of a line a quarter of a pixel further on."""

SVG = "{http://www.w3.org/2000/svg}"

Pixels = NDArray[np.int16]


def template_pages() -> Sequence[Page]:
    templates = template_set(catalogue.load("drunkards-path"), Allowance())
    drawings = template_sheets.template_drawings(templates)
    return lay_out(drawings, paper("letter"), template_sheets.heading(templates))


def foundation_pages() -> Sequence[Page]:
    found = foundation(catalogue.load("pineapple"), Allowance())
    return foundations.foundation_pages(foundations.foundation_set(found), paper("a4"))


def cutting_pages() -> Sequence[Page]:
    templates = template_set(catalogue.load("sawtooth-star"), Allowance())
    return cutting_list_pages(cutting_list(templates, quilt=Quilt(4)), SheetSettings())


PAGES: dict[str, Callable[[], Sequence[Page]]] = {
    "templates": template_pages,
    "tiles": lambda: lay_out([quarter_circle("B", 14)], paper("letter", "portrait"), HEADING)[:2],
    "tiles of turned text": lambda: lay_out(
        map_of("storm-at-sea", 16.0), paper("a4"), block_map.heading(plan_of("storm-at-sea", 16.0))
    )[1:3],
    "cards of a sewing plan": lambda: lay_out(
        cards_of("churn-dash"), paper("letter"), sewing_plan.heading(plan_of("churn-dash"))
    )[:1],
    "block map": lambda: lay_out(
        map_of("bear-paw"), paper("tabloid"), block_map.heading(plan_of("bear-paw"))
    ),
    "foundation": lambda: foundation_pages()[:1],
    "cutting list": lambda: cutting_pages()[:1],
    "whole, corrected": lambda: lay_out(
        [plain("A", 3, 2), quarter_circle("B", 3)],
        paper("a5", printer=Printer(0.94, 1.05)),
        LONG_HEADING,
    ),
    "tiles, corrected": lambda: lay_out(
        [quarter_circle("B", 9)], paper("letter", printer=Printer(1.06, 0.95)), LONG_HEADING
    )[:1],
    "canvas": lambda: [on_one_canvas([quarter_circle("B", 3), plain("C", 4, 1)], HEADING)],
}


def by_cairosvg(page: Page) -> bytes:
    """The sheet's SVG as a page of a PDF.

    Text with an anchor is given its start: cairosvg centres the ink of a line of text, and not
    how far it advances, as SVG 2 (chapter 11, text-anchor) and browsers do.
    """
    root = ElementTree.fromstring(sheet_svg(page).encode())
    for text in root.iter(f"{SVG}text"):
        before = {"start": 0.0, "middle": 0.5, "end": 1.0}[text.attrib.pop("text-anchor", "start")]
        size, bold = float(text.attrib["font-size"]), text.get("font-weight") == "bold"
        message = " ".join((text.text or "").split())
        across = fonts.text_width(message, size, bold)
        text.set("x", str(float(text.attrib["x"]) - before * across))
    drawn: bytes = cairosvg.svg2pdf(ElementTree.tostring(root))
    return drawn


def pixels(pdf: bytes) -> list[Pixels]:
    document = pdfium.PdfDocument(pdf)
    try:
        return [
            np.asarray(page.render(scale=DOTS_PER_INCH / 72).to_pil().convert("RGB"), np.int16)
            for page in document
        ]
    finally:
        document.close()


def unlike(one: Pixels, other: Pixels) -> int:
    """How many pixels of either have a shade that the other has not within a pixel of there.

    PDFium puts letters on whole pixels, so that two that lie alike can end up one apart.
    """
    assert one.shape == other.shape
    return sum(
        int(np.abs(around(there, row, column) - here[row, column]).max(axis=2).min() > SHADE)
        for here, there in ((one, other), (other, one))
        for row, column in np.argwhere(np.abs(here - there).max(axis=2) > SHADE)
    )


def around(image: Pixels, row: int, column: int) -> Pixels:
    return image[max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2]


@pytest.mark.parametrize("kind", PAGES)
def test_sheet_looks_as_its_svg_does(kind: str) -> None:
    pages = PAGES[kind]()
    for page, ours in zip(pages, pixels(pages_pdf(pages)), strict=True):
        (theirs,) = pixels(by_cairosvg(page))
        assert (ours < 200).sum() > 1000
        assert unlike(ours, theirs) == 0


def test_every_kind_of_mark_looks_as_in_the_svg() -> None:
    """All pens: closed and open, filled and not, with dashes, weights and colours of their own."""
    curved, square = (d.marks[0] for d in (quarter_circle("B", 0.2), plain("C", 0.2, 0.15)))
    assert isinstance(curved, Stroke)
    assert isinstance(square, Stroke)
    marks: list[Mark] = []
    for number, kind in enumerate(LINE_KINDS):
        shapes: tuple[Mark, ...] = (
            replace(curved, kind=kind),
            replace(square, kind=kind, filled=True),
            replace(square, kind=kind, filled=True, colour="#cc8833", weight=1.5),
            replace(curved, kind=kind, solid=True),
            replace(square, kind=kind, closed=False, offset=0.03, weight=0.8),
            Dot(kind, (0.1, 0.1)),
            Text("Wim  a b", (0.5, 0.1), 0.12, "middle", turn=20, kind=kind),
        )
        marks += [moved(s, 0.5 * column, 0.25 * number) for column, s in enumerate(shapes)]
    pages = lay_out([drawn("A", "Marks", "", marks)], paper("letter", "portrait"), HEADING)
    (ours,) = pixels(pages_pdf(pages))
    (theirs,) = pixels(by_cairosvg(pages[0]))
    assert unlike(ours, theirs) == 0


def test_comparison_sees_a_line_moved_by_a_hair() -> None:
    """The same sheet, a fiftieth of an inch further on: three pixels."""
    (page,) = lay_out([plain("A", 3, 2)], paper("letter"), HEADING)
    (placed,) = page.items
    further = replace(page, items=(replace(placed, x=placed.x + 0.02),))
    (one,), (other,) = pixels(pages_pdf([page])), pixels(pages_pdf([further]))
    assert unlike(one, other) > 500


def test_words_are_found_whole() -> None:
    pages = lay_out([quarter_circle("B", 4)], paper("letter"), HEADING)
    pdf = sheets_pdf(pages)
    text = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text()
    assert "Cutting templates · Finishes 12 × 12 in" in text
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        assert document.pages[0].search("Seam allowance 1/4 in · matched corners")


def test_text_is_where_and_as_large_as_the_mark_says() -> None:
    mark = Text("Wim", (1.0, 1.0), 0.5, "end")
    drawing = drawn("A", "", "", [mark, *plain("A", 3, 3).marks])
    (page,) = lay_out([drawing], paper("letter"), HEADING)
    (placed,) = page.items
    with pdfplumber.open(io.BytesIO(sheets_pdf([page]))) as document:
        letters = [c for c in document.pages[0].chars if abs(c["size"] - 36) < 0.01]
    assert [c["text"] for c in letters] == ["W", "i", "m"]
    assert letters[-1]["x1"] == pytest.approx((placed.x + 1.0) * 72, abs=0.05)
    assert letters[0]["matrix"][5] == pytest.approx((11 - placed.y - 1.0) * 72, abs=0.05)
