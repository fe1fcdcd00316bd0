"""The quilt plan: every place on a picture, nothing written over a line, readable when printed."""

from __future__ import annotations

from functools import cache

import pytest

from piecewright.patchwork.block import catalogue
from piecewright.patchwork.block.model import Block, finished
from piecewright.patchwork.quilt.layout import place_name, quilt_of
from piecewright.patchwork.quilt.plan import QuiltPlan, group_quilt
from piecewright.patchwork.quilt.wording import codes, not_nested
from piecewright.patchwork.sewing.plan import SewingPlan, sewing_plan
from piecewright.render.drawing.fabric_fills import fabric_fills
from piecewright.render.drawing.marks import Drawing, Stroke, Text
from piecewright.render.printables.quilt_plan import heading, quilt_plan_drawings
from piecewright.render.printables.text_column import column
from piecewright.render.sheets.layout import lay_out
from piecewright.render.sheets.sheet_settings import SheetSettings
from tests.render.sewn import spoiled

NAMES = ("nine-patch", "pinwheel", "sawtooth-star", "drunkards-path")
MAKERS = ("Ada", "Bente", "Carl", "Dora", "Emil")
ROOM = column(SheetSettings())
READABLE = 0.07
"""Inches; 5 points."""


@cache
def design(id: str) -> SewingPlan:
    return sewing_plan(finished(catalogue.load(id), width=6))


@cache
def mixed(rows: int, columns: int, makers: int = 5) -> QuiltPlan:
    """Blocks of several designs in turn, turned in turn."""
    blocks = [[NAMES[(r + 2 * c) % 4] for c in range(columns)] for r in range(rows)]
    turns = [[(r * c + c) % 4 * 90 for c in range(columns)] for r in range(rows)]
    names = [*MAKERS, *(f"Maker {n}" for n in range(5, makers))]
    plans = {id: design(id) for id in NAMES}
    return group_quilt(quilt_of(blocks, turns), plans, names[:makers])


def drawings(plan: QuiltPlan, highlight: str | None = None) -> tuple[Drawing, ...]:
    blocks: dict[str, Block] = {id: design(id).block for id in NAMES}
    return quilt_plan_drawings(plan, blocks, ROOM, highlight)


def pictures(found: tuple[Drawing, ...]) -> list[Drawing]:
    return [d for d in found if "words" not in d.id]


def texts(drawing: Drawing) -> list[str]:
    return [m.text for m in drawing.marks if isinstance(m, Text)]


SIZES = [(1, 1), (4, 4), (2, 7), (12, 12)]


@pytest.mark.parametrize(("rows", "columns"), SIZES)
@pytest.mark.parametrize("highlight", [None, "Ada"])
def test_nothing_is_written_over_a_line(rows: int, columns: int, highlight: str | None) -> None:
    for drawing in drawings(mixed(rows, columns, min(5, rows * columns)), highlight):
        assert spoiled(drawing) == []


@pytest.mark.parametrize(("rows", "columns"), SIZES)
def test_every_block_has_its_variant_its_turn_and_its_maker(rows: int, columns: int) -> None:
    plan = mixed(rows, columns, min(5, rows * columns))
    (picture,) = pictures(drawings(plan))
    short = codes(plan)
    message = texts(picture)
    assert "not to scale" in message
    for placed in plan.placements:
        turn = f" {placed.turn}°" if placed.turn else ""
        assert f"{short[placed.variant]}{turn}" in message
    numbers = [share.maker for share in plan.shares]
    for n, maker in enumerate(numbers, 1):
        own = sum(p.maker == maker for p in plan.placements)
        assert message.count(maker) + message.count(f"No. {n}") == own


@pytest.mark.parametrize(("rows", "columns"), SIZES)
@pytest.mark.parametrize("sheet", [SheetSettings(), SheetSettings(8.27, 11.69)])
def test_a_picture_is_readable_on_one_sheet(rows: int, columns: int, sheet: SheetSettings) -> None:
    plan = mixed(rows, columns, min(5, rows * columns))
    found = drawings(plan)
    for drawing in found:
        assert drawing.box.width <= ROOM.width + 0.1
        assert drawing.box.height <= ROOM.height + 0.1
        assert len(lay_out([drawing], sheet, heading(plan))) == 1
        sizes = [m.size for m in drawing.marks if isinstance(m, Text)]
        assert min(sizes) >= READABLE


def test_a_large_quilt_has_several_pictures_that_show_each_place_once() -> None:
    plan = mixed(20, 14)
    found = pictures(drawings(plan))
    assert [d.title for d in found] == [
        "Quilt plan, rows A to J, columns 1 to 7",
        "Quilt plan, rows A to J, columns 8 to 14",
        "Quilt plan, rows K to T, columns 1 to 7",
        "Quilt plan, rows K to T, columns 8 to 14",
    ]
    makers = [message for d in found for message in texts(d) if message in MAKERS]
    assert len(makers) == 20 * 14
    assert len({d.id for d in drawings(plan)}) == len(drawings(plan))


def test_a_makers_pictures_are_those_with_blocks_of_that_maker() -> None:
    plan = mixed(20, 14, 40)
    own = {(p.row // 10, p.column // 7) for p in plan.placements if p.maker == "Ada"}
    found = pictures(drawings(plan, "Ada"))
    assert len(found) == len(own) < 4
    assert all("Ada" in texts(picture) for picture in found)


def test_turned_fabrics_lie_where_the_turned_block_has_them() -> None:
    # A square cut from corner to corner, its dark half below on the right, turned by a quarter:
    # the dark half then lies below on the left.
    plan = sewing_plan(finished(catalogue.load("half-square-triangle"), width=6))
    dark = fabric_fills(plan.block)[plan.block.pieces[1].fabric].tint
    for turn, corner in ((0, "right"), (90, "left")):
        quilt = group_quilt(quilt_of([["h"]], [[turn]]), {"h": plan})
        picture = quilt_plan_drawings(quilt, {"h": plan.block}, ROOM)[0]
        (fill,) = [m for m in picture.marks if isinstance(m, Stroke) and m.colour == dark]
        frame = [m for m in picture.marks if isinstance(m, Stroke) and m.kind == "sewing-line"]
        box = [s.start for s in frame[-1].segments]
        bottom = max(y for _, y in box)
        x = min(x for x, _ in box) if corner == "left" else max(x for x, _ in box)
        ends = [s.start for s in fill.segments]
        assert any(abs(p[0] - x) < 1e-6 and abs(p[1] - bottom) < 1e-6 for p in ends)


def test_one_makers_blocks_stand_out() -> None:
    plan = mixed(4, 4)
    own = [p for p in plan.placements if p.maker == "Bente"]
    (picture,) = pictures(drawings(plan, "Bente"))
    heavy = [
        m
        for m in picture.marks
        if isinstance(m, Stroke) and m.kind == "sewing-line" and (m.weight or 0) > 2
    ]
    assert len(heavy) == len(own)
    bold = {m.text for m in picture.marks if isinstance(m, Text) and m.bold}
    assert {codes(plan)[p.variant] for p in own if not p.turn} <= bold
    message = " ".join(text for d in drawings(plan, "Bente") for text in texts(d))
    assert "Blocks for Bente" in message
    assert all(place_name(p.row, p.column) in message for p in own)
    assert "Carl, " not in message


def test_the_words_name_variants_makers_and_the_order_of_joining() -> None:
    plan = mixed(4, 4)
    message = " ".join(text for d in drawings(plan) for text in texts(d))
    for variant, code in codes(plan).items():
        assert f"{code}: {variant}, " in message
    assert "In each row, sew block 1 to 2, 3 to 4; then 1–2 to 3–4." in message
    assert "Press every seam between the blocks of rows A and C to the right." in message
    assert "Press every seam between the blocks of rows B and D to the left." in message
    assert "Rows A, B, C and D are each 24 1/2 × 6 1/2 in when sewn." in message
    assert "Sew row A to B, C to D; then A–B to C–D. Press these seams down." in message
    for n, share in enumerate(plan.shares, 1):
        total = sum(count for _, count in share.variants)
        assert f"{n}. {share.maker}, {total} blocks: " in message


def test_seams_that_do_not_nest_are_dotted_and_told() -> None:
    plan = group_quilt(quilt_of([["pinwheel"] * 3] * 3), {"pinwheel": design("pinwheel")})
    left_open = [m for m in plan.meetings if not m.nests]
    found = drawings(plan)
    dots = [m for m in found[0].marks if isinstance(m, Stroke) and m.kind == "meeting"]
    assert len(dots) == len(left_open) > 0
    message = " ".join(text for d in found for text in texts(d))
    assert "pin those (open dots)" in message
    assert "Where A1, A2, B1 and B2 meet" in message or "Where B1, B2, C1 and C2 meet" in message


def test_the_heading_says_that_pictures_are_not_to_scale() -> None:
    message = heading(mixed(4, 4), "Harbour quilt")
    assert message.title == "Harbour quilt: Quilt plan, seen from the right side"
    assert message.size == "Finished 24 × 24 in"
    assert message.allowance == "Pictures not to scale"


@pytest.mark.parametrize(
    "paper",
    [
        SheetSettings(5.83, 8.27),
        SheetSettings(8.5, 11.0, margin=1.0),
        SheetSettings(8.5, 11.0),
        SheetSettings(8.27, 11.69),
        SheetSettings(11.69, 16.54),
    ],
    ids=["A5", "letter with wide margins", "letter", "A4", "A3"],
)
def test_a_picture_lies_whole_on_its_sheet(paper: SheetSettings) -> None:
    """Sheets of ISO 216 and ANSI; a picture over several would have to be pasted together."""
    plan, room = mixed(4, 4), column(paper)
    found = quilt_plan_drawings(plan, {id: design(id).block for id in NAMES}, room)
    assert len(lay_out(found, room.settings, heading(plan))) <= len(found)


def test_what_keeps_seams_from_nesting_is_said_once() -> None:
    plan = mixed(4, 4)
    left_open = [m for m in plan.meetings if not m.nests]
    told = not_nested(plan, len(left_open))
    assert len(told) == len({m.reason for m in left_open}) > 0
    for meeting in left_open:
        (line,) = [message for message in told if message.endswith(f": {meeting.reason}.")]
        assert all(place_name(*place) in line for place in meeting.blocks)
