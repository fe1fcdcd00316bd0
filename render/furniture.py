"""What stands on every sheet beside its drawings: test squares and the footer.

The 1 in and the 5 cm test square share the bottom left corner of what the
printer can print. The footer runs to the right of them, in a strip along the bottom.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from render import fonts
from render.drawing import Box, Mark, Text, line, rectangle
from render.papers import Sheet

INCH: Final = 1.0
FIVE_CENTIMETRES: Final = 5 / 2.54

FOOTER_HEIGHT: Final = 1.05
"""The strip along the bottom of the printable area that no drawing enters."""

LEAST_WIDTH: Final = FIVE_CENTIMETRES + 1.4
"""The narrowest printable area on which squares and footer stand side by side."""

MEASURE: Final = "Print at 100 % (actual size). Measure a square before you cut."
CAUTION: Final = (
    "Rotary cutter: close the blade whenever you are not cutting, and cut away from yourself."
)

_CLEARANCE: Final = 0.09
_LEADING: Final = 1.3
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
    return Box(area.x, area.bottom - side, side, side)


def squares(sheet: Sheet, whole: bool) -> tuple[Mark, ...]:
    """Both test squares with what they measure.

    Args:
        whole: draw the 5 cm square whole; else only its left and its bottom edge, which lie
            along the border, so that a drawing can use the room.
    """
    large = corner(sheet)
    left, bottom = large.x, large.bottom
    small = Box(left, bottom - INCH, INCH, INCH)
    marks: list[Mark] = [rectangle("test-square", small)]
    if whole:
        marks.append(rectangle("test-square", large))
    else:
        marks.append(line("test-square", (left, large.y), (left, bottom)))
        marks.append(line("test-square", (left, bottom), (large.right, bottom)))
        tick = 0.05
        marks.append(line("test-square", (left, large.y), (left + tick, large.y)))
        marks.append(line("test-square", (large.right, bottom - tick), (large.right, bottom)))
    size = 0.11
    middle = (small.x + INCH / 2, small.y + (INCH + fonts.cap_height(size)) / 2)
    marks.append(Text("1 in", middle, size, "middle", kind="test-square"))
    by_edge = (large.right - _CLEARANCE, bottom - 0.06)
    marks.append(Text("5 cm", by_edge, size, "end", kind="test-square"))
    return tuple(marks)


@dataclass(frozen=True, slots=True)
class _Paragraph:
    text: str
    size: float
    bold: bool = False
    most_lines: int = 99


def footer(sheet: Sheet, heading: Heading, place: Sequence[str]) -> tuple[Mark, ...]:
    """The footer's text.

    Args:
        place: which sheet this is, as phrases, such as ``page 1 of 3``.
    """
    area, large = sheet.printable, corner(sheet)
    beside = large.right + _CLEARANCE
    paper = ", ".join(part for part in (sheet.paper, sheet.orientation or "") if part)
    paragraphs = [
        _Paragraph(heading.block, 0.17, bold=True, most_lines=2),
        _Paragraph(_phrases(heading.what, heading.size), 0.125),
        _Paragraph(_phrases(heading.allowance, heading.corners), 0.11),
        _Paragraph(_phrases(*place), 0.11, bold=True),
        _Paragraph(_phrases(paper, CAUTION), 0.095),
    ]
    strip = Box(beside, area.bottom - FOOTER_HEIGHT, area.right - beside, FOOTER_HEIGHT)
    inner = Box(
        large.x + INCH + 0.06,
        area.bottom - INCH,
        FIVE_CENTIMETRES - INCH - 0.06 - 0.06,
        INCH - 0.22,
    )
    return (
        *_set(paragraphs, strip, from_top=False),
        *_set([_Paragraph(MEASURE, 0.1)], inner, from_top=True),
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
