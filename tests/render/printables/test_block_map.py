"""The block map: true size, everything on it, and nothing written over a line."""

from __future__ import annotations

import io
import math

import pdfplumber
import pytest
from shapely import union_all
from shapely.geometry import Polygon

from piecewright.patchwork.block.joins import Spans
from piecewright.patchwork.block.model import Block, Piece, extent
from piecewright.patchwork.geometry.paths import point_at, polygon, ring
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.sewing.plan import Kept, PlanOptions, SewingPlan, sewing_plan
from piecewright.render.drawing.marks import (
    Box,
    Drawing,
    Stroke,
    Text,
    box_of,
    drawn,
    mark_box,
    text_corners,
)
from piecewright.render.drawing.shapes import box_polygon
from piecewright.render.output.pdf import sheets_pdf
from piecewright.render.printables.block_map.names import VERY_MANY
from piecewright.render.printables.block_map.page_map import page_map, reduced
from piecewright.render.printables.block_map.picture import MAP, block_map_drawings, heading
from piecewright.render.printables.block_map.signs import circle
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.named import lay_out_named, windows_of
from piecewright.render.sheets.papers import PAPERS
from piecewright.render.sheets.sheet_settings import SheetSettings
from tests.render.sewn import NAMES, map_of, plan_of, spoiled
from tests.render.sheets.bare import window_on_drawing

SMALL = ["nine-patch", "ohio-star", "sawtooth-star", "eight-point-star", "storm-at-sea"]


def words(drawings: tuple[Drawing, ...]) -> list[str]:
    return [m.text for d in drawings for m in d.marks if isinstance(m, Text)]


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_written_over_a_line(name: str) -> None:
    for drawing in map_of(name):
        assert spoiled(drawing) == []


@pytest.mark.parametrize("name", SMALL)
def test_small_blocks_have_their_labels_outside_and_off_lines(name: str) -> None:
    drawings = map_of(name, 3.0)
    for drawing in drawings:
        assert spoiled(drawing) == []
    message = words(drawings)
    assert {piece.id for piece in plan_of(name).block.pieces} <= set(message)


@pytest.mark.parametrize("name", NAMES)
def test_every_piece_fabric_and_step_is_named(name: str) -> None:
    plan = plan_of(name)
    message = words(map_of(name))
    for piece in plan.block.pieces:
        assert piece.id in message
    for number in range(1, len(plan.order.joins) + 1):
        assert str(number) in message
    for fabric in plan.block.fabrics:
        if any(piece.fabric == fabric.id for piece in plan.block.pieces):
            assert any(text.startswith(f"{fabric.name}: ") for text in message)


def test_each_straight_part_of_a_set_in_seam_has_its_number() -> None:
    plan = plan_of("hexagon-rosette")
    message = words(block_map_drawings(plan))
    for number, step in enumerate(plan.sewing.steps, 1):
        assert message.count(str(number)) >= 1 + len(step.pivots)


def arrows(drawing: Drawing) -> list[Stroke]:
    return [m for m in drawing.marks if isinstance(m, Stroke) and m.kind == "press" and m.filled]


def test_an_arrow_points_to_the_side_that_is_pressed_to() -> None:
    plan = plan_of("half-square-triangle")
    (head,) = arrows(_alone(block_map_drawings(plan)[0]))
    tip = head.segments[0].start
    # The light piece is the upper left half of 6 in by 6 in; the dark one is below.
    assert plan.pressing.directions == ("second",)
    assert tip[0] + tip[1] > 6.0


def test_a_seam_that_is_pressed_open_has_two_heads() -> None:
    plan = plan_of("nine-patch", None, 2)
    assert "open" in plan.pressing.directions
    heads = len(arrows(_alone(block_map_drawings(plan)[0])))
    open_ = plan.pressing.directions.count("open")
    assert heads >= len(plan.order.joins) + open_
    assert "step 3, pressed open" in words(block_map_drawings(plan))


@pytest.mark.parametrize("spoil", [False, True])
def test_meetings_are_filled_where_they_nest(spoil: bool) -> None:
    block = plan_of("nine-patch").block
    kept = tuple(Kept(number, "open") for number in range(1, 9)) if spoil else ()
    plan = sewing_plan(block, options=PlanOptions(kept))
    drawing = block_map_drawings(plan)[0]
    dots = [m for m in drawing.marks if isinstance(m, Stroke) and m.kind == "meeting"]
    for meeting in plan.pressing.meetings:
        assert meeting.nests != spoil
        x, y = plan.seams.points[meeting.at]
        near = [d for d in dots if math.dist(d.segments[0].start, (x, y)) < 0.05]
        assert {d.colour for d in near} == {"#ffffff" if spoil else None}


def test_a_bar_on_its_seam_and_the_key_show_where_a_seam_stops() -> None:
    plan = plan_of("tumbling-blocks")
    found, key = block_map_drawings(plan)
    (bar,) = [m for m in found.marks if isinstance(m, Stroke) and m.kind == "meeting"]
    first, second = plan.sewing.steps
    (start, end), (pivot,) = first.seam, second.pivots
    middle = point_at(bar.segments[0], 0.5)
    # On the first seam, near the point in which all three pieces meet.
    assert math.dist(start, middle) + math.dist(middle, end) == pytest.approx(math.dist(start, end))
    assert 0 < math.dist(middle, pivot) < 0.2
    assert "stop at the match point" in words((key,))
    assert "stop at the match point" not in words(block_map_drawings(plan_of("nine-patch")))


def _alone(drawing: Drawing) -> Drawing:
    """The drawing without the sample arrow of a key below it."""
    plain = [m for m in drawing.marks if not (isinstance(m, Text) and "pressed" in m.text)]
    return drawn(drawing.id, drawing.title, drawing.description, plain)


@pytest.mark.parametrize("name", ["drunkards-path", "sawtooth-star", "hexagon-rosette"])
def test_a_pdf_has_the_block_at_its_true_size(name: str) -> None:
    plan = plan_of(name)
    sheet = SheetSettings(24.0, 36.0)
    pages = lay_out(block_map_drawings(plan), sheet, heading(plan))
    assert len(pages) == 1
    left, top, right, bottom = extent(plan.block.pieces)
    with pdfplumber.open(io.BytesIO(sheets_pdf(pages))) as document:
        page = document.pages[0]
        sizes = [
            ((o["x1"] - o["x0"]) / 72, (o["bottom"] - o["top"]) / 72)
            for o in page.rects + page.curves + page.lines
            if o["linewidth"] and abs(o["linewidth"] - 1.4) < 0.01
        ]
    width, height = max(w for w, _ in sizes), max(h for _, h in sizes)
    assert width == pytest.approx(right - left, abs=0.01)
    assert height == pytest.approx(bottom - top, abs=0.01)


def test_a_map_that_is_larger_than_a_sheet_is_tiled_with_its_key() -> None:
    plan = plan_of("sawtooth-star")
    pages = lay_out(block_map_drawings(plan), SheetSettings(), heading(plan))
    assert {placed.drawing.id for page in pages for placed in page.items} == {"block-map"}
    assert len(pages) == 4


@pytest.mark.parametrize("width", [12.0, 20.0])
@pytest.mark.parametrize("paper", ["letter", "a4", "legal", "tabloid"])
def test_the_key_below_a_tiled_map_is_whole_on_one_sheet(paper: str, width: float) -> None:
    plan = plan_of("sawtooth-star", width)
    size = PAPERS[paper]
    drawings = map_of("sawtooth-star", width)
    pages = lay_out(drawings, SheetSettings(size.width, size.height), heading(plan))
    boxes = [mark_box(mark) for mark in drawings[0].marks]
    key = [box for box in boxes if box is not None and box.y > width + 0.1]
    assert key
    around = box_polygon(_around(key))
    parts = [placed for page in pages for placed in page.items]
    assert any(window_on_drawing(placed).covers(around) for placed in parts)


def _around(boxes: list[Box]) -> Box:
    left, top = min(b.x for b in boxes), min(b.y for b in boxes)
    return Box(left, top, max(b.right for b in boxes) - left, max(b.bottom for b in boxes) - top)


def squares(count: int, side: float, word: str = "p") -> SewingPlan:
    """``count`` by ``count`` squares of a side in inches, sewn in rows."""
    pieces = tuple(
        Piece(
            f"{word}{row}-{column}",
            polygon([(x * side, y * side) for x, y in _corners(column, row)]),
        )
        for row in range(count)
        for column in range(count)
    )
    return sewing_plan(Block("Postage stamp", "in", pieces))


def _corners(x: int, y: int) -> list[tuple[int, int]]:
    return [(x, y), (x + 1, y), (x + 1, y + 1), (x, y + 1)]


def test_a_map_says_how_many_names_found_no_room() -> None:
    # Half-inch squares are the usual size of a miniature postage stamp quilt.
    plan = squares(13, 0.5)
    found, key = block_map_drawings(plan)
    assert spoiled(found) == []
    message = words((found,))
    ids = {piece.id for piece in plan.block.pieces}
    steps = {str(number) for number in range(1, len(plan.order.joins) + 1)}
    names, numbers = len(ids - set(message)), len(steps - set(message))
    assert names > 0
    told = " ".join(words((key,)))
    assert f"{names} piece name" in told
    assert (f"{numbers} step number" in told) == (numbers > 0)
    assert "larger finished size" in told


def test_a_map_with_room_for_all_says_nothing_of_it() -> None:
    assert not any("No room" in text for text in words(block_map_drawings(squares(3, 2.0))))


@pytest.mark.parametrize("word", ["p", "Harbour row piece "])
def test_nothing_is_written_over_a_line_where_many_names_stand_outside(word: str) -> None:
    # Long names have no room in 0.6 in squares: leaders run between names on all four sides.
    (found,) = block_map_drawings(squares(12, 0.6, word))
    assert spoiled(found) == []


def test_a_postage_stamp_quilt_of_many_pieces_has_its_words_in_their_pieces() -> None:
    """Like pieces are worked out once, so each is checked against Shapely in its own place."""
    plan = squares(25, 0.6)
    assert len(plan.block.pieces) > VERY_MANY
    (found,) = block_map_drawings(plan)
    assert spoiled(found) == []
    shapes = {piece.id: polygon_of(piece.outline) for piece in plan.block.pieces}
    beside = {
        str(n): union_all([shapes[plan.block.pieces[i].id] for i in _sewn(plan, n - 1)])
        for n in range(1, len(plan.order.joins) + 1)
    }
    on_block = [m for m in found.marks if isinstance(m, Text) and m.at[1] < 25 * 0.6]
    names = [m for m in on_block if m.text in shapes]
    numbers = [m for m in on_block if m.bold]
    assert len(names) > 300
    assert len(numbers) > 500
    for mark in names:
        assert shapes[mark.text].covers(Polygon(text_corners(mark)))
    for mark in numbers:
        assert beside[mark.text].covers(Polygon(text_corners(mark)))


def _sewn(plan: SewingPlan, step: int) -> list[int]:
    spans, join = Spans(plan.order), plan.order.joins[step]
    return [*spans.pieces(join.first), *spans.pieces(join.second)]


def test_a_drawing_has_a_box_around_all_of_its_ink() -> None:
    for drawing in (*map_of("storm-at-sea", 3.0), *map_of("pineapple", 12.0)):
        own, around = drawing.box, box_of(drawing.marks)
        assert (own.x, own.y) == pytest.approx((around.x, around.y), abs=1e-9)
        assert (own.right, own.bottom) == pytest.approx((around.right, around.bottom), abs=1e-9)


def test_a_number_stands_in_a_round_circle() -> None:
    outline = circle((1.0, 2.0), 0.09)
    away = [math.dist(p, (1.0, 2.0)) for p in ring(outline)]
    assert max(abs(r - 0.09) for r in away) < 0.09 / 3000
    assert polygon_of(outline).area == pytest.approx(math.pi * 0.09**2, rel=0.01)


def test_on_a_map_of_several_sheets_no_sign_is_divided_and_each_sheet_has_its_names() -> None:
    plan = plan_of("storm-at-sea", 20.0)
    pages = lay_out_named(lambda w: block_map_drawings(plan, w), SheetSettings(), heading(plan))
    ((id, windows),) = windows_of(pages).items()
    assert id == MAP
    drawing = pages[0].items[0].drawing
    texts = [m for m in drawing.marks if isinstance(m, Text)]
    boxes = {text: Polygon(text_corners(text)) for text in texts}
    sheets = windows
    assert all(any(sheet.covers(box) for sheet in sheets) for box in boxes.values())
    for piece in plan.block.pieces:
        shape = polygon_of(piece.outline)
        named = [box for text, box in boxes.items() if text.text == piece.id]
        for sheet in sheets:
            if sheet.intersection(shape).area > 8:
                assert any(sheet.covers(box) for box in named)
    # No sheet has the key alone.
    assert all(window.bounds[1] < 19.5 for window in windows)
    assert any("pressed toward" in text.text for text in texts)
    assert spoiled(drawing) == []


@pytest.mark.parametrize(
    ("name", "paper"), [("sawtooth-star", "letter"), ("flying-geese", "a4"), ("nine-patch", "a5")]
)
def test_a_map_for_one_sheet_is_as_large_as_that(name: str, paper: str) -> None:
    plan, size = plan_of(name, 30.0), PAPERS[paper]
    found = page_map(plan, SheetSettings(size.width, size.height))
    pages = lay_out([found.drawing], found.settings, found.heading)
    assert len(pages) == 1
    assert pages[0].of is None
    assert spoiled(found.drawing) == []
    small = reduced(plan, found.scale)
    for piece, true in zip(small.block.pieces, plan.block.pieces, strict=True):
        share = polygon_of(piece.outline).area / polygon_of(true.outline).area
        assert share == pytest.approx(found.scale**2)
    # The larger side of the block fills most of the sheet's width or of its height.
    box = found.drawing.box
    printable = pages[0].sheet.printable
    assert max(box.width / printable.width, box.height / (printable.height - 2.1)) > 0.9
    assert "drawn small" in found.heading.what
    assert page_map(plan_of(name, 3.0), SheetSettings()).scale == 1
