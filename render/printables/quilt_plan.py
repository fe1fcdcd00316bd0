"""The plan of a group quilt: a small picture of the quilt, and what is said of it.

The picture is not to scale. Each block is drawn as it lies, with its fabrics in pale tints; in
its middle stand its variant, how it is turned and who makes it. A large quilt has a picture for
every few rows and columns. For one maker's packet that maker's blocks are drawn strongly
and the others in grey.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.block.model import Block, extent
from piecewright.patchwork.block.wording import counted, letters
from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Line, Outline, Segment
from piecewright.patchwork.geometry.polygons import lines as line_parts
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import Point
from piecewright.patchwork.quilt import wording as quilt_wording
from piecewright.patchwork.quilt.plan import Placement, QuiltPlan
from piecewright.patchwork.sewing.rectangles import Size
from piecewright.patchwork.sewing.wording import size
from piecewright.render.drawing import fonts
from piecewright.render.drawing.fabric_fills import FabricFill, fabric_fills, filled
from piecewright.render.drawing.labels import LEAST_SIZE
from piecewright.render.drawing.linekinds import LineKind
from piecewright.render.drawing.marks import (
    Box,
    Drawing,
    Mark,
    Stroke,
    Text,
    drawn,
    mapped,
    rectangle,
)
from piecewright.render.drawing.shapes import box_polygon
from piecewright.render.printables.block_map.outlines import EDGE
from piecewright.render.printables.block_map.signs import arrow, meeting_mark
from piecewright.render.printables.text_column import (
    BODY,
    SMALL,
    WIDEST,
    Column,
    Entry,
    broken,
    paragraph,
    ticked,
)
from piecewright.render.sheets.furniture import Heading

LARGEST: Final = 14.0
"""Inches; no picture or sheet of text is higher."""

MOST_ABREAST: Final = 12
"""Rows or columns of one picture."""

_MARGIN: Final = 0.3
"""Inches round the blocks, in which the numbers of rows and columns and arrows stand."""

_TITLE: Final = 0.15
_TOP: Final = 0.3
"""Inches; the size of the title's letters, and the room for its line."""

_LARGEST_CELL: Final = 1.7
"""Inches; a block drawn larger shows no more: the plan of a small quilt need not fill a sheet."""

_LETTERS: Final = (0.125, 0.11, 0.1, 0.09, LEAST_SIZE)
"""Inches; sizes that are tried for what stands in the blocks."""

_SHARE: Final = 0.74
"""Of a block's width, what its label may take."""

_NAME: Final = 0.11
"""Inches; the letters of rows and the numbers of columns."""

_AROUND: Final = 0.02
"""Inches that lines keep off a label."""

_DOT: Final = 0.03
"""Inches; the radius of the dot where seams do not nest."""

_MOST_PIECES: Final = 4000
"""Pieces of a picture; of more only the blocks' outlines are drawn."""

_MOST_NAMED: Final = 12
"""Places where seams do not nest that are named one by one; the rest is counted."""


def heading(plan: QuiltPlan, title: str = "Group quilt") -> Heading:
    """What every sheet says about the quilt."""
    whole = Size(sum(plan.widths), sum(plan.heights))
    total = plan.inside_meetings + len(plan.meetings)
    return Heading(
        block=title,
        what="Quilt plan, seen from the right side",
        size=f"Finished {size(whole, plan.unit)}",
        allowance="Pictures not to scale",
        corners=f"Seams nest at {plan.nested} of {counted(total, 'seam intersection')}"
        if total
        else "",
    )


def quilt_plan_drawings(
    plan: QuiltPlan, designs: Mapping[str, Block], room: Column, highlight: str | None = None
) -> tuple[Drawing, ...]:
    """The pictures, then what is said.

    Args:
        designs: the block of each design at finished size, by id.
        room: what a picture or a sheet of text may take, so that each lies on one sheet.
        highlight: a maker whose blocks are drawn strongly; what is said is then for that maker,
            and pictures without any of those blocks are left out.
    """
    own = [(p.row, p.column) for p in plan.placements if highlight in (None, p.maker)]
    pictures = [
        _Picture(plan, designs, rows, columns, room, highlight).drawing()
        for rows in _parts(plan.quilt.rows)
        for columns in _parts(plan.quilt.columns)
        if any(r in rows and c in columns for r, c in own)
    ]
    return (*pictures, *_text(plan, room, highlight))


def _parts(count: int) -> list[range]:
    """Rows or columns in even parts of no more than a picture holds."""
    # 13 rows are 6 and 7 rather than 12 and 1.
    number = math.ceil(count / MOST_ABREAST)
    cuts = [count * n // number for n in range(number + 1)]
    return [range(a, b) for a, b in zip(cuts, cuts[1:], strict=False)]


# --- pictures --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Label:
    """What stands in the middle of a block: its lines, and the room that they take."""

    texts: tuple[Text, ...]
    box: Box


class _Picture:
    """Draws some rows and columns of a quilt."""

    def __init__(
        self,
        plan: QuiltPlan,
        designs: Mapping[str, Block],
        rows: range,
        columns: range,
        room: Column,
        highlight: str | None,
    ) -> None:
        self.plan, self.designs, self.highlight = plan, designs, highlight
        self.rows, self.columns = rows, columns
        self.fills = {id: fabric_fills(block) for id, block in designs.items()}
        self.codes = quilt_wording.codes(plan)
        self.makers = {share.maker: n for n, share in enumerate(plan.shares, 1)}
        across = sum(plan.widths[c] for c in columns)
        down = sum(plan.heights[r] for r in rows)
        widest = max(plan.widths[c] for c in columns)
        highest = max(plan.heights[r] for r in rows)
        self.scale = min(
            (room.width - 2 * _MARGIN) / across,
            (min(LARGEST, room.height) - _TOP - 2 * _MARGIN) / down,
            _LARGEST_CELL / max(widest, highest),
        )
        # Where the whole quilt's corner would lie, which is outside the picture of a part of it.
        self.left = _MARGIN - self.scale * sum(plan.widths[: columns.start])
        self.top = _TOP + _MARGIN - self.scale * sum(plan.heights[: rows.start])
        placed = [p for p in plan.placements if p.row in rows and p.column in columns]
        self.placed = placed
        pieces = sum(len(designs[p.design].pieces) for p in placed)
        self.whole = pieces <= _MOST_PIECES
        self.letters = self._letters()
        self.numbered = not self._names_fit()

    def at(self, p: Point) -> Point:
        """A point of the quilt on the paper."""
        return (self.left + self.scale * p[0], self.top + self.scale * p[1])

    def box(self, row: int, column: int) -> Box:
        """A place on the paper."""
        plan = self.plan
        x, y = self.at((sum(plan.widths[:column]), sum(plan.heights[:row])))
        return Box(x, y, self.scale * plan.widths[column], self.scale * plan.heights[row])

    def drawing(self) -> Drawing:
        first, last = letters(self.rows[0]), letters(self.rows[-1])
        part = len(self.rows) < self.plan.quilt.rows or len(self.columns) < self.plan.quilt.columns
        title = "Quilt plan"
        if part:
            ends = f"{self.columns[0] + 1} to {self.columns[-1] + 1}"
            title += f", rows {first} to {last}, columns {ends}"
        marks: list[Mark] = []
        baseline = fonts.ascent(_TITLE, True)
        marks.append(Text(title, (0.0, baseline), _TITLE, bold=True))
        wide = fonts.text_width(title, _TITLE, True)
        marks.append(Text("not to scale", (wide + 0.12, baseline), SMALL))
        for placement in self.placed:
            marks += self._block(placement)
        marks += self._around()
        marks += self._presses()
        marks += self._meetings()
        return drawn(
            f"quilt-{first}{self.columns[0] + 1}" + ("-maker" if self.highlight else ""),
            title,
            "The quilt drawn small, not to scale: for each place the variant of its block, "
            "how it is turned and who makes it; arrows toward the side that seams are pressed to.",
            marks,
            to_scale=False,
        )

    # --- blocks ---

    def _strong(self, placement: Placement) -> bool:
        return self.highlight is None or placement.maker == self.highlight

    def _block(self, placement: Placement) -> Iterator[Mark]:
        box = self.box(placement.row, placement.column)
        label = self._label(placement, box)
        strong = self._strong(placement)
        room = label.box.grown(_AROUND)
        block = self.designs[placement.design]
        if self.whole:
            own = self.fills[placement.design]
            outlines = [self._laid(p.outline, block, placement, box) for p in block.pieces]
            for piece, outline in zip(block.pieces, outlines, strict=True):
                fill: FabricFill = own[piece.fabric]
                if strong:
                    yield from filled(fill, outline, plain=True)
            # A straight line between two pieces is drawn once; the ends say which one it is. Curves
            # with the same ends may differ, and are drawn from both sides.
            seen: set[frozenset[Point]] = set()
            for outline in outlines:
                for segment in outline:
                    ends = frozenset((_near(segment.start), _near(segment.end)))
                    if isinstance(segment, Line) and ends in seen:
                        continue
                    seen.add(ends)
                    yield from self._thin(segment, room, strong)
        # White below the label, over tints but below all lines.
        yield Stroke("tint", rectangle("tint", room).segments, True, True, colour="#ffffff")
        heavy = strong and self.highlight is not None
        yield replace(
            rectangle("sewing-line" if strong else "joining", box),
            solid=True,
            weight=2 * EDGE if heavy else None,
        )
        yield from label.texts

    def _thin(self, segment: Segment, room: Box, strong: bool) -> Iterator[Mark]:
        """A line of a block, left out where its label stands."""
        points = [*paths.flatten(segment), segment.end]
        kind: LineKind = "leader" if strong else "joining"
        if not Box.around(points).meets(room):
            yield Stroke(kind, (segment,), weight=0.3)
            return
        path: BaseGeometry = overlaid(
            shapely.difference, LineString(points), box_polygon(room), on_block=False
        )
        for part in line_parts(path):
            ends = list(part.coords)
            chain = tuple(
                Line((p[0], p[1]), (q[0], q[1])) for p, q in zip(ends, ends[1:], strict=False)
            )
            if chain:
                yield Stroke(kind, chain, weight=0.3)

    def _laid(
        self, outline: Outline, block: Block, placement: Placement, box: Box
    ) -> tuple[Segment, ...]:
        """A piece as it lies in the picture."""
        left, top, right, bottom = extent(block.pieces)
        middle = ((left + right) / 2, (top + bottom) / 2)
        centre = (box.x + box.width / 2, box.y + box.height / 2)

        def laid(p: Point) -> Point:
            x, y = p[0] - middle[0], p[1] - middle[1]
            # Quarter turns by exchange of coordinates are exact: edges of neighbours stay the same.
            for _ in range(placement.turn // 90):
                x, y = -y, x
            return (centre[0] + self.scale * x, centre[1] + self.scale * y)

        return mapped(outline, laid)

    # --- labels ---

    def _label_text(self, placement: Placement) -> str:
        turn = f" {placement.turn}°" if placement.turn else ""
        return f"{self.codes[placement.variant]}{turn}"

    def _letters(self) -> float:
        """The largest letters in which every label leaves enough of its block to be seen."""
        for letters_ in _LETTERS:
            if all(
                fonts.text_width(self._label_text(p), letters_, True) <= _SHARE * self._width(p)
                for p in self.placed
            ):
                return letters_
        return _LETTERS[-1]

    def _width(self, placement: Placement) -> float:
        return self.box(placement.row, placement.column).width

    def _names_fit(self) -> bool:
        return all(
            p.maker is None or fonts.text_width(p.maker, self.letters) <= _SHARE * self._width(p)
            for p in self.placed
        )

    def _label(self, placement: Placement, box: Box) -> _Label:
        message = [(self._label_text(placement), self.letters, self._strong(placement))]
        if placement.maker is not None:
            number = f"No. {self.makers[placement.maker]}"
            message.append((number if self.numbered else placement.maker, self.letters, False))
        step = self.letters * 1.15
        caps = fonts.cap_height(self.letters, True)
        middle = (box.x + box.width / 2, box.y + box.height / 2)
        first = middle[1] - (len(message) - 1) * step / 2 + caps / 2
        texts = tuple(
            Text(words, (middle[0], first + n * step), letters_, "middle", bold=bold)
            for n, (words, letters_, bold) in enumerate(message)
        )
        wide = max(fonts.text_width(words, size_, bold) for words, size_, bold in message)
        # The ascent has room for accents over capitals, which is not kept for codes and names.
        over = first - fonts.ascent(self.letters) * 0.75
        under = first + (len(message) - 1) * step + fonts.descent(self.letters)
        return _Label(texts, Box(middle[0] - wide / 2, over, wide, under - over))

    # --- what stands round the blocks ---

    def _around(self) -> Iterator[Mark]:
        high = fonts.cap_height(_NAME, True)
        for c in self.columns:
            box = self.box(self.rows[0], c)
            at = (box.x + box.width / 2, box.y - 0.09)
            yield Text(str(c + 1), at, _NAME, "middle", bold=True)
        for r in self.rows:
            box = self.box(r, self.columns[0])
            at = (box.x - 0.09, box.y + (box.height + high) / 2)
            yield Text(letters(r), at, _NAME, "end", bold=True)

    def _presses(self) -> Iterator[Mark]:
        """Arrows across the seams between blocks, and beside those between rows."""
        for joining in self.plan.joinings:
            area = joining.second
            # Only seams of which both sides are in this picture.
            if joining.kind == "blocks":
                if (
                    area.top in self.rows
                    and area.left in self.columns
                    and area.left - 1 >= (self.columns[0])
                ):
                    box = self.box(area.top, area.left)
                    way = (1.0, 0.0) if joining.press == "right" else (-1.0, 0.0)
                    # In the upper part of the seam, clear of the labels in the middle of blocks.
                    at = (box.x, box.y + 0.18 * box.height)
                    yield from arrow(at, way, min(0.09, 0.16 * box.width), "first")
            elif area.top in self.rows and area.top - 1 >= self.rows[0]:
                box = self.box(area.top, self.columns[-1])
                yield from arrow((box.right + 0.14, box.y), (0.0, 1.0), 0.09, "first")

    def _meetings(self) -> Iterator[Mark]:
        """Open dots where seams between blocks do not nest."""
        first, last = (
            self.box(self.rows[0], self.columns[0]),
            self.box(self.rows[-1], self.columns[-1]),
        )
        # Grown by a hair, so that points on the border belong to it whatever rounding does.
        field = Box(first.x, first.y, last.right - first.x, last.bottom - first.y).grown(1e-6)
        for meeting in self.plan.meetings:
            x, y = self.at(meeting.at)
            if not meeting.nests and field.meets(Box(x, y, 0.0, 0.0)):
                yield from meeting_mark((x, y), False, _DOT)


def _near(p: Point) -> Point:
    return (round(p[0], 4), round(p[1], 4))


# --- text ------------------------------------------------------------------------------------


def _text(plan: QuiltPlan, room: Column, highlight: str | None) -> Iterator[Drawing]:
    entries = _entries(plan, min(WIDEST, room.width), highlight)
    high = min(LARGEST, room.height)
    for number, marks in enumerate(broken(entries, high), 1):
        more = f", sheet {number}" if number > 1 else ""
        yield drawn(
            f"quilt-words-{number}" + ("-maker" if highlight else ""),
            f"The quilt in words{more}",
            "The variants of each design, who makes which blocks, and how blocks are joined.",
            marks,
            to_scale=False,
        )


def _entries(plan: QuiltPlan, width: float, highlight: str | None) -> Iterator[Entry]:
    shares = [s for s in plan.shares if highlight is None or s.maker == highlight]
    if highlight is None:
        yield _title("The quilt", width)
        for message in quilt_wording.overview(plan):
            yield paragraph(message, width, BODY, after=0.04)
    yield _title("Key", width)
    used = {id for share in shares for id, _ in share.variants}
    codes = quilt_wording.codes(plan)
    for variant in plan.variants:
        if highlight is None or variant.id in used:
            blocks = f"{counted(variant.count, 'block')} of the quilt"
            yield paragraph(f"{codes[variant.id]}: {variant.id}, {blocks}.", width, BODY)
    signs = "90°, 180°, 270°: the finished block is turned so, clockwise."
    signs += " Arrows: the side to which the seam between blocks is pressed."
    if any(not m.nests for m in plan.meetings):
        signs += " Open dots: seams do not nest there; pin them."
    yield paragraph(signs, width, SMALL, after=0.12)
    if shares:
        yield _title("Who makes what" if highlight is None else f"Blocks for {highlight}", width)
        numbers = {share.maker: n for n, share in enumerate(plan.shares, 1)}
        for share in shares:
            yield ticked(
                f"{numbers[share.maker]}. {quilt_wording.share_text(plan, share)}", (), width
            )
        yield Entry((), 0.08)
    if highlight is None:
        yield _title("Joining", width)
        for message in quilt_wording.joining(plan):
            yield ticked(message, (), width)
        not_nested = quilt_wording.not_nested(plan, _MOST_NAMED)
        if not_nested:
            yield _title("Seams between blocks that do not nest", width)
            for message in not_nested:
                yield paragraph(message, width, SMALL, after=0.03)


def _title(message: str, width: float) -> Entry:
    return paragraph(message, width, _TITLE, bold=True, after=0.03, leads=True)
