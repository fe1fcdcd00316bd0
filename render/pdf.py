"""Sheets as one PDF: each sheet's SVG, at true size, a page each.

Page labels, bookmarks and viewer preferences are those of ISO 32000-1. The
same pages give the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, Final

import pikepdf
from pikepdf import Array, Dictionary, Name, OutlineItem, String

from render import fonts
from render.papers import Sheet
from render.sheets import Page
from render.svg import sheet_svg

fonts.use_own_typeface()
import cairosvg  # noqa: E402  (fontconfig reads its configuration once, when text is first drawn)

_POINTS_PER_INCH: Final = 72
_PRODUCER: Final = "Piecewright"


def sheets_pdf(pages: Sequence[Page], title: str | None = None) -> bytes:
    """The sheets as a PDF document.

    Args:
        title: the document's; that of the first page's heading if not given.

    Raises:
        ValueError: there are no pages.
    """
    if not pages:
        raise ValueError("a document needs at least one page")
    title = fonts.printable(pages[0].heading.title if title is None else title)
    with pikepdf.new() as document, pikepdf.open(io.BytesIO(_drawn(pages))) as drawn:
        document.pages.extend(drawn.pages)
        for page, leaf in zip(pages, document.pages, strict=True):
            leaf.obj.MediaBox = _media_box(page.sheet)
        _introduce(document, title)
        _add_page_labels(document)
        _add_bookmarks(document, pages)
        out = io.BytesIO()
        document.save(
            out,
            deterministic_id=True,
            object_stream_mode=pikepdf.ObjectStreamMode.generate,
            compress_streams=True,
        )
    return out.getvalue()


def _drawn(pages: Sequence[Page]) -> bytes:
    """The sheets drawn into one document, so that they share their fonts."""
    out = io.BytesIO()
    paper = cairosvg.surface.PDFSurface.surface_class(out, 1, 1)

    class Leaf(cairosvg.surface.PDFSurface):  # type: ignore[misc]
        """A page of the document in place of a document of its own."""

        def _create_surface(self, width: float, height: float) -> tuple[Any, float, float]:
            paper.set_size(width, height)
            return paper, width, height

    for page in pages:
        tree = cairosvg.parser.Tree(bytestring=sheet_svg(page).encode("utf-8"), unsafe=False)
        Leaf(tree, None, 96)
        paper.show_page()
    paper.finish()
    return out.getvalue()


def _media_box(sheet: Sheet) -> Array:
    width, height = sheet.width * _POINTS_PER_INCH, sheet.height * _POINTS_PER_INCH
    return Array([0, 0, round(width, 4), round(height, 4)])


def _introduce(document: pikepdf.Pdf, title: str) -> None:
    """Title and language, and how a viewer should print: at true size, one-sided."""
    document.docinfo["/Title"] = String(title)
    document.docinfo["/Producer"] = String(_PRODUCER)
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


def _add_page_labels(document: pikepdf.Pdf) -> None:
    """Pages are labelled 1, 2, 3, ... as their footers count them."""
    document.Root.PageLabels = Dictionary(Nums=Array([0, Dictionary(S=Name.D)]))


def _add_bookmarks(document: pikepdf.Pdf, pages: Sequence[Page]) -> None:
    with document.open_outline() as outline:
        for number, page in enumerate(pages):
            name = fonts.shortened(page.title, 1.0, 60.0) or f"Page {page.number}"
            outline.root.append(OutlineItem(name, number))
