"""What stands on every sheet beside its drawings: test squares, rulers, words, maps.

As a rule the 1 in and the 5 cm test square share a corner near the bottom left one of what the
printer can print. Two rulers start there, one along the bottom and one up the left side: quarter
inches inward, centimetres outward. The words stand right of the squares, in a strip along the
bottom; at its right end the map of a divided drawing's parts. In the corner below it, beside the
ruler, is the place for the name of whom the sheet is for. Where drawings need that room,
``furnishing`` finds another.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from piecewright.patchwork.geometry.paths import Line
from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.drawing import fonts
from piecewright.render.drawing.marks import Box, Mark, Stroke, Text, rectangle
from piecewright.render.sheets.papers import Sheet

INCH: Final = 1.0
FIVE_CENTIMETRES: Final = 5 / 2.54

FOOTER_HEIGHT: Final = 1.05
"""The strip along the bottom of the printable area that no whole drawing enters."""

RULE: Final = 0.05
"""From the border of what can be printed to the scales; their centimetres fill it."""

LEAST_WIDTH: Final = FIVE_CENTIMETRES + 1.4
"""The narrowest printable area on which squares and footer stand side by side."""

MEASURE: Final = "Print at 100 % (actual size). Measure a square before you cut."
CAUTION: Final = (
    "Rotary cutter: close the blade whenever you are not cutting, and cut away from yourself."
)

_QUARTER_TICK: Final = 0.035
INCH_TICK: Final = 0.06
"""Inches; how long the ticks are."""

LONGEST_SCALE: Final = 4.0
"""Inches, about 10 cm: over this length a printer that is off by 1 % is off by a 1/25 in."""

SCALE_STRIP: Final = RULE + INCH_TICK + 0.02
"""What the scale along the bottom takes of the footer's height."""

_NAME_ROOM: Final = 0.75
"""The least width of the place for a name; the scale along the bottom gives way to it."""

_NAME_CLEAR: Final = 0.02
"""Between that place and what is above and below it."""

_LONGEST_LABEL: Final = "4 in, 10 cm"
SCALE_LETTERS: Final = 0.07
"""Inches to the em, 5 points."""

LABEL_WIDTH: Final = fonts.text_width(_LONGEST_LABEL, SCALE_LETTERS)
"""How wide the label of a ruler is at most."""

GAP: Final = 0.13
"""Inches between drawings that share a sheet, and between them and the test squares: a little
more than the 1/8 in that scissors need, so that rounding never takes it below that."""

_MAP_TITLE: Final = 0.1
"""Inches above a map for its title."""

_MAP: Final = 0.95
"""Inches; the widest map of a divided drawing's parts."""

CLEARANCE: Final = 0.09
"""Inches between the test squares and what stands beside or in them."""

_LEADING: Final = 1.3
"""From a line of the footer to the next, in sizes of its letters."""

SMALLEST: Final = 0.055
"""The smallest letters of a footer, inches to the em (4 pt)."""

READABLE: Final = 0.085
"""The smallest letters of words that find their place among drawings (6 pt)."""


@dataclass(frozen=True, slots=True)
class Heading:
    """What the footer of a set of sheets says; every field but ``block`` may be empty.

    Attributes:
        block: the block's name.
        what: what the sheets are, such as ``Cutting templates``.
        size: the finished size, such as ``Finished 12 × 12 in``.
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


def squares(corner: Point, five: bool = True) -> tuple[Mark, ...]:
    """The 1 in test square inside the 5 cm one, with what they measure and what to do with them.

    Args:
        corner: the bottom left one, which they share.
        five: with the 5 cm square; else the 1 in square stands alone.
    """
    x, bottom = corner
    small, size = Box(x, bottom - INCH, INCH, INCH), 0.11
    middle = (x + INCH / 2, bottom - (INCH - fonts.cap_height(size)) / 2)
    marks: list[Mark] = [
        rectangle("test-square", small),
        Text("1 in", middle, size, "middle", kind="test-square"),
    ]
    if five:
        large = Box(x, bottom - FIVE_CENTIMETRES, FIVE_CENTIMETRES, FIVE_CENTIMETRES)
        by_edge = (large.right - CLEARANCE, bottom - INCH_TICK - 0.03)
        # Right of the 1 in square, inside the 5 cm one and above its own words.
        width = FIVE_CENTIMETRES - INCH - 0.06 - 0.06
        inner = Box(x + INCH + 0.06, bottom - 0.95, width, 0.95 - 0.23)
        marks += [
            rectangle("test-square", large),
            Text("5 cm", by_edge, size, "end", kind="test-square"),
            *set_in([Paragraph(MEASURE, 0.1)], inner, from_top=True),
        ]
    return tuple(marks)


def ruler(start: Point, way: tuple[int, int], length: float) -> tuple[Mark, ...]:
    """A scale of inches and centimetres from a point; the inches' ticks stand inward.

    Args:
        way: to the right, with inches upward; or up, with inches to the right.
        length: inches.
    """
    return _comb(start, way, length, 0.25), _comb(start, way, length, 1 / 2.54)


def ruler_label(start: Point, length: float) -> Text:
    """What a ruler to the right measures, at its end."""
    message = f"{length:.0f} in, {int(length * 2.54)} cm"
    at = (start[0] + length + RULE, start[1] + fonts.cap_height(SCALE_LETTERS) / 2)
    return Text(message, at, SCALE_LETTERS, kind="scale")


def scale_across(sheet: Sheet) -> float:
    """The length of the scale along the bottom: there is room for its label and a name beside."""
    beside = LABEL_WIDTH + 2 * RULE + _NAME_ROOM
    return whole_inches(sheet.printable.right - corner(sheet).x - beside)


def name_place(sheet: Sheet, to_scale: bool = True) -> Box:
    """Where a name can be put at the bottom right, right of the scale if there is one.

    It is at least 0.7 in wide on the narrowest sheet, and as high as a line of small print.
    """
    area, left = sheet.printable, sheet.printable.x
    if to_scale:
        start = corner(sheet)
        label = ruler_label((start.x, start.bottom), scale_across(sheet))
        left = label.at[0] + fonts.text_width(label.text, label.size) + RULE
    top = area.bottom - SCALE_STRIP + _NAME_CLEAR
    return Box(left, top, area.right - left, area.bottom - top)


def longest_scale(sheet: Sheet) -> Box:
    """What the scale up the left side takes of the sheet at its longest."""
    start = corner(sheet)
    length = min(LONGEST_SCALE, start.bottom - sheet.printable.y)
    width = RULE + INCH_TICK
    return Box(sheet.printable.x, start.bottom - length, width, length)


def whole_inches(room: float) -> float:
    """The longest ruler of whole inches that there is room for."""
    return max(1.0, min(LONGEST_SCALE, float(int(room))))


def _comb(start: Point, way: Point, length: float, step: float) -> Stroke:
    """A scale as one path: along it, and out to every tick and back."""
    # Seen from the corner, inches stand inward and centimetres outward on either side.
    inward = (0.0, -1.0) if way == (1, 0) else (1.0, 0.0)
    inches = step == 0.25
    points = [start]
    for n in range(int(length / step + 1e-9) + 1):
        at = (start[0] + way[0] * n * step, start[1] + way[1] * n * step)
        out = (INCH_TICK if n % 4 == 0 else _QUARTER_TICK) if inches else -RULE * 0.9
        points += [at, (at[0] + inward[0] * out, at[1] + inward[1] * out), at]
    points.append((start[0] + way[0] * length, start[1] + way[1] * length))
    # At an end of the scale the path comes back to where it was: no line of no length.
    steps = (Line(p, q) for p, q in zip(points, points[1:], strict=False) if p != q)
    return Stroke("scale", tuple(steps))


@dataclass(frozen=True, slots=True)
class PartsMap:
    """Where the parts of a divided drawing lie.

    Attributes:
        title: of the drawing.
        cells: row and column of each part, from 1.
        pages: the page number of each.
        here: the page number of the sheet that it stands on.
    """

    title: str
    cells: tuple[tuple[int, int], ...]
    pages: tuple[int, ...]
    here: int

    def size(self, sheet: Sheet, widest: float, highest: float) -> tuple[float, float]:
        """Width and height; its cells look like the sheets."""
        rows, columns = (
            max(cell[k] for cell in self.cells) - min(cell[k] for cell in self.cells) + 1
            for k in (0, 1)
        )
        # Of few parts the cells are no larger than is needed to read them.
        scale = min(
            min(_MAP, widest) / (columns * sheet.width),
            (highest - _MAP_TITLE) / (rows * sheet.height),
            0.34 / max(sheet.width, sheet.height),
        )
        title = fonts.text_width(self.short_title, SCALE_LETTERS)
        width = max(columns * sheet.width * scale, min(title, widest))
        return width, rows * sheet.height * scale + _MAP_TITLE

    @property
    def short_title(self) -> str:
        """Of the drawing, no longer than a map is wide."""
        return fonts.shortened(self.title, SCALE_LETTERS, _MAP)

    def marks(self, sheet: Sheet, box: Box) -> Iterator[Mark]:
        """How the parts lie beside each other, with their page numbers, below the title."""
        title = fonts.shortened(self.title, SCALE_LETTERS, box.width + 0.01)
        at = (box.right, box.y + fonts.cap_height(SCALE_LETTERS))
        yield Text(title, at, SCALE_LETTERS, "end")
        rows, columns = (max(cell[k] for cell in self.cells) for k in (0, 1))
        top, left = (min(cell[k] for cell in self.cells) for k in (0, 1))
        height = (box.height - _MAP_TITLE) / (rows - top + 1)
        width = height * sheet.width / sheet.height
        x0, y0 = box.right - width * (columns - left + 1), box.y + _MAP_TITLE
        size = min(0.11, 0.6 * height, 0.45 * width)
        for (row, column), page in zip(self.cells, self.pages, strict=True):
            x, y = x0 + (column - left) * width, y0 + (row - top) * height
            cell = Box(x, y, width, height)
            # The fill is below the border of the cell, as its kind is painted before.
            if page == self.here:
                yield replace(rectangle("here", cell), filled=True)
            yield rectangle("map", cell)
            if size >= SMALLEST:
                at = (x + width / 2, y + (height + fonts.cap_height(size)) / 2)
                bold = page == self.here
                yield Text(str(page), at, size, "middle", bold=bold, kind="label")


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Words that are set in lines; of more than ``most_lines`` the last is cut short."""

    text: str
    size: float
    bold: bool = False
    most_lines: int = 99


def footer(
    sheet: Sheet, heading: Heading, place: Sequence[str], measure: bool = False
) -> list[Paragraph]:
    """What the words of a sheet say, from the largest letters to the smallest.

    Args:
        place: which sheet this is, as phrases, such as ``page 1 of 3``.
        measure: also what to do with a test square.
    """
    way = "" if sheet.roll else sheet.orientation or ""
    paper = ", ".join(part for part in (sheet.paper, way) if part)
    # What has no room at the end is lost first.
    return [
        Paragraph(heading.block, 0.17, bold=True, most_lines=2),
        Paragraph(_phrases(heading.what, heading.size), 0.125),
        Paragraph(_phrases(heading.allowance, heading.corners), 0.11),
        Paragraph(_phrases(*place), 0.11, bold=True),
        *([Paragraph(MEASURE, 0.1)] if measure else []),
        Paragraph(_phrases(paper, _corrected(sheet)), 0.095),
        Paragraph(CAUTION, 0.095),
    ]


def essential(heading: Heading, place: Sequence[str]) -> list[Paragraph]:
    """The least that the words of a sheet say: whose it is, and which."""
    return [
        Paragraph(heading.block, 0.1, bold=True, most_lines=2),
        Paragraph(_phrases(*place), 0.09, bold=True),
    ]


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


def set_in(paragraphs: Sequence[Paragraph], box: Box, from_top: bool) -> list[Text]:
    """Paragraphs in lines inside a box, in letters as large as all of them fit.

    At the smallest letters, what still has no room loses its end.
    """
    scale = 1.0
    while True:
        lines = _lines(paragraphs, box.width, scale)
        height = sum(size * _LEADING for _, size, _ in lines)
        smallest = all(size <= SMALLEST for _, size, _ in lines)
        if height <= box.height or smallest:
            break
        # All letters shrink alike. Small steps, as each may save a line.
        scale *= 0.96
    while height > box.height:
        height -= lines.pop()[1] * _LEADING
    return _placed(lines, box.x, box.y if from_top else box.bottom - height)


def in_column(
    paragraphs: Sequence[Paragraph], width: float, scale: float
) -> tuple[list[Text], float, float]:
    """Paragraphs in lines of at most a width from the origin down; how wide and high they are.

    Args:
        scale: of all letters, which do not become smaller than are easily read.
    """
    lines = _lines(paragraphs, width, scale, READABLE)
    widest = max((fonts.text_width(*one) for one in lines), default=0.0)
    return _placed(lines, 0.0, 0.0), widest, sum(size * _LEADING for _, size, _ in lines)


def _placed(lines: Sequence[tuple[str, float, bool]], x: float, y: float) -> list[Text]:
    texts = []
    for words, size, bold in lines:
        y += size * _LEADING
        baseline = y - fonts.descent(size, bold)
        texts.append(Text(words, (x, baseline), size, bold=bold))
    return texts


def _lines(
    paragraphs: Sequence[Paragraph], width: float, scale: float, smallest: float = SMALLEST
) -> list[tuple[str, float, bool]]:
    """Each line's text, size and weight."""
    lines = []
    for paragraph in paragraphs:
        size = max(smallest, paragraph.size * scale)
        wrapped = fonts.wrapped(paragraph.text, size, width, paragraph.bold)
        if len(wrapped) > paragraph.most_lines:
            kept = wrapped[: paragraph.most_lines]
            rest = " ".join(wrapped[paragraph.most_lines - 1 :])
            kept[-1] = fonts.shortened(rest, size, width, paragraph.bold)
            wrapped = kept
        lines += [(words, size, paragraph.bold) for words in wrapped]
    return lines
