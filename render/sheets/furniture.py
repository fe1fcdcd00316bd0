"""What stands on every sheet beside its drawings: test squares, scales, footer and map.

The 1 in and the 5 cm test square share a corner near the bottom left one of what the printer can
print. Two scales start there, one along the bottom and one up the left side: quarter inches
inward, centimetres outward. The footer runs to the right of the squares, in a strip along
the bottom; at its right end stands the map of a tiled drawing's sheets. In the corner below it,
beside the scale, is the place for the name of whom the sheet is for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.drawing import fonts
from piecewright.render.drawing.marks import Box, Mark, Stroke, Text, line, rectangle
from piecewright.render.sheets.papers import Sheet

INCH: Final = 1.0
FIVE_CENTIMETRES: Final = 5 / 2.54

FOOTER_HEIGHT: Final = 1.05
"""The strip along the bottom of the printable area that no whole drawing enters."""

TILE_FOOTER: Final = 0.9
"""The same on a tile's sheet. It is lower than the 1 in square, of which two edges do where
there is ink: so three sheets across letter paper hold the 21 in of a 20 in block."""

RULE: Final = 0.05
"""From the border of what can be printed to the scales; their centimetres fill it."""

LEAST_WIDTH: Final = FIVE_CENTIMETRES + 1.4
"""The narrowest printable area on which squares and footer stand side by side."""

MEASURE: Final = "Print at 100 % (actual size). Measure a square before you cut."
CAUTION: Final = (
    "Rotary cutter: close the blade whenever you are not cutting, and cut away from yourself."
)

_QUARTER_TICK: Final = 0.035
_INCH_TICK: Final = 0.06
"""Inches; how long the ticks are."""

_LONGEST_SCALE: Final = 4.0
"""Inches, about 10 cm: over this length a printer that is off by 1 % is off by a 1/25 in."""

_SCALE_STRIP: Final = RULE + _INCH_TICK + 0.02
"""What the scale along the bottom takes of the footer's height."""

_NAME_ROOM: Final = 0.75
"""The least width of the place for a name; the scale along the bottom gives way to it."""

_NAME_CLEAR: Final = 0.02
"""Between that place and what is above and below it."""

_LONGEST_LABEL: Final = "4 in, 10 cm"
_SCALE_LETTERS: Final = 0.07
"""Inches to the em, 5 points."""

_MAP: Final = 0.95
"""Inches; the widest map of a tiled drawing's sheets."""

_CLEARANCE: Final = 0.09
"""Inches between the test squares and what stands beside or in them."""

_LEADING: Final = 1.3
"""From a line of the footer to the next, in sizes of its letters."""

_SMALLEST: Final = 0.055
"""The smallest letters of a footer, inches to the em (4 pt)."""


@dataclass(frozen=True, slots=True)
class Heading:
    """What the footer of a set of sheets says; every field but ``block`` may be empty.

    Attributes:
        block: the block's name.
        what: what the sheets are, such as ``Cutting templates``.
        size: the finished size, such as ``Finishes 12 x 12 in``.
        allowance: such as ``Seam allowance 1/4 in``.
        corners: such as ``matched corners``.
    """

    block: str
    what: str
    size: str = ""
    allowance: str = ""
    corners: str = ""

    @property
    def title(self) -> str:
        """The title of the document."""
        return ": ".join(part for part in (self.block.strip(), self.what.strip()) if part)


def corner(sheet: Sheet) -> Box:
    """The 5 cm test square's place on the sheet."""
    area = sheet.printable
    side = FIVE_CENTIMETRES
    return Box(area.x + RULE, area.bottom - RULE - side, side, side)


def inch_corner(sheet: Sheet) -> Box:
    """The 1 in test square's place on the sheet."""
    large = corner(sheet)
    return Box(large.x, large.bottom - INCH, INCH, INCH)


def squares(sheet: Sheet, whole: bool, whole_inch: bool = True) -> tuple[Mark, ...]:
    """Both test squares with what they measure.

    Args:
        whole: draw the 5 cm square whole; else only its left and its bottom edge, which lie
            along the border, so that a drawing can use the room.
        whole_inch: the same for the 1 in square.
    """
    small, large = inch_corner(sheet), corner(sheet)
    marks: list[Mark] = [
        *(_square(small) if whole_inch else _edges(small)),
        *(_square(large) if whole else _edges(large)),
    ]
    size = 0.11
    middle = (small.x + INCH / 2, small.y + (INCH + fonts.cap_height(size)) / 2)
    marks.append(Text("1 in", middle, size, "middle", kind="test-square"))
    by_edge = (large.right - _CLEARANCE, large.bottom - _INCH_TICK - 0.03)
    marks.append(Text("5 cm", by_edge, size, "end", kind="test-square"))
    return tuple(marks)


def _square(square: Box) -> list[Mark]:
    return [rectangle("test-square", square)]


def _edges(square: Box) -> list[Mark]:
    """The left and the bottom edge of a square, each with a tick at its far end."""
    left, bottom, tick = square.x, square.bottom, 0.03
    ends = [
        ((left, square.y), (left, bottom)),
        ((left, bottom), (square.right, bottom)),
        ((left, square.y), (left + tick, square.y)),
        ((square.right, bottom - tick), (square.right, bottom)),
    ]
    return [line("test-square", start, end) for start, end in ends]


def scales(sheet: Sheet, up: float) -> tuple[Mark, ...]:
    """A scale along the bottom, and one along the left side that is no longer than ``up``."""
    start = corner(sheet)
    across = _scale_across(sheet)
    marks = [
        _comb((start.x, start.bottom), (1, 0), across, 0.25),
        _comb((start.x, start.bottom), (1, 0), across, 1 / 2.54),
        _comb((start.x, start.bottom), (0, -1), _whole_inches(up), 0.25),
        _comb((start.x, start.bottom), (0, -1), _whole_inches(up), 1 / 2.54),
    ]
    return *marks, _scale_label(sheet, across)


def _scale_across(sheet: Sheet) -> float:
    """The length of the scale along the bottom: there is room for its label and a name beside."""
    beside = fonts.text_width(_LONGEST_LABEL, _SCALE_LETTERS) + 2 * RULE + _NAME_ROOM
    return _whole_inches(sheet.printable.right - corner(sheet).x - beside)


def _scale_label(sheet: Sheet, across: float) -> Text:
    start = corner(sheet)
    message = f"{across:.0f} in, {int(across * 2.54)} cm"
    at = (start.x + across + RULE, start.bottom + fonts.cap_height(_SCALE_LETTERS) / 2)
    return Text(message, at, _SCALE_LETTERS, kind="scale")


def name_place(sheet: Sheet) -> Box:
    """Where a name can be put: right of the scale along the bottom, where nothing else stands.

    It is at least 0.7 in wide on the narrowest sheet, and as high as a line of small print.
    """
    area, label = sheet.printable, _scale_label(sheet, _scale_across(sheet))
    left = label.at[0] + fonts.text_width(label.text, label.size) + RULE
    top = area.bottom - _SCALE_STRIP + _NAME_CLEAR
    return Box(left, top, area.right - left, area.bottom - top)


def longest_scale(sheet: Sheet) -> Box:
    """What the scale up the left side takes of the sheet at its longest."""
    start = corner(sheet)
    length = min(_LONGEST_SCALE, start.bottom - sheet.printable.y)
    width = RULE + _INCH_TICK
    return Box(sheet.printable.x, start.bottom - length, width, length)


def _whole_inches(room: float) -> float:
    return max(1.0, min(_LONGEST_SCALE, float(int(room))))


def _comb(start: Point, way: Point, length: float, step: float) -> Stroke:
    """A scale as one path: along it, and out to every tick and back."""
    # Seen from the corner, inches stand inward and centimetres outward on either side.
    inward = (0.0, -1.0) if way == (1, 0) else (1.0, 0.0)
    inches = step == 0.25
    points = [start]
    for n in range(int(length / step + 1e-9) + 1):
        at = (start[0] + way[0] * n * step, start[1] + way[1] * n * step)
        out = (_INCH_TICK if n % 4 == 0 else _QUARTER_TICK) if inches else -RULE * 0.9
        points += [at, (at[0] + inward[0] * out, at[1] + inward[1] * out), at]
    points.append((start[0] + way[0] * length, start[1] + way[1] * length))
    # At an end of the scale the path comes back to where it was: no line of no length.
    steps = (Line(p, q) for p, q in zip(points, points[1:], strict=False) if p != q)
    return Stroke("scale", tuple(steps))


def sheet_map(
    sheet: Sheet, cells: Sequence[tuple[int, int]], here: tuple[int, int], first: int
) -> tuple[Mark, ...]:
    """How the sheets of a tiled drawing lie beside each other, with their page numbers.

    Args:
        cells: row and column of each sheet, from 1.
        here: those of this sheet.
        first: the page number of the first sheet.
    """
    box = map_box(sheet, cells)
    rows, columns = (max(cell[k] for cell in cells) for k in (0, 1))
    top, left = (min(cell[k] for cell in cells) for k in (0, 1))
    width, height = box.width / (columns - left + 1), box.height / (rows - top + 1)
    marks: list[Mark] = []
    size = min(0.11, 0.6 * height, 0.45 * width)
    for number, (row, column) in enumerate(cells, first):
        x, y = box.x + (column - left) * width, box.y + (row - top) * height
        cell = Box(x, y, width, height)
        # The fill is below the border of the cell, as its kind is painted before.
        if (row, column) == here:
            marks.append(replace(rectangle("here", cell), filled=True))
        marks.append(rectangle("map", cell))
        if size >= _SMALLEST:
            at = (x + width / 2, y + (height + fonts.cap_height(size)) / 2)
            bold = (row, column) == here
            marks.append(Text(str(number), at, size, "middle", bold=bold, kind="label"))
    return tuple(marks)


def map_box(sheet: Sheet, cells: Sequence[tuple[int, int]]) -> Box:
    """The place of the map, at the right end of a tile's footer; its cells look like the sheets."""
    area = sheet.printable
    rows, columns = (
        max(cell[k] for cell in cells) - min(cell[k] for cell in cells) + 1 for k in (0, 1)
    )
    room = area.right - corner(sheet).right - _CLEARANCE
    # The footer's text keeps two thirds of the room; of few sheets the cells are no larger than
    # is needed to read them.
    scale = min(
        min(_MAP, 0.35 * room) / (columns * sheet.width),
        (TILE_FOOTER - _SCALE_STRIP - 0.05) / (rows * sheet.height),
        0.34 / max(sheet.width, sheet.height),
    )
    width, height = columns * sheet.width * scale, rows * sheet.height * scale
    inset = 0.01  # half a line, and some
    # Off the place for a name, whose letters may be as high as that.
    bottom = area.bottom - _SCALE_STRIP - 0.03
    return Box(area.right - inset - width, bottom - height, width, height)


@dataclass(frozen=True, slots=True)
class _Paragraph:
    text: str
    size: float
    bold: bool = False
    most_lines: int = 99


def footer(
    sheet: Sheet,
    heading: Heading,
    place: Sequence[str],
    taken: float = 0.0,
    high: float = FOOTER_HEIGHT,
) -> tuple[Mark, ...]:
    """The footer's text.

    Args:
        place: which sheet this is, as phrases, such as ``page 1 of 3``.
        taken: how much of the footer's right end the map takes.
        high: the footer's height, ``FOOTER_HEIGHT`` or ``TILE_FOOTER``.
    """
    area, large = sheet.printable, corner(sheet)
    beside = large.right + _CLEARANCE
    way = "" if sheet.roll else sheet.orientation or ""
    paper = ", ".join(part for part in (sheet.paper, way) if part)
    # From the largest letters to the smallest: what has no room at the end is lost first.
    paragraphs = [
        _Paragraph(heading.block, 0.17, bold=True, most_lines=2),
        _Paragraph(_phrases(heading.what, heading.size), 0.125),
        _Paragraph(_phrases(heading.allowance, heading.corners), 0.11),
        _Paragraph(_phrases(*place), 0.11, bold=True),
        _Paragraph(_phrases(paper, _corrected(sheet)), 0.095),
        _Paragraph(CAUTION, 0.095),
    ]
    top = area.bottom - high
    strip = Box(beside, top, area.right - beside - taken, high - _SCALE_STRIP)
    # Right of the 1 in square, inside the 5 cm one and above its own words.
    inner = Box(
        large.x + INCH + 0.06,
        top + RULE,
        FIVE_CENTIMETRES - INCH - 0.06 - 0.06,
        large.bottom - top - RULE - 0.23,
    )
    return (
        *_set(paragraphs, strip, from_top=False),
        *_set([_Paragraph(MEASURE, 0.1)], inner, from_top=True),
    )


def _corrected(sheet: Sheet) -> str:
    printer = sheet.printer
    if printer.exact:
        return ""
    return (
        f"Corrected for a printer that printed 1 in as {printer.across:.4g} in across, "
        f"{printer.down:.4g} in down"
    )


def _phrases(*parts: str) -> str:
    return " · ".join(part.strip() for part in parts if part.strip())


def _set(paragraphs: Sequence[_Paragraph], box: Box, from_top: bool) -> list[Text]:
    """Paragraphs in lines inside a box, in letters as large as all of them fit.

    At the smallest letters, what still has no room loses its end.
    """
    scale = 1.0
    while True:
        lines = _lines(paragraphs, box.width, scale)
        height = sum(size * _LEADING for _, size, _ in lines)
        smallest = all(size <= _SMALLEST for _, size, _ in lines)
        if height <= box.height or smallest:
            break
        # All letters shrink alike. Small steps, as each may save a line.
        scale *= 0.96
    while height > box.height:
        height -= lines.pop()[1] * _LEADING
    texts = []
    y = box.y if from_top else box.bottom - height
    for words, size, bold in lines:
        y += size * _LEADING
        baseline = y - fonts.descent(size, bold)
        texts.append(Text(words, (box.x, baseline), size, bold=bold))
    return texts


def _lines(
    paragraphs: Sequence[_Paragraph], width: float, scale: float
) -> list[tuple[str, float, bool]]:
    """Each line's text, size and weight."""
    lines = []
    for paragraph in paragraphs:
        size = max(_SMALLEST, paragraph.size * scale)
        wrapped = fonts.wrapped(paragraph.text, size, width, paragraph.bold)
        if len(wrapped) > paragraph.most_lines:
            kept = wrapped[: paragraph.most_lines]
            rest = " ".join(wrapped[paragraph.most_lines - 1 :])
            kept[-1] = fonts.shortened(rest, size, width, paragraph.bold)
            wrapped = kept
        lines += [(words, size, paragraph.bold) for words in wrapped]
    return lines
