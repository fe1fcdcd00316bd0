"""A drawing is a list of marks in true size, each with its line kind.

All lengths are inches; x to the right, y down. Nothing here knows of sheets or
of an output format.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

from piecewright.patchwork.geometry import paths
from piecewright.patchwork.geometry.paths import Curve, Line, Segment
from piecewright.patchwork.geometry.vectors import Point
from piecewright.render.drawing import fonts
from piecewright.render.drawing.linekinds import PENS, POINTS_PER_INCH, LineKind

Anchor: TypeAlias = Literal["start", "middle", "end"]
PointMap: TypeAlias = Callable[[Point], Point]
"""Where each point of a plane goes."""

ANCHORED: Final[dict[Anchor, float]] = {"start": 0.0, "middle": 0.5, "end": 1.0}
"""How much of a text's width lies before the point that it is anchored at."""


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle by its top left corner and its size."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.x + self.width

    @property
    def bottom(self) -> float:
        return self.y + self.height

    def grown(self, by: float) -> Box:
        """The box with ``by`` more on every side."""
        return Box(self.x - by, self.y - by, self.width + 2 * by, self.height + 2 * by)

    @classmethod
    def of_bounds(cls, left: float, top: float, right: float, bottom: float) -> Box:
        return cls(left, top, right - left, bottom - top)

    @classmethod
    def around(cls, points: Sequence[Point]) -> Box:
        """The least box that holds some points.

        >>> Box.around([(1, 5), (4, 3)])
        Box(x=1, y=3, width=3, height=2)
        """
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        left, top = min(xs), min(ys)
        return cls(left, top, max(xs) - left, max(ys) - top)

    def moved(self, dx: float, dy: float) -> Box:
        return Box(self.x + dx, self.y + dy, self.width, self.height)

    def joined(self, other: Box) -> Box:
        """The least box that holds both."""
        return Box.of_bounds(
            min(self.x, other.x),
            min(self.y, other.y),
            max(self.right, other.right),
            max(self.bottom, other.bottom),
        )

    def holds(self, other: Box) -> bool:
        """Whether all of another box lies in this one, borders included."""
        return (
            self.x <= other.x
            and self.y <= other.y
            and other.right <= self.right
            and other.bottom <= self.bottom
        )

    def meets(self, other: Box) -> bool:
        """Whether the two share a point, their borders included."""
        return (
            self.x <= other.right
            and other.x <= self.right
            and self.y <= other.bottom
            and other.y <= self.bottom
        )


@dataclass(frozen=True, slots=True)
class Stroke:
    """A path along segments of which each starts where the one before it ends.

    Attributes:
        closed: the path returns to its start.
        filled: the inside is painted in the pen's colour too (arrow heads).
        offset: how far along the pen's dashes the path begins, inches.
        weight: width of the line, points, where it is not the pen's.
        colour: of a filled path's inside, where it is not the pen's.
        solid: without the pen's dashes.
    """

    kind: LineKind
    segments: tuple[Segment, ...]
    closed: bool = False
    filled: bool = False
    offset: float = 0.0
    weight: float | None = None
    colour: str | None = None
    solid: bool = False

    @property
    def half(self) -> float:
        """How far ink reaches to either side of the line, inches."""
        if self.weight is None:
            return PENS[self.kind].half
        return self.weight / POINTS_PER_INCH / 2


@dataclass(frozen=True, slots=True)
class Dot:
    """A filled round dot; its size is its pen's."""

    kind: LineKind
    at: Point


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text.

    Attributes:
        at: the point of the baseline at which ``anchor`` lies.
        size: height of the em.
        turn: degrees about ``at``, clockwise as seen.
    """

    text: str
    at: Point
    size: float
    anchor: Anchor = "start"
    turn: float = 0.0
    bold: bool = False
    kind: LineKind = "label"


Mark: TypeAlias = Stroke | Dot | Text


@dataclass(frozen=True, slots=True)
class Drawing:
    """One template, or one whole chart.

    Attributes:
        id: unique among the drawings of a set.
        title: what it is, in a few words.
        description: a sentence for those who do not see it.
        box: all of its ink; see ``box_of``.
        to_scale: its lengths are those of the block; else it is there to be read only.
    """

    id: str
    title: str
    description: str
    marks: tuple[Mark, ...]
    box: Box
    to_scale: bool = True


def drawn(
    id: str, title: str, description: str, marks: Iterable[Mark], to_scale: bool = True
) -> Drawing:
    """The drawing that consists of ``marks``."""
    marks = tuple(marks)
    return Drawing(id, title, description, marks, box_of(marks), to_scale)


def line(kind: LineKind, start: Point, end: Point) -> Stroke:
    """A straight line."""
    return Stroke(kind, (Line(start, end),))


def rectangle(kind: LineKind, box: Box) -> Stroke:
    """The border of a box."""
    corners = [
        (box.x, box.y),
        (box.right, box.y),
        (box.right, box.bottom),
        (box.x, box.bottom),
    ]
    return Stroke(kind, paths.polygon(corners), closed=True)


# -- moving and turning

_QUARTERS: Final = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))
"""Exact cosine and sine of whole quarter turns."""


def moved(mark: Mark, dx: float, dy: float) -> Mark:
    """The mark, ``dx`` to the right and ``dy`` down."""

    def at(p: Point) -> Point:
        return (p[0] + dx, p[1] + dy)

    if isinstance(mark, Stroke):
        return replace(mark, segments=mapped(mark.segments, at))
    return replace(mark, at=at(mark.at))


def turned(mark: Mark, degrees: float) -> Mark:
    """The mark turned about the origin, clockwise as seen; text turns with it."""
    at = turn_about_origin(degrees)
    if isinstance(mark, Stroke):
        return replace(mark, segments=mapped(mark.segments, at))
    if isinstance(mark, Text):
        return replace(mark, at=at(mark.at), turn=(mark.turn + degrees) % 360.0)
    return replace(mark, at=at(mark.at))


def turned_box(box: Box, degrees: float) -> Box:
    """The box around a box that is turned about the origin; exact for quarter turns.

    >>> turned_box(Box(0, 0, 3, 1), 90)
    Box(x=-1.0, y=0.0, width=1.0, height=3.0)
    """
    corners = [(x, y) for x in (box.x, box.right) for y in (box.y, box.bottom)]
    return Box.around([turn_about_origin(degrees)(corner) for corner in corners])


def turn_about_origin(degrees: float) -> PointMap:
    """The turn about the origin, clockwise as seen."""
    cos, sin = cos_sin(degrees)
    return lambda p: (cos * p[0] - sin * p[1], sin * p[0] + cos * p[1])


def cos_sin(degrees: float) -> tuple[float, float]:
    """Cosine and sine, exact for quarter turns: what is upright stays so to the last digit.

    >>> cos_sin(-90)
    (0.0, -1.0)
    """
    quarters, rest = divmod(degrees / 90.0, 1.0)
    if rest == 0.0:
        return _QUARTERS[int(quarters) % 4]
    return math.cos(math.radians(degrees)), math.sin(math.radians(degrees))


def mapped(segments: Iterable[Segment], at: PointMap) -> tuple[Segment, ...]:
    """A path taken to another plane by an affine map, which takes curves to curves.

    >>> mapped([Line((0, 0), (1, 2))], lambda p: (3 * p[0], 3 * p[1]))
    (Line(start=(0, 0), end=(3, 6)),)
    """
    return tuple(
        Line(at(s.start), at(s.end))
        if isinstance(s, Line)
        else Curve(at(s.start), at(s.handle1), at(s.handle2), at(s.end))
        for s in segments
    )


# -- the extent of ink


def box_of(marks: Iterable[Mark]) -> Box:
    """The box of all ink of the marks: width of lines, bulge of curves and letters included.

    Without any ink it is an empty box at the origin.
    """
    left = top = math.inf
    right = bottom = -math.inf
    for mark in marks:
        box = mark_box(mark)
        if box is not None:
            left, top = min(left, box.x), min(top, box.y)
            right, bottom = max(right, box.right), max(bottom, box.bottom)
    if left > right:
        return Box(0.0, 0.0, 0.0, 0.0)
    return Box.of_bounds(left, top, right, bottom)


def mark_box(mark: Mark) -> Box | None:
    """The box of a mark's ink; None for text without ink and for a path without segments."""
    pen = PENS[mark.kind]
    if isinstance(mark, Dot):
        return Box(mark.at[0], mark.at[1], 0.0, 0.0).grown(pen.dot_radius)
    if isinstance(mark, Text):
        corners = text_corners(mark)
        return Box.around(corners) if corners else None
    if not mark.segments:
        return None
    extremes = [p for segment in mark.segments for p in _extremes(segment)]
    return Box.around(extremes).grown(mark.half)


def text_corners(text: Text) -> tuple[Point, ...]:
    """The four corners of the ink of a text, turned as it is; none where there is no ink."""
    # The box of the ink as it is drawn level from the start of its baseline; then moved by the
    # anchor and turned about it.
    left, top, right, bottom = fonts.text_ink(text.text, text.size, text.bold)
    if right <= left:
        return ()
    shift = ANCHORED[text.anchor]
    if shift:
        across = shift * fonts.text_width(text.text, text.size, text.bold)
        left, right = left - across, right - across
    cos, sin = math.cos(math.radians(text.turn)), math.sin(math.radians(text.turn))
    x, y = text.at
    return tuple(
        (x + cos * u - sin * v, y + sin * u + cos * v)
        for u, v in ((left, top), (right, top), (right, bottom), (left, bottom))
    )


def _extremes(segment: Segment) -> list[Point]:
    """The ends of a segment, and the points at which a curve turns back in x or in y."""
    points = [segment.start, segment.end]
    if isinstance(segment, Curve):
        for axis in (0, 1):
            p, q, r, s = (
                segment.start[axis],
                segment.handle1[axis],
                segment.handle2[axis],
                segment.end[axis],
            )
            # A Bézier curve turns back where its derivative is zero: B'(t) / 3 = a t² + b t + c.
            a, b, c = s - 3 * r + 3 * q - p, 2 * (r - 2 * q + p), q - p
            points += [paths.point_at(segment, t) for t in _roots(a, b, c) if 0 < t < 1]
    return points


def _roots(a: float, b: float, c: float) -> tuple[float, ...]:
    """The real roots of ``a t² + b t + c``, without loss where ``a`` is nearly zero."""
    under = b * b - 4 * a * c
    if under < 0:
        return ()
    # With the sign of b nothing cancels; the other root is c / q (Vieta).
    q = -(b + math.copysign(math.sqrt(under), b)) / 2
    return tuple(top / over for top, over in ((q, a), (c, q)) if over)


def path_points(stroke: Stroke) -> list[Point]:
    """The points of a path, its curves as chords; the first once more if it is closed."""
    points = paths.ring(stroke.segments)
    points.append(stroke.segments[-1].end)
    if stroke.closed:
        points.append(points[0])
    return points


def reaches(mark: Mark, box: Box) -> bool:
    """Whether ink of the mark lies in the box (its border included).

    Dashed lines count as whole ones, filled paths and letters as their box.
    """
    around = mark_box(mark)
    # Boxes are quick to compare, and settle most cases.
    if around is None or not around.meets(box):
        return False
    if not isinstance(mark, Stroke) or mark.filled:
        return True
    # A line of some width reaches a box if its middle reaches the box grown by half of that. At
    # corners that is a little too much, which keeps drawings a little further apart.
    near = box.grown(mark.half)
    points = path_points(mark)
    return any(_crosses(p, q, near) for p, q in zip(points, points[1:], strict=False))


def _crosses(p: Point, q: Point, box: Box) -> bool:
    """Whether the straight line from ``p`` to ``q`` has a point in the box (Liang-Barsky)."""
    first, last = 0.0, 1.0
    for axis, low, high in ((0, box.x, box.right), (1, box.y, box.bottom)):
        start, along = p[axis], q[axis] - p[axis]
        if along == 0:
            # Square to this axis: it is between the two borders everywhere or nowhere.
            if not low <= start <= high:
                return False
            continue
        enter, leave = (low - start) / along, (high - start) / along
        if enter > leave:
            enter, leave = leave, enter
        first, last = max(first, enter), min(last, leave)
    return first <= last
