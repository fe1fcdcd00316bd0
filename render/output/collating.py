"""Many people's PDFs as one, for a print shop: everybody's sheets in turn.

Copies of one PDF share all that they have in common, so that each more costs its name and
a few words for each page. The same copies give the same bytes.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, TypeAlias

import pikepdf
from pikepdf import Array, Dictionary, Name, OutlineItem, String

from piecewright.render.drawing import fonts
from piecewright.render.output import name_fields
from piecewright.render.output.pdf import introduce, save

Master: TypeAlias = bytes | Path
"""A PDF without a name, as ``sheets_pdf`` gave it, or the file that it is kept in."""

_Number: TypeAlias = tuple[int, int]
"""An object's, in the document that is being made."""


@dataclass(frozen=True, slots=True)
class _Bookmark:
    """A master's bookmark; ``page`` counts from 0, and is None where it leads to none."""

    title: str
    page: int | None
    children: tuple[_Bookmark, ...]


@dataclass(frozen=True, slots=True)
class _MasterPages:
    """A master's pages, taken over into the document that is being made.

    Attributes:
        pages: without their place in a tree of pages.
        forms: the empty form at each page's place for a name.
    """

    title: str
    pages: tuple[pikepdf.Object, ...]
    forms: tuple[pikepdf.Object, ...]
    bookmarks: tuple[_Bookmark, ...]


@dataclass(frozen=True, slots=True)
class _Copy:
    """The sheets of one person; ``name`` may be empty."""

    name: str
    master: _MasterPages

    def title(self, ems: float) -> str:
        """Whose sheets these are, or else what they are, in a few words."""
        return fonts.shortened(self.name or self.master.title, 1.0, ems) or "Sheets"


def collate(copies: Iterable[tuple[str, Master]], title: str, out: BinaryIO) -> None:
    """Everybody's sheets in one PDF.

    Each copy has a bookmark with those of its sheets below it, and its pages are labelled with
    the name and their number, such as ``Wim, 3``. All distinct masters are in memory at once.

    Args:
        copies: the name on the sheets, empty for none, and the PDF; in the order of printing.
        title: the document's.
        out: where the PDF is written to.

    Raises:
        ValueError: there are no copies, or a page has no place for a name.
        OSError: a file cannot be read.
    """
    with pikepdf.new() as document:
        taken: dict[str, _MasterPages] = {}
        people: list[_Copy] = []
        for name, master in copies:
            content = master.read_bytes() if isinstance(master, Path) else master
            key = hashlib.sha256(content).hexdigest()
            if key not in taken:
                taken[key] = _copied_pages(document, content)
            people.append(_Copy(fonts.one_line(name), taken[key]))
        if not people:
            raise ValueError("a document needs at least one copy")
        forms = _named_forms(document, people)
        # A node of the page tree for each person: the pages of a copy stay together.
        tree = document.make_indirect(Dictionary(Type=Name.Pages))
        nodes = [_page_tree_node(document, tree, one, forms) for one in people]
        tree.Kids = Array(nodes)
        tree.Count = sum(len(one.master.pages) for one in people)
        document.Root.Pages = tree
        document.Root.PageLabels = Dictionary(Nums=Array(_labels(people)))
        introduce(document, title)
        with document.open_outline() as outline:
            for one, node in zip(people, nodes, strict=True):
                outline.root.append(_bookmark(one, node))
        save(document, out)


def _copied_pages(document: pikepdf.Pdf, content: bytes) -> _MasterPages:
    """A master's pages; what all copies of one share are objects of their own."""
    with pikepdf.open(io.BytesIO(content)) as source:
        pdf_pages = [page.obj for page in source.pages]
        numbers = {pdf_page.objgen: number for number, pdf_page in enumerate(pdf_pages)}
        with source.open_outline() as outline:
            bookmarks = tuple(_read(item, numbers) for item in outline.root)
        pages, forms = [], []
        for pdf_page in pdf_pages:
            form = name_fields.field_of(pdf_page)
            forms.append(document.copy_foreign(form))
            parts = {key: value for key, value in pdf_page.items() if key != "/Parent"}
            # The form for the name is each copy's own, and is left out of what copies share.
            resources = dict(pdf_page.Resources.items())
            del resources["/XObject"]
            parts["/Resources"] = Dictionary(
                {key: source.make_indirect(value) for key, value in resources.items()}
            )
            # As objects of their own they are written once, and each copy's page refers to them.
            for key in ("/Contents", "/Group"):
                if key in parts:
                    parts[key] = source.make_indirect(parts[key])
            pages.append(document.copy_foreign(source.make_indirect(Dictionary(parts))))
        title = str(source.docinfo.get("/Title", ""))
    return _MasterPages(title, tuple(pages), tuple(forms), bookmarks)


def _read(item: OutlineItem, numbers: Mapping[_Number, int]) -> _Bookmark:
    """A bookmark of a master whose pages have those numbers."""
    target = item.destination
    page = numbers.get(target[0].objgen) if isinstance(target, Array) else None
    return _Bookmark(item.title, page, tuple(_read(child, numbers) for child in item.children))


def _named_forms(
    document: pikepdf.Pdf, people: Iterable[_Copy]
) -> dict[tuple[str, _Number], pikepdf.Object]:
    """For every name and every place that it is wanted at, the form that shows it there.

    All names are lettering together, in fonts that all share.
    """
    # A name is drawn once for each place, however many pages have that.
    places = {
        (one.name, form.objgen): form for one in people if one.name for form in one.master.forms
    }
    if not places:
        return {}
    names = [name_fields.field_text(name, form) for (name, _), form in places.items()]
    found = {}
    with pikepdf.open(io.BytesIO(name_fields.names_pdf(names))) as lettering:
        for (key, place), pdf_page in zip(places.items(), lettering.pages, strict=True):
            form = name_fields.empty_form(document, place.BBox)
            form.Matrix = place.Matrix
            name_fields.fill_field(document, form, lettering, pdf_page.obj)
            found[key] = form
    return found


def _page_tree_node(
    document: pikepdf.Pdf,
    tree: pikepdf.Object,
    one: _Copy,
    forms: Mapping[tuple[str, _Number], pikepdf.Object],
) -> pikepdf.Object:
    """Somebody's pages, a node of the tree of pages (ISO 32000-1, 7.7.3)."""
    node = document.make_indirect(Dictionary(Type=Name.Pages, Parent=tree))
    pages = []
    for pdf_page, empty in zip(one.master.pages, one.master.forms, strict=True):
        form = forms.get((one.name, empty.objgen), empty)
        page = Dictionary(dict(pdf_page.items()))
        page.Resources = name_fields.with_form(pdf_page.Resources, form)
        page.Parent = node
        pages.append(document.make_indirect(page))
    node.Kids = Array(pages)
    node.Count = len(pages)
    return node


def _labels(people: Iterable[_Copy]) -> list[int | Dictionary]:
    """Every copy's pages are counted from 1, after whose they are (ISO 32000-1, 12.4.2)."""
    labels: list[int | Dictionary] = []
    first = 0
    for one in people:
        style = Dictionary(S=Name.D)
        if one.name:
            style.P = String(f"{one.title(30.0)}, ")
        labels += [first, style]
        first += len(one.master.pages)
    return labels


def _bookmark(one: _Copy, node: pikepdf.Object) -> OutlineItem:
    """Somebody's bookmark, closed, with those of the sheets below it."""
    pages = list(node.Kids)

    def copied(bookmark: _Bookmark) -> OutlineItem:
        leads_to = None if bookmark.page is None else _top_of(pages[bookmark.page])
        item = OutlineItem(bookmark.title, leads_to)
        item.children.extend(copied(child) for child in bookmark.children)
        return item

    item = OutlineItem(one.title(60.0), _top_of(pages[0]))
    item.is_closed = True
    item.children.extend(copied(bookmark) for bookmark in one.master.bookmarks)
    return item


def _top_of(page: pikepdf.Object) -> Array:
    """A bookmark's way to a page (ISO 32000-1, 12.3.2.2)."""
    return Array([page, Name.Fit])
