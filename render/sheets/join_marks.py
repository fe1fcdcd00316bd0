"""What stands along the join of two parts of a divided drawing.

The two sheets both show a strip. On the first (the left or the upper one) it is the glue strip:
hatched, and bounded by a line along which the next sheet is laid. On the second it is bounded by
the trim line, along which that sheet is cut. Numbered diamonds stand on that line: whole on the
first sheet, half on the second, so that the halves of one number meet when the sheets do.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from piecewright.patchwork.geometry.paths import Line, polygon
from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.drawing import fonts
from piecewright.render.drawing.linekinds import LineKind
from piecewright.render.drawing.mark_index import MarkIndex
from piecewright.render.drawing.marks import Box, Mark, Stroke, Text, line, mark_box, reaches
from piecewright.render.drawing.shapes import box_polygon

Cell: TypeAlias = tuple[int, int]
"""Row and column of a window on a drawing: from 0 in a grid, from 1 on a sheet (``Part.cells``)."""

_MARK: Final = 0.09
"""From the middle of a diamond to its tips."""

_NUMBER: Final = 0.11
"""Size of its number."""

_GAP: Final = 0.035
"""From a diamond to its number, and from letters to the lines beside them."""

_WORDS: Final = 0.12
"""Inches to the em; the size of words along a join: they are read at arm's length, with scissors or
glue in hand."""

_ROOM_FOR_WORDS: Final = _WORDS + 0.07
"""Inches; a strip that is narrower has its words beside it."""

_CLEAR: Final = 0.05
"""Between the words along a join and anything else."""

_LONG: Final = 5.0
"""A join of this length has two diamonds."""

_HATCH: Final = 0.14
"""From a stroke of the hatch to the next."""

_THINNEST: Final = 0.08
"""Strips that are thinner are not hatched."""


@dataclass(frozen=True, slots=True)
class Join:
    """A join, in the coordinates of the drawing.

    Attributes:
        strip: what both sheets show.
        upright: the sheets lie side by side; else one below the other.
        first, second: row and column of the two sheets, from 0.
        ink: what is drawn near the strip.
        places: of each diamond, how far along the strip it stands.
        number: of the first diamond; the others count on.
        title: of the drawing.
    """

    strip: Box
    upright: bool
    first: Cell
    second: Cell
    ink: NDArray[np.object_]
    places: tuple[float, ...]
    number: int
    title: str

    @classmethod
    def between(
        cls,
        one: Box,
        other: Box,
        first: Cell,
        second: Cell,
        index: MarkIndex,
        number: int,
        title: str,
    ) -> Join:
        """The join of two windows; ``number`` is the next that no diamond has yet."""
        left, top = max(one.x, other.x), max(one.y, other.y)
        right, bottom = min(one.right, other.right), min(one.bottom, other.bottom)
        strip = Box(left, top, max(0.0, right - left), max(0.0, bottom - top))
        upright = first[0] == second[0]
        # Diamonds and their numbers reach out of the strip on both sides.
        around = strip.grown(2 * _MARK + _GAP + 3 * _NUMBER)
        near = index.shapes_in(around, background=False)
        join = cls(strip, upright, first, second, near, (), number, title)
        places = tuple(join._clear_place(number + n, at) for n, at in enumerate(join._wanted))
        return cls(strip, upright, first, second, near, places, number, title)

    @property
    def length(self) -> float:
        return self.strip.height if self.upright else self.strip.width

    @property
    def width(self) -> float:
        return self.strip.width if self.upright else self.strip.height

    def at(self, along: float, across: float) -> Point:
        """A point by its distance along the strip and from the trim line into the strip."""
        if self.upright:
            return (self.strip.x + across, self.strip.y + along)
        return (self.strip.x + along, self.strip.y + across)

    def crossings(self, mark: Mark, clear: float = 0.02) -> int:
        """How many things that are drawn lie nearer to a mark than ``clear``."""
        box = mark_box(mark)
        if box is None or not len(self.ink):
            return 0
        return int(shapely.intersects(self.ink, box_polygon(box.grown(clear))).sum())

    @property
    def _wanted(self) -> list[tuple[float, float]]:
        """Between which places along the strip each diamond should stand."""
        if self.length < _LONG:
            return [(0.0, 1.0)]
        return [(0.0, 0.5), (0.5, 1.0)]

    def _clear_place(self, number: int, among: tuple[float, float]) -> float:
        """The place of a diamond where nothing is in its way, near the middle of a stretch."""
        # At its ends the strip is crossed by the next one, whose marks stand there.
        end = min(self.width + 2 * _MARK + _GAP, self.length / 3)
        start, stop = (end + (self.length - 2 * end) * share for share in among)
        # Every tenth of an inch, about half of a diamond.
        count = max(1, round((stop - start) / 0.1))
        # The nearest to the middle first; of two as near the first one, so that bytes are the same.
        steps = sorted(range(count + 1), key=lambda k: (abs(2 * k - count), k))
        places = [start + (stop - start) * k / count for k in steps]

        def obstacles(place: float) -> int:
            marks = (*_diamond(self, place), *_numbers(self, place, number))
            return sum(self.crossings(mark) for mark in marks)

        found = places[0]
        fewest = obstacles(found)
        for place in places[1:]:
            if not fewest:
                break
            there = obstacles(place)
            if there < fewest:
                found, fewest = place, there
        return found


def first_sheet_marks(join: Join) -> list[Mark]:
    """What the left or upper sheet shows: the glue strip."""
    # Without an overlap the sheets lie edge to edge: both are trimmed and nothing is glued over.
    edge: LineKind = "overlap" if join.width > 0 else "trim"
    marks: list[Mark] = [line(edge, join.at(0.0, 0.0), join.at(join.length, 0.0))]
    if join.width > 0:
        marks.append(line("overlap", join.at(0.0, join.width), join.at(join.length, join.width)))
    for n, place in enumerate(join.places):
        marks += _diamond(join, place)
        marks.append(_numbers(join, place, join.number + n)[0])
    other = _part_name(join, join.second)
    if join.width > 0:
        message = ("glue", f"glue: {other} goes over this strip")
    else:
        message = ("trim", f"trim, and lay {other} edge to edge")
    words = _words(join, message, _no_lines(marks), join.width >= _ROOM_FOR_WORDS)
    return [*_hatch(join, words), *marks, words]


def second_sheet_marks(join: Join) -> list[Mark]:
    """What the right or lower sheet shows: the trim line, at its very edge."""
    marks: list[Mark] = [line("trim", join.at(0.0, 0.0), join.at(join.length, 0.0))]
    for n, place in enumerate(join.places):
        marks.append(_half_diamond(join, place))
        marks.append(_numbers(join, place, join.number + n)[1])
    over = "glue over" if join.width > 0 else "lay beside"
    message = ("trim", f"trim along the edge, {over} {_part_name(join, join.first)}")
    return [*marks, _words(join, message, _no_lines(marks), True)]


def _part_name(join: Join, cell: Cell) -> str:
    title = f"{join.title}, " if join.title else ""
    return f"{title}row {cell[0] + 1}, column {cell[1] + 1}"


def _no_lines(marks: Sequence[Mark]) -> list[Mark]:
    """The marks without the lines along the whole join."""
    return [mark for mark in marks if mark.kind == "join-mark"]


# -- diamonds


def _diamond(join: Join, place: float) -> list[Mark]:
    tips = [
        join.at(place - _MARK, 0.0),
        join.at(place, _MARK),
        join.at(place + _MARK, 0.0),
        join.at(place, -_MARK),
    ]
    return [Stroke("join-mark", polygon(tips), closed=True)]


def _half_diamond(join: Join, place: float) -> Mark:
    """The half that lies beyond the trim line."""
    start, tip, end = (
        join.at(place - _MARK, 0.0),
        join.at(place, _MARK),
        join.at(place + _MARK, 0.0),
    )
    return Stroke("join-mark", (Line(start, tip), Line(tip, end)))


def _numbers(join: Join, place: float, number: int) -> tuple[Text, Text]:
    """The number before the trim line, for the first sheet, and beyond it, for the second."""
    capital = fonts.cap_height(_NUMBER)
    aside = _MARK + _GAP
    # On either side of the trim line, level for the reader whichever way the join runs.
    if join.upright:
        (x, y) = join.at(place, 0.0)
        level = y + capital / 2
        return (
            Text(str(number), (x - aside, level), _NUMBER, "end", kind="join-mark"),
            Text(str(number), (x + aside, level), _NUMBER, "start", kind="join-mark"),
        )
    (x, y) = join.at(place, 0.0)
    return (
        Text(str(number), (x, y - aside), _NUMBER, "middle", kind="join-mark"),
        Text(str(number), (x, y + aside + capital), _NUMBER, "middle", kind="join-mark"),
    )


# -- words and hatch


def _words(join: Join, message: tuple[str, str], others: Sequence[Mark], beyond: bool) -> Text:
    """The longer text where it lies clear along the join, else the shorter one.

    Args:
        beyond: it stands beyond the trim line, in the strip; else before it.
    """
    # In half of the strip's width, so that hatch and lines stay clear of them.
    room, size = max(join.width, _ROOM_FOR_WORDS), _WORDS
    capital = fonts.cap_height(size)
    across = (room + capital) / 2 if beyond else -(room - capital) / 2

    def text(words: str, along: float) -> Text:
        if join.upright:
            x, y = join.at(along, across)
            return Text(words, (x, y), size, "middle", turn=-90.0, kind="join-mark")
        return Text(words, join.at(along, across), size, "middle", kind="join-mark")

    def obstacles(mark: Text) -> int:
        box = mark_box(mark)
        if box is None:
            return 0
        near = box.grown(_CLEAR)
        return join.crossings(mark, _CLEAR) + sum(reaches(other, near) for other in others)

    # The longer words only where nothing is in their way; the shorter ones where least is.
    best: tuple[int, Text] | None = None
    for words in reversed(message):
        for along in _along(join, fonts.text_width(words, size) / 2 + 0.05):
            mark = text(words, along)
            there = obstacles(mark)
            if not there:
                return mark
            if words == message[0] and (best is None or there < best[0]):
                best = (there, mark)
    return best[1] if best else text(message[0], join.length / 2)


def _along(join: Join, half: float) -> Iterator[float]:
    """Places along the strip for something of twice that length, the middle ones first."""
    end = min(join.width, join.length / 4)
    start, stop = end + half, join.length - end - half
    if stop <= start:
        if join.length >= 2 * half:
            yield join.length / 2
        return
    count = max(1, round((stop - start) / 0.12))
    for k in sorted(range(count + 1), key=lambda k: (abs(2 * k - count), k)):
        yield start + (stop - start) * k / count


def _hatch(join: Join, words: Text) -> list[Mark]:
    """A zigzag over the strip, that leaves out the words."""
    if join.width < _THINNEST:
        return []
    box = mark_box(words)
    if box is None:
        stretches = [(0.0, join.length)]
    else:
        # Words run along the strip: of their box only the stretch along it counts.
        low, high = (
            (box.y - join.strip.y, box.bottom - join.strip.y)
            if join.upright
            else (box.x - join.strip.x, box.right - join.strip.x)
        )
        stretches = [(0.0, low - 0.06), (high + 0.06, join.length)]
    marks: list[Mark] = []
    for start, stop in stretches:
        # Whole strokes, evenly spread, so that the zigzag ends where the stretch does.
        count = int((stop - start) / _HATCH)
        if count < 1:
            continue
        points = [
            join.at(start + (stop - start) * k / count, join.width if k % 2 else 0.0)
            for k in range(count + 1)
        ]
        segments = tuple(Line(p, q) for p, q in zip(points, points[1:], strict=False))
        marks.append(Stroke("glue", segments))
    return marks
