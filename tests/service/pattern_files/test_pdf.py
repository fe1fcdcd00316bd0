"""What a PDF's page is, whatever its file says of it, and files that would do harm.

Rotate, CropBox and UserUnit are ISO 32000-2, table 31; optional content 8.11; forms 8.10. Files
are made and changed with ReportLab and pikepdf.
"""

from __future__ import annotations

import io
from collections.abc import Callable

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Pdf

from piecewright.patchwork.reading.choices import Choices
from piecewright.patchwork.reading.reading import read_pattern
from piecewright.patchwork.reading.results import Reading
from piecewright.service.pattern_files.limits import MOST_PAGES, PatternFileError
from piecewright.service.pattern_files.pdf import pages_of_pdf
from tests.service.pattern_files.draughtsmen import ReportLab
from tests.service.pattern_files.patterns import PATTERNS, draw


def pier() -> bytes:
    pen = ReportLab()
    for section in PATTERNS["pier"]:
        draw(pen, section)
    return pen.file()


def changed(change: Callable[[Pdf], None], data: bytes | None = None) -> bytes:
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(data or pier())) as document:
        change(document)
        document.save(out)
    return out.getvalue()


def reading(data: bytes) -> Reading:
    return read_pattern(pages_of_pdf(data), Choices(side="face"))


def corner(read: Reading) -> tuple[float, float]:
    """The upper left corner of all patches."""
    points = [p for s in read.sections for piece in s.pieces for p in piece.outline]
    return (min(x for x, _ in points), min(y for _, y in points))


@pytest.mark.parametrize(
    ("turn", "size", "at"),
    [
        (0, (8.5, 11), (1, 1)),
        (90, (11, 8.5), (11 - 7.7, 1)),
        (180, (8.5, 11), (8.5 - 5.2, 11 - 7.7)),
        (270, (11, 8.5), (1, 8.5 - 5.2)),
    ],
)
def test_a_page_is_read_as_it_is_turned(
    turn: int, size: tuple[float, float], at: tuple[float, float]
) -> None:
    def turned(document: Pdf) -> None:
        document.pages[0].obj.Rotate = turn

    read = reading(changed(turned))
    assert read.is_complete
    assert (read.sheets[0].width, read.sheets[0].height) == pytest.approx(size)
    assert corner(read) == pytest.approx(at, abs=0.002)


def test_a_page_is_read_as_it_is_cropped() -> None:
    def cropped(document: Pdf) -> None:
        document.pages[0].obj.CropBox = Array([36, 36, 600, 780])

    read = reading(changed(cropped))
    assert corner(read) == pytest.approx((0.5, 1 - 12 / 72), abs=0.002)


def test_a_unit_of_the_page_may_be_larger_than_a_point() -> None:
    def enlarged(document: Pdf) -> None:
        document.pages[0].obj.UserUnit = 2

    read = reading(changed(enlarged))
    assert read.sheets[0].width == pytest.approx(17)
    assert [s.allowance for s in read.sections] == pytest.approx([0.5, 0.5], abs=0.002)


def scribbled(document: Pdf) -> None:
    """Lines across the page, on a layer that is switched off."""
    layer = document.make_indirect(Dictionary(Type=Name.OCG, Name="grid"))
    document.Root.OCProperties = Dictionary(OCGs=Array([layer]), D=Dictionary(OFF=Array([layer])))
    page = document.pages[0]
    page.obj.Resources.Properties = Dictionary(L=layer)
    page.contents_add(b"/OC /L BDC 1 w 0 0 m 600 700 l S 600 0 m 0 750 l S EMC")


def shown(document: Pdf) -> None:
    document.Root.OCProperties.D = Dictionary()


def test_a_layer_counts_only_while_it_shows() -> None:
    hidden = changed(scribbled)
    assert reading(hidden).is_complete
    assert not reading(changed(shown, hidden)).is_complete


def test_drawings_within_drawings_are_read() -> None:
    def in_a_form(document: Pdf) -> None:
        page = document.pages[0]
        own = form(document, page.obj.Contents.read_bytes())
        own.Resources, own.BBox = page.obj.Resources, Array([0, 0, 612, 792])
        page.obj.Resources = Dictionary(XObject=Dictionary(F=own))
        page.obj.Contents = document.make_stream(b"q .5 0 0 .5 100 100 cm /F Do Q")

    read = reading(changed(in_a_form))
    assert read.is_complete
    assert [s.allowance for s in read.sections] == pytest.approx([0.125, 0.125], abs=0.002)


# --- files that would do harm ------------------------------------------------------------------


def refused(data: bytes) -> str:
    with pytest.raises(PatternFileError) as error:
        pages_of_pdf(data)
    assert error.value.detail
    return error.value.code


def form(document: Pdf, content: bytes) -> pikepdf.Object:
    stream = document.make_stream(content)
    stream.Type, stream.Subtype, stream.BBox = Name.XObject, Name.Form, Array([0, 0, 9, 9])
    return document.make_indirect(stream)


def drawing(document: Pdf, what: pikepdf.Object) -> None:
    document.pages[0].obj.Resources.XObject = Dictionary(F=what)
    document.pages[0].contents_add(b"/F Do")


def test_a_drawing_that_draws_itself_is_refused() -> None:
    def circle(document: Pdf) -> None:
        own = form(document, b"/F Do")
        own.Resources = Dictionary(XObject=Dictionary(F=own))
        drawing(document, own)

    assert refused(changed(circle)) == "too-deep"


def test_a_drawing_that_its_page_lends_its_own_name_is_refused() -> None:
    def circle(document: Pdf) -> None:
        drawing(document, form(document, b"/F Do"))

    assert refused(changed(circle)) == "too-deep"


def test_drawings_nested_too_deep_are_refused() -> None:
    def deep(document: Pdf) -> None:
        inner = form(document, b"0 0 m 9 9 l S")
        for _ in range(12):
            outer = form(document, b"/F Do")
            outer.Resources = Dictionary(XObject=Dictionary(F=inner))
            inner = outer
        drawing(document, inner)

    assert refused(changed(deep)) == "too-deep"


@pytest.mark.parametrize("draw", [b"/F Do ", b"/#46 Do "])
def test_drawings_that_draw_each_other_again_and_again_are_refused(draw: bytes) -> None:
    """Eight drawings, each ten times in the next: a hundred million in all."""

    def doubled(document: Pdf) -> None:
        inner = form(document, b"0 0 m 9 9 l S")
        for _ in range(7):
            outer = form(document, draw * 10)
            outer.Resources = Dictionary(XObject=Dictionary(F=inner))
            inner = outer
        drawing(document, inner)

    assert refused(changed(doubled)) == "too-much"


def test_a_stream_that_unpacks_to_far_more_is_refused() -> None:
    def bomb(document: Pdf) -> None:
        document.pages[0].contents_add(b"0 0 m 9 9 l S\n" * 6_000_000)

    assert refused(changed(bomb)) == "too-much"


def test_too_many_lines_are_refused() -> None:
    def many(document: Pdf) -> None:
        document.pages[0].contents_add(b"0 0 m 9 9 l S\n" * 25_000)

    assert refused(changed(many)) == "too-much"


def test_too_many_pages_are_refused() -> None:
    def many(document: Pdf) -> None:
        document.pages.extend([document.pages[0]] * MOST_PAGES)

    assert refused(changed(many)) == "too-many-pages"


def test_a_page_as_large_as_a_field_is_refused() -> None:
    def huge(document: Pdf) -> None:
        document.pages[0].obj.UserUnit = 1000

    assert refused(changed(huge)) == "too-large"


def test_a_locked_file_is_refused() -> None:
    out = io.BytesIO()
    with pikepdf.open(io.BytesIO(pier())) as document:
        document.save(out, encryption=pikepdf.Encryption(owner="pilot", user="pilot"))
    assert refused(out.getvalue()) == "encrypted"


@pytest.mark.parametrize("data", [b"", b"%PDF-1.7 ahoy", pier()[:700], b"\x00" * 5000])
def test_what_is_no_pdf_is_refused(data: bytes) -> None:
    assert refused(data) == "unreadable"
