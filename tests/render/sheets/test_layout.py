"""Drawings on sheets: nothing overlaps, nothing is lost, nothing is scaled."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import box as rectangle
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from piecewright.patchwork.faults import BlockError
from piecewright.render.drawing.marks import Box, Drawing
from piecewright.render.sheets.canvas import on_one_canvas
from piecewright.render.sheets.furniture import FIVE_CENTIMETRES, FOOTER_HEIGHT, TILE_FOOTER
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page, numbered
from piecewright.render.sheets.papers import PAPERS
from piecewright.render.sheets.sheet_settings import SheetSettings
from tests.render.specimens import HEADING, paper, plain, quarter_circle

SMALLEST_GAP = 1 / 8


def on_sheet(page: Page) -> list[BaseGeometry]:
    """Where each drawing's box lies on the sheet, turned as the drawing is."""
    found: list[BaseGeometry] = []
    for placed in page.items:
        box = placed.drawing.box
        upright = rectangle(box.x, box.y, box.right, box.bottom)
        turned = affinity.rotate(upright, placed.turn, origin=(0, 0))
        found.append(affinity.translate(turned, placed.x, placed.y))
    return found


def area_of(box: Box) -> BaseGeometry:
    return rectangle(box.x, box.y, box.right, box.bottom)


def codes(settings: SheetSettings, drawings: list[Drawing], most: int = 100) -> set[str]:
    with pytest.raises(BlockError) as caught:
        lay_out(drawings, settings, HEADING, most)
    assert {fault.pointer for fault in caught.value.faults} == {"/sheet"}
    return {fault.code for fault in caught.value.faults}


sizes = st.tuples(st.floats(0.3, 12), st.floats(0.3, 12))


@settings(deadline=None, max_examples=25)
@given(
    st.lists(sizes, min_size=1, max_size=20),
    st.sampled_from(["letter", "a4", "a3", "a5", "a6"]),
    st.sampled_from(["auto", "portrait", "landscape"]),
)
def test_every_drawing_is_shown_once_in_full_and_clear_of_all_else(
    rectangles: list[tuple[float, float]], name: str, orientation: str
) -> None:
    drawings = [plain(f"t{n}", w, h) for n, (w, h) in enumerate(rectangles)]
    pages = lay_out(drawings, paper(name, orientation), HEADING, 1000)
    whole = [placed.drawing.id for page in pages if page.of is None for placed in page.items]
    tiled = {page.of for page in pages if page.of is not None}
    assert sorted([*whole, *tiled]) == sorted(drawing.id for drawing in drawings)

    for page in pages:
        area = page.sheet.printable
        above_footer = area.bottom - (FOOTER_HEIGHT if page.of is None else TILE_FOOTER)
        side = FIVE_CENTIMETRES
        square = area_of(Box(area.x, area.bottom - side, side, side))
        shown = on_sheet(page) if page.clip is None else [area_of(page.clip)]
        for ink in shown:
            left, top, right, bottom = ink.bounds
            assert left >= area.x - 1e-6
            assert top >= area.y - 1e-6
            assert right <= area.right + 1e-6
            assert bottom <= above_footer + 1e-6
            if page.of is None:
                assert ink.distance(square) >= SMALLEST_GAP - 1e-6
        for one, other in itertools.combinations(shown, 2):
            assert one.distance(other) >= SMALLEST_GAP - 1e-6

    for id in tiled:
        drawing = next(drawing for drawing in drawings if drawing.id == id)
        windows = [page.window for page in pages if page.of == id]
        shown_area = unary_union([rectangle(w.x, w.y, w.right, w.bottom) for w in windows])
        b = drawing.box
        border = rectangle(b.x, b.y, b.right, b.bottom).exterior
        assert border.difference(shown_area.buffer(1e-6)).is_empty


def test_nine_squares_share_a_sheet() -> None:
    assert len(lay_out([plain(f"t{n}", 2.5, 2.4) for n in range(9)], paper("letter"), HEADING)) == 1


def test_sheets_and_their_drawings_keep_the_order_of_the_drawings() -> None:
    drawings = [plain("A", 2, 2), plain("B", 7, 8.2), plain("C", 2, 3), plain("D", 12, 12)]
    pages = lay_out(drawings, paper("letter", "portrait"), HEADING)
    firsts = [page.items[0].drawing.id for page in pages]
    assert firsts == sorted(firsts)
    assert [placed.drawing.id for placed in pages[0].items] == ["A", "C"]


def test_auto_takes_the_orientation_with_fewer_sheets() -> None:
    pages = lay_out([plain("A", 9.5, 3)], paper("letter"), HEADING)
    assert len(pages) == 1
    assert (pages[0].sheet.width, pages[0].sheet.orientation) == (11.0, "landscape")


def test_auto_is_upright_where_both_need_the_same() -> None:
    (page,) = lay_out([plain("A", 3, 3)], SheetSettings(11, 8.5), HEADING)
    assert (page.sheet.width, page.sheet.orientation) == (8.5, "portrait")


@pytest.mark.parametrize(("orientation", "width"), [("portrait", 8.5), ("landscape", 11.0)])
def test_orientation_asked_for_is_kept(orientation: str, width: float) -> None:
    (page,) = lay_out([plain("A", 3, 3)], paper("letter", orientation), HEADING)
    assert (page.sheet.width, page.sheet.orientation) == (width, orientation)


def test_drawing_that_needs_the_test_squares_room_gets_a_sheet_with_their_edges_only() -> None:
    (page,) = lay_out([plain("A", 7.8, 9.2)], paper("letter", "portrait"), HEADING)
    assert (page.of, page.rows, page.columns) == ("A", 1, 1)
    assert not page.whole_square
    assert page.window == page.items[0].drawing.box


def test_test_square_stays_whole_where_the_drawing_has_no_ink() -> None:
    # A quarter circle whose box, but not whose ink, covers the corner of the test squares.
    pages = lay_out([quarter_circle("A", 7.8)], paper("letter", "portrait"), HEADING)
    assert len(pages) == 1
    (tall,) = lay_out([plain("B", 6.2, 9.2)], paper("tabloid", "portrait"), HEADING)
    assert tall.whole_square


def test_pages_are_counted_through() -> None:
    first = lay_out([plain("A", 14, 3)], paper("letter", "portrait"), HEADING)
    second = lay_out([plain("B", 3, 3)], paper("letter"), HEADING)
    pages = numbered([*first, *second])
    assert [(page.number, page.count) for page in pages] == [(1, 3), (2, 3), (3, 3)]


def test_nothing_to_draw_needs_no_sheet() -> None:
    assert lay_out([], paper("letter"), HEADING) == ()


@pytest.mark.parametrize(
    "settings",
    [
        SheetSettings(8.5, 11, margin=4.5),
        SheetSettings(8.5, 11, overlap=8),
        SheetSettings(8.5, 11, margin=-1),
        SheetSettings(2, 2),
        SheetSettings(2.5, 40),
    ],
)
def test_sheet_without_useful_room_is_refused(settings: SheetSettings) -> None:
    assert codes(settings, [plain("A", 3, 3)]) == {"paper-too-small"}


def test_sheet_that_is_useful_one_way_only_is_used_that_way() -> None:
    (page,) = lay_out([plain("A", 3, 1)], SheetSettings(3.2, 8), HEADING)
    assert page.sheet.orientation == "landscape"


# ISO 32000-1, annex C, table C.1: a page is at most 14,400 units long.
def test_sheet_larger_than_a_pdf_page_can_be_is_refused() -> None:
    assert codes(SheetSettings(36, 201), [plain("A", 3, 3)]) == {"paper-too-large"}


@pytest.mark.parametrize("size", [60, 400])
def test_more_sheets_than_allowed_are_refused(size: float) -> None:
    assert codes(paper("a6"), [plain("A", size, size)], most=20) == {"too-many-sheets"}


def test_many_small_drawings_count_too() -> None:
    drawings = [plain(f"t{n}", 7, 7) for n in range(4)]
    assert codes(paper("letter"), drawings, most=3) == {"too-many-sheets"}
    assert len(lay_out(drawings, paper("letter"), HEADING, most=4)) == 4


@given(st.lists(sizes, max_size=30))
def test_canvas_holds_every_drawing_clear_of_the_others(
    rectangles: list[tuple[float, float]],
) -> None:
    drawings = [plain(f"t{n}", w, h) for n, (w, h) in enumerate(rectangles)]
    page = on_one_canvas(drawings, HEADING)
    assert len(page.items) == len(drawings)
    boxes = on_sheet(page)
    for one, other in itertools.combinations(boxes, 2):
        assert one.distance(other) >= SMALLEST_GAP - 1e-6
    area = page.sheet.printable
    for ink in boxes:
        left, _, right, bottom = ink.bounds
        assert area.x - 1e-6 <= left
        assert right <= area.right + 1e-6
        assert bottom <= area.bottom - FIVE_CENTIMETRES - SMALLEST_GAP + 1e-6


def test_every_named_paper_from_a7_up_can_be_printed_on_and_no_smaller_one() -> None:
    for name, size in PAPERS.items():
        if size.width < PAPERS["a7"].width:
            assert codes(paper(name), [plain("A", 3, 3)]) == {"paper-too-small"}
        else:
            assert lay_out([plain("A", 3, 3)], paper(name), HEADING)
