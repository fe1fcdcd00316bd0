"""Test squares and footer: true, complete, and inside the sheet whatever they say."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from render.drawing import Box, Mark, Stroke, Text, mark_box, reaches
from render.furniture import (
    CAUTION,
    FIVE_CENTIMETRES,
    LEAST_WIDTH,
    MEASURE,
    Heading,
    footer,
    squares,
)
from render.papers import Sheet
from render.sheets import lay_out
from tests.render.specimens import HEADING, LONG_HEADING, paper, plain

LETTER = Sheet(8.5, 11.0, 0.25, "letter", "portrait")
PLACE = ("page 12 of 34", "Template AB", "row 3 of 10, column 11 of 12")


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


def test_squares_share_the_corner_of_the_printable_area() -> None:
    inch, five = closed_squares(squares(LETTER, whole=True))
    assert (inch.width, inch.height) == pytest.approx((1, 1))
    assert (five.width, five.height) == pytest.approx((50 / 25.4, 50 / 25.4))
    for square in (inch, five):
        assert (square.x, square.bottom) == pytest.approx((0.25, 10.75))


def test_squares_say_what_they_measure() -> None:
    for whole in (True, False):
        marks = squares(LETTER, whole)
        assert {m.text for m in marks if isinstance(m, Text)} == {"1 in", "5 cm"}
        inch, *_ = closed_squares(marks)
        (label,) = (m for m in marks if isinstance(m, Text) and m.text == "1 in")
        box = mark_box(label)
        assert box is not None
        assert inch.x < box.x < box.right < inch.right


def test_edges_of_the_large_square_stay_where_a_drawing_needs_its_room() -> None:
    marks = squares(LETTER, whole=False)
    assert [box.width for box in closed_squares(marks)] == pytest.approx([1])
    edges = [
        (segment.start, segment.end)
        for mark in marks
        if isinstance(mark, Stroke) and not mark.closed
        for segment in mark.segments
    ]
    top, right = 10.75 - FIVE_CENTIMETRES, 0.25 + FIVE_CENTIMETRES
    assert ((0.25, top), (0.25, 10.75)) in edges
    assert ((0.25, 10.75), (right, 10.75)) in edges


def test_footer_says_all_of_it() -> None:
    said = words(footer(LETTER, HEADING, PLACE))
    for part in (
        *(HEADING.block, HEADING.what, HEADING.size, HEADING.allowance, HEADING.corners),
        *(*PLACE, "letter, portrait", MEASURE, CAUTION),
    ):
        assert part in said


def test_block_name_is_bold() -> None:
    bold = [m.text for m in footer(LETTER, HEADING, PLACE) if isinstance(m, Text) and m.bold]
    assert HEADING.block in bold


def test_page_number_and_caution_survive_the_longest_name_on_the_smallest_paper() -> None:
    (page,) = lay_out([plain("A", 3, 2)], paper("a6"), LONG_HEADING)
    said = words(page.furniture)
    assert "page 1 of 1" in said
    assert CAUTION in said
    assert "The block that" in said
    assert "…" in said


names = st.one_of(st.text(max_size=400), st.text("Wim ", min_size=30, max_size=400))


@settings(deadline=None)
@given(
    st.builds(Heading, names, names, names, names, names),
    st.floats(LEAST_WIDTH + 0.5, 40),
    st.floats(3.5, 40),
    st.booleans(),
)
def test_footer_stays_on_the_sheet_and_off_the_squares(
    heading: Heading, width: float, height: float, whole: bool
) -> None:
    sheet = Sheet(width, height, 0.25, "a name of paper", "portrait")
    square_marks = squares(sheet, whole)
    text = footer(sheet, heading, PLACE)
    area = sheet.printable
    lines = [mark for mark in square_marks if isinstance(mark, Stroke)]
    all_text = [*boxes(text), *boxes(square_marks)]
    for box in all_text:
        assert box.x >= area.x
        assert box.right <= area.right + 1e-6
        assert box.y >= area.bottom - 1.05 - 0.05
        assert box.bottom <= area.bottom + 1e-6
        assert not any(reaches(line, box) for line in lines)


@pytest.mark.parametrize("name", ["a6", "a5", "a4", "letter", "tabloid"])
@pytest.mark.parametrize("orientation", ["portrait", "landscape"])
@pytest.mark.parametrize("heading", [HEADING, LONG_HEADING])
def test_lines_of_the_footer_do_not_overlap(name: str, orientation: str, heading: Heading) -> None:
    pages = lay_out([plain("A", 17, 17)], paper(name, orientation), heading)
    for page in pages:
        for one, other in itertools.combinations(boxes(page.furniture), 2):
            assert not one.grown(-0.002).meets(other.grown(-0.002))


def test_title_names_block_and_kind() -> None:
    assert HEADING.title == "Churn Dash: Cutting templates"
    assert Heading("", "Block map").title == "Block map"
