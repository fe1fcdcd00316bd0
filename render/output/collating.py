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
class _Leaves:
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
    leaves: _Leaves

    def title(self, ems: float) -> str:
        """Whose sheets these are, or else what they are, in a few words."""
        return fonts.shortened(self.name or self.leaves.title, 1.0, ems) or "Sheets"


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
        taken: dict[str, _Leaves] = {}
        people: list[_Copy] = []
        for name, master in copies:
            content = master.read_bytes() if isinstance(master, Path) else master
            key = hashlib.sha256(content).hexdigest()
            if key not in taken:
                taken[key] = _taken_over(document, content)
            people.append(_Copy(fonts.one_line(name), taken[key]))
        if not people:
            raise ValueError("a document needs at least one copy")
        forms = _named_forms(document, people)
        tree = document.make_indirect(Dictionary(Type=Name.Pages))
        branches = [_branch(document, tree, one, forms) for one in people]
        tree.Kids = Array(branches)
        tree.Count = sum(len(one.leaves.pages) for one in people)
        document.Root.Pages = tree
        document.Root.PageLabels = Dictionary(Nums=Array(_labels(people)))
        introduce(document, title)
        with document.open_outline() as outline:
            for one, branch in zip(people, branches, strict=True):
                outline.root.append(_bookmark(one, branch))
        save(document, out)


def _taken_over(document: pikepdf.Pdf, content: bytes) -> _Leaves:
    """A master's pages; what all copies of one share are objects of their own."""
    with pikepdf.open(io.BytesIO(content)) as source:
        leaves = [page.obj for page in source.pages]
        numbers = {leaf.objgen: number for number, leaf in enumerate(leaves)}
        with source.open_outline() as outline:
            bookmarks = tuple(_read(item, numbers) for item in outline.root)
        pages, forms = [], []
        for leaf in leaves:
            form = name_fields.form_of(leaf)
            forms.append(document.copy_foreign(form))
            parts = {key: value for key, value in leaf.items() if key != "/Parent"}
            resources = dict(leaf.Resources.items())
            del resources["/XObject"]
            parts["/Resources"] = Dictionary(
                {key: source.make_indirect(value) for key, value in resources.items()}
            )
            for key in ("/Contents", "/Group"):
                if key in parts:
                    parts[key] = source.make_indirect(parts[key])
            pages.append(document.copy_foreign(source.make_indirect(Dictionary(parts))))
        title = str(source.docinfo.get("/Title", ""))
    return _Leaves(title, tuple(pages), tuple(forms), bookmarks)


def _read(item: OutlineItem, numbers: Mapping[_Number, int]) -> _Bookmark:
    """A bookmark of a master whose pages have those numbers."""
    target = item.destination
    page = numbers.get(target[0].objgen) if isinstance(target, Array) else None
    return _Bookmark(item.title, page, tuple(_read(child, numbers) for child in item.children))


def _named_forms(
    document: pikepdf.Pdf, people: Iterable[_Copy]
) -> dict[tuple[str, _Number], pikepdf.Object]:
    """For every name and every place that it is wanted at, the form that shows it there.

    All names are drawn together, in fonts that all share.
    """
    places = {
        (one.name, form.objgen): form for one in people if one.name for form in one.leaves.forms
    }
    if not places:
        return {}
    names = [name_fields.wanted(name, form) for (name, _), form in places.items()]
    found = {}
    with pikepdf.open(io.BytesIO(name_fields.lettered(names))) as drawn:
        for (key, place), leaf in zip(places.items(), drawn.pages, strict=True):
            form = name_fields.empty_form(document, place.BBox)
            form.Matrix = place.Matrix
            name_fields.letter(document, form, drawn, leaf.obj)
            found[key] = form
    return found


def _branch(
    document: pikepdf.Pdf,
    tree: pikepdf.Object,
    one: _Copy,
    forms: Mapping[tuple[str, _Number], pikepdf.Object],
) -> pikepdf.Object:
    """Somebody's pages, a branch of the tree of pages (ISO 32000-1, 7.7.3)."""
    branch = document.make_indirect(Dictionary(Type=Name.Pages, Parent=tree))
    pages = []
    for leaf, empty in zip(one.leaves.pages, one.leaves.forms, strict=True):
        form = forms.get((one.name, empty.objgen), empty)
        page = Dictionary(dict(leaf.items()))
        page.Resources = name_fields.with_form(leaf.Resources, form)
        page.Parent = branch
        pages.append(document.make_indirect(page))
    branch.Kids = Array(pages)
    branch.Count = len(pages)
    return branch


def _labels(people: Iterable[_Copy]) -> list[int | Dictionary]:
    """Every copy's pages are counted from 1, after whose they are (ISO 32000-1, 12.4.2)."""
    labels: list[int | Dictionary] = []
    first = 0
    for one in people:
        style = Dictionary(S=Name.D)
        if one.name:
            style.P = String(f"{one.title(30.0)}, ")
        labels += [first, style]
        first += len(one.leaves.pages)
    return labels


def _bookmark(one: _Copy, branch: pikepdf.Object) -> OutlineItem:
    """Somebody's bookmark, closed, with those of the sheets below it."""
    pages = list(branch.Kids)

    def planted(bookmark: _Bookmark) -> OutlineItem:
        leads_to = None if bookmark.page is None else _top_of(pages[bookmark.page])
        item = OutlineItem(bookmark.title, leads_to)
        item.children.extend(planted(child) for child in bookmark.children)
        return item

    item = OutlineItem(one.title(60.0), _top_of(pages[0]))
    item.is_closed = True
    item.children.extend(planted(bookmark) for bookmark in one.leaves.bookmarks)
    return item


def _top_of(page: pikepdf.Object) -> Array:
    """A bookmark's way to a page (ISO 32000-1, 12.3.2.2)."""
    return Array([page, Name.Fit])
