"""Large drawings cut into windows, and how the sheets find together again."""

from __future__ import annotations

import math
from collections import defaultdict

import numpy as np
import pypdfium2 as pdfium
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageFilter

from piecewright.patchwork.geometry.paths import Line, polygon
from piecewright.render.drawing.marks import (
    Box,
    Dot,
    Drawing,
    Mark,
    Stroke,
    Text,
    drawn,
    line,
    mark_box,
    reaches,
)
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.page import Page
from piecewright.render.sheets.sheet_settings import SheetSettings
from piecewright.render.sheets.tiles import Tile, grid_for, tiles
from tests.render.sheets.bare import bare_parts, window_on_sheet
from tests.render.specimens import HEADING, paper, plain, quarter_circle

DOTS_PER_INCH = 100


def cut(drawing: Drawing, width: float, height: float, overlap: float = 0.25) -> tuple[Tile, ...]:
    grid = grid_for(drawing, width, height, overlap)
    assert grid is not None
    return tiles(grid)


@settings(deadline=None, max_examples=15)
@given(st.floats(1, 30), st.floats(1, 30), st.floats(2, 12), st.floats(2, 12), st.floats(0, 0.6))
def test_windows_cover_the_drawing_with_the_overlap_asked_for(
    width: float, height: float, room_across: float, room_down: float, overlap: float
) -> None:
    room_across, room_down = max(room_across, width / 6), max(room_down, height / 6)
    # Lines close together leave no window without ink of its own.
    ups = [line("notch", (x / 9, 0), (x / 9, height)) for x in range(int(width * 9) + 1)]
    drawing = drawn("A", "", "", [*ups, line("notch", (width, 0), (width, height))])
    grid = grid_for(drawing, room_across, room_down, overlap, most=10_000)
    assert grid is not None
    parts = tiles(grid)
    first, last = parts[0], parts[-1]
    assert len(parts) == first.rows * first.columns
    assert len(parts) == fewest(drawing.box.width, room_across, overlap) * fewest(
        drawing.box.height, room_down, overlap
    )
    assert (first.window.x, first.window.y) == pytest.approx((drawing.box.x, drawing.box.y))
    assert last.window.right == pytest.approx(drawing.box.right)
    assert last.window.bottom == pytest.approx(drawing.box.bottom)
    at = {(tile.row, tile.column): tile.window for tile in parts}
    for (row, column), window in at.items():
        assert window.width <= room_across + 1e-6
        assert window.height <= room_down + 1e-6
        if (row, column + 1) in at:
            assert window.right - at[row, column + 1].x == pytest.approx(overlap)
        if (row + 1, column) in at:
            assert window.bottom - at[row + 1, column].y == pytest.approx(overlap)


def fewest(needed: float, room: float, overlap: float) -> int:
    return max(1, math.ceil((needed - overlap) / (room - overlap) - 1e-9))


# -- which windows there are


def cells(parts: tuple[Tile, ...]) -> set[tuple[int, int]]:
    return {(tile.row, tile.column) for tile in parts}


def test_window_without_ink_is_left_out() -> None:
    along_two_sides = drawn(
        "A", "", "", [Stroke("cutting-line", (Line((0, 0), (20, 0)), Line((20, 0), (20, 20))))]
    )
    assert cells(cut(along_two_sides, 8, 8)) == {(1, 1), (1, 2), (1, 3), (2, 3), (3, 3)}


def test_window_whose_ink_its_neighbours_show_is_left_out() -> None:
    # The end of the short line reaches into a strip that the window beside shows as well.
    marks = [line("notch", (0, 0), (14, 0)), line("notch", (7, 0), (7, 8))]
    parts = cut(drawn("A", "", "", marks), 7.8, 7.8, overlap=1.5)
    for tile in parts:
        assert tile.window.width <= 7.8
    assert len(parts) == 3


def test_offset_is_chosen_for_the_fewest_windows() -> None:
    # Two short lines far apart: with windows of one size from the corner there would be four.
    marks = [
        line("notch", (0, 0), (0, 9.5)),
        line("notch", (0, 9.5), (12, 9.5)),
    ]
    parts = cut(drawn("A", "", "", marks), 8, 8)
    assert cells(parts) == {(1, 1), (2, 1), (2, 2)}
    # A slanted line meets four windows, or three if the joins are moved off its middle.
    slanted = drawn("A", "", "", [line("notch", (0, 0), (14, 14))])
    assert len(cut(slanted, 8, 8)) <= 3


def test_windows_that_only_meet_at_a_corner_are_held_together_by_a_third() -> None:
    slanted = drawn("A", "", "", [line("notch", (0, 0), (15.5, 15.5))])
    parts = cut(slanted, 8, 8, overlap=0.5)
    assert _connected(cells(parts))


def _connected(cells: set[tuple[int, int]]) -> bool:
    left = set(cells)
    reached = [left.pop()]
    while reached:
        row, column = reached.pop()
        beside = {(row + 1, column), (row - 1, column), (row, column + 1), (row, column - 1)}
        reached += beside & left
        left -= beside
    return not left


def test_too_many_windows_are_not_made() -> None:
    assert grid_for(plain("A", 399, 399), 1.1, 1.1, 0.1, most=50) is None
    assert grid_for(plain("A", 20, 20), 5, 5, 0.25, most=10) is None


def test_joins_keep_off_labels_and_match_points() -> None:
    frame = plain("A", 14, 3)
    middle = (14 - 0.0125) / 2
    busy: list[Mark] = [
        Text("Template A", (middle, 1.0), 0.3, "middle"),
        Text("of the block", (middle, 1.5), 0.2, "middle"),
        Dot("match-point", (middle - 1.2, 2.5)),
    ]
    parts = cut(drawn("A", "", "", [*frame.marks, *busy]), 9, 8)
    assert len(parts) == 2
    for mark in busy:
        box = mark_box(mark)
        assert box is not None
        assert sum(holds(tile.window, box) for tile in parts) == 1
        assert sum(tile.window.meets(box) for tile in parts) == 1


def test_a_label_costs_no_sheet() -> None:
    # The label covers every place at which two windows could join.
    frame = plain("A", 15.5, 3)
    label = Text("a long label " * 3, (15.5 / 2, 1.0), 0.3, "middle")
    grid = grid_for(drawn("A", "", "", [*frame.marks, label]), 8, 8, 0.25)
    assert grid is not None
    assert len(grid.windows) == 2
    assert grid.cut_labels == 1


def holds(window: Box, box: Box) -> bool:
    return (
        window.x <= box.x
        and window.y <= box.y
        and box.right <= window.right
        and box.bottom <= window.bottom
    )


def test_drawing_is_turned_where_that_needs_fewer_sheets() -> None:
    long = plain("A", 17.5, 7.5)
    pages = lay_out([long], paper("letter", "portrait"), HEADING)
    assert len(pages) == 2
    windows = [placed.window for page in pages for placed in page.items if placed.window]
    assert all(w.height == pytest.approx(7.5) for w in windows)  # of the drawing as it was
    assert sum(w.width for w in windows) == pytest.approx(17.75)


# -- join marks


def diamonds(tile: Tile) -> list[Stroke]:
    return [m for m in tile.joins if isinstance(m, Stroke) and m.kind == "join-mark"]


def numbers(tile: Tile) -> list[Text]:
    return [m for m in tile.joins if isinstance(m, Text) and m.text.isdigit()]


def words(tile: Tile) -> list[str]:
    return [m.text for m in tile.joins if isinstance(m, Text) and not m.text.isdigit()]


def lines_of(tile: Tile, kind: str) -> list[Stroke]:
    return [m for m in tile.joins if isinstance(m, Stroke) and m.kind == kind]


@pytest.mark.parametrize("overlap", [0.0, 0.1, 0.25, 1.0])
def test_join_marks_pair_up_with_the_true_neighbour_only(overlap: float) -> None:
    parts = cut(quarter_circle("A", 24), 8, 9, overlap)
    seen = defaultdict(list)
    for tile in parts:
        found = diamonds(tile)
        assert len(found) == len(numbers(tile))
        for mark, number in zip(found, numbers(tile), strict=True):
            seen[number.text].append((tile, mark))
    pairs = set()
    for pair in seen.values():
        (one, whole), (other, half) = pair
        assert whole.closed
        assert not half.closed
        corners = {s.start for s in whole.segments}
        assert {half.segments[0].start, half.segments[1].start, half.segments[1].end} < corners
        assert abs(one.row - other.row) + abs(one.column - other.column) == 1
        pairs.add(frozenset([(one.row, one.column), (other.row, other.column)]))
    there = cells(parts)
    joins = sum((r, c + 1) in there for r, c in there) + sum((r + 1, c) in there for r, c in there)
    assert len(pairs) == joins > 4


def test_join_marks_of_two_drawings_have_numbers_of_their_own() -> None:
    drawings = [plain("A", 14, 13), plain("B", 14, 13)]
    pages = lay_out(drawings, paper("letter", "portrait"), HEADING)
    found: dict[str, list[str]] = defaultdict(list)
    for page in pages:
        for placed in page.items:
            for mark in placed.joins:
                if isinstance(mark, Text) and mark.text.isdigit():
                    found[mark.text].append(placed.drawing.id)
    assert {tuple(ids) for ids in found.values()} == {("A", "A"), ("B", "B")}
    assert sorted(map(int, found)) == list(range(1, len(found) + 1))


@pytest.mark.parametrize("down", [False, True])
def test_first_sheet_has_the_glue_strip_and_second_the_trim_line(down: bool) -> None:
    drawing = plain("A", 3, 14) if down else plain("A", 14, 3)
    first, second = cut(drawing, 8, 8, overlap=0.5)
    axis = 1 if down else 0
    edge = (second.window.x, second.window.y)[axis]
    far = (first.window.right, first.window.bottom)[axis]
    at = [mark.segments[0].start[axis] for mark in lines_of(first, "overlap")]
    assert at == pytest.approx([edge, far])
    assert far - edge == pytest.approx(0.5)
    assert lines_of(first, "glue")
    assert "glue" in " ".join(words(first))
    assert not lines_of(first, "trim")

    (trim,) = lines_of(second, "trim")
    assert trim.segments[0].start[axis] == pytest.approx(edge)
    assert not lines_of(second, "glue")
    assert not lines_of(second, "overlap")
    assert "trim" in " ".join(words(second))


def test_hatch_lies_in_the_strip_and_off_the_words() -> None:
    first, _ = cut(plain("A", 14, 6), 8, 8, overlap=0.3)
    (word,) = (m for m in first.joins if isinstance(m, Text) and not m.text.isdigit())
    box = mark_box(word)
    assert box is not None
    strip = Box(first.window.right - 0.3, first.window.y, 0.3, first.window.height)
    for mark in lines_of(first, "glue"):
        ink = mark_box(mark)
        assert ink is not None
        assert holds(strip.grown(0.01), ink)
        assert not reaches(mark, box)
    assert holds(strip, box)


def test_joined_edge_to_edge_both_sheets_are_trimmed() -> None:
    first, second = cut(plain("A", 14, 3), 8, 8, overlap=0.0)
    assert not lines_of(first, "glue")
    assert lines_of(first, "trim")
    assert lines_of(second, "trim")
    assert "trim" in " ".join(words(first))
    assert "trim" in " ".join(words(second))


def test_words_and_numbers_stay_in_the_window_on_every_sheet() -> None:
    for overlap in (0.1, 0.25, 0.6):
        for tile in cut(quarter_circle("A", 24), 8, 9, overlap):
            for mark in tile.joins:
                box = mark_box(mark)
                assert box is not None
                assert holds(tile.window.grown(0.01), box), mark


def test_join_mark_moves_aside_for_ink_in_its_way() -> None:
    outline = plain("A", 14, 3)
    (before,) = numbers(cut(outline, 8, 9)[0])
    x, y = before.at
    in_the_way = polygon([(x - 0.3, y - 0.3), (x + 0.3, y)])
    busy = drawn("A", "", "", [*outline.marks, Stroke("sewing-line", in_the_way)])
    (aside,) = numbers(cut(busy, 8, 9)[0])
    box = mark_box(aside)
    assert box is not None
    assert not reaches(busy.marks[-1], box)


# -- the sheets laid together


def raster(page: Page) -> Image.Image:
    """The page's sheet as grey dots, by a PDF renderer that had no part in making it."""
    document = pdfium.PdfDocument(sheets_pdf([page]))
    try:
        image: Image.Image = document[0].render(scale=DOTS_PER_INCH / 72).to_pil()
        return image.convert("L")
    finally:
        document.close()


def seen_through(page: Page, box: Box, x: float, y: float) -> Image.Image:
    """The part of the sheet at ``x``, ``y`` that a box of this size covers."""
    left, top = round(x * DOTS_PER_INCH), round(y * DOTS_PER_INCH)
    size = (round(box.width * DOTS_PER_INCH) + 1, round(box.height * DOTS_PER_INCH) + 1)
    return raster(page).crop((left, top, left + size[0], top + size[1]))


def dark(image: Image.Image) -> NDArray[np.bool_]:
    return np.asarray(image) < 128


def spread(image: Image.Image) -> Image.Image:
    """Ink grown by two dots (0.02 in), for what rounding to dots moves."""
    return image.filter(ImageFilter.MinFilter(5))


@pytest.mark.parametrize(
    ("drawing", "on"),
    [
        (quarter_circle("A", 17), paper("letter")),
        (quarter_circle("A", 17), paper("a4", "landscape", overlap=0.0)),
        (quarter_circle("A", 9), paper("a6", overlap=0.5, margin=0.1)),
        (plain("A", 23, 6), paper("letter", overlap=1.0)),
    ],
)
def test_sheets_laid_together_show_the_whole_drawing(drawing: Drawing, on: SheetSettings) -> None:
    (entire,) = lay_out([drawing], SheetSettings(30, 30), HEADING)
    (placed,) = entire.items
    box = drawing.box
    wanted = seen_through(entire, box, box.x + placed.x, box.y + placed.y)

    together: NDArray[np.uint8] = np.full((wanted.height, wanted.width), 255, dtype=np.uint8)
    pages = lay_out([drawing], on, HEADING)
    assert len(pages) > 1
    for page, placed in bare_parts(pages):
        window = placed.window
        assert window is not None
        left, top, right, bottom = window_on_sheet(placed).bounds
        clip = Box.of_bounds(left, top, right, bottom)
        part = np.asarray(seen_through(page, clip, clip.x, clip.y))
        # A turned copy begins where the last dots of the sheet were.
        part = np.rot90(part, round(placed.turn / 90))
        top = round((window.y - box.y) * DOTS_PER_INCH)
        left = round((window.x - box.x) * DOTS_PER_INCH)
        part = part[: wanted.height - top, : wanted.width - left]
        there = (slice(top, top + part.shape[0]), slice(left, left + part.shape[1]))
        together[there] = np.minimum(together[there], part)

    assembled = Image.fromarray(together)
    lost = dark(wanted) & ~dark(spread(assembled))
    assert not lost.any()
    added = dark(assembled) & ~dark(spread(wanted))
    assert not added.any()
