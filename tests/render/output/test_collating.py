"""A class's copies as one PDF for a print shop, read back with readers of others."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
import pypdf
import pypdfium2 as pdfium
import pytest

from piecewright.render.output.collating import Master, collate
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.output.stamping import stamped
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import numbered
from tests.render.specimens import HEADING, paper, pdf_from_elsewhere, plain, quarter_circle

STARS = sheets_pdf(lay_out([plain("A", 3, 2), quarter_circle("B", 9)], paper("letter"), HEADING))
BASKETS = sheets_pdf(
    lay_out([quarter_circle("C", 3)], paper("a5"), Heading("Cake Stand", "Cutting templates"))
)
PARTS = sheets_pdf(
    numbered(
        page
        for drawing in (plain("A", 3, 2), plain("B", 14, 10))
        for page in lay_out([drawing], paper("letter"), HEADING)
    ),
    parts=[("Small ones", 1), ("Large ones", 2)],
)


def collated(*copies: tuple[str, Master], title: str = "Harbour class") -> bytes:
    out = io.BytesIO()
    collate(copies, title, out)
    return out.getvalue()


def read(pdf: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(pdf), strict=True)


def words_on(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in read(pdf).pages]


def test_everybodys_sheets_follow_each_other_with_their_names() -> None:
    one, other = words_on(STARS), words_on(BASKETS)
    found = words_on(collated(("Wim", STARS), ("Ásta", BASKETS), ("Zoë", STARS)))
    wanted = [("Wim", s) for s in one] + [("Ásta", s) for s in other] + [("Zoë", s) for s in one]
    assert len(found) == len(wanted)
    for text, (name, sheet) in zip(found, wanted, strict=True):
        assert sorted(text.split()) == sorted(f"{sheet} for {name}".split())


def test_sheets_look_as_in_everybodys_own_copy() -> None:
    own = [pdfium.PdfDocument(stamped(master, "Ásta")) for master in (STARS, BASKETS)]
    together = pdfium.PdfDocument(collated(("Ásta", STARS), ("Ásta", BASKETS)))
    try:
        pages = [page for document in own for page in document]
        for page, same in zip(pages, together, strict=True):
            assert page.get_size() == same.get_size()
            one, other = (np.asarray(p.render(scale=1).to_pil()) for p in (page, same))
            assert (one == other).all()
    finally:
        for document in (*own, together):
            document.close()


# ISO 32000-1, 12.4.2: a range's prefix /P stands before each of its pages' numbers.
def test_pages_are_labelled_with_name_and_number() -> None:
    pdf = read(collated(("Wim", STARS), ("Ásta", BASKETS), ("", BASKETS)))
    count = len(read(STARS).pages)
    wims = [f"Wim, {n}" for n in range(1, count + 1)]
    assert pdf.page_labels == [*wims, "Ásta, 1", "1"]


# ISO 32000-1, 12.3.3.
def test_each_person_has_a_bookmark_with_their_sheets_below() -> None:
    pdf = read(collated(("Wim", BASKETS), ("Ásta", PARTS), ("", BASKETS)))
    assert bookmarks(pdf, pdf.outline) == [
        ("Wim", 0),
        [("Template C", 0)],
        ("Ásta", 1),
        [
            ("Small ones", 1),
            ("Large ones", 2),
            [
                ("Template B · row 1 of 1, column 1 of 2", 2),
                ("Template B · row 1 of 1, column 2 of 2", 3),
            ],
        ],
        ("Cake Stand: Cutting templates", 4),
        [("Template C", 4)],
    ]


def bookmarks(pdf: pypdf.PdfReader, items: Any) -> list[Any]:
    """Title and page of each, those below one in a list after it."""
    return [
        bookmarks(pdf, item)
        if isinstance(item, list)
        else (item.title, pdf.get_destination_page_number(item))
        for item in items
    ]


def test_people_are_folded_away_in_the_list_of_bookmarks() -> None:
    """ISO 32000-1, table 153: a negative count is that of an item which is closed."""
    with pikepdf.open(io.BytesIO(collated(("Wim", STARS), ("Ásta", BASKETS)))) as pdf:
        first = pdf.Root.Outlines.First
        assert int(first.Count) == -len(read(STARS).pages)
        assert int(first.Next.Count) == -1


def test_copies_of_one_master_share_all_but_their_names() -> None:
    names = [f"Student {n}" for n in range(60)]
    few, many = (collated(*((name, STARS) for name in names[:n])) for n in (20, 60))
    assert (len(many) - len(few)) / 40 < 0.03 * len(STARS)
    with pikepdf.open(io.BytesIO(many)) as pdf:
        count = len(read(STARS).pages)
        assert len(pdf.pages) == 60 * count
        for n in range(count):
            assert len({pdf.pages[k * count + n].Contents[1].objgen for k in range(60)}) == 1
        fonts = [o for o in pdf.objects if isinstance(o, pikepdf.Stream) and "/Length1" in o]
        assert len(fonts) == 3  # regular and bold of the sheets; bold of all names


def test_masters_may_be_files(tmp_path: Path) -> None:
    kept = tmp_path / "stars.pdf"
    kept.write_bytes(STARS)
    assert collated(("Wim", kept), ("Ásta", STARS)) == collated(("Wim", STARS), ("Ásta", STARS))


def test_same_copies_give_the_same_bytes() -> None:
    copies: list[tuple[str, Master]] = [("Wim", STARS), ("Ásta", BASKETS)]
    assert collated(*copies) == collated(*copies)


def test_document_has_its_title_and_is_printed_true() -> None:
    pdf = read(collated(("Wim", STARS), title="Harbour class"))
    assert pdf.metadata is not None
    assert pdf.metadata.title == "Harbour class"
    assert "/CreationDate" not in pdf.metadata
    preferences = pdf.trailer["/Root"]["/ViewerPreferences"]  # type: ignore[index]
    assert preferences["/PrintScaling"] == "/None"


@pytest.mark.parametrize("name", ["(", "\\", "\ud800", "x" * 5000, "布"])
def test_hard_names_are_taken(name: str) -> None:
    assert len(read(collated((name, BASKETS))).pages) == 1


def test_nobody_named_leaves_the_sheets_without_a_name() -> None:
    assert "for" not in words_on(collated(("", BASKETS)))[0].split()


def test_no_copies_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one copy"):
        collated()


def test_pdf_from_elsewhere_is_refused() -> None:
    with pytest.raises(ValueError, match="no place for a name"):
        collated(("Wim", pdf_from_elsewhere()))
