"""Paper from a roll: a sheet as long as what is on it needs."""

from __future__ import annotations

import io
import itertools

import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.patchwork.faults import BlockError
from piecewright.render.drawing.marks import Box, Drawing, box_of
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.sheets.furniture import FOOTER_HEIGHT, corner
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.papers import Printer
from piecewright.render.sheets.sheet_settings import SheetSettings
from tests.render.sheets.bare import window_on_sheet
from tests.render.specimens import HEADING, plain, quarter_circle


def roll(width: float, **more: object) -> SheetSettings:
    return SheetSettings(roll_width=width, **more)  # type: ignore[arg-type]


def on_sheet(page: Page) -> list[Box]:
    return [box_of(p.on_sheet(mark) for mark in p.drawing.marks) for p in page.items]


def within(area: Box, box: Box) -> bool:
    """Whether a box lies in an area; half the width of a line may lie beyond."""
    return area.grown(0.9 / 72 / 2 + 1e-6).holds(box)


@settings(deadline=None, max_examples=10)
@given(
    st.lists(st.tuples(st.floats(0.5, 20), st.floats(0.5, 20)), min_size=1, max_size=8),
    st.sampled_from([24.0, 36.0]),
    st.sampled_from([1.0, 0.97, 1.04]),
)
def test_all_drawings_lie_on_one_sheet_clear_of_the_rest(
    sizes: list[tuple[float, float]], width: float, down: float
) -> None:
    drawings = [plain(f"t{n}", w, h) for n, (w, h) in enumerate(sizes)]
    (page,) = lay_out(drawings, roll(width, printer=Printer(1.0, down)), HEADING)
    assert page.sheet.width == width
    assert {p.drawing.id for p in page.items} == {d.id for d in drawings}
    boxes = on_sheet(page)
    square = corner(page.sheet)
    for box in boxes:
        assert within(page.sheet.printable, box)
        assert box.bottom <= square.y - 0.12
    for one, other in itertools.combinations(boxes, 2):
        assert not one.grown(0.06).meets(other.grown(0.06))
    # No longer than it has to be.
    lowest = max(box.bottom for box in boxes)
    assert square.y - lowest < 0.25


def test_sheet_is_no_longer_than_the_drawing_needs() -> None:
    (page,) = lay_out([plain("A", 30, 50)], roll(36), HEADING)
    assert page.of is None
    assert 30 < page.sheet.height < 54 + 2
    (pdf_page,) = pypdf.PdfReader(io.BytesIO(sheets_pdf([page]))).pages
    assert float(pdf_page.mediabox.width) == pytest.approx(36 * 72, abs=0.01)
    assert float(pdf_page.mediabox.height) == pytest.approx(page.sheet.height * 72, abs=0.01)


@pytest.mark.parametrize("down", [1.0, 0.95])
def test_what_is_wider_than_the_roll_is_tiled_along_it(down: float) -> None:
    drawings: list[Drawing] = [plain("A", 40, 50), quarter_circle("B", 3)]
    pages = lay_out(drawings, roll(24, printer=Printer(1.0, down)), HEADING)
    tiled = [page for page in pages if page.of == "A"]
    assert len(tiled) == 2
    for page in tiled:
        left, top, right, bottom = window_on_sheet(page.items[0]).bounds
        clip = Box.of_bounds(left, top, right, bottom)
        assert within(page.sheet.printable, clip)
        assert page.sheet.height < 55 / down
        assert clip.bottom <= page.sheet.printable.bottom - FOOTER_HEIGHT
    assert [page.number for page in pages] == [1, 2, 3]


def test_what_is_longer_than_any_sheet_is_tiled_among_many_drawings_too() -> None:
    drawings = [*(plain(f"t{n}", 3, 2) for n in range(151)), plain("L", 10, 300)]
    pages = lay_out(drawings, roll(36), HEADING)
    assert [page.of for page in pages] == [None, "L", "L"]


def test_footer_names_the_roll() -> None:
    (page,) = lay_out([plain("A", 3, 3)], roll(36), HEADING)
    message = " ".join(getattr(mark, "text", "") for mark in page.furniture)
    assert "roll 36 in wide" in message
    assert "portrait" not in message
    assert "page 1 of 1" in message


@pytest.mark.parametrize(("width", "code"), [(2.0, "paper-too-small"), (201, "paper-too-large")])
def test_roll_that_is_no_use_is_refused(width: float, code: str) -> None:
    with pytest.raises(BlockError) as caught:
        lay_out([plain("A", 3, 3)], roll(width), HEADING)
    assert {(f.pointer, f.code) for f in caught.value.faults} == {("/sheet", code)}
