"""A name on every sheet of a PDF: read back with readers that had no part in it."""

from __future__ import annotations

import io
import re

import numpy as np
import pdfplumber
import pikepdf
import pypdf
import pypdfium2 as pdfium
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.render.drawing import fonts
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.output.stamping import stamped
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page, numbered
from piecewright.render.sheets.papers import Printer
from piecewright.render.sheets.sheet_settings import SheetSettings
from tests.render.specimens import (
    HEADING,
    LONG_HEADING,
    paper,
    pdf_from_elsewhere,
    plain,
    quarter_circle,
)

LEAST = SheetSettings(width=3.95, height=7, orientation="portrait")
"""The narrowest sheet that is laid out, or nearly."""

NAMES = ["Wim", "Ásta Margrét Jónsdóttir", "Nguyễn Thị Ấu", "Ζωή", "Юлия", "Ǻḡ"]


def pages() -> tuple[Page, ...]:
    """Whole drawings and tiles, on three papers, of which one is corrected for its printer."""
    drawings = [plain("A", 3, 2), quarter_circle("B", 9)]
    skewed = paper("a5", printer=Printer(0.93, 1.04))
    return numbered(
        page for way in (paper("letter"), LEAST, skewed) for page in lay_out(drawings, way, HEADING)
    )


@pytest.fixture(scope="module")
def sheets() -> tuple[Page, ...]:
    return pages()


@pytest.fixture(scope="module")
def master(sheets: tuple[Page, ...]) -> bytes:
    return sheets_pdf(sheets)


def read(pdf: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(pdf), strict=True)


@pytest.mark.parametrize("name", NAMES)
def test_every_sheet_says_whom_it_is_for(master: bytes, name: str) -> None:
    pdf = read(stamped(master, name))
    assert len(pdf.pages) == len(read(master).pages)
    for page in pdf.pages:
        assert f"for {name}" in page.extract_text()


@pytest.mark.parametrize("name", [*NAMES, "W" * 300, "gjy " * 50, "Ǻ" * 12])
def test_name_stands_in_its_place_and_nothing_else_is_touched(
    sheets: tuple[Page, ...], master: bytes, name: str
) -> None:
    """The pixels that differ from those of the master lie in the place on each sheet."""
    one, other = pdfium.PdfDocument(master), pdfium.PdfDocument(stamped(master, name))
    try:
        for page, plain_leaf, named_leaf in zip(sheets, one, other, strict=True):
            before, after = (
                np.asarray(leaf.render(scale=100 / 72).to_pil().convert("L"), np.int16)
                for leaf in (plain_leaf, named_leaf)
            )
            rows, columns = np.nonzero(before != after)
            assert len(rows) > 20
            assert (before[rows, columns] > 250).all()  # the paper was white there
            a, d, e, f = page.sheet.correction or (1, 1, 0, 0)
            place = page.name_place
            slack = 1.5  # pixels: PDFium sets letters at whole ones
            assert columns.min() >= (a * place.x + e) * 100 - slack
            assert columns.max() <= (a * place.right + e) * 100 + slack
            assert rows.min() >= (d * place.y + f) * 100 - slack
            assert rows.max() <= (d * place.bottom + f) * 100 + slack
    finally:
        one.close()
        other.close()


def test_no_letter_of_a_name_is_cut_off(master: bytes) -> None:
    """Whatever a form is clipped to besides its box, cairo's page of whole points for one,
    reaches to the end of the place, where the last letter stands."""
    with pikepdf.open(io.BytesIO(stamped(master, "Ada of the Slipway"))) as pdf:
        for page in pdf.pages:
            form = page.Resources.XObject.NamePlace
            clips = re.findall(rb"([-.\d]+) [-.\d]+ ([-.\d]+) [-.\d]+ re W", form.read_bytes())
            assert all(float(x) + float(wide) >= float(form.BBox[2]) for x, wide in clips)


def test_long_name_loses_its_end_and_says_so(master: bytes) -> None:
    text = read(stamped(master, "Wilhelmina " * 20)).pages[0].extract_text()
    assert "for Wilhelmina Wilhelmina" in text
    assert "…" in text


def test_name_that_the_typeface_lacks_is_drawn_as_its_empty_boxes(master: bytes) -> None:
    assert not fonts.has_glyph("布")
    with pdfplumber.open(io.BytesIO(stamped(master, "布 Ito"))) as pdf:
        letters = pdf.pages[0].search("Ito")[0]["chars"]
        before = pdf.pages[0].search(r"\bfor\b")[-1]["chars"]
    room = (letters[0]["x0"] - before[-1]["x1"]) / letters[0]["size"]
    assert room == pytest.approx(0.26 + 0.6 + 0.26, abs=0.03)  # space, .notdef and space


def test_letters_are_never_smaller_than_small_print(master: bytes) -> None:
    with pdfplumber.open(io.BytesIO(stamped(master, "Q" * 300))) as pdf:
        for page in pdf.pages:
            assert min(c["size"] for c in page.chars if c["text"] == "Q") >= 0.055 * 72 - 1e-6


# ISO 32000-1, 8.10: a form XObject is drawn as often as it is named.
def test_name_is_drawn_once_for_each_place_and_its_font_is_embedded_once(
    master: bytes, sheets: tuple[Page, ...]
) -> None:
    with pikepdf.open(io.BytesIO(stamped(master, "Wim"))) as pdf:
        forms = {page.Resources.XObject.NamePlace.objgen for page in pdf.pages}
        assert 3 <= len(forms) <= len({(page.sheet, page.name_place) for page in sheets})
        assert len(forms) < len(pdf.pages)
        programs = {
            font.FontDescriptor.FontFile2.objgen
            for page in pdf.pages
            for font in page.Resources.XObject.NamePlace.Resources.Font.as_dict().values()
        }
        assert len(programs) == 1


def test_bookmarks_labels_and_preferences_stay(master: bytes) -> None:
    before, after = read(master), read(stamped(master, "Wim"))
    assert after.page_labels == before.page_labels
    titles = [bookmark.title for bookmark in after.outline]  # type: ignore[union-attr]
    assert titles == [bookmark.title for bookmark in before.outline]  # type: ignore[union-attr]
    numbers = [after.get_destination_page_number(b) for b in after.outline]  # type: ignore[arg-type]
    assert numbers == list(range(len(after.pages)))
    preferences = after.trailer["/Root"]["/ViewerPreferences"]  # type: ignore[index]
    assert preferences["/PrintScaling"] == "/None"
    for page, same in zip(after.pages, before.pages, strict=True):
        assert page.mediabox == same.mediabox


def test_title_says_whom_it_is_for(master: bytes) -> None:
    pdf = read(stamped(master, "Wim"))
    assert pdf.metadata is not None
    assert pdf.metadata.title == "Churn Dash: Cutting templates, for Wim"
    assert pdf.xmp_metadata is not None
    assert pdf.xmp_metadata.dc_title == {"x-default": "Churn Dash: Cutting templates, for Wim"}


def test_same_name_gives_the_same_bytes_whoever_came_before(master: bytes) -> None:
    first = stamped(master, "Ásta")
    stamped(master, "Wim")
    assert stamped(master, "Ásta") == first


@pytest.mark.parametrize("name", ["", "   ", "\u200b\x00", "\t\n"])
def test_nobody_named_changes_nothing(master: bytes, name: str) -> None:
    assert stamped(master, name) == master


@settings(deadline=None, max_examples=30)
@given(st.text(st.characters(exclude_categories=[]), max_size=40))
def test_any_name_gives_a_document_that_can_be_read(name: str) -> None:
    pdf = read(stamped(SMALL, name))
    assert len(pdf.pages) == 1
    pdf.pages[0].extract_text()


SMALL = sheets_pdf(lay_out([plain("A", 3, 2)], paper("a6"), LONG_HEADING))


def test_copy_costs_a_few_kilobytes_beside_its_master(master: bytes) -> None:
    assert len(stamped(master, "Ásta Margrét Jónsdóttir")) < len(master) + 12_000


def test_pdf_from_elsewhere_is_refused() -> None:
    with pytest.raises(ValueError, match="no place for a name"):
        stamped(pdf_from_elsewhere(), "Wim")
