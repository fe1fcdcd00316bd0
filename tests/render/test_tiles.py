"""Large drawings cut into windows, and how the sheets find together again."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pypdfium2 as pdfium
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageFilter

from patchwork.paths import Line, polygon
from render.drawing import Box, Drawing, Stroke, Text, drawn, line
from render.pdf import sheets_pdf
from render.sheets import Page, SheetSettings, lay_out
from render.tiles import Tile, tiles
from tests.render.specimens import HEADING, paper, plain, quarter_circle

DOTS_PER_INCH = 100


def cut(drawing: Drawing, width: float, height: float, overlap: float = 0.25) -> tuple[Tile, ...]:
    parts = tiles(drawing, width, height, overlap)
    assert parts is not None
    return parts


@settings(deadline=None, max_examples=60)
@given(st.floats(1, 60), st.floats(1, 60), st.floats(2, 12), st.floats(2, 12), st.floats(0, 0.99))
def test_windows_cover_the_drawing_with_the_overlap_asked_for(
    width: float, height: float, room_across: float, room_down: float, overlap: float
) -> None:
    # A grid of lines leaves no window without ink.
    ups = [line("notch", (x / 2, 0), (x / 2, height)) for x in range(int(width * 2) + 1)]
    drawing = drawn("A", "", "", [*ups, line("notch", (width, 0), (width, height))])
    parts = tiles(drawing, room_across, room_down, overlap, most=10_000)
    assert parts is not None
    first, last = parts[0], parts[-1]
    assert len(parts) == first.rows * first.columns
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


def test_window_without_ink_is_left_out() -> None:
    along_two_sides = drawn(
        "A", "", "", [Stroke("cutting-line", (Line((0, 0), (20, 0)), Line((20, 0), (20, 20))))]
    )
    parts = cut(along_two_sides, 8, 8)
    assert {(tile.row, tile.column) for tile in parts} == {(1, 1), (1, 2), (1, 3), (2, 3), (3, 3)}


def test_too_many_windows_are_not_made() -> None:
    assert tiles(plain("A", 399, 399), 1.1, 1.1, 0.1, most=50) is None
    assert tiles(plain("A", 20, 20), 5, 5, 0.25, most=10) is None


def numbers(tile: Tile) -> list[str]:
    return [mark.text for mark in tile.joins if isinstance(mark, Text)]


def test_join_marks_pair_up_with_the_true_neighbour_only() -> None:
    parts = cut(quarter_circle("A", 24), 8, 9)
    seen = defaultdict(list)
    for tile in parts:
        for mark in tile.joins:
            if isinstance(mark, Text):
                seen[mark.text].append((tile, mark))
    neighbours = 0
    for pair in seen.values():
        (one, first), (other, second) = pair
        assert first == second  # at the same place of the drawing
        assert abs(one.row - other.row) + abs(one.column - other.column) == 1
        neighbours += 1
    cells = {(tile.row, tile.column) for tile in parts}
    joins = sum((r, c + 1) in cells for r, c in cells) + sum((r + 1, c) in cells for r, c in cells)
    assert neighbours == joins > 4


def test_join_marks_of_two_drawings_have_numbers_of_their_own() -> None:
    pages = lay_out([plain("A", 14, 3), plain("B", 14, 3)], paper("letter", "portrait"), HEADING)
    found = [[m.text for m in page.joins if isinstance(m, Text)] for page in pages]
    assert found == [["1"], ["1"], ["2"], ["2"]]


def test_overlap_is_bounded_by_a_line_on_either_side_on_both_sheets() -> None:
    left, right = cut(plain("A", 14, 3), 8, 9, overlap=0.5)
    for tile in (left, right):
        lines = [m for m in tile.joins if isinstance(m, Stroke) and m.kind == "overlap"]
        at = sorted(mark.segments[0].start[0] for mark in lines)
        assert at == pytest.approx([right.window.x, left.window.right])
        assert at[1] - at[0] == pytest.approx(0.5)


def test_join_mark_moves_aside_for_ink_in_its_way() -> None:
    outline = plain("A", 14, 3)
    (middle,) = (mark.at for mark in cut(outline, 8, 9)[0].joins if isinstance(mark, Text))
    in_the_way = polygon([(middle[0] - 0.3, middle[1] - 0.3), (middle[0] + 0.3, middle[1])])
    busy = drawn("A", "", "", [*outline.marks, Stroke("sewing-line", in_the_way)])
    (aside,) = (mark.at for mark in cut(busy, 8, 9)[0].joins if isinstance(mark, Text))
    assert aside[0] == middle[0]
    assert abs(aside[1] - middle[1]) > 0.2


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
    strips = np.zeros(together.shape, dtype=bool)
    pages = lay_out([drawing], on, HEADING)
    assert len(pages) > 1
    for page in pages:
        window = page.window
        clip = page.clip
        assert clip is not None
        part = np.asarray(seen_through(page, window, clip.x, clip.y))
        top = round((window.y - box.y) * DOTS_PER_INCH)
        left = round((window.x - box.x) * DOTS_PER_INCH)
        part = part[: wanted.height - top, : wanted.width - left]
        there = (slice(top, top + part.shape[0]), slice(left, left + part.shape[1]))
        together[there] = np.minimum(together[there], part)
        rim = round((on.overlap + 0.1) * DOTS_PER_INCH)
        edge = np.ones(part.shape, dtype=bool)
        edge[rim:-rim, rim:-rim] = False
        strips[there] |= edge

    assembled = Image.fromarray(together)
    lost = dark(wanted) & ~dark(spread(assembled))
    assert not lost.any()
    added = dark(assembled) & ~dark(spread(wanted)) & ~strips
    assert not added.any()
