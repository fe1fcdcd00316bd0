"""Name fields: the place for a name on every page of a PDF, kept in the PDF itself.

Each page ends by drawing a form XObject (ISO 32000-1, 8.10) that is empty, named ``/NamePlace``
among the page's resources. Its box is the place; pages with the same place share it. To
write a name on all pages is to fill these few forms: nothing else of the document changes, and
its places are known wherever its bytes go.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import pikepdf
from pikepdf import Array, Dictionary, Name, Stream

from piecewright.render.drawing import fonts
from piecewright.render.drawing.linekinds import POINTS_PER_INCH
from piecewright.render.drawing.marks import Text, moved
from piecewright.render.output.cairo import PdfCanvas

Rectangle: TypeAlias = tuple[float, float, float, float]
"""Left, bottom, right and top on a page, points from its bottom left corner."""

_NAME: Final = "/NamePlace"

_LARGEST: Final = 0.11
_SMALLEST: Final = 0.055
"""The letters of a name, inches to the em; one that is too long even in the smallest, which are
those of a footer, loses its end."""

_REACH: Final = (0.77, 0.25)
"""How far above and below the baseline a name reaches at least, in ems, so that most names
stand at one height; letters with high accents are lettering a little smaller."""


@dataclass(frozen=True, slots=True)
class FieldText:
    """A name for a field of a size; points."""

    name: str
    width: float
    height: float


def add_fields(document: pikepdf.Pdf, places: Sequence[Rectangle]) -> None:
    """Give each page of a document an empty name field at its place."""
    # What the page's own content does to the coordinates is undone before the form is lettering.
    before = document.make_indirect(Stream(document, b"q"))
    after = document.make_indirect(Stream(document, f"Q {_NAME} Do".encode()))
    forms: dict[Rectangle, pikepdf.Object] = {}
    for pdf_page, exact in zip(document.pages, places, strict=True):
        # Rounded to less than a printer's dot, so that pages of one layout share their form.
        left, bottom, right, top = (round(v, 3) for v in exact)
        form = forms.get((left, bottom, right, top))
        if form is None:
            form = forms[left, bottom, right, top] = empty_form(
                document, Array([0, 0, round(right - left, 3), round(top - bottom, 3)])
            )
            form.Matrix = Array([1, 0, 0, 1, left, bottom])
        page = pdf_page.obj
        page.Contents = Array([before, page.Contents, after])
        page.Resources = with_form(page.Resources, form)


def empty_form(document: pikepdf.Pdf, box: pikepdf.Object) -> pikepdf.Object:
    """A form that draws nothing."""
    form = Stream(
        document, b"", Type=Name.XObject, Subtype=Name.Form, BBox=box, Resources=Dictionary()
    )
    return document.make_indirect(form)


def with_form(resources: pikepdf.Object, form: pikepdf.Object) -> Dictionary:
    """The resources of a page that draws ``form`` at its place for a name."""
    mine = dict(resources.items())
    others = dict(mine.get("/XObject", Dictionary()).items())
    return Dictionary({**mine, "/XObject": Dictionary({**others, _NAME: form})})


def field_of(page: pikepdf.Object) -> pikepdf.Object:
    """The name field of a page: the form at its place for a name.

    Raises:
        ValueError: the page has none; it was not made by ``sheets_pdf``.
    """
    form = page.get("/Resources", Dictionary()).get("/XObject", Dictionary()).get(_NAME)
    if form is None:
        raise ValueError("a page of the PDF has no place for a name; make it with sheets_pdf")
    return form


def field_text(name: str, form: pikepdf.Object) -> FieldText:
    """A name for the field that a form is."""
    _, _, width, height = (float(v) for v in form.BBox)
    return FieldText(name, width, height)


def names_pdf(names: Sequence[FieldText]) -> bytes:
    """A PDF with a page for each name, as large as its place, with the name at its right end."""
    out = io.BytesIO()
    canvas = PdfCanvas(out)
    for one in names:
        width, height = one.width / POINTS_PER_INCH, one.height / POINTS_PER_INCH
        # Cairo clips a page to whole points: on one of the place's size the last would be lost.
        wide, high = (math.ceil(side) / POINTS_PER_INCH for side in (one.width, one.height))
        with canvas.page(wide, high) as painter:
            painter.paint([moved(_fitted(one.name, width, height), 0.0, high - height)])
    canvas.finish()
    return out.getvalue()


def fill_field(
    document: pikepdf.Pdf, form: pikepdf.Object, lettering: pikepdf.Pdf, pdf_page: pikepdf.Object
) -> None:
    """Fill a form of ``document`` with what a page of ``lettering``, a ``names_pdf``, shows."""
    form.write(pdf_page.Contents.read_bytes())
    form.Resources = document.copy_foreign(lettering.make_indirect(pdf_page.Resources))


def _fitted(name: str, width: float, height: float) -> Text:
    """A name in letters that fit a place, its ink against the right end; inches."""
    text = fonts.one_line(f"for {name}")
    _, top, _, bottom = fonts.text_ink(text, 1.0, bold=True)
    # All places are about one line high: the height decides, and the width for long names.
    above, below = max(-top, _REACH[0]), max(bottom, _REACH[1])
    size = min(_LARGEST, height / (above + below))
    long = fonts.text_width(text, size, bold=True)
    if long > width:
        # As small as it needs to be, but no smaller than a footer; then it loses its end.
        size = max(min(size, _SMALLEST), size * width / long)
        text = fonts.shortened(text, size, width, bold=True)
    right = fonts.text_ink(text, size, bold=True)[2]
    return Text(text, (width - right, height - below * size), size, bold=True)
