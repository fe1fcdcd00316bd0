"""Drawings on sheets: nothing overlaps, nothing is lost, nothing is scaled."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import box as rectangle
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from piecewright.patchwork.faults import BlockError
from piecewright.patchwork.geometry.paths import polygon
from piecewright.render.drawing.linekinds import PENS
from piecewright.render.drawing.marks import (
    Box,
    Drawing,
    Stroke,
    Text,
    drawn,
    line,
    mark_box,
    path_points,
    reaches,
)
from piecewright.render.sheets.canvas import on_one_canvas
from piecewright.render.sheets.furniture import FIVE_CENTIMETRES
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page, numbered
from piecewright.render.sheets.papers import PAPERS
from piecewright.render.sheets.sheet_settings import SheetSettings
from tests.render.sheets.bare import window_on_drawing, window_on_sheet
from tests.render.specimens import HEADING, paper, plain

SMALLEST_GAP = 1 / 8
HALF_A_LINE = 0.9 / 72 / 2 + 1e-6


def on_sheet(page: Page) -> list[BaseGeometry]:
    """Where each drawing's box, or what of it a part shows, lies on the sheet."""
    found: list[BaseGeometry] = []
    for placed in page.items:
        box = placed.drawing.box
        upright = rectangle(box.x, box.y, box.right, box.bottom)
        turned = affinity.rotate(upright, placed.turn, origin=(0, 0))
        there: BaseGeometry = affinity.translate(turned, placed.x, placed.y)
        if placed.part is not None:
            there = there.intersection(window_on_sheet(placed))
        found.append(there)
    return found


def area_of(box: Box) -> BaseGeometry:
    return rectangle(box.x, box.y, box.right, box.bottom)


def codes(settings: SheetSettings, drawings: list[Drawing], most: int = 100) -> set[str]:
    with pytest.raises(BlockError) as caught:
        lay_out(drawings, settings, HEADING, most)
    assert {fault.pointer for fault in caught.value.faults} == {"/sheet"}
    return {fault.code for fault in caught.value.faults}


sizes = st.tuples(st.floats(0.3, 12), st.floats(0.3, 12))


@settings(deadline=None, max_examples=6)
@given(
    st.lists(sizes, min_size=1, max_size=12),
    st.sampled_from(["letter", "a4", "a3", "a5"]),
    st.sampled_from(["auto", "portrait", "landscape"]),
)
def test_every_drawing_is_shown_once_in_full_and_clear_of_all_else(
    rectangles: list[tuple[float, float]], name: str, orientation: str
) -> None:
    drawings = [plain(f"t{n}", w, h) for n, (w, h) in enumerate(rectangles)]
    pages = lay_out(drawings, paper(name, orientation), HEADING, 1000)
    placed = [one for page in pages for one in page.items]
    whole = [one.drawing.id for one in placed if one.part is None]
    divided = {one.drawing.id for one in placed if one.part is not None}
    assert sorted([*whole, *divided]) == sorted(drawing.id for drawing in drawings)
    assert pages[0].least <= len(pages)

    for page in pages:
        room = area_of(page.sheet.printable.grown(HALF_A_LINE))
        shown = on_sheet(page)
        assert all(room.covers(ink) for ink in shown)
        for one, other in itertools.combinations(shown, 2):
            assert one.distance(other) >= SMALLEST_GAP - 1e-6
        check_furniture(page)

    for id in divided:
        drawing = next(drawing for drawing in drawings if drawing.id == id)
        windows = [window_on_drawing(one) for one in placed if one.drawing.id == id]
        shown_area = unary_union(windows).buffer(1e-6)
        b = drawing.box
        assert shown_area.covers(rectangle(b.x, b.y, b.right, b.bottom).exterior)


def check_furniture(page: Page) -> None:
    """Test squares are true, and nothing beside the drawings lies on anything else."""
    squares = sorted(
        round(mark_box(mark).width - PENS["test-square"].weight / 72, 6)  # type: ignore[union-attr]
        for mark in page.furniture
        if isinstance(mark, Stroke) and mark.kind == "test-square"
    )
    assert squares in ([], [1.0], [1.0, round(FIVE_CENTIMETRES, 6)])
    assert squares == [1.0] * page.furnished.inch + [round(5 / 2.54, 6)] * page.furnished.five
    texts = [mark for mark in page.furniture if isinstance(mark, Text)]
    words = " ".join(text.text for text in texts)
    assert f"page {page.number} of {page.count}" in words
    boxes = [box for box in map(mark_box, texts) if box is not None]
    area = page.sheet.printable.grown(1e-6)
    assert all(area.holds(box) for box in boxes)
    ink = [mark for placed in page.items for mark in (*placed.shown, *placed.joins)]
    for box in [*boxes, page.name_place]:
        assert not any(reaches(mark, box) for mark in ink)
    for mark in page.furniture:
        if isinstance(mark, Stroke):
            around = mark_box(mark)
            assert around is not None
            assert area.grown(HALF_A_LINE).holds(around)
            points = path_points(mark)
            for p, q in itertools.pairwise(points):
                assert not any(reaches(one, Box.around([p, q])) for one in ink)
    for one, other in itertools.combinations([*boxes, page.name_place], 2):
        assert not one.grown(-0.002).meets(other.grown(-0.002))


@pytest.mark.parametrize("size", [8.0, 10.5])
def test_what_is_as_wide_as_what_can_be_printed_fits_one_sheet(size: float) -> None:
    # The middle of its line lies on the border: half of the line's width is in the margin.
    outline = plain("A", 8.0 + 0.0125, 10.5 + 0.0125) if size > 8 else plain("A", 8.0125, 8.0125)
    (page,) = lay_out([outline], paper("letter"), HEADING)
    assert [placed.part for placed in page.items] == [None]
    assert page.furnished.five
    check_furniture(page)


def test_first_sheet_has_the_squares_and_one_more_is_there_only_where_none_has_room() -> None:
    full = crowded("A", 8.0, 10.5)
    pages = lay_out([full, plain("B", 3, 3)], paper("letter", "portrait"), HEADING)
    assert [page.furnished.five for page in pages] == [True, False]
    assert [placed.drawing.id for placed in pages[0].items] == ["B"]
    alone = lay_out([full], paper("letter", "portrait"), HEADING)
    assert [page.furnished.five for page in alone] == [True, False]
    assert [len(page.items) for page in alone] == [0, 1]


def crowded(id: str, width: float, height: float) -> Drawing:
    """Lines close together, so that nothing else has room among them but words."""
    w, h = width - 0.0125, height - 0.0125
    outline = polygon([(0, 0), (w, 0), (w, h), (0, h)])
    count = int(h / 0.6)
    lines = [line("sewing-line", (0, y * h / count), (w, y * h / count)) for y in range(count)]
    return drawn(id, id, "", [Stroke("cutting-line", outline, closed=True), *lines])


def test_sheet_that_is_not_to_scale_has_no_test_square() -> None:
    read = replace(plain("A", 3, 3), to_scale=False)
    (page,) = lay_out([read], paper("letter"), HEADING)
    assert not [mark for mark in page.furniture if mark.kind in ("test-square", "scale")]
    check_furniture(page)


def test_parts_share_sheets_with_each_other_and_with_whole_drawings() -> None:
    # Four strips of which each is a little too long: nine parts would take as many sheets.
    drawings = [plain(f"t{n}", 14.5, 1.5) for n in range(4)] + [plain("W", 2, 2)]
    pages = lay_out(drawings, paper("letter"), HEADING)
    assert len(pages) == 2
    for page in pages:
        check_furniture(page)
        for placed in page.items:
            if placed.part is not None:
                words = " ".join(m.text for m in placed.joins if isinstance(m, Text))
                assert f"row {placed.row}, column {placed.column}" in words


def test_nine_squares_share_a_sheet() -> None:
    assert len(lay_out([plain(f"t{n}", 2.5, 2.4) for n in range(9)], paper("letter"), HEADING)) == 1


def test_sheets_and_their_drawings_keep_the_order_of_the_drawings() -> None:
    drawings = [plain("A", 2, 2), plain("B", 7.8, 10), plain("C", 2, 3)]
    pages = lay_out(drawings, paper("letter", "portrait"), HEADING)
    firsts = [page.items[0].drawing.id for page in pages]
    assert firsts == sorted(firsts)
    assert [placed.drawing.id for placed in pages[0].items] == ["A", "C"]


def test_auto_takes_the_orientation_with_fewer_sheets() -> None:
    # To be read, not to be cut out: it is not turned.
    marks = [line("notch", (0, 0), (9.5, 0)), line("notch", (0, 3), (9.5, 3))]
    pages = lay_out([drawn("A", "", "", marks)], paper("letter"), HEADING)
    assert len(pages) == 1
    assert (pages[0].sheet.width, pages[0].sheet.orientation) == (11.0, "landscape")


def test_auto_is_upright_where_both_need_the_same() -> None:
    (page,) = lay_out([plain("A", 3, 3)], SheetSettings(11, 8.5), HEADING)
    assert (page.sheet.width, page.sheet.orientation) == (8.5, "portrait")


@pytest.mark.parametrize(("orientation", "width"), [("portrait", 8.5), ("landscape", 11.0)])
def test_orientation_asked_for_is_kept(orientation: str, width: float) -> None:
    (page,) = lay_out([plain("A", 3, 3)], paper("letter", orientation), HEADING)
    assert (page.sheet.width, page.sheet.orientation) == (width, orientation)


def test_pages_are_counted_through() -> None:
    first = lay_out([plain("A", 14, 8)], paper("letter", "portrait"), HEADING)
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
