"""A printer that does not print true: what comes out of it is true all the same."""

from __future__ import annotations

import io

import pdfplumber
import pypdfium2 as pdfium
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.patchwork.faults import BlockError
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.output.svg import sheet_svg
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.papers import Printer
from tests.render.specimens import HEADING, LONG_HEADING, paper, plain, quarter_circle

PRINTERS = [Printer(0.98, 1.01), Printer(1.1, 0.9), Printer(0.9, 0.9), Printer(1.003, 1.0)]

Rectangle = tuple[float, float]


def sheets(printer: Printer, name: str = "letter") -> tuple[Page, ...]:
    drawings = [plain("A", 3.0125, 2.0125), quarter_circle("B", 12)]
    return lay_out(drawings, paper(name, printer=printer), HEADING)


def printed(pages: tuple[Page, ...], printer: Printer) -> list[list[Rectangle]]:
    """Width and height of every rectangle and every straight line on the paper, in points, as
    the printer prints it."""
    with pdfplumber.open(io.BytesIO(sheets_pdf(pages))) as pdf:
        return [
            [
                (r["width"] * printer.across, r["height"] * printer.down)
                for r in (*page.rects, *page.lines)
            ]
            for page in pdf.pages
        ]


def words_on(page: pdfplumber.page.Page) -> str:
    """The text of a page without its spaces, which readers see differently."""
    return "".join((page.extract_text() or "").split())


@pytest.mark.parametrize("name", ["letter", "a4"])
@pytest.mark.parametrize("printer", PRINTERS)
def test_printed_test_square_measures_an_inch(printer: Printer, name: str) -> None:
    pages = sheets(printer, name)
    for page, found in zip(pages, printed(pages, printer), strict=True):
        assert sum(r == pytest.approx((72.0, 72.0), abs=0.005) for r in found) == 1
        assert page.furnished.inch


@settings(deadline=None, max_examples=15)
@given(st.floats(0.9, 1.1), st.floats(0.9, 1.1))
def test_printed_template_is_at_true_size(across: float, down: float) -> None:
    printer = Printer(across, down)
    pages = lay_out([plain("A", 3.0125, 2.0125)], paper("letter", printer=printer), HEADING)
    (found,) = printed(pages, printer)
    sizes = [pytest.approx((216.0, 144.0), abs=0.01), pytest.approx((144.0, 216.0), abs=0.01)]
    assert any(r in sizes for r in found)


@pytest.mark.parametrize("printer", PRINTERS)
@pytest.mark.parametrize("name", ["letter", "a5"])
def test_no_ink_leaves_the_margins_on_the_sheet_sent_or_on_the_print(
    printer: Printer, name: str
) -> None:
    drawings = [quarter_circle("B", 9), plain("A", 17, 17)]
    pages = lay_out(drawings, paper(name, printer=printer), LONG_HEADING)
    opened = pdfium.PdfDocument(sheets_pdf(pages))
    try:
        for page in opened:
            image = page.render(scale=2).to_pil().convert("L").point(lambda v: 255 * (v < 200))
            box = image.getbbox()
            assert box is not None
            middle = (image.width / 2, image.height / 2)
            for axis, stretch in ((0, printer.across), (1, printer.down)):
                room = middle[axis] - 0.25 * 144 + 2
                for end in (box[axis], box[axis + 2]):
                    assert abs(end - middle[axis]) <= room
                    assert abs(end - middle[axis]) * stretch <= room
    finally:
        opened.close()


@pytest.mark.parametrize("printer", PRINTERS)
def test_sheet_stays_the_paper_and_says_what_was_done(printer: Printer) -> None:
    pages = sheets(printer, "a4")
    with pdfplumber.open(io.BytesIO(sheets_pdf(pages))) as pdf:
        for page in pdf.pages:
            size = sorted((float(page.width), float(page.height)))
            assert size == pytest.approx([210 / 25.4 * 72, 297 / 25.4 * 72], abs=0.01)
            words = words_on(page)
            assert "Correctedforaprinterthatprinted1inas" in words
            assert f"{printer.across:g}inacross,{printer.down:g}indown" in words
    svg = sheet_svg(pages[0], "mm")
    assert 'viewBox="0 0 210 297"' in svg or 'viewBox="0 0 297 210"' in svg


def test_exact_printer_changes_nothing() -> None:
    given = lay_out([plain("A", 3, 3)], paper("letter", printer=Printer(1.0, 1.0)), HEADING)
    assert given == lay_out([plain("A", 3, 3)], paper("letter"), HEADING)
    assert "transform" not in sheet_svg(given[0])


@pytest.mark.parametrize("name", ["a6", "a5", "a4", "letter", "tabloid"])
def test_correction_is_said_on_every_paper(name: str) -> None:
    (page,) = lay_out([plain("A", 3, 2)], paper(name, printer=Printer(0.98, 1.01)), LONG_HEADING)
    with pdfplumber.open(io.BytesIO(sheets_pdf([page]))) as pdf:
        assert "0.98inacross" in words_on(pdf.pages[0])


@pytest.mark.parametrize(
    ("across", "down"), [(0.89, 1), (1, 1.11), (0, 1), (-1, 1), (float("nan"), 1), (72, 72)]
)
def test_printer_too_far_off_is_refused(across: float, down: float) -> None:
    with pytest.raises(BlockError) as caught:
        lay_out([plain("A", 3, 3)], paper("letter", printer=Printer(across, down)), HEADING)
    (fault,) = caught.value.faults
    assert (fault.pointer, fault.code) == ("/printer", "printer")
    assert "0.9 to 1.1 in" in fault.detail


@pytest.mark.parametrize("measured", [0.9, 1.1, 22.86 / 25.4, 27.94 / 25.4])
def test_limits_are_allowed(measured: float) -> None:
    assert Printer(measured, measured).faults() == []
