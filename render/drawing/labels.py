"""Labels as blocks of text, and where one lies inside a shape clear of its lines."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from piecewright.patchwork.geometry.polygons import polygons
from piecewright.patchwork.geometry.robust_overlay import overlaid
from piecewright.patchwork.geometry.vectors import Point, Vector
from piecewright.render.drawing import fonts
from piecewright.render.drawing.marks import Mark, Text

CLEAR: Final = 0.05
"""Inches between a label or an arrow and any line."""

LEAST_SIZE: Final = 6 / 72
"""Inches to the em: 6 points, the smallest letters that are read without a glass."""

SIZES: Final = (0.17, 0.15, 0.13, 0.115, 0.1, 0.09, LEAST_SIZE)
"""Inches; the sizes of label text that are tried, largest first."""

_WORTH_A_NAME: Final = 1.0
"""Square inches; on a sheet that shows so much of a piece its name stands again."""

_LEADING: Final = 1.22
"""From a line to the next, in sizes of its letters: tighter than running text, as labels are short
and room inside a piece is scarce."""


@dataclass(frozen=True, slots=True)
class TextBlock:
    """Lines of text, their middle at the origin, and the size of their ink."""

    marks: tuple[Text, ...]
    width: float
    height: float

    def placed(self, at: Point, turn: float) -> list[Mark]:
        cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        return [
            Text(
                t.text,
                (at[0] - sin * t.at[1], at[1] + cos * t.at[1]),
                t.size,
                "middle",
                turn,
                t.bold,
            )
            for t in self.marks
        ]


def text_block(lines: Sequence[tuple[str, float, bool]]) -> TextBlock:
    """Lines of text below each other, each with its size and whether it is bold."""
    width = max(fonts.text_width(text, size, bold) for text, size, bold in lines)
    heights = [size * _LEADING for _, size, _ in lines]
    top = -sum(heights) / 2
    marks = []
    for (text, size, bold), height in zip(lines, heights, strict=True):
        # The middle of ascent and descent goes to the middle of the line.
        baseline = (
            top + height / 2 + (fonts.ascent(size, bold) - abs(fonts.descent(size, bold))) / 2
        )
        marks.append(Text(text, (0.0, baseline), size, "middle", 0.0, bold))
        top += height
    return TextBlock(tuple(marks), width, sum(heights))


def turns(shape: Polygon) -> list[float]:
    """The turns that a label may have: level, upright, and along the longest side."""
    # Along the longest side there is the most room for a long line of text.
    ring = np.array(shape.exterior.coords)
    sides = np.diff(ring, axis=0)
    along = sides[np.argmax((sides**2).sum(axis=1))]
    slant = math.degrees(math.atan2(along[1], along[0])) % 180.0
    if slant > 90.0:
        slant -= 180.0  # else it would stand on its head
    found = [0.0, -90.0]
    if min(abs(slant), abs(abs(slant) - 90.0)) > 1.0:
        found.append(slant)
    return found


def largest_room(shape: BaseGeometry, clear: float = CLEAR) -> Polygon:
    """The largest part of a shape that is clear of its border; empty if there is none.

    >>> largest_room(shapely.box(0, 0, 3, 2), 0.5).bounds
    (0.5, 0.5, 2.5, 1.5)
    """
    parts = polygons(shape.buffer(-clear, join_style="mitre"))
    return max(parts, key=lambda part: part.area, default=Polygon())


class Room:
    """Where a label is to lie; what one look at it has found out is kept for the next one."""

    def __init__(self, shape: Polygon) -> None:
        self.shape = shape
        self._level: dict[float, Polygon] = {}
        self._found: dict[tuple[float, float, float], list[Polygon]] = {}
        self._grown: Polygon | None = None

    def too_thin(self, block: TextBlock) -> bool:
        """True only if the block has no place with any turn.

        One that lies in the room has the middle line of its longer side as far inside the room's
        border as half its shorter side.
        """
        if self.shape.area < block.width * block.height:
            return True
        short, long = sorted((block.width, block.height))
        # Arcs of the buffer are chords; the hundredth makes up for that.
        middle = self.shape.buffer(-0.99 * short / 2)
        if middle.is_empty:
            return True
        left, top, right, bottom = middle.bounds
        return math.hypot(right - left, bottom - top) < 0.99 * (long - short)

    def may_hold(self, block: TextBlock, turn: float) -> bool:
        """False only if neither this block nor one that is larger both ways has a place."""
        return bool(self._middles(block, turn))

    def places(self, block: TextBlock, turn: float) -> Iterator[Point]:
        """Points for the middle of a block of text so that it lies in the room."""
        areas = self._middles(block, turn)
        if not areas:
            return
        # By rounding a block that fits exactly may reach out of the room by a little.
        if self._grown is None:
            self._grown = self.shape.buffer(1e-6)
        cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        for x, y in _points_of(max(areas, key=lambda part: part.area)):
            at = (cos * x - sin * y, sin * x + cos * y)
            if self._grown.covers(rectangle_of(block, at, turn)):
                yield at

    def _middles(self, block: TextBlock, turn: float) -> list[Polygon]:
        """Where the room, moved by each of the block's four corners, overlaps itself.

        There the block's middle may lie. For a convex room it is exactly so (the erosion of the
        room by the block, a Minkowski difference); places in others are looked at once more.
        """
        key = (block.width, block.height, turn)
        if key not in self._found:
            self._found[key] = self._overlap(block.width, block.height, turn)
        return self._found[key]

    def _overlap(self, width: float, height: float, turn: float) -> list[Polygon]:
        if self.shape.is_empty:
            return []
        # Seen along the text, the block is upright, and moving it to its corners goes by axes.
        if turn not in self._level:
            self._level[turn] = affinity.rotate(self.shape, -turn, origin=(0, 0))
        level = self._level[turn]
        left, top, right, bottom = level.bounds
        if right - left < width or bottom - top < height:
            return []
        # Moved to both sides first, and what is left of it up and down.
        across = _overlap_of_moved(level, (width / 2, 0.0))
        return polygons(_overlap_of_moved(across, (0.0, height / 2)))


def _points_of(area: Polygon) -> Iterator[Point]:
    """The middle of an area, and its points furthest out, both where two are equally far."""
    inner = area.centroid
    centre = inner if area.covers(inner) else area.point_on_surface()
    yield centre.x, centre.y
    corners = shapely.get_coordinates(area.exterior)
    # Rounded, so that equal ones are equal.
    x, y = np.round(corners, 9).T
    for keys in ((y, x), (-y, x), (y, -x), (-y, -x), (x, y), (-x, y), (x, -y), (-x, -y)):
        far = corners[np.lexsort(keys)[0]]
        yield float(far[0]), float(far[1])


def _overlap_of_moved(shape: BaseGeometry, way: Vector) -> BaseGeometry:
    """What a shape moved by ``way`` has in common with itself moved back by as much."""
    there = shapely.transform(shape, partial(np.add, way))
    back = shapely.transform(shape, partial(np.add, (-way[0], -way[1])))
    common: BaseGeometry = overlaid(shapely.intersection, there, back, on_block=False)
    return common


def places(room: Polygon, block: TextBlock, turn: float) -> Iterator[Point]:
    """Points for the middle of a block of text so that it lies in the room."""
    return Room(room).places(block, turn)


def inside(shape: Polygon, blocks: Iterable[TextBlock]) -> tuple[TextBlock, Point, float] | None:
    """The first block of text that has room in a shape, with its place and its turn."""
    return in_room(largest_room(shape), blocks, turns(shape))


def in_room(
    shape: Polygon, blocks: Iterable[TextBlock], ways: Sequence[float] | None = None
) -> tuple[TextBlock, Point, float] | None:
    """As ``inside``, for what is clear of lines already; ``ways`` are the turns to try."""
    if shape.is_empty:
        return None
    room, ways = Room(shape), turns(shape) if ways is None else ways
    for block in blocks:
        for turn in ways:
            for spot in room.places(block, turn):
                return block, spot, turn
    return None


def parts_on_sheets(shape: Polygon, windows: Sequence[Polygon]) -> list[Polygon]:
    """What of a shape each sheet shows that shows enough of it, off the strips that two show.

    Args:
        windows: what each sheet shows; none where one shows everything.

    >>> sheets = [shapely.box(0, 0, 3, 2), shapely.box(2, 0, 4, 2)]
    >>> halves = parts_on_sheets(shapely.box(0, 0, 4, 2), sheets)
    >>> [part.bounds for part in halves]
    [(0.0, 0.0, 2.0, 2.0), (3.0, 0.0, 4.0, 2.0)]
    """
    parts = []
    for n, window in enumerate(windows):
        own = overlaid(shapely.intersection, shape, window, on_block=False)
        others = [other for k, other in enumerate(windows) if k != n and other.intersects(own)]
        if others:
            rest = overlaid(shapely.union_all, others, on_block=False)
            own = overlaid(shapely.difference, own, rest, on_block=False)
        pieces = polygons(own)
        largest = max(pieces, key=lambda part: part.area, default=Polygon())
        if largest.area >= min(_WORTH_A_NAME, shape.area / 4):
            parts.append(largest)
    return parts or [shape]


def rectangle_of(block: TextBlock, at: Point, turn: float) -> Polygon:
    """What a block of text takes up with its middle at a point, turned about it."""
    w, h = block.width / 2, block.height / 2
    cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    corners = [
        (at[0] + cos * x - sin * y, at[1] + sin * x + cos * y)
        for x, y in ((w, -h), (w, h), (-w, h), (-w, -h))
    ]
    return Polygon(np.array(corners))
