"""Test squares and footer: true, complete, and inside the sheet whatever they say."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piecewright.render.drawing.marks import Box, Drawing, Mark, Stroke, Text, mark_box, reaches
from piecewright.render.sheets.furniture import (
    CAUTION,
    FIVE_CENTIMETRES,
    LEAST_WIDTH,
    MEASURE,
    RULE,
    Heading,
    PartsMap,
    ruler,
    scale_across,
    squares,
)
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.papers import Printer, Sheet
from piecewright.render.sheets.sheet_settings import SheetSettings
from tests.render.specimens import HEADING, LONG_HEADING, paper, plain, quarter_circle

LETTER = Sheet(8.5, 11.0, 0.25, "letter", "portrait")


def closed_squares(marks: tuple[Mark, ...]) -> list[Box]:
    """The closed squares among the marks, by their lines' middles."""
    found = []
    for mark in marks:
        if isinstance(mark, Stroke) and mark.closed:
            xs, ys = zip(*(segment.start for segment in mark.segments), strict=True)
            found.append(Box(min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys)))
    return sorted(found, key=lambda box: box.width)


def words(marks: tuple[Mark, ...]) -> str:
    return " ".join(mark.text for mark in marks if isinstance(mark, Text))


def boxes(marks: tuple[Mark, ...]) -> list[Box]:
    found = [mark_box(mark) for mark in marks if isinstance(mark, Text)]
    return [box for box in found if box is not None]


def test_squares_share_a_corner_next_to_that_of_the_printable_area() -> None:
    (page,) = lay_out([plain("A", 3, 3)], paper("letter", "portrait"), HEADING)
    inch, five = closed_squares(tuple(m for m in page.furniture if m.kind == "test-square"))
    assert (inch.width, inch.height) == pytest.approx((1, 1))
    assert (five.width, five.height) == pytest.approx((50 / 25.4, 50 / 25.4))
    for square in (inch, five):
        assert (square.x, square.bottom) == pytest.approx((0.25 + RULE, 10.75 - RULE))


@pytest.mark.parametrize("five", [True, False])
def test_squares_say_what_they_measure(five: bool) -> None:
    marks = squares((1.0, 5.0), five)
    message = words(marks)
    assert "1 in" in message
    # Words about a square never stand without it.
    assert ("5 cm" in message) == (MEASURE in message) == five
    inch, *others = closed_squares(marks)
    assert [box.width for box in others] == pytest.approx([FIVE_CENTIMETRES] * five)
    (label,) = (m for m in marks if isinstance(m, Text) and m.text == "1 in")
    box = mark_box(label)
    assert box is not None
    assert inch.x < box.x < box.right < inch.right


def test_words_say_all_of_it() -> None:
    pages = lay_out([plain("A", 3, 3), plain("B", 7.9, 9)], paper("letter"), HEADING)
    for page in pages:
        message = words(page.furniture)
        for part in (
            *(HEADING.block, HEADING.what, HEADING.size, HEADING.allowance, HEADING.corners),
            *(f"page {page.number} of 2", "letter, portrait", MEASURE, CAUTION),
        ):
            assert part in message


def test_block_name_is_bold() -> None:
    (page,) = lay_out([plain("A", 3, 3)], paper("letter"), HEADING)
    bold = [m.text for m in page.furniture if isinstance(m, Text) and m.bold]
    assert HEADING.block in bold


def test_page_number_and_caution_survive_the_longest_name_on_the_smallest_paper() -> None:
    (page,) = lay_out([plain("A", 3, 2)], paper("a6"), LONG_HEADING)
    message = words(page.furniture)
    assert "page 1 of 1" in message
    assert CAUTION in message
    assert "The block that" in message
    assert "…" in message


names = st.one_of(st.text(max_size=400), st.text("Wim ", min_size=30, max_size=400))


@settings(deadline=None, max_examples=10)
@given(
    st.builds(Heading, names, names, names, names, names),
    st.floats(LEAST_WIDTH + 0.5, 20),
    st.floats(4, 20),
    st.sampled_from([0.3, 0.9, 1.0]),
)
def test_words_stay_on_the_sheet_and_off_all_else(
    heading: Heading, width: float, height: float, share: float
) -> None:
    on = SheetSettings(width, height, "portrait")
    room = on.sheet("portrait").printable
    drawing = plain("A", share * room.width, share * room.height)
    for page in lay_out([drawing], on, heading):
        area = page.sheet.printable
        lines = [m for m in page.furniture if isinstance(m, Stroke) and m.kind != "here"]
        ink = [mark for placed in page.items for mark in (*placed.shown, *placed.joins)]
        for box in boxes(page.furniture):
            assert area.grown(1e-6).holds(box)
            assert not any(reaches(mark, box) for mark in (*lines, *ink))


@pytest.mark.parametrize("name", ["a6", "a5", "letter", "tabloid"])
@pytest.mark.parametrize("orientation", ["portrait", "landscape"])
@pytest.mark.parametrize("heading", [HEADING, LONG_HEADING])
def test_lines_of_words_do_not_overlap(name: str, orientation: str, heading: Heading) -> None:
    pages = lay_out([plain("A", 17, 17)], paper(name, orientation), heading)
    for page in pages:
        for one, other in itertools.combinations(boxes(page.furniture), 2):
            assert not one.grown(-0.002).meets(other.grown(-0.002))


# -- scales


def ticks(scale: Stroke, axis: int) -> list[tuple[float, float]]:
    """Where a scale has its ticks along an axis, and how far they stand out."""
    found: list[tuple[float, float]] = []
    for segment in scale.segments:
        (a, b), (c, d) = (segment.start, segment.end)
        out = (d - b, c - a)[axis]
        if (a, b)[axis] == (c, d)[axis] and (not found or found[-1][0] != (a, b)[axis]):
            found.append(((a, b)[axis], out))
    return found


@pytest.mark.parametrize("sheet", [LETTER, Sheet(4.13, 5.83, 0.25, "a6", "portrait")])
def test_scales_have_a_tick_each_quarter_inch_and_each_centimetre(sheet: Sheet) -> None:
    corner_x, corner_y = 0.25 + RULE, sheet.height - 0.25 - RULE
    start = (corner_x, corner_y)
    marks = (*ruler(start, (1, 0), scale_across(sheet)), *ruler(start, (0, -1), 3.0))
    across_in, across_cm, up_in, up_cm = (mark for mark in marks if isinstance(mark, Stroke))
    inches = [(x - corner_x) for x, _ in ticks(across_in, 0)]
    assert inches == pytest.approx([n / 4 for n in range(len(inches))])
    assert inches[-1] == pytest.approx(4 if sheet is LETTER else 2)
    centimetres = [(x - corner_x) * 2.54 for x, _ in ticks(across_cm, 0)]
    assert centimetres == pytest.approx(list(range(len(centimetres))))
    assert [corner_y - y for y, _ in ticks(up_in, 1)] == pytest.approx([n / 4 for n in range(13)])
    assert len(ticks(up_cm, 1)) == 8
    # Inches inward, centimetres outward; whole inches stand out more.
    assert all(out < 0 for _, out in ticks(across_in, 0))
    assert all(out > 0 for _, out in ticks(across_cm, 0))
    assert all(out > 0 for _, out in ticks(up_in, 1))
    assert all(out < 0 for _, out in ticks(up_cm, 1))
    assert ticks(across_in, 0)[4][1] < ticks(across_in, 0)[3][1]


@pytest.mark.parametrize("name", ["a6", "a5", "a4", "letter", "tabloid", "a3"])
@pytest.mark.parametrize("orientation", ["portrait", "landscape"])
@pytest.mark.parametrize("drawing", [plain("A", 3, 3), quarter_circle("B", 6), plain("C", 17, 17)])
def test_scales_and_map_lie_inside_the_margins_and_over_no_ink(
    name: str, orientation: str, drawing: Drawing
) -> None:
    for page in lay_out([drawing], paper(name, orientation), HEADING):
        area = page.sheet.printable
        ink = [mark for placed in page.items for mark in (*placed.shown, *placed.joins)]
        for mark in page.furniture:
            if mark.kind not in ("scale", "map", "here"):
                continue
            box = mark_box(mark)
            assert box is not None
            assert box.x >= area.x - 1e-6
            assert box.y >= area.y - 1e-6
            assert box.right <= area.right + 1e-6
            assert box.bottom <= area.bottom + 1e-6
            assert not any(reaches(other, box) for other in ink)


# -- the place for a name

least_width = LEAST_WIDTH + 0.5 + 1e-6


@pytest.mark.parametrize(
    "settings",
    [
        *(paper(name, way) for name in ("a6", "a5", "letter") for way in ("portrait", "landscape")),
        SheetSettings(width=least_width, height=7, orientation="portrait"),
        SheetSettings(width=least_width, height=7, orientation="portrait", printer=Printer(1.1, 1)),
        paper("a4", printer=Printer(0.9, 1.1)),
        SheetSettings(roll_width=12),
    ],
)
@pytest.mark.parametrize("drawing", [plain("A", 3, 3), quarter_circle("B", 6), plain("C", 17, 17)])
def test_place_for_a_name_is_on_every_sheet_and_nothing_else_is_there(
    settings: SheetSettings, drawing: Drawing
) -> None:
    for page in lay_out([drawing], settings, LONG_HEADING):
        place, area = page.name_place, page.sheet.printable
        assert place.width >= 0.7
        assert place.height >= 0.1
        assert area.x <= place.x < place.right <= area.right + 1e-9
        assert area.y <= place.y < place.bottom <= area.bottom + 1e-9
        ink = [mark for placed in page.items for mark in (*placed.shown, *placed.joins)]
        ink += page.furniture
        assert not any(reaches(mark, place) for mark in ink)


# -- the map of a tiled drawing's sheets


def test_map_shows_on_which_page_each_part_lies() -> None:
    pages = lay_out([plain("A", 3, 3), plain("B", 17, 17)], paper("letter", "portrait"), HEADING)
    with_parts = [page for page in pages if page.parts]
    assert len(with_parts) > 3
    on = {(p.row, p.column): page.number for page in pages for p in page.parts}
    for page in with_parts:
        outlines = [m for m in page.furniture if m.kind == "map"]
        assert len(outlines) == len(on)
        here = [mark_box(m) for m in page.furniture if m.kind == "here"]
        assert len(here) == len(page.parts)
        numbers = [m for m in page.furniture if isinstance(m, Text) and m.text.isdigit()]
        assert [m.text for m in numbers] == [str(on[cell]) for cell in sorted(on)]
        present = [m for m in numbers if m.bold]
        assert {m.text for m in present} == {str(page.number)}
        for cell, number in zip(here, present, strict=True):
            box = mark_box(number)
            assert box is not None
            assert cell is not None
            assert cell.holds(box)
        assert "Template B" in words(page.furniture)


def test_map_has_the_rows_and_columns_of_the_parts() -> None:
    parts = PartsMap("Template A", ((1, 2), (2, 1), (2, 2), (3, 1)), (5, 6, 7, 8), 6)
    width, height = parts.size(LETTER, 1.0, 1.0)
    around = Box(1.0, 2.0, width, height)
    marks = tuple(parts.marks(LETTER, around))
    at = [mark_box(m) for m in marks if m.kind == "map"]
    first, second, third, last = (box for box in at if box is not None)
    assert first.x > second.x
    assert (first.x, second.x) == pytest.approx((third.x, last.x))
    assert second.y == pytest.approx(third.y)
    assert first.y < second.y < last.y
    assert all(around.grown(0.01).holds(box) for box in at if box is not None)


def test_whole_drawings_have_no_map() -> None:
    (page,) = lay_out([plain("A", 3, 3)], paper("letter"), HEADING)
    assert not [m for m in page.furniture if m.kind in ("map", "here")]


def test_title_names_block_and_kind() -> None:
    assert HEADING.title == "Churn Dash: Cutting templates"
    assert Heading("", "Block map").title == "Block map"
