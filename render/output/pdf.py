"""Sheets as one PDF, at true size, a page each.

Page labels, bookmarks and viewer preferences are those of ISO 32000-1. The
same pages give the same bytes. Every page has a place for a name; see
``render.output.name_fields``.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import BinaryIO, Final

import pikepdf
from pikepdf import Array, Dictionary, Name, OutlineItem, String

from piecewright.render.drawing import fonts
from piecewright.render.drawing.linekinds import POINTS_PER_INCH
from piecewright.render.output import name_fields
from piecewright.render.output.cairo import pages_pdf
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.papers import Sheet

_PRODUCER: Final = "Piecewright"


def sheets_pdf(
    pages: Sequence[Page], title: str | None = None, parts: Sequence[tuple[str, int]] = ()
) -> bytes:
    """The sheets as a PDF document.

    Args:
        title: the document's; that of the first page's heading if not given.
        parts: titles of parts and how many sheets each has, in their order; the bookmarks of a
            part's sheets stand below its own.

    Raises:
        ValueError: there are no pages.
    """
    if not pages:
        raise ValueError("a document needs at least one page")
    out = io.BytesIO()
    # Cairo paints; what a PDF says beyond its ink is added to that.
    with pikepdf.open(io.BytesIO(pages_pdf(pages))) as document:
        for page, pdf_page in zip(pages, document.pages, strict=True):
            pdf_page.obj.MediaBox = _media_box(page.sheet)
        name_fields.add_fields(document, [_name_place(page) for page in pages])
        introduce(document, pages[0].heading.title if title is None else title)
        _add_page_labels(document)
        _add_bookmarks(document, pages, parts)
        save(document, out)
    return out.getvalue()


def introduce(document: pikepdf.Pdf, title: str) -> None:
    """Title and language, and how a viewer should print: at true size, one-sided."""
    title = fonts.printable(title)
    # In place of what cairo says, which names the hour of the drawing.
    document.trailer.Info = document.make_indirect(
        Dictionary(Title=String(title), Producer=String(_PRODUCER))
    )
    with document.open_metadata(set_pikepdf_as_editor=False, update_docinfo=False) as metadata:
        metadata["dc:title"] = title
        metadata["dc:language"] = {"en"}
        metadata["pdf:Producer"] = _PRODUCER
    document.Root.Lang = String("en")
    document.Root.ViewerPreferences = Dictionary(
        PrintScaling=Name("/None"),
        DisplayDocTitle=True,
        PickTrayByPDFSize=True,
        Duplex=Name.Simplex,
    )


def save(document: pikepdf.Pdf, out: BinaryIO) -> None:
    """Write a document; the same one gives the same bytes."""
    document.save(
        out,
        deterministic_id=True,
        object_stream_mode=pikepdf.ObjectStreamMode.generate,
        compress_streams=True,
    )


def _media_box(sheet: Sheet) -> Array:
    width, height = sheet.width * POINTS_PER_INCH, sheet.height * POINTS_PER_INCH
    return Array([0, 0, round(width, 4), round(height, 4)])


def _name_place(page: Page) -> name_fields.Rectangle:
    """Where a name goes on the sheet that is sent to the printer, points from its bottom left."""
    a, d, e, f = page.sheet.correction or (1.0, 1.0, 0.0, 0.0)
    place, height = page.name_place, page.sheet.height
    left, right = a * place.x + e, a * place.right + e
    # In a PDF y goes up from the bottom of the page.
    top, bottom = d * place.y + f, d * place.bottom + f
    return (
        left * POINTS_PER_INCH,
        (height - bottom) * POINTS_PER_INCH,
        right * POINTS_PER_INCH,
        (height - top) * POINTS_PER_INCH,
    )


def _add_page_labels(document: pikepdf.Pdf) -> None:
    """Pages are labelled 1, 2, 3, ... as their footers count them."""
    document.Root.PageLabels = Dictionary(Nums=Array([0, Dictionary(S=Name.D)]))


def _add_bookmarks(
    document: pikepdf.Pdf, pages: Sequence[Page], parts: Sequence[tuple[str, int]]
) -> None:
    items = []
    for number, page in enumerate(pages):
        name = fonts.shortened(page.title, 1.0, 60.0) or f"Page {page.number}"
        items.append(OutlineItem(name, number))
    with document.open_outline() as outline:
        if not parts:
            outline.root.extend(items)
        first = 0
        for title, sheets in parts:
            part = OutlineItem(fonts.shortened(title, 1.0, 60.0), first)
            if sheets > 1:
                part.children.extend(items[first : first + sheets])
            outline.root.append(part)
            first += sheets
