"""A PDF with a name on each sheet, made from one without: no sheet is lettering again."""

from __future__ import annotations

import io

import pikepdf

from piecewright.render.drawing import fonts
from piecewright.render.output import name_fields
from piecewright.render.output.pdf import introduce, save


def stamped(master: bytes, name: str) -> bytes:
    """A copy of a PDF for somebody, with ``for NAME`` on each sheet and in the title.

    The name is lettering once for each place that pages have for it, in one embedded font; labels,
    bookmarks and sheets stay as they are. The same master and name give the same bytes.

    Args:
        master: what ``sheets_pdf`` gave.
        name: any text; nothing is written if it has no character that can be printed.

    Raises:
        ValueError: a page has no place for a name.
    """
    name = fonts.one_line(name)
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(master)) as document:
        # Pages with their place at the same spot share one form: each form is filled once.
        forms = {form.objgen: form for form in map(name_fields.field_of, _pages(document))}
        # Even then the master is looked at, so that one without places for a name is refused.
        if not name:
            return master
        names = name_fields.names_pdf([name_fields.field_text(name, f) for f in forms.values()])
        with pikepdf.open(io.BytesIO(names)) as lettering:
            for form, pdf_page in zip(forms.values(), _pages(lettering), strict=True):
                name_fields.fill_field(document, form, lettering, pdf_page)
            introduce(document, titled(title_of(document), name))
            save(document, out)
    return out.getvalue()


def title_of(document: pikepdf.Pdf) -> str:
    """The title in a document's information dictionary."""
    return str(document.docinfo.get("/Title", ""))


def titled(title: str, name: str) -> str:
    """The title of somebody's copy."""
    return f"{title}, for {name}" if title else f"For {name}"


def _pages(document: pikepdf.Pdf) -> list[pikepdf.Object]:
    return [page.obj for page in document.pages]
