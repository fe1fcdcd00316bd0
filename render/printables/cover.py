"""The cover of a packet: what is made, how big it gets, what lies behind it, and what to mind."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from piecewright.patchwork.block.model import Block, extent, finished
from piecewright.patchwork.block.seams import planar_map as seams_of
from piecewright.patchwork.cutting import wording as cutting_wording
from piecewright.patchwork.geometry.polygons import polygon_of
from piecewright.patchwork.sewing import wording as sewing_wording
from piecewright.render.drawing import fonts
from piecewright.render.drawing.fabric_fills import FabricFill, fabric_fills, filled
from piecewright.render.drawing.marks import Drawing, Mark, Stroke, Text, box_of, drawn, line, moved
from piecewright.render.printables.block_map.key import SWATCH_COLUMN, SWATCH_ROW, swatch
from piecewright.render.printables.block_map.outlines import EDGE, block_outlines
from piecewright.render.printables.text_column import (
    BODY,
    LEADING,
    SMALL,
    Entry,
    broken,
    lines,
    paragraph,
)

SAFETY: Final = (
    cutting_wording.CAUTION,
    sewing_wording.CAUTION,
    "Print one sheet first, measure its test squares, and only then print the rest.",
)

_TITLE: Final = 0.34
_HEAD: Final = 0.16
"""Inches to the em; letters of the title and above each part."""

_LARGEST: Final = 4.2
"""Inches; the longer side of the picture of a single block."""

_SHARES: Final = (0.44, 0.38, 0.32, 0.26, 0.2)
"""Of the column's height, what a picture may take: the first with which all goes on one sheet."""

_SEVERAL: Final = 1.7
"""Inches; the longer side of each picture where there are several."""

_ABREAST: Final = 3
_BETWEEN: Final = 0.25
"""Pictures in a row, and inches from one to the next."""

_LEAST_PATTERN: Final = 0.02
"""Square inches on the paper; smaller pieces have no pattern."""

_MOST_SWATCHES: Final = 12
_MOST_CAUTIONS: Final = 12
"""A cover is for a first look: more of either would make it a book."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A block to be drawn small, and what is said below it; the block at its finished size."""

    block: Block
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Contents:
    """A part of the packet and the number of its first sheet."""

    title: str
    first: int
    sheets: int


@dataclass(frozen=True, slots=True)
class Cover:
    """What a cover says.

    Attributes:
        title: in large letters.
        facts: lines below it, such as the finished size.
        pictures: of the blocks.
        cautions: about the blocks, each a sentence.
    """

    title: str
    facts: tuple[str, ...]
    pictures: tuple[Picture, ...]
    cautions: tuple[str, ...] = ()


def cover_drawings(
    cover: Cover, contents: Sequence[Contents], width: float, height: float
) -> tuple[Drawing, ...]:
    """The cover in drawings no larger than ``width`` and ``height``."""
    sheets: list[list[Mark]] = []
    # A cover of one sheet with a smaller picture is better than one of two.
    for share in _SHARES:
        sheets = list(broken(_entries(cover, contents, width, height * share), height))
        if len(sheets) == 1:
            break
    else:
        # No picture is small enough: then it is as large as it may be.
        sheets = list(broken(_entries(cover, contents, width, height * _SHARES[0]), height))
    return tuple(
        drawn(
            f"cover-{number}",
            "Cover" if number == 1 else f"Cover, sheet {number}",
            f"{cover.title}: what it is, what lies behind this sheet, and what to know first.",
            marks,
            to_scale=False,
        )
        for number, marks in enumerate(sheets, 1)
    )


def _entries(
    cover: Cover, contents: Sequence[Contents], width: float, tallest: float
) -> Iterator[Entry]:
    # Smaller letters rather than a third line.
    letters = _TITLE
    while letters > BODY and len(fonts.wrapped(cover.title, letters, width, True)) > 2:
        letters *= 0.9
    yield paragraph(cover.title, width, letters, bold=True, after=0.04)
    for n, fact in enumerate(cover.facts):
        last = n == len(cover.facts) - 1
        yield paragraph(fact, width, BODY * 1.1, after=0.14 if last else 0.0)
    yield from _pictures(cover.pictures, width, tallest)
    yield from _contents(contents, min(width, 4.6))
    yield paragraph("Before you start", width, _HEAD, bold=True, leads=True)
    for message in SAFETY:
        yield _point(message, width)
    listed = cover.cautions[:_MOST_CAUTIONS]
    for message in listed:
        yield _point(message[:1].upper() + message[1:] + ".", width)
    if len(cover.cautions) > len(listed):
        rest = len(cover.cautions) - len(listed)
        yield _point(f"And {rest} further cautions, which the check of the block lists.", width)


def _point(message: str, width: float) -> Entry:
    marks, tall = lines(message, width, SMALL * 1.05, left=0.16)
    bullet = Text("•", (0.02, SMALL * LEADING * 0.86), SMALL * 1.05)
    return Entry((bullet, *marks), tall + 0.03)


# --- pictures --------------------------------------------------------------------------------


def _pictures(pictures: Sequence[Picture], width: float, tallest: float) -> Iterator[Entry]:
    if len(pictures) == 1:
        (picture,) = pictures
        side = min(_LARGEST, width, tallest)
        marks, tall = _pictured(picture, side)
        yield Entry(tuple(marks), tall + 0.12, leads=True)
    else:
        abreast = max(1, min(_ABREAST, int((width + _BETWEEN) / (_SEVERAL + _BETWEEN))))
        side = min(_SEVERAL, width, tallest)
        for start in range(0, len(pictures), abreast):
            row: list[Mark] = []
            deepest = 0.0
            for n, picture in enumerate(pictures[start : start + abreast]):
                marks, tall = _pictured(picture, side)
                row += [moved(mark, n * (side + _BETWEEN), 0.0) for mark in marks]
                deepest = max(deepest, tall)
            yield Entry(tuple(row), deepest + 0.12)
    yield from _key(pictures, width)


def _pictured(picture: Picture, side: float) -> tuple[list[Mark], float]:
    """A block drawn small from the origin, and how far down it and its caption go."""
    left, top, right, bottom = extent(picture.block.pieces)
    wide, high = right - left, bottom - top
    scale = min(1.0, side / max(wide, high))
    small = finished(picture.block, scale=scale)
    fill = fabric_fills(small)
    marks: list[Mark] = []
    for piece in small.pieces:
        # In a small piece a pattern is but a few odd strokes.
        plain = polygon_of(piece.outline).area < _LEAST_PATTERN
        marks += filled(fill[piece.fabric], piece.outline, plain=plain)
    for piece in small.pieces:
        marks.append(Stroke("sewing-line", piece.outline, closed=True, solid=True))
    for ring in block_outlines(seams_of([piece.outline for piece in small.pieces])):
        marks.append(Stroke("sewing-line", ring, closed=True, solid=True, weight=EDGE))
    box = box_of(marks)
    marks = [moved(mark, -box.x, -box.y) for mark in marks]
    drawn_at = "full size" if scale == 1.0 else "drawn small, not to scale"
    captions = [part for part in (picture.caption, drawn_at) if part]
    below, tall = lines(" · ".join(captions), max(box.width, min(side, 1.6)), SMALL * 0.9)
    y = box.height + 0.04
    return [*marks, *(moved(mark, 0.0, y) for mark in below)], y + tall


def _key(pictures: Sequence[Picture], width: float) -> Iterator[Entry]:
    """The fabrics of all pictures, each once."""
    known: dict[tuple[str, str], FabricFill] = {}
    for picture in pictures:
        for fill in fabric_fills(picture.block).values():
            known.setdefault((fill.name, fill.tint), fill)
    shown = list(known.values())[:_MOST_SWATCHES]
    across = max(1, int((width + 0.1) / SWATCH_COLUMN))
    for start in range(0, len(shown), across):
        marks: list[Mark] = []
        for n, fill in enumerate(shown[start : start + across]):
            marks += swatch(fill, fill.name, n * SWATCH_COLUMN, 0.0)
        last = start + across >= len(shown)
        yield Entry(tuple(marks), SWATCH_ROW + (0.08 if last else 0.0))


# --- contents --------------------------------------------------------------------------------


def _contents(contents: Sequence[Contents], width: float) -> Iterator[Entry]:
    if not contents:
        return
    yield paragraph("In this packet", width, _HEAD, bold=True, leads=True)
    for n, one in enumerate(contents):
        last = one.first + one.sheets - 1
        message = f"page {one.first}" if one.sheets == 1 else f"pages {one.first} to {last}"
        # Title, dots, page; the title gives way, as it stands on its sheet as well.
        room = width - fonts.text_width(message, BODY) - 0.2
        title = fonts.shortened(one.title, BODY, room)
        y = BODY * LEADING
        base = y - fonts.descent(BODY)
        start = fonts.text_width(title, BODY) + 0.06
        end = width - fonts.text_width(message, BODY) - 0.06
        marks: list[Mark] = [
            Text(title, (0.0, base), BODY),
            Text(message, (width, base), BODY, "end"),
        ]
        if end - start > 0.2:
            marks.append(line("overlap", (start, base), (end, base)))
        ends = n == len(contents) - 1
        yield Entry(tuple(marks), y + (0.14 if ends else 0.02), leads=not ends)
