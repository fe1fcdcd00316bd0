"""The cutting list as sheets to tick off: what to cut of each fabric, strip by strip.

It is set in lines as wide as the sheet's room, and broken over sheets between them; nothing is cut
off. Strips are drawn small, in proportion, with the cuts across them; sizes are written.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from piecewright.patchwork.block.wording import allowance_words, block_size
from piecewright.patchwork.cutting.angled_strips import Slanted
from piecewright.patchwork.cutting.cutting_list import Cut, CuttingList, FabricCuts, Part, Strip
from piecewright.patchwork.cutting.rotary import ruler
from piecewright.patchwork.cutting.wording import (
    CAUTION,
    blanks,
    counted_cuts,
    edging_text,
    fabric_name,
    finished_size,
    note,
    strip_text,
)
from piecewright.patchwork.lengths import Unit, spoken
from piecewright.render.drawing import fonts
from piecewright.render.drawing.labels import LEAST_SIZE
from piecewright.render.drawing.marks import Box, Drawing, Mark, Text, drawn, line, moved, rectangle
from piecewright.render.printables.text_column import (
    BODY,
    SMALL,
    TICK,
    WIDEST,
    Entry,
    broken,
    column,
    column_pages,
    lines,
    paragraph,
    ticked,
)
from piecewright.render.sheets.furniture import Heading
from piecewright.render.sheets.page import Page, numbered
from piecewright.render.sheets.sheet_settings import MOST_SHEETS, SheetSettings

_HEAD: Final = 0.17
"""Inches to the em; the names of fabrics."""

_MOST_TICKS: Final = 12
"""Strips that have a box to tick each; more have one for all."""

_TALLEST: Final = 0.8
"""Inches; wider strips are drawn smaller."""

_CANVAS: Final = (WIDEST, 9.0)
"""Inches; width and height of the parts of a list on one canvas."""

_CLEAR: Final = 0.02
"""Inches between words on a strip and the lines round them."""


def heading(found: CuttingList) -> Heading:
    """What every sheet says about the list."""
    block, allowance, unit = found.templates.block, found.templates.allowance, _unit(found)
    blocks = f" for {found.quilt.blocks:,} blocks" if found.quilt.blocks > 1 else ""
    return Heading(
        block=block.name,
        what=f"Cutting list{blocks}",
        size=f"Each finishes at {block_size(block)}",
        allowance=allowance_words(allowance, unit),
        corners="Strips drawn small, not to scale",
    )


def cutting_list_pages(
    found: CuttingList, settings: SheetSettings, most: int = MOST_SHEETS
) -> tuple[Page, ...]:
    """The list on sheets, upright unless the settings say otherwise.

    Raises:
        BlockError: as ``render.sheets.layout.lay_out``.
    """
    room = column(settings)
    drawings = cutting_list_drawings(found, room.width, room.height)
    return numbered(column_pages(drawings, room, heading(found), most))


def canvas_drawings(found: CuttingList) -> tuple[Drawing, ...]:
    """The list for one canvas, in columns."""
    return cutting_list_drawings(found, *_CANVAS)


def cutting_list_drawings(found: CuttingList, width: float, height: float) -> tuple[Drawing, ...]:
    """The list in drawings no larger than ``width`` and ``height``, if every entry fits."""
    parts = list(broken(_entries(found, width), height))
    drawings = []
    for number, marks in enumerate(parts, 1):
        part = f", part {number} of {len(parts)}" if len(parts) > 1 else ""
        drawings.append(
            drawn(
                f"cutting-list-{number}",
                f"Cutting list{part}",
                "What to cut from each fabric, with boxes to tick.",
                marks,
                to_scale=False,
            )
        )
    return tuple(drawings)


def _unit(found: CuttingList) -> Unit:
    return found.templates.block.unit


def _entries(found: CuttingList, width: float) -> Iterator[Entry]:
    unit, cloth = found.templates.block.unit, found.cloth
    yield paragraph(CAUTION, width, BODY, bold=True, one_line=True, after=0.06)
    yield paragraph(
        f"Usable width of cloth: {spoken(cloth.width, unit)}. What to buy allows "
        f"{cloth.shrinkage:g} % for shrinkage and {cloth.spare:g} % to spare. Cut the widest "
        "strips first, straight across the cloth; sizes have the seam allowance in them.",
        width,
        SMALL,
        after=0.14,
    )
    names = {fabric.id: fabric.name for fabric in found.templates.block.fabrics}
    for fabric in found.fabrics:
        yield from _fabric(found, fabric, fabric_name(fabric, names), width)
    for edging in found.edgings:
        yield ticked(edging_text(edging, unit), (), width)


def _fabric(found: CuttingList, fabric: FabricCuts, name: str, width: float) -> Iterator[Entry]:
    unit = found.templates.block.unit
    directional = ", directional print" if fabric.fabric in found.cloth.directional else ""
    yield Entry((line("label", (0.0, 0.0), (width, 0.0)),), 0.07, leads=True)
    yield paragraph(f"{name}{directional}", width, _HEAD, bold=True, leads=True)
    bought = f"Buy {fabric.yardage} ({spoken(_tidy(fabric.length, unit), unit)} are used)."
    yield paragraph(bought, width, BODY, after=0.06, leads=True)
    for strip in fabric.strips:
        yield _strip(strip, fabric.cuts, unit, width)
    for cut in fabric.cuts:
        message, remark = _cut_lines(cut, unit)
        yield ticked(message, [remark] if remark else [], width)
    yield Entry((), 0.12)


def _tidy(length: float, unit: Unit) -> float:
    """A length rounded up as it is spoken, for one that no ruler needs to hit."""
    step = ruler(unit).step
    return math.ceil(length / step - 1e-6) * step


def _cut_lines(cut: Cut, unit: Unit) -> tuple[str, str]:
    """What is cut of one kind, and how."""
    if cut.source == "template":
        message = f"{counted_cuts(cut.count, cut.name)}, finished {finished_size(cut, unit)}"
    elif cut.yields > 1:
        pieces = counted_cuts(cut.count, cut.name)
        message = f"{blanks(cut, unit)} for {pieces}, finished {finished_size(cut, unit)}"
    else:
        message = f"{blanks(cut, unit)}, finished {finished_size(cut, unit)}"
    if cut.source != "template":
        letters = ", ".join(cut.templates)
        message += f" (template{'s' if len(cut.templates) > 1 else ''} {letters})"
    return message, note(cut, unit)


# -- strips


def _strip(strip: Strip, cuts: Sequence[Cut], unit: Unit, width: float) -> Entry:
    """A box to tick for each strip, how it is cut up, and a drawing of that."""
    ticks = strip.count if strip.count <= _MOST_TICKS else 1
    across = ticks * (TICK + 0.04)
    per_row = max(1, int((width - 0.05) / (TICK + 0.04)))
    marks: list[Mark] = []
    for n in range(ticks):
        row, column = divmod(n, per_row)
        x, y = column * (TICK + 0.04), 0.02 + row * (TICK + 0.04)
        marks.append(rectangle("label", Box(x, y, TICK, TICK)))
    text = strip_text(strip, cuts, unit)
    beside = across + 0.07
    # Beside many ticks lines would become too short to read: then below them.
    if width - beside >= 2.0:
        words, y = lines(text, width, BODY, False, beside)
        marks += words
    else:
        top = 0.02 + math.ceil(ticks / per_row) * (TICK + 0.04)
        words, y = lines(text, width, BODY, False, 0.0)
        marks += [moved(mark, 0.0, top) for mark in words]
        y += top
    y += 0.05
    # As long as the column is wide, unless it becomes too high then.
    scale = min((width - 0.02) / strip.length, _TALLEST / strip.width)
    box = Box(0.01, y, strip.length * scale, strip.width * scale)
    marks += _strip_drawing(strip, cuts, unit, box, scale)
    return Entry(tuple(marks), y + box.height + 0.12)


def _strip_drawing(
    strip: Strip, cuts: Sequence[Cut], unit: Unit, box: Box, scale: float
) -> Iterator[Mark]:
    yield rectangle("cutting-line", box)
    if not strip.parts:
        middle = (box.x + box.width / 2, box.y + box.height / 2)
        yield from _label(f"{spoken(strip.width, unit)} {strip.purpose} strip", middle, box)
        return
    at = box.x
    for part in strip.parts:
        cut = cuts[part.cut]
        if cut.slant is not None:
            yield from _slanted_cuts(cut.slant, part, box, scale)
            at = box.x + strip.used * scale
            continue
        for n in range(part.count):
            # The size is said in the first of several that are alike.
            cell = Box(at, box.y, part.length * scale, box.height)
            at = cell.right
            yield from _blank(cut, cell, spoken(part.length, unit) if n == 0 else "")
            # A cut at the strip's very end is its own border.
            if at < box.right - 0.005:
                yield line("cutting-line", (at, box.y), (at, box.bottom))
    rest = strip.length - strip.used
    if rest > 0.05:
        cell = Box(at, box.y, box.right - at, box.height)
        middle = (cell.x + cell.width / 2, cell.y + cell.height / 2)
        message = spoken(_down(rest, unit), unit)
        yield from _first_that_fits([f"left over {message}", "left over"], middle, cell)


def _down(length: float, unit: Unit) -> float:
    """A length rounded down as it is spoken, for what is left over."""
    step = ruler(unit).step
    return math.floor(length / step + 1e-6) * step


def _blank(cut: Cut, cell: Box, message: str) -> Iterator[Mark]:
    """A square or rectangle with the cuts from corner to corner."""
    diagonals = {"half-square triangle": 1, "quarter-square triangle": 2}.get(cut.shape, 0)
    if diagonals >= 1:
        other = cut.reversed > 0 and diagonals == 1
        left, right = (cell.y, cell.bottom) if other else (cell.bottom, cell.y)
        yield line("leader", (cell.x, left), (cell.right, right))
    if diagonals == 2:
        yield line("leader", (cell.x, cell.y), (cell.right, cell.bottom))
    # Clear of the diagonals: in the corner or the side that they leave free.
    at = {
        0: (cell.x + cell.width / 2, cell.y + cell.height / 2),
        1: (cell.x + cell.width * 0.32, cell.y + cell.height * 0.25),
        2: (cell.x + cell.width / 2, cell.y + cell.height * 0.2),
    }[diagonals]
    room = {
        0: cell,
        1: Box(cell.x, cell.y, cell.width * 0.6, cell.height * 0.4),
        2: Box(cell.x + cell.width * 0.25, cell.y, cell.width * 0.5, cell.height * 0.34),
    }[diagonals]
    if message:
        yield from _first_that_fits([message, message.rsplit(" ", 1)[0]], at, room)


def _slanted_cuts(slant: Slanted, part: Part, box: Box, scale: float) -> Iterator[Mark]:
    """The cuts across a strip at an angle, every second patch turned half round if need be."""
    # A cut through the middle of the strip leans by half the height over the angle's tangent at
    # either border. Where patches are turned half round, every second cut is of the other angle.
    half = box.height / 2
    lean = [half * math.cos(math.radians(a)) / math.sin(math.radians(a)) for a in slant.angles]
    middle = box.x + abs(lean[0])
    for n in range(part.count + 1):
        tilt = lean[0] if not slant.half_turns or n % 2 == 0 else lean[1]
        x = middle + n * slant.advance * scale
        ends = (x - tilt, box.y), (x + tilt, box.bottom)
        if max(ends[0][0], ends[1][0]) < box.right - 0.005:
            yield line("cutting-line", *ends)


def _first_that_fits(choices: Sequence[str], at: tuple[float, float], room: Box) -> Iterator[Mark]:
    """The first text for which there is room about a place, if any."""
    for message in choices:
        for letters in (SMALL, 0.09, LEAST_SIZE):
            wide, high = fonts.text_width(message, letters), fonts.cap_height(letters)
            if wide + 4 * _CLEAR <= room.width and high + 4 * _CLEAR <= room.height:
                baseline = (at[0], at[1] + high / 2)
                yield Text(message, baseline, letters, "middle")
                return


def _label(message: str, at: tuple[float, float], room: Box) -> Iterator[Mark]:
    yield from _first_that_fits([message], at, room)
