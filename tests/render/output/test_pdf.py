"""Sheets as a PDF, read back with readers that had no part in making it."""

from __future__ import annotations

import io

import pdfplumber
import pikepdf
import pypdf
import pypdfium2 as pdfium
import pytest

from piecewright.render.drawing.marks import Text, drawn
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.papers import PAPERS
from tests.render.specimens import HEADING, LONG_HEADING, paper, plain, quarter_circle


def document(name: str = "letter", orientation: str = "auto") -> bytes:
    drawings = [plain("A", 3, 3), quarter_circle("B", 17)]
    return sheets_pdf(lay_out(drawings, paper(name, orientation), HEADING))


def read(pdf: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(pdf), strict=True)


@pytest.mark.parametrize("name", ["letter", "legal", "tabloid", "a4", "a3", "a5", "a6", "b4"])
@pytest.mark.parametrize("orientation", ["portrait", "landscape"])
def test_page_is_the_sheet(name: str, orientation: str) -> None:
    size = [PAPERS[name].width * 72, PAPERS[name].height * 72]
    if orientation == "landscape":
        size.reverse()
    for page in read(document(name, orientation)).pages:
        assert [float(n) for n in page.mediabox[:2]] == [0, 0]
        assert [float(n) for n in page.mediabox[2:]] == pytest.approx(size, abs=0.01)
        assert page.get("/UserUnit", 1) == 1


@pytest.mark.parametrize("name", ["letter", "a4"])
def test_test_squares_measure_true_on_every_page(name: str) -> None:
    with pdfplumber.open(io.BytesIO(document(name))) as pdf:
        assert len(pdf.pages) > 2
        for number, page in enumerate(pdf.pages):
            (inch,) = (r for r in page.rects if abs(r["width"] - 72) < 1)
            assert (inch["width"], inch["height"]) == pytest.approx((72.0, 72.0), abs=0.005)
            fives = [r for r in page.rects if abs(r["width"] - 5 / 2.54 * 72) < 1]
            # Every sheet has it that has room; the first one has it in any case.
            assert len(fives) == 1 or (number and not fives)
            for five in fives:
                size = (five["width"], five["height"])
                assert size == pytest.approx((5 / 2.54 * 72, 5 / 2.54 * 72), abs=0.005)


def test_drawing_is_at_true_size() -> None:
    (page,) = lay_out([plain("A", 3.5125, 2.0125)], paper("letter"), HEADING)
    with pdfplumber.open(io.BytesIO(sheets_pdf([page]))) as pdf:
        sizes = [(r["width"], r["height"]) for r in pdf.pages[0].rects]
    assert any(
        width == pytest.approx(3.5 * 72, abs=0.01) and height == pytest.approx(144, abs=0.01)
        for width, height in sizes
    )


# ISO 32000-1, 12.2, table 150.
def test_viewer_is_asked_not_to_scale() -> None:
    preferences = read(document()).trailer["/Root"]["/ViewerPreferences"]  # type: ignore[index]
    assert preferences["/PrintScaling"] == "/None"
    assert preferences["/DisplayDocTitle"]
    assert preferences["/Duplex"] == "/Simplex"


# ISO 32000-1, 14.3.3 (information dictionary) and 14.3.2 (metadata stream).
def test_title_is_in_both_places() -> None:
    pdf = read(document())
    assert pdf.metadata is not None
    assert pdf.metadata.title == "Churn Dash: Cutting templates"
    assert pdf.xmp_metadata is not None
    assert pdf.xmp_metadata.dc_title == {"x-default": "Churn Dash: Cutting templates"}
    assert pdf.trailer["/Root"]["/Lang"] == "en"  # type: ignore[index]


def test_title_can_be_given() -> None:
    pages = lay_out([plain("A", 3, 3)], paper("letter"), HEADING)
    metadata = read(sheets_pdf(pages, "Churn Dash: all sheets")).metadata
    assert metadata is not None
    assert metadata.title == "Churn Dash: all sheets"


# ISO 32000-1, 12.4.2 and 12.3.3.
def test_pages_are_labelled_and_bookmarked() -> None:
    pdf = read(document("letter", "portrait"))
    assert pdf.page_labels == [str(n) for n in range(1, len(pdf.pages) + 1)]
    titles = [str(bookmark.title) for bookmark in pdf.outline]  # type: ignore[union-attr]
    assert titles[0].startswith("Template A")
    assert any(
        "Template B · row 1 of " in title or "Template B · row 2 of " in title for title in titles
    )
    numbers = [pdf.get_destination_page_number(b) for b in pdf.outline]  # type: ignore[arg-type]
    assert numbers == list(range(len(pdf.pages)))


# ISO 32000-1, 9.9: an embedded TrueType program is the descriptor's FontFile2.
def test_only_the_packages_typeface_is_used_and_it_is_embedded() -> None:
    with pikepdf.open(io.BytesIO(document())) as pdf:
        names = set()
        for page in pdf.pages:
            for font in page.resources.Font.as_dict().values():
                descriptor = (
                    font.DescendantFonts[0].FontDescriptor
                    if "/DescendantFonts" in font
                    else font.FontDescriptor
                )
                assert "/FontFile2" in descriptor
                names.add(str(descriptor.FontName).partition("+")[2])
    assert names == {"NotoSans-Regular", "NotoSans-Bold"}


def test_pages_share_their_fonts() -> None:
    with pikepdf.open(io.BytesIO(document())) as pdf:
        assert len(pdf.pages) > 3
        programs = {
            font.DescendantFonts[0].FontDescriptor.FontFile2.objgen
            if "/DescendantFonts" in font
            else font.FontDescriptor.FontFile2.objgen
            for page in pdf.pages
            for font in page.resources.Font.as_dict().values()
        }
    assert len(programs) == 2  # regular and bold


def test_text_can_be_read_back() -> None:
    text = read(document()).pages[0].extract_text()
    assert "Churn Dash" in text
    assert "page 1 of" in text


def test_same_pages_give_the_same_bytes() -> None:
    assert document() == document()


def test_no_date_is_written() -> None:
    pdf = document()
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert "/CreationDate" not in opened.docinfo
        assert "/ModDate" not in opened.docinfo
        metadata = opened.Root.Metadata.read_bytes()
    assert b"Date" not in metadata


def test_hard_text_is_drawn_and_not_refused() -> None:
    hard = "布 🧵 <&> \ud800 \x00 \u202e ]]> 'quoted' \"twice\" &amp;"
    drawing = drawn("A", hard, hard, [*plain("A", 3, 3).marks, Text(hard, (1, 1), 0.1)])
    pages = lay_out([drawing], paper("letter"), Heading(hard, hard))
    assert "<&>" in read(sheets_pdf(pages)).pages[0].extract_text()


def test_document_without_pages_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one page"):
        sheets_pdf([])


@pytest.mark.parametrize("name", ["a6", "letter"])
def test_no_ink_lies_outside_the_margins(name: str) -> None:
    pdf = sheets_pdf(lay_out([quarter_circle("B", 9)], paper(name), LONG_HEADING))
    opened = pdfium.PdfDocument(pdf)
    try:
        for page in opened:
            image = page.render(scale=2).to_pil().convert("L").point(lambda v: 255 * (v < 200))
            box = image.getbbox()
            assert box is not None
            inside = 0.25 * 144 - 2
            assert box[0] >= inside
            assert box[1] >= inside
            assert box[2] <= image.width - inside
            assert box[3] <= image.height - inside
    finally:
        opened.close()
